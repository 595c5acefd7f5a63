"""Whom a rule concerns, what was assumed, and which member governs."""

from __future__ import annotations

import pytest

from limitrules.engine.survey import Survey
from limitrules.foundation.diagnostics import InputError
from limitrules.rules.findings import Assumption
from tests.rules.support import document, findings, rule, rulepacks, surveyed, system, verdicts

SITE = """
    site: {ambient: {min: -14 degC, max: 35 degC}}
    packs:
      south: {charge: {rated: 100 A, ceiling: 93 A}}
      north: {charge: {rated: 105 A, ceiling: 96 A}}
      west: {charge: {ceiling: 97 A}}
    converters:
      main: {feeds: [north, south], charge: {ceiling: 146 A}}
      spare: {feeds: [north], charge: {ceiling: 20 A}}
    """


# subjects


def test_each_component_of_a_kind_in_the_order_of_the_document() -> None:
    assert verdicts(SITE, rule("each pack p", "p.charge.ceiling at or below 96 A")) == {
        "packs.south": "met",
        "packs.north": "met",
        "packs.west": "breached",
    }
    packs = rulepacks(document("rules:\n") + rule("each pack p", "yes"))
    checks = Survey(system(SITE), packs).checks
    assert [check.binder.names.components["p"].id for check in checks] == ["south", "north", "west"]


def test_each_in_a_relation() -> None:
    assert verdicts(
        SITE, rule("each converter c, each pack p in c.feeds", "c.charge.ceiling at or above p.charge.rated")
    ) == {
        "converters.main, packs.north": "met",
        "converters.main, packs.south": "met",
        "converters.spare, packs.north": "breached",
    }


def test_each_in_the_relation_seen_from_the_other_side() -> None:
    about = "each pack p, each converter c in p.converters"
    assert list(verdicts(SITE, rule(about, "yes"))) == [
        "packs.north, converters.main",
        "packs.north, converters.spare",
        "packs.south, converters.main",
    ]


def test_each_two_of_two_kinds() -> None:
    assert len(verdicts(SITE, rule("each pack p, each converter c", "p.charge.ceiling below c.charge.ceiling"))) == 6


def test_each_pair_once_and_none_with_itself() -> None:
    found = verdicts(SITE, rule("each pair p, q in packs", "p.charge.ceiling within 3 A of q.charge.ceiling"))
    assert found == {
        "packs.south, packs.north": "met",
        "packs.south, packs.west": "breached",
        "packs.north, packs.west": "met",
    }
    assert not any(subject.split(", ")[0] == subject.split(", ")[1] for subject in found)


def test_the_site_as_a_whole() -> None:
    found = surveyed(SITE, rule("the site", "site.ambient.max below 40 degC and count of p over p in packs equals 3"))
    assert [(item.subject, item.verdict.value) for item in found.findings] == [("", "met")]


def test_no_subject_is_not_applicable_and_says_why() -> None:
    found = surveyed("packs: {north: {soc: {now: 50 %}}}\n", rule("each converter c", "c.charge.ceiling below 3 A"))
    assert found.findings == ()
    assert [(item.rule, item.because) for item in found.not_applicable] == [
        ("a-rule", "the document lists no converter")
    ]
    found = surveyed(
        "packs: {north: {soc: {now: 50 %}}}\n", rule("each pair p, q in packs", "p.soc.now equals q.soc.now")
    )
    assert [item.because for item in found.not_applicable] == ["nothing in the document fits `each pair p, q in packs`"]
    found = surveyed(
        "packs: {north: {}}\nconverters: {main: {feeds: []}}\n", rule("each converter c, each pack p in c.feeds", "yes")
    )
    assert [item.because for item in found.not_applicable] == [
        "nothing in the document fits `each converter c, each pack p in c.feeds`"
    ]


@pytest.mark.parametrize("feeds", ["", "feeds: unknown"], ids=["missing", "unknown"])
def test_a_missing_tie_leaves_the_rule_undetermined(feeds: str) -> None:
    body = f"packs: {{north: {{}}}}\nconverters: {{main: {{{feeds}}}}}\n"
    for about in ("each converter c, each pack p in c.feeds", "each pack p, each converter c in p.converters"):
        (found,) = surveyed(body, rule(about, "yes")).findings
        assert found.verdict.value == "undetermined"
        assert found.missing == ("converters.main.feeds",)
        assert found.sentence == "Whom this rule concerns cannot be told, since converters.main.feeds is not stated."


def test_a_tie_that_is_missing_on_the_other_side_is_not_taken_for_an_empty_one() -> None:
    """The current of a converter that does not say whom it feeds may come on top."""
    body = (
        "packs: {north: {charge: {rated: 105 A}}}\n"
        "converters: {main: {feeds: [north], charge: {ceiling: 90 A}}, other: {}}\n"
    )
    total = rule("each pack p", "total of c.charge.ceiling over c in p.converters at or below p.charge.rated")
    (found,) = surveyed(body, total).findings
    assert (found.verdict.value, found.missing) == ("undetermined", ("converters.other.feeds",))
    assert verdicts(body.replace("other: {}", "other: {feeds: []}"), total) == {"packs.north": "met"}


def test_a_condition_that_does_not_hold_takes_subjects_out() -> None:
    found = surveyed(
        SITE, rule("each pack p", "p.charge.ceiling below p.charge.rated", "when: p.charge.rated is stated")
    )
    assert {item.subject for item in found.findings} == {"packs.north", "packs.south"}
    assert [(item.subject, item.because) for item in found.not_applicable] == [
        ("packs.west", "it applies when p.charge.rated is stated")
    ]


def test_a_condition_that_is_missing_leaves_the_rule_undetermined() -> None:
    when = "when: p.charge.rated above 102 A"
    assert verdicts(SITE, rule("each pack p", "p.charge.ceiling below 94 A", when)) == {
        "packs.north": "breached",
        "packs.west": "undetermined",
    }
    assert verdicts(SITE, rule("each pack p", "p.charge.ceiling below 98 A", when))["packs.west"] == "met"


# assumptions

RATED = "(p.charge.rated otherwise 90 A)"


def test_an_assumption_is_recorded_where_it_was_made() -> None:
    found = findings(SITE, rule("each pack p", f"p.charge.ceiling at or below {RATED}"))
    assert found["packs.north"].assumed == ()
    assert found["packs.west"].assumed == (Assumption("packs.west.charge.rated", "90 A"),)
    assert found["packs.west"].verdict.value == "breached"


def test_a_verdict_that_is_met_on_an_assumption_says_so() -> None:
    found = findings(SITE, rule("each pack p", "p.charge.ceiling at or below (p.charge.rated otherwise 120 A)"))
    assert found["packs.west"].verdict.value == "met"
    assert found["packs.west"].assumed == (Assumption("packs.west.charge.rated", "120 A"),)


def test_assumptions_come_through_definitions_and_parameters_once() -> None:
    head = "parameters:\n  usual: {value: 120 A, meaning: what is usual}\n"
    text = rule(
        "each pack p",
        "p.charge.ceiling at or below limit and limit above 3 A",
        "let: {limit: (p.charge.rated otherwise usual)}",
    )
    found = findings(SITE, text, head=head)
    assert found["packs.west"].assumed == (Assumption("packs.west.charge.rated", "120 A"),)
    assert found["packs.north"].assumed == ()


def test_an_assumption_for_something_unknown() -> None:
    body = "packs: {north: {charge: {rated: unknown, ceiling: 96 A}}}\n"
    found = findings(body, rule("each pack p", f"p.charge.ceiling above {RATED}"))
    assert found["packs.north"].assumed == (Assumption("packs.north.charge.rated", "90 A"),)


def test_an_assumed_word_or_flag() -> None:
    body = "packs: {north: {cell: a}}\ncells: {a: {}}\n"
    word = rule("each pack p", "(p.cell.chemistry otherwise 'lfp') equals 'lfp'".replace("'", '"'))
    (found,) = findings(body, word).values()
    assert (found.verdict.value, [item.text for item in found.assumed]) == ("met", ["cells.a.chemistry"])


def test_an_assumption_about_what_a_missing_tie_leads_to() -> None:
    found = findings("packs: {north: {}}\n", rule("each pack p", "(p.cell.capacity otherwise 100 Ah) above 3 Ah"))
    assert found["packs.north"].assumed == (Assumption("packs.north.cell", "100 Ah"),)


# governing members


def test_the_lowest_of_a_list_names_its_member() -> None:
    text = rule(
        "each pack p, each converter c in p.converters",
        "lowest of (p.charge.ceiling, c.charge.ceiling, 95 A) at or below 96 A",
    )
    found = findings(SITE, text)
    assert found["packs.north, converters.main"].governing == ("95 A",)
    assert found["packs.north, converters.spare"].governing == ("c.charge.ceiling",)
    assert found["packs.south, converters.main"].governing == ("p.charge.ceiling",)


def test_the_highest_of_a_collection_names_its_member() -> None:
    found = surveyed(SITE, rule("the site", "highest of p.charge.ceiling over p in packs at or below 97 A"))
    assert found.findings[0].governing == ("packs.west",)


def test_members_that_tie_govern_together() -> None:
    body = (
        "packs: {north: {charge: {ceiling: 96 A}}, south: {charge: {ceiling: 96 A}}, west: {charge: {ceiling: 99 A}}}\n"
    )
    found = surveyed(body, rule("the site", "lowest of p.charge.ceiling over p in packs at or above 90 A"))
    assert found.findings[0].governing == ("packs.north", "packs.south")


def test_nothing_governs_where_a_member_is_missing() -> None:
    found = surveyed(SITE, rule("the site", "lowest of p.charge.rated over p in packs at or above 90 A"))
    assert (found.findings[0].verdict.value, found.findings[0].governing) == ("undetermined", ())


def test_a_definition_that_governs_is_named() -> None:
    text = rule("each pack p", "limit at or below 96 A", "let: {limit: 'lowest of (p.charge.ceiling, 200 A)'}")
    assert findings(SITE, text)["packs.north"].governing == ("p.charge.ceiling",)


def test_a_member_that_a_condition_takes_out_does_not_govern() -> None:
    text = rule(
        "the site",
        "(lowest of p.charge.ceiling over p in packs where p.charge.rated is stated and p.charge.rated "
        "above 102 A) at or above 90 A",
    )
    with pytest.raises(InputError, match="type-clash"):
        surveyed(SITE, text)
    text = text.replace(
        "p.charge.rated is stated and p.charge.rated above 102 A",
        "(p.charge.rated is stated and p.charge.rated above 102 A)",
    )
    (found,) = surveyed(SITE, text).findings
    assert (found.verdict.value, found.governing) == ("met", ("packs.north",))


def test_any_word_can_name_a_subject() -> None:
    text = rule("each pack self", "highest of x.charge.ceiling over x in packs at or below self.charge.ceiling + 9 A")
    assert set(verdicts(SITE, text).values()) == {"met"}
