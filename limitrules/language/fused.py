"""Float closures for the shapes of terms that rules are full of: fewer calls, the same enclosures or tighter ones.

A call costs more here than the arithmetic. So inputs are read in place, constants are folded in exact numbers, and
a margin (`less 2 %`, `plus or minus 0.6 %`) is one multiplication. What fits no shape is left to the general way.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any

from limitrules.foundation.exact import float_above, float_below
from limitrules.language import ground as g
from limitrules.language.pairs import Floats, Pair, mended

NumericShadow = Callable[[Floats], Pair]
LogicalShadow = Callable[[Floats], bool | None]
Build = Callable[[g.Numeric], NumericShadow]

_INF = math.inf
_step = math.nextafter
_LEAST, _MOST = 1e-200, 1e200
# Room for the four roundings of a spread, each of at most 1.2e-16 of a factor no smaller than a half.
_DOWN, _UP = 1.0 - 1e-15, 1.0 + 1e-15


def fused(term: g.Numeric, build: Build, general: Build) -> NumericShadow:
    """A closure for the term; ``build`` makes those of its parts, ``general`` the one it gets where no shape fits."""
    if isinstance(term, g.Constant | g.Input):
        return general(term)
    constant = constant_of(term)
    if constant is not None:
        return general(g.Constant(constant))
    shape = _SHAPES.get(type(term))
    found = shape(term, build, general) if shape is not None else None
    return found or general(term)


def constant_of(term: g.Numeric) -> Fraction | None:
    """The exact value of a term that reads nothing; None where it does, or where it has no value."""
    if isinstance(term, g.Constant):
        return term.value
    if isinstance(term, g.Total):
        if any(part.guard is not None for part in term.parts):
            return None
        values = [constant_of(part.value) for part in term.parts]
        return None if None in values else sum((value for value in values if value is not None), Fraction(0))
    if not isinstance(term, g.Binary):
        return None
    right = constant_of(term.right)
    left = constant_of(term.left) if right is not None else None
    if left is None or right is None:
        return None
    if isinstance(term, g.Divide):
        return left / right if right else None
    if isinstance(term, g.Margin):
        return left + abs(left) * right
    return left + right if isinstance(term, g.Add) else left - right if isinstance(term, g.Subtract) else left * right


# collections without conditions


def _least(term: g.Least, build: Build, general: Build) -> NumericShadow | None:
    if not term.parts or any(part.guard is not None for part in term.parts):
        return None
    first, *others = [build(part.value) for part in term.parts]
    if not others:
        return first

    def evaluate(values: Floats) -> Pair:
        low, high = first(values)
        for value in others:
            a, b = value(values)
            if a < low:
                low = a
            if b < high:
                high = b
        return low, high

    return evaluate


def _greatest(term: g.Greatest, build: Build, general: Build) -> NumericShadow | None:
    if not term.parts or any(part.guard is not None for part in term.parts):
        return None
    first, *others = [build(part.value) for part in term.parts]
    if not others:
        return first

    def evaluate(values: Floats) -> Pair:
        low, high = first(values)
        for value in others:
            a, b = value(values)
            if a > low:
                low = a
            if b > high:
                high = b
        return low, high

    return evaluate


def _later(term: g.Numeric, general: Build) -> NumericShadow:
    """The general closure, made when it is first needed: seldom, and it would double the work of every level."""
    made: list[NumericShadow] = []

    def evaluate(values: Floats) -> Pair:
        if not made:
            made.append(general(term))
        return made[0](values)

    return evaluate


# margins


def _margin(term: g.Margin, build: Build, general: Build) -> NumericShadow | None:
    share = constant_of(term.right)
    if share is not None:
        return _scaled(build(term.left), 1 + share, _later(term, general)) if share > -1 else None
    spread = term.right
    if isinstance(spread, g.Multiply) and isinstance(spread.right, g.Input):
        return _spread(build(term.left), build(spread.left), spread.right.index, _later(term, general))
    return None


def _scaled(value: NumericShadow, factor: Fraction, general: NumericShadow) -> NumericShadow:
    """A value that is not negative, times a positive factor."""
    lower, upper = float_below(factor), float_above(factor)

    def evaluate(values: Floats) -> Pair:
        low, high = value(values)
        if low >= 0.0:
            low = low * lower
            return (_step(low, -_INF) if low else 0.0), _step(high * upper, _INF)
        return general(values)

    return evaluate


def _spread(value: NumericShadow, size: NumericShadow, index: int, general: NumericShadow) -> NumericShadow:
    """``X (1 + E S)`` for positive X, E up to a half and S between -1 and 1."""

    def evaluate(values: Floats) -> Pair:
        low, high = value(values)
        least, most = size(values)
        down, up = values[index]
        if low > _LEAST and high < _MOST and 0.0 <= least and most <= 0.5 and -1.0 <= down and up <= 1.0:
            return (
                low * (1.0 + down * (most if down < 0.0 else least)) * _DOWN,
                high * (1.0 + up * (most if up > 0.0 else least)) * _UP,
            )
        return general(values)

    return evaluate


# sums


def _add(term: g.Add, build: Build, general: Build) -> NumericShadow | None:
    left, right = term.left, term.right
    if isinstance(right, g.Input):
        left, right = right, left
    if constant_of(right) == 0:
        return build(left)
    if constant_of(left) == 0:
        return build(right)
    other = build(right)
    if not isinstance(left, g.Input):
        return _sum(build(left), other)
    index = left.index

    def evaluate(values: Floats) -> Pair:
        a, b = values[index]
        c, d = other(values)
        low, high = _step(a + c, -_INF), _step(b + d, _INF)
        return (low, high) if low == low and high == high else mended(low, high)

    return evaluate


def _sum(left: NumericShadow, right: NumericShadow) -> NumericShadow:
    def evaluate(values: Floats) -> Pair:
        a, b = left(values)
        c, d = right(values)
        low, high = _step(a + c, -_INF), _step(b + d, _INF)
        return (low, high) if low == low and high == high else mended(low, high)

    return evaluate


def _subtract(term: g.Subtract, build: Build, general: Build) -> NumericShadow | None:
    if constant_of(term.right) == 0:
        return build(term.left)
    left, right = build(term.left), build(term.right)

    def evaluate(values: Floats) -> Pair:
        a, b = left(values)
        c, d = right(values)
        low, high = (0.0 if a == d else _step(a - d, -_INF)), (0.0 if b == c else _step(b - c, _INF))
        return (low, high) if low == low and high == high else mended(low, high)

    return evaluate


def _total(term: g.Total, build: Build, general: Build) -> NumericShadow | None:
    if any(part.guard is not None for part in term.parts):
        return None
    if len(term.parts) == 1:
        return build(term.parts[0].value)
    parts = [build(part.value) for part in term.parts]

    def evaluate(values: Floats) -> Pair:
        low = high = 0.0
        for value in parts:
            a, b = value(values)
            low, high = (_step(low + a, -_INF) if a else low), (_step(high + b, _INF) if b else high)
        return (low, high) if low == low and high == high else mended(low, high)

    return evaluate


# products


def _multiply(term: g.Multiply, build: Build, general: Build) -> NumericShadow | None:
    left, right = term.left, term.right
    if isinstance(right, g.Input):
        left, right = right, left
    constant = constant_of(right)
    if constant is None and not isinstance(left, g.Input):
        left, right = right, left
        constant = constant_of(right)
    if constant is not None and constant > 0:
        return build(left) if constant == 1 else _scaled(build(left), constant, _later(term, general))
    if not isinstance(left, g.Input):
        return None
    index, other, whole = left.index, build(right), _later(term, general)

    def evaluate(values: Floats) -> Pair:
        a, b = values[index]
        c, d = other(values)
        if 0.0 < a and 0.0 < c and b < _INF and d < _INF:
            low = a * c
            return (_step(low, -_INF) if low else 0.0), _step(b * d, _INF)
        return whole(values)

    return evaluate


def _divide(term: g.Divide, build: Build, general: Build) -> NumericShadow | None:
    whole = _later(term, general)
    divisor, constant = term.right, constant_of(term.right)
    left = build(term.left)
    if constant is not None and constant > 0:
        return _scaled(left, 1 / constant, whole)
    if not isinstance(divisor, g.Input):
        right = build(divisor)

        def by_term(values: Floats) -> Pair:
            c, d = right(values)
            a, b = left(values)
            if c > 0.0 <= a and d < _INF and b < _INF:
                low = a / d
                return (_step(low, -_INF) if low else 0.0), _step(b / c, _INF)
            return whole(values)

        return by_term
    index = divisor.index

    def by_input(values: Floats) -> Pair:
        c, d = values[index]
        a, b = left(values)
        if c > 0.0 <= a and d < _INF and b < _INF:
            low = a / d
            return (_step(low, -_INF) if low else 0.0), _step(b / c, _INF)
        return whole(values)

    return by_input


# comparisons


def compared(left: g.Numeric, right: g.Numeric, strict: bool, build: Build) -> LogicalShadow:
    """``left - right`` needs no subtraction, so nothing is lost to its rounding."""
    if isinstance(left, g.Input) and not strict:
        return _input_above(left.index, build(right))
    if isinstance(right, g.Input) and not strict:
        return _above_input(build(left), right.index)
    one, other = build(left), build(right)
    if strict:

        def above(values: Floats) -> bool | None:
            a, b = one(values)
            c, d = other(values)
            return True if a > d else False if b <= c else None

        return above

    def at_or_above(values: Floats) -> bool | None:
        a, b = one(values)
        c, d = other(values)
        return True if a >= d else False if b < c else None

    return at_or_above


def _input_above(index: int, right: NumericShadow) -> LogicalShadow:
    def evaluate(values: Floats) -> bool | None:
        a, b = values[index]
        c, d = right(values)
        return True if a >= d else False if b < c else None

    return evaluate


def _above_input(left: NumericShadow, index: int) -> LogicalShadow:
    def evaluate(values: Floats) -> bool | None:
        a, b = left(values)
        c, d = values[index]
        return True if a >= d else False if b < c else None

    return evaluate


_SHAPES: Mapping[type[g.Ground], Callable[[Any, Build, Build], NumericShadow | None]] = {
    g.Add: _add,
    g.Subtract: _subtract,
    g.Multiply: _multiply,
    g.Divide: _divide,
    g.Margin: _margin,
    g.Total: _total,
    g.Least: _least,
    g.Greatest: _greatest,
}
