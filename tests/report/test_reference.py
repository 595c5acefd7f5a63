from __future__ import annotations

import json

import pytest

from limitrules.foundation.dimension import CURRENT, VOLTAGE
from limitrules.foundation.kinds import (
    Attribute,
    Choice,
    Component,
    Components,
    Curve,
    Kind,
    Quantity,
    Temperature,
    Truth,
)
from limitrules.foundation.units import parse_unit
from limitrules.report.reference import (
    ParameterCard,
    RuleCard,
    RulepackCard,
    adjustable_words,
    kind_text,
    kinds_data,
    kinds_text,
    rule_text,
    rulepack_text,
    rulepacks_data,
    rulepacks_text,
    type_words,
)
from limitrules.rules.findings import Consequence
from tests.report.samples import AMPERE, CELSIUS, HOUR, VOLT, decimal

CEILING = Attribute(
    "charge.ceiling",
    Quantity(CURRENT),
    "The limit the pack asks for.",
    AMPERE,
    True,
    decimal("0.1"),
    open_standard="802.x",
)
ATTRIBUTES = (
    CEILING,
    Attribute("cell", Component("cell"), "What it is built from."),
    Attribute("feeds", Components("pack"), "The packs it feeds.", inverse="converters"),
    Attribute("temperature.max", Temperature(), "Highest temperature.", CELSIUS, True, decimal("0.5")),
)
PACK = Kind("pack", "packs", "One battery.", {item.path: item for item in ATTRIBUTES})
SITE = Kind("site", "", "The place.", {}, single=True)

CARD = RulepackCard(
    "governing", "1.0.0", "Which limit governs", "storage", "rulepacks/governing",
    (
        RuleCard("limit-ladder-ordered", "Rungs in order", Consequence.DAMAGE,
                 (("about", "each pack p"), ("require", "p.charge.ceiling at or below 90 A"))),
        RuleCard("sum", "Sources together", Consequence.OUTAGE),
    ),
    (ParameterCard("ladder_gap", "2 %", "smallest gap", local=True),),
)  # fmt: skip


@pytest.mark.parametrize(
    ("attribute", "words"),
    [
        (CEILING, "in A"),
        (ATTRIBUTES[1], "a cell, by id"),
        (Attribute("x", Component("current protection"), "", part=True), "a current protection, written in place"),
        (Attribute("x", Components("pack"), "", inverse="feeds", derived=True),
         "several of kind pack, follows from their `feeds`"),
        (ATTRIBUTES[3], "in degC"),
        (Attribute("x", Quantity(), "", count=True), "a count"),
        (Attribute("x", Quantity(), "", parse_unit("%")), "in %"),
        (Attribute("x", Truth(), ""), "yes or no"),
        (Attribute("x", Choice(("lfp", "nmc")), ""), "one of lfp, nmc"),
        (Attribute("x", Curve(Quantity(), Quantity(VOLTAGE)), "", VOLT, over_unit=parse_unit("%")),
         "a curve in V over %"),
    ],
)  # fmt: skip
def test_what_may_be_stated_in_words(attribute: Attribute, words: str) -> None:
    assert type_words(attribute) == words


def test_a_setting_tells_its_steps_and_a_fact_none() -> None:
    assert adjustable_words(CEILING) == "adjustable in steps of 0.1 A"
    assert adjustable_words(ATTRIBUTES[3]) == "adjustable in steps of 0.5 K"
    assert adjustable_words(Attribute("x", Quantity(), "", HOUR, True)) == "adjustable"
    assert adjustable_words(ATTRIBUTES[1]) == ""


def test_a_kind_is_told_with_all_its_attributes() -> None:
    text = kind_text(PACK)
    for part in (
        "pack\n", "packs: by id", "charge.ceiling  in A  adjustable in steps of 0.1 A", "The limit the pack asks for.",
        "Open standard: 802.x", "Seen from the other side: converters",
    ):  # fmt: skip
        assert part in text


def test_all_kinds_are_told() -> None:
    text = kinds_text({"pack": PACK, "site": SITE})
    assert "2 kinds of components" in text
    assert "site  site: stated once  The place." in text


def test_kinds_as_data() -> None:
    data = json.loads(json.dumps(kinds_data([PACK, SITE])))
    assert data["limitrules"] == "kinds/1"
    assert [item["key"] for item in data["kinds"]] == ["packs", "site"]
    first = data["kinds"][0]["attributes"][0]
    assert first == {
        "path": "charge.ceiling", "type": "in A", "unit": "A", "meaning": "The limit the pack asks for.",
        "adjustable": True, "resolution": "0.1 A", "signed": False, "inverse": "", "open_standard": "802.x",
    }  # fmt: skip


def test_rulepacks_are_told_from_the_list_down_to_a_rule() -> None:
    assert "One rulepack" in rulepacks_text([CARD])
    assert "governing 1.0.0  two rules  Which limit governs" in rulepacks_text([CARD])
    text = rulepack_text(CARD)
    assert "ladder_gap = 2 %  smallest gap  meant to be set locally" in text
    assert "limit-ladder-ordered  damage  Rungs in order" in text
    rule = rule_text(CARD, CARD.rules[0])
    assert "governing/limit-ladder-ordered" in rule
    assert "require: p.charge.ceiling at or below 90 A" in rule


def test_rulepacks_as_data() -> None:
    (card,) = rulepacks_data([CARD])["rulepacks"]
    assert card["parameters"] == [{"name": "ladder_gap", "value": "2 %", "meaning": "smallest gap", "local": True}]
    assert card["rules"][0]["clauses"][0] == {"key": "about", "text": "each pack p"}
