"""Functions: what registration refuses, promises that do not hold, enclosures against 60 digits."""

from __future__ import annotations

import math
from fractions import Fraction

import attrs
import mpmath
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limitrules.foundation.dimension import CURRENT, NUMBER
from limitrules.foundation.kinds import Quantity, Type
from limitrules.language.functions import (
    STANDARD,
    Argument,
    Bounds,
    Direction,
    Function,
    Registry,
    refute,
)

SHARE = Quantity(NUMBER)
WIDE: dict[str, dict[str, Bounds]] = {
    "sqrt": {"value": (0.0, 1e30)},
    "exp": {"value": (-700.0, 700.0)},
    "ln": {"value": (5e-324, 1e300)},
}
NARROW: dict[str, dict[str, Bounds]] = {
    "sqrt": {"value": (0.0, 1e-9)},
    "exp": {"value": (-1e-9, 1e-9)},
    "ln": {"value": (0.999999, 1.000001)},
}


def _share(types: tuple[Type, ...]) -> Type:
    return SHARE


def function(name: str = "double", **changes: object) -> Function:
    plain = Function(
        name,
        "Twice a value.",
        (Argument("value", "any", SHARE, Direction.RISES),),
        _share,
        lambda value: (2 * value, 2 * value),
    )
    return attrs.evolve(plain, **changes)  # type: ignore[arg-type]


# registration


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"name": "2nd"}, "function '2nd': expected a name of letters, digits and _; given '2nd'"),
        ({"meaning": " "}, "function 'double': expected a meaning in one sentence; given none"),
        ({"arguments": ()}, "function 'double': expected at least one argument; given none"),
        ({"result": "share"}, "function 'double': expected a result rule to call; given 'share'"),
        ({"point": None}, "function 'double': expected `point`, a callable that encloses the value; given None"),
        (
            {"arguments": (Argument("value", "any"), Argument("turn", "any"))},
            "function 'double': expected `enclose`, since value, turn neither rises nor falls; given none",
        ),
        (
            {"name": "a-b", "meaning": "", "arguments": ()},
            (
                "function 'a-b': expected a name of letters, digits and _; given 'a-b'; "
                "expected a meaning in one sentence; given none; expected at least one argument; given none"
            ),
        ),
        ({"name": "sqrt"}, "function 'sqrt': expected a new name; given `sqrt`, which exists already"),
    ],
    ids=lambda item: "" if isinstance(item, str) else ",".join(item),
)
def test_what_is_not_well_formed_is_not_registered(changes: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError) as caught:  # noqa: PT011
        STANDARD.extended([function(**changes)])  # type: ignore[arg-type]
    assert str(caught.value) == said


def test_registering_leaves_the_standard_functions_alone() -> None:
    before = set(STANDARD.by_name)
    more = STANDARD.extended([function()])
    assert "double" in more
    assert more["double"].signature == "double(value)"
    assert set(STANDARD.by_name) == before
    assert "double" not in STANDARD
    assert 3 not in STANDARD
    assert Registry().by_name == {}


def test_signatures_are_as_typed() -> None:
    assert [STANDARD[name].signature for name in STANDARD.by_name] == [
        "min(value, other, ...)",
        "max(value, other, ...)",
        "abs(value)",
        "sqrt(value)",
        "exp(value)",
        "ln(value)",
    ]


# promises


@pytest.mark.parametrize("samples", [WIDE, NARROW], ids=["wide", "narrow"])
@pytest.mark.parametrize("name", sorted(WIDE))
def test_the_standard_functions_keep_their_promises(name: str, samples: dict[str, dict[str, Bounds]]) -> None:
    assert refute(STANDARD[name], samples[name], tries=2000) is None


def test_every_standard_function_is_known_to_the_engine_or_tried() -> None:
    assert {name for name, item in STANDARD.by_name.items() if not item.lowered} == set(WIDE) == set(NARROW)
    assert all(refute(STANDARD[name], {}) is None for name in ("min", "max", "abs"))


@pytest.mark.parametrize(
    ("promised", "direction"), [(Direction.FALLS, "falls"), (Direction.RISES, "rises")], ids=["falls", "rises"]
)
def test_a_false_direction_is_refuted(promised: Direction, direction: str) -> None:
    sign = 1 if promised is Direction.FALLS else -1
    wrong = function(arguments=(Argument("value", "any", SHARE, promised),), point=lambda value: (sign * value,) * 2)
    found = refute(wrong, {"value": (-5.0, 5.0)})
    assert found is not None
    assert (found.function, found.argument, found.promise) == ("double", "value", direction)
    (here,), (there,) = found.points
    assert here < there
    assert found.values == ((sign * here,) * 2, (sign * there,) * 2)


def test_a_direction_that_turns_within_the_range_is_refuted() -> None:
    hump = function(point=lambda value: (value * (1 - value),) * 2)
    assert refute(hump, {"value": (0.0, 0.4)}) is None
    assert refute(hump, {"value": (0.0, 1.0)}) is not None


def test_a_false_direction_of_the_second_argument_is_refuted() -> None:
    two = (Argument("a", "any", SHARE, Direction.RISES), Argument("b", "any", SHARE, Direction.RISES))
    found = refute(function(arguments=two, point=lambda a, b: (a - b,) * 2), {"a": (0.0, 1.0), "b": (0.0, 1.0)})
    assert found is not None
    assert found.argument == "b"


def test_a_false_enclosure_is_refuted() -> None:
    wave = function(
        arguments=(Argument("value", "any", SHARE),),
        point=lambda value: (math.sin(value) - 1e-12, math.sin(value) + 1e-12),
        enclose=lambda pair: (-0.5, 0.5),
    )
    found = refute(wave, {"value": (0.0, 6.0)})
    assert found is not None
    assert found.promise == "enclosure"
    assert refute(attrs.evolve(wave, enclose=lambda pair: (-1.1, 1.1)), {"value": (0.0, 6.0)}) is None


# enclosures


def _true(name: str, value: Fraction) -> mpmath.mpf:
    with mpmath.workdps(60):
        return {"sqrt": mpmath.sqrt, "exp": mpmath.exp, "ln": mpmath.log}[name](
            mpmath.mpf(value.numerator) / value.denominator
        )


def _as_mpf(value: float | Fraction) -> mpmath.mpf:
    with mpmath.workdps(60):
        if isinstance(value, float):
            return mpmath.mpf(value)
        return mpmath.mpf(value.numerator) / value.denominator


VALUES = {
    "sqrt": st.floats(0.0, 1e300),
    "exp": st.floats(-745.0, 709.0),
    "ln": st.floats(5e-324, 1e300),
}


@pytest.mark.parametrize("name", sorted(VALUES))
def test_an_enclosure_holds_the_true_value(name: str) -> None:
    @settings(max_examples=300, deadline=None)
    @given(VALUES[name], VALUES[name])
    def holds(one: float, other: float) -> None:
        function = STANDARD[name]
        low, high = sorted((one, other))
        assert function.point is not None
        for value in (low, high):
            below, above = function.point(value)
            true = _true(name, Fraction(value))
            assert _as_mpf(below) <= true <= _as_mpf(above)
            assert above - below <= 1e-14 * max(abs(above), 1e-300)
        over = function.interval((low, high))
        assert _as_mpf(over[0]) <= _true(name, Fraction(low))
        assert _true(name, Fraction(high)) <= _as_mpf(over[1])
        with mpmath.workdps(40):
            enclosed = {"sqrt": mpmath.iv.sqrt, "exp": mpmath.iv.exp, "ln": mpmath.iv.log}[name](
                mpmath.iv.mpf([low, high])
            )
            assert _as_mpf(over[0]) <= mpmath.mpf(enclosed.b.a)
            assert mpmath.mpf(enclosed.a.b) <= _as_mpf(over[1])

    holds()


@given(st.fractions(0, 10**12))
@settings(max_examples=200, deadline=None)
def test_a_root_is_enclosed_between_rationals(value: Fraction) -> None:
    found = STANDARD["sqrt"].at(value)
    assert found is not None
    low, high = found
    assert isinstance(low, Fraction)
    assert isinstance(high, Fraction)
    assert 0 <= low <= high
    assert low * low <= value <= high * high
    assert high - low <= Fraction(1, 10**40)
    squared = STANDARD["sqrt"].at(value * value)
    assert squared == (value, value)


@pytest.mark.parametrize("value", [Fraction(0), Fraction(4), Fraction(9, 16), Fraction(2, 10**30), Fraction(10**60)])
def test_roots_of_squares_are_exact(value: Fraction) -> None:
    assert STANDARD["sqrt"].at(value * value) == (value, value)


@given(st.fractions(Fraction(1, 1000), 600, max_denominator=1000))
@settings(max_examples=100, deadline=None)
def test_exp_and_ln_are_enclosed_between_rationals(value: Fraction) -> None:
    for name in ("exp", "ln"):
        found = STANDARD[name].at(value)
        assert found is not None
        low, high = found
        assert _as_mpf(low) <= _true(name, value) <= _as_mpf(high)


@pytest.mark.parametrize(
    ("name", "value"),
    [("sqrt", Fraction(-1, 10**400)), ("ln", Fraction(0)), ("ln", Fraction(-3)), ("sqrt", Fraction(-4))],
)
def test_outside_its_range_a_function_has_no_value(name: str, value: Fraction) -> None:
    assert STANDARD[name].at(value) is None
    assert STANDARD[name].interval((min(float(value), -5e-324), 4.0)) == (-math.inf, math.inf)


def test_beyond_floats_a_function_has_no_bounds_and_raises_nothing() -> None:
    assert STANDARD["exp"].interval((0.0, 1e9)) == (-math.inf, math.inf)
    found = STANDARD["exp"].at(Fraction(10**9))
    assert found in (None, (-math.inf, math.inf))
    assert STANDARD["exp"].interval((-math.inf, 0.0))[1] >= 1.0
    assert STANDARD["ln"].interval((1.0, math.inf))[1] == math.inf


def test_an_argument_type_may_be_any_quantity() -> None:
    assert STANDARD["sqrt"].result((Quantity(CURRENT**2),)) == Quantity(CURRENT)
