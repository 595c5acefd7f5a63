"""Cutting a box where a term has kinks or jumps in one input, so that each piece is smooth and decided exactly.

Kinks are the points of tables, the zeros of sizes and where one member takes over from another; jumps are where a
condition on an input changes branch or member. They are found where what is read, measured or compared is an affine
function of a single input that is not yet exact. On a piece the chosen branch, member or segment takes the place of
the choice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import combinations, pairwise
from typing import Any

import attrs
from attrs import frozen

from limitrules.language import ground as g
from limitrules.language.exactly import Box, number_over
from limitrules.language.rebuild import Rebuild

MOST = 24
"""More points than these in one input are left to halving."""
_MEMBERS = 6
_ZERO = Fraction(0)


@frozen
class Affine:
    """``slope * input + offset``; a constant has no input."""

    index: int | None
    slope: Fraction
    offset: Fraction


@frozen
class Piece:
    """A part of the box of a term. Of the input ``cut`` the values in ``without`` belong to others, ``at`` to this."""

    whole: g.Numeric
    box: Box
    cut: int
    at: Fraction
    without: frozenset[Fraction] = frozenset()

    @property
    def term(self) -> g.Numeric:
        """The term as it is there: with all choices replaced that are made for the input alone that is cut."""
        resolved = _Resolver({**self.box, self.cut: (self.at, self.at)}).change(self.whole)
        assert isinstance(resolved, g.Numeric)
        return resolved


def pieces(term: g.Numeric, box: Box) -> list[Piece]:
    """The pieces in one input that has kinks or jumps; none where no such input is found."""
    found: dict[int, set[Fraction]] = {}
    for kink, offset in _kinks(term):
        affine = affine_of(kink, box)
        if affine is not None and affine.index is not None:
            low, high = box[affine.index]
            at = (offset - affine.offset) / affine.slope
            if low <= at <= high:
                found.setdefault(affine.index, set()).add(at)
    for index, points in sorted(found.items(), key=lambda item: len(item[1])):
        if len(points) <= MOST:
            return list(_cut(term, box, index, sorted(points)))
    return []


def _kinks(term: g.Ground) -> Iterator[tuple[g.Numeric, Fraction]]:
    """What has a kink or a jump where it takes a value."""
    for item in term.walk():
        if isinstance(item, g.Absolute):
            yield item.value, _ZERO
        elif isinstance(item, g.Holds):
            yield item.headroom, _ZERO
        elif isinstance(item, g.Lookup):
            yield from ((item.at, x) for x, _ in item.points)
        elif isinstance(item, g.Least | g.Greatest) and len(item.parts) <= _MEMBERS:
            for one, other in combinations(item.operands(), 2):
                yield g.Subtract(one, other), _ZERO


def _cut(term: g.Numeric, box: Box, index: int, points: list[Fraction]) -> Iterator[Piece]:
    low, high = box[index]
    ends = [low, *points, high]
    for at in points:
        yield Piece(term, {**box, index: (at, at)}, index, at)
    for start, end in pairwise(ends):
        if start < end:
            yield Piece(term, {**box, index: (start, end)}, index, (start + end) / 2, frozenset(points))


class _Resolver(Rebuild):
    def __init__(self, box: Box) -> None:
        super().__init__()
        self.box = box

    def before(self, term: g.Ground) -> g.Ground | None:
        if not isinstance(term, g.Holds):
            return None
        value = affine_of(term.headroom, self.box)
        if value is None or value.index is not None:
            return None
        return g.Fixed(value.offset > 0 or (value.offset == 0 and not term.strict))

    def after(self, term: Any) -> g.Ground:
        if isinstance(term, g.Select) and isinstance(term.condition, g.Fixed) and term.condition.value is not None:
            return term.then if term.condition.value else term.other
        if isinstance(term, g.Gathered):
            return self._gathered(term)
        if isinstance(term, g.Absolute):
            return self._absolute(term)
        return self._lookup(term) if isinstance(term, g.Lookup) else term

    def _gathered(self, term: g.Gathered) -> g.Numeric:
        parts: list[g.Part] = []
        for part in term.parts:
            if isinstance(part.guard, g.Fixed) and part.guard.value is not None:
                if part.guard.value:
                    parts.append(attrs.evolve(part, guard=None))
            else:
                parts.append(part)
        if len(parts) != len(term.parts) or any(one is not other for one, other in zip(parts, term.parts, strict=True)):
            term = attrs.evolve(term, parts=tuple(parts))
        return self._foremost(term) or term

    def _foremost(self, term: g.Gathered) -> g.Numeric | None:
        """The member that is the lowest (highest) on the whole piece, where all depend on the one input alone."""
        if isinstance(term, g.Total) or any(part.guard is not None for part in term.parts):
            return None
        found: list[tuple[Fraction, g.Numeric]] = []
        for value in term.operands():
            affine = affine_of(value, self.box)
            if affine is None or affine.index is not None:
                return None
            found.append((affine.offset, value))
        choose = min if isinstance(term, g.Least) else max
        return choose(found, key=lambda item: item[0])[1] if found else None

    def _absolute(self, term: g.Absolute) -> g.Numeric:
        affine = affine_of(term.value, self.box)
        if affine is None or affine.index is not None:
            return term
        return term.value if affine.offset >= 0 else g.Negate(term.value)

    def _lookup(self, term: g.Lookup) -> g.Numeric:
        affine = affine_of(term.at, self.box)
        if affine is None or affine.index is not None:
            return term
        for (x0, y0), (x1, y1) in pairwise(term.points):
            if x0 <= affine.offset <= x1:
                rise = (y1 - y0) / (x1 - x0)
                return g.Add(g.Constant(y0 - rise * x0), g.Multiply(g.Constant(rise), term.at))
        return g.Gap("") if len(term.points) > 1 else term


def affine_of(term: g.Numeric, box: Box) -> Affine | None:
    """The term as an affine function of the one input that is not exact in the box; None where it is no such thing."""
    rule = _AFFINE.get(type(term))
    return rule(term, box) if rule is not None else None


def _input(term: g.Input, box: Box) -> Affine:
    low, high = box[term.index]
    return Affine(None, _ZERO, low) if low == high else Affine(term.index, Fraction(1), _ZERO)


def _scaled(one: Affine | None, factor: Fraction) -> Affine | None:
    if one is None:
        return None
    return Affine(one.index if factor else None, one.slope * factor, one.offset * factor)


def _sum(one: Affine | None, other: Affine | None) -> Affine | None:
    if one is None or other is None or (None not in (one.index, other.index) and one.index != other.index):
        return None
    slope = one.slope + other.slope
    index = one.index if one.index is not None else other.index
    return Affine(index if slope else None, slope, one.offset + other.offset)


def _product(term: g.Multiply, box: Box) -> Affine | None:
    one, other = affine_of(term.left, box), affine_of(term.right, box)
    if one is None or other is None:
        return None
    if one.index is None:
        return _scaled(other, one.offset)
    return _scaled(one, other.offset) if other.index is None else None


def _quotient(term: g.Divide, box: Box) -> Affine | None:
    divisor = affine_of(term.right, box)
    if divisor is None or divisor.index is not None or not divisor.offset:
        return None
    return _scaled(affine_of(term.left, box), 1 / divisor.offset)


def _margin(term: g.Margin, box: Box) -> Affine | None:
    share = affine_of(term.right, box)
    low, high = number_over(term.left, box)
    if share is None or share.index is not None or low < 0 < high:
        return None
    return _scaled(affine_of(term.left, box), 1 + share.offset if low >= 0 else 1 - share.offset)


def _total(term: g.Total, box: Box) -> Affine | None:
    total: Affine | None = Affine(None, _ZERO, _ZERO)
    for part in term.parts:
        total = None if part.guard is not None else _sum(total, affine_of(part.value, box))
        if total is None:
            return None
    return total


_AFFINE: Mapping[type[g.Ground], Any] = {
    g.Constant: lambda term, box: Affine(None, _ZERO, term.value),
    g.Input: _input,
    g.Ranged: _input,
    g.Negate: lambda term, box: _scaled(affine_of(term.value, box), Fraction(-1)),
    g.Add: lambda term, box: _sum(affine_of(term.left, box), affine_of(term.right, box)),
    g.Subtract: lambda term, box: _sum(affine_of(term.left, box), _scaled(affine_of(term.right, box), Fraction(-1))),
    g.Multiply: _product,
    g.Divide: _quotient,
    g.Margin: _margin,
    g.Total: _total,
}
