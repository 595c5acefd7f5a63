from __future__ import annotations

import re

import pytest
from attrs import evolve

from limitrules.foundation.exact import parse_decimal
from limitrules.report.layout import fitted
from limitrules.report.order import CAUTIONS, grouped, rule_names
from limitrules.report.text import survey_text, verdict_sentence
from limitrules.rules.findings import Concession, Consequence, Headroom, NotApplicable, SurveyResult, Verdict
from tests.report import pinned
from tests.report.samples import AMPERE, decimal, finding, ladder, result, rich

ESCAPE = re.compile(r"\033\[[0-9;]*m")


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("survey.txt", survey_text(rich())),
        ("survey-narrow.txt", survey_text(rich(), width=60)),
        ("survey-wide.txt", survey_text(rich(), width=150)),
        ("survey-colour.txt", survey_text(rich(), colour=True)),
        ("survey-plain.txt", fitted(survey_text(rich()), "ascii")),
        ("survey-hazard.txt", survey_text(rich(), Consequence.HAZARD)),
        ("survey-nothing.txt", survey_text(result(rulepacks=()))),
    ],
)
def test_the_whole_report_is_as_pinned(name: str, text: str) -> None:
    pinned.check(name, text)


def section(text: str, heading: str) -> str:
    """The lines under a heading, up to the next one."""
    match = re.search(rf"^{re.escape(heading)}\n(.*?)(?=^\S|\Z)", text, re.MULTILINE | re.DOTALL)
    assert match, f"no section {heading}"
    return match[1]


def test_no_colour_unless_asked_and_none_that_carries_meaning() -> None:
    coloured = survey_text(rich(), colour=True)
    assert "\033" not in survey_text(rich())
    assert "\033[" in coloured
    assert ESCAPE.sub("", coloured) == survey_text(rich())


def test_every_finding_is_told_where_it_belongs() -> None:
    text = survey_text(rich())
    fails = section(text, "What fails")
    order = ["interrupting-rating", "fault-clearing", "limit-ladder-ordered", "cold-charge-blocked"]
    assert sorted(order, key=fails.index) == order
    assert "capacity-usable" in section(text, "What does not hold, but counts less than outage")
    assert "cable-drop" in section(text, "Conceded")
    assert "cable-drop" not in fails
    assert "soc-drift" in section(text, "To find out")
    met = section(text, "Checked and met")
    assert [line.split()[0] for line in met.splitlines() if re.match(r"  \S", line)] == [
        "heat-integral", "rebound-hysteresis", "label-legible", "governing/label-present", "hold-time",
    ]  # fmt: skip
    assert "link-fallback (converters.main; converters.spare): it has no link" in text


def test_the_worst_class_comes_first_and_breached_before_marginal() -> None:
    findings = [
        finding(f"{verdict.value}-{consequence.value}", verdict, consequence)
        for verdict in (Verdict.MARGINAL, Verdict.BREACHED)
        for consequence in reversed(Consequence)
    ]
    text = survey_text(result(*findings), Consequence.ADVICE)
    told = re.findall(r"^  (?:BREACHED|MARGINAL)  (\w+)  packs.north  (\w+)-", text, re.MULTILINE)
    assert told == [(item.value, verdict) for item in Consequence for verdict in ("breached", "marginal")]


def test_every_report_ends_with_the_cautions() -> None:
    for sample in (rich(), result()):
        words = " ".join(survey_text(sample).split())
        assert words.endswith(" ".join(CAUTIONS))


def test_a_verdict_on_an_assumed_value_says_so() -> None:
    text = survey_text(rich(), width=150)
    assert "resting on an assumption: k.temperature taken as 70 degC" in section(text, "Checked and met")
    assert "Rests on an assumption: c.contact_resistance taken as 0.2 mohm" in text


def test_an_expired_concession_counts_again_and_a_needless_one_is_named() -> None:
    text = survey_text(rich())
    assert "The concession has expired (2025-10-31), so this counts again." in section(text, "What fails")
    conceded = section(text, "Conceded")
    assert "Accepted by R. Vale until 2025-10-31 (EXPIRED): Heater on order" in conceded
    assert "No longer needed: the rule is met." in conceded


def test_a_hazard_that_is_undetermined_fails_and_another_class_does_not() -> None:
    hazard = finding("a", Verdict.UNDETERMINED, Consequence.HAZARD, missing=("packs.north.x",))
    other = finding("b", Verdict.UNDETERMINED, Consequence.DAMAGE)
    text = survey_text(result(hazard, other))
    assert "Missing: packs.north.x" in section(text, "What fails")
    assert "a  fails until it is decided" in text
    assert "no value is missing; ask why" in section(text, "To find out")
    assert "This system fails" in text
    assert "Nothing fails" in survey_text(result(other))


def test_what_is_worth_most_to_find_out_comes_first() -> None:
    text = section(survey_text(rich()), "To find out")
    paths = ["packs.south.fault_current", "conductors.main.resistance", "site.ambient.min"]
    assert sorted(paths, key=text.index) == paths
    assert "Decides one finding by itself; two need it, the worst of them hazard." in text
    assert "The current that the pack drives into a dead short" in text


@pytest.mark.parametrize(
    ("sample", "fail_on", "sentence"),
    [
        (rich(), Consequence.DAMAGE,
         ("This system fails (class damage or worse): three breached, two marginal, two undetermined, five met and"
          " one conceded.")),
        (result(ladder()), Consequence.HAZARD, "Nothing fails (class hazard): one breached."),
        (result(), Consequence.OUTAGE, "Nothing was checked: no rule found anything to look at."),
    ],
)  # fmt: skip
def test_the_outcome_in_one_sentence(sample: SurveyResult, fail_on: Consequence, sentence: str) -> None:
    assert verdict_sentence(grouped(sample, fail_on), fail_on) == sentence


def test_nothing_checked_is_not_told_as_nothing_wrong() -> None:
    idle = NotApplicable("governing", "solar-sum", "Sum", Consequence.DAMAGE, "", "the system has no regulators")
    text = survey_text(result(not_applicable=(idle,)))
    assert "Nothing was checked" in text
    assert "Nothing fails" not in text
    assert "solar-sum: the system has no regulators" in text


def test_a_document_cannot_steer_the_terminal() -> None:
    text = survey_text(evolve(rich(), system="\033[2Jx", notes=("a\rb\x07",)))
    assert "\033" not in text
    assert "\x07" not in text


def test_a_tiny_breach_is_never_shown_as_zero() -> None:
    tiny = finding("x", Verdict.MARGINAL, headroom=Headroom(decimal("0.5"), decimal("-1e-12"), AMPERE, decimal("9")))
    assert "worst just below 0 A" in survey_text(result(tiny))
    assert not re.search(r"-0(?![.\d])", survey_text(result(tiny)))


@pytest.mark.parametrize("width", [0, 40, 72, 100, 140, 10_000])
def test_no_line_is_wider_than_the_page(width: int) -> None:
    page = min(max(width, 40), 160)
    long = [line for line in survey_text(rich(), width=width).splitlines() if len(line) > page]
    # Only a word that is longer than the line may stand out.
    assert [line for line in long if len(line.split()) > 1] == []


def test_a_rule_that_two_rulepacks_share_is_named_with_its_rulepack() -> None:
    names = rule_names(rich())
    assert names["house", "label-present"] == "house/label-present"
    assert names["governing", "cable-drop"] == "cable-drop"


def test_a_conceded_finding_that_is_not_met_is_counted_as_conceded_alone() -> None:
    accepted = Concession("x", "packs.north", "A. Person", "known", "2030-01-01")
    groups = grouped(result(finding("x", Verdict.BREACHED, concession=accepted)), Consequence.ADVICE)
    assert (groups.failing, groups.open, groups.met, len(groups.conceded)) == ((), (), (), 1)


def test_figures_in_a_report_can_be_read_back() -> None:
    shown = re.findall(r"headroom (\S+) A", survey_text(rich()))
    assert shown
    assert all(parse_decimal(item) is not None for item in shown)
