"""What is read beforehand is what the shipped vocabularies and rulepacks say, as they are read today."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import attrs
import pytest

from limitrules.engine.survey import Survey
from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.kinds import Type
from limitrules.foundation.source import Source, Span
from limitrules.language import nodes
from limitrules.language.checker import Checked
from limitrules.language.functions import Argument, Function
from limitrules.language.nodes import Node
from limitrules.model import prepared as prepared_kinds
from limitrules.model.system import read_system
from limitrules.model.vocabulary import SHIPPED, Vocabulary, load_vocabulary, read_vocabulary
from limitrules.physics import FUNCTIONS
from limitrules.rules import prepared
from limitrules.rules.discovery import bundled
from limitrules.rules.draft import parse_draft
from limitrules.rules.prepare import prepared_texts, source_of
from limitrules.rules.prepared import Ready, rulepack_text
from limitrules.rules.rule import Rulepack
from limitrules.rules.rulepack import check_drafts, read_draft
from tests.house.tree import ROOT
from tests.rules.support import document

STORAGE = SHIPPED / "storage.yaml"
EXAMPLE = ROOT / "docs" / "examples" / "lakeside.yaml"
BUNDLED = {item.name: item for item in bundled()}
# Every sort of node, scalar and subject; figures stand for nothing.
EVERYTHING = document(
    """
    title: Everything that
      can be written
    meaning: "Said \\"here\\"."
    parameters:
      gap: {value: 25 %, local: true, meaning: a share}
      cold: {value: -5 degC, meaning: a place on the scale}
      is_strict: {value: yes, meaning: an answer}
    rules:
      folded:
        title: A long title
        consequence: hazard
        about: "each converter c,  each pack p in c.feeds"
        when: >
          is_strict and p in c.feeds or
          not (p.charge.rated is measured)
        let:
          low: 'lowest of (p.charge.rated less gap, min(3 A, abs(-3 A)), p.charge.rated plus or minus 1 A)'
          sum: |
            total of x.charge.rated over x in c.feeds
              where x.cell.chemistry equals "lfp"
          some_are: 'some x in packs where x.charge.rated is stated: x.charge.rated above 2.50 A'
          size: if some_are then low / 2 else sum * 3 - 1 A
          voltage: p.cell.rest_voltage at 20 %
        require: "size at or below (p.charge.ceiling otherwise 30 kA) and voltage between 3 V and
          4 V and p.temperature.max within 2 K of cold"
        because: "Pack {p} gives {size}, and\\t{ voltage }; so it is \\
          with {sum} too."
        remedy: [First this, 'then ''that''']
        caution: Take care.
        basis: A topic
        evidence: A look.
      paired:
        title: Two
        consequence: advice
        about: each pair p, q in packs
        require: "every x in packs: x.charge.rated differs from -(1 A) and count of y over y in packs equals 2"
        because: Nothing to be shown.
      gathered:
        title: Three
        consequence: advice
        about: each pack p
        require: >-
          time_above_together(90 A, each (r.charge.ceiling, 0 A, 1 s, 1 s, 45 A/s) over r in p.regulators
          where r.charge.ceiling is stated) below 3 s
        because: Nothing to be shown.
    """,
    name="everything",
)


# ---------------------------------------------------------------- all that a rulepack says, printed


def told(rulepack: Rulepack) -> list[str]:
    """Every text, node, type, unit and place of a rulepack, a line each."""
    lines = [
        f"{name}: {getattr(rulepack, name)}" for name in ("name", "version", "title", "meaning", "folder", "content")
    ]
    for parameter in rulepack.parameters.values():
        lines.append(f"parameter {attrs.asdict(parameter, recurse=False, filter=_is_plain)} {_place(parameter.span)}")
        lines += _told(parameter.value)
    for name, rule in rulepack.rules.items():
        assert list(rule.parameters.values()) == list(rulepack.parameters.values())
        assert rule.functions is FUNCTIONS
        lines.append(f"rule {name} {attrs.asdict(rule, recurse=False, filter=_is_plain)} {_place(rule.span)}")
        lines.append(f"about {rule.about.text!r} pair {rule.about.pair}")
        for subject in rule.about.subjects:
            lines += [f"subject {subject.name} {subject.kind}", *_told(subject.collection)]
        lines += ["when", *_told(rule.when), "require", *_told(rule.require)]
        for definition in rule.definitions:
            lines += [f"let {definition.name}", *_told(definition.value)]
        for piece in rule.because.pieces:
            lines += [f"said {piece!r}"] if isinstance(piece, str) else _told(piece)
    return lines


def _is_plain(field: attrs.Attribute[object], value: object) -> bool:
    return isinstance(value, str | bool) or (isinstance(value, tuple) and all(isinstance(item, str) for item in value))


def _told(checked: Checked | None) -> Iterator[str]:
    if checked is None:
        yield "nothing"
        return
    clause = checked.clause
    assert checked.types.keys() == set(clause.node.walk())
    assert checked.units.keys() <= checked.types.keys()
    yield f"clause {clause.text!r} of type {_exactly(checked.type)}"
    yield " ".join(_place(clause.place(at, at + 1)) for at in range(len(clause.text) + 1))
    for node in clause.node.walk():
        unit = checked.units.get(node)
        yield (
            f"{type(node).__name__} {_fields(node)} {_place(clause.span(node))} is {_exactly(checked.types[node])}"
            f" in {None if unit is None else _exactly(unit)}"
        )


def _fields(node: Node) -> str:
    values = {name: getattr(node, name) for name in type(node).__match_args__}
    own = [f"{name}={_exactly(value)}" for name, value in values.items() if name not in node.below]
    return ", ".join(own + [f"{name}: {type(values[name]).__name__}" for name in node.below])


def _exactly(value: object) -> str:
    """All that a type or unit is made of; equal numbers are told alike."""
    if isinstance(value, tuple):
        return f"({', '.join(map(_exactly, value))})"
    if not attrs.has(type(value)):
        return str(value)
    return f"{type(value).__name__}{_exactly(attrs.astuple(value, recurse=False))}"  # type: ignore[arg-type]


def _place(span: Span) -> str:
    return f"{span.source.name}:{span.start}-{span.end}"


# ---------------------------------------------------------------- rulepacks


def checked_anew(source: Source, folder: str) -> Rulepack:
    """A rulepack parsed and checked from its text, whatever was prepared."""
    return check_drafts([parse_draft(source, folder)])[0]


def as_prepared(name: str) -> Rulepack:
    draft = read_draft(BUNDLED[name].folder, BUNDLED[name].shown)
    assert isinstance(draft, Ready)
    return check_drafts([draft])[0]


def as_written(name: str) -> Rulepack:
    return checked_anew(source_of(BUNDLED[name]), str(BUNDLED[name].folder))


def test_the_files_are_current() -> None:
    """If this fails: python -m limitrules.rules.prepare"""
    due = prepared_texts()
    assert {place: place.read_text(encoding="utf-8") for place in due} == due
    assert {place.name for place in due} == {"storage.json", *(f"{name}.json" for name in BUNDLED)}
    assert set(prepared.FOLDER.iterdir()) <= due.keys()


@pytest.mark.parametrize("name", BUNDLED)
def test_a_rulepack_read_back_is_the_one_that_is_written(name: str) -> None:
    assert told(as_prepared(name)) == told(as_written(name))


def test_whatever_can_be_written_survives_being_data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(prepared, "FOLDER", tmp_path)
    source = Source("everything.yaml", EVERYTHING)
    written = checked_anew(source, "everything")
    prepared.prepared_file(written).write_text(rulepack_text(written, EVERYTHING), encoding="utf-8")
    ready = prepared.prepared(source, "everything")
    assert ready is not None
    read_back = check_drafts([ready])[0]
    assert told(read_back) == told(written)
    assert set(_kinds_of(read_back)) == {kind for kind in vars(nodes).values() if _is_kind(kind)}


def _is_kind(kind: object) -> bool:
    return isinstance(kind, type) and issubclass(kind, Node) and kind is not Node


def _kinds_of(rulepack: Rulepack) -> Iterator[type[Node]]:
    values = [item.value for item in rulepack.parameters.values()]
    for rule in rulepack.rules.values():
        values += [rule.require, *(item.value for item in rule.definitions)]
        values += [rule.when] if rule.when is not None else []
    for value in values:
        yield from map(type, value.clause.node.walk())


def test_the_text_or_the_code_of_another_day_is_not_answered_for(monkeypatch: pytest.MonkeyPatch) -> None:
    found = BUNDLED["governing"]
    source, folder = source_of(found), str(found.folder)
    assert prepared.prepared(source, folder) is not None
    assert prepared.prepared(Source(source.name, source.text + "\n"), folder) is None
    with monkeypatch.context() as patch:
        patch.setattr(prepared, "source_mark", lambda more: b"other code")
        assert prepared.prepared(source, folder) is None
    with monkeypatch.context() as patch:
        other = attrs.evolve(FUNCTIONS["max"], arguments=(Argument("value", "any", a_current()),))
        patch.setitem(FUNCTIONS._functions, "max", other)
        assert prepared.prepared(source, folder) is None
    assert prepared.prepared(source, folder) is not None


def a_current() -> Type:
    return load_vocabulary().kinds["pack"].attributes["charge.rated"].type


# ---------------------------------------------------------------- damage


def damaged(text: str) -> Iterator[str]:
    """One character another, in the head and all over the rest; a part missing; a part twice; a part that lies."""
    head = text.index("\n")
    for at in [*range(head + 2), *range(head + 2, len(text), len(text) // 60)]:
        yield text[:at] + ("1" if text[at] == "0" else "0") + text[at + 1 :]
    for length in (0, 1, head // 2, head, head + 1, len(text) // 2, len(text) - 2, len(text) - 1):
        yield text[:length]
    yield text + "\n"
    yield text[:head] + text[head:] * 2
    yield text.replace('"at or below"', '"at or above"')
    yield text.replace('"hazard"', '"advice"')
    yield "[]" + text[head:]
    yield "{}" + text[head:]


def test_a_damaged_file_is_not_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(prepared, "FOLDER", tmp_path)
    shipped = ROOT / "limitrules" / "rules" / "checked" / "governing.json"
    source, file = source_of(BUNDLED["governing"]), tmp_path / shipped.name
    text = shipped.read_text(encoding="utf-8")
    file.write_text(text, encoding="utf-8")
    assert prepared.prepared(source, "governing") is not None
    for wrong in damaged(text):
        assert wrong != text
        file.write_text(wrong, encoding="utf-8")
        assert prepared.prepared(source, "governing") is None
    file.write_bytes(b"\xff" + text.encode())
    assert prepared.prepared(source, "governing") is None
    file.unlink()
    assert prepared.prepared(source, "governing") is None


def test_the_data_of_one_rulepack_do_not_speak_for_another(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = (prepared.FOLDER / "governing.json").read_text(encoding="utf-8")
    monkeypatch.setattr(prepared, "FOLDER", tmp_path)
    (tmp_path / "voltage.json").write_text(text, encoding="utf-8")
    assert prepared.prepared(source_of(BUNDLED["voltage"]), "voltage") is None


@pytest.mark.parametrize("damage", ["none", "lies", "truncated", "missing"])
def test_no_damage_changes_a_verdict(damage: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shipped = prepared.FOLDER
    monkeypatch.setattr(prepared, "FOLDER", tmp_path)
    for file in shipped.glob("*.json") if damage != "missing" else ():
        text = file.read_text(encoding="utf-8")
        text = text.replace('"at or below"', '"at or above"') if damage == "lies" else text
        (tmp_path / file.name).write_text(text[:-9] if damage == "truncated" else text, encoding="utf-8")
    drafts = [read_draft(item.folder, item.shown) for item in BUNDLED.values()]
    assert {isinstance(draft, Ready) for draft in drafts} == {damage == "none"}
    system = read_system(EXAMPLE)
    written = [checked_anew(source_of(item), str(item.folder)) for item in BUNDLED.values()]
    assert Survey(system, check_drafts(drafts)).verdicts == Survey(system, written).verdicts


# ---------------------------------------------------------------- together with other rulepacks

OVERRIDE = document("overrides: {governing: {ladder_gap: 3 A}}\n")
EXTENSION = document("extends: {flywheel: {plural: flywheels, meaning: It turns., attributes: {on: {flag: true, "
                     "meaning: Whether it turns.}}}}\n")  # fmt: skip


@pytest.mark.parametrize("text", [OVERRIDE, EXTENSION])
def test_what_others_set_or_add_is_checked_from_the_text(text: str) -> None:
    found = BUNDLED["governing"]
    local = parse_draft(Source("local.yaml", text))
    drafts = [parse_draft(source_of(found), str(found.folder)), local]
    written, read_back = check_drafts(drafts), check_drafts([read_draft(found.folder, found.shown), local])
    assert told(read_back[0]) == told(written[0])
    assert read_back[0].vocabulary.kinds.keys() == written[0].vocabulary.kinds.keys()
    assert (told(read_back[0]) != told(as_prepared("governing"))) is (text == OVERRIDE)


def test_a_plugin_finds_its_functions_in_the_rules() -> None:
    found = BUNDLED["governing"]
    half = Function("half", "Half of it.", (Argument("value", "any"),), lambda types: types[0], lowered="absolute")
    functions = FUNCTIONS.extended([half])
    (rulepack,) = check_drafts([read_draft(found.folder, found.shown)], functions)
    assert {rule.functions for rule in rulepack.rules.values()} == {functions}


def test_a_rulepack_twice_is_told_at_its_name() -> None:
    found = BUNDLED["governing"]
    with pytest.raises(InputError) as caught:
        check_drafts([read_draft(found.folder, found.shown), read_draft(found.folder, "other/rulepack.yaml")])
    (mistake,) = caught.value.diagnostics
    assert (mistake.code, str(mistake.span)) == ("rulepack-twice", "other/rulepack.yaml:2:7")


def test_a_survey_needs_neither_parser_nor_checker() -> None:
    """What is read beforehand spares their import, which takes longer than the rest."""
    script = (
        "import sys; from limitrules.cli import main\n"
        f"main(['survey', {str(EXAMPLE)!r}])\n"
        "heavy = {'lark', 'jsonschema', 'limitrules.language.parser', 'limitrules.rules.reading', 'shutil'}\n"
        "print('loaded:', sorted(heavy & sys.modules.keys()))"
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=ROOT)
    assert run.stdout.splitlines()[-1] == "loaded: []"


# ---------------------------------------------------------------- vocabularies


def test_a_vocabulary_survives_being_data() -> None:
    found = prepared_kinds.prepared(STORAGE)
    assert found is not None
    told, read = Vocabulary(*found), read_vocabulary(STORAGE)
    assert (told.name, told.version, told.variants) == (read.name, read.version, read.variants)
    assert list(told.kinds) == list(read.kinds)
    for name, kind in read.kinds.items():
        other = told.kinds[name]
        assert (other.name, other.plural, other.single, other.meaning, other.groups) == (
            kind.name, kind.plural, kind.single, kind.meaning, kind.groups,
        )  # fmt: skip
        assert list(other.attributes.items()) == list(kind.attributes.items())


@pytest.mark.parametrize("data", ["another text", "broken data", "no data", "another format"])
def test_data_of_another_vocabulary_is_not_used(tmp_path: Path, data: str) -> None:
    file, beside = tmp_path / STORAGE.name, prepared_kinds.prepared_file(STORAGE)
    text, told = STORAGE.read_text(encoding="utf-8"), beside.read_text(encoding="utf-8")
    file.write_text(text + "# \n" if data == "another text" else text, encoding="utf-8")
    if data != "no data":
        wrong = {"broken data": told[:-3], "another format": told.replace(prepared_kinds.FORMAT, "kinds/0")}
        prepared_kinds.prepared_file(file).write_text(wrong.get(data, told), encoding="utf-8")
    assert prepared_kinds.prepared(file) is None
