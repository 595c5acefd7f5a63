"""How packs in parallel share a current: shares, circulation, ceilings of the bank, the loss of one, busbars.

Currents are positive into a pack (charging). The computations on sequences work in rationals and are exact; those
over ranges take (low, high) for each figure and name the corners that decide.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterable, Sequence
from fractions import Fraction

from attrs import frozen

from limitrules.foundation.dimension import CURRENT, NUMBER, RESISTANCE, VOLTAGE
from limitrules.foundation.exact import floats_around
from limitrules.foundation.kinds import Quantity
from limitrules.language.functions import Argument, Bounds, Function
from limitrules.physics.converters import FALLS, LEAST, NEITHER, RISES, exact_of, gives, point_of

Pair = tuple[Fraction, Fraction]
MOST_UNCERTAIN = 12
"""So many resistances of a busbar network may be uncertain: all corners are tried."""
MOST_PACKS = 8
"""So many packs are followed through every order in which they may trip."""


@frozen
class Shares:
    """Packs on one node: its voltage (V); for each its current (A), its share of the total, and what circulates (A)."""

    voltage: Fraction
    currents: tuple[Fraction, ...]
    shares: tuple[Fraction, ...]
    circulating: tuple[Fraction, ...]


@frozen
class Cascade:
    """What follows a loss: which packs trip at which time (s) after it, the packs that stay, and their currents (A)."""

    trips: tuple[tuple[Fraction, tuple[int, ...]], ...]
    remaining: tuple[int, ...]
    currents: tuple[Fraction, ...]


@frozen
class Busbar:
    """Two rails along which packs are tapped in order, and where the current enters the one and leaves the other.

    ``positive`` and ``negative`` hold the resistance (ohm) between each tap and the next.
    """

    positive: tuple[Fraction, ...]
    negative: tuple[Fraction, ...]
    positive_end: int = 0
    negative_end: int = 0


def share_current(resistances: Sequence[Fraction], rests: Sequence[Fraction], total: Fraction) -> Shares:
    """Packs with path resistances (ohm) and rest voltages (V) on one node that takes a total current (A).

    V = (sum of G E + I) / sum of G with G = 1 / R (nodal analysis); I_i = G_i (V - E_i). Raises ValueError for no pack,
    for lists of unequal length and for a resistance that is not above zero.
    """
    _check(resistances, rests)
    conductances = [1 / resistance for resistance in resistances]
    whole = sum(conductances, Fraction(0))
    rest = sum((g * e for g, e in zip(conductances, rests, strict=True)), Fraction(0)) / whole
    voltage = rest + total / whole
    return Shares(
        voltage,
        tuple(g * (voltage - e) for g, e in zip(conductances, rests, strict=True)),
        tuple(g / whole for g in conductances),
        tuple(g * (rest - e) for g, e in zip(conductances, rests, strict=True)),
    )


def _check(resistances: Sequence[Fraction], *others: Sequence[object]) -> None:
    if not resistances or any(len(item) != len(resistances) for item in others):
        given = [len(item) for item in (resistances, *others)]
        raise ValueError(f"expected one figure of each sort for each of one or more packs; given {given}")
    if min(resistances) <= 0:
        raise ValueError(f"expected resistances above zero; given {min(resistances)}")


def current_ranges(resistances: Sequence[Pair], rests: Sequence[Pair], total: Pair) -> tuple[Pair, ...]:
    """The exact range of the current of each pack over ranges of all figures.

    Pack i carries most with its own rest voltage low, the others high, and the total high. With those fixed, its
    current is a quotient of linear functions of each resistance: rising with R_j where pack j is charged, falling where
    it is discharged, the contrary for R_i. Whether j is charged depends on its rest voltage being below that of the
    node, so R_j is high for all packs below some level and low above it: n corners for either end of R_i.
    """
    _check([low for low, _ in resistances], rests)
    downs = [_turned(pair) for pair in rests]
    places = range(len(resistances))
    lowest = [-_most(at, resistances, downs, -total[0]) for at in places]
    return tuple((lowest[at], _most(at, resistances, rests, total[1])) for at in places)


def _turned(pair: Pair) -> Pair:
    return -pair[1], -pair[0]


def _most(at: int, resistances: Sequence[Pair], rests: Sequence[Pair], total: Fraction) -> Fraction:
    fixed = [pair[place != at] for place, pair in enumerate(rests)]
    found = []
    for corner in _corners(resistances, fixed):
        for own in resistances[at]:
            corner[at] = own
            found.append(share_current(corner, fixed, total).currents[at])
    return max(found)


def _corners(resistances: Sequence[Pair], rests: Sequence[Fraction]) -> Iterable[list[Fraction]]:
    """Resistances high for packs whose rest voltage is at or below a level, low above it, for every level."""
    for level in [min(rests) - 1, *sorted(set(rests))]:
        yield [pair[rest <= level] for pair, rest in zip(resistances, rests, strict=True)]


def voltage_range(resistances: Sequence[Pair], rests: Sequence[Pair], total: Pair) -> Pair:
    """The exact range of the voltage (V) of the node.

    It rises with every rest voltage and the total, and with the resistance of each pack that is charged.
    """
    _check([low for low, _ in resistances], rests)
    ends = []
    for sign, pairs, current in ((-1, [_turned(pair) for pair in rests], -total[0]), (1, rests, total[1])):
        fixed = [high for _, high in pairs]
        corners = _corners(resistances, fixed)
        ends.append(sign * max(share_current(corner, fixed, current).voltage for corner in corners))
    return ends[0], ends[1]


def bank_ceiling(
    resistances: Sequence[Fraction], rests: Sequence[Fraction], ceilings: Sequence[Fraction]
) -> tuple[Fraction, int]:
    """The largest total charging current (A) at which no pack is above its own ceiling (A), and the pack that sets it.

    Pack i reaches its ceiling at the node voltage E_i + L_i R_i. The lowest of these, V, governs, and the total there
    is the sum of (V - E_j) / R_j. It is below zero where circulation alone overloads a pack. For discharging, turn
    the sign of the rest voltages.
    """
    _check(resistances, rests, ceilings)
    levels = [e + limit * r for r, e, limit in zip(resistances, rests, ceilings, strict=True)]
    voltage = min(levels)
    total = sum(((voltage - e) / r for r, e in zip(resistances, rests, strict=True)), Fraction(0))
    return total, levels.index(voltage)


def bank_ceiling_range(resistances: Sequence[Pair], rests: Sequence[Pair], ceilings: Sequence[Pair]) -> Pair:
    """The range of the ceiling (A) of a bank: the low end is reached, the high one may not be.

    The ceiling that pack i alone would set is L_i + sum over the others of (E_i + L_i R_i - E_j) / R_j. It is lowest
    with L_i, E_i and R_i low (R_i high where L_i is below zero) and E_j high; R_j then goes by the sign of its term.
    """
    _check([low for low, _ in resistances], rests, ceilings)
    places = range(len(resistances))
    low, high = (min(_alone(at, end, resistances, rests, ceilings) for at in places) for end in (0, 1))
    return low, high


def _alone(at: int, end: int, resistances: Sequence[Pair], rests: Sequence[Pair], ceilings: Sequence[Pair]) -> Fraction:
    limit = ceilings[at][end]
    level = rests[at][end] + limit * resistances[at][end if limit >= 0 else 1 - end]
    total = limit
    for place, (resistance, rest) in enumerate(zip(resistances, rests, strict=True)):
        if place != at:
            room = level - rest[1 - end]
            total += room / resistance[(room > 0) != bool(end)]
    return total


def bank_window(resistances: Sequence[Fraction], rests: Sequence[Fraction], limits: Sequence[Pair]) -> Pair | None:
    """The total currents (A, from discharging to charging) at which every pack stays within its limits.

    ``limits`` holds the largest discharge and the largest charge current (A) of each, both as sizes. None where no
    total keeps them all: circulation is then too strong.
    """
    _check(resistances, rests, limits)
    lowest = max(e - out * r for r, e, (out, _) in zip(resistances, rests, limits, strict=True))
    highest = min(e + into * r for r, e, (_, into) in zip(resistances, rests, limits, strict=True))
    if lowest > highest:
        return None
    low, high = (
        sum(((level - e) / r for r, e in zip(resistances, rests, strict=True)), Fraction(0))
        for level in (lowest, highest)
    )
    return low, high


def joined(
    resistances: Sequence[Fraction], rests: Sequence[Fraction], total: Fraction, resistance: Fraction, rest: Fraction
) -> tuple[Fraction, Shares]:
    """The voltage (V) over the open switch of a pack that is to join, and the currents at once after it has.

    The joining pack is the last one. Over ranges, use ``current_ranges`` with it included.
    """
    before = share_current(resistances, rests, total).voltage
    return before - rest, share_current([*resistances, resistance], [*rests, rest], total)


def cascade(
    resistances: Sequence[Fraction],
    rests: Sequence[Fraction],
    total: Fraction,
    limits: Sequence[Pair],
    delays: Sequence[Fraction],
    lost: Collection[int],
) -> Cascade:
    """Which packs trip, in which order and when, after some are lost while the total current (A) stays.

    ``limits`` are the thresholds (A) for discharge and charge, as sizes; ``delays`` (s) how long a pack stays above
    before it trips. A timer starts at the loss at the earliest and anew when a pack has come back below.
    """
    _check(resistances, rests, limits, delays)
    remaining = [place for place in range(len(resistances)) if place not in lost]
    since: dict[int, Fraction] = {}
    now = Fraction(0)
    trips: list[tuple[Fraction, tuple[int, ...]]] = []
    while remaining:
        currents = share_current([resistances[i] for i in remaining], [rests[i] for i in remaining], total).currents
        above = {
            i: since.get(i, now)
            for i, current in zip(remaining, currents, strict=True)
            if current > limits[i][1] or -current > limits[i][0]
        }
        if not above:
            return Cascade(tuple(trips), tuple(remaining), currents)
        now = min(start + delays[i] for i, start in above.items())
        gone = tuple(i for i, start in above.items() if start + delays[i] == now)
        trips.append((now, gone))
        remaining = [i for i in remaining if i not in gone]
        since = {i: start for i, start in above.items() if i not in gone}
    return Cascade(tuple(trips), (), ())


def cascade_outcomes(
    resistances: Sequence[Pair],
    rests: Sequence[Pair],
    total: Pair,
    limits: Sequence[tuple[Pair, Pair]],
    lost: Collection[int],
) -> frozenset[frozenset[int]]:
    """Every set of packs that may be what stays after a loss, over ranges of all figures and whatever the delays.

    From each set, any packs that may be above a threshold may trip next, alone or together; it may be the last one
    where none surely is above. Each step takes the ranges anew, so a set may be named that no single choice of figures
    leads to; none is left out. Raises ValueError for more packs than can be followed.
    """
    _check([low for low, _ in resistances], rests, limits)
    if len(resistances) > MOST_PACKS:
        raise ValueError(f"expected {MOST_PACKS} packs at most; given {len(resistances)}")
    start = frozenset(range(len(resistances))) - frozenset(lost)
    seen, waiting, final = {start}, [start], set()
    while waiting:
        here = waiting.pop()
        may, must = _above(sorted(here), resistances, rests, total, limits)
        if not must:
            final.add(here)
        for count in range(1, len(may) + 1):
            for gone in itertools.combinations(may, count):
                there = here - frozenset(gone)
                if there not in seen:
                    seen.add(there)
                    waiting.append(there)
    return frozenset(final)


def _above(
    here: list[int],
    resistances: Sequence[Pair],
    rests: Sequence[Pair],
    total: Pair,
    limits: Sequence[tuple[Pair, Pair]],
) -> tuple[list[int], bool]:
    """The packs that may be above a threshold, and whether one surely is."""
    if not here:
        return [], False
    may, must = [], False
    ranges = current_ranges([resistances[i] for i in here], [rests[i] for i in here], total)
    for i, (low, high) in zip(here, ranges, strict=True):
        out, into = limits[i]
        if high > into[0] or -low > out[0]:
            may.append(i)
        must = must or low > into[1] or -high > out[1]
    return may, must


def busbar_currents(
    resistances: Sequence[Fraction], rests: Sequence[Fraction], total: Fraction, busbar: Busbar
) -> tuple[Fraction, ...]:
    """The current (A) of each pack along two rails.

    From tap to tap the voltage between the rails changes by what the rails carry (Kirchhoff's laws); all is linear in
    the current of the first pack, which the total then fixes. Raises ValueError as ``share_current`` does, and where
    the rails do not fit the packs.
    """
    _check(resistances, rests)
    count = len(resistances)
    if len(busbar.positive) != count - 1 or len(busbar.negative) != count - 1:
        raise ValueError(f"expected {count - 1} segments on each rail")
    if not (0 <= busbar.positive_end < count and 0 <= busbar.negative_end < count):
        raise ValueError(f"expected ends at one of the taps 0 to {count - 1}")
    # Each figure is (a, b) for a + b x, x being the current of the first pack.
    voltage, carried = (rests[0], resistances[0]), (Fraction(0), Fraction(0))
    currents = []
    for place, (resistance, rest) in enumerate(zip(resistances, rests, strict=True)):
        own = (voltage[0] - rest) / resistance, voltage[1] / resistance
        currents.append(own)
        carried = carried[0] + own[0], carried[1] + own[1]
        if place < count - 1:
            up, down = busbar.positive[place], busbar.negative[place]
            fed = total * ((up if busbar.positive_end <= place else 0) + (down if busbar.negative_end <= place else 0))
            voltage = voltage[0] + (up + down) * carried[0] - fed, voltage[1] + (up + down) * carried[1]
    first = (total - carried[0]) / carried[1]
    return tuple(a + b * first for a, b in currents)


def busbar_ranges(
    resistances: Sequence[Pair],
    rests: Sequence[Pair],
    total: Pair,
    positive: Sequence[Pair],
    negative: Sequence[Pair],
    ends: tuple[int, int] = (0, 0),
) -> tuple[Pair, ...]:
    """The exact range of the current (A) of each pack along two rails, over ranges of all figures.

    A current of a resistive network is a quotient of linear functions of each resistance, without a pole, so corners
    decide; it is linear in the rest voltages and the total. Raises ValueError for more uncertain resistances than
    corners can be tried for.
    """
    sides = [*resistances, *positive, *negative]
    if sum(low != high for low, high in sides) > MOST_UNCERTAIN:
        raise ValueError(f"expected {MOST_UNCERTAIN} uncertain resistances at most")
    count, rail = len(resistances), len(positive)
    sources = [*rests, total]
    found: list[Pair] = []
    for corner in itertools.product(*(sorted(set(pair)) for pair in sides)):
        busbar = Busbar(corner[count : count + rail], corner[count + rail :], *ends)
        per_source = [
            busbar_currents(corner[:count], _unit(at, count), Fraction(at == count), busbar) for at in range(count + 1)
        ]
        here = [_spread([per[at] for per in per_source], sources) for at in range(count)]
        found = [(min(a[0], b[0]), max(a[1], b[1])) for a, b in zip(found or here, here, strict=True)]
    return tuple(found)


def _unit(at: int, count: int) -> list[Fraction]:
    return [Fraction(place == at) for place in range(count)]


def _spread(weights: Sequence[Fraction], pairs: Sequence[Pair]) -> Pair:
    low = sum((w * pair[w < 0] for w, pair in zip(weights, pairs, strict=True)), Fraction(0))
    return low, sum((w * pair[w >= 0] for w, pair in zip(weights, pairs, strict=True)), Fraction(0))


def share_of_pack(own: Fraction, others: Fraction) -> Fraction:
    """The share of a pack in the total, from its path resistance and the parallel resistance of the others (ohm)."""
    return others / (own + others)


def parallel_resistance(first: Fraction, second: Fraction) -> Fraction:
    """Two resistances (ohm) in parallel."""
    return first * second / (first + second)


def circulating_current(rest: Fraction, other_rest: Fraction, own: Fraction, other: Fraction) -> Fraction:
    """The current (A) into the first of two packs joined without load: (E2 - E1) / (R1 + R2), in V and ohm."""
    return (other_rest - rest) / (own + other)


def joining_current(
    bank_voltage: Fraction, bank_resistance: Fraction, bank_current: Fraction, rest: Fraction, own: Fraction
) -> Fraction:
    """The current (A) into a pack at once after it joins a bank: (E_b + I R_b - E) / (R_b + R), in V, ohm and A.

    The bank stands at E_b without current and takes a total current I, charging above zero, before and after.
    """
    return (bank_voltage + bank_current * bank_resistance - rest) / (bank_resistance + own)


def _circulating_over(rest: Bounds, other_rest: Bounds, own: Bounds, other: Bounds) -> Bounds:
    """The difference of rest voltages goes one way in each; by its sign the resistances are lowest or highest."""
    point = point_of(circulating_current)
    low = min(point(rest[1], other_rest[0], own[end], other[end])[0] for end in (0, 1))
    return low, max(point(rest[0], other_rest[1], own[end], other[end])[1] for end in (0, 1))


def _joining_over(voltage: Bounds, bank: Bounds, current: Bounds, rest: Bounds, own: Bounds) -> Bounds:
    """A quotient of linear functions of either resistance, so their corners decide; the others go one way."""
    corners = [(Fraction(one), Fraction(other)) for one in bank for other in own]
    ends = []
    for end, choose in ((0, min), (1, max)):
        sources = Fraction(voltage[end]), Fraction(current[end]), Fraction(rest[1 - end])
        values = [joining_current(sources[0], one, sources[1], sources[2], other) for one, other in corners]
        ends.append(floats_around(choose(values))[end])
    return ends[0], ends[1]


_VOLT, _OHM = Quantity(VOLTAGE), Quantity(RESISTANCE)
_OWN = "resistance of the pack and its leads"
FUNCTIONS = (
    Function(
        "share_of_pack", "The share of a pack in the current of its bank, where rest voltages are equal.",
        (Argument("own_resistance", _OWN, _OHM, FALLS, LEAST),
         Argument("others_resistance", "parallel resistance of the other packs", _OHM, RISES, LEAST)),
        gives(NUMBER), point_of(share_of_pack), "G / sum of G (current divider)", exact=exact_of(share_of_pack),
    ),
    Function(
        "parallel_resistance", "The resistance of two in parallel; apply it again for more.",
        (Argument("first", "a resistance", _OHM, RISES, LEAST), Argument("second", "the other", _OHM, RISES, LEAST)),
        gives(RESISTANCE), point_of(parallel_resistance), "R1 R2 / (R1 + R2)", exact=exact_of(parallel_resistance),
    ),
    Function(
        "circulating_current", "The current into the first of two packs that are joined without load.",
        (Argument("rest_voltage", "voltage of the first without current", _VOLT, FALLS),
         Argument("other_rest_voltage", "voltage of the second without current", _VOLT, RISES),
         Argument("resistance", _OWN, _OHM, NEITHER, LEAST),
         Argument("other_resistance", "the same of the second", _OHM, NEITHER, LEAST)),
        gives(CURRENT), point_of(circulating_current), "(E2 - E1) / (R1 + R2) (loop of two)",
        enclose=_circulating_over, exact=exact_of(circulating_current),
    ),
    Function(
        "joining_current", "The current into a pack at once after it joins a bank that carries a current.",
        (Argument("bank_voltage", "voltage of the bank without current", _VOLT, RISES),
         Argument("bank_resistance", "parallel resistance of the bank", _OHM, NEITHER, 0.0),
         Argument("bank_current", "total current, above zero where it charges", Quantity(CURRENT), RISES),
         Argument("rest_voltage", "voltage of the joining pack without current", _VOLT, FALLS),
         Argument("resistance", _OWN, _OHM, NEITHER, LEAST)),
        gives(CURRENT), point_of(joining_current), "(E_b + I R_b - E) / (R_b + R) (nodal analysis)",
        enclose=_joining_over, exact=exact_of(joining_current),
    ),
)  # fmt: skip
