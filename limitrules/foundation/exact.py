"""Exact numbers: decimals kept as rationals, and floats that bound them from outside."""

from __future__ import annotations

import math
import re
from fractions import Fraction

_DECIMAL = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?\Z")


def parse_decimal(text: str) -> Fraction | None:
    """The exact value of a decimal such as ``-1.50e3``; None when the text is no finite decimal."""
    text = text.replace("\N{MINUS SIGN}", "-")
    return Fraction(text) if _DECIMAL.match(text) else None


def float_below(value: Fraction) -> float:
    """The largest float that is not above an exact value (minus infinity beyond the range of floats)."""
    return floats_around(value)[0]


def float_above(value: Fraction) -> float:
    """The smallest float that is not below an exact value."""
    return floats_around(value)[1]


def floats_around(value: Fraction) -> tuple[float, float]:
    """The narrowest pair of floats around an exact value: one and the same where the value is a float."""
    numerator, denominator = value.as_integer_ratio()
    try:
        near = numerator / denominator
    except OverflowError:
        edge = math.nextafter(math.inf, 0)
        return (edge, math.inf) if numerator > 0 else (-math.inf, -edge)
    a, b = near.as_integer_ratio()
    difference = a * denominator - numerator * b
    if difference == 0:
        return near, near
    return (math.nextafter(near, -math.inf), near) if difference > 0 else (near, math.nextafter(near, math.inf))


def round_digits(value: Fraction, digits: int, towards: int = 0) -> str:
    """A decimal text of ``digits`` significant digits, without an exponent.

    ``towards`` -1 never shows more than the value, +1 never less, 0 the nearest (ties to even).
    """
    if value == 0:
        return "0"
    places = max(0, digits - 1 - _magnitude(abs(value)))
    # Whole numbers do here what fractions would do in several times as long.
    scaled, parts = value.numerator * 10**places, value.denominator
    whole, rest = divmod(scaled, parts)
    if towards > 0:
        whole += rest > 0
    elif towards == 0:
        whole += 2 * rest > parts or (2 * rest == parts and whole % 2)
    sign, text = ("-" if whole < 0 else ""), str(abs(whole))
    if not places:
        return sign + text
    text = text.rjust(places + 1, "0")
    integer, fraction = text[:-places], text[-places:].rstrip("0")
    return sign + integer + ("." + fraction if fraction else "")


def _magnitude(size: Fraction) -> int:
    """The exponent of ten of the first digit, also where a float would under- or overflow."""
    over, under = size.numerator, size.denominator
    guess = len(str(over)) - len(str(under))
    reached = over >= under * 10**guess if guess >= 0 else over * 10**-guess >= under
    return guess if reached else guess - 1


def plain_decimal(value: Fraction) -> str:
    """The exact decimal text where the value has one, else 12 significant digits."""
    denominator = value.denominator
    for prime in (2, 5):
        while denominator % prime == 0:
            denominator //= prime
    if denominator != 1:
        return round_digits(value, 12)
    places = 0
    while (value * 10**places).denominator != 1:
        places += 1
    whole = abs(value.numerator * 10**places // value.denominator)
    text = str(whole).rjust(places + 1, "0")
    body = f"{text[:-places]}.{text[-places:]}" if places else text
    return ("-" if value < 0 else "") + body
