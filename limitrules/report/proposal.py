"""A proposal as text and as data: the settings sheet, what it cures, what no setting cures."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from limitrules.foundation.exact import plain_decimal
from limitrules.foundation.figures import level, number
from limitrules.report.figures import count_words, joined
from limitrules.report.layout import USUAL_WIDTH, Page
from limitrules.report.order import CAUTIONS, MOVES_PROTECTION
from limitrules.report.text import cautions
from limitrules.rules.findings import Consequence, Finding, SurveyResult, Verdict
from limitrules.solve.proposal import Entry, Proposal
from limitrules.solve.setting import moves_protection

FORMAT = "proposal/1"
_FROM = Consequence.STRANDED


def proposal_text(proposal: Proposal, notes: Sequence[str] = (), colour: bool = False, width: int = USUAL_WIDTH) -> str:
    """The settings sheet and what it leads to. ``notes``: what the reader has to know of it."""
    page = Page(width, colour)
    page.heading(f"Proposed settings for {proposal.system.name}")
    page.line(f"document   {proposal.system.source.name}", indent=2, hang=11)
    page.blank()
    page.line(_outcome(proposal))
    for note in notes:
        page.line(f"Note: {note}", hang=2)
    _sheet(page, proposal)
    _left(page, proposal)
    page.heading("What this claims")
    for words in _claims(proposal):
        page.line(words, indent=2, hang=0)
    cautions(page)
    return page.text()


def _fails(result: SurveyResult) -> tuple[Finding, ...]:
    return result.failing(_FROM)


def _outcome(proposal: Proposal) -> str:
    before, after = len(_fails(proposal.before)), len(_fails(proposal.after))
    changes = count_words(len(proposal.entries) + len(proposal.switches), "setting")
    found = f"{count_words(before, 'finding')} of class stranded or worse"
    if not proposal.entries and not proposal.switches:
        return f"No setting is proposed: {found}, none of which a setting was found to cure."
    return f"With {changes} changed, {found} become {count_words(after) if after else 'none'}."


def _sheet(page: Page, proposal: Proposal) -> None:
    if not proposal.entries and not proposal.switches:
        return
    page.heading("Settings sheet")
    for switch in proposal.switches:
        page.blank()
        page.line(f"{switch.path}: {switch.now} -> {switch.proposed}", indent=2)
        page.line(f"for {joined(switch.cures)}", indent=6, hang=0)
    for entry in proposal.entries:
        page.blank()
        now = level(entry.now, entry.grid.unit)
        page.line(f"{entry.grid.path}: {now} -> {entry.text}{_gain(entry)}", indent=2)
        if entry.cures:
            page.line(f"for {joined(entry.cures)}", indent=6, hang=0)
        if moves_protection(entry.grid.path):
            page.line(MOVES_PROTECTION, indent=6, hang=0)


def _gain(entry: Entry) -> str:
    if entry.gain is None or not entry.gain:
        return ""
    more = "more" if entry.gain > 0 else "less"
    return f"  ({number(abs(entry.gain) / 1000)} kW {more} at nominal voltage)"


def _left(page: Page, proposal: Proposal) -> None:
    left = _fails(proposal.after)
    if not left:
        return
    settings = {(item.rule, item.subject): item.settings for item in proposal.remaining}
    page.heading("What is left")
    for finding in left:
        page.blank()
        subject = finding.subject or "site"
        words = [finding.verdict.value.upper(), finding.consequence.value, subject, finding.rule]
        page.line("  ".join(words), indent=2)
        reads = settings.get((finding.rule, subject), ())
        if finding.verdict is Verdict.UNDETERMINED:
            page.line(f"No setting decides it: {joined(finding.missing) or 'an input'} is not known.", indent=6, hang=0)
        elif reads:
            page.line(f"It reads {joined(reads)}, but no value was found that cures it.", indent=6, hang=0)
        else:
            page.line(
                "It reads no setting: a device, the load, the wiring or a record has to change.", indent=6, hang=0
            )


_SURVEYED = "Every finding was surveyed anew with the proposed values, over all tolerances."
_SEARCHED = (
    "The values were found by a search; other sets may exist that lose less. Settings are moved no further than the "
    "rules ask for."
)
_BEYOND = (
    "What a rule does not look at is not looked at here either. Enter the values only after whoever answers for the "
    "devices agrees, read them back, and state them in the document with the date."
)
_TIME_UP = "The time was up before the search came to its end: this is the best that was found by then."


def _claims(proposal: Proposal) -> list[str]:
    late = [] if proposal.is_complete else [_TIME_UP]
    return [*late, _SURVEYED, _SEARCHED, _BEYOND]


def proposal_data(proposal: Proposal, notes: Sequence[str] = ()) -> dict[str, Any]:
    """The same as plain data; figures as decimals in the unit of the setting and as rationals in SI."""
    return {
        "limitrules": FORMAT,
        "system": {"name": proposal.system.name, "file": proposal.system.source.name},
        "notes": list(notes),
        "complete": proposal.is_complete,
        "optimal": None,
        "settings": [
            *(
                {"path": switch.path, "now": switch.now, "proposed": switch.proposed, "cures": list(switch.cures)}
                for switch in proposal.switches
            ),
            *(_entry(entry) for entry in proposal.entries),
        ],
        "before": [_finding(finding) for finding in _fails(proposal.before)],
        "after": [_finding(finding) for finding in _fails(proposal.after)],
        "remaining": [
            {"rule": item.rule, "subject": item.subject, "settings": list(item.settings)} for item in proposal.remaining
        ],
        "cautions": list(CAUTIONS),
    }


def _entry(entry: Entry) -> dict[str, Any]:
    unit = entry.grid.unit

    def figure(value: Fraction) -> dict[str, str]:
        return {"text": plain_decimal(unit.from_si(value)), "exact": str(value)}

    return {
        "path": entry.grid.path,
        "unit": unit.symbol,
        "now": figure(entry.now),
        "proposed": figure(entry.proposed),
        "text": entry.text,
        "cures": list(entry.cures),
        "gain_w": None if entry.gain is None else float(entry.gain),
        "moves_protection": moves_protection(entry.grid.path),
    }


def _finding(finding: Finding) -> dict[str, str]:
    return {
        "rulepack": finding.rulepack,
        "rule": finding.rule,
        "subject": finding.subject or "site",
        "consequence": finding.consequence.value,
        "verdict": finding.verdict.value,
    }
