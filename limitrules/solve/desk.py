"""A survey in which several settings are moved, with what fails at each moment."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from limitrules.engine.check import Check
from limitrules.engine.survey import Survey
from limitrules.rules.findings import Consequence, Verdict
from limitrules.solve.grid import Grid, grid_of
from limitrules.solve.setting import Run, Setting

# What counts first: safety, then supply, then what was paid for.
CLASSES = (
    frozenset({Consequence.HAZARD, Consequence.DAMAGE}),
    frozenset({Consequence.OUTAGE}),
    frozenset({Consequence.STRANDED}),
)
FAILS = frozenset({Verdict.BREACHED, Verdict.MARGINAL})
Cost = tuple[int, ...]
_LONG = 0.3  # s
_POWER_KINDS = ("converters", "regulators", "sources")


class Desk:
    """Settings on their grids. ``moved`` has the number on its grid of each that no longer has its present value."""

    def __init__(self, survey: Survey, paths: Sequence[str]) -> None:
        self.survey = survey
        self.settings = {path: Setting(survey, path, grid_of(survey.system, path)) for path in paths}
        self.moved: dict[str, int] = {}
        self.before = {id(check): check.verdict for check in survey.checks}
        self._readers = {path: [survey.checks[n] for n in survey.readers_of(path)] for path in paths}
        self._paths: dict[int, list[str]] = {}
        self._slow: set[int] = set()
        for path, readers in self._readers.items():
            for check in readers:
                self._paths.setdefault(id(check), []).append(path)

    def grid(self, path: str) -> Grid:
        return self.settings[path].grid

    def present(self, path: str) -> Fraction:
        """The value in the document (SI)."""
        return self.settings[path].before[2]

    def value(self, path: str) -> Fraction:
        """The value it has now (SI)."""
        return self.grid(path).value(self.moved[path]) if path in self.moved else self.present(path)

    def readers(self, path: str) -> Sequence[Check]:
        return self._readers[path]

    def settings_of(self, check: Check) -> Sequence[str]:
        """The settings that a check reads, those first that are better moved."""
        return sorted(self._paths.get(id(check), []), key=reluctance)

    def move(self, path: str, number: int | None) -> None:
        """Give a setting a value of its grid, or its present one back; what reads it is evaluated."""
        self._place({path: number})
        for check in self._readers[path]:
            check.evaluate(self.survey.slots)

    def _place(self, numbers: Mapping[str, int | None]) -> None:
        for path, number in numbers.items():
            if number is None:
                self.moved.pop(path, None)
            else:
                self.moved[path] = number
            self.settings[path].place(number)

    def put(self, numbers: Mapping[str, int | None], only: Check | None = None) -> None:
        """Move several settings at once; what reads any of them is evaluated once, or ``only`` one check."""
        self._place(numbers)
        concerned = {id(check): check for path in numbers for check in self._readers[path]}
        for check in concerned.values() if only is None else (only,):
            check.evaluate(self.survey.slots)

    def restore(self, moved: Mapping[str, int]) -> None:
        """Bring the settings to where they were at some moment."""
        back: dict[str, int | None] = {path: None for path in self.moved if path not in moved}
        self.put(back | {path: number for path, number in moved.items() if self.moved.get(path) != number})

    def failing(self) -> list[Check]:
        """The checks that fail now or that cannot be decided any more, worst class first."""
        found = [check for check in self.survey.checks if self.fails(check)]
        return sorted(found, key=rank)

    def fails(self, check: Check) -> bool:
        if check.verdict in FAILS:
            return rank(check) < len(CLASSES)
        lost = check.verdict is Verdict.UNDETERMINED and self.before[id(check)] is not Verdict.UNDETERMINED
        return lost and rank(check) < len(CLASSES)

    def cost(self) -> Cost:
        """How many checks fail, by class."""
        counts = [0] * len(CLASSES)
        for check in self.survey.checks:
            if self.fails(check):
                counts[rank(check)] += 1
        return tuple(counts)

    def runs(self, path: str) -> list[tuple[Check, list[Run]]]:
        """For each check that a setting can decide: the values at which it holds, all other settings as they are."""
        found = [(check, self._runs(path, check)) for check in self._readers[path]]
        self.settings[path].place(self.moved.get(path))
        for check in self._readers[path]:
            check.evaluate(self.survey.slots)
        return [(check, allowed) for check, allowed in found if allowed is not None]

    def runs_of(self, path: str, check: Check) -> list[Run]:
        """The same of one check alone; none where the setting cannot decide it."""
        found = self._runs(path, check)
        self.settings[path].place(self.moved.get(path))
        check.evaluate(self.survey.slots)
        return found or []

    def _runs(self, path: str, check: Check) -> list[Run] | None:
        """The values at which a check holds, None where the setting cannot decide it; the setting is left anywhere."""
        if rank(check) >= len(CLASSES) or id(check) in self._slow:
            return None
        # A check that takes this long is only asked where a setting has really been moved.
        try:
            return self.settings[path].runs(check, _LONG)
        except TimeoutError:
            self._slow.add(id(check))
            return None


def reluctance(path: str) -> int:
    """How late a setting comes to be moved: what a source gives first, a protection and the frame of a site last."""
    if path.startswith("site."):
        return 4
    if ".protection." not in path:
        return 0 if is_ceiling(path) else 1
    # Where a protection acts is moved later than how it warns and lets go.
    return 3 if path.rpartition(".protection.")[2].count(".") == 1 else 2


def is_ceiling(path: str) -> bool:
    """True for a setting that limits what a source gives or takes."""
    kind, _, rest = path.partition(".")
    return kind in _POWER_KINDS and rest.rpartition(".")[2] in ("ceiling", "configured")


def rank(check: Check) -> int:
    """The place of a check's class among those that count; beyond them for advice."""
    consequence = check.binder.rule.consequence
    return next((n for n, classes in enumerate(CLASSES) if consequence in classes), len(CLASSES))
