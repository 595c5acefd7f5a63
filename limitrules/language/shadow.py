"""Evaluation in floats, rounded outwards: fast, and never wrong about what it decides.

A term is turned once into closures over the (low, high) pairs of its inputs, by number. A numeric closure gives a
pair that encloses every value the term takes on the box; a logical one gives True or False where that holds on the
whole box, and None where it cannot tell.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Mapping
from typing import Any

from limitrules.foundation.exact import float_above, float_below
from limitrules.language import ground as g
from limitrules.language.fused import LogicalShadow, NumericShadow, Pair, Values, compared, fused

__all__ = ["LogicalShadow", "NumericShadow", "Pair", "Values", "shadow_number", "shadow_truth"]

_INF = math.inf
_ANYTHING = (-_INF, _INF)
_step = math.nextafter


def shadow_number(term: g.Numeric) -> NumericShadow:
    """A closure that encloses the term's values over a box."""
    return fused(term, shadow_number, _general)


def _general(term: g.Numeric) -> NumericShadow:
    return _NUMERIC[type(term)](term)


def shadow_truth(term: g.Logical) -> LogicalShadow:
    """A closure that decides the term over a box where floats can."""
    return _LOGICAL[type(term)](term)


def _mend(low: float, high: float) -> Pair:
    """Replace what infinities left undefined by no bound at all."""
    return (low if low == low else -_INF, high if high == high else _INF)


def _constant(term: g.Constant) -> NumericShadow:
    pair = (float_below(term.value), float_above(term.value))
    return lambda values: pair


def _input(term: g.Input) -> NumericShadow:
    index = term.index
    return lambda values: values[index]


def _gap(term: g.Gap) -> NumericShadow:
    low = -_INF if term.low is None else float_below(term.low)
    high = _INF if term.high is None else float_above(term.high)
    return lambda values: (low, high)


def _negate(term: g.Negate) -> NumericShadow:
    value = shadow_number(term.value)

    def evaluate(values: Values) -> Pair:
        low, high = value(values)
        return -high, -low

    return evaluate


def _absolute(term: g.Absolute) -> NumericShadow:
    value = shadow_number(term.value)

    def evaluate(values: Values) -> Pair:
        low, high = value(values)
        if low >= 0.0:
            return low, high
        if high <= 0.0:
            return -high, -low
        return 0.0, max(-low, high)

    return evaluate


def _add(term: g.Add) -> NumericShadow:
    left, right = shadow_number(term.left), shadow_number(term.right)

    def evaluate(values: Values) -> Pair:
        a, b = left(values)
        c, d = right(values)
        return _step(a + c, -_INF), _step(b + d, _INF)

    return evaluate


def _subtract(term: g.Subtract) -> NumericShadow:
    left, right = shadow_number(term.left), shadow_number(term.right)

    def evaluate(values: Values) -> Pair:
        a, b = left(values)
        c, d = right(values)
        # Equal floats leave exactly nothing, so that a tie without tolerance is decided here.
        return (0.0 if a == d else _step(a - d, -_INF)), (0.0 if b == c else _step(b - c, _INF))

    return evaluate


def _multiply(term: g.Multiply) -> NumericShadow:
    left, right = shadow_number(term.left), shadow_number(term.right)

    def evaluate(values: Values) -> Pair:
        a, b = left(values)
        c, d = right(values)
        if 0.0 <= a and 0.0 <= c and b < _INF and d < _INF:
            return max(0.0, _step(a * c, -_INF)), _step(b * d, _INF)
        if -_INF < a and b < _INF and -_INF < c and d < _INF:
            corners = (a * c, a * d, b * c, b * d)
        else:
            corners = (_times(a, c), _times(a, d), _times(b, c), _times(b, d))
        return _step(min(corners), -_INF), _step(max(corners), _INF)

    return evaluate


def _times(one: float, other: float) -> float:
    return one * other if one and other else 0.0


def _divide(term: g.Divide) -> NumericShadow:
    left, right = shadow_number(term.left), shadow_number(term.right)

    def evaluate(values: Values) -> Pair:
        a, b = left(values)
        c, d = right(values)
        if c <= 0.0 <= d:
            return _ANYTHING
        if c == -_INF or d == _INF or a == -_INF or b == _INF:
            return _divide_unbounded(a, b, c, d)
        corners = (a / c, a / d, b / c, b / d)
        return _step(min(corners), -_INF), _step(max(corners), _INF)

    return evaluate


def _divide_unbounded(a: float, b: float, c: float, d: float) -> Pair:
    low, high = sorted((1 / c, 1 / d))
    low, high = _step(low, -_INF), _step(high, _INF)
    corners = [_times(a, low), _times(a, high), _times(b, low), _times(b, high)]
    return _mend(_step(min(corners), -_INF), _step(max(corners), _INF))


def _total(term: g.Total) -> NumericShadow:
    parts = _parts(term)

    def evaluate(values: Values) -> Pair:
        low = high = 0.0
        for value, guard in parts:
            a, b = value(values)
            if guard is not None:
                taken = guard(values)
                if taken is False:
                    continue
                if taken is None:
                    a, b = min(a, 0.0), max(b, 0.0)
            low, high = (_step(low + a, -_INF) if a else low), (_step(high + b, _INF) if b else high)
        return low, high

    return evaluate


def _parts(term: g.Gathered) -> list[tuple[NumericShadow, LogicalShadow | None]]:
    return [(shadow_number(part.value), shadow_truth(part.guard) if part.guard is not None else None)
            for part in term.parts]  # fmt: skip


def _least(term: g.Least) -> NumericShadow:
    parts = _parts(term)

    def evaluate(values: Values) -> Pair:
        low = high = _INF
        sure = False
        for value, guard in parts:
            a, b = value(values)
            taken = True if guard is None else guard(values)
            if taken is False:
                continue
            low = min(low, a)
            if taken:
                high, sure = min(high, b), True
        return (low, high) if sure else (-_INF, _INF)

    return evaluate


def _greatest(term: g.Greatest) -> NumericShadow:
    parts = _parts(term)

    def evaluate(values: Values) -> Pair:
        low = high = -_INF
        sure = False
        for value, guard in parts:
            a, b = value(values)
            taken = True if guard is None else guard(values)
            if taken is False:
                continue
            high = max(high, b)
            if taken:
                low, sure = max(low, a), True
        return (low, high) if sure else (-_INF, _INF)

    return evaluate


def _apply(term: g.Apply) -> NumericShadow:
    function = term.function
    arguments = [shadow_number(argument) for argument in term.arguments]
    return lambda values: _mend(*function.interval(*(argument(values) for argument in arguments)))


def _lookup(term: g.Lookup) -> NumericShadow:
    at = shadow_number(term.at)
    points = [(float_below(x), float_above(x), float_below(y), float_above(y)) for x, y in term.points]
    lows, highs = [point[0] for point in points], [point[1] for point in points]
    start, end = highs[0], lows[-1]
    segments = [_segment(*points[max(after - 1, 0) : max(after, 1) + 1]) for after in range(len(points))]

    def evaluate(values: Values) -> Pair:
        low, high = at(values)
        if not (start <= low and high <= end):
            return _ANYTHING
        after, beyond = bisect_left(highs, low), bisect_right(lows, high)
        first = _read(segments[after], low)
        if low == high and after == beyond:
            return first
        last = _read(segments[bisect_left(highs, high)], high)
        between = points[after:beyond]
        return (min(first[0], last[0], *[point[2] for point in between]),
                max(first[1], last[1], *[point[3] for point in between]))  # fmt: skip

    return evaluate


Corner = tuple[float, float, float, float]


def _segment(before: Corner, after: Corner | None = None) -> tuple[float, ...]:
    """Start, width, lower and upper value at the start with their rise, and room for the rounding of four operations.

    A table of one point is a segment without width.
    """
    x0, _, y0, y0_high = before
    _, x1, y1, y1_high = after or before
    slack = 8e-16 * max(abs(y0), abs(y1), abs(y0_high), abs(y1_high), 5e-300)
    return x0, x1 - x0, y0, y1 - y0, y0_high, y1_high - y0_high, slack


def _read(segment: tuple[float, ...], x: float) -> Pair:
    """Enclosure of the table at one float."""
    x0, width, low, rise, high, high_rise, slack = segment
    share = (x - x0) / width if width > 0.0 else 0.0
    share = 0.0 if share < 0.0 else 1.0 if share > 1.0 else share
    return low + rise * share - slack, high + high_rise * share + slack


def _select(term: g.Select) -> NumericShadow:
    condition, then, other = shadow_truth(term.condition), shadow_number(term.then), shadow_number(term.other)

    def evaluate(values: Values) -> Pair:
        taken = condition(values)
        if taken is True:
            return then(values)
        if taken is False:
            return other(values)
        a, b = then(values)
        c, d = other(values)
        return min(a, c), max(b, d)

    return evaluate


def _fixed(term: g.Fixed) -> LogicalShadow:
    value = term.value
    return lambda values: value


def _holds(term: g.Holds) -> LogicalShadow:
    headroom, strict = term.headroom, term.strict
    if isinstance(headroom, g.Subtract):
        return compared(headroom.left, headroom.right, strict, shadow_number)
    value = shadow_number(headroom)

    def evaluate(values: Values) -> bool | None:
        low, high = value(values)
        if low > 0.0 or (low == 0.0 and not strict):
            return True
        if high < 0.0 or (high == 0.0 and strict):
            return False
        return None

    return evaluate


def _all(term: g.All) -> LogicalShadow:
    parts = [shadow_truth(part) for part in term.parts]

    def evaluate(values: Values) -> bool | None:
        result: bool | None = True
        for part in parts:
            found = part(values)
            if found is False:
                return False
            if found is None:
                result = None
        return result

    return evaluate


def _any(term: g.Any) -> LogicalShadow:
    parts = [shadow_truth(part) for part in term.parts]

    def evaluate(values: Values) -> bool | None:
        result: bool | None = False
        for part in parts:
            found = part(values)
            if found is True:
                return True
            if found is None:
                result = None
        return result

    return evaluate


def _contrary(term: g.Contrary) -> LogicalShadow:
    value = shadow_truth(term.value)

    def evaluate(values: Values) -> bool | None:
        found = value(values)
        return None if found is None else not found

    return evaluate


def _guarded(build: Callable[[Any], NumericShadow]) -> Callable[[Any], NumericShadow]:
    """Sums over terms that may be unbounded are mended; all others are left as fast as they are."""

    def chosen(term: Any) -> NumericShadow:
        evaluate = build(term)
        if not any(isinstance(item, _MAY_BE_UNBOUNDED) for item in term.walk()):
            return evaluate
        return lambda values: _mend(*evaluate(values))

    return chosen


_MAY_BE_UNBOUNDED = (g.Gap, g.Divide, g.Apply, g.Lookup, g.Least, g.Greatest)

_NUMERIC: Mapping[type[g.Ground], Callable[[Any], NumericShadow]] = {
    g.Constant: _constant,
    g.Input: _input,
    g.Gap: _gap,
    g.Negate: _negate,
    g.Absolute: _absolute,
    g.Add: _guarded(_add),
    g.Subtract: _guarded(_subtract),
    g.Multiply: _guarded(_multiply),
    g.Divide: _divide,
    g.Total: _guarded(_total),
    g.Least: _least,
    g.Greatest: _greatest,
    g.Apply: _apply,
    g.Lookup: _lookup,
    g.Select: _select,
}
_LOGICAL: Mapping[type[g.Ground], Callable[[Any], LogicalShadow]] = {
    g.Fixed: _fixed,
    g.Holds: _holds,
    g.All: _all,
    g.Any: _any,
    g.Contrary: _contrary,
}
