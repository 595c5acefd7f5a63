"""A window is what trying every value with the full verdict would give."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path
from random import Random

import pytest

from limitrules import api
from limitrules.engine.survey import Survey
from limitrules.foundation.diagnostics import InputError
from limitrules.rules.findings import Verdict
from limitrules.solve.grid import grid_of, settings_of
from limitrules.solve.window import LEVELS, Level, Window, window_of

EXAMPLES = Path(__file__).parents[2] / "docs" / "examples"
FEWEST, TRIED = 12, 60
PACKS = api.load_rulepacks(["governing", "voltage", "protection", "discharge"])


@cache
def opened(example: str) -> Survey:
    return api.open_survey(EXAMPLES / f"{example}.yaml", PACKS)


def by_hand(survey: Survey, window: Window, level: int) -> set[int]:
    """The numbers of the values at which no check of a level fails, each tried with the full verdict."""
    grid = window.grid
    classes = LEVELS[level][1]
    still_open = {id(limit.check) for limit in window.open}
    allowed = set()
    number = survey.slots.index[grid.path]
    before = (*survey.slots.ranges[number], survey.slots.nominal[number])
    checks = [survey.checks[n] for n in survey.readers_of(grid.path)]
    for value in range(grid.count):
        survey.slots.change(grid.path, *grid.span(value, value), grid.value(value))
        verdicts = [(check, check.evaluate(survey.slots)) for check in checks]
        if all(
            verdict in (Verdict.MET, None)
            for check, verdict in verdicts
            if check.binder.rule.consequence in classes and id(check) not in still_open
        ):
            allowed.add(value)
    survey.slots.change(grid.path, *before)
    for check in checks:
        check.evaluate(survey.slots)
    return allowed


def numbers(window: Window, level: Level) -> set[int]:
    grid = window.grid
    found: set[int] = set()
    for opening in level.openings:
        first, last = grid.number(opening.low.value), grid.number(opening.high.value)
        assert first.denominator == last.denominator == 1
        found.update(range(int(first), int(last) + 1))
    return found


def small_windows() -> Iterator[tuple[str, str]]:
    """Settings of the examples with few enough values to try each, a part of them picked by chance."""
    chance = Random(11)
    for example in ("lakeside", "coldstore", "lookout"):
        survey = opened(example)
        paths = [path for path in settings_of(survey.system) if path in survey.slots.index]
        fitting = [path for path in paths if FEWEST <= grid_of(survey.system, path).count <= 700]
        yield from ((example, path) for path in chance.sample(fitting, min(TRIED // 3, len(fitting))))


@pytest.mark.parametrize(("example", "path"), list(small_windows()))
def test_a_window_is_what_every_value_gives(example: str, path: str) -> None:
    survey = opened(example)
    before = survey.verdicts
    window = window_of(survey, path)
    assert survey.verdicts == before
    for position, level in enumerate(window.levels):
        assert numbers(window, level) == by_hand(survey, window, position), level.name


def test_the_edges_name_the_rules_that_end_the_window() -> None:
    window = window_of(opened("lakeside"), "packs.south.charge.configured")
    (opening,) = window.levels[0].openings
    assert opening.low.value == 93
    assert [limit.rule for limit in opening.low.limits] == ["setting-not-above-nameplate"]
    assert opening.high.limits == ()
    assert opening.high.value == 105


def test_a_rule_that_fails_whatever_the_setting_is_is_told_apart() -> None:
    window = window_of(opened("lakeside"), "converters.main.charge.ceiling")
    outages = window.levels[1]
    assert outages.openings == ()
    assert outages.fails
    assert outages.otherwise


def test_rules_that_leave_nothing_together_are_the_fewest() -> None:
    """A charge ceiling must fit under the packs' ceiling and over what may be stranded: here both cannot be."""
    for example in ("lakeside", "coldstore", "lookout"):
        survey = opened(example)
        for path in settings_of(survey.system):
            if path not in survey.slots.index:
                continue
            for level in window_of(survey, path).levels:
                if level.contradict:
                    assert len(level.contradict) == len({id(limit.check) for limit in level.contradict})
                    assert len(level.contradict) >= 2


def test_the_tolerance_moves_with_the_value() -> None:
    grid = grid_of(opened("lakeside").system, "converters.main.charge.ceiling")
    assert grid.relative == Fraction(2, 100)
    assert grid.text(80) == "80 A ± 2 %"
    absolute = grid_of(opened("lakeside").system, "packs.south.protection.cell_over_voltage.threshold")
    assert absolute.relative == 0
    assert absolute.absolute == Fraction(1, 100)


@pytest.mark.parametrize(
    ("path", "code"),
    [("packs.south.charge.rated", "not-adjustable"), ("packs.sout.charge.configured", "no-such-path")],
)
def test_what_is_no_setting_is_refused(path: str, code: str) -> None:
    with pytest.raises(InputError) as refused:
        window_of(opened("lakeside"), path)
    assert refused.value.diagnostics[0].code == code


def test_a_tolerance_in_quotation_marks_is_a_share_all_the_same() -> None:
    system = opened("lakeside").system
    for text in ('{value: 96 A, tolerance: "2 %"}', "96 A +- 2 %"):
        changed = system.with_value("converters.main.charge.ceiling", text)
        assert grid_of(changed, "converters.main.charge.ceiling").relative == Fraction(2, 100)
    changed = system.with_value("converters.main.charge.ceiling", "{value: 96 A, tolerance: 2 A, source: plate 2 %}")
    assert grid_of(changed, "converters.main.charge.ceiling").relative == 0


def test_a_range_that_is_too_fine_is_looked_at_whole() -> None:
    path = "packs.south.protection.charge_current.delay"
    grid = grid_of(opened("lakeside").system.with_value(path, "300 s"), path)
    assert grid.value(0) <= 300 <= grid.value(grid.count - 1)
    assert grid.value(grid.count - 1) == 1200


def test_a_present_value_beside_the_grid_lies_in_its_window_where_all_rules_hold() -> None:
    path = "packs.south.charge.configured"
    whole = window_of(opened("lakeside"), path)
    lowest = whole.levels[-1].otherwise[0].low.value
    found = set()
    for tenth in range(1, 10):
        value = f"{float(lowest) - tenth / 10:g} A"
        survey = api.open_survey(opened("lakeside").system.with_value(path, value), PACKS)
        reading = [survey.checks[number] for number in survey.readers_of(path)]
        holds = all(check.verdict in (Verdict.MET, None) for check in reading)
        assert window_of(survey, path).levels[-1].holds == holds
        found.add(holds)
    assert found == {True, False}
