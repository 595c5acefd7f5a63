"""The window of a setting: all its values for which every rule holds, the rest of the system as it is.

Exact: a value belongs to the window where the full verdict of every rule over the tolerances says so. Whole ranges of
values are decided at once where floats prove a rule for all of them or against all of them, and a corner at which a
rule fails for one value is tried on its neighbours; what is left is decided value by value.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from attrs import frozen

from limitrules.engine.check import Check
from limitrules.engine.survey import Survey
from limitrules.model.quantity import Uncertain
from limitrules.rules.findings import Consequence, Verdict
from limitrules.solve.grid import Grid, grid_of
from limitrules.solve.setting import Limit, Run, Setting

LEVELS: tuple[tuple[str, frozenset[Consequence]], ...] = (
    ("safe", frozenset({Consequence.HAZARD, Consequence.DAMAGE})),
    ("without outages", frozenset({Consequence.HAZARD, Consequence.DAMAGE, Consequence.OUTAGE})),
    ("nothing stranded", frozenset(Consequence) - {Consequence.ADVICE}),
)


@frozen(eq=False)
class Edge:
    """An end of a run: ``value`` (SI) is the last one inside; ``limits`` none where the range ends there."""

    value: Fraction
    limits: tuple[Limit, ...]


@frozen(eq=False)
class Opening:
    """One run of values without a gap."""

    low: Edge
    high: Edge


@frozen(eq=False)
class Level:
    """The window for the rules of some consequence classes. ``holds``: the present value lies in it.

    ``fails``: rules that fail whatever the setting is, so that ``openings`` is empty. ``otherwise``: what the other
    rules leave, the same as ``openings`` where there are none such. ``contradict``: the smallest set of rules of which
    each leaves something and all together nothing.
    """

    name: str
    openings: tuple[Opening, ...]
    holds: bool
    fails: tuple[Limit, ...] = ()
    otherwise: tuple[Opening, ...] = ()
    contradict: tuple[Limit, ...] = ()


@frozen(eq=False)
class Window:
    """The window of one setting, from the strictest need to the mildest.

    ``now``: the present value (SI), None where it is not known. ``open``: rules that read the setting and stay
    undetermined whatever it is. ``is_proven``: none of them is a hazard. ``counted``: how many checks read it.
    """

    grid: Grid
    now: Fraction | None
    levels: tuple[Level, ...]
    open: tuple[Limit, ...]
    counted: int

    @property
    def is_proven(self) -> bool:
        return not any(limit.consequence is Consequence.HAZARD for limit in self.open)


def window_of(survey: Survey, path: str) -> Window:
    """The window of a setting under the rules of a survey, which is as before afterwards.

    Raises InputError where the path names no setting with a number.
    """
    system = survey.system
    grid = grid_of(system, path)
    now = _nominal(survey, path)
    if now is None:
        # A rule can only be tried with a value in the place of what is missing.
        survey = Survey(system.with_value(path, grid.text(0)), survey.rulepacks)
    if path not in survey.slots.index:
        return Window(grid, now, _unread(grid), (), 0)
    checks = [survey.checks[number] for number in survey.readers_of(path)]
    present = {id(check): check.verdict for check in checks} if now is not None else {}
    with_slot = Setting(survey, path, grid)
    found = [(check, with_slot.runs(check)) for check in checks]
    with_slot.restore()
    levels = tuple(_level(name, classes, found, with_slot, now, present) for name, classes in LEVELS)
    still_open = tuple(with_slot.limit(check, grid_number=0) for check, runs in found if runs is None)
    with_slot.restore()
    return Window(grid, now, levels, still_open, len(checks))


def _unread(grid: Grid) -> tuple[Level, ...]:
    """No rule reads the setting, so that none limits it."""
    whole = Opening(Edge(grid.value(0), ()), Edge(grid.value(grid.count - 1), ()))
    return tuple(Level(name, (whole,), True, otherwise=(whole,)) for name, _ in LEVELS)


def _nominal(survey: Survey, path: str) -> Fraction | None:
    value = survey.system.value(path)
    return value.content.nominal if value is not None and isinstance(value.content, Uncertain) else None


def _level(
    name: str, classes: frozenset[Consequence], found: Sequence[tuple[Check, list[Run] | None]], setting: Setting,
    now: Fraction | None, present: Mapping[int, Verdict | None],
) -> Level:  # fmt: skip
    counted = [(check, runs) for check, runs in found if runs is not None and _class_of(check) in classes]
    able = [(check, runs) for check, runs in counted if runs]
    fails = [check for check, runs in counted if not runs]
    left = _left(able, setting)
    otherwise = tuple(
        Opening(_edge(first, first - 1, able, setting), _edge(last, last + 1, able, setting)) for first, last in left
    )
    openings = () if fails else otherwise
    place = setting.grid.number(now) if now is not None else None
    # What holds now may stand between the last value of the grid that does and the limit itself.
    holds = place is not None and all(present[id(check)] in (Verdict.MET, None) for check, _ in counted)
    at = min(max(int(place), 0), setting.grid.count - 1) if place is not None else 0
    return Level(
        name, openings, holds, tuple(setting.limit(check, at) for check in fails), otherwise,
        _contradicting(able, setting) if not left else (),
    )  # fmt: skip


def _left(counted: Sequence[tuple[Check, list[Run]]], setting: Setting) -> list[Run]:
    runs = [(0, setting.grid.count - 1)]
    for _, allowed in counted:
        runs = _common(runs, allowed)
    return runs


def _contradicting(counted: Sequence[tuple[Check, list[Run]]], setting: Setting) -> tuple[Limit, ...]:
    """A smallest set of checks that leave nothing together: whatever can be left out without leaving anything is."""
    kept = list(counted)
    for item in counted:
        fewer = [other for other in kept if other is not item]
        if not _left(fewer, setting):
            kept = fewer
    limits = []
    for check, runs in kept:
        outside = next(number for number in range(setting.grid.count) if not _has(runs, number))
        limits.append(setting.limit(check, outside))
    return tuple(limits)


def _edge(inside: int, outside: int, counted: Sequence[tuple[Check, list[Run]]], setting: Setting) -> Edge:
    limits = []
    if 0 <= outside < setting.grid.count:
        limits = [setting.limit(check, outside) for check, runs in counted if not _has(runs, outside)]
    return Edge(setting.grid.value(inside), tuple(limits))


def _has(runs: Sequence[Run], number: int) -> bool:
    return any(first <= number <= last for first, last in runs)


def _common(some: Sequence[Run], others: Sequence[Run]) -> list[Run]:
    return [(max(a, c), min(b, d)) for a, b in some for c, d in others if max(a, c) <= min(b, d)]


def _class_of(check: Check) -> Consequence:
    return check.binder.rule.consequence
