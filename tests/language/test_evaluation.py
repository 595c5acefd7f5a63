"""Evaluation: floats enclose rationals, bounds are bounds, decisions have witnesses, missing values decide nothing."""

from __future__ import annotations

import gc
import itertools
import math
from fractions import Fraction

import attrs
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from limitrules.foundation.exact import float_above, float_below
from limitrules.language import exactly, shadow, slopes, tape
from limitrules.language import ground as g
from limitrules.language.bounds import infimum, supremum
from limitrules.language.exactly import Bound, Box, number_over, point, truth_over
from limitrules.language.functions import STANDARD
from limitrules.language.shadow import shadow_number, shadow_truth
from limitrules.language.truth import Outcome, decide
from tests.language.terms import (
    BOXES,
    FILLINGS,
    INPUTS,
    LOGICAL,
    MULTILINEAR,
    NUMBERS,
    NUMERIC,
    RISING,
    SHARES,
    TABLES,
    Place,
    filled,
    place_in,
)

EASY = settings(
    max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
SLOW = settings(EASY, max_examples=40)


def _kinds(base: type[g.Ground]) -> set[type[g.Ground]]:
    """The kinds that terms are made of: those that are no base of others, and the input, of which one kind is made."""
    below = base.__subclasses__()
    found = set().union(*map(_kinds, below)) if below else {base}
    return found | {g.Input} if base is g.Input else found


def _box_of_floats(box: Box) -> dict[int, tuple[float, float]]:
    return {index: (float_below(low), float_above(high)) for index, (low, high) in box.items()}


def _places(box: Box) -> list[Place]:
    shares = [Fraction(0), Fraction(1, 3), Fraction(1)]
    return [place_in(box, list(chosen)) for chosen in itertools.product(shares, repeat=INPUTS)]


# the tables


def test_every_kind_of_term_is_listed() -> None:
    gc.collect()  # a class with slots is made twice; the first one lives until it is collected
    assert set(g.NUMERIC_KINDS) == _kinds(g.Numeric)
    assert set(g.LOGICAL_KINDS) == _kinds(g.Logical)


def test_every_evaluation_that_is_declared_is_there_and_no_other() -> None:
    kinds: set[type[g.Ground]] = {*g.NUMERIC_KINDS, *g.LOGICAL_KINDS}
    assert all(kind.evaluations <= {g.EXACT, g.SHADOW} for kind in kinds)
    assert {*exactly._NUMERIC, *exactly._LOGICAL} == {kind for kind in kinds if g.EXACT in kind.evaluations}
    assert {*shadow._NUMERIC, *shadow._LOGICAL} == {kind for kind in kinds if g.SHADOW in kind.evaluations}
    assert set(shadow._NUMERIC) <= set(g.NUMERIC_KINDS)
    assert set(shadow._LOGICAL) <= set(g.LOGICAL_KINDS)
    assert set(tape._EXACT) == set(g.NUMERIC_KINDS) - {g.Input, g.Ranged}
    assert set(tape._FORWARD) == set(g.NUMERIC_KINDS) - {g.Input, g.Ranged, g.Constant}
    assert set(slopes._WEIGHTS) == set(g.NUMERIC_KINDS) - {g.Input, g.Ranged}


# floats enclose rationals


@EASY
@given(NUMERIC, BOXES, SHARES, FILLINGS)
def test_the_shadow_of_a_number_encloses_it(
    term: g.Numeric, box: Box, shares: list[Fraction], filling: dict[str, Fraction]
) -> None:
    low, high = shadow_number(term)(_box_of_floats(box))
    assert not math.isnan(low)
    assert not math.isnan(high)
    over_box = number_over(term, box)
    at = point(place_in(box, shares))
    true = filled(term, filling)
    assert isinstance(true, g.Numeric)
    value = number_over(true, at)
    if math.isfinite(value[0]):
        # A true value: where one exists, every enclosure has it in.
        assert low <= value[1]
        assert value[0] <= high
        assert over_box[0] <= value[1]
        assert value[0] <= over_box[1]
        there = number_over(term, at)
        assert there[0] <= value[1]
        assert value[0] <= there[1]


@EASY
@given(NUMERIC, BOXES, SHARES)
def test_the_value_at_a_point_is_the_enclosure_there(term: g.Numeric, box: Box, shares: list[Fraction]) -> None:
    place = place_in(box, shares)
    value, found = tape.Tape(term).value(place), number_over(term, point(place))
    if value is not None:
        assert found == (value, value)
    elif not g.gaps_of(term):
        # Only what is irrational or has no value is left out, and zero times what is irrational.
        assert found[0] != found[1] or found[0] == 0


@EASY
@given(LOGICAL, BOXES, SHARES, FILLINGS)
def test_the_shadow_of_a_truth_is_never_wrong(
    term: g.Logical, box: Box, shares: list[Fraction], filling: dict[str, Fraction]
) -> None:
    at = point(place_in(box, shares))
    true = filled(term, filling)
    assert isinstance(true, g.Logical)
    value = truth_over(true, at)
    for found in (shadow_truth(term)(_box_of_floats(box)), truth_over(term, box), truth_over(term, at)):
        assert found is None or value is None or found is value


@EASY
@given(LOGICAL, BOXES)
def test_negations_pushed_down_change_nothing(term: g.Logical, box: Box) -> None:
    plain = g.without_contrary(term)
    assert not any(isinstance(item, g.Contrary) for item in _outside_guards(plain))
    for place in _places(box)[::5]:
        assert truth_over(plain, point(place)) is truth_over(term, point(place))


def _outside_guards(term: g.Logical) -> list[g.Logical]:
    return [term, *(item for part in getattr(term, "parts", ()) for item in _outside_guards(part))]


def test_gaps_and_infinities_stay_sound() -> None:
    gap, one, zero = g.Gap("x"), g.Constant(Fraction(1)), g.Constant(Fraction(0))
    everything = (-math.inf, math.inf)
    for term in (
        g.Add(gap, one),
        g.Subtract(gap, gap),
        g.Multiply(gap, gap),
        g.Divide(gap, one),
        g.Divide(one, gap),
        g.Divide(one, zero),
        g.Negate(gap),
        g.Total((g.Part(gap), g.Part(gap))),
        g.Lookup(((Fraction(0), Fraction(1)), (Fraction(1), Fraction(2))), gap),
        g.Apply(STANDARD["ln"], (gap,)),
    ):
        assert shadow_number(term)({}) == everything
        assert number_over(term, {}) == everything
    assert number_over(g.Absolute(gap), {}) == (0, math.inf)
    assert number_over(g.Multiply(gap, zero), {}) == (0, 0)
    assert number_over(g.Least((g.Part(gap), g.Part(one))), {}) == (-math.inf, 1)


def test_numbers_beyond_floats_stay_sound() -> None:
    huge, gap = g.Constant(Fraction(10) ** 400), g.Ranged(1, "x")
    for term in (
        huge,
        g.Add(huge, g.Gap("x")),
        g.Multiply(huge, gap),
        g.Multiply(huge, g.Gap("x")),
        g.Divide(gap, huge),
        g.Subtract(g.Negate(huge), g.Gap("x")),
        g.Multiply(huge, g.Input(0)),
        g.Add(huge, g.Input(0)),
    ):
        box = {0: (Fraction(1), Fraction(3)), 1: (Fraction(1), Fraction(2))}
        low, high = shadow_number(term)(_box_of_floats(box))
        exact = number_over(term, box)
        assert low <= exact[0]
        assert exact[1] <= high
        assert infimum(term, box).value <= exact[1]
        decide(g.Holds(term, False, huge), box, {0: Fraction(2)})


@EASY
@given(TABLES, NUMBERS, NUMBERS)
def test_a_table_is_read_between_its_points(
    points: tuple[tuple[Fraction, Fraction], ...], one: Fraction, other: Fraction
) -> None:
    low, high = sorted((one, other))
    term = g.Lookup(points, g.Input(0))
    found = number_over(term, {0: (low, high)})
    inside = points[0][0] <= low and high <= points[-1][0]
    assert (found != exactly.ANYTHING) == inside
    if inside:
        read = [exactly.read_table(points, low + (high - low) * Fraction(step, 7)) for step in range(8)]
        knots = [y for x, y in points if low <= x <= high]
        assert found == (min(read[::7] + knots), max(read[::7] + knots))
        assert found[0] <= min(read)
        assert max(read) <= found[1]
    assert all(exactly.read_table(points, x) == y for x, y in points)


# bounds


def _within(low: Bound, value: Bound, slack: float) -> bool:
    return math.isinf(low) or float(low) - float(value) <= slack


@SLOW
@given(NUMERIC, BOXES, FILLINGS)
def test_bounds_are_never_passed(term: g.Numeric, box: Box, filling: dict[str, Fraction]) -> None:
    lowest, highest = infimum(term, box), supremum(term, box)
    true = filled(term, filling)
    assert isinstance(true, g.Numeric)
    for place in _places(box):
        low, high = number_over(true, point(place))
        if math.isfinite(low):
            assert lowest.value <= high
            assert low <= highest.value
    for found, sign in ((lowest, 1), (highest, -1)):
        assert set(found.place) == set(g.inputs_of(term))
        assert all(box[index][0] <= value <= box[index][1] for index, value in found.place.items())
        low, high = number_over(term, point(found.place))
        assert found.reached == (high if sign > 0 else low)
        assert found.value <= found.reached if sign > 0 else found.value >= found.reached
        if found.tight and math.isfinite(found.value):
            # Within 1e-6 of the value; beside zero within the rounding of the term's size.
            size = max(abs(float(found.value)), abs(float(found.reached)))
            spread = max(map(abs, shadow_number(term)(_box_of_floats(box))))
            assert abs(float(found.reached) - float(found.value)) <= max(1e-6 * size, 1e-11 * spread)


@EASY
@given(MULTILINEAR, BOXES)
def test_multilinear_terms_are_bounded_exactly(term: g.Numeric, box: Box) -> None:
    corners = [
        number_over(term, point(place_in(box, list(map(Fraction, ends)))))[0]
        for ends in itertools.product((0, 1), repeat=INPUTS)
    ]
    lowest, highest = infimum(term, box), supremum(term, box)
    assert (lowest.value, lowest.reached, lowest.tight) == (min(corners), min(corners), True)
    assert (highest.value, highest.reached, highest.tight) == (max(corners), max(corners), True)


@EASY
@given(RISING, BOXES)
def test_rising_terms_are_bounded_exactly(term: g.Numeric, box: Box) -> None:
    lows = number_over(term, point({index: low for index, (low, _) in box.items()}))
    highs = number_over(term, point({index: high for index, (_, high) in box.items()}))
    lowest, highest = infimum(term, box), supremum(term, box)
    assert lowest.tight
    assert highest.tight
    # Within 1e-6: a root is enclosed, not exact.
    assert _within(lows[0], lowest.value, 1e-6 * max(1.0, abs(float(lows[0]))))
    assert lowest.value <= lows[1]
    assert _within(highest.value, highs[1], 1e-6 * max(1.0, abs(float(highs[1]))))
    assert highest.value >= highs[0]


def _x(index: int = 0) -> g.Input:
    return g.Input(index)


def _minus(term: g.Numeric, value: Fraction | int) -> g.Numeric:
    return g.Subtract(term, g.Constant(Fraction(value)))


UNIT_BOX: Box = {0: (Fraction(-1), Fraction(2)), 1: (Fraction(0), Fraction(3))}
SQUARE = g.Multiply(_x(), _x())


@pytest.mark.parametrize(
    ("term", "low", "high"),
    [
        (SQUARE, 0, 4),
        (g.Subtract(SQUARE, _x()), Fraction(-1, 4), 2),
        (g.Subtract(_x(), _x()), 0, 0),
        (g.Subtract(g.Add(_x(), _x(1)), _x()), 0, 3),
        (g.Absolute(_minus(_x(), 1)), 0, 2),
        (g.Multiply(_x(), g.Subtract(g.Constant(Fraction(1)), _x())), -2, Fraction(1, 4)),
        (g.Divide(_x(), g.Add(_x(), g.Constant(Fraction(2)))), -1, Fraction(1, 2)),
        (g.Least((g.Part(_x()), g.Part(g.Negate(_x())))), -2, 0),
        (g.Greatest((g.Part(_x()), g.Part(g.Negate(_x())))), 0, 2),
        (g.Total((g.Part(_x(), g.Holds(_x(), True)), g.Part(_x(1)))), 0, 5),
        (g.Select(g.Holds(_x(), True), g.Negate(_x()), g.Constant(Fraction(1))), -2, 1),
        (g.Lookup(((Fraction(-1), Fraction(0)), (Fraction(0), Fraction(5)), (Fraction(2), Fraction(1))), _x()), 0, 5),
        (g.Subtract(g.Multiply(_x(), _x(1)), SQUARE), -4, Fraction(9, 4)),
    ],
)
def test_known_extremes(term: g.Numeric, low: Fraction, high: Fraction) -> None:
    lowest, highest = infimum(term, UNIT_BOX), supremum(term, UNIT_BOX)
    assert float(lowest.value) == pytest.approx(float(low), abs=1e-6)
    assert float(highest.value) == pytest.approx(float(high), abs=1e-6)
    assert lowest.value <= low
    assert high <= highest.value
    assert lowest.tight
    assert highest.tight


def test_a_lowest_value_inside_the_box_is_bounded_and_not_called_tight() -> None:
    """Halving comes near a diagonal and never onto it; it says so."""
    lowest = infimum(g.Absolute(g.Subtract(_x(), _x(1))), UNIT_BOX)
    assert lowest.value == 0
    assert 0 < lowest.reached < Fraction(1, 10)
    assert not lowest.tight


JUMP = g.Select(g.Holds(_minus(_x(), Fraction(1, 2)), True), _minus(_x(), Fraction(1, 2)), g.Constant(Fraction(10)))


def test_a_bound_that_is_neared_and_nowhere_taken_is_called_open() -> None:
    """`if x above 0.5 then x - 0.5 else 10` comes as near to zero as one likes."""
    lowest = infimum(JUMP, UNIT_BOX)
    assert (lowest.value, lowest.tight, lowest.is_open) == (0, True, True)
    assert 0 < lowest.reached < Fraction(1, 10**9)
    assert number_over(JUMP, point(lowest.place)) == (lowest.reached, lowest.reached)
    taken = infimum(attrs.evolve(JUMP, condition=g.Holds(_minus(_x(), Fraction(1, 2)), False)), UNIT_BOX)
    assert (taken.value, taken.reached, taken.is_open) == (0, 0, False)
    for strict in (True, False):
        assert decide(g.Holds(JUMP, strict), UNIT_BOX, {0: Fraction(1), 1: Fraction(0)}).outcome is Outcome.ALWAYS


def test_a_bound_that_is_taken_elsewhere_is_not_called_open() -> None:
    """`if x above 0.5 then (x - 0.5) (2 - x) else 10` is zero at the other end; so is a size that is not known."""
    hump = g.Multiply(_minus(_x(), Fraction(1, 2)), g.Subtract(g.Constant(Fraction(2)), _x()))
    term = attrs.evolve(JUMP, then=hump)
    assert not infimum(term, UNIT_BOX).is_open
    nominal = {0: Fraction(1), 1: Fraction(0)}
    assert decide(g.Holds(term, True), UNIT_BOX, nominal).outcome is Outcome.SOMETIMES
    table = ((Fraction(-1), Fraction(5)), (Fraction(1), Fraction(2)))
    size = g.Holds(g.Absolute(g.Lookup(table, _x())), True)
    assert decide(size, UNIT_BOX, nominal).outcome is not Outcome.ALWAYS


def test_kinks_and_jumps_are_found_exactly() -> None:
    """What halving only comes near to: the corner of a table, and a member that takes part beyond a limit."""
    table = tuple((Fraction(x), Fraction(y)) for x, y in ((-1, 5), (Fraction(1, 3), 2), (2, 4)))
    lowest = infimum(g.Lookup(table, _x()), UNIT_BOX)
    assert (lowest.value, lowest.reached, lowest.place[0]) == (2, 2, Fraction(1, 3))
    guard = g.Holds(_minus(_x(), Fraction(1, 3)), False)
    total = g.Total((g.Part(g.Negate(_x()), guard), g.Part(_x())))
    lowest = infimum(total, UNIT_BOX)
    assert (lowest.value, lowest.reached, lowest.tight) == (-1, -1, True)
    highest = supremum(total, UNIT_BOX)
    assert (highest.value, highest.tight, highest.is_open) == (Fraction(1, 3), True, True)
    assert not supremum(total, {**UNIT_BOX, 0: (Fraction(-1), Fraction(1, 4))}).is_open


def _parts(*values: g.Numeric) -> tuple[g.Part, ...]:
    return tuple(map(g.Part, values))


@pytest.mark.parametrize(
    ("term", "lowest"),
    [
        (g.Subtract(g.Greatest(_parts(_x(), _x())), _x()), 0),
        (g.Subtract(g.Greatest(_parts(_x(), g.Constant(Fraction(1, 3)))), _x()), 0),
        (g.Subtract(g.Greatest(_parts(_x(), _x(1))), _x()), 0),
        (g.Subtract(g.Absolute(g.Multiply(_x(), _x(1))), g.Multiply(_x(), _x(1))), 0),
        (g.Subtract(_x(), g.Least(_parts(_x(), g.Multiply(_x(1), _x(1))))), 0),
    ],
)
def test_ties_with_itself_are_exact(term: g.Numeric, lowest: int) -> None:
    found = infimum(term, UNIT_BOX)
    assert (found.value, found.reached) == (lowest, lowest)


def test_a_highest_is_no_bound_where_the_term_turns_below_it() -> None:
    """The table falls first and rises from 0 on, where the highest of the two always lies; its member goes below."""
    table = tuple((Fraction(x), Fraction(y)) for x, y in ((-3, 9), (0, 0), (3, 3)))
    member = g.Subtract(_x(), g.Constant(Fraction(2)))
    read = g.Lookup(table, g.Greatest(_parts(member, g.Absolute(_x(1)))))
    term = g.Add(read, g.Multiply(_x(1), g.Subtract(_x(), _x(1))))
    box: Box = {0: (Fraction(-1), Fraction(2)), 1: (Fraction(0), Fraction(1, 2))}
    found = infimum(term, box)
    tried = [number_over(term, point(place_in(box, [Fraction(a, 8), Fraction(b, 8)])))[0]
             for a in range(9) for b in range(9)]  # fmt: skip
    assert found.value <= min(tried)


@pytest.mark.parametrize(("gap", "low", "high"), [(g.Ranged(1, "x"), -2, 2), (g.Gap("x"), -math.inf, math.inf)])
def test_what_is_missing_widens_the_bounds_at_every_corner(gap: g.Numeric, low: float, high: float) -> None:
    # At the corner that reaches lowest for certain, what is missing does little; at the other one it does much.
    term = g.Subtract(g.Multiply(_x(), gap), g.Divide(g.Constant(Fraction(0)), g.Constant(Fraction(1))))
    box: Box = {0: (Fraction(0), Fraction(2)), 1: (Fraction(-1), Fraction(1))}
    assert (infimum(term, box).value, supremum(term, box).value) == (low, high)


def test_a_missing_value_that_is_used_twice_is_one_value() -> None:
    ranged = g.Ranged(1, "x")
    term = g.Subtract(g.Add(ranged, _x()), ranged)
    assert infimum(term, UNIT_BOX).value == -1
    lone = g.Holds(g.Subtract(ranged, g.Constant(Fraction(1))), False)
    nominal = {0: Fraction(0), 1: Fraction(2)}
    assert decide(lone, UNIT_BOX, nominal).outcome is Outcome.UNKNOWN
    fails = g.All((lone, g.Holds(g.Negate(_x()), False)))
    assert decide(fails, UNIT_BOX, nominal).outcome is Outcome.SOMETIMES


# decisions


@SLOW
@given(LOGICAL, BOXES, FILLINGS, SHARES)
def test_decisions_hold_at_every_place(
    term: g.Logical, box: Box, filling: dict[str, Fraction], shares: list[Fraction]
) -> None:
    nominal = place_in(box, [Fraction(1, 2)] * INPUTS)
    decision = decide(term, box, nominal)
    true = filled(term, filling)
    assert isinstance(true, g.Logical)
    found = {truth_over(true, point(place)) for place in [*_places(box), nominal, place_in(box, shares)]}
    if decision.outcome is Outcome.ALWAYS:
        assert False not in found
    elif decision.outcome is Outcome.NEVER:
        assert True not in found
    elif decision.outcome is Outcome.UNKNOWN:
        assert g.gaps_of(term) or math.isinf(decision.worst.value) or math.isinf(decision.worst.reached)


@SLOW
@given(st.lists(st.tuples(MULTILINEAR, st.booleans()), min_size=1, max_size=3), st.booleans(), BOXES)
def test_decisions_on_multilinear_comparisons_are_exact(
    made: list[tuple[g.Numeric, bool]], every: bool, box: Box
) -> None:
    parts = tuple(g.Holds(term, strict, g.Constant(Fraction(1))) for term, strict in made)
    term = (g.All if every else g.Any)(parts)
    nominal = place_in(box, [Fraction(1, 2)] * INPUTS)
    decision = decide(term, box, nominal)
    found = {truth_over(term, point(place)) for place in [*_places(box), nominal]}
    expected = {Outcome.ALWAYS: {True}, Outcome.NEVER: {False}}
    if decision.outcome in expected:
        assert found == expected[decision.outcome]
    elif decision.outcome is Outcome.SOMETIMES and len(parts) == 1:
        # One comparison of degree one: it holds at the corner that is highest and fails at the one that is lowest.
        corners = [place_in(box, list(map(Fraction, ends))) for ends in itertools.product((0, 1), repeat=INPUTS)]
        assert {truth_over(term, point(place)) for place in corners} == {True, False}


def _holds(value: int, strict: bool = False) -> g.Holds:
    return g.Holds(_minus(_x(), value), strict, g.Constant(Fraction(1)))


@pytest.mark.parametrize(
    ("term", "outcome"),
    [
        (_holds(4), Outcome.ALWAYS),
        (_holds(4, strict=True), Outcome.SOMETIMES),
        (_holds(6), Outcome.SOMETIMES),
        (_holds(6, strict=True), Outcome.NEVER),
        (g.Contrary(_holds(4)), Outcome.NEVER),
        (g.Contrary(_holds(4, strict=True)), Outcome.SOMETIMES),
        (g.Contrary(_holds(6)), Outcome.SOMETIMES),
        (g.Contrary(_holds(6, strict=True)), Outcome.ALWAYS),
        (g.All((_holds(4), _holds(3, strict=True))), Outcome.ALWAYS),
        (g.All((_holds(4, strict=True), _holds(3))), Outcome.SOMETIMES),
        (g.All((_holds(6, strict=True), _holds(4))), Outcome.NEVER),
        (g.Any((_holds(4), _holds(7, strict=True))), Outcome.ALWAYS),
        (g.Any((_holds(6, strict=True), _holds(7))), Outcome.NEVER),
        (g.Any((_holds(6, strict=True), _holds(6))), Outcome.SOMETIMES),
        (g.All((_holds(4), g.Fixed(None, "a"))), Outcome.UNKNOWN),
        (g.All((_holds(7), g.Fixed(None, "a"))), Outcome.NEVER),
        (g.All((_holds(5), g.Fixed(None, "a"))), Outcome.SOMETIMES),
        (g.Any((_holds(4), g.Fixed(None, "a"))), Outcome.ALWAYS),
        (g.Any((_holds(7), g.Fixed(None, "a"))), Outcome.UNKNOWN),
        (g.Fixed(True), Outcome.ALWAYS),
        (g.Fixed(False), Outcome.NEVER),
        (g.Fixed(None, "a"), Outcome.UNKNOWN),
        (g.Holds(g.Divide(g.Constant(Fraction(1)), _minus(_x(), 5)), False), Outcome.SOMETIMES),
        (g.Holds(g.Divide(g.Constant(Fraction(1)), g.Absolute(_minus(_x(), 5))), False), Outcome.UNKNOWN),
    ],
)
def test_ties_and_missing_values(term: g.Logical, outcome: Outcome) -> None:
    """The one input runs from 4 to 6."""
    assert decide(term, {0: (Fraction(4), Fraction(6))}, {0: Fraction(5)}).outcome is outcome


def test_a_tie_of_decimals_is_exact() -> None:
    tenths = g.Subtract(g.Constant(Fraction("0.3")), g.Add(g.Constant(Fraction("0.1")), g.Constant(Fraction("0.2"))))
    assert 0.1 + 0.2 != 0.3
    assert decide(g.Holds(tenths, False), {}, {}).outcome is Outcome.ALWAYS
    assert decide(g.Holds(tenths, True), {}, {}).outcome is Outcome.NEVER
    assert shadow_truth(g.Holds(tenths, False))({}) is None


# three values

YES, NO, OPEN = g.Fixed(True), g.Fixed(False), g.Fixed(None, "x")
NAMED = {True: YES, False: NO, None: OPEN}
VALUES: list[bool | None] = [True, False, None]


@pytest.mark.parametrize(("one", "other"), list(itertools.product(VALUES, VALUES)))
def test_and_or_of_three_values(one: bool | None, other: bool | None) -> None:
    parts = (NAMED[one], NAMED[other])
    both = False if False in (one, other) else None if None in (one, other) else True
    either = True if True in (one, other) else None if None in (one, other) else False
    for term, expected in ((g.All(parts), both), (g.Any(parts), either)):
        assert truth_over(term, {}) is expected
        assert shadow_truth(term)({}) is expected
        wanted = {True: Outcome.ALWAYS, False: Outcome.NEVER, None: Outcome.UNKNOWN}[expected]
        assert decide(term, {}, {}).outcome is wanted


@pytest.mark.parametrize("value", VALUES)
def test_not_of_three_values(value: bool | None) -> None:
    expected = None if value is None else not value
    term = g.Contrary(NAMED[value])
    found = [truth_over(term, {}), shadow_truth(term)({}), truth_over(g.without_contrary(term), {})]
    assert found == [expected] * 3


@pytest.mark.parametrize(("value", "found"), [(True, (1, 1)), (False, (2, 2)), (None, (1, 2))])
def test_if_of_three_values(value: bool | None, found: tuple[Bound, Bound]) -> None:
    term = g.Select(NAMED[value], g.Constant(Fraction(1)), g.Constant(Fraction(2)))
    assert number_over(term, {}) == found
    assert shadow_number(term)({}) == found


@pytest.mark.parametrize(
    ("kind", "value", "found"),
    [
        (g.Total, True, (3, 3)),
        (g.Total, False, (2, 2)),
        (g.Total, None, (2, 3)),
        (g.Least, True, (1, 1)),
        (g.Least, False, (2, 2)),
        (g.Least, None, (1, 2)),
        (g.Greatest, True, (2, 2)),
        (g.Greatest, False, (2, 2)),
        (g.Greatest, None, (2, 2)),
    ],
)
def test_a_member_that_may_take_part(kind: type[g.Gathered], value: bool | None, found: tuple[Bound, Bound]) -> None:
    term = kind((g.Part(g.Constant(Fraction(1)), NAMED[value]), g.Part(g.Constant(Fraction(2)))))
    assert number_over(term, {}) == found
    low, high = shadow_number(term)({})
    assert low <= found[0]
    assert found[1] <= high
    alone = kind((g.Part(g.Constant(Fraction(1)), NAMED[value]),))
    has_value = value is True or kind is g.Total
    assert (number_over(alone, {}) == exactly.ANYTHING) is (not has_value)
    assert (shadow_number(alone)({}) == exactly.ANYTHING) is (not has_value)


def test_slopes_are_enclosed() -> None:
    """The sweep in reverse encloses every difference quotient of smooth terms."""

    @SLOW
    @given(MULTILINEAR | RISING, BOXES, SHARES, st.integers(0, INPUTS - 1))
    def holds(term: g.Numeric, box: Box, shares: list[Fraction], index: int) -> None:
        if index not in g.inputs_of(term) or box[index][0] == box[index][1]:
            return
        made = tape.Tape(term)
        values = made.forward(_box_of_floats(box))
        least, most = slopes.slopes(made, values)[index]
        sign = slopes.signs(made, slopes.pulls(made, values))[index]
        assert sign == slopes.MIXED or (least >= 0 if sign > 0 else most <= 0 if sign else (least, most) == (0, 0))
        here = place_in(box, shares)
        there = {**here, index: box[index][1] if here[index] != box[index][1] else box[index][0]}
        one, other = number_over(term, point(here)), number_over(term, point(there))
        run = there[index] - here[index]
        rise = (other[0] - one[1]) / run, (other[1] - one[0]) / run
        assert min(rise) <= most
        assert least <= max(rise)

    holds()


def test_terms_are_attrs_classes_whose_children_are_all_walked() -> None:
    """What `below` leaves out would be missed by everything that walks a term."""
    leaf = g.Constant(Fraction(1))
    truth = g.Holds(leaf, False)
    for kind in (*g.NUMERIC_KINDS, *g.LOGICAL_KINDS):
        values = {
            "value": leaf,
            "left": leaf,
            "right": leaf,
            "then": leaf,
            "other": leaf,
            "condition": truth,
            "headroom": leaf,
            "parts": (g.Part(leaf, truth),),
            "arguments": (leaf,),
            "at": leaf,
            "points": (),
            "index": 0,
            "path": "x",
            "function": STANDARD["exp"],
            "strict": False,
        }
        if kind in (g.All, g.Any):
            values["parts"] = (truth,)
        if kind is g.Contrary:
            values["value"] = truth
        if kind in (g.Fixed, g.Constant):
            values["value"] = True if kind is g.Fixed else Fraction(1)
        due = [item.name for item in attrs.fields(kind) if item.default is attrs.NOTHING]
        made = kind(**{name: values[name] for name in due})  # type: ignore[arg-type]
        held = [getattr(made, name) for name in due]
        nodes = [item for item in held if isinstance(item, g.Ground)]
        nodes += [item for group in held if isinstance(group, tuple) for item in group if isinstance(item, g.Ground)]
        nodes += [
            part.value for group in held if isinstance(group, tuple) for part in group if isinstance(part, g.Part)
        ]
        assert set(map(id, nodes)) <= set(map(id, made.below()))
