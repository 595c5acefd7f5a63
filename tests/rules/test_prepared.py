"""The clauses parsed beforehand are those of the shipped rulepacks, as the parser reads them today."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import pytest

from limitrules.language import prepared
from limitrules.language.parser import parse, parse_clause
from limitrules.language.prepared import data_of, node_of
from limitrules.rules.prepare import prepared_text


def test_the_file_is_current() -> None:
    """If this fails: python -m limitrules.rules.prepare"""
    assert files("limitrules.language").joinpath(prepared.FILE).read_text(encoding="utf-8") == prepared_text()


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
    (tmp_path / prepared.FILE).write_text(json.dumps(wrong), encoding="utf-8")
    (tmp_path / "grammar.lark").write_bytes(files("limitrules.language").joinpath("grammar.lark").read_bytes())
    monkeypatch.setattr(prepared, "files", lambda package: tmp_path)
    prepared._trees.cache_clear()
    try:
        assert prepared.prepared("yes") is None
        (tmp_path / prepared.FILE).write_text("{", encoding="utf-8")
        prepared._trees.cache_clear()
        assert prepared.prepared("yes") is None
    finally:
        prepared._trees.cache_clear()
