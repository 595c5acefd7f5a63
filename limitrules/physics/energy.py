"""How long energy lasts, how long it takes to put it back, what a ceiling leaves unused, and charge from voltage.

Computations on sequences work in rationals and are exact.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from fractions import Fraction

from attrs import frozen

from limitrules.foundation.dimension import ENERGY, FREQUENCY, NUMBER, POWER, TIME
from limitrules.foundation.exact import floats_around
from limitrules.foundation.kinds import Quantity
from limitrules.language.functions import Argument, Bounds, Function
from limitrules.physics.converters import FALLS, LEAST, RISES, exact_of, gives, point_of

Points = Sequence[tuple[Fraction, Fraction]]
"""A curve: points in order, read linearly between them."""
Pair = tuple[Fraction, Fraction]
_SLACK = 4e-15


def autonomy(
    energy: Fraction, load: Fraction, standby: Fraction, discharge_efficiency: Fraction, efficiency: Fraction
) -> Fraction:
    """The time (s) that an energy (J) in the cells lasts: E n_d / (P / n + P_s).

    The load (W) is on the AC side behind a converter of efficiency n; the standby power (W) is drawn on the DC side.
    """
    return energy * discharge_efficiency / (load / efficiency + standby)


def standby_time(energy: Fraction, standby: Fraction, self_discharge: Fraction, full_energy: Fraction) -> Fraction:
    """The time (s) until standby power (W) and self-discharge (1/s of the full energy) have used up an energy (J)."""
    return energy / (standby + self_discharge * full_energy)


def standby_energy(standby: Fraction, self_discharge: Fraction, full_energy: Fraction, time: Fraction) -> Fraction:
    """The energy (J) that standby power (W) and self-discharge (1/s of the full energy) use up in a time (s)."""
    return (standby + self_discharge * full_energy) * time


def recharge_time(energy: float, taper_energy: float, power: float, end_share: float, efficiency: float) -> Bounds:
    """Enclosure of the time (s) to put back an energy (J) at constant power (W) and then one with a taper.

    In the taper the power falls in a straight line over the charge, to ``end_share`` of its beginning at the end:
    t = E / (n P) + E_t / (n P) * ln(1 / f) / (1 - f). Energies as stored, power before the losses that n stands for.
    """
    near = _stretch(end_share)
    full = Fraction(efficiency) * Fraction(power)
    first, last = (floats_around(Fraction(item) / full) for item in (energy, taper_energy))
    low, high = first[0] + last[0] * near, first[1] + last[1] * near
    return max(0.0, math.nextafter(low - _SLACK * low, -math.inf)), math.nextafter(high + _SLACK * high, math.inf)


def _stretch(share: float) -> float:
    """ln(1 / f) / (1 - f), which falls to one at f = 1, where 1 - f is exact above one half."""
    rest = 1.0 - share
    return 1.0 if not rest else -(math.log1p(-rest) if share > 0.5 else math.log(share)) / rest


def energy_above(profile: Points, ceiling: Fraction) -> Fraction:
    """The energy (J) of a profile of power (W) over time (s) that lies above a ceiling (W): what the ceiling clips.

    Rises with every power of the profile and falls with the ceiling, so ends of ranges decide.
    """
    total = Fraction(0)
    for (t0, p0), (t1, p1) in _segments(profile):
        a, b = p0 - ceiling, p1 - ceiling
        if a > 0 and b > 0:
            total += (t1 - t0) * (a + b) / 2
        elif a > 0 or b > 0:
            # A triangle from where the profile crosses the ceiling.
            above = max(a, b)
            total += (t1 - t0) * above * above / (2 * abs(a - b))
    return total


def energy_below(profile: Points, ceiling: Fraction) -> Fraction:
    """The energy (J) of a profile of power (W) over time (s) that a ceiling (W) lets through; nothing below zero."""
    return energy_above(profile, Fraction(0)) - energy_above(profile, max(ceiling, Fraction(0)))


def stranded_energy(
    surplus: Points, ceiling: Fraction, allowed: Fraction, room: Fraction, efficiency: Fraction
) -> Fraction:
    """The energy (J) not stored because a ceiling (W) is below the allowed one (W), while there is room (J) for it.

    For a surplus of power (W) over time (s) without discharging in between: either ceiling stores n times what it lets
    through, and no more than the room. Below zero where the ceiling is above the allowed one.
    """
    low, high = (min(room, efficiency * energy_below(surplus, item)) for item in (ceiling, allowed))
    return high - low


def recharged(
    start: Fraction,
    full: Fraction,
    surplus: Sequence[Fraction],
    step: Fraction,
    ceiling: Fraction,
    efficiency: Fraction,
) -> tuple[Fraction, ...]:
    """The state of charge after each step (s) of a surplus (W) that a ceiling (W) clips; 1 is full (J).

    Rises with start, surplus, ceiling and efficiency and falls with the full energy, so ends of ranges decide.
    """
    found, now = [], start
    for power in surplus:
        now = min(Fraction(1), now + efficiency * max(Fraction(0), min(power, ceiling)) * step / full)
        found.append(now)
    return tuple(found)


def charging_time(ceiling: Points, start: Fraction, target: Fraction, energy: Fraction, efficiency: Fraction) -> Bounds:
    """Enclosure of the time (s) from one state of charge to another at a ceiling of power (W) that follows a curve.

    ``ceiling`` holds (state of charge, power), 1 being full; ``energy`` is the full one (J). On each straight piece
    dt = E ds / (n P(s)) gives a logarithm. Infinite where the ceiling reaches zero on the way. Raises ValueError where
    the curve does not reach from start to target.
    """
    if not ceiling[0][0] <= start <= target <= ceiling[-1][0]:
        raise ValueError(f"expected a curve from {start} to {target}; given {ceiling[0][0]} to {ceiling[-1][0]}")
    low = high = 0.0
    for (s0, p0), (s1, p1) in _segments(ceiling):
        a, b = max(s0, start), min(s1, target)
        if a >= b:
            continue
        begin, end = (p0 + (p1 - p0) * (s - s0) / (s1 - s0) for s in (a, b))
        if min(begin, end) <= 0:
            return math.inf, math.inf
        most, least = max(begin, end), min(begin, end)
        share = floats_around(least / most)
        whole = floats_around(energy * (b - a) / (efficiency * most))
        low += whole[0] * _stretch(share[1])
        high += whole[1] * _stretch(share[0])
    slack = _SLACK + 2e-16 * len(ceiling)
    return low * (1.0 - slack), high * (1.0 + slack)


def _segments(points: Points) -> Iterator[tuple[Pair, Pair]]:
    """Raises ValueError for fewer than two points and for points out of order."""
    if len(points) < 2 or any(one[0] >= other[0] for one, other in itertools.pairwise(points)):
        raise ValueError("expected two or more points, each after the one before")
    return itertools.pairwise(points)


@frozen
class Inversion:
    """Where on a curve a value may have been read: from ``low`` to ``high``.

    ``below`` and ``above`` tell that part of the values lies under or over all of the curve, so that what was read may
    stand outside its table; ``low`` and ``high`` are None where no value lies on it.
    """

    low: Fraction | None
    high: Fraction | None
    below: bool
    above: bool


def inverted(curve: Points, value: Pair, tolerance: Fraction = Fraction(0)) -> Inversion:
    """Everywhere on a curve that a value between two bounds may have been read, such as charge from a rest voltage.

    A flat part gives all of itself. ``tolerance`` is that of the curve. Where the curve turns, the outermost places
    are given. Raises ValueError for a curve of fewer than two points.
    """
    low, high = value[0] - tolerance, value[1] + tolerance
    places = [place for one, other in _segments(curve) for place in _places(one, other, low, high)]
    heights = [y for _, y in curve]
    below, above = low < min(heights), high > max(heights)
    return Inversion(min(places, default=None), max(places, default=None), below, above)


def _places(one: Pair, other: Pair, low: Fraction, high: Fraction) -> Iterator[Fraction]:
    """The ends of the part of a straight piece whose height is between two bounds."""
    (x0, y0), (x1, y1) = one, other
    for x, y in (one, other):
        if low <= y <= high:
            yield x
    for bound in (low, high):
        if min(y0, y1) < bound < max(y0, y1):
            yield x0 + (x1 - x0) * (bound - y0) / (y1 - y0)


_JOULE, _WATT, _SHARE = Quantity(ENERGY), Quantity(POWER), Quantity(NUMBER)
_SELF = Argument("self_discharge", "share of the full energy lost in a time", Quantity(FREQUENCY), RISES, 0.0)
_FULL = Argument("full_energy", "energy of the full pack", _JOULE, RISES, 0.0)
FUNCTIONS = (
    Function(
        "autonomy", "The time that the usable energy of a pack supplies a load.",
        (Argument("usable_energy", "energy in the cells down to the floor", _JOULE, RISES, 0.0),
         Argument("load", "power of the load on the AC side", _WATT, FALLS, LEAST),
         Argument("standby", "power drawn on the DC side beside it", _WATT, FALLS, 0.0),
         Argument("discharge_efficiency", "part of the energy in the cells that reaches the terminals", _SHARE, RISES,
                  0.0, 1.0),
         Argument("efficiency", "efficiency of the converter at that load", _SHARE, RISES, LEAST, 1.0)),
        gives(TIME), point_of(autonomy), "E n_d / (P / n + P_s) (energy balance)", exact=exact_of(autonomy),
    ),
    Function(
        "recharge_time", "The time to put energy back at constant power and then with a taper.",
        (Argument("energy", "energy to store before the taper", _JOULE, RISES, 0.0),
         Argument("taper_energy", "energy to store in the taper", _JOULE, RISES, 0.0),
         Argument("power", "charging power before the taper", _WATT, FALLS, LEAST),
         Argument("end_share", "share of that power that is left at the end", _SHARE, FALLS, LEAST, 1.0),
         Argument("efficiency", "part of the power that is stored", _SHARE, FALLS, LEAST, 1.0)),
        gives(TIME), recharge_time, "dE/dt = n P, then n P falling linearly over the charge (energy balance)",
    ),
    Function(
        "standby_time", "The time until standby power and self-discharge have used up an energy.",
        (Argument("energy", "energy from now to the charge that does harm", _JOULE, RISES, 0.0),
         Argument("standby", "power drawn with everything off", _WATT, FALLS, LEAST),
         Argument("self_discharge", _SELF.meaning, _SELF.type, FALLS, 0.0),
         Argument("full_energy", _FULL.meaning, _JOULE, FALLS, 0.0)),
        gives(TIME), point_of(standby_time), "E / (P_s + s E_full) (energy balance)", exact=exact_of(standby_time),
    ),
    Function(
        "standby_energy", "The energy that standby power and self-discharge use up in a time.",
        (Argument("standby", "power drawn with everything off", _WATT, RISES, 0.0), _SELF, _FULL,
         Argument("time", "how long", Quantity(TIME), RISES, 0.0)),
        gives(ENERGY), point_of(standby_energy), "(P_s + s E_full) t (energy balance)", exact=exact_of(standby_energy),
    ),
)  # fmt: skip
