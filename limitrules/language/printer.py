"""The canonical text of a clause. Printing what was parsed from it gives the same text again."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from limitrules.language import nodes as n
from limitrules.language.nodes import Node

# How tightly a phrase holds together; a looser one inside a tighter one goes into parentheses.
_OPEN, _OR, _AND, _NOT, _RELATION, _ASSUME, _MARGIN, _SUM, _PRODUCT, _UNARY, _READING, _ATOM = range(12)


def print_node(node: Node) -> str:
    """The canonical text."""
    return _print(node)[0]


def _at(node: Node, level: int) -> str:
    text, own = _print(node)
    return text if own >= level else f"({text})"


def _print(node: Node) -> tuple[str, int]:
    return _RULES[type(node)](node)


def _literal(node: n.Literal) -> tuple[str, int]:
    text = node.digits if node.unit.symbol == "1" else f"{node.digits} {node.unit.symbol}"
    return text, _UNARY if node.digits.startswith("-") else _ATOM


def _arithmetic(node: n.Arithmetic) -> tuple[str, int]:
    level = _SUM if node.operator in "+-" else _PRODUCT
    return f"{_at(node.left, level)} {node.operator} {_at(node.right, level + 1)}", level


def _joined(word: str, parts: tuple[Node, ...], level: int) -> tuple[str, int]:
    return f" {word} ".join(_at(part, level + 1) for part in parts), level


def _quantified(node: n.Quantified) -> tuple[str, int]:
    where = f" where {_at(node.where, _RELATION)}" if node.where is not None else ""
    return f"{node.word} {node.name} in {_at(node.collection, _ATOM)}{where}: {_at(node.body, _OPEN)}", _OPEN


def _aggregate(node: n.Aggregate) -> tuple[str, int]:
    where = f" where {_at(node.where, _RELATION)}" if node.where is not None else ""
    body = _at(node.body, _ASSUME)
    # An open end (a `where`) would swallow a comparison that follows, so it is closed off.
    return f"{node.word} of {body} over {node.name} in {_at(node.collection, _ATOM)}{where}", (
        _NOT if where else _UNARY
    )


def _call(node: n.Call) -> tuple[str, int]:
    return f"{node.function}({', '.join(map(print_node, node.arguments))})", _ATOM


def _each(node: n.Each) -> tuple[str, int]:
    where = f" where {_at(node.where, _RELATION)}" if node.where is not None else ""
    values = ", ".join(map(print_node, node.values))
    shown = f"({values})" if len(node.values) > 1 else _at(node.values[0], _ASSUME)
    return f"each {shown} over {node.name} in {_at(node.collection, _ATOM)}{where}", _OPEN


def _listed(node: n.Listed) -> tuple[str, int]:
    return f"{node.word} of ({', '.join(map(print_node, node.members))})", _ATOM


def _choose(node: n.Choose) -> tuple[str, int]:
    return f"if {print_node(node.condition)} then {print_node(node.then)} else {print_node(node.other)}", _OPEN


def _read_at(node: n.ReadAt) -> tuple[str, int]:
    # A single minus may stand before the point.
    inner = node.point.value if isinstance(node.point, n.Negative) else node.point
    is_plain = isinstance(node.point, n.Literal) or _print(inner)[1] >= _ATOM
    point = _at(node.point, _UNARY if is_plain else _ATOM)
    return f"{_at(node.curve, _ATOM)} at {point}", _READING


def _compare(node: n.Compare) -> tuple[str, int]:
    if node.relation == "equals" and isinstance(node.right, n.YesNo):
        return f"{_at(node.left, _ASSUME)} is {print_node(node.right)}", _RELATION
    return f"{_at(node.left, _ASSUME)} {node.relation} {_at(node.right, _ASSUME)}", _RELATION


def _between(node: n.Between) -> tuple[str, int]:
    return f"{_at(node.value, _ASSUME)} between {_at(node.low, _ASSUME)} and {_at(node.high, _ASSUME)}", _RELATION


def _within(node: n.Within) -> tuple[str, int]:
    return f"{_at(node.value, _ASSUME)} within {_at(node.allowance, _ASSUME)} of {_at(node.target, _ASSUME)}", _RELATION


_RULES: Mapping[type[Node], Callable[[Any], tuple[str, int]]] = {
    n.Literal: _literal,
    n.YesNo: lambda node: ("yes" if node.value else "no", _ATOM),
    n.Word: lambda node: (f'"{node.text}"', _ATOM),
    n.Name: lambda node: (node.name, _ATOM),
    n.Member: lambda node: (f"{_at(node.base, _ATOM)}.{node.name}", _ATOM),
    n.Negative: lambda node: (f"-{_at(node.value, _UNARY)}", _UNARY),
    n.Arithmetic: _arithmetic,
    n.Margin: lambda node: (f"{_at(node.base, _MARGIN)} {node.word} {_at(node.amount, _SUM)}", _MARGIN),
    n.Assume: lambda node: (f"{_at(node.value, _MARGIN)} otherwise {_at(node.default, _MARGIN)}", _ASSUME),
    n.Call: _call,
    n.Each: _each,
    n.ReadAt: _read_at,
    n.Compare: _compare,
    n.Between: _between,
    n.Within: _within,
    n.State: lambda node: (f"{_at(node.value, _ASSUME)} is {node.word}", _RELATION),
    n.Belongs: lambda node: (f"{_at(node.item, _ASSUME)} in {_at(node.collection, _ATOM)}", _RELATION),
    n.Opposite: lambda node: (f"not {_at(node.value, _NOT)}", _NOT),
    n.AllOf: lambda node: _joined("and", node.parts, _AND),
    n.AnyOf: lambda node: _joined("or", node.parts, _OR),
    n.Choose: _choose,
    n.Quantified: _quantified,
    n.Aggregate: _aggregate,
    n.Listed: _listed,
}
