"""From text to nodes: one LALR pass, with mistakes reported where they stand."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import Any, cast

import attrs

from limitrules.foundation.diagnostics import Diagnostic, InputError, listing, nearest
from limitrules.foundation.dimension import NUMBER
from limitrules.foundation.exact import parse_decimal
from limitrules.foundation.source import Source, Span
from limitrules.foundation.units import UnknownUnit, parse_unit, unit_for
from limitrules.language import nodes as n
from limitrules.language.nodes import Clause, Node

MAX_LENGTH = 4000
MAX_DEPTH = 40
Place = Callable[[int, int], Span]

# What each terminal is called in the words one types.
_WORDS = {
    "AT_OR_BELOW": "`at or below`", "AT_OR_ABOVE": "`at or above`", "BELOW": "`below`", "ABOVE": "`above`",
    "EQUALS": "`equals`", "DIFFERS_FROM": "`differs from`", "LONGER_THAN": "`longer than`",
    "SHORTER_THAN": "`shorter than`", "AT_MOST": "`at most`", "AT_LEAST": "`at least`",
    "COLDER_THAN": "`colder than`", "WARMER_THAN": "`warmer than`", "BETWEEN": "`between`", "WITHIN": "`within`",
    "IS": "`is`", "IN": "`in`", "AND": "`and`", "OR": "`or`", "OTHERWISE": "`otherwise`", "LESS": "`less`",
    "PLUS": "`plus`", "ADD": "`+`", "SUBTRACT": "`-`", "MULTIPLY": "`*`", "DIVIDE": "`/`", "AT": "`at`",
    "DOT": "`.`", "UNIT": "a unit", "NUMBER": "a number", "NAME": "a name", "STRING": "a quoted word",
    "OVER": "`over`", "WHERE": "`where`", "THEN": "`then`", "ELSE": "`else`", "OF": "`of`", "LPAR": "`(`",
    "RPAR": "`)`", "COMMA": "`,`", "COLON": "`:`", "NOT": "`not`", "IF": "`if`", "$END": "the end",
}  # fmt: skip
_COMPARING = {"AT_OR_BELOW", "AT_OR_ABOVE", "BELOW", "ABOVE", "EQUALS", "DIFFERS_FROM", "LONGER_THAN",
              "SHORTER_THAN", "AT_MOST", "AT_LEAST", "COLDER_THAN", "WARMER_THAN", "BETWEEN", "WITHIN"}  # fmt: skip
_VALUES = {"NUMBER", "NAME", "STRING", "LPAR", "TOTAL", "LOWEST", "HIGHEST", "COUNT", "YES", "NO", "SUBTRACT"}
_ARITHMETIC = {"ADD", "SUBTRACT", "MULTIPLY", "DIVIDE"}

_OPERATORS = {"−": "-", "·": "*", "×": "*"}  # noqa: RUF001

_HABITS = {
    "==": "`equals`", "&&": "`and`", "||": "`or`", "!": "`not`", "<>": "`differs from`", "**": "a product",
    "'": 'a word in double quotes, `"lfp"`', "~": "`within T of B`", "^": "a product", "&": "`and`", "|": "`or`",
    "?": "`if A then B else C`", "±": "a value with its tolerance in the system document, not in a rule",
    "%": "`25 %` behind a number", ";": "one condition, joined with `and`", "[": "`lowest of (a, b)`", ",": "`.` "
    "for decimals, as in `2.5 A`",
}  # fmt: skip


def parse_clause(text: str, place: Place | None = None, name: str = "<clause>") -> Clause:
    """Parse a clause of the check language.

    ``place`` maps character positions of ``text`` to spans of the file it stands in. Raises InputError with the
    place, what was found and what was expected.
    """
    if place is None:
        source = Source(name, text)
        place = source.span
    _guard(text, place)
    from lark.exceptions import UnexpectedInput

    try:
        return Clause(text, cast(Node, _parser().parse(text)), place)
    except UnexpectedInput as error:
        raise InputError([_syntax_diagnostic(error, text, place)]) from None
    except _Misread as error:
        raise InputError([Diagnostic(error.code, error.message, place(error.start, error.end),
                                     error.expected, error.advice)]) from None  # fmt: skip


def _guard(text: str, place: Place) -> None:
    if len(text) > MAX_LENGTH:
        raise InputError([Diagnostic("clause-too-long", f"the clause is {len(text)} characters long", place(0, 1),
                                     f"at most {MAX_LENGTH}", "name parts of it under `let`")])  # fmt: skip
    depth = 0
    for index, char in enumerate(text):
        depth += (char == "(") - (char == ")")
        if depth > MAX_DEPTH:
            raise InputError([Diagnostic("clause-too-deep", "the parentheses are nested too deep",
                                         place(index, index + 1), f"at most {MAX_DEPTH} levels",
                                         "name parts of it under `let`")])  # fmt: skip


@cache
def _parser() -> Any:
    from lark import Lark

    grammar = files("limitrules.language").joinpath("grammar.lark").read_text(encoding="utf-8")
    return Lark(grammar, parser="lalr", lexer="contextual", keep_all_tokens=True, transformer=_builder_class()(),
                cache=False)  # fmt: skip


class _Misread(Exception):
    """A word that the grammar accepts and the language does not."""

    def __init__(self, code: str, message: str, start: int, end: int, expected: str = "", advice: str = "") -> None:
        super().__init__(message)
        self.code, self.message, self.start, self.end = code, message, start, end
        self.expected, self.advice = expected, advice


def _syntax_diagnostic(error: Any, text: str, place: Place) -> Diagnostic:
    from lark.exceptions import UnexpectedToken

    if isinstance(error, UnexpectedToken) and error.token.type != "$END":
        start, found = error.token.start_pos or 0, str(error.token)
        expected = _in_words(set(error.accepts or error.expected))
        return Diagnostic("syntax", f"`{found}` is not understood here", place(start, start + len(found)),
                          expected, _habit(text, start))  # fmt: skip
    if isinstance(error, UnexpectedToken):
        end = len(text.rstrip())
        expected = _in_words(set(error.accepts or error.expected))
        return Diagnostic("syntax", "the clause ends too early", place(max(0, end - 1), max(end, 1)), expected)
    start = error.pos_in_stream
    expected = _in_words(set(getattr(error, "allowed", ()) or ()))
    return Diagnostic("syntax", f"`{_token_at(text, start)}` is not understood here",
                      place(start, start + len(_token_at(text, start))), expected, _habit(text, start))  # fmt: skip


def _token_at(text: str, start: int) -> str:
    end = start + 1
    while end < len(text) and text[start].isalnum() and text[end].isalnum():
        end += 1
    return text[start:end]


def _habit(text: str, start: int) -> str:
    for typed in (text[max(0, start - 1) : start + 1], text[start : start + 2], text[start : start + 1]):
        advice = _HABITS.get(typed)
        if advice:
            return advice
    return ""


def _in_words(terminals: set[str]) -> str:
    words: list[str] = []
    if len(terminals & _COMPARING) == len(_COMPARING):
        words.append("a comparison (`at or below`, `between` ...)")
        terminals = terminals - _COMPARING
    if {"NUMBER", "NAME", "LPAR"} <= terminals:
        words.append("a value or a name")
        terminals = terminals - _VALUES - {"NOT", "IF", "EVERY", "SOME", "NO_SUCH"}
    if _ARITHMETIC <= terminals:
        words.append("`+ - * /`")
        terminals = terminals - _ARITHMETIC
    words += sorted(_WORDS[name] for name in terminals if name in _WORDS)
    return listing(words, most=12)


def _builder_class() -> type:
    from lark import Transformer
    from lark.lexer import Token

    def names(children: list[Any]) -> list[str]:
        return [str(item) for item in children if isinstance(item, Token) and item.type == "NAME"]

    def first(item: Any) -> int:
        return item.start_pos if isinstance(item, Token) else item.start

    def last(item: Any) -> int:
        return item.end_pos if isinstance(item, Token) else item.end

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
        value = parse_decimal(str(kept[0]))
        assert value is not None
        return n.Literal(start, end, str(kept[0]), unit, unit.to_si(value))

    def state(start: int, end: int, below: list[Any], kept: list[Any]) -> Node:
        token = kept[-1]
        if str(token) not in n.STATES:
            raise _Misread("unknown-state", f"`is {token}` is not something a value can be", token.start_pos,
                           token.end_pos, listing(n.STATES), nearest(str(token), n.STATES))  # fmt: skip
        return n.State(start, end, below[0], str(token))

    def listed(start: int, end: int, below: list[Any], kept: list[Any]) -> Node:
        word = kept[0]
        if word.type == "COUNT":
            raise _Misread("count-of-list", "`count of` counts the members of a collection", word.start_pos,
                           word.end_pos, "`count of p over p in packs where ...`")  # fmt: skip
        return n.Listed(start, end, str(word), tuple(below))

    def aggregate(start: int, end: int, below: list[Any], kept: list[Any]) -> Node:
        where = below[2] if len(below) > 2 else None
        return n.Aggregate(start, end, str(kept[0]), names(kept)[0], below[0], below[1], where)

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
        "member": lambda start, end, below, kept: n.Member(start, end, below[0], str(kept[-1])),
        "group": group,
        "negative": lambda start, end, below, kept: n.Negative(start, end, below[0]),
        "arithmetic": arithmetic,
        "margin": lambda start, end, below, kept: n.Margin(start, end, str(kept[1]), *below),
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
        "listed": listed,
        "aggregate_over": aggregate,
    }
    for rule, build in simple.items():
        setattr(Builder, rule, phrase(build))
    Builder.comparator = Builder.quantifier = Builder.aggregate = lambda self, children: children[0]
    return Builder


def _unit(text: str, start: int, end: int) -> Any:
    try:
        return parse_unit(text)
    except UnknownUnit as error:
        advice = f"`{error.suggestion}`" if error.suggestion else ""
        if any(sign in text for sign in "*/"):
            advice = "blanks around `*` and `/` when they multiply or divide"
        raise _Misread("unknown-unit", str(error), start, end, "a unit such as A, V, s, degC, %", advice) from None


def literal_value(text: str) -> Fraction | None:
    """The value of a text that is a lone literal, in SI; None when it is anything else."""
    try:
        node = parse_clause(text).node
    except InputError:
        return None
    return node.value if isinstance(node, n.Literal) else None
