"""The window of a setting: all its values for which every rule holds, the rest of the system as it is.

Exact: a value belongs to the window where the full verdict of every rule over the tolerances says so. Whole ranges of
values are decided at once where floats prove a rule for all of them or against all of them, and a corner at which a
rule fails for one value is tried on its neighbours; what is left is decided value by value.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction

from attrs import frozen

from limitrules.engine.check import Check
from limitrules.engine.finding import deciding_comparison
from limitrules.engine.survey import Survey
from limitrules.foundation.exact import floats_around
from limitrules.foundation.units import Unit
from limitrules.language import ground as g
from limitrules.language.shadow import LogicalShadow, shadow_truth
from limitrules.model.quantity import Uncertain
from limitrules.rules.findings import Consequence, Verdict
from limitrules.solve.grid import Grid, grid_of

Run = tuple[int, int]  # the first and the last number of values in a row
LEVELS: tuple[tuple[str, frozenset[Consequence]], ...] = (
    ("safe", frozenset({Consequence.HAZARD, Consequence.DAMAGE})),
    ("without outages", frozenset({Consequence.HAZARD, Consequence.DAMAGE, Consequence.OUTAGE})),
    ("nothing stranded", frozenset(Consequence) - {Consequence.ADVICE}),
)


@frozen(eq=False)
class Limit:
    """A rule that ends a window: what it finds at the first value outside.

    ``headroom``: its worst headroom there (SI), None where there is none to tell.
    """

    rule: str
    rulepack: str
    subject: str
    consequence: Consequence
    verdict: Verdict
    headroom: Fraction | None
    unit: Unit | None
    check: Check


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
    with_slot = _Setting(survey, path, grid)
    found = [(check, with_slot.runs(check)) for check in checks]
    with_slot.restore()
    levels = tuple(_level(name, classes, found, with_slot, now) for name, classes in LEVELS)
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
    name: str, classes: frozenset[Consequence], found: Sequence[tuple[Check, list[Run] | None]], setting: _Setting,
    now: Fraction | None,
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
    holds = not fails and place is not None and any(first <= place <= last for first, last in left)
    at = min(max(int(place), 0), setting.grid.count - 1) if place is not None else 0
    return Level(
        name, openings, holds, tuple(setting.limit(check, at) for check in fails), otherwise,
        _contradicting(able, setting) if not left else (),
    )  # fmt: skip


def _left(counted: Sequence[tuple[Check, list[Run]]], setting: _Setting) -> list[Run]:
    runs = [(0, setting.grid.count - 1)]
    for _, allowed in counted:
        runs = _common(runs, allowed)
    return runs


def _contradicting(counted: Sequence[tuple[Check, list[Run]]], setting: _Setting) -> tuple[Limit, ...]:
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


def _edge(inside: int, outside: int, counted: Sequence[tuple[Check, list[Run]]], setting: _Setting) -> Edge:
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


class _Setting:
    """One slot of a survey that is moved over its grid, and put back."""

    def __init__(self, survey: Survey, path: str, grid: Grid) -> None:
        self.survey, self.grid = survey, grid
        self.slots = survey.slots
        self.number = survey.slots.index[path]
        self.before = (*survey.slots.ranges[self.number], survey.slots.nominal[self.number])
        self.path = path
        self.touched: list[Check] = []
        self._conditions: dict[Check, LogicalShadow] = {}

    def _condition(self, check: Check) -> LogicalShadow:
        assert check.condition is not None
        if check not in self._conditions:
            self._conditions[check] = shadow_truth(check.condition)
        return self._conditions[check]

    def restore(self) -> None:
        """Put the present value back and evaluate what was evaluated elsewhere."""
        self.slots.change(self.path, *self.before)
        for check in self.touched:
            check.evaluate(self.slots)
        self.touched = []

    def _put(self, first: int, last: int) -> None:
        low, high = self.grid.span(first, last)
        middle = self.grid.value(first) if first == last else (low + high) / 2
        self.slots.change(self.path, low, high, middle)

    def verdict(self, check: Check, number: int) -> Verdict | None:
        """The full verdict with the setting at one value."""
        self._put(number, number)
        if check not in self.touched:
            self.touched.append(check)
        return check.evaluate(self.slots)

    def limit(self, check: Check, grid_number: int) -> Limit:
        """What a check finds with the setting at one value."""
        verdict = self.verdict(check, grid_number)
        rule, subjects = check.binder.rule, check.binder.names.components.values()
        headroom, unit = None, None
        if verdict in (Verdict.BREACHED, Verdict.MARGINAL):
            worst = check.worst(self.slots)
            comparison = deciding_comparison(check, worst, self.slots)
            headroom = worst.value if isinstance(worst.value, Fraction) else None
            unit = comparison.unit if comparison is not None else None
        subject = ", ".join(record.path for record in subjects) or "site"
        assert verdict is not None
        return Limit(rule.id, rule.rulepack, subject, rule.consequence, verdict, headroom, unit, check)

    def runs(self, check: Check) -> list[Run] | None:
        """The runs of values at which a check holds or does not apply; None where it is undetermined everywhere."""
        allowed: list[Run] = []
        stack: list[Run] = [(0, self.grid.count - 1)]
        seen: set[Verdict | None] = set()
        while stack:
            first, last = stack.pop()
            for_all = self._for_all(check, first, last)
            if for_all is not None:
                seen.add(Verdict.MET if for_all else Verdict.BREACHED)
                if for_all:
                    allowed.append((first, last))
                continue
            middle = (first + last) // 2
            found = self.verdict(check, middle)
            seen.add(found)
            if found in (Verdict.MET, None):
                allowed.append((middle, middle))
            elif self._fails_alike(check, found, first, last):
                continue
            stack += [run for run in ((middle + 1, last), (first, middle - 1)) if run[0] <= run[1]]
        return None if seen == {Verdict.UNDETERMINED} else _merged(allowed)

    def _for_all(self, check: Check, first: int, last: int) -> bool | None:
        """True: a check holds or does not apply for all values of a run. False: for none. None: floats cannot tell."""
        self._put(first, last)
        shadows = self.slots.shadows
        if check.condition is not None:
            applies = self._condition(check)(shadows)
            if applies is False:
                return True
            if applies is None:
                return True if check.test(shadows) is True else None
        return check.test(shadows)

    def _fails_alike(self, check: Check, found: Verdict, first: int, last: int) -> bool:
        """True where all values of a run are like the one in its middle, which does not hold.

        Where the others stay at the corner at which the middle one fails, the rule may fail for the whole run.
        """
        if found is Verdict.UNDETERMINED:
            ends = {self.verdict(check, first), self.verdict(check, last)}
            return ends == {Verdict.UNDETERMINED} and bool(g.gaps_of(check.whole))
        place = check.worst(self.slots).place
        if not place:
            return False
        self._put(first, last)
        corner = list(self.slots.shadows)
        for number, value in place.items():
            if number != self.number:
                corner[number] = floats_around(value)
        if check.condition is not None and self._condition(check)(corner) is not True:
            return False
        return check.test(corner) is False


def _merged(runs: Sequence[Run]) -> list[Run]:
    made: list[Run] = []
    for first, last in sorted(runs):
        if made and first == made[-1][1] + 1:
            made[-1] = (made[-1][0], last)
        else:
            made.append((first, last))
    return made


def windows_of(survey: Survey, paths: Sequence[str], progress: Callable[[int, int], None] | None = None) -> (
    Iterator[Window]
):  # fmt: skip
    """The windows of several settings, one after the other."""
    for number, path in enumerate(paths):
        yield window_of(survey, path)
        if progress is not None:
            progress(number + 1, len(paths))
