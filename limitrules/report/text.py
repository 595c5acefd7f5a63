"""A survey as text: what fails and by how much, what to find out, what was accepted, what holds."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby

from limitrules.report.figures import count_words, figure_words, headroom_words, joined, limit_words, worst_words
from limitrules.report.layout import USUAL_WIDTH, Page
from limitrules.report.order import (
    CAUTIONS,
    Groups,
    counts,
    grouped,
    missing_first,
    place,
    rule_names,
    subject_words,
    worst_first,
)
from limitrules.rules.findings import Concession, Consequence, Finding, MissingValue, SurveyResult, Verdict

Names = dict[tuple[str, str], str]


def survey_text(
    result: SurveyResult,
    fail_on: Consequence = Consequence.OUTAGE,
    colour: bool = False,
    width: int = USUAL_WIDTH,
) -> str:
    """The report of a survey, to be read from the top until the reader knows enough."""
    page = Page(width, colour)
    groups, names = grouped(result, fail_on), rule_names(result)
    _head(page, result, groups, fail_on)
    _outstanding(page, result, groups, fail_on, names)
    _to_find_out(page, result, groups, names)
    _concessions(page, result, names)
    _met(page, groups, names)
    _not_applicable(page, result, names)
    cautions(page)
    return page.text()


def verdict_sentence(groups: Groups, fail_on: Consequence) -> str:
    """The outcome in one line of words."""
    found = counts(groups)
    parts = [f"{count_words(count)} {verdict.value}" for verdict, count in found.items() if count]
    if groups.conceded:
        parts.append(f"{count_words(len(groups.conceded))} conceded")
    if not parts:
        return "Nothing was checked: no rule found anything to look at."
    outcome = "This system fails" if groups.failing else "Nothing fails"
    which = fail_on.value if fail_on is Consequence.HAZARD else f"{fail_on.value} or worse"
    return f"{outcome} (class {which}): {joined(parts)}."


def headline(finding: Finding, rule: str) -> list[str]:
    """Verdict, class, subject, rule, and the figures, as segments of one line."""
    verdict = finding.verdict.value.upper()
    return [verdict, finding.consequence.value, subject_words(finding.subject), rule, figures(finding)]


def figures(finding: Finding) -> str:
    """The figure, its limit and the headroom; empty where the rule compares no figures."""
    if finding.headroom is None:
        return ""
    figure = figure_words(finding.headroom)
    limit = limit_words(finding.headroom)
    against = f"{figure} against {limit}" if figure and limit else figure or limit
    return "; ".join(filter(None, [against, headroom_words(finding.headroom)]))


def assumed_words(finding: Finding) -> str:
    """``charge.error taken as 0.6 %``, for every value that the rule had to assume."""
    return joined(f"{item.text} taken as {item.value}" for item in finding.assumed)


def cautions(page: Page) -> None:
    """What every report for people ends with."""
    page.heading("Before you act")
    for caution in CAUTIONS:
        page.line(caution, indent=2, hang=0)


def concession_words(concession: Concession) -> str:
    """Who accepted what, until when, and why."""
    expired = " (EXPIRED)" if concession.expired else ""
    return f"accepted by {concession.who} until {concession.until}{expired}: {concession.why}"


def _head(page: Page, result: SurveyResult, groups: Groups, fail_on: Consequence) -> None:
    page.heading(f"Survey of {result.system}")
    rulepacks = joined(f"{item.name} {item.version}" for item in result.rulepacks)
    page.line(f"document   {result.file}", indent=2, hang=11)
    page.line(f"rulepacks  {rulepacks or 'none'}", indent=2, hang=11)
    page.blank()
    page.line(verdict_sentence(groups, fail_on))
    for note in result.notes:
        page.line(f"Note: {note}")


def _outstanding(page: Page, result: SurveyResult, groups: Groups, fail_on: Consequence, names: Names) -> None:
    decided = tuple(item for item in groups.open if item.verdict is not Verdict.UNDETERMINED)
    if groups.failing:
        page.heading("What fails")
        _findings(page, groups.failing, names)
    if decided:
        page.heading(f"What does not hold, but counts less than {fail_on.value}")
        _findings(page, decided, names)
    if groups.failing or decided:
        page.blank()
        page.line(f"For the whole argument of one of these: limitrules why {result.file} RULE SUBJECT")


def _findings(page: Page, findings: Iterable[Finding], names: Names) -> None:
    """One after the other; what to try stands once where the same rule fails several times in a row."""
    before = None
    for finding in findings:
        _finding(page, finding, names)
        rule = (finding.rulepack, finding.rule)
        if rule != before:
            _advice(page, finding)
        before = rule


def _finding(page: Page, finding: Finding, names: Names) -> None:
    rule = names[finding.rulepack, finding.rule]
    page.blank()
    page.flow(headline(finding, rule), indent=2, hang=2, verdict=finding.verdict.value)
    page.line(finding.sentence or finding.title, indent=6, hang=0)
    if finding.missing:
        page.line(f"Missing: {', '.join(finding.missing)}", indent=6)
    if finding.governing:
        page.line(f"Governs: {', '.join(finding.governing)}", indent=6)
    if finding.assumed:
        page.line(f"Rests on an assumption: {assumed_words(finding)}", indent=6)
    if finding.concession is not None:
        page.line(f"The concession has expired ({finding.concession.until}), so this counts again.", indent=6)


def _advice(page: Page, finding: Finding) -> None:
    if finding.remedies and finding.verdict is not Verdict.UNDETERMINED:
        more = len(finding.remedies) - 1
        other = f" (or {count_words(more, 'other way', 'other ways')}: ask why)" if more else ""
        page.line(f"Try: {finding.remedies[0]}{other}", indent=6)
    if finding.caution:
        page.line(f"Caution: {finding.caution}", indent=6)


def _to_find_out(page: Page, result: SurveyResult, groups: Groups, names: Names) -> None:
    waiting = [item for item in groups.outstanding if item.verdict is Verdict.UNDETERMINED]
    if not (result.missing or waiting):
        return
    page.heading("To find out")
    for value in missing_first(result.missing):
        page.blank()
        page.flow([value.path, place(value.span)], indent=2)
        page.line(value.meaning, indent=6, hang=0)
        page.line(_decides(value), indent=6, hang=0)
    if waiting:
        page.blank()
        page.line("Undetermined until then:", indent=2)
    for finding in waiting:
        fails = "fails until it is decided" if finding in groups.failing else ""
        missing = "" if finding.missing else finding.sentence or "no value is missing; ask why"
        row = [finding.consequence.value, subject_words(finding.subject), names[finding.rulepack, finding.rule]]
        page.flow([*row, fails, missing], indent=4)


def _decides(value: MissingValue) -> str:
    needed = len(value.findings)
    worst = f"the worst of them {value.worst.value}" if needed > 1 else f"of class {value.worst.value}"
    decides = f"Decides {count_words(value.decides, 'finding')}" if value.decides else "Decides no finding"
    return f"{decides} by itself; {count_words(needed, 'needs', 'need')} it, {worst}."


def _concessions(page: Page, result: SurveyResult, names: Names) -> None:
    findings = [item for item in worst_first(result.findings) if item.concession is not None]
    if not findings:
        return
    page.heading("Conceded")
    for finding in findings:
        assert finding.concession is not None
        page.blank()
        page.flow(headline(finding, names[finding.rulepack, finding.rule]), 2, 2, verdict=finding.verdict.value)
        words = concession_words(finding.concession)
        page.line(words[0].upper() + words[1:], indent=6, hang=0)
        if finding.verdict is Verdict.MET:
            page.line("No longer needed: the rule is met.", indent=6)
        elif finding.concession.expired:
            page.line("Counted among the findings above, like any other.", indent=6)


def _met(page: Page, groups: Groups, names: Names) -> None:
    if not groups.met:
        return
    page.heading("Checked and met")
    rows = []
    for finding in groups.met:
        worst = worst_words(finding.headroom) if finding.headroom else "holds (no figure)"
        note = f", resting on an assumption: {assumed_words(finding)}" if finding.assumed else ""
        rows.append([names[finding.rulepack, finding.rule], subject_words(finding.subject), worst + note])
    page.table(rows, indent=2)


def _not_applicable(page: Page, result: SurveyResult, names: Names) -> None:
    if not result.not_applicable:
        return
    page.heading("Rules that did not apply")
    ordered = sorted(result.not_applicable, key=lambda item: (item.rulepack, item.rule, item.because))
    for (rulepack, rule, because), items in groupby(ordered, lambda item: (item.rulepack, item.rule, item.because)):
        subjects = "; ".join(filter(None, (item.subject for item in items)))
        where = f" ({subjects})" if subjects else ""
        page.line(f"{names[rulepack, rule]}{where}: {because}", indent=2)
