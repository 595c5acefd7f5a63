"""Units against an independent table of them, one by one and in random compounds."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limitrules.foundation import dimension as d
from limitrules.foundation.dimension import BASES
from limitrules.foundation.units import UNITS, Unit, UnknownUnit, parse_unit, suggest, unit_for

F = Fraction

OTHER: Any = pint.UnitRegistry()
# Where the other table spells a unit otherwise, or knows it as something else.
SPELLED = {
    "%": "percent", "degC": "delta_degree_Celsius", "mm2": "mm**2", "cm2": "cm**2", "m2": "m**2", "A2s": "A**2*s",
    "kA2s": "kA**2*s", "var": "V*A", "kvar": "kV*A", "VA": "V*A", "kVA": "kV*A", "MVA": "MV*A", "min": "minute",
    "h": "hour", "d": "day", "C": "coulomb", "F": "farad", "bit": "dimensionless", "kbit": "1000*dimensionless",
    "Mbit": "1000000*dimensionless", "ppm": "ppm",
}  # fmt: skip
IN_BASES = {
    "[length]": "m",
    "[mass]": "kg",
    "[time]": "s",
    "[current]": "A",
    "[temperature]": "K",
    "[substance]": "mol",
}


def other(symbol: str) -> Any:
    """One of a unit, by the other table."""
    return OTHER.Quantity(1) * OTHER.parse_expression(SPELLED.get(symbol, symbol))


def agrees(unit: Unit, theirs: Any) -> None:
    powers = {IN_BASES[name]: F(power).limit_denominator(100) for name, power in theirs.dimensionality.items()}
    assert unit.dimension.exponents == tuple(powers.get(name, F(0)) for name in BASES)
    coherent = OTHER.dimensionless
    for name, power in powers.items():
        coherent = coherent * getattr(OTHER, "delta_degree_Celsius" if name == "K" else name) ** float(power)
    assert math.isclose(float(unit.factor), float(theirs.to(coherent).magnitude), rel_tol=1e-12)


@pytest.mark.parametrize("symbol", UNITS)
def test_every_unit(symbol: str) -> None:
    agrees(UNITS[symbol], other(symbol))
    assert parse_unit(symbol) is UNITS[symbol]
    assert UNITS[symbol].symbol == symbol


FACTORS = [symbol for symbol in UNITS if symbol not in ("degC",)]


@given(st.lists(st.tuples(st.sampled_from("*/"), st.sampled_from(FACTORS)), min_size=2, max_size=5))
def test_compounds(parts: list[tuple[str, str]]) -> None:
    text = parts[0][1] + "".join(sign + symbol for sign, symbol in parts[1:])
    theirs = other(parts[0][1])
    for sign, symbol in parts[1:]:
        theirs = theirs * other(symbol) if sign == "*" else theirs / other(symbol)
    agrees(parse_unit(text), theirs)


@pytest.mark.parametrize(("text", "factor", "dimension"), [
    ("1/h", F(1, 3600), d.FREQUENCY), ("m3", F(1), d.LENGTH**3), ("s2", F(1), d.TIME**2),
    ("A/s", F(1), d.CURRENT / d.TIME),
    ("ohm*mm2/m", F(1, 10**6), d.RESISTANCE * d.LENGTH), ("%/d", F(1, 8640000), d.FREQUENCY),
    ("mV/K", F(1, 1000), d.VOLTAGE / d.TEMPERATURE_DIFFERENCE), ("W/m2", F(1), d.POWER / d.AREA),
])  # fmt: skip
def test_some_by_hand(text: str, factor: F, dimension: d.Dimension) -> None:
    unit = parse_unit(text)
    assert (unit.symbol, unit.factor, unit.dimension, unit.offset) == (text, factor, dimension, F(0))


@pytest.mark.parametrize(("text", "symbol"), [
    ("mΩ", "mohm"), ("m\N{OHM SIGN}", "mohm"), ("µA", "uA"), ("\N{GREEK SMALL LETTER MU}A", "uA"), ("°C", "degC"),
    ("℃", "degC"), ("mm²", "mm2"), ("Ω·mm²/m", "ohm*mm2/m"), ("A²s", "A2s"),
])  # fmt: skip
def test_other_spellings(text: str, symbol: str) -> None:
    assert parse_unit(text) == parse_unit(symbol)


@pytest.mark.parametrize(("text", "suggestion"), [
    ("amps", "A"), ("Amp", "A"), ("sec", "s"), ("KW", "kW"), ("Kwh", "kWh"), ("hr", "h"), ("percent", "%"),
    ("°c", "degC"),
    ("celsius", "degC"), ("sqmm", "mm2"), ("mohms", "mohm"), ("xyzzy", ""), ("", ""),
])  # fmt: skip
def test_what_was_probably_meant(text: str, suggestion: str) -> None:
    assert suggest(text) == suggestion
    with pytest.raises(UnknownUnit) as caught:
        parse_unit(text)
    assert caught.value.suggestion == suggestion
    assert str(caught.value) == f"`{text}` is not a unit that is known here"


@pytest.mark.parametrize(
    "text", ["1", "A/", "/A", "A//s", "A*", "degC/s", "m/degC", "degC2", "A s", "A/1", "m0", "m-1", "2A", "A^2"]
)
def test_no_units(text: str) -> None:
    with pytest.raises(UnknownUnit):
        parse_unit(text)


@given(st.text(max_size=12))
def test_any_text_is_a_unit_or_none(text: str) -> None:
    try:
        unit = parse_unit(text)
    except UnknownUnit:
        return
    assert unit.factor > 0


@given(st.sampled_from(list(UNITS)), st.fractions())
def test_there_and_back(symbol: str, value: F) -> None:
    unit = UNITS[symbol]
    assert unit.from_si(unit.to_si(value)) == value


def test_temperatures() -> None:
    celsius = UNITS["degC"]
    assert celsius.is_temperature
    assert celsius.to_si(F(35)) == F("308.15")
    assert not UNITS["K"].is_temperature


def test_a_unit_for_every_dimension() -> None:
    for unit in UNITS.values():
        coherent = unit_for(unit.dimension)
        assert coherent.dimension == unit.dimension
        assert (coherent.factor, coherent.offset) == (F(1), F(0))
    assert unit_for(d.NUMBER).symbol == "1"
    odd = d.LENGTH ** F(1, 2)
    assert unit_for(odd) == Unit("m1/2", F(1), odd)
