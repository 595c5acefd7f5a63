"""The argument behind findings, step by step, down to the lines of the documents."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from fractions import Fraction

from limitrules.foundation.exact import plain_decimal, round_digits
from limitrules.foundation.figures import difference, with_unit
from limitrules.foundation.units import Unit, UnknownUnit, parse_unit
from limitrules.report.layout import USUAL_WIDTH, Page
from limitrules.report.order import place, subject_words
from limitrules.report.text import assumed_words, cautions, concession_words, figures
from limitrules.rules.findings import ERROR, SHARED, Finding, NotApplicable, Reason

_WITNESS_LENGTH = 14
_WITNESS_DIGITS = 9
_STATED = re.compile(r"[-+\N{MINUS SIGN}]?[\d.]+(?:[eE][-+]?\d+)?\s*(?P<unit>[^\s\d.,;][^\s,;]*)?")


def why_text(
    findings: Iterable[Finding],
    not_applicable: Iterable[NotApplicable] = (),
    colour: bool = False,
    width: int = USUAL_WIDTH,
) -> str:
    """Findings with their whole argument, and rules that did not apply with the reason."""
    page = Page(width, colour)
    for finding in findings:
        _finding(page, finding)
    for item in not_applicable:
        _heading(page, item.rulepack, item.rule, item.title)
        page.line(f"NOT APPLICABLE to {subject_words(item.subject)}: {item.because}", indent=2)
    cautions(page)
    return page.text()


def steps(reasons: Iterable[Reason]) -> Iterator[tuple[int, Reason]]:
    """Every step of an argument with its depth, each before the steps below it."""
    waiting = [(0, reason) for reason in reversed(list(reasons))]
    while waiting:
        depth, reason = waiting.pop()
        yield depth, reason
        waiting += [(depth + 1, part) for part in reversed(reason.parts)]


def witness_words(finding: Finding) -> list[tuple[str, ...]]:
    """The worst corner: each path with its value, in the unit of the document where known, and what it costs."""
    stated = {reason.path: reason.stated for _, reason in steps(finding.reasons) if reason.path and reason.stated}
    losses = finding.losses
    witness = finding.witness or {}
    order = sorted(witness, key=lambda path: -losses.get(path, Fraction(0)))
    return [(path, _corner(path, witness[path], stated.get(path, "")), _cost(finding, path)) for path in order]


def _cost(finding: Finding, path: str) -> str:
    if finding.headroom is None or not finding.losses.get(path):
        return ""
    return f"takes {difference(finding.losses[path], finding.headroom.unit)} of the headroom"


def _heading(page: Page, rulepack: str, rule: str, title: str) -> None:
    page.heading(f"{rulepack}/{rule}")
    page.line(title, indent=2, hang=0)


def _finding(page: Page, finding: Finding) -> None:
    _heading(page, finding.rulepack, finding.rule, finding.title)
    page.blank()
    segments = [
        finding.verdict.value.upper(),
        finding.consequence.value,
        _subjects(finding),
        place(finding.span),
        figures(finding),
    ]
    page.flow(segments, indent=2, verdict=finding.verdict.value)
    page.line(finding.sentence, indent=2, hang=0)
    if finding.concession is not None:
        page.line(concession_words(finding.concession), indent=2)
    _argument(page, finding)
    _list(page, "What governs", finding.governing)
    _list(page, "Assumed, because the document does not state it", [assumed_words(finding)] if finding.assumed else ())
    _list(page, "Missing", finding.missing)
    _witness(page, finding)
    _list(page, "What to try, the first thing first", finding.remedies)
    _list(page, "Caution", [finding.caution] if finding.caution else ())
    _list(page, "What proves it on site", [finding.evidence] if finding.evidence else ())
    _list(page, "Basis", finding.basis)


def _subjects(finding: Finding) -> str:
    return ", ".join(f"{name} = {path}" for name, path in finding.subjects.items()) or subject_words("")


def _argument(page: Page, finding: Finding) -> None:
    if not finding.reasons:
        return
    page.blank()
    page.line("The argument", indent=2)
    places = {-1: ""}
    for depth, reason in steps(finding.reasons):
        places[depth] = place(reason.span)
        indent = 4 + 2 * depth
        value = f": {reason.value}" if reason.value else ""
        note = f"  [{reason.note}]" if reason.note else ""
        # A clause of the rule tells its line once, not again for each of its parts.
        is_new = places[depth] not in ("", places[depth - 1])
        line = f"  ({places[depth]})" if is_new and not reason.path else ""
        page.line(f"{reason.text}{value}{note}{line}", indent)
        source = [reason.path, f"stated as {reason.stated}" if reason.stated else "", reason.origin, places[depth]]
        if reason.path:
            page.line("from " + ", ".join(filter(None, source)), indent + 4)


def _list(page: Page, title: str, items: Iterable[str]) -> None:
    lines = list(filter(None, items))
    if not lines:
        return
    page.blank()
    page.line(title, indent=2)
    for item in lines:
        page.line(item, indent=4)


def _witness(page: Page, finding: Finding) -> None:
    if not finding.witness:
        return
    page.blank()
    page.line("Worst corner of the tolerances", indent=2)
    page.table(witness_words(finding), indent=4)


def _corner(path: str, value: Fraction, stated: str) -> str:
    if path.startswith(SHARED) or path.endswith(ERROR):
        return f"{'+' if value > 0 else ''}{_exact(value * 100, '%')} of the stated error"
    match = _STATED.match(stated)
    unit = _unit(match["unit"]) if match and match["unit"] else None
    if match is not None and (unit is not None or not match["unit"]):
        return _exact(unit.from_si(value), unit.symbol) if unit else _exact(value, "")
    return _exact(value, "") + " (SI units)"


def _exact(value: Fraction, symbol: str) -> str:
    text, about = plain_decimal(value), ""
    if len(text) > _WITNESS_LENGTH or Fraction(text) != value:
        text, about = round_digits(value, _WITNESS_DIGITS), "about "
    return about + with_unit(text, symbol)


def _unit(text: str) -> Unit | None:
    try:
        return parse_unit(text)
    except UnknownUnit:
        return None
