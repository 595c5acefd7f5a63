"""What no test saw until a fault was seeded there on purpose: `python -m tests.faults`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

import pytest

from limitrules.engine.finding import headroom_of
from limitrules.engine.survey import Survey
from limitrules.language import ground as g
from limitrules.language.bounds import infimum, supremum
from limitrules.language.exactly import Box, number_over
from limitrules.language.functions import STANDARD
from limitrules.language.pairs import pair_of
from limitrules.language.shadow import shadow_number, shadow_truth
from limitrules.language.simpler import simpler
from limitrules.language.tape import Tape
from limitrules.language.truth import Outcome, decide
from limitrules.physics import FUNCTIONS
from limitrules.rules.findings import Verdict
from tests.rules.support import document, rule, rulepacks, system
from tests.rules.test_no_false_all_clear import finding, survey

X, Y, Z = g.Input(0), g.Input(1), g.Input(2)


def number(value: Fraction | int | str) -> g.Constant:
    return g.Constant(Fraction(value))


def minus(one: g.Numeric, other: Fraction | int | str) -> g.Numeric:
    return g.Subtract(one, number(other))


def above(one: g.Numeric, other: Fraction | int | str, strict: bool = False) -> g.Holds:
    return g.Holds(minus(one, other), strict, number(other))


def size(value: g.Numeric) -> g.Numeric:
    return g.Absolute(value)


def box(*ranges: tuple[Fraction | float | str, Fraction | float | str]) -> Box:
    return {number: (Fraction(low), Fraction(high)) for number, (low, high) in enumerate(ranges)}


def table(*points: tuple[int | str, int | str]) -> tuple[tuple[Fraction, Fraction], ...]:
    return tuple((Fraction(x), Fraction(y)) for x, y in points)


SQUARE = g.Multiply(X, X)
SPREAD = g.Margin(X, g.Multiply(Y, Z))
NEARLY_ONE = 1 + Fraction(1, 2**60)
"""No float; those around it are further apart than those around 1.75 times as much."""


# enclosures hold what a term takes, in all three ways of evaluating it


@pytest.mark.parametrize(
    ("term", "ranges", "values"),
    [
        (size(X), [(-1, 2)], [0, 1, 2]),
        (size(X), [(-3, 2)], [0, 3]),
        (g.Add(X, Y), [(1, 1), (2.0**-60, 2.0**-60)], [1 + Fraction(1, 2**60)]),
        (g.Add(X, Y), [(-1, -1), (-(2.0**-60), -(2.0**-60))], [-1 - Fraction(1, 2**60)]),
        (g.Subtract(X, Y), [(0, 1), (1, 2)], [-2, 0]),
        (g.Multiply(X, Y), [(-1, 2), (-3, 5)], [-6, -5, 10, 3]),
        (g.Multiply(X, g.Negate(Y)), [(1, 2), (1, 3)], [-1, -6]),
        (g.Multiply(X, number(NEARLY_ONE)), [("7/4", "7/4")], [NEARLY_ONE * Fraction(7, 4)]),
        (g.Margin(X, Y), [(1, 2), ("-3/2", "-3/2")], [Fraction(-1, 2), -1]),
        (g.Margin(X, Y), [(-2, 2), ("-1/2", 3)], [-3, 4, 8, 0]),
        (SPREAD, [(1, 2), ("1/10", "3/10"), (-1, 1)], [Fraction(7, 10), Fraction(26, 10)]),
        (g.Total((g.Part(X, above(Y, 1)), g.Part(Y))), [(3, 4), (0, 2)], [0, 6]),
        (g.Lookup(table((0, 0), (10, -10)), X), [(2, 3)], [-2, -3]),
        (g.Least((g.Part(X), g.Part(Y))), [(0, 2), (1, 3)], [0, 2]),
        (g.Greatest((g.Part(X), g.Part(Y))), [(0, 2), (1, 3)], [1, 3]),
    ],
)
def test_enclosures_hold_what_a_term_takes(
    term: g.Numeric, ranges: Sequence[tuple[float | str, float | str]], values: list[Fraction | int]
) -> None:
    place = box(*ranges)
    floats = {index: pair_of(low, high) for index, (low, high) in place.items()}
    for low, high in (shadow_number(term)(floats), Tape(term).forward(floats)[-1], number_over(term, place)):
        assert low <= min(values)
        assert max(values) <= high


def test_readings_of_a_table_of_decimals_are_enclosed() -> None:
    points = table((0, "1/10"), ("3/10", "7/10"), ("7/10", "-9/10"))
    term = g.Lookup(points, X)
    read, tape = shadow_number(term), Tape(term)
    for step in range(1, 70):
        x = Fraction(step, 100)
        floats = {0: (float(x), float(x))}
        (true, _) = number_over(term, {0: (Fraction(float(x)),) * 2})
        for low, high in (read(floats), tape.forward(floats)[-1]):
            assert low <= true <= high


# how low and how high a term gets

JUMP = g.Select(above(X, "1/2", strict=True), number(0), number(10))
CORNERED = g.Select(g.Holds(g.Subtract(number("1/4"), SQUARE), False), number(0), number(10))


@pytest.mark.parametrize(
    ("term", "ranges", "low", "high"),
    [
        # What happens at the very end of a range.
        (g.Add(g.Select(above(X, 0, strict=True), number(1), number(-1)), size(minus(X, 1))), [(0, 2)], 0, 2),
        (g.Select(above(X, "1/2", strict=True), number(5), number(-1)), [("1/2", 2)], -1, 5),
        # A choice that is made between the corners alone.
        (CORNERED, [(-1, 1)], 0, 10),
        # A condition on a negative value with a share, and one on two other inputs, beside a kink.
        (g.Add(size(g.Add(X, number("5/2"))), g.Select(above(g.Margin(X, number("1/2")), -2), number(0), number(10))),
         [(-4, -2)], 0, Fraction(3, 2)),
        (g.Add(size(minus(X, 1)), g.Select(g.Holds(g.Subtract(Y, Z), False), number(1), number(-1))),
         [(0, 2), (0, 1), (0, 1)], -1, 2),
        # Members that take part on some pieces alone.
        (g.Total((g.Part(g.Add(size(X), number(1)), above(g.Multiply(Y, Z), 1)),)), [(-1, 1), (0, 2), (0, 2)], 0, 2),
        (g.Least((g.Part(g.Negate(X)), g.Part(number(-5), above(g.Subtract(Y, Y), 1)))), [(1, 2), (0, 2)], -2, -1),
        (g.Least((g.Part(g.Negate(X)), g.Part(Y))), [(-10, 0), (1, 2)], 0, 2),
        # A member that is enclosed widely and comes lowest, and one that comes highest and is looked at last.
        (g.Least((g.Part(g.Subtract(SQUARE, X)), g.Part(number(3)))), [(-1, 10)], Fraction(-1, 4), 3),
        (g.Greatest((g.Part(minus(g.Subtract(X, X), 5)), g.Part(number(-4)))), [(-1, 1)], -4, -4),
        # A part of one segment of a table.
        (g.Lookup(table((0, 0), (10, -10)), X), [(2, 3)], -3, -2),
        # Inputs that are used twice, and a base that turns its sign.
        (g.Margin(X, number(2)), [(-1, 1)], 0, 3),
        (g.Subtract(g.Multiply(number(3), X), g.Multiply(number(4), X)), [(0, 1)], -1, 0),
        (g.Divide(g.Negate(X), Y), [(1, 2), (1, 4)], -2, Fraction(-1, 4)),
        (g.Subtract(SQUARE, X), [(0, 1)], Fraction(-1, 4), 0),
    ],
)  # fmt: skip
def test_extremes_worked_by_hand(
    term: g.Numeric, ranges: Sequence[tuple[float | str, float | str]], low: Fraction, high: Fraction
) -> None:
    place = box(*ranges)
    lowest, highest = infimum(term, place), supremum(term, place)
    assert float(low) - 1e-6 <= lowest.value <= low <= lowest.reached
    assert highest.reached <= high <= highest.value <= float(high) + 1e-6


@pytest.mark.parametrize(
    ("term", "ranges"),
    [
        (g.Lookup(table((0, 0), (1, 1)), X), [("1/2", 2)]),
        (g.Lookup(table((0, 0), (1, 1)), g.Add(X, number(1))), [(-2, 0)]),
        (g.Add(size(minus(X, "3/4")), g.Lookup(table((0, 0), (1, 1)), X)), [("1/2", 2)]),
        (g.Least((g.Part(X, above(Y, 1)), g.Part(number(2), above(Y, 1)))), [(3, 4), (0, 2)]),
        (g.Divide(number(1), X), [(0, 1)]),
        (g.Add(X, g.Gap("x")), [(0, 1)]),
    ],
)
def test_what_has_no_value_somewhere_has_no_bounds(
    term: g.Numeric, ranges: Sequence[tuple[float | str, float | str]]
) -> None:
    place = box(*ranges)
    assert (infimum(term, place).value, supremum(term, place).value) == (-math.inf, math.inf)
    nominal = {index: (low + high) / 2 for index, (low, high) in place.items()}
    far = g.Holds(g.Add(term, number(10**6)), False, number(1))
    assert decide(far, place, nominal).outcome is Outcome.UNKNOWN


def test_a_root_is_never_below_its_lowest_or_above_its_highest() -> None:
    root = g.Apply(STANDARD["sqrt"], (X,))
    there = box((2, 2))
    low, high = infimum(root, there).value, supremum(root, there).value
    assert isinstance(low, Fraction)
    assert isinstance(high, Fraction)
    assert low**2 < 2 < high**2
    assert Tape(root).value({0: Fraction(2)}) is None


def test_a_value_that_is_taken_is_not_open() -> None:
    """`if x above 0.5 then 0 else 10` is zero, which is not above zero."""
    nominal = {0: Fraction(1)}
    assert not infimum(JUMP, box((0, 2))).is_open
    assert decide(g.Holds(JUMP, True, number(1)), box((0, 2)), nominal).outcome is Outcome.SOMETIMES


def test_what_is_divided_by_zero_at_a_place_has_no_value_there() -> None:
    quotient = Tape(g.Divide(number(0), X))
    assert quotient.value({0: Fraction(0)}) is None
    assert number_over(g.Divide(number(0), X), box((0, 0))) == (-math.inf, math.inf)
    total = Tape(g.Total((g.Part(X, g.Fixed(None, "x")), g.Part(X))))
    assert total.value({0: Fraction(1)}) is None
    beyond = Tape(g.Lookup(table((0, 0), (1, 1)), X))
    assert [beyond.value({0: Fraction(at)}) for at in (-1, 2)] == [None, None]


@pytest.mark.parametrize(("strict", "found"), [(False, True), (True, False)])
def test_floats_know_a_tie(strict: bool, found: bool) -> None:
    for term in (g.Subtract(X, number(1)), g.Subtract(number(1), X), g.Negate(size(minus(X, 1)))):
        assert shadow_truth(g.Holds(term, strict))({0: (1.0, 1.0)}) in (found, None)
    assert shadow_truth(g.Holds(size(g.Subtract(X, Y)), True))({0: (1.0, 2.0), 1: (2.0, 3.0)}) is None


def test_joined_comparisons_are_weighed_by_their_limits() -> None:
    """A headroom of 1 in 100 is less than one of 0.5 in 10."""
    both = g.All((g.Holds(g.Subtract(number(100), X), False, number(100)),
                  g.Holds(g.Subtract(number(10), Y), False, number(10))))  # fmt: skip
    worst = decide(both, box((99, 99), ("19/2", "19/2")), {0: Fraction(99), 1: Fraction(19, 2)}).worst
    assert worst.value == Fraction(1, 100)


@pytest.mark.parametrize("middle", [0, 2])
def test_what_is_missing_within_a_range_is_not_taken_at_its_middle(middle: int) -> None:
    """Somewhere in its range it holds and somewhere it fails, so that neither is known."""
    ranged = g.Holds(minus(g.Ranged(1, "x"), 1), False, number(1))
    for term in (ranged, g.All((ranged, above(X, 0))), g.Any((ranged, above(X, 1)))):
        found = decide(term, box((0, 0), (0, 2)), {0: Fraction(0), 1: Fraction(middle)})
        assert found.outcome is Outcome.UNKNOWN
    assert g.gaps_of(ranged) == ("x",)
    # It holds in the middle whatever is missing; at the lowest value it fails for some of what is missing.
    half = above(g.Add(X, g.Ranged(1, "x")), "-1/2")
    assert decide(half, box((-1, 1), (0, 2)), {0: Fraction(0), 1: Fraction(middle)}).outcome is Outcome.UNKNOWN


def test_a_function_that_falls_is_lowest_at_the_upper_end() -> None:
    """The current at a power falls with the voltage."""
    current = g.Apply(FUNCTIONS["current_at_power"], (number(1000), X, number("1/100")))
    there = box((40, 50))
    assert infimum(current, there).place == {0: 50}
    assert supremum(current, there).place == {0: 40}


# from a system to a finding, and after a change

AMPS = "packs: {{n: {{charge: {{ceiling: {0}, rated: 130 A}}, discharge: {{ceiling: {1}, rated: 80 A}}}}}}\n"
UNDECIDED = "p.charge.ceiling + p.discharge.ceiling - p.charge.ceiling at or below 100 A"
"""Floats leave it open, since the one value is used twice; slopes do not."""


def over(require: str, *, ceiling: str = "100 A ± 5 %", other: str = "97 A ± 2 A", when: str = "") -> Survey:
    return survey(AMPS.format(ceiling, other), require, when)


def verdict(made: Survey) -> Verdict:
    return finding(made).verdict


@pytest.mark.parametrize(
    ("before", "after", "found"),
    [
        ("97 A ± 2 A", "103 A ± 2 A", Verdict.BREACHED),
        ("99 A ± 2 A", "103 A ± 2 A", Verdict.BREACHED),
        ("99 A ± 2 A", "97 A ± 2 A", Verdict.MET),
        ("97 A ± 2 A", "99 A ± 2 A", Verdict.MARGINAL),
        ("99 A ± 2 A", "100 A ± 2 A", Verdict.MARGINAL),
    ],
)
def test_a_verdict_that_floats_leave_open_follows_a_change(before: str, after: str, found: Verdict) -> None:
    made = over(UNDECIDED, other=before)
    made.change("packs.n.discharge.ceiling", after)
    (check,) = made.checks
    assert check.verdict is found
    assert verdict(made) is verdict(over(UNDECIDED, other=after)) is found


def test_after_a_change_joined_comparisons_are_weighed_by_the_new_limits() -> None:
    require = "p.charge.ceiling at or below p.charge.rated and p.charge.ceiling at or above p.discharge.rated"
    made = over(require, ceiling="100 A ± 10 A")
    assert (finding(made).witness or {})["packs.n.charge.ceiling"] == 90
    made.change("packs.n.charge.rated", "126 A")
    assert (finding(made).witness or {})["packs.n.charge.ceiling"] == 90
    made.change("packs.n.charge.rated", "125 A")
    assert (finding(made).witness or {})["packs.n.charge.ceiling"] == 110


def test_a_value_equal_to_a_strict_limit_is_not_below_it() -> None:
    assert verdict(over("p.charge.ceiling below 100 A", ceiling="100 A")) is Verdict.BREACHED
    assert verdict(over("p.charge.ceiling at or below 100 A", ceiling="100 A")) is Verdict.MET


def test_a_rule_that_may_apply_is_open_also_when_it_is_evaluated_again() -> None:
    made = over("p.charge.ceiling below 1 A", when="p.soh above 50 %")
    assert (verdict(made), finding(made).missing) == (Verdict.UNDETERMINED, ("packs.n.soh",))
    made.change("packs.n.charge.ceiling", "90 A")
    assert verdict(made) is Verdict.UNDETERMINED
    word = over("p.charge.ceiling below 1 A", when='p.state equals "connected"')
    assert verdict(word) is Verdict.UNDETERMINED


def test_where_a_rule_may_apply_it_has_to_hold_where_it_does() -> None:
    assert verdict(over("p.charge.ceiling above 99 A", when="p.charge.ceiling above 100 A")) is Verdict.MET
    assert verdict(over("p.charge.ceiling below 99 A", when="p.charge.ceiling above 100 A")) is Verdict.MARGINAL


def test_the_worst_headroom_is_the_bound_and_not_the_place_found() -> None:
    made = over("p.charge.ceiling at or below 110 A")
    (check,) = made.checks
    worst = check.worst(made.slots)
    assert worst.value == 5
    loose = headroom_of(check, worst._replace(value=Fraction(3), tight=False), made.slots)
    assert loose is not None
    assert loose.worst == 3
    assert loose.reached == 5
    assert not loose.tight


def test_of_two_comparisons_the_one_nearer_to_failing_is_shown() -> None:
    both = finding(over("p.charge.ceiling at or below 106 A and p.charge.ceiling at or below 200 A"))
    either = finding(over("p.charge.ceiling at or below 106 A or p.charge.ceiling at or below 200 A"))
    assert both.headroom is not None
    assert either.headroom is not None
    assert both.headroom.limit == 106
    assert both.headroom.worst == 1
    assert either.headroom.limit == 200
    assert either.headroom.worst == 95


def test_every_rule_that_reads_a_value_follows_its_change() -> None:
    packs = rulepacks(document("rules:\n") + rule("each pack p", "p.charge.ceiling below 90 A")
                      + rule("each pack p", "p.charge.ceiling below 80 A", name="b-rule"))  # fmt: skip
    made = Survey(system("packs: {n: {charge: {ceiling: 100 A}}}\n"), packs)
    assert len(made.change("packs.n.charge.ceiling", "70 A")) == 2
    assert made.verdicts == [Verdict.MET, Verdict.MET]
    made.change("packs.n.charge.ceiling", "{value: 95 A, origin: measured}")
    assert made.verdicts == [Verdict.BREACHED, Verdict.BREACHED]


def test_a_value_that_becomes_known_is_missing_no_more() -> None:
    made = over("p.charge.ceiling at or below 95 A", ceiling="{value: unknown, range: 90 A .. 100 A}")
    assert verdict(made) is Verdict.UNDETERMINED
    made.change("packs.n.charge.ceiling", "94 A")
    assert verdict(made) is Verdict.MET


CELL = """cells: {{c: {{rest_voltage: {{points: [[0 %, 3 V], [100 %, 3.4 V]], tolerance: {0}}}}}}}
packs: {{n: {{cell: c}}}}
"""


def test_the_tolerance_of_a_table_counts_and_changes_with_it() -> None:
    require = "p.cell.rest_voltage at 50 % at or above 3.19 V"
    for tolerance, due in (("1 %", Verdict.MARGINAL), ("20 mV", Verdict.MARGINAL), ("5 mV", Verdict.MET)):
        assert verdict(survey(CELL.format(tolerance), require)) is due
    made = survey(CELL.format("5 mV"), require)
    made.change("cells.c.rest_voltage", "{points: [[0 %, 3 V], [100 %, 3.4 V]], tolerance: 20 mV}")
    assert verdict(made) is Verdict.MARGINAL


CEILING = "p.charge.ceiling plus or minus p.soc.error_max"
RATED = "p.charge.rated plus or minus p.soc.error_max"


@pytest.mark.parametrize(
    ("require", "due"),
    [
        ('p.cell.chemistry differs from "lfp"', Verdict.UNDETERMINED),
        ('p.cell.chemistry equals "lfp"', Verdict.UNDETERMINED),
        ("p.charge.ceiling between 80 A and 90 A", Verdict.BREACHED),
        ("p.charge.ceiling between 110 A and 120 A", Verdict.BREACHED),
        ('every q in packs where q.cell.chemistry equals "lfp": q.charge.ceiling at or below 60 A',
         Verdict.UNDETERMINED),
        (f"({CEILING}) - ({RATED}) at or below 1 A", Verdict.MET),
    ],
)  # fmt: skip
def test_what_is_not_known_of_a_word_and_what_both_ends_say(require: str, due: Verdict) -> None:
    body = """cells: {plain: {}, known: {chemistry: lfp}}
packs:
  n: {cell: plain, soc: {error_max: 2 %}, charge: {ceiling: 100 A, rated: 100 A}}
  s: {cell: known, charge: {ceiling: 50 A, rated: 50 A}}
"""
    made = survey(body, require)
    found = {item.subject: item.verdict for item in made.result().findings}
    assert found["packs.n"] is due


# simpler terms

HOLE = g.Divide(number(1), X)


@pytest.mark.parametrize(
    ("term", "expected"),
    [
        (g.Subtract(g.Add(X, Y), g.Add(Y, X)), {(1, 2): 0, (0, 1): 0}),
        (g.Subtract(HOLE, HOLE), {(2, 1): 0, (0, 1): None}),
        (g.Subtract(g.Add(number(8), X), g.Subtract(X, g.Subtract(Y, X))), {(1, 3): 10, (5, 0): 3}),
        (g.Total((g.Part(X), g.Part(g.Multiply(number(3), X)), g.Part(g.Negate(Y)))), {(2, 1): 7, (1, 0): 4}),
        (g.Select(above(g.Subtract(X, X), 0, strict=True), X, Y), {(3, 4): 4, (4, 3): 3}),
        (g.Select(g.Holds(HOLE, False), Y, Y), {(2, 5): 5, (0, 5): 5}),
        (g.Greatest((g.Part(X), g.Part(g.Greatest((g.Part(number(2)), g.Part(X), g.Part(number(5))))))),
         {(4, 0): 5, (6, 0): 6}),
        (size(g.Negate(g.Negate(g.Negate(X)))), {(-3, 0): 3, (3, 0): 3}),
        (g.Margin(number(-10), number("1/5")), {(0, 0): -8}),
    ],
)  # fmt: skip
def test_a_simpler_term_has_the_same_values_and_none_where_there_is_none(
    term: g.Numeric, expected: dict[tuple[int, int], int | None]
) -> None:
    made = simpler(term)
    for (x, y), value in expected.items():
        place = {0: Fraction(x), 1: Fraction(y)}
        assert Tape(term).value(place) == value
        assert Tape(made).value(place) == value


def test_what_cannot_be_made_simpler_is_kept() -> None:
    for term in (g.Subtract(X, Y), SPREAD, g.Least((g.Part(X, above(Y, 1)), g.Part(X)))):
        assert simpler(term) is term


def test_a_bound_far_from_what_is_reached_is_not_tight_where_the_size_has_no_bound() -> None:
    # Beside a quotient without bound every two numbers would be near. The corners alone do not show the lowest value.
    wave = g.Multiply(g.Subtract(X, SQUARE), g.Subtract(Y, g.Multiply(Y, Y)))
    term = g.Greatest((g.Part(g.Negate(wave)), g.Part(g.Divide(Y, Z))))
    found = infimum(term, box(("-3/7", "9/7"), ("-3/7", "9/7"), ("-1/7", "1/7")), 300)
    assert not found.tight
    assert float(found.reached) - float(found.value) > 1e-3
