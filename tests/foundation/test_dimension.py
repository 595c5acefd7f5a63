"""Dimensions: the algebra of exponents, and the words for it."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limitrules.foundation import dimension as d
from limitrules.foundation.dimension import BASES, Dimension, dimension

F = Fraction

DIMENSIONS = st.builds(
    lambda exponents: Dimension(tuple(exponents)),
    st.lists(st.fractions(-4, 4, max_denominator=6), min_size=len(BASES), max_size=len(BASES)),
)
POWERS = st.fractions(-3, 3, max_denominator=4)


@given(DIMENSIONS, DIMENSIONS, DIMENSIONS)
def test_products_form_a_group(a: Dimension, b: Dimension, c: Dimension) -> None:
    assert a * b == b * a
    assert (a * b) * c == a * (b * c)
    assert a * d.NUMBER == a
    assert a / a == d.NUMBER
    assert (a / b) * b == a
    assert hash(a * b) == hash(b * a)


@given(DIMENSIONS, DIMENSIONS, POWERS, POWERS)
def test_powers_add_and_multiply(a: Dimension, b: Dimension, p: F, q: F) -> None:
    assert a**p * a**q == a ** (p + q)
    assert (a**p) ** q == a ** (p * q)
    assert (a * b) ** p == a**p * b**p
    assert a**0 == d.NUMBER


@given(DIMENSIONS)
def test_only_the_empty_one_is_a_number(a: Dimension) -> None:
    assert a.is_number is (a == d.NUMBER)


@pytest.mark.parametrize(("found", "words", "symbol", "formula"), [
    (d.CURRENT, "current (A)", "A", "A"),
    (d.VOLTAGE, "voltage (V)", "V", "m2*kg/s3/A"),
    (d.NUMBER, "a plain number or share (1)", "1", "1"),
    (d.FREQUENCY, "frequency (Hz)", "Hz", "1/s"),
    (d.VOLTAGE * d.CURRENT, "power (W)", "W", "m2*kg/s3"),
    (d.CURRENT / d.TIME, "current slew (A/s)", "A/s", "A/s"),
    (d.CURRENT**3, "a quantity in A3", "A3", "A3"),
    (d.LENGTH ** F(1, 2), "a quantity in m1/2", "m1/2", "m1/2"),
    (dimension(mol=-1, K=2), "a quantity in K2/mol", "K2/mol", "K2/mol"),
])  # fmt: skip
def test_words(found: Dimension, words: str, symbol: str, formula: str) -> None:
    assert (str(found), found.unit_symbol, found.formula) == (words, symbol, formula)


def test_relations_between_named_ones() -> None:
    assert d.POWER * d.TIME == d.ENERGY
    assert d.VOLTAGE * d.CHARGE == d.ENERGY
    assert d.RESISTANCE * d.CAPACITANCE == d.TIME
    assert d.INDUCTANCE / d.RESISTANCE == d.TIME
    assert d.INDUCTANCE * d.CURRENT**2 == d.ENERGY
