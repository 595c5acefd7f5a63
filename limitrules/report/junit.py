"""A survey as JUnit XML, in which pipelines read test results: a suite for each rulepack, a case for each finding."""

from __future__ import annotations

from xml.etree.ElementTree import Element, SubElement, indent, tostring

from limitrules.report.order import CAUTIONS, place, subject_words, worst_first
from limitrules.report.places import missing_by_path, place_of
from limitrules.report.text import figures
from limitrules.rules.findings import Consequence, Finding, MissingValue, SurveyResult, Verdict


def survey_junit(result: SurveyResult, fail_on: Consequence = Consequence.OUTAGE) -> str:
    """Findings that fail the survey are failures, open and conceded ones are skipped, the others passed."""
    failing = {id(item) for item in result.failing(fail_on)}
    missing = missing_by_path(result)
    root = Element("testsuites", name=_clean(f"limitrules: {result.system}"))
    for pack in result.rulepacks:
        own = [item for item in worst_first(result.findings) if item.rulepack == pack.name]
        suite = SubElement(root, "testsuite", name=pack.name)
        for finding in own:
            _case(suite, finding, id(finding) in failing, missing)
        failures, skipped = (len(suite.findall(f"testcase/{name}")) for name in ("failure", "skipped"))
        counts = {"tests": len(own), "failures": failures, "errors": 0, "skipped": skipped}
        suite.attrib.update({name: str(count) for name, count in counts.items()})
        note = SubElement(suite, "system-out")
        note.text = _clean("\n".join([f"rulepack {pack.name} {pack.version} {pack.content}", *CAUTIONS]))
    for name in ("tests", "failures", "errors", "skipped"):
        root.set(name, str(sum(int(suite.get(name, "0")) for suite in root)))
    indent(root)
    return f'<?xml version="1.0" encoding="utf-8"?>\n{tostring(root, encoding="unicode")}\n'


def _case(suite: Element, finding: Finding, fails: bool, missing: dict[str, MissingValue]) -> None:
    name = f"{finding.rule} [{subject_words(finding.subject)}]"
    case = SubElement(suite, "testcase", classname=finding.rulepack, name=_clean(name))
    span = place_of(finding, missing)
    if span is not None:
        case.set("file", _clean(span.source.name))
        case.set("line", str(span.line))
    words = f"{finding.verdict.value}, {finding.consequence.value}: {finding.sentence or finding.title}"
    if fails:
        failure = SubElement(case, "failure", type=finding.verdict.value, message=_clean(words))
        failure.text = _clean(_body(finding, place(span)))
    elif finding.conceded and finding.concession is not None:
        concession = finding.concession
        SubElement(case, "skipped", message=_clean(f"accepted by {concession.who} until {concession.until}: {words}"))
    elif finding.verdict is not Verdict.MET:
        SubElement(case, "skipped", message=_clean(words))


def _body(finding: Finding, where: str) -> str:
    lines = [figures(finding), where]
    lines += [f"Missing: {path}" for path in finding.missing]
    lines += [f"Assumed: {item.text} taken as {item.value}" for item in finding.assumed]
    lines += [f"Try: {remedy}" for remedy in finding.remedies]
    lines += [f"Caution: {finding.caution}"] if finding.caution else []
    return "\n".join(line for line in lines if line)


def _clean(text: str) -> str:
    """Without characters that XML cannot carry."""
    return "".join(char for char in text if char in "\t\n" or char.isprintable())
