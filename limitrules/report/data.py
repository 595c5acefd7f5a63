"""A survey as plain data and as JSON: the project's own format ``survey/1``, described in ``schemas/survey-1.json``.

Every figure stands three times: ``text``, a decimal in the unit shown beside it, exact where a decimal can be and
else to 12 digits; ``si``, the nearest float in SI, null beyond the range of floats; ``exact``, the rational
number in SI as ``n/d``, so that nothing is lost.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any

from limitrules.foundation.diagnostics import Diagnostic
from limitrules.foundation.exact import plain_decimal
from limitrules.foundation.source import Span
from limitrules.report.order import CAUTIONS, counts, grouped, missing_first, worst_first
from limitrules.rules.findings import (
    Concession,
    Consequence,
    Finding,
    Headroom,
    MissingValue,
    NotApplicable,
    Reason,
    SurveyResult,
)

SURVEY_FORMAT = "survey/1"
WHY_FORMAT = "why/1"
DIAGNOSTICS_FORMAT = "diagnostics/1"

Data = dict[str, Any]


def survey_data(result: SurveyResult, fail_on: Consequence = Consequence.OUTAGE) -> Data:
    """Everything that a survey found, findings worst first."""
    groups = grouped(result, fail_on)
    failing = {id(item) for item in groups.failing}
    return {
        "limitrules": SURVEY_FORMAT,
        "system": {"name": result.system, "file": result.file},
        "rulepacks": [
            {"name": item.name, "version": item.version, "content": item.content} for item in result.rulepacks
        ],
        "outcome": {
            "fails": bool(groups.failing),
            "exit": 1 if groups.failing else 0 if result.findings else 2,
            "fail_on": fail_on.value,
            "failing": len(groups.failing),
            "counts": {
                **{verdict.value: count for verdict, count in counts(groups).items()},
                "conceded": len(groups.conceded),
                "not_applicable": len(result.not_applicable),
            },
        },
        "findings": [{**finding_data(item), "fails": id(item) in failing} for item in worst_first(result.findings)],
        "missing": [_missing(item) for item in missing_first(result.missing)],
        "not_applicable": [not_applicable_data(item) for item in result.not_applicable],
        "notes": list(result.notes),
        "cautions": list(CAUTIONS),
    }


def survey_json(result: SurveyResult, fail_on: Consequence = Consequence.OUTAGE) -> str:
    """The same as text."""
    return as_json(survey_data(result, fail_on))


def why_data(findings: Iterable[Finding], not_applicable: Iterable[NotApplicable] = ()) -> Data:
    """The findings asked for, in the same form as in a survey."""
    return {
        "limitrules": WHY_FORMAT,
        "findings": [finding_data(item) for item in findings],
        "not_applicable": [not_applicable_data(item) for item in not_applicable],
        "cautions": list(CAUTIONS),
    }


def diagnostics_data(diagnostics: Iterable[Diagnostic]) -> Data:
    """Why an input cannot be used."""
    return {"limitrules": DIAGNOSTICS_FORMAT, "diagnostics": [item.as_data() for item in diagnostics]}


def as_json(data: Mapping[str, Any]) -> str:
    """JSON in plain ASCII, so that no terminal and no file encoding can spoil it."""
    return json.dumps(data, indent=2, ensure_ascii=True, allow_nan=False) + "\n"


def finding_data(finding: Finding) -> Data:
    """One finding with its whole argument."""
    return {
        "rulepack": finding.rulepack,
        "rule": finding.rule,
        "title": finding.title,
        "consequence": finding.consequence.value,
        "subjects": dict(finding.subjects),
        "verdict": finding.verdict.value,
        "conceded": finding.conceded,
        "headroom": None if finding.headroom is None else headroom_data(finding.headroom),
        "sentence": finding.sentence,
        "remedies": list(finding.remedies),
        "caution": finding.caution,
        "basis": list(finding.basis),
        "evidence": finding.evidence,
        "reasons": [_reason(item) for item in finding.reasons],
        "missing": list(finding.missing),
        "assumed": [{"text": item.text, "value": item.value} for item in finding.assumed],
        "governing": list(finding.governing),
        "witness": _witness(finding),
        "concession": None if finding.concession is None else _concession(finding.concession),
        "place": _place(finding.span),
    }


def headroom_data(headroom: Headroom) -> Data:
    """Headroom and limit; shares as plain numbers, 0.25 for a quarter of the limit."""
    unit = headroom.unit
    scale = unit.factor

    def distance(value: Fraction | None) -> Data | None:
        return None if value is None else _figure(value, value / scale)

    def standing(value: Fraction | None) -> Data | None:
        return None if value is None else _figure(value, unit.from_si(value))

    def share(value: Fraction | None) -> Data | None:
        return None if value is None or unit.is_temperature else _figure(value, value)

    return {
        "unit": "K" if unit.is_temperature else unit.symbol,
        "limit_unit": unit.symbol,
        "figure": standing(headroom.figure),
        "nominal": distance(headroom.nominal),
        "worst": distance(headroom.worst),
        "limit": standing(headroom.limit),
        "share_nominal": share(headroom.share_nominal),
        "share_worst": share(headroom.share_worst),
        "tight": headroom.tight,
        "reached": distance(headroom.reached),
        "open": headroom.is_open,
    }


def not_applicable_data(item: NotApplicable) -> Data:
    """A rule that did not apply, and why."""
    return {
        "rulepack": item.rulepack,
        "rule": item.rule,
        "title": item.title,
        "consequence": item.consequence.value,
        "subject": item.subject,
        "because": item.because,
    }


def _figure(si: Fraction, shown: Fraction) -> Data:
    return {"text": plain_decimal(shown), "si": _float(si), "exact": _rational(si)}


def _rational(value: Fraction) -> str:
    return f"{value.numerator}/{value.denominator}"


def _float(value: Fraction) -> float | None:
    try:
        return value.numerator / value.denominator
    except OverflowError:
        return None


def _witness(finding: Finding) -> list[Data] | None:
    if finding.witness is None:
        return None
    losses = finding.losses
    scale = finding.headroom.unit.factor if finding.headroom is not None else Fraction(1)

    def loss(path: str) -> Data | None:
        return _figure(losses[path], losses[path] / scale) if path in losses else None

    return [
        {"path": path, "si": _float(value), "exact": _rational(value), "loss": loss(path)}
        for path, value in finding.witness.items()
    ]


def _reason(reason: Reason) -> Data:
    return {
        "text": reason.text,
        "value": reason.value,
        "note": reason.note,
        "path": reason.path,
        "stated": reason.stated,
        "origin": reason.origin,
        "place": _place(reason.span),
        "parts": [_reason(part) for part in reason.parts],
    }


def _concession(item: Concession) -> Data:
    return {
        "rule": item.rule,
        "subject": item.subject,
        "who": item.who,
        "why": item.why,
        "until": item.until,
        "expired": item.expired,
        "place": _place(item.span),
    }


def _missing(item: MissingValue) -> Data:
    return {
        "path": item.path,
        "meaning": item.meaning,
        "findings": [{"rule": rule, "subject": subject} for rule, subject in item.findings],
        "decides": item.decides,
        "worst": item.worst.value,
        "place": _place(item.span),
    }


def _place(span: Span | None) -> Data | None:
    if span is None:
        return None
    line, column = span.source.position(span.start)
    return {"file": span.source.name, "line": line, "column": column}
