"""Clauses parsed beforehand: the trees of the shipped rulepacks as data, so that surveying them needs no parser.

A tree depends on nothing but the text of the clause and the grammar, so the text is the key; trees made with
another grammar are not used. The file holds data only, and a test holds it against the parser.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import attrs

from limitrules.foundation.dimension import NUMBER
from limitrules.foundation.units import Unit, parse_unit, unit_for
from limitrules.language import nodes as n
from limitrules.language.nodes import Node

FILE = Path(__file__).with_name("prepared.json")
FORMAT = "clauses/1"
_KINDS: Mapping[str, type[Node]] = {
    item.__name__: item for item in vars(n).values() if isinstance(item, type) and issubclass(item, Node)
}
_FIELDS = {name: [field.name for field in attrs.fields(kind)] for name, kind in _KINDS.items()}
# At which places in the data of a kind its nodes stand.
_PLACES = {name: [_FIELDS[name].index(field) for field in kind.below] for name, kind in _KINDS.items()}


def prepared(text: str) -> Node | None:
    """The tree of a clause that was parsed beforehand, else None."""
    found = _trees().get(text)
    return None if found is None else node_of(found)


def grammar_mark() -> str:
    """Changes with the grammar and with the kinds of nodes."""
    grammar = FILE.with_name("grammar.lark").read_bytes()
    return hashlib.sha256(grammar + repr(_FIELDS).encode()).hexdigest()[:16]


def as_text(clauses: Iterable[tuple[str, Node]]) -> str:
    """The file for these clauses and their trees: one line a clause, so that a change shows as one."""
    lines = [f"{json.dumps(text)}: {json.dumps(data_of(node), separators=(',', ':'))}" for text, node in clauses]
    body = ",\n".join(sorted(set(lines)))
    return f'{{"limitrules": "{FORMAT}", "grammar": "{grammar_mark()}", "clauses": {{\n{body}\n}}}}\n'


def data_of(node: Node) -> list[Any]:
    """A tree as lists: the kind of the node and its fields, in order."""
    return [type(node).__name__, *(_field_data(getattr(node, name)) for name in _FIELDS[type(node).__name__])]


def _field_data(value: Any) -> Any:
    if isinstance(value, Node):
        return data_of(value)
    if isinstance(value, tuple):
        return {"all": [data_of(item) for item in value]}
    if isinstance(value, str | int | bool) or value is None:
        return value
    return getattr(value, "symbol", None)  # a unit by its symbol; the value of a literal follows from it


def node_of(data: list[Any]) -> Node:
    """The tree that the lists stand for."""
    kind, *fields = data
    if kind == "Literal":
        start, end, digits, symbol, _ = fields
        return n.Literal(start, end, digits, *_quantity(digits, symbol))
    for place in _PLACES[kind]:
        fields[place] = _below(fields[place])
    return _KINDS[kind](*fields)


def _below(value: Any) -> Any:
    if isinstance(value, list):
        return node_of(value)
    return None if value is None else tuple(node_of(item) for item in value["all"])


@cache
def _quantity(digits: str, symbol: str) -> tuple[Unit, Fraction]:
    unit = unit_for(NUMBER) if symbol == "1" else parse_unit(symbol)
    return unit, unit.to_si(Fraction(digits))


@cache
def _trees() -> Mapping[str, list[Any]]:
    try:
        data = json.loads(FILE.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    if data.get("limitrules") != FORMAT or data.get("grammar") != grammar_mark():
        return {}
    found: Mapping[str, list[Any]] = data["clauses"]
    return found
