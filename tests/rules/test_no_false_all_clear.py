"""Ways in which something unknown, left out or changed once came out as met; each must stay shut."""

from __future__ import annotations

from fractions import Fraction

import pytest

from limitrules.engine.survey import Survey
from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.source import Source
from limitrules.model.system import parse_system
from limitrules.rules.findings import Finding, Verdict
from limitrules.rules.rulepack import check_drafts, parse_draft

PACK = "packs: {n: {charge: {ceiling: 100 A ± 5 %%, rated: 100 A}%s}}\n"


def survey(body: str, require: str, when: str = "", let: str = "", about: str = "each pack p") -> Survey:
    text = (
        "limitrules: rulepack/1\nname: trial\nversion: 1.0.0\nvocabulary: storage\nrules:\n  r:\n    title: t\n"
        f"    consequence: hazard\n    about: {about}\n    require: '{require}'\n    because: b\n"
    )
    text += f"    when: '{when}'\n" if when else ""
    text += f"    let: {{{let}}}\n" if let else ""
    rulepacks = check_drafts([parse_draft(Source("r.yaml", text))])
    system = parse_system(Source("s.yaml", f"limitrules: system/1\nname: s\n{body}"), rulepacks[0].vocabulary)
    return Survey(system, rulepacks)


def finding(made: Survey) -> Finding:
    (found,) = made.result().findings
    return found


def test_a_range_that_is_known_is_not_replaced_by_an_assumption() -> None:
    body = PACK % ", discharge: {configured: {value: unknown, range: 90 A .. 100 A}}"
    found = finding(survey(body, "(p.discharge.configured otherwise 50 A) at or below 60 A"))
    assert (found.verdict, found.assumed) == (Verdict.BREACHED, ())


def test_a_short_value_takes_the_origin_away() -> None:
    made = survey(PACK % "", "p.charge.ceiling is measured and p.charge.ceiling at or below p.charge.rated")
    made.change("packs.n.charge.ceiling", "{value: 90 A, origin: measured}")
    assert finding(made).verdict is Verdict.MET
    made.change("packs.n.charge.ceiling", "80 A")
    assert finding(made).verdict is Verdict.BREACHED


def test_a_count_stays_whole() -> None:
    made = survey(PACK % ", strings_parallel: 2", "p.strings_parallel at or below 3")
    with pytest.raises(InputError):
        made.change("packs.n.strings_parallel", "1.5")
    assert finding(made).verdict is Verdict.MET


def test_an_assumption_is_told_wherever_the_definition_is_used() -> None:
    require = "(e at or below 1000 % or p.cell is stated) and p.charge.ceiling * e at or below 96 A"
    found = finding(survey(PACK % "", require, let="e: p.soh otherwise 90 %"))
    assert found.verdict is Verdict.MET
    assert [(item.text, item.value) for item in found.assumed] == [("packs.n.soh", "90 %")]


def test_a_group_of_which_all_is_unknown_is_unknown() -> None:
    made = survey(PACK % ", discharge: {ceiling: unknown}", "p.discharge is unknown and not p.discharge is stated")
    assert finding(made).verdict is Verdict.MET


def test_an_open_tie_leaves_open_whether_there_is_one() -> None:
    body = PACK % "" + "contactors: {k: {packs: unknown, current: {rated: 5 A}}}\n"
    found = finding(survey(body, "not p.contactors is stated"))
    assert (found.verdict, found.missing) == (Verdict.UNDETERMINED, ("contactors.k.packs",))


@pytest.mark.parametrize("word", ["every", "no"])
def test_a_condition_that_takes_all_members_out_leaves_nothing_checked(word: str) -> None:
    require = f"{word} q in packs where q.charge.ceiling above 500 A: q.charge.rated above 1 A"
    assert finding(survey(PACK % "", require)).verdict is Verdict.UNDETERMINED


def test_the_worst_headroom_is_never_better_than_the_nominal_one() -> None:
    body = PACK % ", discharge: {ceiling: 90 A}"
    found = finding(survey(body, "p.charge.ceiling at or below 1 A", when="p.discharge.ceiling above 50 A"))
    assert found.headroom is not None
    assert found.headroom.nominal == Fraction(-99)
    assert found.headroom.worst == Fraction(-104)


def test_a_load_beyond_what_a_source_gives_is_breached() -> None:
    body = "packs: {n: {power: {measured: 10 kW}, voltage: {measured: 25 V}, resistance: {pulse: 20 mohm}}}\n"
    require = "current_at_power(p.power.measured, p.voltage.measured, p.resistance.pulse) at or below 800 A"
    assert finding(survey(body, require)).verdict is Verdict.BREACHED


def test_unknown_applicability_is_no_exemption() -> None:
    made = survey(PACK % "", "p.charge.ceiling at or below 1 A", when="p.soh above 50 %")
    assert made.result().not_applicable == ()
    assert finding(made).verdict is Verdict.UNDETERMINED
