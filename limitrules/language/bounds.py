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
from collections.abc import Mapping
from fractions import Fraction

from attrs import evolve, frozen

from limitrules.foundation.exact import float_below
from limitrules.language import ground as g
from limitrules.language.exactly import Bound, Box, Range, is_unbounded, number_over, point
from limitrules.language.pairs import Floats, Pair, pair_of
from limitrules.language.pieces import Piece, pieces
from limitrules.language.slopes import MIXED, is_multilinear, signs, slopes
from limitrules.language.tape import Tape

BUDGET = 400
"""How many boxes are looked at before the enclosure found by then is given as it is."""
SHOWN_BUDGET = 24
"""The same where the verdict is certain already and only a figure is to be shown."""
RELATIVE = 1e-7
ABSOLUTE = 1e-12
_CORNERS = 6
_DEPTH = 3
_NEAR = 2**40
_INF = math.inf
_step = math.nextafter


@frozen
class Infimum:
    """The lowest value of a term over a box.

    ``value`` is a lower bound (minus infinity: none is known) and ``place`` a point of the box, by input, at which
    the term takes ``reached``. ``tight`` where the term comes as near to ``value`` as one likes, within the tolerance
    of the search; ``is_open`` where it is proven to come near and never to take it.
    """

    value: Bound
    reached: Bound
    place: Mapping[int, Fraction]
    tight: bool
    is_open: bool = False


def infimum(term: g.Numeric, box: Box, budget: int = BUDGET) -> Infimum:
    """Lower bound of a numeric term over a box, with the point where it is reached."""
    return Extremes(term).lowest(box, budget)


def supremum(term: g.Numeric, box: Box, budget: int = BUDGET) -> Infimum:
    """Upper bound of a numeric term over a box, with the point where it is reached."""
    return Extremes(term).highest(box, budget)


class Extremes:
    """A numeric term, prepared once to be bounded over many boxes."""

    def __init__(self, term: g.Numeric) -> None:
        self.term = term
        self._tape: Tape | None = None
        self._members: list[Extremes] | None = None

    def lowest(self, box: Box, budget: int = BUDGET, floats: Floats | None = None) -> Infimum:
        """The lower bound, with the point where it is reached. ``floats`` is the box in floats where that is known."""
        return self._extreme(box, 1, budget, floats)

    def highest(self, box: Box, budget: int = BUDGET, floats: Floats | None = None) -> Infimum:
        """The upper bound, with the point where it is reached."""
        return self._extreme(box, -1, budget, floats)

    def _extreme(self, box: Box, sign: int, budget: int, floats: Floats | None, depth: int = 0) -> Infimum:
        search = _Search(self.tape, box, sign, budget)
        found = search.at_ends(floats)
        if found is None and self._splits(g.Least if sign > 0 else g.Greatest):
            # The lowest of several is as low as the lowest of them gets: each can be searched by itself.
            members = [member._extreme(box, sign, budget, floats, depth) for member in self.members]
            return self._joined(members, box, sign)
        found = found or search.by_slopes()
        if found is None and depth < _DEPTH:
            cut = pieces(self.term, search.fixed)
            if cut:
                parts = [self._on_piece(piece, box, sign, budget // len(cut), depth) for piece in cut]
                return self._over_pieces(parts, sign)
        found = found or search.by_halving()
        return found if sign > 0 else evolve(found, value=-found.value, reached=-found.reached)

    def _on_piece(self, piece: Piece, box: Box, sign: int, budget: int, depth: int) -> Infimum:
        found = Extremes(piece.term)._extreme(piece.box, sign, budget, None, depth + 1)
        place = {index: found.place.get(index, piece.box[index][0]) for index in self.tape.indices}
        if place[piece.cut] not in piece.without:
            return evolve(found, place=place)
        # The end of an open piece belongs to another one; what the term nears there it takes nowhere.
        low, high = piece.box[piece.cut]
        inward = (high - low) / _NEAR
        place[piece.cut] += inward if place[piece.cut] == low else -inward
        reached = self.tape.enclosure(place)[1 if sign > 0 else 0]
        return Infimum(found.value, reached, place, found.tight, is_open=found.value != reached)

    def _over_pieces(self, parts: list[Infimum], sign: int) -> Infimum:
        value = min(part.value * sign for part in parts) * sign
        lowest = [part for part in parts if part.value == value]
        best = next((part for part in lowest if part.reached == value), None)
        if best is not None:
            return best
        reaching = min(parts, key=lambda item: item.reached * sign)
        return Infimum(value, reaching.reached, reaching.place, any(part.tight for part in lowest),
                       all(part.is_open for part in lowest))  # fmt: skip

    @property
    def tape(self) -> Tape:
        if self._tape is None:
            self._tape = Tape(self.term)
        return self._tape

    @property
    def members(self) -> list[Extremes]:
        if self._members is None:
            assert isinstance(self.term, g.Gathered)
            self._members = [Extremes(part.value) for part in self.term.parts]
        return self._members

    def _splits(self, kind: type[g.Gathered]) -> bool:
        return isinstance(self.term, kind) and all(part.guard is None for part in self.term.parts)

    def _joined(self, found: list[Infimum], box: Box, sign: int) -> Infimum:
        """What bounds the members bounds the whole; it is reached where one of them gets furthest."""
        bound = min(found, key=lambda item: item.value * sign)
        reaching = min(found, key=lambda item: item.reached * sign)
        place = {index: reaching.place.get(index, box[index][0]) for index in self.tape.indices}
        reached = reaching.reached
        if bound.value != reached:
            # Where members are only enclosed, another one may lie further out at this place.
            reached = self.tape.enclosure(place)[1 if sign > 0 else 0]
        lowest = [item for item in found if item.value == bound.value]
        return Infimum(bound.value, reached, place, bound.value == reached or any(item.tight for item in lowest),
                       bound.value != reached and all(item.is_open for item in lowest))  # fmt: skip


class _Search:
    """One minimisation of the term times ``sign``."""

    def __init__(self, tape: Tape, box: Box, sign: int, budget: int) -> None:
        self.term = tape.term
        self.tape = tape
        self.sign = sign
        self.budget = budget
        self.box = {index: box[index] for index in tape.indices}
        self.free = [index for index, (low, high) in self.box.items() if low != high]
        self.fixed = self.box

    def at_ends(self, floats: Floats | None) -> Infimum | None:
        """The infimum where every input moves the term one way; None where one pulls both ways."""
        place = {index: pair[0] for index, pair in self.box.items()}
        if self.free:
            pull = signs(self.tape, self.tape.forward(floats or _shadows(self.box)))
            for index in self.free:
                sign = pull[index]
                if sign == MIXED:
                    return None
                if sign * self.sign < 0:
                    place[index] = self.box[index][1]
        return self._at(place)

    def by_slopes(self) -> Infimum | None:
        """The infimum by the slopes of the inputs and by corners; None where these leave it open."""
        fixed = self.fixed = self._fix(self.box)
        open_inputs = [index for index in self.free if fixed[index][0] != fixed[index][1]]
        if not open_inputs:
            return self._at({index: low for index, (low, _) in fixed.items()})
        if len(open_inputs) <= _CORNERS and is_multilinear(self.tape, self.tape.forward(_shadows(fixed)), open_inputs):
            return self._lowest_of([self._at(corner) for corner in _corners(fixed, open_inputs)])
        return None

    def _lowest_of(self, corners: list[Infimum]) -> Infimum:
        """The corner that reaches lowest; what is missing may make the bound lower at another one."""
        best = min(corners, key=lambda item: item.reached)
        value = min(item.value for item in corners)
        return best if value == best.value else Infimum(value, best.reached, best.place, _close(value, best.reached))

    def _at(self, place: dict[int, Fraction]) -> Infimum:
        value = self.tape.value(place)
        if value is not None:
            value *= self.sign
            return Infimum(value, value, place, True)
        low, high = self.tape.enclosure(place)
        if self.sign < 0:
            low, high = -high, -low
        return Infimum(low, high, place, low == high or _close(low, high))

    def _fix(self, box: dict[int, Range]) -> dict[int, Range]:
        """Set every input whose influence has one sign to the end where the term is lowest."""
        box = dict(box)
        while any(box[index][0] != box[index][1] for index in self.free):
            found = slopes(self.tape, self.tape.forward(_shadows(box)))
            moved = False
            for index in self.free:
                low, high = box[index]
                if low == high:
                    continue
                least, most = found[index]
                if least >= 0.0 or most <= 0.0:
                    end = low if (least >= 0.0) == (self.sign > 0) else high
                    box[index], moved = (end, end), True
            if not moved:
                break
        return box

    def by_halving(self) -> Infimum:
        """Best-first halving. Boxes are compared by floats rounded outwards; only the place found is exact."""
        box = self.fixed
        counter = itertools.count()
        best, place = self._best_of(box)
        start = self._whole(_shadows(box))
        # What is lost to rounding is a share of the term's size, not of a lowest value that may be zero.
        grain = ABSOLUTE * min(max(abs(start[0]), abs(start[1])), 1e300)
        queue = [(start[0], next(counter), box)]
        looked, tight = 0, True
        floor: Bound = _INF
        budget = self._budget(place, grain)
        while queue:
            lower, _, box = heapq.heappop(queue)
            if lower >= best:
                break
            if _close(lower, best, grain):
                # What floats leave open between the two, rationals close, so that ties are exact.
                if looked < budget and self._exact_lower(box) >= self._at(place).value:
                    looked += 1
                    continue
                floor = min(floor, _rational(lower))
                break
            if looked >= budget:
                floor, tight = min(floor, _rational(lower)), False
                break
            halves = self._halves(box)
            if not halves:
                # A point is as low as it is; only what is missing there keeps it open.
                floor = min(floor, self._exact_lower(box))
            for half in halves:
                looked += 1
                half = self._fix(half)
                found, at = self._best_of(half)
                if found < best:
                    best, place = found, at
                low = self._lower(half)
                if low < best:
                    heapq.heappush(queue, (low, next(counter), half))
        exact = self._at(place)
        value = min(floor, exact.value)
        return Infimum(value, exact.reached, place, tight and _close(value, exact.reached, grain))

    def _budget(self, place: dict[int, Fraction], grain: float) -> int:
        """Where something missing leaves the term open even at a point, halving can only find a low place."""
        low, high = self._whole(_shadows(point(place)))
        if not math.isfinite(low):
            return self.budget // 20
        return self.budget if _close(low, high, grain) else self.budget // 4

    def _exact_lower(self, box: dict[int, Range]) -> Bound:
        low, high = number_over(self.term, box)
        return low if self.sign > 0 else -high

    def _whole(self, shadows: Floats) -> Pair:
        low, high = self.tape.forward(shadows)[-1]
        return (low, high) if self.sign > 0 else (-high, -low)

    def _lower(self, box: dict[int, Range]) -> float:
        """The better of the interval bound and the one from the slopes about the middle."""
        shadows = _shadows(box)
        values = self.tape.forward(shadows)
        low = values[-1][0] if self.sign > 0 else -values[-1][1]
        middles = {index: (pair[0] + pair[1]) / 2 for index, pair in shadows.items()}
        centre = self._whole({index: (value, value) for index, value in middles.items()})[0]
        for index, slope in slopes(self.tape, values).items():
            pair = shadows[index]
            if pair[0] != pair[1]:
                reach = max(pair[1] - middles[index], middles[index] - pair[0])
                steep = max(abs(slope[0]), abs(slope[1]))
                centre = _step(centre - _step(_step(reach, _INF) * steep, _INF), -_INF)
        return max(low, centre) if centre == centre else low

    def _best_of(self, box: dict[int, Range]) -> tuple[float, dict[int, Fraction]]:
        """The best of the box's middle and its two outermost corners: what is reached there at the most, and where."""
        middle = {index: (low + high) / 2 for index, (low, high) in box.items()}
        lows = {index: low for index, (low, _) in box.items()}
        highs = {index: high for index, (_, high) in box.items()}
        found = [(self._whole(_shadows(point(place)))[1], place) for place in (middle, lows, highs)]
        return min(found, key=lambda item: item[0])

    def _halves(self, box: dict[int, Range]) -> list[dict[int, Range]]:
        shadows = _shadows(box)
        found = slopes(self.tape, self.tape.forward(shadows))

        def weight(index: int) -> float:
            low, high = shadows[index]
            least, most = found[index]
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
    return {index: pair_of(low, high) for index, (low, high) in box.items()}


def _corners(box: dict[int, Range], indices: list[int]) -> list[dict[int, Fraction]]:
    found = []
    for ends in itertools.product((0, 1), repeat=len(indices)):
        place = {index: low for index, (low, _) in box.items()}
        place.update((index, box[index][end]) for index, end in zip(indices, ends, strict=True))
        found.append(place)
    return found


def _close(low: Bound, high: Bound, grain: float = 0.0) -> bool:
    if is_unbounded(low, high):
        return False
    one, other = _nearly(low), _nearly(high)
    return other - one <= max(RELATIVE * max(abs(one), abs(other)), grain)


def _nearly(value: Bound) -> float:
    return value if isinstance(value, float) else float_below(value)


def _rational(value: float | Fraction) -> Bound:
    return value if is_unbounded(value) else Fraction(value)
