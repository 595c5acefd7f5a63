"""Accepted findings: whose, until when, and what is said of a file that cannot be used."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import attrs
import pytest

from limitrules.engine.survey import Survey
from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.source import Source
from limitrules.rules.concessions import Concessions, concessions_beside, parse_concessions, read_concessions
from limitrules.rules.findings import Concession, Consequence, SurveyResult
from tests.rules.support import document, rule, rulepacks, system

TODAY = date(2026, 5, 2)
HEAD = "limitrules: concessions/1\nconcessions:\n"
ONE = HEAD + "  - {rule: a-rule, subject: packs.north, who: station keeper, why: winter only, until: 2027-03-31}\n"
PACKS = "packs: {north: {charge: {ceiling: 96 A}}, south: {charge: {ceiling: 97 A}}}\n"


def concessions(text: str, today: date = TODAY) -> Concessions:
    return attrs.evolve(parse_concessions(Source("c.yaml", text)), today=today)


def said(text: str) -> str:
    with pytest.raises(InputError) as caught:
        parse_concessions(Source("c.yaml", text))
    return str(caught.value)


def result(text: str, today: date = TODAY) -> SurveyResult:
    packs = rulepacks(document("rules:\n") + rule("each pack p", "p.charge.ceiling below 90 A"))
    return Survey(system(PACKS), packs, concessions(text, today)).result()


def conceded(text: str, today: date = TODAY) -> dict[str, bool]:
    return {item.subject: item.conceded for item in result(text, today).findings}


def test_a_concession_takes_out_the_finding_it_names() -> None:
    assert conceded(ONE) == {"packs.north": True, "packs.south": False}
    assert [item.subject for item in result(ONE).failing(Consequence.OUTAGE)] == ["packs.south"]
    (found,) = [item.concession for item in result(ONE).findings if item.concession]
    assert (found.who, found.why, found.until, found.expired) == ("station keeper", "winter only", "2027-03-31", False)
    assert found.span is not None
    assert str(found.span) == "c.yaml:3:5"


def test_without_a_subject_it_holds_for_all() -> None:
    assert conceded(ONE.replace("subject: packs.north, ", "")) == {"packs.north": True, "packs.south": True}


def test_another_rule_or_subject_is_not_touched_and_noted() -> None:
    for text in (ONE.replace("a-rule", "b-rule"), ONE.replace("packs.north", "packs.west")):
        found = result(text)
        assert not any(item.concession for item in found.findings)
        assert len(told(found.notes)) == 1
    assert told(result(ONE.replace("packs.north", "packs.west")).notes) == [
        "The concession for a-rule on packs.west fits no finding."
    ]
    assert told(result(ONE).notes) == []


def told(notes: tuple[str, ...]) -> list[str]:
    """What is said of concessions, among other notes."""
    return [note for note in notes if note.startswith("The concession")]


def test_the_subjects_may_stand_in_any_order() -> None:
    concessions = Concessions((Concession("r", "packs.a, converters.m", "me", "why", "2999-01-01"),))
    assert concessions.match("r", "converters.m, packs.a") is not None
    assert concessions.match("r", "converters.m") is None


@pytest.mark.parametrize(("day", "expired"), [("2026-05-01", True), ("2026-05-02", False), ("2026-05-03", False)])
def test_a_concession_ends_with_its_last_day(day: str, expired: bool) -> None:
    text = ONE.replace("2027-03-31", day)
    assert conceded(text)["packs.north"] is not expired
    found = result(text)
    assert [item.concession.expired for item in found.findings if item.concession] == [expired]
    assert len(found.failing(Consequence.OUTAGE)) == 1 + expired


def test_the_one_in_force_comes_before_an_expired_one_and_the_narrow_before_the_wide() -> None:
    more = "  - {rule: a-rule, subject: packs.north, who: visitor, why: old, until: 2020-01-01}\n"
    wide = "  - {rule: a-rule, who: owner, why: all of them, until: 2027-01-01}\n"
    for text in (HEAD + more + ONE.removeprefix(HEAD), ONE + more, HEAD + wide + ONE.removeprefix(HEAD)):
        match = concessions(text).match("a-rule", "packs.north")
        assert match is not None
        assert match.who == "station keeper"
    match = concessions(HEAD + more + wide).match("a-rule", "packs.north")
    assert match is not None
    assert match.who == "owner"
    assert concessions(ONE).match("a-rule", "packs.south") is None


def test_today_is_today_unless_told_otherwise() -> None:
    day = date.today() - timedelta(days=1)  # noqa: DTZ011
    match = parse_concessions(Source("c.yaml", ONE.replace("2027-03-31", day.isoformat()))).match(
        "a-rule", "packs.north"
    )
    assert match is not None
    assert match.expired


def test_no_concessions() -> None:
    assert concessions(HEAD.rstrip("\n") + " []\n").items == ()
    assert Concessions().match("a-rule", "packs.north") is None


@pytest.mark.parametrize(
    ("entry", "expected"),
    [
        ("until: 31.03.2027", "c.yaml:3:{at}: `31.03.2027` is not a day. [not-a-date]"),
        ("until: 2027-02-30", "c.yaml:3:{at}: `2027-02-30` is not a day. [not-a-date]"),
        ("until: 2027-3-31", "c.yaml:3:{at}: `2027-3-31` is not a day. [not-a-date]"),
        ("until: for ever", "c.yaml:3:{at}: `for ever` is not a day. [not-a-date]"),
        ("till: 2027-03-31", "c.yaml:3:5: A concession has to say `until`. [missing-key]"),
        ("until: null", "c.yaml:3:{at}: Nothing stands where a text for `until` is due. [not-a-text]"),
    ],
)
def test_days_that_are_none(entry: str, expected: str) -> None:
    line = f"  - {{rule: a-rule, who: station keeper, why: winter only now, {entry}}}"
    at = line.index(entry) + len("until: ") + 1
    assert expected.format(at=at) in said(f"{HEAD}{line}\n").splitlines()


def test_all_mistakes_come_at_once() -> None:
    text = HEAD + (
        "  - {rule: a-rule, why: because, until: 2027-03-31}\n"
        "  - a-rule\n"
        "  - {rule: b-rule, who: me, why: because, until: never, rules: x}\n"
    )
    assert [line for line in said(text).splitlines() if line.startswith("c.yaml")] == [
        "c.yaml:3:5: A concession has to say `who`. [missing-key]",
        "c.yaml:4:5: A single value stands where a map with rule, subject, who, why and until is due. [not-a-map]",
        "c.yaml:5:50: `never` is not a day. [not-a-date]",
        "c.yaml:5:57: `rules` is not known in a concession. [unknown-key]",
    ]


@pytest.mark.parametrize(
    ("text", "first"),
    [
        ("limitrules: concessions/1\n", "c.yaml:1:1: The concessions are no list. [not-a-list]"),
        ("limitrules: concessions/1\nconcessions: {a: b}\n", "c.yaml:2:14: The concessions are no list. [not-a-list]"),
        ("limitrules: system/1\nconcessions: []\n", "c.yaml:1:13: This is no concessions document. [other-document]"),
        (
            "limitrules: concessions/2\nconcessions: []\n",
            "c.yaml:1:13: This is version 2 of the concessions format; version 1 is known here. [other-version]",
        ),
        (
            HEAD.rstrip("\n") + " []\nsubject: x\n",
            "c.yaml:3:1: `subject` is not known in a concessions file. [unknown-key]",
        ),
    ],
)
def test_files_that_cannot_be_used(text: str, first: str) -> None:
    assert said(text).splitlines()[0] == first


def test_the_file_stands_beside_the_system(tmp_path: Path) -> None:
    assert concessions_beside("a/station.yaml") == Path("a/station.concessions.yaml")
    path = tmp_path / "station.concessions.yaml"
    path.write_text(ONE, encoding="utf-8")
    assert len(read_concessions(path).items) == 1
    with pytest.raises(InputError, match="no-such-file"):
        read_concessions(tmp_path / "other.yaml")
