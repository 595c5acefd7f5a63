"""Evaluation in exact rationals, over boxes or at points.

A pair (low, high) of rationals encloses the value; at a point the two are equal unless a function with irrational
values takes part. A missing or undefined number has no bounds: minus to plus infinity.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from typing import Any, cast

from limitrules.foundation.exact import float_above, float_below
from limitrules.language import ground as g

Bound = Fraction | float
"""A rational, or one of the two infinities."""
Enclosure = tuple[Bound, Bound]
Range = tuple[Fraction, Fraction]
Box = Mapping[int, Range]
"""The range of each input."""
Operands = Sequence[Enclosure]

_INF = math.inf
ANYTHING: Enclosure = (-_INF, _INF)


def number_over(term: g.Numeric, box: Box) -> Enclosure:
    """Enclosure of a numeric term over a box of inputs, by natural interval evaluation."""
    return _number(term, box, {})


def _number(term: g.Numeric, box: Box, known: dict[int, Enclosure]) -> Enclosure:
    found = known.get(id(term))
    if found is None:
        found = known[id(term)] = enclosed(term, [_number(item, box, known) for item in term.operands()], box)
    return found


def enclosed(term: g.Numeric, operands: Sequence[Enclosure], box: Box) -> Enclosure:
    """Enclosure of a term whose operands are enclosed already."""
    return _NUMERIC[type(term)](term, operands, box)


def truth_over(term: g.Logical, box: Box) -> bool | None:
    """True or False where that holds on the whole box by interval evaluation, else None."""
    return _LOGICAL[type(term)](term, box)


def is_unbounded(*bounds: Bound) -> bool:
    """True where one of them is an infinity. A rational may be too large to ask `math.isinf`."""
    return any(isinstance(bound, float) and math.isinf(bound) for bound in bounds)


def point(place: Mapping[int, Fraction]) -> Box:
    """The box that holds a single point."""
    return {index: (value, value) for index, value in place.items()}


def _plus(one: Bound, other: Bound) -> Bound:
    # Rationals know no infinity and may be larger than any float, so the two are never mixed.
    if isinstance(one, float):
        return one
    return other if isinstance(other, float) else one + other


def _times(one: Bound, other: Bound) -> Bound:
    if not (one and other):
        return Fraction(0)
    if isinstance(one, float) or isinstance(other, float):
        return _INF if (one > 0) == (other > 0) else -_INF
    return one * other


def _spread(corners: Sequence[Bound]) -> Enclosure:
    return min(corners), max(corners)


def _negate(term: g.Negate, operands: Operands, box: Box) -> Enclosure:
    ((low, high),) = operands
    return -high, -low


def _absolute(term: g.Absolute, operands: Operands, box: Box) -> Enclosure:
    ((low, high),) = operands
    if low >= 0:
        return low, high
    return (-high, -low) if high <= 0 else (Fraction(0), max(-low, high))


def _add(term: g.Add, operands: Operands, box: Box) -> Enclosure:
    (a, b), (c, d) = operands
    return _plus(a, c), _plus(b, d)


def _subtract(term: g.Subtract, operands: Operands, box: Box) -> Enclosure:
    (a, b), (c, d) = operands
    return _plus(a, -d), _plus(b, -c)


def _multiply(term: g.Multiply, operands: Operands, box: Box) -> Enclosure:
    (a, b), (c, d) = operands
    if a == b and c == d:
        product = _times(a, c)
        return product, product
    return _spread((_times(a, c), _times(a, d), _times(b, c), _times(b, d)))


def _divide(term: g.Divide, operands: Operands, box: Box) -> Enclosure:
    (a, b), (c, d) = operands
    if c <= 0 <= d:
        return ANYTHING
    low, high = sorted((_over(c), _over(d)))
    return _spread((_times(a, low), _times(a, high), _times(b, low), _times(b, high)))


def _margin(term: g.Margin, operands: Operands, box: Box) -> Enclosure:
    (a, b), (c, d) = operands
    if -1 <= c and d <= 1:
        # Rising in both, so that the ends of one belong to the ends of the other.
        return _plus(a, _times(_size(a), c)), _plus(b, _times(_size(b), d))
    sizes = [_size(a), _size(b)]
    if a < 0 < b:
        sizes.append(Fraction(0))
    corners = [_times(size, share) for size in sizes for share in (c, d)]
    return _plus(a, min(corners)), _plus(b, max(corners))


def _size(value: Bound) -> Bound:
    return value if value >= 0 else -value


def _over(value: Bound) -> Bound:
    return Fraction(0) if isinstance(value, float) else 1 / value


def _total(term: g.Total, operands: Operands, box: Box) -> Enclosure:
    low: Bound = Fraction(0)
    high: Bound = Fraction(0)
    for part, (a, b) in zip(term.parts, operands, strict=True):
        taken = True if part.guard is None else truth_over(part.guard, box)
        if taken is False:
            continue
        if taken is None:
            a, b = min(a, Fraction(0)), max(b, Fraction(0))
        low, high = _plus(low, a), _plus(high, b)
    return low, high


def _taking_part(term: g.Gathered, operands: Operands, box: Box) -> tuple[list[Enclosure], list[Enclosure]]:
    """The enclosures of members that surely take part, and of those that may."""
    sure: list[Enclosure] = []
    perhaps: list[Enclosure] = []
    for part, pair in zip(term.parts, operands, strict=True):
        taken = True if part.guard is None else truth_over(part.guard, box)
        if taken is not False:
            (sure if taken else perhaps).append(pair)
    return sure, perhaps


def _least(term: g.Least, operands: Operands, box: Box) -> Enclosure:
    sure, perhaps = _taking_part(term, operands, box)
    if not sure:
        return ANYTHING
    return min(pair[0] for pair in sure + perhaps), min(pair[1] for pair in sure)


def _greatest(term: g.Greatest, operands: Operands, box: Box) -> Enclosure:
    sure, perhaps = _taking_part(term, operands, box)
    if not sure:
        return ANYTHING
    return max(pair[0] for pair in sure), max(pair[1] for pair in sure + perhaps)


def _apply(term: g.Apply, operands: Operands, box: Box) -> Enclosure:
    if all(low == high for low, high in operands):
        found = term.function.at(*(cast(Fraction, low) for low, _ in operands))
        return found if found is not None else ANYTHING
    low, high = term.function.interval(*((_float(a, -1), _float(b, 1)) for a, b in operands))
    return _rational(low), _rational(high)


def _float(value: Bound, towards: int) -> float:
    if isinstance(value, float):
        return value
    return float_below(value) if towards < 0 else float_above(value)


def _rational(value: float) -> Bound:
    return Fraction(value) if math.isfinite(value) else value


def _lookup(term: g.Lookup, operands: Operands, box: Box) -> Enclosure:
    ((low, high),) = operands
    points = term.points
    if not (points[0][0] <= low and high <= points[-1][0]):
        return ANYTHING
    ends = [read_table(points, cast(Fraction, low)), read_table(points, cast(Fraction, high))]
    return _spread(ends + [y for x, y in points if low <= x <= high])


def read_table(points: Sequence[tuple[Fraction, Fraction]], x: Fraction) -> Fraction:
    """Linear reading between the points; ``x`` must lie between the first and the last."""
    index = min(max(bisect_right(points, x, key=lambda item: item[0]), 1), len(points) - 1)
    (x0, y0), (x1, y1) = points[index - 1], points[index]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


def _select(term: g.Select, operands: Operands, box: Box) -> Enclosure:
    taken = truth_over(term.condition, box)
    if taken is not None:
        return operands[0 if taken else 1]
    (a, b), (c, d) = operands
    return min(a, c), max(b, d)


def _holds(term: g.Holds, box: Box) -> bool | None:
    low, high = number_over(term.headroom, box)
    if low > 0 or (low == 0 and not term.strict):
        return True
    if high < 0 or (high == 0 and term.strict):
        return False
    return None


def _all(term: g.All, box: Box) -> bool | None:
    found = [truth_over(part, box) for part in term.parts]
    return False if False in found else None if None in found else True


def _any(term: g.Any, box: Box) -> bool | None:
    found = [truth_over(part, box) for part in term.parts]
    return True if True in found else None if None in found else False


def _contrary(term: g.Contrary, box: Box) -> bool | None:
    found = truth_over(term.value, box)
    return None if found is None else not found


_NUMERIC: Mapping[type[g.Ground], Callable[[Any, Operands, Box], Enclosure]] = {
    g.Constant: lambda term, operands, box: (term.value, term.value),
    g.Input: lambda term, operands, box: box[term.index],
    g.Ranged: lambda term, operands, box: box[term.index],
    g.Gap: lambda term, operands, box: ANYTHING,
    g.Negate: _negate,
    g.Absolute: _absolute,
    g.Add: _add,
    g.Subtract: _subtract,
    g.Multiply: _multiply,
    g.Divide: _divide,
    g.Margin: _margin,
    g.Total: _total,
    g.Least: _least,
    g.Greatest: _greatest,
    g.Apply: _apply,
    g.Lookup: _lookup,
    g.Select: _select,
}
_LOGICAL: Mapping[type[g.Ground], Callable[[Any, Box], bool | None]] = {
    g.Fixed: lambda term, box: term.value,
    g.Holds: _holds,
    g.All: _all,
    g.Any: _any,
    g.Contrary: _contrary,
}
