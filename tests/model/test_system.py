"""System documents that are read: values, places, ties, and what `like` takes over."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.source import Source
from limitrules.foundation.tree import read_tree
from limitrules.foundation.units import UNITS
from limitrules.model.quantity import ONE, Uncertain, parse_quantity
from limitrules.model.system import System, read_system
from limitrules.model.values import UNKNOWN, Content, Note, Table, Unknown
from tests.model.small import small, system

F = Fraction

EXAMPLES = sorted((Path(__file__).parents[2] / "docs" / "examples").glob("*.yaml"))

HOUSE = """\
limitrules: system/1
name: House
site: {mode: island, ambient: {min: -14 degC, max: 35 degC}}
cells:
  lfp:
    chemistry: lfp
    rest_voltage: {points: [[0 %, 2.60 V], [4 %, 3.00 V]], tolerance: 5 mV, origin: measured}
packs:
  north:
    cell: lfp
    cells_series: 24
    charge:
      rated: 105 A
      ceiling: {value: 96 A, tolerance: 1.5 %, origin: measured, date: 2026-05-02, source: "panel, p. 3", sensor: shunt}
    enabled: yes
    protection:
      charge_current: {threshold: 118 A ± 3 %, release: {delay: 45 s}}
  south: {like: north, charge: {ceiling: 93 A ± 1.5 %}, protection: {charge_current: {delay: 3 s}}}
  west: {like: south, cell: none, protection: {charge_current: none}}
converters:
  main: {feeds: [north, south]}
  spare: {feeds: none}
  open: {efficiency: 95 %}
sensors: {shunt: {gain: 1 %}}
"""


def content(found: System, path: str) -> Content | None:
    value = found.value(path)
    return value.content if value is not None else None


def exact(number: int) -> Uncertain:
    return Uncertain(F(number), F(number), F(number), ONE)


def one(path: str, text: str) -> Content | None:
    """The content of one attribute of pack `a` (or cell `a`), written as a document writes it."""
    plural, inner = path.split(".", 1)
    words = inner.split(".")
    nested = "".join(f"{word}: {{" for word in words[:-1]) + f"{words[-1]}: {text}" + "}" * (len(words) - 1)
    return content(system(f"limitrules: system/1\n{plural}: {{a: {{{nested}}}}}\n"), f"{plural}.a.{inner}")


@pytest.mark.parametrize(
    ("path", "text", "expected"),
    [
        ("packs.soc", "unknown", UNKNOWN),
        ("packs.cells_series", "unknown", UNKNOWN),
        ("packs.enabled", "unknown", UNKNOWN),
        ("packs.cell", "unknown", UNKNOWN),
        ("packs.protection.charge_current", "unknown", UNKNOWN),
        ("packs.protection.charge_current", "none", ()),
        ("packs.cells_series", "0", exact(0)),
        ("packs.cells_series", "{value: 24, origin: rated}", exact(24)),
        ("packs.cells_series", "{value: unknown, range: 20 .. 24}", Unknown(parse_quantity("20 .. 24", ONE))),
        ("packs.enabled", "yes", True),
        ("packs.enabled", "True", True),
        ("packs.enabled", "on", True),
        ("packs.enabled", "no", False),
        ("packs.enabled", "false", False),
        ("packs.enabled", "OFF", False),
        ("packs.enabled", '"no"', False),
        ("packs.enabled", "{value: no}", False),
        ("packs.serial", "0012", "0012"),
        ("packs.serial", "yes", "yes"),
        ("packs.serial", '"unknown"', "unknown"),
        ("packs.serial", "''", ""),
        ("packs.serial", "'~'", "~"),
        ("packs.serial", "{value: A 7, source: plate}", "A 7"),
        ("packs.installed_on", "2026-02-28", date(2026, 2, 28)),
        ("packs.installed_on", "'2024-02-29'", date(2024, 2, 29)),
        ("cells.chemistry", "nmc", "nmc"),
        ("cells.chemistry", "{value: nmc}", "nmc"),
        ("cells.rest_voltage", "unknown", UNKNOWN),
        ("cells.rest_voltage", "{value: unknown, origin: measured}", UNKNOWN),
        ("packs.cell", "none", ()),
        ("packs.cell", "[]", ()),
        ("converters.feeds", "none", ()),
        ("converters.feeds", "[]", ()),
        ("converters.feeds", "[none]", ()),
    ],
)
def test_contents(path: str, text: str, expected: Content) -> None:
    found = one(path, text)
    assert found == expected
    assert type(found) is type(expected)


@pytest.mark.parametrize("text", ["96 A", "96 A ± 1.5 %", "96 A +- 1.5 A", "94 A .. 98 A", '"96 A"', "0 A"])
def test_quantities(text: str) -> None:
    ampere = small().kinds["pack"].attributes["charge.rated"].unit
    assert ampere is not None
    written = text.strip('"')
    assert one("packs.charge.rated", text) == parse_quantity(written, ampere)
    assert one("packs.charge.rated", f"{{value: {text}}}") == parse_quantity(written, ampere)
    assert one("packs.charge.rated", f"{{value: unknown, range: {text}}}") == Unknown(parse_quantity(written, ampere))


def test_a_curve() -> None:
    volt, percent = UNITS["V"], UNITS["%"]
    table = one("cells.rest_voltage", "{points: [[0 %, 2.6 V], [4 %, 3 V]], tolerance: 5 mV}")
    assert table == Table((F(0), F(4, 100)), (F("2.6"), F(3)), percent, volt, F(5, 1000), False)
    assert isinstance(table, Table)
    assert table.bounds(0) == (F("2.595"), F("2.605"))
    shares = one("cells.rest_voltage", "{points: [[0 %, -2 V], [4 %, 3 V]], tolerance: 10 %}")
    assert isinstance(shares, Table)
    assert shares.bounds(0) == (F("-2.2"), F("-1.8"))


def test_missing_unknown_none_and_zero_are_different() -> None:
    found = system(
        "limitrules: system/1\npacks:\n  a: {}\n  b: {cell: unknown, soc: unknown}\n  c: {cell: none, soc: 0 %}\n"
    )
    assert [content(found, f"packs.{name}.cell") for name in "abc"] == [None, UNKNOWN, ()]
    assert [content(found, f"packs.{name}.soc") for name in "ab"] == [None, UNKNOWN]
    zero = content(found, "packs.c.soc")
    assert isinstance(zero, Uncertain)
    assert zero.nominal == 0


def test_the_note_of_a_value() -> None:
    found = system(HOUSE)
    value = found.value("packs.north.charge.ceiling")
    assert value is not None
    assert value.note == Note("measured", date(2026, 5, 2), "panel, p. 3", "shunt")
    assert (value.origin, value.date, value.source, value.sensor) == (
        "measured",
        date(2026, 5, 2),
        "panel, p. 3",
        "shunt",
    )
    plain = found.value("packs.north.charge.rated")
    assert plain is not None
    assert (plain.note, plain.origin, plain.date) == (None, "", None)


@pytest.mark.parametrize(
    ("path", "text", "line", "column"),
    [
        ("site.ambient.min", "-14 degC", 3, 37),
        ("packs.north.cell", "lfp", 10, 11),
        ("packs.north.charge.rated", "105 A", 13, 14),
        ("packs.north.charge.ceiling", "96 A ± 1.44 A", 14, 16),
        ("packs.north.protection.charge_current.release.delay", "45 s", 17, 65),
        ("packs.south.charge.rated", "105 A", 13, 14),
        ("packs.south.protection.charge_current.threshold", "118 A ± 3 %", 17, 35),
        ("converters.main.feeds", "[north, south]", 21, 17),
        (
            "cells.lfp.rest_voltage",
            "{points: [[0 %, 2.60 V], [4 %, 3.00 V]], tolerance: 5 mV, origin: measured}",
            7,
            19,
        ),
    ],
)
def test_every_value_has_its_place(path: str, text: str, line: int, column: int) -> None:
    value = system(HOUSE).value(path)
    assert value is not None
    assert (value.text, value.span.line, value.span.column) == (text, line, column)
    assert (value.start, value.end) == (value.span.start, value.span.end)


def test_components_and_parts() -> None:
    found = system(HOUSE)
    assert {kind: list(records) for kind, records in found.components.items()} == {
        "cell": ["cells.lfp"],
        "pack": ["packs.north", "packs.south", "packs.west"],
        "current protection": ["packs.north.protection.charge_current", "packs.south.protection.charge_current"],
        "temperature protection": [],
        "converter": ["converters.main", "converters.spare", "converters.open"],
        "sensor": ["sensors.shunt"],
        "site": ["site"],
    }
    for records in found.components.values():
        for path, record in records.items():
            assert record.path == path
            assert found.record(path) is record
    north = found.components["pack"]["packs.north"]
    assert (north.id, north.span.text, north.span.line) == ("north", "north", 9)
    part = north.parts["protection.charge_current"]
    assert part.span.text == "charge_current"
    assert found.record("packs.east") is found.record("packs.north.charge") is found.record("colour.x") is None


def test_like_takes_over_what_is_not_stated() -> None:
    found = system(HOUSE)
    south, west = found.record("packs.south"), found.record("packs.west")
    assert south is not None
    assert west is not None
    assert set(south.values) == {"cell", "cells_series", "charge.rated", "charge.ceiling", "enabled"}
    assert south.like == "packs.north"
    assert south.own == frozenset({"charge.ceiling"})
    assert south.states("charge.ceiling")
    assert not south.states("charge.rated")
    assert not south.states("soc")
    part = south.parts["protection.charge_current"]
    assert set(part.values) == {"threshold", "release.delay", "delay"}
    assert west.parts == {}
    assert west.values["protection.charge_current"].content == ()
    assert west.values["cell"].content == ()
    assert str(west.values["charge.ceiling"].content) == "93 A ± 1.395 A"
    north = found.record("packs.north")
    assert north is not None
    assert north.states("charge.rated")


@pytest.mark.parametrize(
    ("path", "stated"),
    [
        ("packs.north.charge.rated", "packs.north.charge.rated"),
        ("packs.south.charge.rated", "packs.north.charge.rated"),
        ("packs.west.charge.rated", "packs.north.charge.rated"),
        ("packs.west.charge.ceiling", "packs.south.charge.ceiling"),
        ("packs.south.charge.ceiling", "packs.south.charge.ceiling"),
        (
            "packs.south.protection.charge_current.threshold",
            "packs.north.protection.charge_current.threshold",
        ),
        ("packs.south.protection.charge_current.delay", "packs.south.protection.charge_current.delay"),
    ],
)
def test_an_inherited_value_knows_where_it_is_stated(path: str, stated: str) -> None:
    found = system(HOUSE)
    assert found.stated_at(path) == stated
    assert found.value(path) is found.value(stated)


def test_like_works_in_any_order_and_adds_whole_parts() -> None:
    found = system("""\
limitrules: system/1
packs:
  c: {like: b}
  b: {like: a, soc: 3 %}
  a: {soc: 1 %, protection: {charge_current: {delay: 1 s}}}
""")
    assert str(content(found, "packs.c.soc")) == "3 %"
    assert str(content(found, "packs.c.protection.charge_current.delay")) == "1 s"
    assert found.stated_at("packs.c.protection.charge_current.delay") == "packs.a.protection.charge_current.delay"


def test_a_part_can_replace_its_absence() -> None:
    found = system("limitrules: system/1\npacks:\n  a: {protection: {charge_current: none}}\n"
                   "  b: {like: a, protection: {charge_current: {delay: 1 s}}}\n")  # fmt: skip
    b = found.record("packs.b")
    assert b is not None
    assert "protection.charge_current" not in b.values
    assert str(content(found, "packs.b.protection.charge_current.delay")) == "1 s"


def test_ties_and_their_inverses() -> None:
    found = system(HOUSE)
    feeds, converters = small().kinds["converter"].attributes["feeds"], small().kinds["pack"].attributes["converters"]
    cell, packs = small().kinds["pack"].attributes["cell"], small().kinds["cell"].attributes["packs"]

    def related(path: str, attribute: object) -> list[str] | None:
        record = found.record(path)
        assert record is not None
        names = found.related(record, attribute)  # type: ignore[arg-type]
        return None if names is None else [other.path for other in names]

    assert related("converters.main", feeds) == ["packs.north", "packs.south"]
    assert related("converters.spare", feeds) == []
    assert related("converters.open", feeds) is None
    assert related("packs.north", converters) == ["converters.main"]
    assert related("packs.west", converters) == []
    assert related("packs.south", cell) == ["cells.lfp"]
    assert related("packs.west", cell) == []
    assert related("cells.lfp", packs) == ["packs.north", "packs.south"]
    part = small().kinds["pack"].attributes["protection.charge_current"]
    assert related("packs.north", part) == ["packs.north.protection.charge_current"]
    assert related("packs.west", part) == []
    assert found.not_saying(converters) == ("converters.open",)
    assert found.not_saying(packs) == ()


def test_a_site_that_is_not_described_has_a_record_without_values() -> None:
    found = system("limitrules: system/1\n")
    site = found.record("site")
    assert site is not None
    assert site.values == {}
    assert found.name == "s"
    assert content(found.with_value("site.mode", "grid"), "site.mode") == "grid"


def test_paths() -> None:
    found = system(HOUSE)
    paths = list(found.paths())
    assert len(paths) == len(set(paths)) == 30
    assert paths[:2] == ["cells.lfp.chemistry", "cells.lfp.rest_voltage"]
    assert "packs.south.protection.charge_current.threshold" in paths
    for path, value in found.values():
        assert found.value(path) is value
        assert (
            found.attribute(path).path == path.split(".", 1 if path.startswith("site") else 2)[-1]
            or "protection" in path
        )


# Values put in afterwards


def test_a_value_is_changed_and_the_rest_is_shared() -> None:
    found = system(HOUSE)
    changed = found.with_value("packs.north.charge.rated", "90 A ± 1 %")
    assert str(content(changed, "packs.north.charge.rated")) == "90 A ± 0.9 A"
    assert str(content(found, "packs.north.charge.rated")) == "105 A"
    # What is like it keeps its value: one value changes, and no other.
    assert str(content(changed, "packs.south.charge.rated")) == "105 A"
    assert {path for path, value in changed.values() if found.value(path) is not value} == {"packs.north.charge.rated"}
    assert changed.components["converter"] is found.components["converter"]
    assert changed.components["pack"]["packs.south"] is found.components["pack"]["packs.south"]
    assert changed.inverses is found.inverses


@pytest.mark.parametrize(
    ("path", "text", "expected"),
    [
        ("packs.south.charge.rated", "unknown", "unknown"),
        ("packs.south.soc", "50 %", "50 %"),
        ("packs.south.charge.rated", "{value: unknown, range: 90 A .. 99 A}", "unknown, within 94.5 A ± 4.5 A"),
        ("packs.south.protection.charge_current.threshold", "100 A", "100 A"),
        ("packs.west.protection.over_temperature.threshold", "50 degC", "50 degC"),
        ("packs.west.protection.charge_current.threshold", "100 A", "100 A"),
        ("packs.north.cells_series", "16", "16"),
        ("packs.north.enabled", "no", "False"),
        ("packs.north.serial", "a: b", "a: b"),
        ("packs.north.serial", '"unknown"', "unknown"),
        ("site.ambient.max", "40 degC", "40 degC"),
    ],
)
def test_values_put_in(path: str, text: str, expected: str) -> None:
    found = system(HOUSE)
    before = dict(found.values())
    changed = found.with_value(path, text)
    assert str(content(changed, path)) == expected
    assert changed.stated_at(path) == path
    value = changed.value(path)
    assert value is not None
    assert str(value.span) == f"<{path}>:1:1"
    assert dict(found.values()) == before


def test_ties_put_in_change_their_inverses() -> None:
    found = system(HOUSE)
    changed = found.with_value("converters.spare.feeds", "[west]")
    assert changed.inverses[("packs.west", "converters")] == ("converters.spare",)
    assert ("packs.west", "converters") not in found.inverses
    freed = changed.with_value("converters.main.feeds", "unknown")
    assert freed.inverses.get(("packs.north", "converters")) is None
    assert freed.not_saying(small().kinds["pack"].attributes["converters"]) == ("converters.main", "converters.open")


def test_a_part_put_in_as_a_whole() -> None:
    found = system(HOUSE)
    changed = found.with_value("packs.north.protection.charge_current", "{threshold: 90 A}")
    assert set(changed.components["current protection"]["packs.north.protection.charge_current"].values) == {
        "threshold"
    }
    without = found.with_value("packs.north.protection.charge_current", "none")
    assert list(without.components["current protection"]) == ["packs.south.protection.charge_current"]
    assert content(without, "packs.north.protection.charge_current") == ()
    assert len(found.components["current protection"]) == 2


def test_a_value_from_another_document_keeps_its_place() -> None:
    source = Source("cases.yaml", "set: {packs.north.soc: 40 %}")
    node = read_tree(source)
    entry = node.entries["set"][1].entries["packs.north.soc"]  # type: ignore[union-attr]
    changed = system(HOUSE).with_node("packs.north.soc", entry[1], source)
    value = changed.value("packs.north.soc")
    assert value is not None
    assert str(value.span) == "cases.yaml:1:24"


SAID = {
    ("packs.north.charge.rated", "96"): """\
<packs.north.charge.rated>:1:1: A unit is missing after `96`: a current in A is due here. [unit-missing]
     1 | 96
       | ^^
  expected: a current such as 96 A
  try: write `96 A`""",
    ("packs.north.charge.rated", " 96 V"): """\
<packs.north.charge.rated>:1:2: `96 V` is a voltage in V; a current in A is due here. [dimension-clash]
     1 |  96 V
       |  ^^^^
  expected: a current such as 96 A""",
    ("packs.north.charge.rated", ""): """\
<packs.north.charge.rated>:1:1: Nothing stands where the value of `charge.rated` is due. [null-value]
     1 |\N{SPACE}
       | ^
  try: write `unknown` where the value is not known, or leave the line out""",
    ("packs.north.charge.rated", "{value: 96"): """\
<packs.north.charge.rated>:1:10: A map in braces is not continued or closed as it should be. [not-yaml]
     1 | {value: 96
       |          ^
  try: separate its entries with commas and close it with }""",
    ("packs.north.charge.rated", "{value: 96 A, sensor: shnt}"): """\
<packs.north.charge.rated>:1:23: There is no sensor `shnt` in this document. [no-such-component]
     1 | {value: 96 A, sensor: shnt}
       |                       ^^^^
  expected: shunt
  try: write `shunt`""",
    ("converters.main.feeds", "[nort]"): """\
<converters.main.feeds>:1:2: There is no pack `nort` in this document. [no-such-component]
     1 | [nort]
       |  ^^^^
  expected: one of north, south or west
  try: write `north`""",
    ("packs.north.converters", "[main]"): """\
packs.north.converters: `packs.north.converters` cannot be set: it follows from `feeds` of each converter. \
[derived-relation]""",
    ("pack.north.soc", "1 %"): """\
pack.north.soc: `pack` does not stand at the top of a system document. [no-such-path]
  try: write `packs`""",
    ("packs.nort.soc", "1 %"): """\
packs.nort.soc: There is no pack `nort` in this system. [no-such-path]
  try: write `north`""",
    ("packs.north.charge.celing", "1 A"): """\
packs.north.charge.celing: A pack has no attribute `charge.celing`. [no-such-path]
  try: write `charge.ceiling`""",
    ("packs.north.protection.charge_current.treshold", "1 A"): """\
packs.north.protection.charge_current.treshold: A current protection has no attribute `treshold`. [no-such-path]
  try: write `threshold`""",
    ("packs.north.charge", "1 A"): """\
packs.north.charge: `packs.north.charge` is no single value: it holds rated, configured, ceiling. [no-such-path]
  try: write `charge.rated`""",
    ("packs.north", "1 A"): """\
packs.north: `packs.north` is no single value: it holds cell, cells_series, charge, temperature, soc, growth, \
enabled, serial, installed_on, protection, converters. [no-such-path]""",
    ("packs", "1 A"): "packs: `packs` is no single value: it holds components. [no-such-path]",
    ("", "1 A"): "input: `` does not stand at the top of a system document. [no-such-path]",
}


@pytest.mark.parametrize(("path", "text"), SAID, ids=[f"{path}={text}" for path, text in SAID])
def test_what_is_said_of_a_value_put_in(path: str, text: str) -> None:
    with pytest.raises(InputError) as caught:
        system(HOUSE).with_value(path, text)
    assert str(caught.value) == SAID[path, text]


@pytest.mark.parametrize("path", ["pack.north.soc", "packs.nort.soc", "packs.north.sic", "packs.north", "packs", ""])
def test_asking_for_what_cannot_be(path: str) -> None:
    for ask in (system(HOUSE).value, system(HOUSE).attribute, system(HOUSE).stated_at):
        with pytest.raises(InputError):
            ask(path)


# Whole documents


def test_a_file_is_read(tmp_path: Path) -> None:
    file = tmp_path / "s.yaml"
    file.write_text("limitrules: system/1\nname: x\n", encoding="utf-8")
    found = read_system(file)
    assert (found.name, found.vocabulary.name, found.source.name) == ("x", "storage", str(file))
    with pytest.raises(InputError):
        read_system(tmp_path)


@pytest.mark.parametrize("file", EXAMPLES, ids=[file.name for file in EXAMPLES])
def test_examples_are_read_and_every_value_stands_where_it_says(file: Path) -> None:
    found = read_system(file)
    assert found.name
    for path, value in found.values():
        if isinstance(value.content, Uncertain) and value.note is None:
            unit = found.attribute(path).unit
            assert unit is not None
            assert parse_quantity(value.span.text, unit) == value.content


def test_the_two_hundred_first_mistakes_are_enough() -> None:
    lines = [f"  p{number}: {{sock: 1 %, cell: c{number}}}" for number in range(2000)]
    with pytest.raises(InputError) as caught:
        system("limitrules: system/1\npacks:\n" + "\n".join(lines))
    assert len(caught.value.diagnostics) == 201
    assert str(caught.value).endswith("s.yaml: 3800 more mistakes were found. [more]\n  try: correct these first")


def test_mistakes_stand_in_the_order_of_the_text() -> None:
    text = "converters: {a: {feeds: [x]}}\nlimitrules: system/1\npacks: {b: {soc: 1, like: y}, c: {sock: 1}}\nz: 1\n"
    with pytest.raises(InputError) as caught:
        system(text)
    assert [item.code for item in caught.value.diagnostics] == [
        "no-such-component", "unit-missing", "no-such-component", "unknown-attribute", "unknown-key",
    ]  # fmt: skip


WORDS = st.sampled_from(
    ["packs", "cells", "converters", "site", "limitrules", "name", "north", "like", "cell", "soc", "charge", "rated",
     "value", "points", "tolerance", "rest_voltage", "protection", "charge_current", "feeds", "none", "unknown", "~",
     "system/1", "96-A", "50-%", "3", "yes", "2026-05-02", "sensor", "origin", "a.b"]
)  # fmt: skip
NODES = st.recursive(
    WORDS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORDS, inner, max_size=4), max_leaves=12
)


def flow(node: object) -> str:
    if isinstance(node, dict):
        return "{" + ", ".join(f"'{key}': {flow(value)}" for key, value in node.items()) + "}"
    return (
        "[" + ", ".join(map(flow, node)) + "]"
        if isinstance(node, list)
        else str(node).replace("-A", " A").replace("-%", " %")
    )


def outcome(text: str) -> System | InputError:
    try:
        return system(text)
    except InputError as error:
        return error


@given(st.dictionaries(WORDS, st.dictionaries(WORDS, NODES, max_size=3) | NODES, max_size=4))
def test_any_document_is_read_or_refused(document: dict[str, object]) -> None:
    lines = [f"'{key}': {flow(value)}" for key, value in document.items() if key != "limitrules"]
    found = outcome("\n".join(["limitrules: system/1", *lines]))
    if isinstance(found, System):
        assert all(found.value(path) is value for path, value in found.values())
    else:
        starts = [item.span.start for item in found.diagnostics if item.span]
        assert starts == sorted(starts)
        assert found.diagnostics
