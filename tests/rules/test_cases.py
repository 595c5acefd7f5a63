"""Every shipped rule comes to the verdicts that its cases state, and has cases of every verdict."""

from __future__ import annotations

from functools import cache

import pytest

from limitrules import api
from limitrules.engine.cases import Case, Cases, outcome, read_cases
from limitrules.engine.survey import Survey
from limitrules.foundation.diagnostics import InputError
from limitrules.language.ground import inputs_of
from limitrules.rules.discovery import bundled
from limitrules.rules.rule import Rulepack

NAMES = [item.name for item in bundled()]


@cache
def pack(name: str) -> tuple[Rulepack, Cases]:
    (found,) = api.load_rulepacks([name])
    return found, read_cases(found)


def every_case() -> list[tuple[str, Case]]:
    return [(name, case) for name in NAMES for case in pack(name)[1].cases]


def label(value: object) -> str:
    return f"{value.rule}:{value.span.line}" if isinstance(value, Case) else str(value)


@pytest.mark.parametrize(("name", "case"), every_case(), ids=label)
def test_a_case_comes_out_as_stated(name: str, case: Case) -> None:
    rulepack, cases = pack(name)
    assert outcome(rulepack, cases.base, case) == case.expect, case.span


@pytest.mark.parametrize("name", NAMES)
def test_every_rule_has_a_case_of_every_verdict(name: str) -> None:
    rulepack, cases = pack(name)
    stated: dict[str, set[str]] = {rule: set() for rule in rulepack.rules}
    for case in cases.cases:
        stated[case.rule].add(case.expect)
    due = {"met", "breached", "undetermined"}
    uncertain = _uncertain_rules(rulepack, cases)
    lacking = {rule: due | ({"marginal"} if rule in uncertain else set()) for rule in stated}
    assert {rule: lacking[rule] - found for rule, found in stated.items() if lacking[rule] - found} == {}


def _uncertain_rules(rulepack: Rulepack, cases: Cases) -> set[str]:
    """The rules that read anything but counts and words, so that tolerances can leave them marginal."""
    survey = Survey(cases.base, [rulepack])
    found = set()
    for check in survey.checks:
        paths = (survey.slots.paths[number] for number in inputs_of(check.require))
        if not all(_is_count(cases, path) for path in paths):
            found.add(check.binder.rule.id)
    return found


def _is_count(cases: Cases, path: str) -> bool:
    try:
        return cases.base.attribute(path).count
    except InputError:  # an error of a device, or the tolerance of a curve
        return False


def test_there_are_enough_rules() -> None:
    assert sum(len(pack(name)[0].rules) for name in NAMES) >= 24
