"""SARIF, JUnit XML and Markdown: what pipelines read says the same as the survey."""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from limitrules import api
from limitrules.cli import main
from limitrules.report.junit import survey_junit
from limitrules.report.markdown import survey_markdown
from limitrules.report.sarif import survey_sarif
from limitrules.rules.findings import Consequence, SurveyResult, Verdict

ROOT = Path(__file__).parents[2]
LAKESIDE = ROOT / "docs" / "examples" / "lakeside.yaml"
LEVELS = {"hazard": "error", "damage": "error", "outage": "error", "stranded": "warning", "advice": "note"}
CONCESSIONS = """\
limitrules: concessions/1
concessions:
  - rule: charge-sources-sum-within-pack
    subject: packs.west
    who: the station keeper
    why: the pack is replaced in spring
    until: 2099-01-01
  - rule: limit-ladder-ordered
    subject: packs.south
    who: the station keeper
    why: until the next visit
    until: 2020-01-01
"""


@cache
def found(path: Path = LAKESIDE, concessions: Path | None = None) -> SurveyResult:
    return api.survey(path, concessions=concessions)


def results(result: SurveyResult) -> list[dict[str, Any]]:
    (run,) = survey_sarif(result)["runs"]
    items: list[dict[str, Any]] = run["results"]
    return items


def test_every_finding_is_a_result_of_its_rule() -> None:
    (run,) = survey_sarif(found())["runs"]
    rules = run["tool"]["driver"]["rules"]
    assert len(run["results"]) == len(found().findings)
    for item in run["results"]:
        assert rules[item["ruleIndex"]]["id"] == item["ruleId"]
        assert item["level"] == (LEVELS[item["properties"]["consequence"]] if item["kind"] == "fail" else "none")
    assert len({rule["id"] for rule in rules}) == len(rules)


def test_what_fails_a_survey_fails_in_the_pipeline() -> None:
    failing = {(f"{f.rulepack}/{f.rule}", f.subject) for f in found().failing(Consequence.OUTAGE)}
    told = {
        (item["ruleId"], ", ".join(place["fullyQualifiedName"] for place in item["locations"][0]["logicalLocations"]))
        for item in results(found())
        if item["kind"] == "fail" and item["level"] == "error"
    }
    assert {(rule, subject or "site") for rule, subject in failing} <= told
    assert all(item["kind"] != "pass" or item["properties"]["verdict"] == "met" for item in results(found()))


def test_a_place_is_the_line_of_a_value_that_the_finding_reads() -> None:
    text = LAKESIDE.read_text(encoding="utf-8").splitlines()
    (item,) = [
        item for item in results(found())
        if item["ruleId"] == "governing/limit-ladder-ordered" and item["kind"] == "fail"
    ]  # fmt: skip
    region = item["locations"][0]["physicalLocation"]["region"]
    line = text[region["startLine"] - 1]
    assert "97 A" in line[region["startColumn"] - 1 : region["endColumn"] - 1]


def test_a_finding_keeps_its_identity_when_lines_move(tmp_path: Path) -> None:
    moved = tmp_path / "moved.yaml"
    moved.write_text("# one line more\n" + LAKESIDE.read_text(encoding="utf-8"), encoding="utf-8")

    def prints(path: Path) -> set[str]:
        return {item["partialFingerprints"]["ruleAndSubjects/v1"] for item in results(found(path))}

    assert prints(moved) == prints(LAKESIDE)
    assert len(prints(LAKESIDE)) == len(found().findings)


def test_concessions_are_suppressions(tmp_path: Path) -> None:
    path = tmp_path / "accepted.yaml"
    path.write_text(CONCESSIONS, encoding="utf-8")
    told = {
        item["ruleId"]: item["suppressions"][0]["status"]
        for item in results(found(LAKESIDE, path))
        if "suppressions" in item
    }
    sums, ladder = "governing/charge-sources-sum-within-pack", "governing/limit-ladder-ordered"
    assert told == {sums: "accepted", ladder: "rejected"}
    root = ET.fromstring(survey_junit(found(LAKESIDE, path)))  # noqa: S314
    skipped = [case.find("skipped") for case in root.iter("testcase") if "sources-sum" in case.get("name", "")]
    assert any(item is not None and "station keeper" in item.get("message", "") for item in skipped)


def test_junit_counts_what_it_holds() -> None:
    result = found()
    root = ET.fromstring(survey_junit(result))  # noqa: S314
    assert int(root.get("tests", "0")) == len(result.findings) == len(list(root.iter("testcase")))
    assert int(root.get("failures", "0")) == len(result.failing(Consequence.OUTAGE)) == len(list(root.iter("failure")))
    for suite in root.iter("testsuite"):
        assert int(suite.get("failures", "0")) == len(list(suite.iter("failure")))
    texts = [item.text or "" for item in root.iter("failure")]
    assert all("Caution:" in text or "Try:" in text or "Missing:" in text for text in texts)


def test_junit_keeps_out_what_xml_cannot_carry(tmp_path: Path) -> None:
    odd = tmp_path / "odd.yaml"
    text = LAKESIDE.read_text(encoding="utf-8").replace("name: Lakeside", 'name: "<&> \\u0007 Lakeside')
    odd.write_text(text.replace("research station\n", 'research station"\n', 1), encoding="utf-8")
    root = ET.fromstring(survey_junit(api.survey(odd)))  # noqa: S314
    assert "<&>" in root.get("name", "")


def test_markdown_tells_every_failure_in_a_row_of_its_own() -> None:
    text = survey_markdown(found())
    rows = [line for line in text.splitlines() if line.startswith("| ") and "`" in line]
    open_findings = [f for f in found().findings if f.verdict is not Verdict.MET and not f.conceded]
    assert len(rows) == len(open_findings)
    assert all(len(re.findall(r"(?<!\\)\|", row)) == 7 for row in rows)
    assert "Local electrical codes" in text


@pytest.mark.parametrize("form", ["sarif", "junit", "markdown"])
def test_the_command_writes_each_form(form: str, tmp_path: Path) -> None:
    target = tmp_path / f"survey.{form}"
    assert main(["survey", str(LAKESIDE), "--format", form, "--out", str(target)]) == 1
    text = target.read_text(encoding="utf-8")
    if form == "sarif":
        assert json.loads(text)["version"] == "2.1.0"
    elif form == "junit":
        assert ET.fromstring(text).tag == "testsuites"  # noqa: S314
    else:
        assert text.startswith("## Survey of Lakeside")
