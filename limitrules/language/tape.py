"""A term as a tape: every part of it once, operands before what uses them, so that slopes can be gathered in reverse.

Slopes are enclosed by intervals (reverse accumulation; Griewank and Walther, Evaluating Derivatives, 2008). An input
whose slope has one sign over a box moves the term one way.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping
from typing import Any, cast

import attrs

from limitrules.foundation.exact import float_above, float_below
from limitrules.language import ground as g
from limitrules.language.shadow import Pair, shadow_number

_Slopes = dict[int, Pair]
_INF = math.inf
_ANY_SLOPE: Pair = (-_INF, _INF)
_ONE: Pair = (1.0, 1.0)
_NOTHING: Pair = (0.0, 0.0)
_SOME: Pair = (0.0, 1.0)
_step = math.nextafter


class Tape:
    def __init__(self, term: g.Numeric) -> None:
        self.terms: list[g.Numeric] = []
        self._place: dict[int, int] = {}
        self._append(term)
        self.shadows = [shadow_number(self._shallow(item)) for item in self.terms]
        self.inputs = g.inputs_of(term)
        self.guarded = _guard_inputs(term)

    def _append(self, term: g.Numeric) -> None:
        if id(term) in self._place:
            return
        for child in term.below():
            if isinstance(child, g.Numeric):
                self._append(child)
        self._place[id(term)] = len(self.terms)
        self.terms.append(term)

    def values(self, box: Mapping[int, Pair]) -> list[Pair]:
        """Enclosures of all terms; the whole term comes last."""
        slots = dict(box)
        for place, shadow in enumerate(self.shadows):
            slots[-1 - place] = shadow(slots)
        return [slots[-1 - place] for place in range(len(self.shadows))]

    def value(self, term: g.Numeric, found: list[Pair]) -> Pair:
        return found[self._place[id(term)]]

    def _shallow(self, term: g.Numeric) -> g.Numeric:
        """The term with the results of its operands in place of the operands, kept in slots below zero."""

        def slot(child: g.Numeric) -> g.Input:
            return g.Input(-1 - self._place[id(child)])

        if isinstance(term, g.Binary):
            return attrs.evolve(term, left=slot(term.left), right=slot(term.right))
        if isinstance(term, g.Negate | g.Absolute):
            return attrs.evolve(term, value=slot(term.value))
        if isinstance(term, g.Gathered):
            parts = tuple(attrs.evolve(part, value=slot(part.value)) for part in term.parts)
            return attrs.evolve(term, parts=parts)
        if isinstance(term, g.Apply):
            return attrs.evolve(term, arguments=tuple(map(slot, term.arguments)))
        if isinstance(term, g.Lookup):
            return attrs.evolve(term, at=slot(term.at))
        if isinstance(term, g.Select):
            return attrs.evolve(term, then=slot(term.then), other=slot(term.other))
        return term

    def slopes(self, box: Mapping[int, Pair]) -> _Slopes:
        """Enclosures of the slope of the whole term in each input, over the box.

        An input that decides which member or branch takes part may make the term jump, so its slope is open.
        """
        values = self.values(box)
        pull: list[Pair] = [_NOTHING] * len(self.terms)
        pull[-1] = _ONE
        slopes: _Slopes = {}
        for place in range(len(self.terms) - 1, -1, -1):
            own = pull[place]
            if own == _NOTHING:
                continue
            term = self.terms[place]
            if isinstance(term, g.Input):
                slopes[term.index] = _plus(slopes.get(term.index, _NOTHING), own)
                continue
            for child, weight in _BACKWARD[type(term)](self, term, values):
                index = self._place[id(child)]
                pull[index] = _plus(pull[index], _by(own, weight))
        for index in self.guarded:
            slopes[index] = _ANY_SLOPE
        for index in self.inputs:
            slopes.setdefault(index, _NOTHING)
        return slopes

    def is_multilinear(self, indices: list[int]) -> bool:
        """True where the term is of degree at most one in each of these inputs, lowest members included."""
        wanted = frozenset(indices)
        degrees: dict[int, dict[int, int] | None] = {}
        for place, term in enumerate(self.terms):
            degrees[place] = self._degree(term, degrees, wanted)
        whole = degrees[len(self.terms) - 1]
        return whole is not None and all(count <= 1 for count in whole.values())

    def _degree(self, term: g.Numeric, known: dict[int, dict[int, int] | None], wanted: frozenset[int]) -> (
        dict[int, int] | None
    ):  # fmt: skip
        if isinstance(term, g.Input):
            return {term.index: 1} if term.index in wanted else {}
        below = [known[self._place[id(child)]] for child in term.below() if isinstance(child, g.Numeric)]
        if all(item == {} for item in below) and not isinstance(term, g.Select | g.Gathered):
            return {}
        if any(item is None for item in below):
            return None
        parts = cast("list[dict[int, int]]", below)
        if isinstance(term, g.Multiply):
            return _merged(parts, lambda one, other: one + other)
        if isinstance(term, g.Add | g.Subtract | g.Negate):
            return _merged(parts, max)
        if isinstance(term, g.Divide):
            return parts[0] if not parts[1] else None
        if isinstance(term, g.Total) and all(part.guard is None for part in term.parts):
            return _merged(parts, max)
        return None


def _merged(parts: list[dict[int, int]], join: Callable[[int, int], int]) -> dict[int, int]:
    result: dict[int, int] = {}
    for part in parts:
        for index, count in part.items():
            result[index] = join(result[index], count) if index in result else count
    return result


def _guard_inputs(term: g.Ground) -> frozenset[int]:
    """The inputs that decide which member or branch takes part anywhere below."""
    found: set[int] = set()
    for item in term.walk():
        if isinstance(item, g.Select):
            found.update(g.inputs_of(item.condition))
        elif isinstance(item, g.Gathered):
            for part in item.parts:
                if part.guard is not None:
                    found.update(g.inputs_of(part.guard))
    return frozenset(found)


def _plus(one: Pair, other: Pair) -> Pair:
    if one == _NOTHING:
        return other
    return _sum(one[0], other[0], -_INF), _sum(one[1], other[1], _INF)


def _sum(one: float, other: float, towards: float) -> float:
    """Rounded outwards where it is not exact, so that what cancels leaves nothing."""
    total = one + other
    if total - one == other and total - other == one:
        return total
    return _step(total, towards) if total == total else towards


def _by(one: Pair, other: Pair) -> Pair:
    if one == _ONE:
        return other
    a, b = one
    c, d = other
    corners = (_times(a, c), _times(a, d), _times(b, c), _times(b, d))
    low, high = min(corners), max(corners)
    # Zero stays zero: a slope that is known to have one sign keeps it.
    return (low if low == 0.0 else _step(low, -_INF)), (high if high == 0.0 else _step(high, _INF))


def _times(one: float, other: float) -> float:
    return one * other if one and other else 0.0


_Pulls = list[tuple[g.Numeric, Pair]]


def _multiply_back(tape: Tape, term: g.Multiply, values: list[Pair]) -> _Pulls:
    return [(term.left, tape.value(term.right, values)), (term.right, tape.value(term.left, values))]


def _divide_back(tape: Tape, term: g.Divide, values: list[Pair]) -> _Pulls:
    left, right = tape.value(term.left, values), tape.value(term.right, values)
    if right[0] <= 0.0 <= right[1]:
        return [(term.left, _ANY_SLOPE), (term.right, _ANY_SLOPE)]
    low, high = sorted((1 / right[0], 1 / right[1]))
    over = (_step(low, -_INF), _step(high, _INF))
    return [(term.left, over), (term.right, _by((-left[1], -left[0]), _square(over)))]


def _square(pair: Pair) -> Pair:
    corners = (pair[0] * pair[0], pair[1] * pair[1])
    return max(0.0, _step(min(corners), -_INF)), _step(max(corners), _INF)


def _absolute_back(tape: Tape, term: g.Absolute, values: list[Pair]) -> _Pulls:
    low, high = tape.value(term.value, values)
    return [(term.value, _ONE if low >= 0.0 else (-1.0, -1.0) if high <= 0.0 else (-1.0, 1.0))]


def _gathered_back(tape: Tape, term: g.Gathered, values: list[Pair]) -> _Pulls:
    pairs = [tape.value(part.value, values) for part in term.parts]
    if isinstance(term, g.Total):
        return [(part.value, _ONE if part.guard is None else _SOME) for part in term.parts]
    sign = 1.0 if isinstance(term, g.Least) else -1.0
    rims = [(pair[0], pair[1]) if sign > 0 else (-pair[1], -pair[0]) for pair in pairs]
    sure = [rim[1] for rim, part in zip(rims, term.parts, strict=True) if part.guard is None]
    edge = min(sure, default=_INF)
    able = [rim[0] <= edge for rim in rims]
    lone = sum(able) == 1 and len(sure) == len(rims)
    return [(part.value, _ONE if lone else _SOME) for part, may in zip(term.parts, able, strict=True) if may]


def _apply_back(tape: Tape, term: g.Apply, values: list[Pair]) -> _Pulls:
    signs = {"rises": (0.0, _INF), "falls": (-_INF, 0.0), "neither": _ANY_SLOPE}
    inside = term.function.within(tape.value(argument, values) for argument in term.arguments)
    return [(argument, signs[item.direction.value] if inside else _ANY_SLOPE)
            for item, argument in zip(term.function.arguments, term.arguments, strict=True)]  # fmt: skip


def _lookup_back(tape: Tape, term: g.Lookup, values: list[Pair]) -> _Pulls:
    low, high = tape.value(term.at, values)
    points = term.points
    if low < points[0][0] or high > points[-1][0]:
        return [(term.at, _ANY_SLOPE)]
    slopes = [(y1 - y0) / (x1 - x0) for (x0, y0), (x1, y1) in itertools.pairwise(points) if low <= x1 and x0 <= high]
    return [(term.at, (float_below(min(slopes)), float_above(max(slopes))))]


def _select_back(tape: Tape, term: g.Select, values: list[Pair]) -> _Pulls:
    return [(term.then, _SOME), (term.other, _SOME)]


_BACKWARD: Mapping[type[g.Ground], Callable[[Tape, Any, list[Pair]], _Pulls]] = {
    g.Constant: lambda tape, term, values: [],
    g.Gap: lambda tape, term, values: [],
    g.Negate: lambda tape, term, values: [(term.value, (-1.0, -1.0))],
    g.Absolute: _absolute_back,
    g.Add: lambda tape, term, values: [(term.left, _ONE), (term.right, _ONE)],
    g.Subtract: lambda tape, term, values: [(term.left, _ONE), (term.right, (-1.0, -1.0))],
    g.Multiply: _multiply_back,
    g.Divide: _divide_back,
    g.Total: _gathered_back,
    g.Least: _gathered_back,
    g.Greatest: _gathered_back,
    g.Apply: _apply_back,
    g.Lookup: _lookup_back,
    g.Select: _select_back,
}
