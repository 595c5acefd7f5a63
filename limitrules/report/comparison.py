"""A comparison as text and as data: what differs, what it does, what is to be tested again."""

from __future__ import annotations

from typing import Any

from limitrules.engine.comparison import ChangedFinding, Comparison, Due
from limitrules.report.figures import count_words, joined, worst_words
from limitrules.report.layout import USUAL_WIDTH, Page
from limitrules.report.order import CAUTIONS, subject_words
from limitrules.report.text import cautions
from limitrules.rules.findings import Finding

FORMAT = "comparison/1"


def comparison_text(comparison: Comparison, colour: bool = False, width: int = USUAL_WIDTH) -> str:
    """The report, in the order in which one acts on it."""
    page = Page(width, colour)
    page.heading(f"What changed at {comparison.new.name}")
    page.line(f"before  {comparison.old.source.name}", indent=2, hang=8)
    page.line(f"after   {comparison.new.source.name}", indent=2, hang=8)
    _values(page, comparison)
    worse = [item for item in comparison.findings if item.is_worse]
    _findings(page, "Worse than before", worse)
    _findings(page, "Changed otherwise", [item for item in comparison.findings if not item.is_worse])
    _due(page, comparison)
    page.blank()
    page.line(
        f"Findings that read nothing that changed, and stand as they were shown: {count_words(comparison.unchanged)}."
    )
    cautions(page)
    return page.text()


def _values(page: Page, comparison: Comparison) -> None:
    page.heading(count_words(len(comparison.values), "value").capitalize() + " changed")
    for item in comparison.values:
        firmware = "  (firmware: every test of this device is due)" if item.is_firmware else ""
        page.line(f"{item.path}: {item.before or 'not stated'} -> {item.after or 'not stated'}{firmware}", indent=2)


def _findings(page: Page, title: str, items: list[ChangedFinding]) -> None:
    if not items:
        return
    page.heading(title)
    for item in items:
        found = item.after or item.before
        assert found is not None
        page.line(f"{found.consequence.value}  {subject_words(found.subject)}  {found.rule}", indent=2)
        page.line(f"{_state(item.before)} -> {_state(item.after)}", indent=6, hang=0)


def _state(finding: Finding | None) -> str:
    if finding is None:
        return "did not apply"
    words = worst_words(finding.headroom) if finding.headroom is not None else ""
    return f"{finding.verdict.value}{f' ({words})' if words else ''}"


def _due(page: Page, comparison: Comparison) -> None:
    page.heading("Tests due again" if comparison.due else "No test is due again")
    for evidence, items in _by_evidence(comparison).items():
        page.blank()
        page.line(evidence, indent=2)
        subjects = joined(dict.fromkeys(subject_words(item.finding.subject) for item in items))
        page.line(f"on {subjects}, for {joined(dict.fromkeys(item.finding.rule for item in items))}", indent=6, hang=0)
        page.line(
            f"since {joined(dict.fromkeys(path for item in items for path in item.because))} changed", indent=6, hang=0
        )


def _by_evidence(comparison: Comparison) -> dict[str, list[Due]]:
    found: dict[str, list[Due]] = {}
    for item in comparison.due:
        found.setdefault(item.finding.evidence, []).append(item)
    return found


def comparison_data(comparison: Comparison) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "limitrules": FORMAT,
        "before": comparison.old.source.name,
        "after": comparison.new.source.name,
        "values": [
            {
                "path": item.path,
                "before": item.before or None,
                "after": item.after or None,
                "firmware": item.is_firmware,
            }
            for item in comparison.values
        ],
        "findings": [
            {
                "rulepack": item.key[0],
                "rule": item.key[1],
                "subject": item.key[2],
                "before": None if item.before is None else item.before.verdict.value,
                "after": None if item.after is None else item.after.verdict.value,
                "worse": item.is_worse,
            }
            for item in comparison.findings
        ],
        "due": [
            {
                "rulepack": item.finding.rulepack,
                "rule": item.finding.rule,
                "subject": item.finding.subject,
                "evidence": item.finding.evidence,
                "because": list(item.because),
            }
            for item in comparison.due
        ],
        "unchanged": comparison.unchanged,
        "cautions": list(CAUTIONS),
    }
