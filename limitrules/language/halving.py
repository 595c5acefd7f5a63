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

from attrs import define, frozen

from limitrules.foundation.exact import floats_around
from limitrules.language.exactly import Bound, Box, Range, is_unbounded, number_over
from limitrules.language.infimum import ABSOLUTE, Infimum, infimum_at, is_close
from limitrules.language.pairs import Pair, pair_of
from limitrules.language.slopes import slopes
from limitrules.language.tape import Tape

_INF = math.inf
_step = math.nextafter


SLOPES = 3
EXACTLY = 10
"""How many terms could be evaluated in floats while the pull of one is worked out, or its value in rationals."""
HOPELESS = 1_000
"""What finding a low place is worth where there is no bound."""
_MORE = 1_000
"""What is added where a search converges."""
_CELL = 80
"""The same for what a cell takes whatever the term is."""


@define
class Effort:
    """What a search and all that belongs to it may still take: so many terms evaluated once."""

    left: int
    enough: float = -_INF
    """A search that has come below it is of no more use."""

    def part(self, parts: int) -> Effort:
        """An effort of its own, taken from this one."""
        made = Effort(self.left // parts, self.enough)
        self.left -= made.left
        return made


def by_halving(tape: Tape, box: Box, sign: int, effort: Effort, cutoff: float = _INF) -> Infimum:
    """The infimum of the term times ``sign``, or an enclosure of it when the effort is spent.

    A search whose lowest value cannot come below ``cutoff`` ends there.
    """
    return _Halving(tape, box, sign, cutoff, effort).run()


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
    def __init__(self, tape: Tape, box: Box, sign: int, cutoff: float, effort: Effort) -> None:
        self.tape = tape
        self.box = box
        self.sign = sign
        self.cutoff = cutoff
        self.effort = effort
        self.counter = itertools.count()
        self.base = {index: pair_of(low, high) for index, (low, high) in box.items()}
        self.free = [index for index, (low, high) in box.items() if low != high]
        self.ends = {index: (floats_around(box[index][0]), floats_around(box[index][1])) for index in self.free}
        self.best = _Best(_INF, {})
        self.gap = _INF

    def run(self) -> Infimum:
        """Halve the most promising cell until the bound meets what is reached."""
        first = self._examine({index: self.base[index] for index in self.free})
        low, high = self._whole(self.base)
        # What is lost to rounding is a share of the term's size, not of a lowest value that may be zero. Where the size
        # has no bound it says nothing.
        size = max(abs(low), abs(high))
        grain = ABSOLUTE * size if size < _INF else 0.0
        queue = [first]
        tight = True
        floor: Bound = _INF
        self._spare(grain)
        self.gap = self.best.value - first.lower
        while queue:
            cell = heapq.heappop(queue)
            if cell.lower >= self.best.value:
                break
            if is_close(cell.lower, self.best.value, grain):
                # What floats leave open between the two, rationals close, so that ties are exact.
                self.effort.left -= EXACTLY * len(self.tape.terms)
                if self.effort.left > 0 and self._exact_lower(cell) >= self._at_best().value:
                    continue
                floor = min(floor, _rational(cell.lower))
                break
            is_over = self.best.value < self.effort.enough or cell.lower >= self.cutoff
            if is_over or (self.effort.left <= 0 and not self._is_converging(cell.lower)):
                floor, tight = min(floor, _rational(cell.lower)), False
                break
            halves = self._halves(cell)
            if not halves:
                # A point is as low as it is; only what is missing there keeps it open.
                floor = min(floor, self._exact_lower(cell))
            for half in halves:
                examined = self._examine(half)
                if examined.lower < self.best.value:
                    heapq.heappush(queue, examined)
        exact = self._at_best()
        value = min(floor, exact.value)
        return exact._replace(value=value, tight=tight and is_close(value, exact.reached, grain))

    def _is_converging(self, lower: float) -> bool:
        """True, with some more effort, where what is left open shrinks well enough to be worth it."""
        gap = self.best.value - lower
        if not gap < self.gap / 2:
            return False
        self.gap = gap
        self.effort.left = _MORE
        return True

    def _spare(self, grain: float) -> None:
        """Where something missing leaves the term open even at a point, halving can only find a low place."""
        low, high = self._whole({**self.base, **self.best.point})
        if not math.isfinite(low):
            self.effort.left = min(self.effort.left, HOPELESS)
        elif not is_close(low, high, grain):
            self.effort.left //= 4

    def _whole(self, floats: Mapping[int, Pair]) -> Pair:
        low, high = self.tape.forward(floats)[-1]
        return (low, high) if self.sign > 0 else (-high, -low)

    def _examine(self, ranges: dict[int, Pair]) -> _Cell:
        """Settle the inputs that move the term one way on a cell, bound it, and try its middle and a corner."""
        self.effort.left -= _CELL + 2 * len(self.tape.terms)
        while True:
            self.effort.left -= (SLOPES + 1) * len(self.tape.terms)
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
            # Where no slope is known the range that has been halved least is.
            whole = self.base[index]
            weights[index] = reach * most if most < _INF else 1e300 * (reach / (whole[1] - whole[0]))
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
