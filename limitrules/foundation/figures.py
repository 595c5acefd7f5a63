"""Figures for people: few digits, the unit beside them, what is not zero never shown as zero."""

from __future__ import annotations

from fractions import Fraction

from limitrules.foundation.exact import round_digits
from limitrules.foundation.units import Unit

DIGITS = 4
_SMALLEST = Fraction(1, 10**6)
_LARGEST = 10**12


def number(value: Fraction, digits: int = DIGITS, towards: int = 0) -> str:
    """A number for reading. What is not zero is never shown as zero."""
    if value and abs(value) < _SMALLEST:
        return "just below 0" if value < 0 else "just above 0"
    if abs(value) >= _LARGEST:
        exponent = len(str(int(abs(value)))) - 1
        return f"{round_digits(value / 10**exponent, digits, towards)}e{exponent}"
    return round_digits(value, digits, towards)


def with_unit(text: str, symbol: str) -> str:
    """``4 A``; a plain number has no unit to show."""
    return text if symbol in ("", "1") else f"{text} {symbol}"


def difference(value: Fraction, unit: Unit, towards: int = 0) -> str:
    """A difference held in SI, in its unit; that of two temperatures is in kelvin."""
    return with_unit(number(value / unit.factor, towards=towards), "K" if unit.is_temperature else unit.symbol)


def level(value: Fraction, unit: Unit, towards: int = 0) -> str:
    """A value held in SI that stands on the scale of its unit, such as a limit."""
    return with_unit(number(unit.from_si(value), towards=towards), unit.symbol)
