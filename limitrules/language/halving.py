"""Best-first halving of a box: what is left where slopes, corners and cuts leave the lowest value open.

Cells are compared by floats rounded outwards, each bounded by plain intervals and by its slopes about the middle;
only the place found is exact. Source: Moore, Kearfott and Cloud, Introduction to Interval Analysis (2009), chapters 5
to 7.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Mapping
from fractions import Fraction

from attrs import define, evolve, frozen

from limitrules.foundation.exact import floats_around
from limitrules.language.exactly import Bound, Box, Range, is_unbounded, number_over
from limitrules.language.infimum import ABSOLUTE, Infimum, infimum_at, is_close
from limitrules.language.pairs import Pair, pair_of
from limitrules.language.slopes import slopes
from limitrules.language.tape import Tape

_INF = math.inf
_step = math.nextafter


def by_halving(tape: Tape, box: Box, sign: int, budget: int, cutoff: float = _INF) -> Infimum:
    """The infimum of the term times ``sign``, or an enclosure of it when ``budget`` cells have been looked at.

    A search whose lowest value cannot come below ``cutoff`` ends there.
    """
    return _Halving(tape, box, sign, cutoff).run(budget)


@frozen(order=True)
class _Cell:
    """``lower`` bounds the term on it; ``split`` is the input to halve it in, None where it is a point."""

    lower: float
    number: int
    ranges: dict[int, Pair]
    split: int | None


@define
class _Best:
    """The lowest value reached, rounded up, and where."""

    value: float
    point: dict[int, Pair]


class _Halving:
    def __init__(self, tape: Tape, box: Box, sign: int, cutoff: float) -> None:
        self.tape = tape
        self.box = box
        self.sign = sign
        self.cutoff = cutoff
        self.counter = itertools.count()
        self.base = {index: pair_of(low, high) for index, (low, high) in box.items()}
        self.free = [index for index, (low, high) in box.items() if low != high]
        self.ends = {index: (floats_around(box[index][0]), floats_around(box[index][1])) for index in self.free}
        self.best = _Best(_INF, {})

    def run(self, budget: int) -> Infimum:
        """Halve the most promising cell until the bound meets what is reached."""
        first = self._examine({index: self.base[index] for index in self.free})
        low, high = self._whole(self.base)
        # What is lost to rounding is a share of the term's size, not of a lowest value that may be zero.
        grain = ABSOLUTE * min(max(abs(low), abs(high)), 1e300)
        queue = [first]
        looked, tight = 1, True
        floor: Bound = _INF
        budget = self._affordable(budget, grain)
        while queue:
            cell = heapq.heappop(queue)
            if cell.lower >= self.best.value:
                break
            if is_close(cell.lower, self.best.value, grain):
                # What floats leave open between the two, rationals close, so that ties are exact.
                looked += 1
                if looked < budget and self._exact_lower(cell) >= self._at_best().value:
                    continue
                floor = min(floor, _rational(cell.lower))
                break
            if looked >= budget or cell.lower >= self.cutoff:
                floor, tight = min(floor, _rational(cell.lower)), False
                break
            halves = self._halves(cell)
            if not halves:
                # A point is as low as it is; only what is missing there keeps it open.
                floor = min(floor, self._exact_lower(cell))
            for half in halves:
                looked += 1
                examined = self._examine(half)
                if examined.lower < self.best.value:
                    heapq.heappush(queue, examined)
        exact = self._at_best()
        value = min(floor, exact.value)
        return evolve(exact, value=value, tight=tight and is_close(value, exact.reached, grain))

    def _affordable(self, budget: int, grain: float) -> int:
        """Where something missing leaves the term open even at a point, halving can only find a low place."""
        low, high = self._whole({**self.base, **self.best.point})
        if not math.isfinite(low):
            return budget // 20
        return budget if is_close(low, high, grain) else budget // 4

    def _whole(self, floats: Mapping[int, Pair]) -> Pair:
        low, high = self.tape.forward(floats)[-1]
        return (low, high) if self.sign > 0 else (-high, -low)

    def _examine(self, ranges: dict[int, Pair]) -> _Cell:
        """Settle the inputs that move the term one way on a cell, bound it, and try its middle and a corner."""
        while True:
            values = self.tape.forward({**self.base, **ranges})
            steep = slopes(self.tape, values)
            if not self._settle(ranges, steep):
                break
        low = values[-1][0] if self.sign > 0 else -values[-1][1]
        wide = [index for index, (start, end) in ranges.items() if start != end and not self._is_point(index, ranges)]
        middle = {index: self._middle(index, ranges[index]) for index in ranges}
        centre = self._try(middle)
        self._try({index: self._end(index, ranges[index], _falls(steep[index], self.sign)) for index in ranges})
        weights = {}
        for index in wide:
            reach = _step(max(ranges[index][1] - middle[index][0], middle[index][1] - ranges[index][0]), _INF)
            most = max(abs(steep[index][0]), abs(steep[index][1]))
            centre = _step(centre - _step(reach * most, _INF), -_INF)
            weights[index] = reach * min(most, 1e300)
        split = max(weights, key=weights.__getitem__) if weights else None
        return _Cell(max(low, centre) if centre == centre else low, next(self.counter), ranges, split)

    def _settle(self, ranges: dict[int, Pair], steep: Mapping[int, Pair]) -> bool:
        moved = False
        for index, (start, end) in ranges.items():
            least, most = steep[index]
            if start != end and not self._is_point(index, ranges) and (least >= 0.0 or most <= 0.0):
                ranges[index], moved = self._end(index, (start, end), (least >= 0.0) != (self.sign > 0)), True
        return moved

    def _is_point(self, index: int, ranges: Mapping[int, Pair]) -> bool:
        """True for an end of the box that lies between two floats."""
        return ranges[index] in self.ends[index]

    def _end(self, index: int, pair: Pair, upper: bool) -> Pair:
        """The floats around an end of a range: one of the box, or a float at which it was halved."""
        at = pair[1] if upper else pair[0]
        outer = self.ends[index][1 if upper else 0]
        return outer if at == (self.base[index][1] if upper else self.base[index][0]) else (at, at)

    def _middle(self, index: int, pair: Pair) -> Pair:
        at = pair[0] + (pair[1] - pair[0]) / 2
        inside = self.ends[index][0][1] <= at <= self.ends[index][1][0]
        return (at, at) if inside else self._end(index, pair, False)

    def _try(self, point: dict[int, Pair]) -> float:
        """The lower bound at a point, whose upper one may be the best that is known."""
        low, high = self._whole({**self.base, **point})
        if high < self.best.value or not self.best.point:
            self.best = _Best(high, point)
        return low

    def _halves(self, cell: _Cell) -> list[dict[int, Pair]]:
        if cell.split is None:
            return []
        low, high = cell.ranges[cell.split]
        middle = self._middle(cell.split, (low, high))
        if middle[0] != middle[1] or not low < middle[0] < high:
            return []
        return [{**cell.ranges, cell.split: (low, middle[0])}, {**cell.ranges, cell.split: (middle[0], high)}]

    def _exact_lower(self, cell: _Cell) -> Bound:
        low, high = number_over(
            self.tape.term, {**self.box, **{i: self._exactly(i, cell.ranges[i]) for i in self.free}}
        )
        return low if self.sign > 0 else -high

    def _exactly(self, index: int, pair: Pair) -> Range:
        low, high = self.box[index]
        if pair == self.ends[index][0]:
            return low, low
        if pair == self.ends[index][1]:
            return high, high
        return max(low, Fraction(pair[0])), min(high, Fraction(pair[1]))

    def _at_best(self) -> Infimum:
        place = {index: pair[0] for index, pair in self.box.items()}
        place.update((index, self._exactly(index, pair)[0]) for index, pair in self.best.point.items())
        return infimum_at(self.tape, place, self.sign)


def _falls(slope: Pair, sign: int) -> bool:
    """True where the term times ``sign`` rather falls."""
    return (slope[0] + slope[1]) * sign < 0.0


def _rational(value: float) -> Bound:
    return value if is_unbounded(value) else Fraction(value)
