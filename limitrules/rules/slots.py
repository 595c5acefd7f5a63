"""The uncertain numbers of one system, flat: every value a rule reads has one slot, however often it is read."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from limitrules.foundation.exact import floats_around
from limitrules.language.exactly import Range
from limitrules.language.pairs import Pair


class Slots:
    """Numbers by slot, all in SI: exact range and nominal value, and floats around them.

    ``shadows`` enclose the ranges, ``middles`` the nominal values, ``ends`` the low and the high end of each range.

    ``at`` takes exact values for some of them, by path, in place of their ranges.
    """

    def __init__(self, at: Mapping[str, Fraction] | None = None) -> None:
        self._at = at or {}
        self.index: dict[str, int] = {}
        self.paths: list[str] = []
        self.ranges: list[Range] = []
        self.nominal: list[Fraction] = []
        self.shadows: list[Pair] = []
        self.middles: list[Pair] = []
        self.ends: list[tuple[Pair, Pair]] = []

    def copy(self) -> Slots:
        """The same numbers, which later changes leave alone."""
        made = Slots()
        made.index, made.paths = dict(self.index), list(self.paths)
        made.ranges, made.nominal = list(self.ranges), list(self.nominal)
        made.shadows, made.middles, made.ends = list(self.shadows), list(self.middles), list(self.ends)
        return made

    def slot(self, path: str, low: Fraction, high: Fraction, nominal: Fraction) -> int:
        """The slot of a path; made at the first call."""
        found = self.index.get(path)
        if found is not None:
            return found
        if path in self._at:
            low = high = nominal = self._at[path]
        number = len(self.paths)
        self.index[path] = number
        self.paths.append(path)
        self.ranges.append((low, high))
        self.nominal.append(nominal)
        shadow, middle, ends = _floats(low, high, nominal)
        self.shadows.append(shadow)
        self.middles.append(middle)
        self.ends.append(ends)
        return number

    def forget(self, path: str) -> None:
        """Give up the slot of a path and those of what belongs to it; whatever reads them is to be bound anew."""
        for name in [name for name in self.index if name == path or name.startswith(f"{path}.")]:
            del self.index[name]

    def change(self, path: str, low: Fraction, high: Fraction, nominal: Fraction) -> None:
        """Put another number into the slot of a path."""
        number = self.index[path]
        self.ranges[number] = (low, high)
        self.nominal[number] = nominal
        self.shadows[number], self.middles[number], self.ends[number] = _floats(low, high, nominal)

    def box(self, numbers: tuple[int, ...]) -> dict[int, Range]:
        return {number: self.ranges[number] for number in numbers}

    def nominals(self, numbers: tuple[int, ...]) -> dict[int, Fraction]:
        return {number: self.nominal[number] for number in numbers}

    def named(self, place: Mapping[int, Fraction]) -> dict[str, Fraction]:
        """A point of the box by path instead of slot."""
        return {self.paths[number]: value for number, value in place.items()}


def _floats(low: Fraction, high: Fraction, nominal: Fraction) -> tuple[Pair, Pair, tuple[Pair, Pair]]:
    """The floats around a range, around its nominal value, and around each of its ends."""
    start, end = floats_around(low), floats_around(high)
    return (start[0], end[1]), floats_around(nominal), (start, end)
