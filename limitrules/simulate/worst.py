"""The worst course of an event over the tolerances of everything it reads."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence

from attrs import frozen

from limitrules.simulate.figures import Spread
from limitrules.simulate.told import Worst

SAMPLES = 100
_SWEEPS = 3
_SEED = 20260502

Severity = Callable[[Mapping[str, float]], float]
Progress = Callable[[int, int], None]


@frozen(eq=False)
class _Deviation:
    """Figures that deviate together: one uncertain figure, or all that share a sensor or a datum."""

    spreads: tuple[Spread, ...]

    def put(self, at: dict[str, float], way: int) -> None:
        for spread in self.spreads:
            at[spread.path] = spread.high if way > 0 else spread.low if way < 0 else spread.nominal


def search(spreads: Sequence[Spread], severity: Severity, progress: Progress | None = None) -> Worst:
    """Look for the corner of the tolerances with the highest severity.

    Each deviation alone first, then all bad ways together, then one after the other as long as that makes it worse, and
    a fixed number of random corners to start again from. Not a proof: what is found is reached, something worse may
    have been missed.
    """
    return _Search(_together(spreads), severity, progress).whole()


def _together(spreads: Sequence[Spread]) -> list[_Deviation]:
    found: dict[str, list[Spread]] = {}
    for spread in spreads:
        found.setdefault(spread.shared or spread.path, []).append(spread)
    return [_Deviation(tuple(group)) for group in found.values()]


class _Search:
    def __init__(self, deviations: list[_Deviation], severity: Severity, progress: Progress | None) -> None:
        self.deviations, self.severity_of, self.progress = deviations, severity, progress
        self.known: dict[tuple[int, ...], float] = {}
        self.total = 2 * len(deviations) * (1 + _SWEEPS) + SAMPLES

    def whole(self) -> Worst:
        count = len(self.deviations)
        nominal = (0,) * count
        base = self._try(nominal)
        gains = {}
        ways = []
        for number in range(count):
            up, down = (self._try(_with(nominal, number, way)) for way in (1, -1))
            gains[number] = max(up, down) - base
            ways.append(1 if up >= down else -1)
        best = max([tuple(ways), nominal], key=self._try)
        best = self._improved(best)
        chance = random.Random(_SEED)
        for _ in range(SAMPLES if count else 0):
            corner = tuple(chance.choice((-1, 1)) for _ in range(count))
            if self._try(corner) > self._try(best):
                best = self._improved(corner)
        order = sorted((n for n in range(count) if gains[n] > 1e-12), key=lambda n: -gains[n])
        paths = tuple(spread.path for number in order for spread in self.deviations[number].spreads)
        return Worst(self._point(best), self._try(best), len(self.known), paths)

    def _improved(self, corner: tuple[int, ...]) -> tuple[int, ...]:
        for _ in range(_SWEEPS):
            before = corner
            for number in range(len(corner)):
                other = _with(corner, number, -corner[number] or 1)
                if self._try(other) > self._try(corner):
                    corner = other
            if corner == before:
                break
        return corner

    def _try(self, corner: tuple[int, ...]) -> float:
        if corner not in self.known:
            self.known[corner] = self.severity_of(self._point(corner))
            if self.progress is not None:
                self.progress(len(self.known), max(self.total, len(self.known)))
        return self.known[corner]

    def _point(self, corner: tuple[int, ...]) -> dict[str, float]:
        at: dict[str, float] = {}
        for deviation, way in zip(self.deviations, corner, strict=True):
            deviation.put(at, way)
        return at


def _with(corner: tuple[int, ...], number: int, way: int) -> tuple[int, ...]:
    return (*corner[:number], way, *corner[number + 1 :])
