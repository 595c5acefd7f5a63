"""A survey in which values are changed finds what a fresh survey of the changed system finds."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from limitrules import api
from limitrules.engine.survey import Survey
from limitrules.foundation.diagnostics import InputError
from limitrules.model.quantity import Uncertain
from limitrules.model.system import System
from limitrules.rules.findings import Finding, SurveyResult
from limitrules.rules.rule import Rulepack

LAKESIDE = Path(__file__).parents[2] / "docs" / "examples" / "lakeside.yaml"


@cache
def packs() -> tuple[Rulepack, ...]:
    return api.load_rulepacks(["governing", "discharge"])


@cache
def lakeside() -> System:
    return api.read_system(LAKESIDE, packs())


@cache
def numbers() -> list[str]:
    """The paths that hold a number and that some rule reads."""
    read = {path for check in Survey(lakeside(), packs()).checks for path in check.binder.reads}
    return sorted(path for path, value in lakeside().values() if isinstance(value.content, Uncertain) and path in read)


@cache
def others() -> list[str]:
    """The paths that hold anything else and that some rule reads."""
    read = {path for check in Survey(lakeside(), packs()).checks for path in check.binder.reads}
    return sorted(path for path, value in lakeside().values() if path not in numbers() and path in read)


def said(finding: Finding, words: bool) -> tuple[object, ...]:
    witness = sorted((finding.witness or {}).items())
    figures = (
        finding.rule,
        finding.subject,
        finding.verdict,
        finding.headroom,
        finding.missing,
        finding.assumed,
        witness,
    )
    return (*figures, finding.sentence, finding.governing) if words else figures


def content(result: SurveyResult, words: bool = True) -> tuple[object, ...]:
    return (
        sorted(repr(said(item, words)) for item in result.findings),
        sorted((item.rule, item.subject, item.because) for item in result.not_applicable),
        sorted((item.path, item.findings, item.decides) for item in result.missing),
    )


def scaled(path: str, percent: int, tolerance: int) -> str:
    """The value at a path, scaled; a temperature is shifted instead."""
    value = lakeside().value(path)
    assert value is not None
    assert isinstance(value.content, Uncertain)
    unit = value.content.unit
    nominal = unit.from_si(value.content.nominal)
    if unit.is_temperature:
        return f"{float(nominal) + percent / 10 - 10:.3f} degC ± {tolerance} K"
    if lakeside().attribute(path).count:
        return str(max(1, round(float(nominal) * percent / 100)))
    symbol = "" if unit.symbol == "1" else f" {unit.symbol}"
    return f"{float(nominal) * percent / 100:.6f}{symbol} ± {tolerance} %"


CHANGES = st.lists(
    st.tuples(st.deferred(lambda: st.sampled_from(numbers())), st.integers(20, 300), st.integers(0, 10)),
    min_size=1,
    max_size=4,
)


@given(CHANGES, st.booleans())
@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
def test_changed_numbers_equal_a_fresh_survey(changes: list[tuple[str, int, int]], forget: bool) -> None:
    survey, fresh = Survey(lakeside(), packs()), lakeside()
    for path, percent, tolerance in changes:
        text = scaled(path, percent, tolerance)
        try:
            fresh = fresh.with_value(path, text)
        except InputError:
            with pytest.raises(InputError):
                survey.change(path, text)
            continue
        affected = survey.change(path, text)
        assert all(path in check.binder.reads for check in affected)
    if forget and changes:
        path = changes[0][0]
        survey.change(path, "unknown")
        fresh = fresh.with_value(path, "unknown")
    expected = Survey(fresh, packs())
    assert survey.verdicts == expected.verdicts
    assert content(survey.result(), words=False) == content(expected.result(), words=False)


def test_whatever_becomes_unknown_equals_a_fresh_survey() -> None:
    for path in others()[::30]:
        survey = Survey(lakeside(), packs())
        survey.change(path, "unknown")
        expected = Survey(lakeside().with_value(path, "unknown"), packs())
        assert content(survey.result(), words=False) == content(expected.result(), words=False), path


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ("converters.main.feeds", "[south]"),
        ("converters.main.feeds", "[]"),
        ("converters.main.feeds", "unknown"),
        ("packs.south.cell", "none"),
        ("cells.lfp-210.chemistry", "nmc"),
        ("site.mode", "grid"),
        ("cells.lfp-210.rest_voltage", "{points: [[0 %, 2.5 V], [50 %, 3.2 V], [100 %, 3.4 V]], tolerance: 9 mV}"),
    ],
)
def test_changed_ties_and_words_equal_a_fresh_survey(path: str, text: str) -> None:
    try:
        fresh = lakeside().with_value(path, text)
    except InputError:
        with pytest.raises(InputError):
            Survey(lakeside(), packs()).change(path, text)
        return
    survey = Survey(lakeside(), packs())
    survey.change(path, text)
    assert content(survey.result()) == content(Survey(fresh, packs()).result())


def test_a_change_and_the_change_back_leave_everything_as_it_was() -> None:
    survey = Survey(lakeside(), packs())
    before = content(survey.result(), words=False)
    for path in numbers()[::11]:
        value = lakeside().value(path)
        assert value is not None
        survey.change(path, scaled(path, 250, 5))
        survey.change(path, str(value.content))
    assert survey.verdicts == Survey(lakeside(), packs()).verdicts
    assert content(survey.result(), words=False) == before


@pytest.mark.parametrize(
    "texts",
    [
        ("unknown", "90 A ± 1 %"),
        ("unknown", "90 A", "unknown"),
        ("90 A", "unknown", "70 A"),
        ("{value: 90 A, tolerance: 2 %}", "80 A"),
        ("{value: unknown, range: 80 A .. 99 A}", "85 A"),
    ],
)
def test_what_was_unknown_may_become_known(texts: tuple[str, ...]) -> None:
    path = "packs.south.charge.ceiling"
    survey, fresh = Survey(lakeside(), packs()), lakeside()
    for text in texts:
        survey.change(path, text)
        fresh = fresh.with_value(path, text)
    expected = Survey(fresh, packs())
    assert survey.verdicts == expected.verdicts
    assert content(survey.result(), words=False) == content(expected.result(), words=False)


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ("packs.nowhere.charge.ceiling", "96 A"),
        ("packs.south.charge.celing", "96 A"),
        ("packs.south.charge.ceiling", "96 V"),
        ("packs.south.charge.ceiling", "much"),
        ("packs.south.charge", "96 A"),
        ("converters.main.feeds", "[nowhere]"),
        ("nothing", "96 A"),
        ("", ""),
    ],
)
def test_a_change_that_cannot_be_used_changes_nothing(path: str, text: str) -> None:
    survey = Survey(lakeside(), packs())
    before = list(survey.verdicts)
    with pytest.raises(InputError):
        survey.change(path, text)
    assert survey.verdicts == before
    assert survey.evaluate() == before
    assert survey.system is lakeside()
