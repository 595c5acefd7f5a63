"""A survey in SARIF 2.1.0, the open format for results of checks, so that a pipeline shows findings at their lines."""

from __future__ import annotations

from typing import Any

from limitrules.foundation.source import Span
from limitrules.foundation.version import VERSION
from limitrules.report.order import CAUTIONS, worst_first
from limitrules.report.places import fingerprint, missing_by_path, place_of
from limitrules.report.text import figures
from limitrules.rules.findings import Consequence, Finding, MissingValue, SurveyResult, Verdict

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/os/schemas/sarif-schema-2.1.0.json"
_LEVELS = {
    Consequence.HAZARD: "error", Consequence.DAMAGE: "error", Consequence.OUTAGE: "error",
    Consequence.STRANDED: "warning", Consequence.ADVICE: "note",
}  # fmt: skip

Data = dict[str, Any]


def survey_sarif(result: SurveyResult, fail_on: Consequence = Consequence.OUTAGE) -> Data:
    """One run with one result for each finding; met findings are results of kind `pass`.

    ``fail_on``: an undetermined finding that fails the survey is told as a failure, any other one as open.
    """
    findings = worst_first(result.findings)
    failing = {id(item) for item in result.failing(fail_on)}
    rules: dict[str, int] = {}
    for finding in findings:
        rules.setdefault(_rule_id(finding), len(rules))
    missing = missing_by_path(result)
    by_rule = {_rule_id(finding): finding for finding in reversed(findings)}
    return {
        "$schema": SCHEMA,
        "version": "2.1.0",
        "runs": [
            {
                "tool": {
                    "driver": {
                        "name": "limitrules",
                        "version": VERSION,
                        "semanticVersion": VERSION,
                        "rules": [_rule(by_rule[name]) for name in rules],
                    },
                    "extensions": [
                        {"name": item.name, "version": item.version, "properties": {"content": item.content}}
                        for item in result.rulepacks
                    ],
                },
                "artifacts": [{"location": {"uri": _uri(result.file)}}],
                "columnKind": "unicodeCodePoints",
                "results": [_result(item, rules, missing, id(item) in failing) for item in findings],
                "properties": {"system": result.system, "notes": list(result.notes), "cautions": list(CAUTIONS)},
            }
        ],
    }


def _rule_id(finding: Finding) -> str:
    return f"{finding.rulepack}/{finding.rule}"


def _rule(finding: Finding) -> Data:
    remedies = [f"{number}. {text}" for number, text in enumerate(finding.remedies, 1)]
    help_text = "\n".join([*remedies, *([f"Caution: {finding.caution}"] if finding.caution else [])])
    return {
        "id": _rule_id(finding),
        "shortDescription": {"text": finding.title},
        "help": {"text": help_text or finding.title},
        "defaultConfiguration": {"level": _LEVELS[finding.consequence]},
        "properties": {"consequence": finding.consequence.value, "basis": list(finding.basis)},
    }


def _result(finding: Finding, rules: dict[str, int], missing: dict[str, MissingValue], fails: bool) -> Data:
    kind, level = _kind(finding, fails)
    made: Data = {
        "ruleId": _rule_id(finding),
        "ruleIndex": rules[_rule_id(finding)],
        "kind": kind,
        "level": level,
        "message": {"text": _message(finding)},
        "locations": [_location(finding, missing)],
        "partialFingerprints": {"ruleAndSubjects/v1": fingerprint(finding)},
        "properties": {
            "verdict": finding.verdict.value,
            "consequence": finding.consequence.value,
            "missing": list(finding.missing),
            "assumed": [f"{item.text} taken as {item.value}" for item in finding.assumed],
        },
    }
    if finding.concession is not None:
        made["suppressions"] = [_suppression(finding)]
    return made


def _kind(finding: Finding, fails: bool) -> tuple[str, str]:
    if finding.verdict is Verdict.MET:
        return "pass", "none"
    if finding.verdict is Verdict.UNDETERMINED and not fails:
        return "open", "none"
    return "fail", _LEVELS[finding.consequence]


def _message(finding: Finding) -> str:
    parts = [f"{finding.verdict.value}: {finding.sentence or finding.title}", figures(finding)]
    if finding.missing:
        parts.append(f"Missing: {', '.join(finding.missing)}.")
    return " ".join(part for part in parts if part)


def _location(finding: Finding, missing: dict[str, MissingValue]) -> Data:
    paths = [*finding.subjects.values()] or ["site"]
    logical = [{"fullyQualifiedName": path, "kind": "object"} for path in paths]
    span = place_of(finding, missing)
    if span is None:
        return {"logicalLocations": logical}
    physical = {"artifactLocation": {"uri": _uri(span.source.name)}, "region": _region(span)}
    return {"physicalLocation": physical, "logicalLocations": logical}


def _region(span: Span) -> Data:
    line, column = span.source.position(span.start)
    end_line, end_column = span.source.position(max(span.end, span.start + 1))
    return {"startLine": line, "startColumn": column, "endLine": end_line, "endColumn": end_column}


def _suppression(finding: Finding) -> Data:
    concession = finding.concession
    assert concession is not None
    return {
        "kind": "external",
        "status": "rejected" if concession.expired else "accepted",
        "justification": f"{concession.why} ({concession.who}, until {concession.until})",
    }


def _uri(name: str) -> str:
    from urllib.parse import quote

    return quote(name.replace("\\", "/"))
