"""Rulepacks used together: parameters that one sets for another, and words that one adds to the vocabulary."""

from __future__ import annotations

import pytest

from limitrules.engine.survey import Survey
from limitrules.language.printer import print_node
from limitrules.rules.rule import Parameter, Rulepack
from tests.rules.support import document, rule, rulepacks, said, system

BASE = (
    document(
        """
        parameters:
          spare: {value: 25 %, local: true, meaning: what stays free}
          gap: {value: 2 %, meaning: smallest gap between two rungs}
        rules:
        """,
        "base",
    )
    + rule("each pack p", "p.charge.ceiling at or below 100 A less spare")
    + rule("each pack p", "p.charge.ceiling at or below p.charge.rated less gap", name="b-rule")
)
PACK = "packs: {north: {charge: {rated: 105 A, ceiling: 96 A}}}\n"


def own(overrides: str) -> str:
    return document(f"overrides:\n  base:\n    {overrides}\n", "site")


def parameter(packs: tuple[Rulepack, ...], name: str) -> Parameter:
    return packs[0].parameters[name]


def verdict(*documents: str) -> str:
    result = Survey(system(PACK), rulepacks(*documents)).result()
    return next(item.verdict.value for item in result.findings if item.rule == "a-rule")


def test_a_local_share_may_become_an_amount() -> None:
    assert verdict(BASE) == "breached"
    assert verdict(BASE, own("spare: 3 A")) == "met"
    packs = rulepacks(BASE, own("spare: 3 A"))
    changed = parameter(packs, "spare")
    assert print_node(changed.value.clause.node) == "3 A"
    assert (changed.set_by, changed.reason) == ("site", "")
    assert changed.before is not None
    assert print_node(changed.before.clause.node) == "25 %"
    assert str(changed.span) == "rulepack2.yaml:7:5"
    assert parameter(packs, "gap").set_by == ""


def test_another_share_does() -> None:
    assert verdict(BASE, own("spare: 4 %")) == "met"
    assert verdict(BASE, own("spare: 5 %")) == "breached"
    assert verdict(BASE, own("spare: {value: 4 %}")) == "met"


def test_the_order_does_not_matter() -> None:
    assert parameter((rulepacks(own("spare: 3 A"), BASE)[1],), "spare").set_by == "site"


def test_what_is_not_local_needs_a_reason() -> None:
    assert said(BASE, own("gap: 3 %")) == (
        "rulepack2.yaml:7:5: the parameter `gap` is kept unless there is a written reason [reason-due]\n"
        "     7 |     gap: 3 %\n"
        "       |     ^^^\n"
        '  expected: `{value: ..., reason: "..."}`'
    )
    packs = rulepacks(BASE, own("gap: {value: 3 %, reason: agreed with the owner}"))
    assert parameter(packs, "gap").reason == "agreed with the owner"


@pytest.mark.parametrize(
    ("overrides", "first"),
    [
        ("spar: 3 A", "rulepack2.yaml:7:5: the rulepack `base` has no parameter `spar` [unknown-parameter]"),
        (
            "spare: 3 V",
            (
                "rulepack1.yaml:13:43: `100 A` is a current (A) and `spare` is a voltage (V); they cannot be "
                "joined by `less` [dimension-clash]"
            ),
        ),
        ("spare: 3 Amps", "rulepack2.yaml:7:14: `Amps` is not a unit that is known here [unknown-unit]"),
        ("spare: 3", "rulepack1.yaml:13:54: `less spare` does not say of what [bare-share]"),
        ("spare: 3 A + 2 A", "rulepack2.yaml:7:12: The parameter `spare` is computed. [not-a-literal]"),
        ("spare: [3 A]", "rulepack2.yaml:7:12: A list stands where a clause is due. [not-a-text]"),
        ("spare: {reason: because}", "rulepack2.yaml:7:5: The override of `spare` has no `value`. [missing-key]"),
        ("spare: {value: 3 A, why: because}", "rulepack2.yaml:7:25: `why` is not known in an override. [unknown-key]"),
    ],
)
def test_overrides_that_cannot_be_used(overrides: str, first: str) -> None:
    assert said(BASE, own(overrides)).splitlines()[0] == first


def test_a_misspelt_parameter_is_suggested() -> None:
    assert said(BASE, own("spar: 3 A")).splitlines()[-2:] == ["  expected: spare or gap", "  try: `spare`"]


def test_an_override_of_a_rulepack_that_is_not_used() -> None:
    assert said(document("overrides: {basis: {spare: 3 A}}\n", "site"), BASE) == (
        "rulepack1.yaml:5:21: the rulepack `basis` is not used here [override-of-nothing]\n"
        "     5 | overrides: {basis: {spare: 3 A}}\n"
        "       |                     ^^^^^\n"
        "  expected: site or base\n"
        "  try: `base`"
    )


def test_two_values_for_one_parameter_are_refused() -> None:
    other = own("spare: 4 A").replace("name: site", "name: team")
    assert "rulepack3.yaml:7:5: `spare` of `base` is set by `site` too [two-overrides]" in said(
        BASE, own("spare: 3 A"), other
    )


def test_two_rulepacks_of_one_name_are_refused() -> None:
    assert said(BASE, BASE).startswith(
        "rulepack2.yaml:2:7: the rulepack `base` is used already, from rulepack1.yaml [rulepack-twice]"
    )


def test_mistakes_of_all_rulepacks_come_at_once() -> None:
    wrong = BASE.replace("p.charge.ceiling at or below 100 A", "p.charge.celing at or below 100 A")
    found = said(wrong, own("spare: 3 Amps"), document("rules:\n", "third") + rule("each pak p", "yes"))
    assert sorted(line.partition(": ")[0] for line in found.splitlines() if line.startswith("rulepack")) == [
        "rulepack1.yaml:13:23",
        "rulepack2.yaml:7:14",
        "rulepack3.yaml:9:12",
    ]


def test_an_override_changes_the_content_hash() -> None:
    assert rulepacks(BASE)[0].content != rulepacks(BASE, own("spare: 3 A"))[0].content
    assert rulepacks(BASE, own("spare: 3 A"))[0].content != rulepacks(BASE, own("spare: 4 A"))[0].content


# additions to the vocabulary

EXTENDS = (
    document(
        """
        extends:
          pack:
            attributes:
              room: {text: true, meaning: The room it stands in.}
              fan.power: {unit: W, meaning: Power of its fan.}
              fan.source: {one: fan, meaning: Its fan.}
          fan:
            plural: fans
            meaning: A fan.
            attributes:
              flow: {unit: m3/h, meaning: Air it moves.}
        rules:
        """,
        "rooms",
    )
    + rule("each pack p", "p.fan.power at or below 10 W and p.fan.source.flow at or above 30 m3/h")
    + rule("each fan f", "f.flow above 3 m3/h", name="b-rule")
)


def extended_verdicts(body: str) -> dict[str, str]:
    from limitrules.foundation.source import Source
    from limitrules.model.system import parse_system

    packs = rulepacks(EXTENDS)
    text = f"limitrules: system/1\nname: trial\n{body}"
    built = parse_system(Source("system.yaml", text), packs[0].vocabulary)
    return {f"{item.rule}: {item.subject}": item.verdict.value for item in Survey(built, packs).result().findings}


def test_rules_use_what_their_rulepack_adds() -> None:
    body = "packs: {north: {fan: {power: 8 W, source: roof}, room: cellar}}\nfans: {roof: {flow: 40 m3/h}}\n"
    assert extended_verdicts(body) == {"a-rule: packs.north": "met", "b-rule: fans.roof": "met"}
    assert extended_verdicts(body.replace("40 m3", "20 m3"))["a-rule: packs.north"] == "breached"
    assert extended_verdicts("packs: {north: {fan: {power: 8 W}}}\n") == {"a-rule: packs.north": "undetermined"}


def test_other_rulepacks_see_the_additions() -> None:
    other = document("rules:\n", "other") + rule("each fan f", 'f.flow above 3 m3/h and "a" equals "a"')
    assert [pack.name for pack in rulepacks(other, EXTENDS)] == ["other", "rooms"]
    assert "`fan` is not a kind of component" in said(other)


def test_an_addition_that_exists_already_is_refused() -> None:
    text = document("extends: {pack: {attributes: {soc.now: {unit: A, meaning: Something else.}}}}\n", "clash")
    found = said(text).splitlines()[0]
    assert found.startswith("rulepack1.yaml:5:31: ")
    assert "soc.now" in found


def test_additions_are_checked_like_a_vocabulary() -> None:
    assert "`Amps` is not a unit" in said(document("extends: {pack: {attributes: {x: {unit: Amps, meaning: y.}}}}\n"))
