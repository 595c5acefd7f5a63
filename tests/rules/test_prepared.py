"""What is read beforehand is what the shipped vocabularies and rulepacks say, as they are read today."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from limitrules.language import prepared
from limitrules.language.parser import parse, parse_clause
from limitrules.language.prepared import data_of, node_of
from limitrules.model import prepared as prepared_kinds
from limitrules.model.vocabulary import SHIPPED, Vocabulary, read_vocabulary
from limitrules.rules.prepare import prepared_texts

STORAGE = SHIPPED / "storage.yaml"


def test_the_files_are_current() -> None:
    """If this fails: python -m limitrules.rules.prepare"""
    due = prepared_texts()
    assert {place: place.read_text(encoding="utf-8") for place in due} == due
    assert {place.name for place in due} >= {"prepared.json", "storage.json"}


@pytest.mark.parametrize(
    "text",
    [
        "lowest of (p.a, 3 A ± 5 %) at or below if p is stated then 2.50 kA else 1 A".replace("if p", "(if p") + ")",
        "every p in c.feeds where p.on: p.a between -5 degC and 20 degC or not p.b",
        'total of x.a over x in p.b above abs(-3 A) and p.chemistry equals "lfp" and no q in packs: yes',
    ],
)
def test_a_tree_survives_being_data(text: str) -> None:
    node = parse(text, parse_clause("yes").place)
    data = json.loads(json.dumps(data_of(node)))
    assert data_of(node_of(data)) == data_of(node)


def test_trees_of_another_grammar_are_not_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    wrong = {"limitrules": prepared.FORMAT, "grammar": "another", "clauses": {"yes": ["YesNo", 0, 3, False]}}
    file = tmp_path / prepared.FILE.name
    file.write_text(json.dumps(wrong), encoding="utf-8")
    (tmp_path / "grammar.lark").write_bytes(prepared.FILE.with_name("grammar.lark").read_bytes())
    monkeypatch.setattr(prepared, "FILE", file)
    prepared._trees.cache_clear()
    try:
        assert prepared.prepared("yes") is None
        file.write_text("{", encoding="utf-8")
        prepared._trees.cache_clear()
        assert prepared.prepared("yes") is None
    finally:
        prepared._trees.cache_clear()


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
