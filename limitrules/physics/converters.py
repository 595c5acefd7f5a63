"""Relations of converters: currents and powers on their DC side, ripple, and when a constant power stays stable."""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction

from attrs import evolve

from limitrules.foundation.dimension import (
    CAPACITANCE,
    CURRENT,
    FREQUENCY,
    INDUCTANCE,
    NUMBER,
    POWER,
    RESISTANCE,
    VOLTAGE,
    Dimension,
)
from limitrules.foundation.exact import floats_around
from limitrules.foundation.kinds import Quantity, Type
from limitrules.language.functions import STANDARD, Argument, Bounds, Direction, Function

LEAST = 5e-324
"""The smallest float above zero: the low end of a range that leaves zero out."""
RISES, FALLS, NEITHER = Direction.RISES, Direction.FALLS, Direction.NEITHER


def gives(dimension: Dimension) -> Callable[[tuple[Type, ...]], Type]:
    """The result rule of a function whose value has one dimension, whatever it is given."""
    return lambda types: Quantity(dimension)


def exact_of(formula: Callable[..., Fraction]) -> Callable[..., tuple[Fraction, Fraction]]:
    """A rational formula as the ``exact`` of a function."""

    def exact(*values: Fraction) -> tuple[Fraction, Fraction]:
        value = formula(*values)
        return value, value

    return exact


def point_of(formula: Callable[..., Fraction]) -> Callable[..., Bounds]:
    """A rational formula as the ``point`` of a function: worked out in rationals, then the narrowest pair of floats."""
    return lambda *values: floats_around(formula(*map(Fraction, values)))


def _current(types: tuple[Type, ...]) -> Type:
    return Quantity(CURRENT)


def current_at_power(power: float, rest_voltage: float, resistance: float) -> Bounds:
    """Enclosure of the current (A) at which a source delivers a power (W).

    The source has a rest voltage (V) and a series resistance (ohm): power = current * (rest_voltage - current *
    resistance), smaller root, in the form 2 P / (V + sqrt(V^2 - 4 R P)) that keeps its digits for small resistance.
    Where the power is more than V^2 / (4 R) no current delivers it: it is then infinite, more than any limit. Raises
    ValueError for a source without voltage.
    """
    if rest_voltage <= 0.0:
        raise ValueError("a rest voltage above zero")
    square = rest_voltage * rest_voltage
    rest = square - 4.0 * resistance * power
    # Four roundings, each of at most 1.2e-16 of the larger of the two terms.
    slack = 1e-15 * max(square, 4.0 * resistance * power)
    if rest < -slack:
        return math.inf, math.inf
    low = 2.0 * power / (rest_voltage + math.sqrt(max(rest + slack, 0.0)))
    if rest <= slack:
        return _lower(low), math.inf
    high = 2.0 * power / (rest_voltage + math.sqrt(rest - slack))
    return _lower(low), math.nextafter(high + 1e-15 * high, math.inf)


def _slopes(power: Bounds, rest_voltage: Bounds, resistance: Bounds) -> tuple[Bounds, ...]:
    """Enclosures of the slopes 1 / S, -I / S and I^2 / S, with S = sqrt(V^2 - 4 R P).

    They follow from P = I (V - I R) by implicit differentiation, where V - 2 I R = S. Raises ValueError where the box
    reaches the power that no current delivers.
    """
    least = rest_voltage[0] ** 2 - 4.0 * resistance[1] * power[1]
    most = rest_voltage[1] ** 2 - 4.0 * resistance[0] * power[0]
    room = 1e-14 * max(most, 4.0 * resistance[1] * power[1])
    if least <= room:
        raise ValueError("a power that the source can deliver")
    over = 1.0 / math.sqrt(most + room), 1.0 / math.sqrt(least - room)
    low = current_at_power(power[0], rest_voltage[1], resistance[0])[0]
    high = current_at_power(power[1], rest_voltage[0], resistance[1])[1]
    down, up = 1.0 - 1e-14, 1.0 + 1e-14
    return (
        (over[0] * down, over[1] * up),
        (-high * over[1] * up, -low * over[0] * down),
        (low * low * over[0] * down, high * high * over[1] * up),
    )


def _lower(value: float) -> float:
    return max(0.0, math.nextafter(value - 1e-15 * value, -math.inf))


def dc_power_drawn(ac_power: Fraction, efficiency: Fraction) -> Fraction:
    """The power (W) that a converter takes from the DC side to deliver a power (W) on the AC side: P / efficiency."""
    return ac_power / efficiency


def dc_power_charging(ac_power: Fraction, efficiency: Fraction) -> Fraction:
    """The power (W) that reaches the DC side of a power (W) taken on the AC side: P * efficiency."""
    return ac_power * efficiency


def dc_power_with_losses(power: Fraction, no_load: Fraction, share: Fraction, growth: Fraction) -> Fraction:
    """The power (W) drawn on the DC side for a power (W) delivered on the AC side, with losses of three parts.

    P + p0 + k1 P + k2 P^2: what runs without load (W), a share of the power, and a part that grows with its square
    (1/W), as resistance has it.
    """
    return power + no_load + share * power + growth * power * power


def efficiency_with_losses(power: Fraction, no_load: Fraction, share: Fraction, growth: Fraction) -> Fraction:
    """P / (P + p0 + k1 P + k2 P^2): best where p0 = k2 P^2. The power is above zero."""
    return power / dc_power_with_losses(power, no_load, share, growth)


def _efficiency_over(power: Bounds, no_load: Bounds, share: Bounds, growth: Bounds) -> Bounds:
    """Falls with every loss; over the power it rises to its best and falls after, so the ends and the best decide."""
    point = point_of(efficiency_with_losses)
    low = min(point(end, no_load[1], share[1], growth[1])[0] for end in power)
    fixed, square = Fraction(no_load[0]), Fraction(growth[0])
    if Fraction(power[0]) ** 2 * square <= fixed <= Fraction(power[1]) ** 2 * square:
        return low, floats_around(1 / (1 + Fraction(share[0]) + 2 * _root(fixed * square)[0]))[1]
    return low, max(point(end, no_load[0], share[0], growth[0])[1] for end in power)


def _root(value: Fraction) -> tuple[Fraction, Fraction]:
    exact = STANDARD["sqrt"].exact
    assert exact is not None
    return exact(value)


def ripple_peak(dc_current: Fraction, ripple: Fraction) -> Fraction:
    """The highest current (A) of a mean current (A) with a sine on it, its amplitude a share of the mean: I (1 + r)."""
    return dc_current * (1 + ripple)


def ripple_rms(dc_current: float, ripple: float) -> Bounds:
    """Enclosure of the effective current (A) of a mean current (A) with a sine on it: I sqrt(1 + r^2 / 2)."""
    value = dc_current * math.sqrt(1.0 + 0.5 * ripple * ripple)
    return _lower(value), math.nextafter(value + 1e-15 * value, math.inf)


def _rms_exact(dc_current: Fraction, ripple: Fraction) -> tuple[Fraction, Fraction]:
    low, high = _root(1 + ripple * ripple / 2)
    return dc_current * low, dc_current * high


def ripple_share(resistance: float, inductance: float, capacitance: float, esr: float, frequency: float) -> Bounds:
    """Enclosure of the part of a ripple current that the pack takes; the capacitor of the bus takes the rest.

    |Zc / (Zb + Zc)|, with Zb = R + j w L of pack and leads (ohm, H), Zc = esr + 1 / (j w C) of the capacitor (F, ohm),
    and w = 2 pi times the frequency of the ripple (Hz), which is twice that of the AC. More than one near resonance.
    """
    pair = (resistance,) * 2, (inductance,) * 2, (capacitance,) * 2, (esr,) * 2, (frequency,) * 2
    return _ripple_share_over(*pair)


def _ripple_share_over(
    resistance: Bounds, inductance: Bounds, capacitance: Bounds, esr: Bounds, frequency: Bounds
) -> Bounds:
    """Exact corners and critical points in R, esr, u = w L and x = 1 / (w C), these two taken as independent.

    The square (e^2 + x^2) / ((R + e)^2 + (u - x)^2) falls with R, dips once over e, and peaks once over u and over x.
    """
    turn = 2.0 * math.pi
    u = turn * frequency[0] * inductance[0], turn * frequency[1] * inductance[1]
    x = 1.0 / (turn * frequency[1] * capacitance[1]), 1.0 / (turn * frequency[0] * capacitance[0])
    low = min(_dip(resistance[1], esr, one, other) for one in u for other in x)
    high = max(_peak(resistance[0], end, u, x) for end in esr)
    # The difference u - x is as wrong as the larger of the two; against R + e that decides what it does to the share.
    slack = 4e-15 * (1.0 + (u[1] + x[1]) / (resistance[0] + esr[0]))
    return max(0.0, math.sqrt(low) * (1.0 - slack)), math.sqrt(high) * (1.0 + slack)


def _square(resistance: float, esr: float, u: float, x: float) -> float:
    return (esr * esr + x * x) / ((resistance + esr) ** 2 + (u - x) ** 2)


def _dip(resistance: float, esr: Bounds, u: float, x: float) -> float:
    """The lowest square over the resistance of the capacitor, at the positive root of R e^2 + B e - R x^2."""
    middle = resistance * resistance + (u - x) ** 2 - x * x
    least = math.hypot(middle, 2.0 * resistance * x)
    bottom = 2.0 * resistance * x * x / (middle + least) if middle > 0.0 else (least - middle) / (2.0 * resistance)
    if esr[0] < bottom < esr[1]:
        y = u - x
        sides = math.hypot(resistance, x - y) * math.hypot(resistance, x + y)
        return 2.0 * x * x / (resistance * resistance + y * y + x * x + sides)
    return min(_square(resistance, end, u, x) for end in esr)


def _peak(resistance: float, esr: float, u: Bounds, x: Bounds) -> float:
    """The highest square over a rectangle of u and x.

    Over u it is highest where u = x, as near as may be. Along that line it rises with x while u can follow, and goes on
    rising where u no longer can, up to the larger root of u x^2 - (A^2 + u^2 - e^2) x - u e^2, with A = R + e.
    """
    found = [_square(resistance, esr, min(max(end, u[0]), u[1]), end) for end in x]
    total = resistance + esr
    for end in u:
        if not end:
            continue
        middle = resistance * (resistance + 2.0 * esr) + end * end
        top = (middle + math.hypot(middle, 2.0 * end * esr)) / (2.0 * end)
        if x[0] * (1.0 - 1e-14) < top < x[1] * (1.0 + 1e-14):
            sides = math.hypot(total - esr, end) * math.hypot(total + esr, end)
            found.append((total * total + end * end + esr * esr + sides) / (2.0 * total * total))
    return max(found)


def apparent_power(active: float, reactive: float) -> Bounds:
    """Enclosure of the apparent power (VA), sqrt(P^2 + Q^2), of powers (W, var) of either sign."""
    value = math.hypot(active, reactive)
    return _lower(value), math.nextafter(value + 1e-15 * value, math.inf)


def _apparent_over(active: Bounds, reactive: Bounds) -> Bounds:
    near, far = zip(*(_sizes(pair) for pair in (active, reactive)), strict=True)
    return apparent_power(*near)[0], apparent_power(*far)[1]


def _sizes(pair: Bounds) -> Bounds:
    low, high = pair
    return (0.0 if low <= 0.0 <= high else min(abs(low), abs(high))), max(abs(low), abs(high))


def _apparent_slopes(active: Bounds, reactive: Bounds) -> tuple[Bounds, ...]:
    """P / S rises with P and falls with the size of Q; so with the two exchanged."""
    sizes = _sizes(active), _sizes(reactive)
    return _cosine(active, sizes[1]), _cosine(reactive, sizes[0])


def _cosine(own: Bounds, other: Bounds) -> Bounds:
    low = own[0] / math.hypot(own[0], other[own[0] >= 0.0])
    high = own[1] / math.hypot(own[1], other[own[1] < 0.0])
    return max(-1.0, low - 1e-15), min(1.0, high + 1e-15)


def _apparent_exact(active: Fraction, reactive: Fraction) -> tuple[Fraction, Fraction]:
    return _root(active * active + reactive * reactive)


def stable_constant_power(
    rest_voltage: Fraction, resistance: Fraction, inductance: Fraction, capacitance: Fraction
) -> Fraction:
    """The largest power (W) that may be drawn constantly on a bus without it swinging up or breaking down.

    Behind a rest voltage (V) stand R (ohm) and L (H), at the bus C (F). Small swings die away while P < R C V^2 / L and
    R < V^2 / P, at the voltage V that the power itself sags to. Both together, with k = R^2 C / L:
    P = V0^2 / R * k / (1 + k)^2 for k below one, else V0^2 / (4 R), the largest power that can be transferred.
    """
    most = rest_voltage * rest_voltage / resistance
    damped = resistance * resistance * capacitance
    if damped >= inductance:
        return most / 4
    return most * damped * inductance / (inductance + damped) ** 2


def _stable_over(rest_voltage: Bounds, resistance: Bounds, inductance: Bounds, capacitance: Bounds) -> Bounds:
    """Over the resistance it rises until R^2 = L / (3 C) and falls after."""
    point = point_of(stable_constant_power)
    low = min(point(rest_voltage[0], end, inductance[1], capacitance[0])[0] for end in resistance)
    henry, farad = Fraction(inductance[0]), Fraction(capacitance[1])
    if Fraction(resistance[0]) ** 2 * farad * 3 < henry < Fraction(resistance[1]) ** 2 * farad * 3:
        best = Fraction(rest_voltage[1]) ** 2 * Fraction(9, 16) * _root(farad / (3 * henry))[1]
        return low, floats_around(best)[1]
    return low, max(point(rest_voltage[1], end, inductance[0], capacitance[1])[1] for end in resistance)


_NO_LOAD = Argument("no_load_loss", "power taken without load", Quantity(POWER), FALLS, 0.0)
_SHARE = Argument("loss_share", "loss in proportion to the power, as a share of it", Quantity(NUMBER), FALLS, 0.0)
_GROWTH = Argument("loss_growth", "loss that grows with the square of the power, in 1/W", Quantity(NUMBER / POWER),
                   FALLS, 0.0)  # fmt: skip
_RIPPLE = Argument("ripple", "amplitude of the ripple as a share of the mean current", Quantity(NUMBER), RISES, 0.0)
_MEAN = Argument("dc_current", "mean current, as a DC meter shows it", Quantity(CURRENT), RISES, 0.0)
FUNCTIONS = (
    Function(
        "current_at_power",
        "The DC current that delivers a power from a source with rest voltage and series resistance; more than any "
        "limit where no current delivers it.",
        (
            Argument("power", "power drawn on the DC side", Quantity(POWER), Direction.RISES, 0.0),
            Argument("rest_voltage", "voltage of the source without current", Quantity(VOLTAGE), Direction.FALLS, 0.0),
            Argument("resistance", "series resistance of the source and its leads", Quantity(RESISTANCE),
                     Direction.RISES, 0.0),
        ),
        _current,
        current_at_power,
        "P = I (V - I R) solved for I, smaller root",
        slopes=_slopes,
    ),
    Function(
        "dc_power_drawn",
        "The power that a converter takes from the DC side for a power on its AC side.",
        (
            Argument("ac_power", "power delivered on the AC side", Quantity(POWER), RISES, 0.0),
            Argument("efficiency", "efficiency at that power", Quantity(NUMBER), FALLS, LEAST, 1.0),
        ),
        gives(POWER), point_of(dc_power_drawn), "P_dc = P_ac / efficiency (energy balance)",
        exact=exact_of(dc_power_drawn),
    ),
    Function(
        "dc_power_charging",
        "The power that reaches the DC side of a power that a converter takes on its AC side.",
        (
            Argument("ac_power", "power taken on the AC side", Quantity(POWER), RISES, 0.0),
            Argument("efficiency", "efficiency at that power", Quantity(NUMBER), RISES, 0.0, 1.0),
        ),
        gives(POWER), point_of(dc_power_charging), "P_dc = P_ac * efficiency (energy balance)",
        exact=exact_of(dc_power_charging),
    ),
    Function(
        "dc_power_with_losses",
        "The power that a converter takes from the DC side for a power on its AC side, with its losses in three parts.",
        (
            Argument("ac_power", "power delivered on the AC side", Quantity(POWER), RISES, 0.0),
            *(evolve(item, direction=RISES) for item in (_NO_LOAD, _SHARE, _GROWTH)),
        ),
        gives(POWER), point_of(dc_power_with_losses), "P_dc = P + p0 + k1 P + k2 P^2 (losses by parts)",
        exact=exact_of(dc_power_with_losses),
    ),
    Function(
        "efficiency_with_losses",
        "The efficiency of a converter at a power, with its losses in three parts; low at light load.",
        (
            Argument("ac_power", "power delivered on the AC side", Quantity(POWER), NEITHER, LEAST),
            _NO_LOAD, _SHARE, _GROWTH,
        ),
        gives(NUMBER), point_of(efficiency_with_losses), "P / (P + p0 + k1 P + k2 P^2) (losses by parts)",
        enclose=_efficiency_over, exact=exact_of(efficiency_with_losses),
    ),
    Function(
        "ripple_peak",
        "The highest instantaneous current of a mean current with a sinusoidal ripple.",
        (_MEAN, _RIPPLE),
        gives(CURRENT), point_of(ripple_peak), "I (1 + r) (sine on a mean)", exact=exact_of(ripple_peak),
    ),
    Function(
        "ripple_rms",
        "The effective current, which heats, of a mean current with a sinusoidal ripple.",
        (_MEAN, _RIPPLE),
        gives(CURRENT), ripple_rms, "I sqrt(1 + r^2 / 2) (mean square of a sine on a mean)", exact=_rms_exact,
    ),
    Function(
        "ripple_share",
        "The part of the ripple current of a converter that the pack takes, the capacitor of the bus taking the rest.",
        (
            Argument("resistance", "resistance of pack and leads", Quantity(RESISTANCE), FALLS, 1e-9, 1e9),
            Argument("inductance", "inductance of pack and leads", Quantity(INDUCTANCE), NEITHER, 0.0, 1e3),
            Argument("capacitance", "capacitance of the bus", Quantity(CAPACITANCE), NEITHER, 1e-12, 1e6),
            Argument("esr", "series resistance of that capacitance", Quantity(RESISTANCE), NEITHER, 0.0, 1e9),
            Argument("frequency", "frequency of the ripple, twice that of the AC", Quantity(FREQUENCY), NEITHER,
                     1e-3, 1e9),
        ),
        gives(NUMBER), ripple_share, "|Zc / (Zb + Zc)| (current divider)", enclose=_ripple_share_over,
    ),
    Function(
        "apparent_power",
        "The apparent power of an active and a reactive one; for distortion, apply it once more.",
        (
            Argument("active_power", "active power, of either sign", Quantity(POWER)),
            Argument("reactive_power", "reactive power, of either sign", Quantity(POWER)),
        ),
        gives(POWER), apparent_power, "S = sqrt(P^2 + Q^2) (definition)",
        enclose=_apparent_over, exact=_apparent_exact, slopes=_apparent_slopes,
    ),
    Function(
        "stable_constant_power",
        "The largest constant power that a source with resistance and inductance feeds to a bus with a capacitance "
        "without swinging up or breaking down.",
        (
            Argument("rest_voltage", "voltage of the source without current", Quantity(VOLTAGE), RISES, 0.0),
            Argument("resistance", "series resistance of the source and its leads", Quantity(RESISTANCE), NEITHER,
                     LEAST),
            Argument("inductance", "series inductance of the source and its leads", Quantity(INDUCTANCE), FALLS, 0.0),
            Argument("capacitance", "capacitance of the bus", Quantity(CAPACITANCE), RISES, LEAST),
        ),
        gives(POWER), point_of(stable_constant_power),
        "trace and determinant of the linearised circuit L di/dt = V0 - R i - v, C dv/dt = i - P/v",
        enclose=_stable_over, exact=exact_of(stable_constant_power),
    ),
)  # fmt: skip
