"""The example systems show the faults that are documented for them and no others, and the stated cures mend them."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from functools import cache
from pathlib import Path

import pytest
from attrs import field, frozen
from jsonschema import Draft202012Validator

from limitrules import api
from limitrules.cli import main
from limitrules.engine.survey import Survey
from limitrules.model.system import System
from limitrules.rules.findings import Consequence, Verdict
from limitrules.rules.rule import Rulepack

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "docs" / "examples"
NAMES = sorted(path.name for path in EXAMPLES.glob("*.yaml") if not path.name.endswith(".concessions.yaml"))
HEADING = re.compile(r"^## .*\(`(\S+\.yaml)`\)$", re.MULTILINE)
CODE = re.compile(r"`([^`]+)`")
CHANGE = re.compile(r"`([^`]+)` = `([^`]+)`")

Shown = tuple[str, str, str, str]


@frozen
class Fault:
    """What one fault shows as, the finding to look at first in front, and the changes that cure it."""

    findings: list[Shown] = field(factory=list)
    follows: list[bool] = field(factory=list)
    changes: list[tuple[str, str]] = field(factory=list)
    why: str = ""


@cache
def documented() -> dict[str, dict[str, Fault]]:
    """The faults of every example by their marks, from the two tables of its section."""
    _, *parts = HEADING.split((EXAMPLES / "FAULTS.md").read_text(encoding="utf-8"))
    return {name: _faults(text) for name, text in zip(parts[::2], parts[1::2], strict=True)}


def _faults(section: str) -> dict[str, Fault]:
    found: dict[str, Fault] = {}
    for line in section.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if not line.startswith("|") or cells[0] in {"Fault", "---"}:
            continue
        mark, _, follows = cells[0].partition(", ")
        if len(cells) == 5:
            fault = found.setdefault(mark, Fault())
            (rule,) = CODE.findall(cells[3])
            subjects = "" if cells[4] == "the site" else ", ".join(CODE.findall(cells[4]))
            fault.findings.append((rule, subjects, cells[1], cells[2]))
            fault.follows.append(follows == "follows")
        else:
            _, why, cure = cells
            fault = found[mark]
            found[mark] = Fault(fault.findings, fault.follows, CHANGE.findall(cure), why)
    return found


def every_fault(changes: int = 0) -> list[tuple[str, str]]:
    """The faults of all examples, or those whose cure changes at least so many values."""
    return [
        (name, mark)
        for name, faults in documented().items()
        for mark, fault in faults.items()
        if len(fault.changes) >= changes
    ]


@cache
def packs() -> tuple[Rulepack, ...]:
    return api.load_rulepacks()


@cache
def system(name: str) -> System:
    return api.read_system(EXAMPLES / name, packs())


def fresh(name: str) -> Survey:
    return Survey(system(name), packs())


def shown(survey: Survey) -> list[Shown]:
    return sorted(
        (item.rule, item.subject, item.verdict.value, item.consequence.value)
        for item in survey.result().findings
        if item.verdict is not Verdict.MET
    )


def stated(faults: Iterable[Fault]) -> list[Shown]:
    return sorted(finding for fault in faults for finding in fault.findings)


def test_every_example_has_its_section() -> None:
    assert sorted(documented()) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_a_survey_finds_what_is_documented_and_nothing_else(name: str) -> None:
    assert shown(fresh(name)) == stated(documented()[name].values())


@pytest.mark.parametrize("name", NAMES)
def test_an_example_is_long_enough_to_be_real_and_its_report_short_enough_to_be_read(name: str) -> None:
    faults = documented()[name]
    assert 4 <= len(faults) <= 28
    assert len((EXAMPLES / name).read_text(encoding="utf-8").splitlines()) >= 150
    assert 4 <= len(fresh(name).result().failing(Consequence.OUTAGE)) <= 60


@pytest.mark.parametrize("name", NAMES)
def test_every_fault_is_told_whole(name: str) -> None:
    for mark, fault in documented()[name].items():
        assert fault.why, mark
        assert fault.changes, mark
        assert fault.follows == [False] + [True] * (len(fault.findings) - 1), mark


@pytest.mark.parametrize("name", NAMES)
def test_the_command_line_fails_with_valid_data(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["survey", str(EXAMPLES / name), "--format", "json"]) == 1
    data = json.loads(capsys.readouterr().out)
    schema = json.loads((ROOT / "schemas" / "survey-1.json").read_text(encoding="utf-8"))
    Draft202012Validator(schema).validate(data)
    unmet = [item for item in data["findings"] if item["verdict"] != "met"]
    assert len(unmet) == len(stated(documented()[name].values()))


@pytest.mark.parametrize(("name", "mark"), every_fault())
def test_a_cure_mends_its_fault_and_harms_nothing(name: str, mark: str) -> None:
    survey = fresh(name)
    fault = documented()[name][mark]
    for path, text in fault.changes:
        survey.change(path, text)
    others = stated(item for key, item in documented()[name].items() if key != mark)
    assert shown(survey) == others
    findings = {(item.rule, item.subject): item.verdict for item in survey.result().findings}
    # A cure may also do away with what a rule looks at.
    assert {findings.get((rule, subject), Verdict.MET) for rule, subject, *_ in fault.findings} == {Verdict.MET}


@pytest.mark.parametrize(("name", "mark"), every_fault(changes=2))
def test_no_change_of_a_cure_is_idle(name: str, mark: str) -> None:
    """A cure of several values needs each of them: without any one of them something is left."""
    changes = documented()[name][mark].changes
    for left_out in range(len(changes)):
        survey = fresh(name)
        for path, text in changes[:left_out] + changes[left_out + 1 :]:
            survey.change(path, text)
        found = {item[:2] for item in shown(survey)}
        assert found & {item[:2] for item in documented()[name][mark].findings}, changes[left_out]


@pytest.mark.parametrize("name", NAMES)
def test_all_cures_together_leave_nothing(name: str) -> None:
    survey = fresh(name)
    for fault in documented()[name].values():
        for path, text in fault.changes:
            survey.change(path, text)
    assert shown(survey) == []


def test_the_examples_show_every_sort_of_finding() -> None:
    found = {item[2:] for faults in documented().values() for item in stated(faults.values())}
    assert {("breached", word) for word in ("hazard", "damage", "outage", "stranded")} <= found
    assert ("undetermined", "hazard") in found
    assert any(verdict == "marginal" for verdict, _ in found)
