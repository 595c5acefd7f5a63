"""Sharing between packs, against nodal analysis solved as a matrix, against scanning, and against sampling."""

from __future__ import annotations

import random
from collections.abc import Sequence
from fractions import Fraction

import mpmath
import pytest
from attrs import evolve
from hypothesis import given
from hypothesis import strategies as st

from limitrules.engine.survey import Survey
from limitrules.foundation.source import Source
from limitrules.language.functions import Direction, refute
from limitrules.physics import FUNCTIONS
from limitrules.physics import sharing as s
from limitrules.rules.rulepack import check_drafts, parse_draft
from tests.rules.support import document, rule, surveyed, system

MINE = {item.name: item for item in s.FUNCTIONS}
REGISTRY = FUNCTIONS.extended(item for item in s.FUNCTIONS if item.name not in FUNCTIONS)
F = Fraction
OHMS = st.integers(1, 400).map(lambda n: F(n, 10_000))
VOLTS = st.integers(7600, 8200).map(lambda n: F(n, 100))
AMPS = st.integers(-4000, 4000).map(lambda n: F(n, 10))
PACKS = st.lists(st.tuples(OHMS, VOLTS), min_size=1, max_size=5)
Pair = tuple[Fraction, Fraction]


def solved(resistances: Sequence[F], rests: Sequence[F], total: F, bar: s.Busbar | None = None) -> list[mpmath.mpf]:
    """The currents from G V = J over all nodes, the last negative one being the reference."""
    count = len(resistances)
    bar = bar or s.Busbar((F(0),) * (count - 1), (F(0),) * (count - 1))
    rails = bar.positive, bar.negative
    # Taps without resistance between them are one node.
    nodes: list[list[int]] = []
    number = 0
    for rail in rails:
        row = [number]
        for step in rail:
            number += step != 0
            row.append(number)
        nodes.append(row)
        number += 1
    with mpmath.workdps(40):
        g, j = mpmath.zeros(number), mpmath.zeros(number, 1)

        def link(a: int, b: int, ohm: F) -> None:
            value = mpmath.mpf(ohm.denominator) / ohm.numerator
            for one, other in ((a, b), (b, a)):
                g[one, one] += value
                g[one, other] -= value

        for rail, row in zip(rails, nodes, strict=True):
            for at, step in enumerate(rail):
                if step:
                    link(row[at], row[at + 1], step)
        for at, (ohm, rest) in enumerate(zip(resistances, rests, strict=True)):
            link(nodes[0][at], nodes[1][at], ohm)
            push = mpmath.mpf((rest / ohm).numerator) / (rest / ohm).denominator
            j[nodes[0][at]] += push
            j[nodes[1][at]] -= push
        fed = mpmath.mpf(total.numerator) / total.denominator
        j[nodes[0][bar.positive_end]] += fed
        j[nodes[1][bar.negative_end]] -= fed
        v = mpmath.lu_solve(g[: number - 1, : number - 1], j[: number - 1, 0]) if number > 1 else []
        volts = [*v, mpmath.mpf(0)]
        return [
            (volts[nodes[0][at]] - volts[nodes[1][at]] - mpmath.mpf(rest.numerator) / rest.denominator)
            * ohm.denominator / ohm.numerator
            for at, (ohm, rest) in enumerate(zip(resistances, rests, strict=True))
        ]  # fmt: skip


@given(PACKS, AMPS)
def test_currents_are_those_of_nodal_analysis(packs: list[Pair], total: F) -> None:
    ohms, rests = zip(*packs, strict=True)
    found = s.share_current(ohms, rests, total)
    assert [float(x) for x in found.currents] == pytest.approx([float(x) for x in solved(ohms, rests, total)], abs=1e-9)
    assert sum(found.currents) == total
    assert sum(found.circulating) == 0
    assert sum(found.shares) == 1
    parts = zip(found.currents, found.shares, found.circulating, strict=True)
    assert all(current == total * share + loop for current, share, loop in parts)
    assert all(found.voltage == e + r * i for r, e, i in zip(ohms, rests, found.currents, strict=True))


@given(st.lists(st.tuples(OHMS, VOLTS, OHMS, OHMS), min_size=1, max_size=5), AMPS, st.data())
def test_busbar_currents_are_those_of_nodal_analysis(
    taps: list[tuple[F, F, F, F]], total: F, data: st.DataObject
) -> None:
    ohms, rests, up, down = (list(item) for item in zip(*taps, strict=True))
    ends = [data.draw(st.integers(0, len(taps) - 1)) for _ in range(2)]
    bar = s.Busbar(tuple(up[1:]), tuple(down[1:]), ends[0], ends[1])
    found = s.busbar_currents(ohms, rests, total, bar)
    assert sum(found) == total
    assert [float(x) for x in found] == pytest.approx([float(x) for x in solved(ohms, rests, total, bar)], abs=1e-8)


def test_rails_without_resistance_are_one_node() -> None:
    ohms, rests = [F(1, 100), F(3, 200)], [F(80), F(81)]
    bar = s.Busbar((F(0),), (F(0),), 1, 0)
    assert s.busbar_currents(ohms, rests, F(50), bar) == s.share_current(ohms, rests, F(50)).currents


def test_a_diagonal_take_off_shares_better_than_one_at_the_same_end() -> None:
    ohms, rests, rail = [F(95, 10_000)] * 4, [F(80)] * 4, (F(1, 2000),) * 3
    same = s.busbar_currents(ohms, rests, F(200), s.Busbar(rail, rail, 0, 0))
    across = s.busbar_currents(ohms, rests, F(200), s.Busbar(rail, rail, 0, 3))
    assert max(same) == same[0]
    assert max(across) / min(across) < max(same) / min(same)
    assert across[0] == across[3]


def ranges(generator: random.Random, base: F, spread: float) -> Pair:
    low = base * F(1 - spread * generator.random()).limit_denominator(1000)
    return low, low + base * F(spread * generator.random()).limit_denominator(1000)


def within(generator: random.Random, pair: Pair) -> F:
    part = generator.choice([F(0), F(1), F(generator.randrange(101), 100)])
    return pair[0] + part * (pair[1] - pair[0])


def drawn(seed: int, count: int) -> tuple[random.Random, list[Pair], list[Pair], Pair]:
    generator = random.Random(seed)
    ohms = [ranges(generator, F(generator.randrange(20, 200), 10_000), 0.4) for _ in range(count)]
    rests = [ranges(generator, F(generator.randrange(7900, 8100), 100), 0.01) for _ in range(count)]
    ends = sorted(F(generator.randrange(-300, 300)) for _ in range(2))
    return generator, ohms, rests, (ends[0], ends[1])


@pytest.mark.parametrize("seed", range(40))
def test_no_sample_leaves_the_ranges_and_corners_reach_them(seed: int) -> None:
    generator, ohms, rests, total = drawn(seed, 2 + seed % 3)
    found, voltage = s.current_ranges(ohms, rests, total), s.voltage_range(ohms, rests, total)
    reached: list[list[F]] = [[] for _ in ohms]
    volts = []
    for _ in range(150):
        here = s.share_current(
            [within(generator, x) for x in ohms], [within(generator, x) for x in rests], within(generator, total)
        )
        volts.append(here.voltage)
        for at, current in enumerate(here.currents):
            assert found[at][0] <= current <= found[at][1]
            reached[at].append(current)
    assert voltage[0] <= min(volts)
    assert max(volts) <= voltage[1]


def every_corner(pairs: Sequence[Pair]) -> list[list[F]]:
    found: list[list[F]] = [[]]
    for pair in pairs:
        found = [[*row, end] for row in found for end in pair]
    return found


@pytest.mark.parametrize("seed", range(12))
def test_the_few_corners_that_are_tried_are_the_best_of_all(seed: int) -> None:
    _, ohms, rests, total = drawn(seed, 3)
    everything = [
        s.share_current(row[:3], row[3:6], row[6]) for row in every_corner([*ohms, *rests, total])
    ]  # fmt: skip
    for at, (low, high) in enumerate(s.current_ranges(ohms, rests, total)):
        assert low == min(item.currents[at] for item in everything)
        assert high == max(item.currents[at] for item in everything)
    volts = [item.voltage for item in everything]
    assert s.voltage_range(ohms, rests, total) == (min(volts), max(volts))


def test_without_circulation_the_share_falls_with_its_own_resistance_and_rises_with_the_others() -> None:
    ohms, rest = [(F(9, 1000), F(11, 1000))] * 3, [(F(80), F(80))] * 3
    ((low, high), *_) = s.current_ranges(ohms, rest, (F(90), F(90)))
    assert high == s.share_current([F(9, 1000), F(11, 1000), F(11, 1000)], [F(80)] * 3, F(90)).currents[0]
    assert low == s.share_current([F(11, 1000), F(9, 1000), F(9, 1000)], [F(80)] * 3, F(90)).currents[0]


@pytest.mark.parametrize("seed", range(8))
def test_busbar_ranges_hold_all_samples_and_are_reached(seed: int) -> None:
    generator, ohms, rests, total = drawn(seed, 3)
    rails = [[ranges(generator, F(1, 1000), 0.5) for _ in range(2)] for _ in range(2)]
    found = s.busbar_ranges(ohms, rests, total, rails[0], rails[1], (0, seed % 3))
    for _ in range(100):
        up, down = (tuple(within(generator, x) for x in rail) for rail in rails)
        bar = s.Busbar(up, down, 0, seed % 3)
        here = s.busbar_currents(
            [within(generator, x) for x in ohms], [within(generator, x) for x in rests], within(generator, total), bar
        )
        assert all(low <= current <= high for current, (low, high) in zip(here, found, strict=True))
    if seed < 2:
        pairs = [*ohms, *rails[0], *rails[1], *rests, total]
        ends = [
            s.busbar_currents(row[:3], row[7:10], row[10], s.Busbar(tuple(row[3:5]), tuple(row[5:7]), 0, seed % 3))
            for row in every_corner(pairs)
        ]
        for at, (low, high) in enumerate(found):
            assert (low, high) == (min(row[at] for row in ends), max(row[at] for row in ends))


def scanned_ceiling(ohms: Sequence[F], rests: Sequence[F], ceilings: Sequence[F]) -> float:
    """The largest total by bisection."""
    low, high = -1e5, 1e5
    for _ in range(80):
        middle = (low + high) / 2
        currents = s.share_current(ohms, rests, F(middle)).currents
        if all(current <= limit for current, limit in zip(currents, ceilings, strict=True)):
            low = middle
        else:
            high = middle
    return low


@given(st.lists(st.tuples(OHMS, VOLTS, st.integers(20, 200).map(F)), min_size=1, max_size=4))
def test_the_ceiling_of_a_bank_is_where_the_first_pack_reaches_its_own(packs: list[tuple[F, F, F]]) -> None:
    ohms, rests, ceilings = zip(*packs, strict=True)
    found, governing = s.bank_ceiling(ohms, rests, ceilings)
    assert float(found) == pytest.approx(scanned_ceiling(ohms, rests, ceilings), abs=1e-6)
    currents = s.share_current(ohms, rests, found).currents
    assert currents[governing] == ceilings[governing]
    assert all(current <= limit for current, limit in zip(currents, ceilings, strict=True))


@pytest.mark.parametrize("seed", range(25))
def test_the_lowest_ceiling_over_ranges_is_reached_and_none_is_outside(seed: int) -> None:
    generator, ohms, rests, _ = drawn(seed, 3)
    ceilings = [ranges(generator, F(generator.randrange(50, 150)), 0.2) for _ in range(3)]
    low, high = s.bank_ceiling_range(ohms, rests, ceilings)
    corners = [s.bank_ceiling(row[:3], row[3:6], row[6:])[0] for row in every_corner([*ohms, *rests, *ceilings])]
    assert min(corners) == low
    assert max(corners) <= high
    for _ in range(60):
        here = [[within(generator, x) for x in rows] for rows in (ohms, rests, ceilings)]
        assert low <= s.bank_ceiling(*here)[0] <= high


@given(st.lists(st.tuples(OHMS, VOLTS, st.integers(0, 300), st.integers(0, 300)), min_size=1, max_size=4), AMPS)
def test_a_total_is_in_the_window_exactly_where_every_pack_keeps_its_limits(
    packs: list[tuple[F, F, int, int]], total: F
) -> None:
    ohms, rests = [item[0] for item in packs], [item[1] for item in packs]
    limits = [(F(item[2]), F(item[3])) for item in packs]
    window = s.bank_window(ohms, rests, limits)
    currents = s.share_current(ohms, rests, total).currents
    kept = all(-out <= current <= into for current, (out, into) in zip(currents, limits, strict=True))
    assert kept == (window is not None and window[0] <= total <= window[1])


OHM3, REST3 = [F(95, 10_000), F(106, 10_000), F(131, 10_000)], [F(80)] * 3


def test_the_worked_ceiling() -> None:
    found, governing = s.bank_ceiling(OHM3, REST3, [F(96), F(96), F(78)])
    assert float(found) == pytest.approx(251.656, abs=6e-4)
    assert governing == 0
    shares = s.share_current(OHM3, REST3, F(1)).shares
    assert [float(x) for x in shares] == pytest.approx([0.381473, 0.341886, 0.276641], abs=1e-6)


def test_circulation_lowers_the_ceiling() -> None:
    even = s.bank_ceiling(OHM3, REST3, [F(96)] * 3)[0]
    assert s.bank_ceiling(OHM3, [F(79), F(80), F(80)], [F(96)] * 3)[0] < even


def test_the_worked_limiting_pack_is_a_current_source() -> None:
    found = s.share_current([F(95, 10_000), F(106, 10_000)], REST3[:2], F(186) - F("9.5")).currents
    assert [float(x) for x in found] == pytest.approx([93.0796, 83.4204], abs=1e-4)


def test_a_loss_runs_through_the_bank_in_the_order_of_the_timers() -> None:
    limits, delays = [(F(100), F(100))] * 3, [F(3), F(2), F(1)]
    found = s.cascade(OHM3, REST3, F(-180), limits, delays, {2})
    # Two are left with 94.9 A and 85.1 A: both stay.
    assert (found.trips, found.remaining) == ((), (0, 1))
    assert [float(x) for x in found.currents] == pytest.approx([-180 * 106 / 201, -180 * 95 / 201])
    found = s.cascade(OHM3, REST3, F(-200), limits, delays, {2})
    # 105.5 A trips pack 0 after 3 s; pack 1 then carries 200 A and trips 2 s later.
    assert (found.trips, found.remaining) == (((F(3), (0,)), (F(5), (1,))), ())
    assert s.cascade(OHM3, REST3, F(-200), limits, delays, set()).trips == ()


def test_a_timer_that_runs_goes_on_and_equal_ones_end_together() -> None:
    limits = [(F(40), F(40)), (F(60), F(60)), (F(60), F(60))]
    found = s.cascade([F(1, 100)] * 3, REST3, F(150), limits, [F(1), F(4), F(4)], set())
    # 50 A each: pack 0 trips at 1 s; 75 A on the others then, 4 s more for both.
    assert found.trips == ((F(1), (0,)), (F(5), (1, 2)))
    found = s.cascade([F(1, 100)] * 3, REST3, F(240), limits, [F(1), F(4), F(4)], set())
    # Above from the beginning: their timers have been running for 1 s when pack 0 goes.
    assert found.trips == ((F(1), (0,)), (F(4), (1, 2)))


def stepped(
    ohms: list[F], rests: list[F], total: F, limits: list[Pair], delays: list[int], lost: set[int]
) -> s.Cascade:
    """The cascade second by second, with currents from the matrix."""
    here = [i for i in range(len(ohms)) if i not in lost]
    timers = dict.fromkeys(here, 0)
    trips: list[tuple[F, tuple[int, ...]]] = []
    for now in range(200):
        while True:
            flows = solved([ohms[i] for i in here], [rests[i] for i in here], total) if here else []
            over = [i for i, x in zip(here, flows, strict=True) if x > limits[i][1] or -x > limits[i][0]]
            timers = {i: timers[i] if i in over else 0 for i in here}
            gone = tuple(i for i in over if timers[i] >= delays[i])
            if not gone:
                break
            trips.append((F(now), gone))
            here = [i for i in here if i not in gone]
        timers = {i: timers[i] + (i in over) for i in here}
    return s.Cascade(tuple(trips), tuple(here), ())


@pytest.mark.parametrize("seed", range(20))
def test_a_cascade_is_what_stepping_through_time_gives(seed: int) -> None:
    generator = random.Random(seed)
    ohms = [F(generator.randrange(50, 200), 10_000) for _ in range(4)]
    rests = [F(generator.randrange(7990, 8010), 100) for _ in range(4)]
    limits = [(F(generator.randrange(60, 140)),) * 2 for _ in range(4)]
    delays = [generator.randrange(1, 9) for _ in range(4)]
    total = F(generator.choice([-1, 1]) * generator.randrange(150, 400))
    found = s.cascade(ohms, rests, total, limits, [F(x) for x in delays], {0})
    assert evolve(found, currents=()) == stepped(ohms, rests, total, limits, delays, {0})


def test_every_cascade_of_the_samples_is_among_the_outcomes() -> None:
    several = 0
    for seed in range(30):
        generator, ohms, rests, _ = drawn(seed, 4)
        total = (F(150), F(200))
        limits = [tuple(ranges(generator, F(generator.randrange(60, 130)), 0.1) for _ in range(2)) for _ in ohms]
        outcomes = s.cascade_outcomes(ohms, rests, total, limits, {1})  # type: ignore[arg-type]
        several += len(outcomes) > 1
        assert outcomes
        for _ in range(25):
            one = s.cascade(
                [within(generator, x) for x in ohms], [within(generator, x) for x in rests], within(generator, total),
                [(within(generator, a), within(generator, b)) for a, b in limits],
                [F(generator.randrange(1, 5)) for _ in ohms], {1},
            )  # fmt: skip
            assert frozenset(one.remaining) in outcomes
    assert several > 3


def test_outcomes_without_tolerances_hold_the_cascade_and_safe_banks_have_one() -> None:
    def exact(values: Sequence[F]) -> list[Pair]:
        return [(x, x) for x in values]

    limits = [((F(100), F(100)),) * 2] * 3
    assert s.cascade_outcomes(exact(OHM3), exact(REST3), (F(180),) * 2, limits, {2}) == {frozenset({0, 1})}
    assert s.cascade_outcomes(exact(OHM3), exact(REST3), (F(200),) * 2, limits, {2}) == {frozenset()}
    assert s.cascade_outcomes(exact(OHM3), exact(REST3), (F(185), F(195)), limits, {2}) == {
        frozenset({0, 1}), frozenset(),
    }  # fmt: skip


def test_joining_is_sharing_with_one_more() -> None:
    over, after = s.joined([F(95, 10_000)], [F("79.968")], F(0), F(124, 10_000), F("77.52"))
    assert float(over) == pytest.approx(2.448)
    assert float(after.currents[-1]) == pytest.approx(111.781, abs=6e-4)
    point = MINE["joining_current"].at(F("79.968"), F(95, 10_000), F(0), F("77.52"), F(124, 10_000))
    assert point is not None
    assert point[0] == after.currents[-1]


@given(PACKS, AMPS, OHMS, VOLTS)
def test_the_scalar_joining_current_agrees_with_the_network(packs: list[Pair], total: F, ohm: F, rest: F) -> None:
    ohms, rests = zip(*packs, strict=True)
    bank = s.share_current(ohms, rests, F(0)).voltage
    parallel = ohms[0]
    for other in ohms[1:]:
        parallel = s.parallel_resistance(parallel, other)
    after = s.joined(ohms, rests, total, ohm, rest)[1]
    assert s.joining_current(bank, parallel, total, rest, ohm) == after.currents[-1]
    assert s.share_of_pack(ohm, parallel) == after.shares[-1]
    if len(ohms) == 1 and not total:
        assert s.circulating_current(rest, rests[0], ohm, ohms[0]) == after.currents[-1]


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: s.share_current([], [], F(1)),
        lambda: s.share_current([F(1)], [F(1), F(2)], F(1)),
        lambda: s.share_current([F(0)], [F(1)], F(1)),
        lambda: s.busbar_currents([F(1)] * 2, [F(1)] * 2, F(1), s.Busbar((), ())),
        lambda: s.busbar_currents([F(1)], [F(1)], F(1), s.Busbar((), (), 1)),
        lambda: s.cascade_outcomes([(F(1),) * 2] * 9, [(F(1),) * 2] * 9, (F(1),) * 2, [((F(1),) * 2,) * 2] * 9, ()),
        lambda: s.busbar_ranges([(F(1), F(2))] * 13, [(F(1),) * 2] * 13, (F(1),) * 2, [(F(0),) * 2] * 12,
                                [(F(0),) * 2] * 12),
    ],
)  # fmt: skip
def test_what_makes_no_bank_is_refused(wrong: object) -> None:
    with pytest.raises(ValueError, match="expected"):
        wrong()  # type: ignore[operator]


WIDE = {
    "own_resistance": (1e-4, 1.0), "others_resistance": (1e-4, 1.0), "first": (1e-4, 1.0), "second": (1e-4, 1.0),
    "rest_voltage": (-10.0, 900.0), "other_rest_voltage": (-10.0, 900.0), "resistance": (1e-4, 1.0),
    "other_resistance": (1e-4, 1.0), "bank_voltage": (-10.0, 900.0), "bank_resistance": (0.0, 1.0),
    "bank_current": (-800.0, 800.0),
}  # fmt: skip
NARROW = {name: (low + 0.5 * (high - low), low + 0.52 * (high - low)) for name, (low, high) in WIDE.items()}


@pytest.mark.parametrize("name", sorted(MINE))
def test_promises_are_not_refuted(name: str) -> None:
    assert refute(MINE[name], WIDE, tries=2000) is None
    assert refute(MINE[name], NARROW, tries=2000) is None


@pytest.mark.parametrize("name", sorted(MINE))
def test_wrong_directions_would_be_refuted(name: str) -> None:
    turned = {Direction.RISES: Direction.FALLS, Direction.FALLS: Direction.RISES, Direction.NEITHER: Direction.RISES}
    for at in range(len(MINE[name].arguments)):
        arguments = [
            evolve(item, direction=turned[item.direction]) if at == place else item
            for place, item in enumerate(MINE[name].arguments)
        ]
        assert refute(evolve(MINE[name], arguments=tuple(arguments), enclose=None), WIDE, tries=300) is not None


@pytest.mark.parametrize("name", ["circulating_current", "joining_current"])
def test_enclosures_are_reached(name: str) -> None:
    generator = random.Random(3)
    function = MINE[name]
    assert function.point is not None
    for _ in range(150):
        box = [tuple(sorted(generator.uniform(*WIDE[item.name]) for _ in range(2))) for item in function.arguments]
        low, high = function.interval(*box)  # type: ignore[arg-type]
        corners = [function.point(*map(float, row)) for row in every_corner(box)]  # type: ignore[arg-type]
        assert low == min(end for end, _ in corners)
        assert high == max(end for _, end in corners)


@pytest.mark.parametrize("name", sorted(MINE))
def test_outside_the_range_there_is_no_value(name: str) -> None:
    limited = [at for at, item in enumerate(MINE[name].arguments) if item.low >= 0]
    assert limited
    for at in limited:
        values = [F(1)] * len(MINE[name].arguments)
        assert MINE[name].at(*values) is not None
        values[at] = F(-1, 1000)
        assert MINE[name].at(*values) is None
        assert MINE[name].interval(*[(float(x), 1.0) for x in values]) == (float("-inf"), float("inf"))


BANK = """
packs:
  a: {resistance: {pulse: 9.5 mohm ± 3 %}, lead: {resistance: 1 mohm}, voltage: {measured: 80 V ± 0.1 V},
      charge: {ceiling: 96 A ± 1 %}}
  b: {resistance: {pulse: 10.6 mohm ± 3 %}, lead: {resistance: 1 mohm}, voltage: {measured: 80.2 V ± 0.1 V},
      charge: {ceiling: 96 A ± 1 %}}
  c: {resistance: {pulse: 13.1 mohm ± 3 %}, lead: {resistance: 1 mohm}, voltage: {measured: 80 V ± 0.1 V},
      charge: {ceiling: 78 A ± 1 %}}
"""


OWN, OTHER, REST, LATER = "p.resistance.pulse", "q.resistance.pulse", "p.voltage.measured", "q.voltage.measured"


@pytest.mark.parametrize(
    ("require", "verdict"),
    [
        (f"share_of_pack({OWN}, {OTHER}) at or below 59.5 %", "met"),
        (f"share_of_pack({OWN}, {OTHER}) at or below 53 %", "marginal"),
        (f"parallel_resistance({OWN}, {OTHER}) between 4.8 mohm and 6.1 mohm", "met"),
        (f"abs(circulating_current({REST}, {LATER}, {OWN}, {OTHER})) at or below 20 A", "marginal"),
        (f"joining_current({REST}, {OWN}, 10 A, {LATER}, {OTHER}) at or below 26 A", "met"),
        (f"joining_current({REST}, {OWN}, -96 A, {LATER}, {OTHER}) at or above -30 A", "breached"),
    ],
)
def test_rules_can_call_them(require: str, verdict: str) -> None:
    text = document("rules:\n") + rule("each pair p, q in packs", require)
    rulepacks = check_drafts([parse_draft(Source("r.yaml", text))], REGISTRY)
    found = {item.subject: item.verdict.value for item in Survey(system(BANK), rulepacks).result().findings}
    assert len(found) == 3
    assert verdict in found.values()
    if verdict == "met":
        assert set(found.values()) == {"met"}


def test_totals_of_the_language_give_the_ceiling_of_a_bank() -> None:
    """The same formula written with aggregates, over the same ranges."""
    lets = (
        "let:",
        "  level: lowest of (p.voltage.measured + p.charge.ceiling * p.resistance.pulse) over p in packs",
        "  ceiling: total of (level - p.voltage.measured) / p.resistance.pulse over p in packs",
    )
    ohms = [(F(x) * F("0.97") / 1000, F(x) * F("1.03") / 1000) for x in ("9.5", "10.6", "13.1")]
    rests = [(F(x) - F("0.1"), F(x) + F("0.1")) for x in ("80", "80.2", "80")]
    ceilings = [(F(x) * F("0.99"), F(x) * F("1.01")) for x in ("96", "96", "78")]
    low, _ = s.bank_ceiling_range(ohms, rests, ceilings)
    for require, expected in ((low - F(1, 100), "met"), (low + F(1, 100), "marginal")):
        clause = f"ceiling at or above {float(require):.6f} A"
        (found,) = surveyed(BANK, rule("the site", clause, *lets)).findings
        assert found.verdict.value == expected
