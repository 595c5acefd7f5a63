from __future__ import annotations

from fractions import Fraction

import pytest
from attrs import evolve
from hypothesis import given
from hypothesis import strategies as st

from limitrules.foundation.figures import level, number
from limitrules.foundation.units import Unit, parse_unit
from limitrules.report.figures import count_words, figure_words, headroom_words, joined, worst_words
from limitrules.rules.findings import Headroom
from tests.report.samples import AMPERE, CELSIUS, MILLIOHM, PERCENT, decimal, ladder

NUMBER = parse_unit("%")


@pytest.mark.parametrize(
    ("value", "towards", "text"),
    [
        ("0", 0, "0"),
        ("0", -1, "0"),
        ("12.345678", 0, "12.35"),
        ("12.345678", -1, "12.34"),
        ("-12.34", -1, "-12.34"),
        ("-12.341", -1, "-12.35"),
        ("12345.6", 0, "12346"),
        ("0.00012345", -1, "0.0001234"),
        ("-1e-7", -1, "just below 0"),
        ("1e-7", -1, "just above 0"),
        ("-1e-300", 0, "just below 0"),
        ("99.99999", 0, "100"),
        ("1234567890123456", 0, "1.235e15"),
        ("-1234567890123456", -1, "-1.235e15"),
        ("1e400", 0, "1e400"),
    ],
)
def test_a_number_is_short_and_honest(value: str, towards: int, text: str) -> None:
    assert number(decimal(value), towards=towards) == text


@given(st.fractions(min_value=-(10**9), max_value=10**9), st.sampled_from([-1, 0, 1]))
def test_what_is_not_zero_never_looks_like_zero_and_rounding_keeps_its_side(value: Fraction, towards: int) -> None:
    text = number(value, towards=towards)
    if value == 0:
        assert text == "0"
    elif text.startswith("just"):
        assert text == ("just below 0" if value < 0 else "just above 0")
    else:
        shown = Fraction(text)
        assert shown != 0
        assert (shown < 0) == (value < 0)
        assert abs(shown - value) <= abs(value) / 1000
        assert towards >= 0 or shown <= value
        assert towards <= 0 or shown >= value


@given(st.fractions(max_value=0).filter(bool))
def test_a_breached_headroom_is_always_seen_to_be_below_zero(worst: Fraction) -> None:
    words = worst_words(Headroom(worst, worst, AMPERE, Fraction(5)))
    assert words.startswith(("worst -", "worst just below 0 A"))


@pytest.mark.parametrize(
    ("headroom", "words"),
    [
        (Headroom(decimal("-4.25"), decimal("-6.1234"), AMPERE, decimal("118")),
         "headroom -4.25 A (-3.6 %), worst -6.124 A (-5.19 %)"),
        (Headroom(decimal("2"), decimal("2"), AMPERE, decimal("10")), "headroom 2 A (20 %), nominal and worst"),
        (Headroom(decimal("2"), decimal("1"), AMPERE, decimal("0")), "headroom 2 A, worst 1 A"),
        (Headroom(decimal("2"), decimal("1"), AMPERE), "headroom 2 A, worst 1 A"),
        (Headroom(decimal("2"), None, AMPERE, decimal("10")), "headroom 2 A (20 %), worst without bound"),
        (Headroom(None, decimal("-1"), AMPERE), "headroom not known, worst -1 A"),
        (Headroom(decimal("2"), decimal("-1"), AMPERE, tight=False), "headroom 2 A, worst -1 A or better"),
        (Headroom(decimal("2"), decimal("2"), AMPERE, tight=False), "headroom 2 A, worst 2 A or better"),
        (Headroom(decimal("-4"), decimal("-6.5"), CELSIUS, decimal("273.15")), "headroom -4 K, worst -6.5 K"),
        (Headroom(decimal("0.0002"), decimal("0.0001"), MILLIOHM, decimal("-0.001")),
         "headroom 0.2 mohm (20 %), worst 0.1 mohm (10 %)"),
        (Headroom(decimal("0.02"), decimal("0.01"), PERCENT, decimal("0.1")),
         "headroom 2 % (20 % of the limit), worst 1 % (10 % of the limit)"),
        (Headroom(decimal("3"), decimal("2"), Unit("1", Fraction(1), NUMBER.dimension), decimal("8")),
         "headroom 3 (37.5 %), worst 2 (25 %)"),
    ],
)  # fmt: skip
def test_headroom_in_words(headroom: Headroom, words: str) -> None:
    assert headroom_words(headroom) == words


def test_a_limit_stands_on_the_scale_of_its_unit() -> None:
    assert level(decimal("308.15"), CELSIUS) == "35 degC"
    assert level(decimal("0.0004"), MILLIOHM) == "0.4 mohm"


def test_the_figure_is_named_where_one_is_held_against_a_limit() -> None:
    headroom = ladder().headroom
    assert headroom is not None
    assert figure_words(headroom) == "96 A"
    assert figure_words(evolve(headroom, figure=None)) == ""
    assert figure_words(Headroom(None, None, parse_unit("degC"), figure=Fraction("273.15"))) == "0 degC"


def test_counts_and_lists_in_words() -> None:
    assert [count_words(0, "rule"), count_words(1, "rule"), count_words(2, "rule")] == [
        "no rules",
        "one rule",
        "two rules",
    ]
    assert [count_words(12), count_words(13), count_words(2, "way", "ways")] == ["twelve", "13", "two ways"]
    assert [joined([]), joined(["a"]), joined(["a", "b"]), joined(["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]
