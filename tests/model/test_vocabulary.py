"""The vocabulary: what it declares, what follows from that, and how a rulepack extends it."""

from __future__ import annotations

from fractions import Fraction

import pytest

from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.dimension import CURRENT, NUMBER, TEMPERATURE_DIFFERENCE, VOLTAGE
from limitrules.foundation.kinds import (
    Choice,
    Component,
    Components,
    Curve,
    Date,
    Group,
    Quantity,
    Temperature,
    Text,
    Truth,
)
from limitrules.foundation.source import Source
from limitrules.foundation.tree import read_tree
from limitrules.model.vocabulary import Vocabulary, load_vocabulary, target_of
from tests.model.small import small

F = Fraction


def extended(text: str) -> Vocabulary:
    source = Source("rulepack.yaml", text)
    return small().extended(read_tree(source), source, "local")


def test_types() -> None:
    pack, cell = small().kinds["pack"], small().kinds["cell"]
    types = {path: attribute.type for path, attribute in pack.attributes.items()}
    assert types == {
        "cell": Component("cell"),
        "cells_series": Quantity(NUMBER),
        "charge.rated": Quantity(CURRENT),
        "charge.configured": Quantity(CURRENT),
        "charge.ceiling": Quantity(CURRENT),
        "temperature.max": Temperature(),
        "soc": Quantity(NUMBER),
        "growth": Quantity(NUMBER),
        "enabled": Truth(),
        "serial": Text(),
        "installed_on": Date(),
        "protection.charge_current": Component("current protection"),
        "protection.over_temperature": Component("temperature protection"),
        "converters": Components("converter"),
    }
    assert cell.attributes["chemistry"].type == Choice(("lfp", "nmc", "lto"))
    assert cell.attributes["rest_voltage"].type == Curve(Quantity(NUMBER), Quantity(VOLTAGE))


def test_what_an_attribute_tells_besides() -> None:
    attributes = small().kinds["pack"].attributes
    configured = attributes["charge.configured"]
    assert (configured.adjustable, configured.resolution, configured.meaning) == (
        True,
        F(1),
        "Configured charge current.",
    )
    assert configured.unit is not None
    assert configured.unit.symbol == "A"
    assert attributes["cells_series"].count
    assert not attributes["growth"].count
    curve = small().kinds["cell"].attributes["rest_voltage"]
    assert curve.unit is not None
    assert curve.over_unit is not None
    assert (curve.unit.symbol, curve.over_unit.symbol) == ("V", "%")
    assert attributes["protection.charge_current"].part
    assert not attributes["cell"].part


def test_variants_become_kinds() -> None:
    kinds = small().kinds
    assert "protection" not in kinds
    current, heat = kinds["current protection"], kinds["temperature protection"]
    assert current.attributes["threshold"].type == Quantity(CURRENT)
    assert current.attributes["hysteresis"].type == Quantity(CURRENT)
    assert heat.attributes["threshold"].type == Temperature()
    assert heat.attributes["hysteresis"].type == Quantity(TEMPERATURE_DIFFERENCE)
    assert (current.plural, heat.plural) == ("", "")


def test_inverse_relations() -> None:
    kinds = small().kinds
    inverse = kinds["pack"].attributes["converters"]
    assert (inverse.type, inverse.derived, inverse.inverse) == (Components("converter"), True, "feeds")
    assert inverse.meaning == "Every converter whose `feeds` names this pack."
    assert target_of(kinds["cell"].attributes["packs"]) == "pack"


def test_plurals_groups_and_levels() -> None:
    vocabulary = small()
    assert list(vocabulary.by_plural) == ["cells", "packs", "converters", "sensors", "site"]
    pack = vocabulary.kinds["pack"]
    assert pack.groups == {"charge", "temperature", "protection"}
    assert pack.member("", "charge") == Group("pack", "charge")
    layout = vocabulary.layout(pack)
    assert list(layout)[:3] == ["cell", "cells_series", "charge"]
    assert layout["charge"] == {
        path.partition(".")[2]: a for path, a in pack.attributes.items() if path[:7] == "charge."
    }
    assert vocabulary.layout(pack) is layout


def test_a_rulepack_adds_attributes_and_kinds() -> None:
    vocabulary = extended(
        """
        pack: {attributes: {house.colour: {text: true, meaning: x}, charge.wish: {unit: A, meaning: x}}}
        protection: {attributes: {wish: {unit: variant, meaning: x}}}
        tool:
          plural: tools
          meaning: x
          attributes: {fits: {many: pack, inverse: tools, meaning: x}}
        """
    )
    kinds = vocabulary.kinds
    assert kinds["pack"].attributes["house.colour"].type == Text()
    assert kinds["pack"].groups == {"charge", "temperature", "protection", "house"}
    assert kinds["pack"].attributes["tools"].type == Components("tool")
    assert kinds["temperature protection"].attributes["wish"].type == Temperature()
    assert vocabulary.by_plural["tools"] is kinds["tool"]
    assert (vocabulary.name, vocabulary.version) == ("small", "0.1.0")


def test_extending_leaves_the_old_one_alone() -> None:
    vocabulary = small()
    before = {name: dict(kind.attributes) for name, kind in vocabulary.kinds.items()}
    source = Source("r.yaml", "pack: {attributes: {wish: {unit: A, meaning: x}}}")
    twice = vocabulary.extended(read_tree(source), source, "a")
    assert {name: dict(kind.attributes) for name, kind in vocabulary.kinds.items()} == before
    with pytest.raises(InputError) as caught:
        twice.extended(read_tree(source), source, "b")
    assert "`wish` already is an attribute of kind pack. The rulepack `b` cannot declare it anew." in str(caught.value)


# The vocabulary that ships


def test_the_shipped_one_has_its_kinds() -> None:
    vocabulary = load_vocabulary()
    assert vocabulary.name == "storage"
    assert list(vocabulary.by_plural.values()) == [kind for kind in vocabulary.kinds.values() if kind.plural]
    assert {kind.name for kind in vocabulary.by_plural.values()} == {
        "cell", "pack", "converter", "regulator", "conductor", "fuse", "contactor", "load", "source", "sensor", "link",
        "site", "comparison", "test",
    }  # fmt: skip
    assert set(vocabulary.variants) == {"protection"}
    assert [kind.name for kind in vocabulary.kinds.values() if kind.single] == ["site"]


def test_every_shipped_attribute_is_explained() -> None:
    for kind in load_vocabulary().kinds.values():
        assert kind.meaning
        for attribute in kind.attributes.values():
            assert attribute.meaning, f"{kind.name} {attribute.path}"
            assert isinstance(attribute.type, Quantity | Temperature | Curve) is (attribute.unit is not None)


def test_the_shipped_one_is_read_once() -> None:
    assert load_vocabulary() is load_vocabulary("storage")


@pytest.mark.parametrize(
    ("name", "advice"), [("storag", "\n  try: write `storage`"), ("../storage", "\n  try: write `storage`"), ("x", "")]
)
def test_no_other_one_ships(name: str, advice: str) -> None:
    with pytest.raises(InputError) as caught:
        load_vocabulary(name)
    said = f"input: There is no vocabulary `{name}`. [no-vocabulary]\n  expected: storage{advice}"
    assert str(caught.value) == said
