"""How a watch runs: idle, counting its delay, acted, letting go again or locked out."""

from __future__ import annotations

import math
from collections.abc import Callable
from enum import Enum

from limitrules.simulate.plant import Watch
from limitrules.simulate.signals import Signal, first_reach, next_reach


class Phase(Enum):
    IDLE = "idle"
    COUNTING = "counting"
    ACTED = "acted"
    LETTING_GO = "letting go"
    LOCKED = "locked"


class Step(Enum):
    """What a watch does next."""

    EXCEEDED = "exceeded"
    BACK = "back"
    ACTS = "acts"
    RELEASING = "releasing"
    HELD = "held"
    RELEASES = "releases"
    TURNS = "turns"


class Running:
    """One watch over time. ``follow`` says when it does something next; ``advance`` moves it on; ``take`` does it."""

    def __init__(self, watch: Watch, figure: float) -> None:
        self.watch = watch
        self.phase = Phase.IDLE
        self.due = math.inf  # seconds of the count that are left
        self.acts = 0
        self.next = (math.inf, Step.EXCEEDED)
        signed = watch.sign * figure
        self._filtered = signed
        self._heat = (signed / watch.level) ** 2 if watch.heating_time and signed > 0.0 else 0.0
        self._heats = signed > 0.0
        self._seen: Signal | None = None
        self._level_of: Callable[[float], float] = _as_it_is

    @property
    def is_blocking(self) -> bool:
        return self.phase in (Phase.ACTED, Phase.LETTING_GO, Phase.LOCKED)

    def follow(
        self, figure: Signal, bounds: tuple[float, float], within: float,
        level_of: Callable[[float], float] | None = None,
    ) -> float:  # fmt: skip
        """Seconds until it does something, at most looked for ``within`` s; ``bounds`` are those of the figure.

        ``level_of``: makes a level of the watch one of the figure, where the figure is given as something else.
        """
        watch = self.watch
        low, high = bounds
        top = high if watch.sign > 0 else -low
        bottom = low if watch.sign > 0 else -high
        self._seen, self._level_of = None, level_of or _as_it_is
        level = self._level(watch.level)
        if self.phase is Phase.LOCKED:
            self.next = (math.inf, Step.EXCEEDED)
        elif watch.heating_time and not self.is_blocking:
            self.next = self._until_hot(figure, within)
        elif self.phase is Phase.IDLE:
            if max(top, self._filtered if watch.filter_time else top) < level:
                self.next = (math.inf, Step.EXCEEDED)
            else:
                self.next = (next_reach(self._signal(figure), level, True, within), Step.EXCEEDED)
        elif self.phase is Phase.COUNTING:
            self.next = (self.due, Step.ACTS)
            if min(bottom, self._filtered if watch.filter_time else bottom) < level:
                back = next_reach(self._signal(figure), level, False, min(within, self.due))
                if back < self.due or not back:
                    self.next = (back, Step.BACK)
        else:
            self.next = self._until_release(figure, within)
        return self.next[0]

    def advance(self, figure: Signal, seconds: float) -> None:
        """Move on by ``seconds`` along the signals followed last."""
        if self.watch.filter_time:
            self._filtered = self._signal(figure)(seconds)
        if self.watch.heating_time:
            self._heat = self._hot(figure)(seconds)
        if self.phase in (Phase.COUNTING, Phase.LETTING_GO):
            self.due -= seconds

    def reading(self, figure: Signal, seconds: float) -> float:
        """What the watch itself reads ``seconds`` on: the figure behind its filter."""
        return self.watch.sign * (self._filtered if self.watch.filter_time else self._signal(figure)(seconds))

    def take(self) -> Step:
        """Do what ``next`` says."""
        step = self.next[1]
        if step is Step.EXCEEDED:
            self.phase, self.due = Phase.COUNTING, self.watch.delay
        elif step is Step.BACK:
            self.phase, self.due = Phase.IDLE, math.inf
        elif step is Step.ACTS:
            self.acts += 1
            self.phase, self.due = (Phase.LOCKED if self._is_last() else Phase.ACTED), math.inf
        elif step is Step.RELEASING:
            self.phase, self.due = Phase.LETTING_GO, self.watch.release_delay
        elif step is Step.HELD:
            self.phase, self.due = Phase.ACTED, math.inf
        elif step is Step.TURNS:
            self._heats = not self._heats
        else:
            self.phase, self.due = Phase.IDLE, math.inf
        return step

    def _is_last(self) -> bool:
        retries = self.watch.retries
        return self.watch.release is None or (retries is not None and self.acts > retries)

    def _until_hot(self, figure: Signal, within: float) -> tuple[float, Step]:
        signal, near = self._signal(figure), 1e-9 * abs(self.watch.level)
        value = signal(0.0)
        if abs(value) > near:
            self._heats = value > 0.0
        hot = first_reach(self._hot(figure), 1.0, True, within)
        turn = first_reach(signal, -near if self._heats else near, not self._heats, min(within, hot))
        return (hot, Step.ACTS) if hot <= turn else (turn, Step.TURNS)

    def _until_release(self, figure: Signal, within: float) -> tuple[float, Step]:
        watch = self.watch
        assert watch.release is not None
        signal, level = self._signal(figure), self._level(watch.release)
        if self.phase is Phase.ACTED:
            return first_reach(signal, level, False, within), Step.RELEASING
        again = _next_above(signal, level, min(within, self.due))
        return (again, Step.HELD) if again < self.due else (self.due, Step.RELEASES)

    def _level(self, level: float) -> float:
        """A level with the sign that makes too much of it high."""
        return self.watch.sign * self._level_of(level)

    def _signal(self, figure: Signal) -> Signal:
        """What stands before the threshold, with the sign that makes too much of it high."""
        if self._seen is None:
            signed = figure if self.watch.sign > 0 else figure.affine(-1.0, 0.0)
            filter_time = self.watch.filter_time
            self._seen = signed.filtered(filter_time, self._filtered) if filter_time else signed
        return self._seen

    def _hot(self, figure: Signal) -> Signal:
        """The heat of an inverse characteristic, one where it acts; a current the other way does not heat."""
        share = self._signal(figure).affine(1.0 / self.watch.level if self._heats else 0.0, 0.0)
        return (share * share).filtered(self.watch.heating_time, self._heat)


def _as_it_is(level: float) -> float:
    return level


def _next_above(signal: Signal, level: float, within: float) -> float:
    """When a signal leaves a level upwards; resting at it is not above it."""
    found = next_reach(signal, level, True, within)
    return found if found > 0.0 or signal.slope()(0.0) > 0.0 or signal(0.0) > level else math.inf
