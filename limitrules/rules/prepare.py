"""Reads the shipped vocabularies and the clauses of the shipped rulepacks beforehand.

``python -m limitrules.rules.prepare`` is to be run whenever one of them or the grammar has changed; a test tells when
it was forgotten.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from limitrules.language.nodes import Clause, Node
from limitrules.language.parser import parse
from limitrules.language.prepared import FILE, as_text
from limitrules.model.prepared import prepared_file, vocabulary_text
from limitrules.model.vocabulary import SHIPPED, read_vocabulary
from limitrules.rules.discovery import bundled
from limitrules.rules.rule import Rule
from limitrules.rules.rulepack import load_rulepacks


def prepared_texts() -> dict[Path, str]:
    """What every prepared file has to hold."""
    texts = {prepared_file(file): _vocabulary_text(file) for file in SHIPPED.glob("*.yaml")}
    return {**texts, FILE: _clauses_text()}


def _vocabulary_text(file: Path) -> str:
    found = read_vocabulary(file)
    return vocabulary_text(file, found.name, found.version, found.kinds, found.variants)


def _clauses_text() -> str:
    """The file with the clauses of all shipped rulepacks, parsed anew."""
    trees: dict[str, Node] = {}
    for rulepack in load_rulepacks([item.folder for item in bundled()]):
        clauses = [parameter.value.clause for parameter in rulepack.parameters.values()]
        for rule in rulepack.rules.values():
            clauses.extend(_clauses(rule))
        for clause in clauses:
            trees[clause.text] = parse(clause.text, clause.place)
    return as_text(trees.items())


def _clauses(rule: Rule) -> Iterator[Clause]:
    checked = [rule.when, rule.require, *(item.value for item in rule.definitions)]
    checked += [item for item in rule.because.pieces if not isinstance(item, str)]
    checked += [subject.collection for subject in rule.about.subjects]
    return (item.clause for item in checked if item is not None)


if __name__ == "__main__":
    for place, text in prepared_texts().items():
        place.write_text(text, encoding="utf-8")
