"""`limitrules survey` and `limitrules why`."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from limitrules.commands.common import (
    FINDINGS_FAIL,
    NOTHING_FAILS,
    UNUSABLE_INPUT,
    Answer,
    Arguments,
    inputs,
    opened,
    report,
    unknown,
    unused_rulepacks,
)

if TYPE_CHECKING:
    from limitrules.api import Survey
    from limitrules.rules.findings import Consequence, Finding, NotApplicable, SurveyResult


def survey(arguments: Arguments) -> Answer:
    """What a survey found; 1 where findings fail."""
    from limitrules.report.output import check_target
    from limitrules.rules.findings import Consequence

    fail_on = Consequence(arguments.fail_on)
    if arguments.certify is not None:
        check_target(arguments.certify, inputs(arguments))
    open_survey = opened(arguments)
    result = _result_of(open_survey)
    if arguments.certify is not None:
        _certify(open_survey, arguments)
    text = _told(arguments, result, fail_on)
    if not result.findings:  # nothing was checked, which must not pass for all is well
        return text, UNUSABLE_INPUT
    return text, FINDINGS_FAIL if result.failing(fail_on) else NOTHING_FAILS


def _told(arguments: Arguments, result: SurveyResult, fail_on: Consequence) -> str:
    """The report in the form asked for; only what it needs is imported."""
    if arguments.format == "sarif":
        from limitrules.report.data import as_json
        from limitrules.report.sarif import survey_sarif

        return as_json(survey_sarif(result, fail_on))
    if arguments.format == "junit":
        from limitrules.report.junit import survey_junit

        return survey_junit(result, fail_on)
    if arguments.format == "html":
        from limitrules.report.web import survey_html

        return survey_html(result, fail_on)
    if arguments.format == "markdown":
        from limitrules.report.markdown import survey_markdown

        return survey_markdown(result, fail_on)
    from limitrules.report.data import survey_data
    from limitrules.report.text import survey_text

    return report(arguments, lambda: survey_data(result, fail_on), partial(survey_text, result, fail_on))


def why(arguments: Arguments) -> Answer:
    """The whole argument behind findings."""
    from limitrules.report.data import why_data
    from limitrules.report.why import why_text

    chosen = _asked_for(_result_of(opened(arguments)), arguments.rule, arguments.subject)
    return report(arguments, lambda: why_data(*chosen), partial(why_text, *chosen)), NOTHING_FAILS


def _result_of(survey: Survey) -> SurveyResult:
    from attrs import evolve

    result = survey.result()
    return evolve(result, notes=(*result.notes, *unused_rulepacks(item.name for item in result.rulepacks)))


def _certify(survey: Survey, arguments: Arguments) -> None:
    from limitrules.api import certificates
    from limitrules.report.data import as_json
    from limitrules.report.output import write_whole

    write_whole(arguments.certify, as_json(certificates(survey)))


def _asked_for(
    result: SurveyResult, rule: str, subject: str | None
) -> tuple[tuple[Finding, ...], tuple[NotApplicable, ...]]:
    """The findings of one rule, and where it did not apply; only those on the subject where one is given."""
    every: tuple[Finding | NotApplicable, ...] = (*result.findings, *result.not_applicable)

    def named(item: Finding | NotApplicable) -> bool:
        return rule in (item.rule, f"{item.rulepack}/{item.rule}")

    findings = tuple(item for item in result.findings if named(item))
    others = tuple(item for item in result.not_applicable if named(item))
    if not findings and not others:
        unknown("rule", rule, [item.rule for item in every])
    if subject is None:
        return findings, others
    wanted = set(_paths(subject))
    chosen = tuple(item for item in findings if wanted <= set(_paths(item.subject)))
    unmatched = tuple(item for item in others if wanted <= set(_paths(item.subject)))
    if not chosen and not unmatched:
        unknown("subject", subject, [path for item in every if named(item) for path in _paths(item.subject)])
    return chosen, unmatched


def _paths(subject: str) -> list[str]:
    return [path.strip() for path in (subject or "site").split(",")]
