"""A survey in Markdown, short enough for a comment on a change: what fails, what is open, what to find out."""

from __future__ import annotations

from collections.abc import Iterable

from limitrules.report.figures import count_words
from limitrules.report.order import CAUTIONS, grouped, missing_first, place, subject_words
from limitrules.report.text import concession_words, figures, verdict_sentence
from limitrules.rules.findings import Consequence, Finding, SurveyResult, Verdict

_MOST = 60
_HEAD = "| verdict | class | subject | rule | figures | try |"
_SPECIAL = str.maketrans({char: f"\\{char}" for char in "\\`*_{}[]<>|#~"})


def survey_markdown(result: SurveyResult, fail_on: Consequence = Consequence.OUTAGE) -> str:
    """The report as Markdown."""
    groups = grouped(result, fail_on)
    lines = [f"## Survey of {_safe(result.system)}", "", _safe(verdict_sentence(groups, fail_on)), ""]
    lines += [f"- {_safe(note)}" for note in result.notes]
    decided = [item for item in groups.open if item.verdict is not Verdict.UNDETERMINED]
    waiting = [item for item in groups.outstanding if item.verdict is Verdict.UNDETERMINED]
    lines += _table("What fails", [item for item in groups.failing if item.verdict is not Verdict.UNDETERMINED])
    lines += _table(f"What does not hold, but counts less than {fail_on.value}", decided)
    lines += _table("Undetermined", waiting)
    lines += _conceded(groups.conceded)
    if result.missing:
        lines += ["", "### To find out", ""]
        for value in list(missing_first(result.missing))[:_MOST]:
            lines.append(f"- `{value.path}` ({place(value.span) or 'not stated'}): {_safe(value.meaning)}")
    lines += ["", f"{count_words(len(groups.met), 'finding').capitalize()} met.", "", "### Before you act", ""]
    lines += [f"- {caution}" for caution in CAUTIONS]
    return "\n".join(lines) + "\n"


def _table(title: str, findings: Iterable[Finding]) -> list[str]:
    items = list(findings)
    if not items:
        return []
    lines = [
        "",
        f"### {title}",
        "",
        _HEAD,
        "|---|---|---|---|---|---|",
    ]
    for item in items[:_MOST]:
        remedy = item.remedies[0] if item.remedies and item.verdict is not Verdict.UNDETERMINED else ""
        told = figures(item) or ", ".join(f"`{path}` is missing" for path in item.missing) or item.sentence
        cells = [item.verdict.value, item.consequence.value, subject_words(item.subject), f"`{item.rule}`"]
        lines.append(f"| {' | '.join([*cells, told if item.missing else _safe(told), _safe(remedy)])} |")
    if len(items) > _MOST:
        lines.append(f"\n... and {len(items) - _MOST} more.")
    return lines


def _conceded(findings: Iterable[Finding]) -> list[str]:
    lines = []
    for item in findings:
        if item.concession is not None:
            words = _safe(concession_words(item.concession))
            lines.append(f"- `{item.rule}` ({subject_words(item.subject)}): {words}")
    return ["", "### Conceded", "", *lines] if lines else []


def _safe(text: str) -> str:
    return " ".join(text.split()).translate(_SPECIAL)
