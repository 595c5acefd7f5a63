"""What the tests of the language share: fixture files, a small vocabulary and system, a readable form of trees."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import cast

from limitrules.foundation.kinds import Component, Quantity
from limitrules.foundation.source import Source
from limitrules.foundation.tree import read_tree
from limitrules.language import nodes as n
from limitrules.language.checker import Checked, Scope, check
from limitrules.language.functions import STANDARD
from limitrules.language.nodes import Node
from limitrules.language.parser import parse_clause
from limitrules.model.system import System, parse_system
from limitrules.model.vocabulary import Vocabulary, vocabulary_from
from limitrules.rules.binding import Binder
from limitrules.rules.bound import Named
from limitrules.rules.rule import Rule
from limitrules.rules.slots import Slots

FIXTURES = Path(__file__).parent / "fixtures"


def sections(name: str) -> dict[str, tuple[str, str]]:
    """Title -> (text, what is expected of it) of a fixture file; without `---` the text is expected of itself."""
    text = (FIXTURES / name).read_text(encoding="utf-8")
    found: dict[str, tuple[str, str]] = {}
    for part in re.split(r"^=== ", text, flags=re.MULTILINE)[1:]:
        title, _, body = part.partition("\n")
        given, line, expected = body.partition("\n---\n")
        assert title not in found, f"{name} has two sections `{title}`"
        found[title] = (given.strip("\n"), (expected if line else given).strip("\n"))
    return found


@cache
def vocabulary() -> Vocabulary:
    source = Source("small.yaml", (FIXTURES / "small.yaml").read_text(encoding="utf-8"))
    return vocabulary_from(read_tree(source), source)


@cache
def system() -> System:
    return parse_system(Source("system.yaml", (FIXTURES / "system.yaml").read_text(encoding="utf-8")), vocabulary())


def scope() -> Scope:
    """Subjects p, q (packs), c (a converter), f (a fuse), and a parameter `margin`."""
    subjects = {"p": Component("pack"), "q": Component("pack"), "c": Component("converter"), "f": Component("fuse")}
    return Scope(vocabulary().kinds).binding(**subjects, margin=Quantity())


def checked(text: str, expected: type | None = None) -> Checked:
    return check(parse_clause(text), scope(), expected)


def binder(slots: Slots | None = None) -> Binder:
    """Binds clauses to the small system, with p north, q south, c main, f left."""
    records = {"p": "packs.north", "q": "packs.south", "c": "converters.main", "f": "fuses.left"}
    components = {name: record for name, path in records.items() if (record := system().record(path)) is not None}
    margin = SimpleNamespace(value=check(parse_clause("25 %"), scope()))
    rule = cast(Rule, SimpleNamespace(parameters={"margin": margin}, definitions=(), functions=STANDARD))
    return Binder(system(), slots or Slots(), rule, Named(components))


def tree_of(node: Node) -> str:
    """One line for a node, those below it indented."""
    return "\n".join(_lines(node))


def _lines(node: Node, indent: str = "") -> Iterator[str]:
    path = _path(node)
    if path is not None:
        yield indent + path
        return
    yield indent + _label(node)
    for child in node.children():
        mark = "where " if child is getattr(node, "where", None) else ""
        lines = _lines(child, indent + "  ")
        first = next(lines)
        yield indent + "  " + mark + first.strip()
        yield from lines


def _path(node: Node) -> str | None:
    if isinstance(node, n.Name):
        return node.name
    if isinstance(node, n.Member) and (base := _path(node.base)) is not None:
        return f"{base}.{node.name}"
    return None


def _label(node: Node) -> str:
    match node:
        case n.Literal():
            return f"{node.digits} {node.unit.symbol}"
        case n.YesNo():
            return "yes" if node.value else "no"
        case n.Word():
            return f'"{node.text}"'
        case n.Member():
            return f".{node.name}"
        case n.Arithmetic():
            return node.operator
        case n.Margin() | n.Listed():
            return node.word
        case n.Call():
            return f"{node.function}()"
        case n.Compare():
            return node.relation
        case n.State():
            return f"is {node.word}"
        case n.Quantified():
            return f"{node.word} {node.name}"
        case n.Aggregate():
            return f"{node.word} over {node.name}"
        case _:
            return type(node).__name__.lower()
