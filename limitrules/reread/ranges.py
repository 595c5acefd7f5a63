"""Rational intervals: the arithmetic on which the checker of certificates rests."""

from __future__ import annotations

import math
from bisect import bisect_right
from fractions import Fraction
from typing import Any, NamedTuple

from limitrules.foundation.dimension import CURRENT, NUMBER, Dimension
from limitrules.model.values import Table

INF = math.inf


class Refused(Exception):
    """What a certificate claims is not so, is not proven, or is beyond this checker."""


class Range(NamedTuple):
    """A number between two ends in SI, or a truth: 1 holds, 0 does not. ``unit`` is None where it is not known."""

    low: Any
    high: Any
    unit: Dimension | None = None


YES, NO, OPEN = Range(1, 1), Range(0, 0), Range(-INF, INF)
ZERO, ONE = Range(Fraction(0), Fraction(0)), Range(Fraction(1), Fraction(1), NUMBER)


def times(a: Any, b: Any) -> Any:
    """A product; zero times anything is zero, and rationals too large for a float never meet an infinity."""
    if a and b and (isinstance(a, float) or isinstance(b, float)):
        return INF if (a > 0) == (b > 0) else -INF
    return a * b if a and b else Fraction(0)


def arithmetic(sign: str, a: Range, b: Range) -> Range:
    """Natural interval arithmetic; a quotient has no value where the divisor may be zero."""
    if sign in "+-":
        low, high = (b.low, b.high) if sign == "+" else (-b.high, -b.low)
        return Range(a.low + low, a.high + high, a.unit or b.unit)
    unit = (a.unit * b.unit if sign == "*" else a.unit / b.unit) if a.unit and b.unit else None
    if sign == "/" and b.low <= 0 <= b.high:
        return Range(-INF, INF, unit)
    ends = [times(x, y if sign == "*" else 1 / y) for x in a[:2] for y in b[:2]]
    return Range(min(ends), max(ends), unit)


def size(a: Range) -> Range:
    """Without its sign."""
    return Range(max(a.low, -a.high, 0), max(-a.low, a.high), a.unit)


def margin(base: Range, share: Range) -> Range:
    """The base with a share of its size added: one operation, so that it stays tight."""
    if base.unit is None and base.high < INF:
        raise Refused("this checker cannot tell the unit of the base of a margin")
    ends = [base.low, base.high, *([Fraction(0)] if base.low < 0 < base.high else [])]
    found = [times(end, 1 + part if end > 0 else 1 - part) for end in ends for part in share[:2]]
    return Range(min(found), max(found), base.unit)


def root(a: Range) -> Range:
    """The square root, rounded outward by less than any figure shows."""
    unit = a.unit ** Fraction(1, 2) if a.unit else None
    if a.low < 0 or a.high == INF:
        return Range(-INF, INF, unit)
    low, high = (Fraction(math.isqrt(x.numerator * x.denominator << 320), x.denominator << 160) for x in a[:2])
    return Range(low, high if high * high == a.high else high + Fraction(1, a.high.denominator << 160), unit)


def current_at_power(power: Range, rest: Range, resistance: Range) -> Range:
    """The smaller root I of P = I (V - I R), rising with P and R, falling with V; no bound where no current does it."""
    if power.low < 0 or rest.low <= 0 or resistance.low < 0 or INF in (power.high, rest.high, resistance.high):
        return Range(-INF, INF, CURRENT)
    ends: list[Any] = []
    for p, v, r in ((power.low, rest.high, resistance.low), (power.high, rest.low, resistance.high)):
        left = v * v - 4 * r * p
        roots = root(Range(max(left, Fraction(0)), max(left, Fraction(0))))
        ends.append(2 * p / (v + (roots.low if ends else roots.high)) if left >= 0 or not ends else INF)
    return Range(ends[0], ends[1], CURRENT)


def reading(table: Table, at: Range) -> Range:
    """A curve read linearly; it has no value outside its points."""
    if at.low < table.xs[0] or at.high > table.xs[-1]:
        return Range(-INF, INF, table.of.dimension)
    found = [y for x, y in zip(table.xs, table.ys, strict=True) if at.low <= x <= at.high]
    for x in at[:2]:
        last = min(bisect_right(table.xs, x), len(table.xs) - 1)
        (x0, x1), (y0, y1) = table.xs[last - 1 : last + 1], table.ys[last - 1 : last + 1]
        found.append(y0 + (y1 - y0) * (x - x0) / (x1 - x0))
    return Range(min(found), max(found), table.of.dimension)


def positive(a: Range, or_zero: bool = True) -> Range:
    """The truth that a distance to a limit is kept."""
    low, high = (int(end > 0 or (or_zero and end == 0)) for end in a[:2])
    return Range(low, high)


def contrary(a: Range) -> Range:
    """What does not hold where the truth does."""
    return Range(1 - a.high, 1 - a.low)


def extreme(word: str, values: list[Range], sure: list[Range]) -> Range:
    """The lowest or highest of values that may take part and those that surely do; no value where none surely does.

    The lowest of truths is that all hold, the highest that any does.
    """
    unit = next((value.unit for value in values if value.unit), None)
    if not sure:
        return Range(-INF, INF, unit)
    if word == "lowest":
        return Range(min(a.low for a in values), min(a.high for a in sure), unit)
    return Range(max(a.low for a in sure), max(a.high for a in values), unit)


def joined(word: str, *parts: Range) -> Range:
    """The lowest or highest of ranges that all take part."""
    return extreme(word, list(parts), list(parts))


def gathered(word: str, parts: list[tuple[Range, Range]]) -> Range:
    """A total, count, lowest or highest of values, each with the truth that it takes part."""
    if word in ("lowest", "highest"):
        return extreme(word, [value for value, _ in parts], [value for value, guard in parts if guard.low >= 1])
    total = ZERO
    for value, guard in parts:
        perhaps = Range(min(value.low, 0), max(value.high, 0), value.unit)
        total = arithmetic("+", total, value if guard.low >= 1 else perhaps)
    return total
