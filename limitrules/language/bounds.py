"""How low and how high a term gets over a box of tolerances, and where.

The scheme: enclose by intervals; one reverse sweep finds the inputs whose influence has a constant sign and sets
them to the end that matters; what is left, if it is of degree one in each input, is decided at the corners;
otherwise the box is halved, most promising half first, within a budget. The place found is then evaluated in
exact rationals. Sources: Moore, Kearfott and Cloud, Introduction to Interval Analysis (2009), chapters 5 to 7.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any, cast

import attrs
from attrs import frozen

from limitrules.foundation.exact import float_above, float_below
from limitrules.language import ground as g
from limitrules.language.exactly import Bound, Box, Range, number_over, point
from limitrules.language.shadow import Pair, shadow_number

BUDGET = 400
"""How many boxes are looked at before the enclosure found so far is given as it is."""
RELATIVE = 1e-7
_CORNERS = 6
_INF = math.inf


@frozen
class Infimum:
    """The lowest value of a term over a box.

    ``value`` is a lower bound (minus infinity: none is known) and ``place`` a point of the box, by input, at which
    the term takes ``reached``. ``tight`` where the two agree within the tolerance of the search.
    """

    value: Bound
    reached: Bound
    place: Mapping[int, Fraction]
    tight: bool


def infimum(term: g.Numeric, box: Box) -> Infimum:
    """Lower bound of a numeric term over a box, with the point where it is reached."""
    return _Search(term, box).run()


def supremum(term: g.Numeric, box: Box) -> Infimum:
    """Upper bound: the infimum of the negated term, turned back."""
    found = infimum(g.Negate(term), box)
    return Infimum(-found.value, -found.reached, found.place, found.tight)


class _Search:
    """One minimisation. Inputs that the term does not read stay at the low end of their range."""

    def __init__(self, term: g.Numeric, box: Box) -> None:
        self.term = term
        self.tape = _Tape(term)
        self.box = {index: box[index] for index in self.tape.inputs}
        self.free = [index for index, (low, high) in self.box.items() if low != high]

    def run(self) -> Infimum:
        fixed = self._fix(self.box)
        open_inputs = [index for index in self.free if fixed[index][0] != fixed[index][1]]
        if not open_inputs:
            return self._at({index: low for index, (low, _) in fixed.items()})
        if len(open_inputs) <= _CORNERS and self.tape.is_multilinear(open_inputs):
            return min((self._at(corner) for corner in _corners(fixed, open_inputs)), key=lambda item: item.reached)
        return self._halve(fixed)

    def _at(self, place: dict[int, Fraction]) -> Infimum:
        low, high = number_over(self.term, point(place))
        return Infimum(low, high, place, low == high or _close(low, high))

    def _fix(self, box: dict[int, Range]) -> dict[int, Range]:
        """Set every input whose influence has one sign to the end where the term is lowest."""
        box = dict(box)
        while True:
            shadows = _shadows(box)
            slopes = self.tape.slopes(shadows)
            moved = False
            for index in self.free:
                low, high = box[index]
                if low == high or index not in slopes:
                    continue
                least, most = slopes[index]
                if least >= 0.0:
                    box[index], moved = (low, low), True
                elif most <= 0.0:
                    box[index], moved = (high, high), True
            if not moved:
                return box

    def _halve(self, box: dict[int, Range]) -> Infimum:
        counter = itertools.count()
        best = self._best_of(box)
        queue = [(self._lower(box), next(counter), box)]
        looked = 0
        while queue:
            lower, _, box = heapq.heappop(queue)
            if _close(lower, best.reached) or lower >= best.reached:
                return Infimum(min(_rational(lower), best.reached), best.reached, best.place, True)
            if looked >= BUDGET:
                return Infimum(_rational(lower), best.reached, best.place, False)
            for half in self._halves(box):
                looked += 1
                half = self._fix(half)
                found = self._best_of(half)
                if found.reached < best.reached:
                    best = found
                low = self._lower(half)
                if low < best.reached:
                    heapq.heappush(queue, (low, next(counter), half))
        return Infimum(best.reached, best.reached, best.place, True)

    def _lower(self, box: dict[int, Range]) -> float:
        return self.tape.values(_shadows(box))[-1][0]

    def _best_of(self, box: dict[int, Range]) -> Infimum:
        """The better of the box's middle and its two outermost corners."""
        middle = {index: (low + high) / 2 for index, (low, high) in box.items()}
        lows = {index: low for index, (low, _) in box.items()}
        highs = {index: high for index, (_, high) in box.items()}
        return min((self._at(place) for place in (middle, lows, highs)), key=lambda item: item.reached)

    def _halves(self, box: dict[int, Range]) -> list[dict[int, Range]]:
        shadows = _shadows(box)
        slopes = self.tape.slopes(shadows)

        def weight(index: int) -> float:
            low, high = shadows[index]
            least, most = slopes.get(index, (0.0, 0.0))
            steep = max(abs(least), abs(most))
            return (high - low) * (steep if math.isfinite(steep) else 1e300)

        open_inputs = [index for index in self.free if box[index][0] != box[index][1]]
        if not open_inputs:
            return []
        index = max(open_inputs, key=weight)
        low, high = box[index]
        middle = Fraction((float(low) + float(high)) / 2)
        if not low < middle < high:
            middle = (low + high) / 2
        lower, upper = dict(box), dict(box)
        lower[index], upper[index] = (low, middle), (middle, high)
        return [lower, upper]


def _shadows(box: Mapping[int, Range]) -> dict[int, Pair]:
    return {index: (float_below(low), float_above(high)) for index, (low, high) in box.items()}


def _corners(box: dict[int, Range], indices: list[int]) -> list[dict[int, Fraction]]:
    found = []
    for ends in itertools.product((0, 1), repeat=len(indices)):
        place = {index: low for index, (low, _) in box.items()}
        place.update((index, box[index][end]) for index, end in zip(indices, ends, strict=True))
        found.append(place)
    return found


def _close(low: Bound, high: Bound) -> bool:
    if math.isinf(low) or math.isinf(high):
        return False
    return float(high) - float(low) <= RELATIVE * max(abs(float(low)), abs(float(high)))


def _rational(value: float | Fraction) -> Bound:
    return Fraction(value) if math.isfinite(value) else value


# The tape: every term once, operands before what uses them, so that a sweep in reverse gathers slopes.

_Slopes = dict[int, Pair]
_ANY_SLOPE: Pair = (-_INF, _INF)
_ONE: Pair = (1.0, 1.0)
_NOTHING: Pair = (0.0, 0.0)
_SOME: Pair = (0.0, 1.0)
_step = math.nextafter


class _Tape:
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
    low, high = one[0] + other[0], one[1] + other[1]
    return (_step(low, -_INF) if low == low else -_INF), (_step(high, _INF) if high == high else _INF)


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


def _multiply_back(tape: _Tape, term: g.Multiply, values: list[Pair]) -> _Pulls:
    return [(term.left, tape.value(term.right, values)), (term.right, tape.value(term.left, values))]


def _divide_back(tape: _Tape, term: g.Divide, values: list[Pair]) -> _Pulls:
    left, right = tape.value(term.left, values), tape.value(term.right, values)
    if right[0] <= 0.0 <= right[1]:
        return [(term.left, _ANY_SLOPE), (term.right, _ANY_SLOPE)]
    low, high = sorted((1 / right[0], 1 / right[1]))
    over = (_step(low, -_INF), _step(high, _INF))
    return [(term.left, over), (term.right, _by((-left[1], -left[0]), _square(over)))]


def _square(pair: Pair) -> Pair:
    corners = (pair[0] * pair[0], pair[1] * pair[1])
    return max(0.0, _step(min(corners), -_INF)), _step(max(corners), _INF)


def _absolute_back(tape: _Tape, term: g.Absolute, values: list[Pair]) -> _Pulls:
    low, high = tape.value(term.value, values)
    return [(term.value, _ONE if low >= 0.0 else (-1.0, -1.0) if high <= 0.0 else (-1.0, 1.0))]


def _gathered_back(tape: _Tape, term: g.Gathered, values: list[Pair]) -> _Pulls:
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


def _apply_back(tape: _Tape, term: g.Apply, values: list[Pair]) -> _Pulls:
    signs = {"rises": (0.0, _INF), "falls": (-_INF, 0.0), "neither": _ANY_SLOPE}
    inside = term.function.within(tape.value(argument, values) for argument in term.arguments)
    return [(argument, signs[item.direction.value] if inside else _ANY_SLOPE)
            for item, argument in zip(term.function.arguments, term.arguments, strict=True)]  # fmt: skip


def _lookup_back(tape: _Tape, term: g.Lookup, values: list[Pair]) -> _Pulls:
    low, high = tape.value(term.at, values)
    points = term.points
    if low < points[0][0] or high > points[-1][0]:
        return [(term.at, _ANY_SLOPE)]
    slopes = [(y1 - y0) / (x1 - x0) for (x0, y0), (x1, y1) in itertools.pairwise(points) if low <= x1 and x0 <= high]
    return [(term.at, (float_below(min(slopes)), float_above(max(slopes))))]


def _select_back(tape: _Tape, term: g.Select, values: list[Pair]) -> _Pulls:
    return [(term.then, _SOME), (term.other, _SOME)]


_BACKWARD: Mapping[type[g.Ground], Callable[[_Tape, Any, list[Pair]], _Pulls]] = {
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
