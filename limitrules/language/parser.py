"""From text to nodes: one LALR pass, with mistakes reported where they stand."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any, cast

import attrs

from limitrules.foundation.diagnostics import Diagnostic, InputError, listing, nearest
from limitrules.foundation.dimension import NUMBER
from limitrules.foundation.exact import parse_decimal
from limitrules.foundation.source import Source, Span
from limitrules.foundation.units import UNITS, UnknownUnit, parse_unit, suggest, unit_for
from limitrules.language import nodes as n
from limitrules.language.mistakes import habit_diagnostic, syntax_diagnostic
from limitrules.language.nodes import Clause, Node

MAX_LENGTH = 4000
MAX_DEPTH = 40
"""How deep phrases may stand within each other; what walks a tree may count on it."""
Place = Callable[[int, int], Span]

_MARGINS = {"LESS": "less", "PLUS": "plus", "PLUS_OR_MINUS": "plus or minus"}
_OPERATORS = {"−": "-", "·": "*", "×": "*"}  # noqa: RUF001
_LARGEST_POWER = 99


def parse_clause(text: str, place: Place | None = None, name: str = "<clause>") -> Clause:
    """Parse a clause of the check language.

    ``place`` maps character positions of ``text`` to spans of the file it stands in. Raises InputError with the
    place, what was found and what was expected.
    """
    if place is None:
        source = Source(name, text)
        place = source.span
    return Clause(text, parse(text, place), place)


def parse(text: str, place: Place) -> Node:
    """The tree of a clause. Raises InputError as `parse_clause` does."""
    _guard(text, place)

    from lark.exceptions import UnexpectedInput

    try:
        node = cast(Node, _parser().parse(text))
    except UnexpectedInput as error:
        raise InputError([syntax_diagnostic(error, text, place)]) from None
    except _Misread as error:
        habit = habit_diagnostic(text, error.start, place) if error.code == "unknown-state" else None
        raise InputError([habit or error.diagnostic(place)]) from None
    if depth_of(node) > MAX_DEPTH:
        raise InputError([_too_deep("the phrases stand too deep within each other", place(node.start, node.end))])
    return node


def depth_of(node: Node) -> int:
    """How many nodes stand one within the other."""
    deepest, level = 0, [node]
    while level:
        deepest += 1
        level = [child for item in level for child in item.children()]
    return deepest


def _too_deep(message: str, span: Span) -> Diagnostic:
    return Diagnostic("clause-too-deep", message, span, f"at most {MAX_DEPTH} levels", "name parts of it under `let`")


def _guard(text: str, place: Place) -> None:
    if len(text) > MAX_LENGTH:
        raise InputError([Diagnostic("clause-too-long", f"the clause is {len(text)} characters long", place(0, 1),
                                     f"at most {MAX_LENGTH}", "name parts of it under `let`")])  # fmt: skip
    depth = 0
    for index, char in enumerate(text):
        depth += (char == "(") - (char == ")")
        if depth > MAX_DEPTH:
            raise InputError([_too_deep("the parentheses stand too deep within each other", place(index, index + 1))])


@cache
def _parser() -> Any:
    from lark import Lark

    grammar = Path(__file__).with_name("grammar.lark").read_text(encoding="utf-8")
    return Lark(grammar, parser="lalr", lexer="contextual", keep_all_tokens=True, transformer=_builder_class()(),
                cache=False)  # fmt: skip


class _Misread(Exception):
    """A word that the grammar accepts and the language does not."""

    def __init__(self, code: str, message: str, start: int, end: int, expected: str = "", advice: str = "") -> None:
        super().__init__(message)
        self.code, self.message, self.start, self.end = code, message, start, end
        self.expected, self.advice = expected, advice

    def diagnostic(self, place: Place) -> Diagnostic:
        return Diagnostic(self.code, self.message, place(self.start, self.end), self.expected, self.advice)


def _builder_class() -> type:
    from lark import Transformer
    from lark.lexer import Token

    def names(children: list[Any]) -> list[str]:
        return [str(item) for item in children if isinstance(item, Token) and item.type == "NAME"]

    def first(item: Any) -> int:
        return cast(int, item.start_pos if isinstance(item, Token) else item.start)

    def last(item: Any) -> int:
        return cast(int, item.end_pos if isinstance(item, Token) else item.end)

    def phrase(build: Callable[[int, int, list[Any], list[Any]], Any]) -> Any:
        """Hand a callback its place, the nodes below, and all of its children, keywords included."""

        def built(self: Any, children: list[Any]) -> Any:
            kept = [item for item in children if item is not None]
            below = [item for item in kept if isinstance(item, Node)]
            return build(first(kept[0]), last(kept[-1]), below, kept)

        return built

    def literal(start: int, end: int, below: list[Any], kept: list[Any]) -> Node:
        unit = unit_for(NUMBER)
        if len(kept) > 1:
            unit = _unit(str(kept[1]), kept[1].start_pos, kept[1].end_pos)
        digits = str(kept[0])
        _, _, power = digits.lower().partition("e")
        if power and abs(int(power)) > _LARGEST_POWER:
            raise _Misread("number-out-of-range", f"`{digits}` is beyond what can be counted with", start, end,
                           f"powers of ten from -{_LARGEST_POWER} to {_LARGEST_POWER}")  # fmt: skip
        value = parse_decimal(digits)
        assert value is not None
        return n.Literal(start, end, digits, unit, unit.to_si(value))

    def negative(start: int, end: int, below: list[Any], kept: list[Any]) -> Node:
        value = below[0]
        if isinstance(value, n.Literal) and value.unit.is_temperature and not value.digits.startswith("-"):
            # `-14 degC` is a place on the scale; the unary minus of a quantity could not say so.
            digits = f"-{value.digits}"
            return n.Literal(start, end, digits, value.unit, value.unit.to_si(Fraction(digits)))
        return n.Negative(start, end, value)

    def member(start: int, end: int, below: list[Any], kept: list[Any]) -> Node:
        if isinstance(below[0], n.Literal) and below[0].unit.symbol == "1":
            number = below[0].digits
            raise _Misread("syntax", f"`{number}.` is not a complete number", start, end, f"`{number}` or `{number}.0`")
        return n.Member(start, end, below[0], str(kept[-1]))

    def state(start: int, end: int, below: list[Any], kept: list[Any]) -> Node:
        word, at, to = str(kept[-1]), kept[-1].start_pos, kept[-1].end_pos
        if word in ("yes", "no"):
            return n.Compare(start, end, "equals", below[0], n.YesNo(at, to, word == "yes"))
        if word not in n.STATES:
            near = nearest(word, n.STATES)
            raise _Misread("unknown-state", f"`is {word}` is not something a value can be", at, to,
                           listing((*n.STATES, "yes", "no"), 12), f"`is {near}`" if near else "")  # fmt: skip
        return n.State(start, end, below[0], word)

    def listed(start: int, end: int, below: list[Any], kept: list[Any]) -> Node:
        word = kept[0]
        if word.type == "COUNT":
            raise _Misread("count-of-list", "`count of` counts the members of a collection", word.start_pos,
                           word.end_pos, "`count of p over p in packs where ...`")  # fmt: skip
        return n.Listed(start, end, str(word), tuple(below))

    def aggregate(start: int, end: int, below: list[Any], kept: list[Any]) -> Node:
        where = below[2] if len(below) > 2 else None
        return n.Aggregate(start, end, str(kept[0]), names(kept)[0], below[0], below[1], where)

    def each(start: int, end: int, below: list[Any], kept: list[Any]) -> Node:
        has_where = any(isinstance(item, Token) and item.type == "WHERE" for item in kept)
        *values, collection = below[:-1] if has_where else below
        return n.Each(start, end, tuple(values), names(kept)[0], collection, below[-1] if has_where else None)

    def quantified(start: int, end: int, below: list[Any], kept: list[Any]) -> Node:
        where = below[1] if len(below) > 2 else None
        return n.Quantified(start, end, str(kept[0]), names(kept)[0], below[0], where, below[-1])

    def group(start: int, end: int, below: list[Any], kept: list[Any]) -> Node:
        return cast(Node, attrs.evolve(below[0], start=start, end=end))

    def compare(start: int, end: int, below: list[Any], kept: list[Any]) -> Node:
        return n.Compare(start, end, str(kept[1].type).lower().replace("_", " "), *below)

    def arithmetic(start: int, end: int, below: list[Any], kept: list[Any]) -> Node:
        return n.Arithmetic(start, end, _OPERATORS.get(str(kept[1]), str(kept[1])), *below)

    class Builder(Transformer[Any, Any]):
        """Called by the parser as each phrase is complete; no recursion, so depth costs nothing."""

    simple: dict[str, Callable[[int, int, list[Any], list[Any]], Any]] = {
        "literal": literal,
        "yes": lambda start, end, below, kept: n.YesNo(start, end, True),
        "no": lambda start, end, below, kept: n.YesNo(start, end, False),
        "word": lambda start, end, below, kept: n.Word(start, end, str(kept[0])[1:-1]),
        "name": lambda start, end, below, kept: n.Name(start, end, str(kept[0])),
        "member": member,
        "group": group,
        "negative": negative,
        "arithmetic": arithmetic,
        "margin": lambda start, end, below, kept: n.Margin(start, end, _MARGINS[str(kept[1].type)], *below),
        "assume": lambda start, end, below, kept: n.Assume(start, end, *below),
        "call": lambda start, end, below, kept: n.Call(start, end, str(kept[0]), tuple(below)),
        "read_at": lambda start, end, below, kept: n.ReadAt(start, end, *below),
        "compare": compare,
        "between": lambda start, end, below, kept: n.Between(start, end, *below),
        "within": lambda start, end, below, kept: n.Within(start, end, *below),
        "state": state,
        "belongs": lambda start, end, below, kept: n.Belongs(start, end, *below),
        "opposite": lambda start, end, below, kept: n.Opposite(start, end, below[0]),
        "all_of": lambda start, end, below, kept: n.AllOf(start, end, tuple(below)),
        "any_of": lambda start, end, below, kept: n.AnyOf(start, end, tuple(below)),
        "choose": lambda start, end, below, kept: n.Choose(start, end, *below),
        "quantified": quantified,
        "each": each,
        "listed": listed,
        "aggregate_over": aggregate,
    }
    for rule, build in simple.items():
        setattr(Builder, rule, phrase(build))
    for rule in ("comparator", "quantifier", "aggregate"):
        setattr(Builder, rule, lambda self, children: children[0])
    return Builder


def _unit(text: str, start: int, end: int) -> Any:
    try:
        return parse_unit(text)
    except UnknownUnit as error:
        near = _near_unit(text) or error.suggestion
        advice = f"`{near}`" if near else ""
        if not near and any(sign in text for sign in "*/"):
            advice = "blanks around `*` and `/` when they multiply or divide"
        raise _Misread("unknown-unit", str(error), start, end, "a unit such as A, V, s, degC, %", advice) from None


def _near_unit(text: str) -> str:
    """A known unit in other capitals, or with the parts of a compound one put right."""
    parts = re.split(r"(/)", text)
    meant = [part if part == "/" or part in UNITS else _recapitalised(part) or suggest(part) for part in parts]
    return "".join(meant) if all(meant) and len(parts) > 1 and "*" not in text else _recapitalised(text)


def _recapitalised(symbol: str) -> str:
    found = [unit for unit in UNITS if unit.lower() == symbol.lower()]
    return found[0] if len(found) == 1 else ""


def literal_value(text: str) -> Fraction | None:
    """The value of a text that is a lone literal, in SI; None when it is anything else."""
    try:
        node = parse_clause(text).node
    except InputError:
        return None
    return node.value if isinstance(node, n.Literal) else None
