"""Times of two works taken turn by turn, so that a busy machine slows both and their ratio stays."""

from __future__ import annotations

import gc
import time
from collections.abc import Callable
from statistics import median

from attrs import field, frozen

Work = Callable[[], object]


@frozen
class Times:
    """Seconds of ours and of the rival, one of each per turn."""

    ours: list[float] = field(factory=list)
    rival: list[float] = field(factory=list)

    @property
    def best_ours(self) -> float:
        return min(self.ours)

    @property
    def best_rival(self) -> float:
        return min(self.rival)

    @property
    def ratio(self) -> float:
        """The best of ours over the best of the rival: what else ran can only have lengthened the others."""
        return self.best_ours / self.best_rival

    @property
    def median_ratio(self) -> float:
        """The ratio of the medians, to show how quiet the machine was."""
        return median(self.ours) / median(self.rival)


def in_turn(ours: Work, rival: Work, turns: int, *, loops_ours: int = 1, loops_rival: int = 1) -> Times:
    """Both works, ``turns`` times each and one after the other; the time of one call of each is noted."""
    times = Times()
    ours()
    rival()
    gc.collect()
    was_on = gc.isenabled()
    gc.disable()
    try:
        for _ in range(turns):
            times.ours.append(_once(ours, loops_ours))
            times.rival.append(_once(rival, loops_rival))
            gc.collect(0)
    finally:
        if was_on:
            gc.enable()
    return times


def _once(work: Work, loops: int) -> float:
    begun = time.perf_counter()
    for _ in range(loops):
        work()
    return (time.perf_counter() - begun) / loops
