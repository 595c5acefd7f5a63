"""One setting of a survey, moved over its grid and put back, and the values at which a check holds."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from fractions import Fraction

from attrs import frozen

from limitrules.engine.cases import subject_of
from limitrules.engine.check import Check
from limitrules.engine.finding import deciding_comparison
from limitrules.engine.survey import Survey
from limitrules.foundation.exact import floats_around
from limitrules.foundation.units import Unit
from limitrules.language import ground as g
from limitrules.rules.findings import Consequence, Verdict
from limitrules.solve.grid import Grid

Run = tuple[int, int]  # the first and the last number of values in a row


def moves_protection(path: str) -> bool:
    """True where a setting is the threshold or the delay of a protection of a pack."""
    head, _, last = path.rpartition(".")
    return ".protection." in head and last in ("threshold", "delay") and head.count(".") == 3


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


class Setting:
    """One slot of a survey that is moved over its grid, and put back."""

    def __init__(self, survey: Survey, path: str, grid: Grid) -> None:
        self.survey, self.grid = survey, grid
        self.slots = survey.slots
        self.number = survey.slots.index[path]
        self.before = (*survey.slots.ranges[self.number], survey.slots.nominal[self.number])
        self.path = path
        self.touched: list[Check] = []

    def restore(self) -> None:
        """Put the present value back and evaluate what was evaluated elsewhere."""
        self.slots.change(self.path, *self.before)
        for check in self.touched:
            check.evaluate(self.slots)
        self.touched = []

    def place(self, number: int | None) -> None:
        """Leave the setting at a value of its grid, or at its present one."""
        if number is None:
            self.slots.change(self.path, *self.before)
        else:
            self._put(number, number)

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
        rule = check.binder.rule
        headroom, unit = None, None
        if verdict in (Verdict.BREACHED, Verdict.MARGINAL):
            worst = check.worst(self.slots)
            comparison = deciding_comparison(check, worst, self.slots)
            headroom = worst.value if isinstance(worst.value, Fraction) else None
            unit = comparison.unit if comparison is not None else None
        assert verdict is not None
        return Limit(
            rule.id, rule.rulepack, subject_of(check) or "site", rule.consequence, verdict, headroom, unit, check
        )

    def runs(self, check: Check, seconds: float = math.inf) -> list[Run] | None:
        """The runs of values at which a check holds or does not apply; None where it is undetermined everywhere.

        Raises TimeoutError where that takes longer than ``seconds``.
        """
        until = time.monotonic() + seconds
        allowed: list[Run] = []
        stack: list[Run] = [(0, self.grid.count - 1)]
        seen: set[Verdict | None] = set()
        while stack:
            if time.monotonic() > until:
                raise TimeoutError
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
            applies = check.scope(shadows)
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
        if check.condition is not None and check.scope(corner) is not True:
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
