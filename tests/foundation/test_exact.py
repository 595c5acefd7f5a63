"""Exact numbers, the floats that bound them, and the digits that are shown of them."""

from __future__ import annotations

import math
import sys
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limitrules.foundation.exact import float_above, float_below, parse_decimal, plain_decimal, round_digits

F = Fraction

WIDE = st.one_of(
    st.fractions(),
    st.builds(lambda n, e: F(n) * F(10) ** e, st.integers(-(10**20), 10**20), st.integers(-400, 400)),
    st.floats(allow_nan=False, allow_infinity=False).map(F),
)


@given(WIDE)
def test_floats_bracket(value: F) -> None:
    below, above = float_below(value), float_above(value)
    assert below == -math.inf or F(below) <= value
    assert above == math.inf or F(above) >= value
    # Nothing lies between the two but the value itself.
    assert below == above or math.nextafter(below, math.inf) == above
    assert (below == above) is (math.isfinite(below) and F(below) == value)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_float_bounds_itself(value: float) -> None:
    assert float_below(F(value)) == float_above(F(value)) == value


def test_beyond_the_range_of_floats() -> None:
    huge = F(10) ** 400
    assert (float_below(huge), float_above(huge)) == (sys.float_info.max, math.inf)
    assert (float_below(-huge), float_above(-huge)) == (-math.inf, -sys.float_info.max)
    tiny = F(1, 10**400)
    assert (float_below(tiny), float_above(tiny)) == (0.0, 5e-324)


@given(WIDE.filter(lambda value: abs(value) < F(10) ** 290), st.integers(1, 15))
def test_digits_are_rounded_to_the_right_side(value: F, digits: int) -> None:
    down, nearest, up = (F(round_digits(value, digits, towards)) for towards in (-1, 0, 1))
    assert down <= value <= up
    assert down <= nearest <= up
    assert abs(nearest - value) <= max(value - down, up - value)
    if value:
        # One unit in the last place that is shown.
        step = F(10) ** (math.floor(math.log10(abs(value.numerator)) - math.log10(value.denominator)) + 2 - digits)
        assert up - down <= step


@pytest.mark.parametrize(("value", "digits", "towards", "text"), [
    (F(0), 3, 0, "0"), (F(1, 3), 3, 0, "0.333"), (F(1, 3), 3, 1, "0.334"), (F(-1, 3), 3, 1, "-0.333"),
    (F(-1, 3), 3, -1, "-0.334"), (F("9.995"), 3, 1, "10"), (F("9.995"), 3, -1, "9.99"), (F(123456), 3, 0, "123456"),
    (F("0.00012349"), 3, 0, "0.000123"), (F("2.5"), 1, 0, "2"), (F("3.5"), 1, 0, "4"), (F("1.50"), 3, 0, "1.5"),
])  # fmt: skip
def test_digits(value: F, digits: int, towards: int, text: str) -> None:
    assert round_digits(value, digits, towards) == text


@given(st.integers(-(10**30), 10**30), st.integers(0, 30))
def test_a_decimal_is_printed_in_full(number: int, places: int) -> None:
    value = F(number, 10**places)
    assert F(plain_decimal(value)) == value
    assert parse_decimal(plain_decimal(value)) == value


def test_what_has_no_decimal_gets_twelve_digits() -> None:
    assert plain_decimal(F(1, 3)) == "0.333333333333"
    assert plain_decimal(F(-22, 7)) == "-3.14285714286"


@pytest.mark.parametrize(("text", "value"), [
    ("96", F(96)), ("-1.50e3", F(-1500)), ("+.5", F(1, 2)), ("5.", F(5)), ("\N{MINUS SIGN}2", F(-2)),
    ("1E-3", F(1, 1000)),
    ("", None), (".", None), ("1e", None), ("1e1000", None), ("nan", None), ("inf", None), ("1/3", None), (" 1", None),
    ("1\n", None), ("1_0", None), ("--1", None),
])  # fmt: skip
def test_decimals(text: str, value: F | None) -> None:
    assert parse_decimal(text) == value
