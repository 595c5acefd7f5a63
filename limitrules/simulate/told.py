"""What a rehearsal tells, as plain data: moments, traces, figures, and what they rest on."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from enum import Enum

from attrs import frozen

from limitrules.model.system import System
from limitrules.simulate.plant import Watch


class What(Enum):
    """What happens at a moment."""

    EVENT = "event"
    GOVERNS = "governs"
    ORDER = "order"
    EXCEEDED = "exceeded"
    BACK = "back"
    ACTED = "acted"
    LOCKED = "locked"
    RELEASED = "released"
    HEARD = "heard"
    SILENT = "silent"
    FALLBACK = "fallback"
    LIMITED = "limited"
    AFLOAT = "afloat"
    DARK = "dark"
    RESTLESS = "restless"


@frozen(eq=False)
class Moment:
    """Something that happens at ``time`` (s) to ``path``, with the figure that belongs to it (SI, with its unit)."""

    time: float
    what: What
    path: str
    figure: float = math.nan
    unit: str = ""
    watch: Watch | None = None
    words: str = ""


@frozen(eq=False)
class Reach:
    """How far a figure went towards a level at which something acts (SI).

    ``peak``: its furthest value on that side. ``longest``: longest time without a break at or above the level (s);
    ``total``: all such time together. ``acted_at``: when it acted, None where it did not.
    """

    watch: Watch
    peak: float
    longest: float
    total: float
    acted_at: float | None

    @property
    def share(self) -> float:
        """How near it came to acting: 1 or more where it acted, the share of the delay that ran, else below 0."""
        if self.acted_at is not None:
            beyond = max(0.0, (self.peak - self.watch.level) * self.watch.sign) / max(abs(self.watch.level), 1e-12)
            return 1.0 + beyond / (1.0 + beyond)
        if self.longest > 0.0:
            return min(1.0, self.longest / self.watch.delay) if self.watch.delay > 0.0 else 1.0
        gap = (self.watch.level - self.peak) * self.watch.sign
        return -gap / max(abs(self.watch.level), 1e-12)


@frozen(eq=False)
class PackFigures:
    """One pack: highest charge and discharge current (A, both positive), charge (As) and time (s) above its ceiling."""

    path: str
    charge_peak: float
    discharge_peak: float
    ceiling: float
    time_above_ceiling: float
    charge_above_ceiling: float


@frozen(eq=False)
class Outcome:
    """``first``: what acted first. ``settled_at``: from when on the current into the packs stays near its end (s)."""

    packs: tuple[PackFigures, ...]
    reaches: tuple[Reach, ...]
    first: Moment | None
    highest_voltage: float
    lowest_voltage: float
    settled_at: float
    charge: float

    @property
    def severity(self) -> float:
        """One figure to compare courses by: the higher, the nearer to losing supply or equipment."""
        return severity_of(self.reaches)


def severity_of(reaches: Sequence[Reach]) -> float:
    """How near it came to acting, and two for everything that acted."""
    acted = sum(reach.acted_at is not None for reach in reaches)
    return max((reach.share for reach in reaches), default=-math.inf) + 2.0 * acted


@frozen(eq=False)
class Trace:
    """A figure over time (s), straight between its points. ``path``: whose it is; ``name``: what of it."""

    path: str
    name: str
    unit: str
    times: tuple[float, ...]
    values: tuple[float, ...]


@frozen(eq=False)
class Story:
    """``outcome`` is None for a descent to the reserve, which no protection watches."""

    moments: tuple[Moment, ...]
    traces: tuple[Trace, ...]
    outcome: Outcome | None
    is_dark: bool
    is_restless: bool = False

    @property
    def ends(self) -> float:
        """The time (s) at which it ends."""
        return max((trace.times[-1] for trace in self.traces if trace.times), default=0.0)


@frozen
class Need:
    """A figure that the document does not give: its path, what it is, and what would be assumed (or empty)."""

    path: str
    meaning: str
    assumed: str = ""


@frozen(eq=False)
class Worst:
    """The worst corner found: ``at`` gives the figures by path (SI), ``tried`` how many corners were simulated.

    ``matters``: the paths whose deviation made it worse, those that did most first.
    """

    at: Mapping[str, float]
    severity: float
    tried: int
    matters: tuple[str, ...]


@frozen(eq=False)
class Rehearsal:
    """What came of an event on a system.

    ``event``: its name. ``title``: what it is. ``words``: how the site stands and what happens. ``taken``: what is
    taken for granted, in words. ``assumed``: figures the document lacks, with what was put in their place. ``worst``:
    the same at the worst corner that was found, at ``corner``; None where no figure it reads has a tolerance.
    """

    system: System
    event: str
    title: str
    words: str
    nominal: Story
    worst: Story | None
    corner: Worst | None
    taken: tuple[str, ...]
    assumed: tuple[Need, ...]

    @property
    def stories(self) -> tuple[Story, ...]:
        return (self.nominal,) if self.worst is None else (self.nominal, self.worst)

    @property
    def loses(self) -> bool:
        """True where supply is lost, or something acts, nominally or at the worst corner."""
        outcomes = [(story, story.outcome) for story in self.stories if story.outcome is not None]
        return any(story.is_dark or outcome.first is not None for story, outcome in outcomes)
