"""Pairs of floats (low, high) that enclose a value, and arithmetic on them, rounded outwards.

Sources: Moore, Kearfott and Cloud, Introduction to Interval Analysis (2009), chapter 2. What infinities leave
undefined becomes no bound at all.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Mapping, Sequence
from fractions import Fraction

from limitrules.foundation.exact import floats_around

Pair = tuple[float, float]
Floats = Mapping[int, Pair] | Sequence[Pair]
"""The pair of each input, by its number."""

_INF = math.inf
ANYTHING: Pair = (-_INF, _INF)
ZERO: Pair = (0.0, 0.0)
_step = math.nextafter


def pair_of(low: Fraction, high: Fraction) -> Pair:
    """The narrowest pair around an exact range."""
    if low is high:
        return floats_around(low)
    return floats_around(low)[0], floats_around(high)[1]


def mended(low: float, high: float) -> Pair:
    """Replace what infinities left undefined by no bound."""
    return (low if low == low else -_INF), (high if high == high else _INF)


def negated(value: Pair) -> Pair:
    """The pair of the opposite."""
    return -value[1], -value[0]


def absolute(value: Pair) -> Pair:
    """The pair of the size."""
    low, high = value
    if low >= 0.0:
        return value
    return (-high, -low) if high <= 0.0 else (0.0, max(-low, high))


def added(left: Pair, right: Pair) -> Pair:
    """The pair of a sum."""
    low, high = _step(left[0] + right[0], -_INF), _step(left[1] + right[1], _INF)
    return (low, high) if low == low and high == high else mended(low, high)


def subtracted(left: Pair, right: Pair) -> Pair:
    """The pair of a difference."""
    a, b = left
    c, d = right
    # Equal floats leave exactly nothing, so that a tie without tolerance is decided here.
    low, high = (0.0 if a == d else _step(a - d, -_INF)), (0.0 if b == c else _step(b - c, _INF))
    return (low, high) if low == low and high == high else mended(low, high)


def multiplied(left: Pair, right: Pair) -> Pair:
    """The pair of a product."""
    a, b = left
    c, d = right
    if 0.0 <= a and 0.0 <= c and b < _INF and d < _INF:
        low = a * c
        return (_step(low, -_INF) if low else 0.0), _step(b * d, _INF)
    if -_INF < a and b < _INF and -_INF < c and d < _INF:
        corners = (a * c, a * d, b * c, b * d)
    else:
        corners = (times(a, c), times(a, d), times(b, c), times(b, d))
    return _step(min(corners), -_INF), _step(max(corners), _INF)


def times(one: float, other: float) -> float:
    """A product in which nothing times infinity is nothing, as it is for the ends of ranges."""
    return one * other if one and other else 0.0


def divided(left: Pair, right: Pair) -> Pair:
    """The pair of a quotient; no bound where the divisor may be zero."""
    a, b = left
    c, d = right
    if c <= 0.0 <= d:
        return ANYTHING
    if c == -_INF or d == _INF or a == -_INF or b == _INF:
        return _divided_unbounded(a, b, c, d)
    if c > 0.0 <= a:
        low = a / d
        return (_step(low, -_INF) if low else 0.0), _step(b / c, _INF)
    corners = (a / c, a / d, b / c, b / d)
    return _step(min(corners), -_INF), _step(max(corners), _INF)


def _divided_unbounded(a: float, b: float, c: float, d: float) -> Pair:
    low, high = sorted((1 / c, 1 / d))
    low, high = _step(low, -_INF), _step(high, _INF)
    corners = [times(a, low), times(a, high), times(b, low), times(b, high)]
    return mended(_step(min(corners), -_INF), _step(max(corners), _INF))


def with_margin(base: Pair, share: Pair) -> Pair:
    """``base + |base| share``; rising in both where the share lies between -1 and 1."""
    a, b = base
    c, d = share
    if not (-1.0 <= c and d <= 1.0 and -_INF < a and b < _INF):
        return added(base, multiplied(absolute(base), share))
    return _marked(a, c, -_INF), _marked(b, d, _INF)


def _marked(base: float, share: float, towards: float) -> float:
    if not share or not base:
        return base
    return _step(base + _step(abs(base) * share, towards), towards)


Taking = Iterable[tuple[Pair, bool | None]]
"""Members, each with whether it takes part: surely, not, or perhaps (None)."""


def total(members: Taking) -> Pair:
    """The pair of the sum of those that take part."""
    low = high = 0.0
    for (a, b), taken in members:
        if taken is False:
            continue
        if taken is None:
            a, b = min(a, 0.0), max(b, 0.0)
        low, high = (_step(low + a, -_INF) if a else low), (_step(high + b, _INF) if b else high)
    return (low, high) if low == low and high == high else mended(low, high)


def least(members: Taking) -> Pair:
    """The pair of the lowest that takes part; no bound where perhaps none does."""
    low = high = _INF
    sure = False
    for (a, b), taken in members:
        if taken is False:
            continue
        low = min(low, a)
        if taken:
            high, sure = min(high, b), True
    return (low, high) if sure else ANYTHING


def greatest(members: Taking) -> Pair:
    """The pair of the highest that takes part; no bound where perhaps none does."""
    low = high = -_INF
    sure = False
    for (a, b), taken in members:
        if taken is False:
            continue
        high = max(high, b)
        if taken:
            low, sure = max(low, a), True
    return (low, high) if sure else ANYTHING


def either(one: Pair, other: Pair) -> Pair:
    """What encloses both."""
    return min(one[0], other[0]), max(one[1], other[1])


def table(points: Sequence[tuple[Fraction, Fraction]]) -> Callable[[Pair], Pair]:
    """A table that is read linearly between its points, prepared once; without bounds where a reading lies outside."""
    rims = [(*floats_around(x), *floats_around(y)) for x, y in points]
    lows, highs = [point[0] for point in rims], [point[1] for point in rims]
    start, end = highs[0], lows[-1]
    segments = [_segment(*rims[max(after - 1, 0) : max(after, 1) + 1]) for after in range(len(rims))]

    def read(at: Pair) -> Pair:
        low, high = at
        if not (start <= low and high <= end):
            return ANYTHING
        after, beyond = bisect_left(highs, low), bisect_right(lows, high)
        first = _read(segments[after], low)
        if low == high and after == beyond:
            return first
        last = _read(segments[bisect_left(highs, high)], high)
        between = rims[after:beyond]
        return (min(first[0], last[0], *[point[2] for point in between]),
                max(first[1], last[1], *[point[3] for point in between]))  # fmt: skip

    return read


_Corner = tuple[float, float, float, float]


def _segment(before: _Corner, after: _Corner | None = None) -> tuple[float, ...]:
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
