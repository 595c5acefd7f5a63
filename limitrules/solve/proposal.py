"""Values for several settings together: first safe, then without outages, then nothing stranded, then more power.

A search, and no proof that nothing better exists; what is proved is every finding at the proposed values, since each
is the full verdict over all tolerances. Settings are moved one at a time to where the fewest rules fail; where that
is not enough, a failing rule is met first and what then fails is met in turn, a few steps deep.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Mapping, Sequence
from fractions import Fraction
from itertools import pairwise

from attrs import frozen

from limitrules.engine.cases import subject_of
from limitrules.engine.check import Check
from limitrules.engine.survey import Survey
from limitrules.foundation.diagnostics import InputError
from limitrules.model.quantity import Uncertain
from limitrules.model.system import System
from limitrules.rules.findings import SurveyResult
from limitrules.solve.desk import Cost, Desk, is_ceiling, rank, reluctance
from limitrules.solve.grid import Grid, settings_of
from limitrules.solve.setting import Run
from limitrules.solve.switches import Switch, switched

_SWEEPS, _DEEPEST, _MOST_STEPS, _SHARES = 6, 4, 400, 256
# Sources are never lowered to less than a quarter: whoever needs that needs another site, not another setting.
_LEAST_SHARE = _SHARES // 4
Progress = Callable[[str], None]


@frozen(eq=False)
class Entry:
    """One line of the settings sheet: ``now`` and ``proposed`` in SI; ``cures``: rules that failed and now hold.

    ``gain``: W that it adds to what a source may give or take at the nominal bus voltage, None where it is no ceiling.
    """

    grid: Grid
    now: Fraction
    number: int
    cures: tuple[str, ...]
    gain: Fraction | None

    @property
    def proposed(self) -> Fraction:
        return self.grid.value(self.number)

    @property
    def text(self) -> str:
        """As it is written in a document."""
        return self.grid.text(self.number)


@frozen(eq=False)
class Remaining:
    """A finding that the proposal does not cure, and whether any setting could: the settings that it reads."""

    rule: str
    subject: str
    settings: tuple[str, ...]


@frozen(eq=False)
class Proposal:
    """The settings sheet, the system with it, and the surveys before and after.

    ``is_complete``: the search came to its end before the time was up.
    """

    system: System
    switches: tuple[Switch, ...]
    entries: tuple[Entry, ...]
    before: SurveyResult
    after: SurveyResult
    remaining: tuple[Remaining, ...]
    tried: int
    is_complete: bool


def propose(
    survey: Survey,
    paths: Collection[str] | None = None,
    fixed: Collection[str] = (),
    more_power: bool = False,
    seconds: float = 60.0,
    progress: Progress | None = None,
) -> Proposal:
    """Propose values for the settings named (default: all with a number), apart from those that are ``fixed``.

    ``more_power``: raise the ceilings of sources too, as far as the rules allow.

    The survey is as before afterwards. Raises InputError where a path names no setting.
    """
    until = time.monotonic() + seconds
    system = survey.system
    for path in (*(paths or ()), *fixed):
        system.attribute(path)
    before = survey.result()
    ready, switches = switched(survey, paths, fixed, until)
    wanted = paths if paths is not None else settings_of(system)
    able = [path for path in wanted if path not in fixed and path in ready.slots.index and _is_number(system, path)]
    search = _Search(ready, able, until, progress)
    search.run(more_power)
    desk = search.desk
    moved = dict(desk.moved)
    cured = [check for check in search.failed if not desk.fails(check)]
    remaining = tuple(
        Remaining(check.binder.rule.id, (subject_of(check) or "site"), tuple(desk.settings_of(check)))
        for check in desk.failing()
    )
    desk.restore({})
    entries = tuple(
        _entry(desk, system, path, moved[path], [check for check in cured if path in desk.settings_of(check)])
        for path in desk.settings
        if path in moved
    )
    changed = ready.system
    for entry in entries:
        changed = changed.with_value(entry.grid.path, entry.text)
    # The verdict engine has the last word: the changed system is surveyed from the beginning.
    after = Survey(changed, survey.rulepacks, survey.concessions).result()
    return Proposal(changed, switches, entries, before, after, remaining, search.tried, search.is_complete)


def _is_number(system: System, path: str) -> bool:
    value = system.value(path)
    return value is not None and isinstance(value.content, Uncertain)


def _entry(desk: Desk, system: System, path: str, number: int, cures: Sequence[Check]) -> Entry:
    grid, now = desk.grid(path), desk.present(path)
    gain = None
    if is_ceiling(path) and path.endswith(".ceiling") and grid.attribute.unit is not None:
        symbol, voltage = grid.attribute.unit.symbol, _voltage(system)
        factor = Fraction(1) if symbol == "W" else voltage if symbol == "A" else None
        gain = (grid.value(number) - now) * factor if factor is not None else None
    return Entry(grid, now, number, tuple(dict.fromkeys(check.binder.rule.id for check in cures)), gain)


def _voltage(system: System) -> Fraction | None:
    try:
        value = system.value("site.dc.voltage.nominal")
    except InputError:
        return None
    return value.content.nominal if value is not None and isinstance(value.content, Uncertain) else None


class _Search:
    def __init__(self, survey: Survey, paths: Sequence[str], until: float, progress: Progress | None) -> None:
        self.desk = Desk(survey, paths)
        self.paths = list(paths)
        self.progress = progress
        self.until = until
        self.tried = 0
        self.is_complete = True
        self.failed = self.desk.failing()

    def run(self, more_power: bool) -> None:
        self._share_out()
        self._sweep()
        self._chains()
        self._sweep()
        if more_power:
            self._raise()
        self._take_back()

    def _is_late(self) -> bool:
        if time.monotonic() < self.until:
            return False
        self.is_complete = False
        return True

    def _tell(self) -> None:
        if self.progress is not None:
            self.progress(f"{self.tried} values tried; failing now: {sum(self.desk.cost())}")

    # one setting at a time

    def _sweep(self) -> None:
        """Move each setting that a failing check reads to where the fewest checks fail, until none helps."""
        for _ in range(_SWEEPS):
            before = self.desk.cost()
            for path in self._concerned():
                if self._is_late():
                    return
                self._improve(path)
            if self.desk.cost() == before:
                return

    def _concerned(self) -> list[str]:
        found: dict[str, None] = {}
        for check in self.desk.failing():
            for path in self.desk.settings_of(check):
                found[path] = None
        return list(found)

    def _improve(self, path: str) -> bool:
        desk = self.desk
        before, held = desk.cost(), desk.moved.get(path)
        cost, number = self._best(path)
        if number is None or not _is_gain(before, cost):
            return False
        desk.move(path, number)
        self.tried += 1
        if not _is_gain(before, desk.cost()):
            desk.move(path, held)
            return False
        self._tell()
        return True

    def _best(self, path: str) -> tuple[Cost, int | None]:
        """The least cost that this setting alone can bring, and the nearest value for it."""
        desk = self.desk
        runs = desk.runs(path)
        others = list(desk.cost())
        for check, _ in runs:
            others[rank(check)] -= desk.fails(check)
        pieces = _pieces(runs, desk.grid(path).count)
        if not pieces:
            return desk.cost(), None
        if is_ceiling(path):
            least = float(desk.grid(path).number(desk.present(path))) * _LEAST_SHARE / _SHARES
            pieces = [piece for piece in pieces if piece[1] >= least]
        costs = {piece: _with(others, runs, piece) for piece in pieces}
        lowest = min(costs.values())
        number = self._nearest(path, [piece for piece in pieces if costs[piece] == lowest])
        return lowest, number

    def _nearest(self, path: str, pieces: Sequence[Run]) -> int:
        """The value nearest to the present one, and one step further inside where there is room.

        Nothing is moved further than it must be: beyond the rules that look at it, others may rely on a setting.
        """
        present = float(self.desk.grid(path).number(self.desk.present(path)))
        piece = min(pieces, key=lambda item: _apart(item, present))
        first, last = piece
        near = min(max(round(present), first), last)
        inwards = (near == first and present < first) - (near == last and present > last)
        return near if is_ceiling(path) else min(max(near + inwards, first), last)

    # several sources at once

    def _share_out(self) -> None:
        """Where a check reads several ceilings of sources, lower them all by the same share, as little as it takes."""
        for check in self.desk.failing():
            ceilings = [path for path in self.desk.settings_of(check) if is_ceiling(path)]
            for way in (".charge.", ".discharge."):
                alike = [path for path in ceilings if way in path]
                if len(alike) > 1 and self.desk.fails(check) and not self._is_late():
                    self._scale(check, alike)

    def _scale(self, check: Check, ceilings: Sequence[str]) -> None:
        desk = self.desk
        start, moved = desk.cost(), dict(desk.moved)
        values = {path: desk.value(path) for path in ceilings}
        # The check fails at the whole; the largest share at which it holds is looked for, down to the least.
        low, high = _LEAST_SHARE, _SHARES
        while high - low > 1:
            middle = (low + high) // 2
            self._put_share(values, middle, check)
            low, high = (middle, high) if not desk.fails(check) else (low, middle)
        self._put_share(values, low)
        if desk.fails(check) or not _is_gain(start, desk.cost()):
            desk.restore(moved)
            return
        self._tell()

    def _put_share(self, values: Mapping[str, Fraction], share: int, only: Check | None = None) -> None:
        numbers: dict[str, int | None] = {}
        for path, value in values.items():
            grid = self.desk.grid(path)
            numbers[path] = min(max(int(grid.number(value * share / _SHARES)), 0), grid.count - 1)
        self.desk.put(numbers, only)
        self.tried += 1

    # several settings, one after the other

    def _chains(self) -> None:
        """Meet a failing check at the price of others, and those in turn, where that ends with fewer that fail."""
        for check in self.desk.failing():
            if self._is_late():
                return
            if self.desk.fails(check):
                self._chain(check)

    def _chain(self, check: Check) -> None:
        desk = self.desk
        start, moved = desk.cost(), dict(desk.moved)
        best, found = start, moved
        self._steps = 0
        for path in desk.settings_of(check):
            cost, place = self._follow(check, path, frozenset(), start, _DEEPEST)
            if cost < best and _is_gain(start, cost):
                best, found = cost, place
            desk.restore(moved)
        desk.restore(found)
        self._tell()

    def _follow(
        self, check: Check, path: str, held: frozenset[str], goal: Cost, depth: int
    ) -> tuple[Cost, dict[str, int]]:
        """The best that comes of meeting ``check`` by this setting: cost and the settings that were moved."""
        desk = self.desk
        self._steps += 1
        here = (desk.cost(), dict(desk.moved))
        if self._steps > _MOST_STEPS or self._is_late():
            return here
        runs = desk.runs_of(path, check)
        if not runs:
            return here
        present = float(desk.grid(path).number(desk.value(path)))
        piece = min(runs, key=lambda run: _apart(run, present))
        desk.move(path, min(max(round(present), piece[0]), piece[1]))
        self.tried += 1
        best = (desk.cost(), dict(desk.moved))
        if best[0] < goal or depth == 1:
            return best
        held |= {path}
        for other in [item for item in desk.failing() if item in desk.readers(path) and item is not check]:
            for next_path in desk.settings_of(other):
                if next_path in held:
                    continue
                moved = dict(desk.moved)
                found = self._follow(other, next_path, held, min(goal, best[0]), depth - 1)
                desk.restore(moved)
                if found[0] < best[0]:
                    best = found
            if best[0] < goal:
                break
        return best

    # fewest changes

    def _take_back(self) -> None:
        """Give settings their present values back where nothing more fails then, the most reluctant ones first."""
        desk = self.desk
        for path in sorted(desk.moved, key=lambda path: -reluctance(path)):
            if self._is_late():
                return
            cost, number = desk.cost(), desk.moved[path]
            is_raised = is_ceiling(path) and desk.value(path) > desk.present(path)
            if is_raised:
                continue
            desk.move(path, None)
            if desk.cost() > cost:
                desk.move(path, number)

    # more power

    def _raise(self) -> None:
        """Raise the ceilings of sources as far as no rule fails that did not fail before, the largest gain first."""
        desk = self.desk
        for path in [path for path in self.paths if is_ceiling(path) and path.endswith(".ceiling")]:
            if self._is_late():
                return
            number = self._highest(path)
            if number is not None and desk.grid(path).value(number) > desk.value(path):
                desk.move(path, number)
                self._tell()

    def _highest(self, path: str) -> int | None:
        desk = self.desk
        present = float(desk.grid(path).number(desk.value(path)))
        failing = [check for check in desk.readers(path) if desk.fails(check)]
        runs = [(check, runs) for check, runs in desk.runs(path) if check not in failing]
        pieces = [piece for piece in _pieces(runs, desk.grid(path).count) if all(_all_in(piece, r) for _, r in runs)]
        tops = [last for first, last in pieces if first <= present <= last + 1]
        return max(tops, default=None)


def _is_gain(before: Cost, after: Cost) -> bool:
    """True where fewer fail in the classes that count first, and fewer in all: no cure that breaks as much again."""
    return after < before and sum(after) < sum(before)


def _pieces(runs: Sequence[tuple[Check, list[Run]]], count: int) -> list[Run]:
    """The grid cut wherever a check begins or ceases to hold."""
    cuts = {0, count}
    for _, allowed in runs:
        for first, last in allowed:
            cuts |= {first, last + 1}
    ordered = sorted(cuts)
    return [(first, after - 1) for first, after in pairwise(ordered)]


def _with(others: Sequence[int], runs: Sequence[tuple[Check, list[Run]]], piece: Run) -> Cost:
    counts = list(others)
    for check, allowed in runs:
        counts[rank(check)] += not _all_in(piece, allowed)
    return tuple(counts)


def _all_in(piece: Run, allowed: Sequence[Run]) -> bool:
    return any(first <= piece[0] and piece[1] <= last for first, last in allowed)


def _apart(piece: Run, present: float) -> float:
    return max(piece[0] - present, present - piece[1], 0.0)
