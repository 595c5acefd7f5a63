"""A small vocabulary for tests, so that they do not change with the shipped one."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from limitrules.foundation.source import Source
from limitrules.foundation.tree import read_tree
from limitrules.model.system import System, parse_system
from limitrules.model.vocabulary import Vocabulary, vocabulary_from


@cache
def small() -> Vocabulary:
    source = Source("small.yaml", (Path(__file__).parent / "small.yaml").read_text(encoding="utf-8"))
    return vocabulary_from(read_tree(source), source)


def system(text: str) -> System:
    return parse_system(Source("s.yaml", text), small())
