"""Checked clauses as data: tree, types and units as lists, so that what was checked once is not checked again.

A node is its kind, the numbers of its type and of its unit in a legend, and its fields in order. Data are built into
nodes and never run.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from attrs import field, frozen

from limitrules.foundation.dimension import NUMBER, Dimension
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
    Type,
)
from limitrules.foundation.source import Span
from limitrules.foundation.units import Unit, parse_unit, unit_for
from limitrules.language import nodes as n
from limitrules.language.checker import Checked
from limitrules.language.nodes import Clause, Node

Row = list[Any]

_KINDS: Mapping[str, type[Node]] = {
    item.__name__: item for item in vars(n).values() if isinstance(item, type) and issubclass(item, Node)
}
_FIELDS: Mapping[str, tuple[str, ...]] = {name: kind.__match_args__ for name, kind in _KINDS.items()}
# At which places among the fields of a kind nodes stand.
_PLACES = {name: [_FIELDS[name].index(item) for item in kind.below] for name, kind in _KINDS.items()}
_PLAIN: Mapping[str, Type] = {"temperature": Temperature(), "truth": Truth(), "text": Text(), "date": Date()}
# Whatever decides how a clause is parsed and typed; from here, so that data are not used after a change of it.
_DECIDING = (
    "language/grammar.lark", "language/parser.py", "language/nodes.py", "language/checker.py", "language/desk.py",
    "language/value_types.py", "language/condition_types.py", "language/functions.py", "language/prepared.py",
    "foundation/kinds.py", "foundation/units.py", "foundation/dimension.py",
)  # fmt: skip


@frozen(eq=False, repr=False)
class Legend:
    """The types and units of the nodes of many clauses, by number."""

    types: list[Type] = field(factory=list)
    units: list[Unit] = field(factory=list)

    def data(self) -> dict[str, Any]:
        return {"types": [_type_data(item) for item in self.types], "units": [item.symbol for item in self.units]}


def legend_of(data: Mapping[str, Any]) -> Legend:
    """The legend that data stand for."""
    return Legend([_type_of(item) for item in data["types"]], [unit_named(item) for item in data["units"]])


@cache
def source_mark(more: tuple[str, ...] = ()) -> bytes:
    """Changes with the grammar, with all code that parses and types clauses, and with more files of the package."""
    package = Path(__file__).parent.parent
    return hashlib.sha256(b"".join((package / name).read_bytes() for name in (*_DECIDING, *more))).digest()


# ---------------------------------------------------------------- to data


def row_of(checked: Checked, legend: Legend) -> Row:
    """The tree of a clause with its types and units; the legend is added to."""
    return _node_row(checked.clause.node, checked, legend)


def _node_row(node: Node, checked: Checked, legend: Legend) -> Row:
    kind = type(node).__name__
    unit = checked.units.get(node)
    if isinstance(node, n.Literal):  # the value follows from digits and unit
        fields = [node.start, node.end, node.digits, node.unit.symbol]
    else:
        fields = [_field_data(getattr(node, name), checked, legend) for name in _FIELDS[kind]]
    shown = None if unit is None else _number(legend.units, unit)
    return [kind, _number(legend.types, checked.types[node]), shown, *fields]


def _field_data(value: Any, checked: Checked, legend: Legend) -> Any:
    if isinstance(value, Node):
        return _node_row(value, checked, legend)
    if isinstance(value, tuple):
        return {"all": [_node_row(item, checked, legend) for item in value]}
    return value


def _number(known: list[Any], item: Any) -> int:
    if item not in known:
        known.append(item)
    return known.index(item)


def _type_data(kind: Type) -> Any:
    if isinstance(kind, Quantity):
        return {"quantity": [str(item) for item in kind.dimension.exponents]}
    if isinstance(kind, Choice):
        return {"choice": kind.options}
    if isinstance(kind, Curve):
        return {"curve": [_type_data(kind.over), _type_data(kind.of)]}
    if isinstance(kind, Group):
        return {"group": [kind.kind, kind.path]}
    if isinstance(kind, Component):
        return {"one": kind.kind}
    if isinstance(kind, Components):
        return {"many": kind.kind}
    return next(word for word, plain in _PLAIN.items() if plain == kind)


# ---------------------------------------------------------------- from data


def checked_of(row: Row, legend: Legend, text: str, place: Callable[[int, int], Span]) -> Checked:
    """The checked clause of a text that a row stands for."""
    types: dict[Node, Type] = {}
    units: dict[Node, Unit] = {}
    node = _node(row, legend.types, legend.units, types, units)
    return Checked(Clause(text, node, place), types[node], types, units)


def tree_of(row: Row, legend: Legend) -> Node:
    """The tree of a clause alone."""
    return _node(row, legend.types, legend.units, {}, {})


def _node(
    row: Row, types: Sequence[Type], units: Sequence[Unit], typed: dict[Node, Type], shown: dict[Node, Unit]
) -> Node:
    kind, type_number, unit_number, *fields = row
    if kind == "Literal":
        start, end, digits, symbol = fields
        node: Node = n.Literal(start, end, digits, *_quantity(digits, symbol))
    else:
        for place in _PLACES[kind]:
            below = fields[place]
            if isinstance(below, list):
                fields[place] = _node(below, types, units, typed, shown)
            elif below is not None:
                fields[place] = tuple([_node(item, types, units, typed, shown) for item in below["all"]])
        node = _KINDS[kind](*fields)
    typed[node] = types[type_number]
    if unit_number is not None:
        shown[node] = units[unit_number]
    return node


@cache
def unit_named(symbol: str) -> Unit:
    """The unit of a symbol, that of plain numbers included."""
    return unit_for(NUMBER) if symbol == "1" else parse_unit(symbol)


@cache
def _quantity(digits: str, symbol: str) -> tuple[Unit, Fraction]:
    unit = unit_named(symbol)
    return unit, unit.to_si(Fraction(digits))


def _type_of(data: Any) -> Type:
    if isinstance(data, str):
        return _PLAIN[data]
    ((word, value),) = data.items()
    found: Type = _BUILT[word](value)
    return found


def _measurable(data: Any) -> Quantity | Temperature:
    found = _type_of(data)
    assert isinstance(found, Quantity | Temperature)
    return found


def _exponent(text: str) -> int | Fraction:
    return Fraction(text) if "/" in text else int(text)


_BUILT: Mapping[str, Any] = {
    "quantity": lambda value: Quantity(Dimension(tuple(map(_exponent, value)))),
    "choice": lambda value: Choice(tuple(value)),
    "curve": lambda value: Curve(*map(_measurable, value)),
    "group": lambda value: Group(*value),
    "one": Component,
    "many": Components,
}
