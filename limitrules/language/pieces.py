"""Cutting a box where a term has kinks or jumps in one input, so that each piece is smooth and decided exactly.

Kinks are the points of tables and the zeros of sizes; jumps are where a condition on an input changes branch or
member. They are found where what is read, measured or compared is an affine function of a single input that is not
yet exact. On a piece the chosen branch, member or segment takes the place of the choice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import pairwise
from typing import Any

import attrs
from attrs import frozen

from limitrules.language import ground as g
from limitrules.language.exactly import Box, number_over

MOST = 24
"""More points than these in one input are left to halving."""
_ZERO = Fraction(0)


@frozen
class Affine:
    """``slope * input + offset``; a constant has no input."""

    index: int | None
    slope: Fraction
    offset: Fraction


@frozen
class Piece:
    """A part of the box with the term as it is there. Values of the input ``cut`` in ``without`` belong to others."""

    term: g.Numeric
    box: Box
    cut: int
    without: frozenset[Fraction] = frozenset()


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


def _cut(term: g.Numeric, box: Box, index: int, points: list[Fraction]) -> Iterator[Piece]:
    low, high = box[index]
    ends = [low, *points, high]
    for at in points:
        place = {**box, index: (at, at)}
        yield Piece(_resolved(term, place), place, index)
    for start, end in pairwise(ends):
        if start < end:
            inside = {**box, index: (start, end)}
            middle = {**box, index: ((start + end) / 2,) * 2}
            yield Piece(_resolved(term, middle), inside, index, frozenset(points))


def _resolved(term: g.Numeric, box: Box) -> g.Numeric:
    """The term with all choices replaced that are made for one input alone, which is a point of ``box``."""
    resolved = _Resolver(box).change(term)
    assert isinstance(resolved, g.Numeric)
    return resolved


class _Resolver:
    def __init__(self, box: Box) -> None:
        self.box = box
        self._done: dict[int, g.Ground] = {}

    def change(self, term: g.Ground) -> g.Ground:
        found = self._done.get(id(term))
        if found is None:
            found = self._done[id(term)] = self._changed(term)
        return found

    def _changed(self, term: g.Ground) -> g.Ground:
        if isinstance(term, g.Holds):
            value = affine_of(term.headroom, self.box)
            if value is not None and value.index is None:
                return g.Fixed(value.offset > 0 or (value.offset == 0 and not term.strict))
        below = self._below(term)
        if isinstance(term, g.Select) and isinstance(below.condition, g.Fixed) and below.condition.value is not None:
            return below.then if below.condition.value else below.other  # type: ignore[no-any-return]
        if isinstance(term, g.Gathered):
            return self._gathered(below)
        if isinstance(term, g.Absolute):
            return self._absolute(below)
        if isinstance(term, g.Lookup):
            return self._lookup(below)
        return below  # type: ignore[no-any-return]

    def _below(self, term: g.Ground) -> Any:
        """The term with what is below it changed; itself where nothing was."""
        changes: dict[str, object] = {}
        for name, value in _fields(term):
            if isinstance(value, g.Ground):
                changed: object = self.change(value)
            else:
                changed = tuple([self._item(item) for item in value])
                if all(one is other for one, other in zip(changed, value, strict=True)):
                    continue
            if changed is not value:
                changes[name] = changed
        return attrs.evolve(term, **changes) if changes else term

    def _item(self, item: Any) -> Any:
        if isinstance(item, g.Ground):
            return self.change(item)
        value: Any = self.change(item.value)
        guard: Any = self.change(item.guard) if item.guard is not None else None
        return item if value is item.value and guard is item.guard else attrs.evolve(item, value=value, guard=guard)

    def _gathered(self, term: g.Gathered) -> g.Numeric:
        parts: list[g.Part] = []
        for part in term.parts:
            if isinstance(part.guard, g.Fixed) and part.guard.value is not None:
                if part.guard.value:
                    parts.append(attrs.evolve(part, guard=None))
            else:
                parts.append(part)
        if len(parts) == len(term.parts) and all(one is other for one, other in zip(parts, term.parts, strict=True)):
            return term
        return attrs.evolve(term, parts=tuple(parts))

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


def _fields(term: g.Ground) -> Iterator[tuple[str, Any]]:
    for name in _FIELDS.get(type(term), ()):
        yield name, getattr(term, name)


_FIELDS: Mapping[type[g.Ground], tuple[str, ...]] = {
    g.Negate: ("value",),
    g.Absolute: ("value",),
    **dict.fromkeys((g.Add, g.Subtract, g.Multiply, g.Divide, g.Margin), ("left", "right")),
    **dict.fromkeys((g.Total, g.Least, g.Greatest, g.All, g.Any), ("parts",)),
    g.Apply: ("arguments",),
    g.Lookup: ("at",),
    g.Select: ("condition", "then", "other"),
    g.Contrary: ("value",),
    g.Holds: ("headroom",),
}


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
