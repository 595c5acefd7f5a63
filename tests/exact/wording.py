"""From trees to the text of the check language, with no more parentheses than its precedence asks for; and back to
plain data, so that a tree that failed can be kept in a file."""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction
from textwrap import indent
from typing import Any

from tests.exact.oracle import SIGNS, GeneratedRule, Term
from tests.exact.world import Curve, Given, World

_OR, _AND, _NOT, _RELATION, _ASSUMED, _MARGIN, _SUM, _PRODUCT, _UNARY, _READING, _ATOM = range(1, 12)
_JOINED = {"+": _SUM, "-": _SUM, "*": _PRODUCT, "/": _PRODUCT, "less": _MARGIN, "plus": _MARGIN,
           "plus or minus": _MARGIN}  # fmt: skip
_COMPARED = (*SIGNS, "equals", "differs from")


def shown(term: Term, need: int = _OR) -> str:
    text, level = _shown(term)
    return f"({text})" if level < need else text


def _shown(term: Term) -> tuple[str, int]:
    word, parts, note = term.word, term.parts, term.note
    if word == "figure":
        return " ".join(item for item in note if item), _ATOM
    if word == "value":
        return ".".join(note), _ATOM
    if word == "let":
        return note[0], _ATOM
    if word == "negative":
        return f"-{shown(parts[0], _UNARY)}", _UNARY
    if word in _JOINED:
        level = _JOINED[word]
        return f"{shown(parts[0], level)} {word} {shown(parts[1], level + 1)}", level
    if word == "otherwise":
        return f"{shown(parts[0], _MARGIN)} otherwise {shown(parts[1], _MARGIN)}", _ASSUMED
    if word == "curve":
        return f"{'.'.join(note)} at {shown(parts[0], _ATOM)}", _READING
    if word in ("min", "max", "abs"):
        return f"{word}({', '.join(map(shown, parts))})", _ATOM
    if word in ("lowest of", "highest of", "total of"):
        return f"{word} ({', '.join(map(shown, parts))})", _ATOM
    if word.endswith(" over"):
        return _aggregate(term)
    return _condition(term)


def _aggregate(term: Term) -> tuple[str, int]:
    name, collection = term.note
    if term.word == "count over":
        return f"count of {name} over {name} in {collection} where {shown(term.parts[0], _RELATION)}", 0
    text = f"{term.word.removesuffix(' over')} of {shown(term.parts[0], _ASSUMED)} over {name} in {collection}"
    return (f"{text} where {shown(term.parts[1], _RELATION)}", 0) if len(term.parts) > 1 else (text, _ATOM)


def _condition(term: Term) -> tuple[str, int]:
    word, parts, note = term.word, term.parts, term.note
    if word in _COMPARED:
        return f"{shown(parts[0], _ASSUMED)} {word} {shown(parts[1], _ASSUMED)}", _RELATION
    if word == "between":
        return "{} between {} and {}".format(*(shown(part, _ASSUMED) for part in parts)), _RELATION
    if word == "within":
        return "{} within {} of {}".format(*(shown(part, _ASSUMED) for part in parts)), _RELATION
    if word in ("is stated", "is missing"):
        return f"{'.'.join(note)} {word}", _RELATION
    if word in ("and", "or"):
        level = _AND if word == "and" else _OR
        return f" {word} ".join(_member(part, level + 1) for part in parts), level
    if word == "not":
        return f"not {shown(parts[0], _NOT)}", _NOT
    if word in ("if", "if holds"):
        return "if {} then {} else {}".format(*map(shown, parts)), _NOT
    assert word in ("every", "some", "no"), word
    where = f" where {shown(parts[1], _RELATION)}" if len(parts) > 1 else ""
    return f"{word} {note[0]} in {note[1]}{where}: {shown(parts[0])}", _NOT


def _member(term: Term, need: int) -> str:
    """Phrases that reach as far as they can to the right stand in parentheses among others."""
    inner = term
    while inner.word == "not":
        inner = inner.parts[0]
    return f"({shown(term)})" if inner.word in ("if holds", "every", "some", "no") else shown(term, need)


def definitions(term: Term) -> dict[str, Term]:
    """The names that `let` has to define, those that others rest on first."""
    found: dict[str, Term] = {}
    for part in term.parts:
        found |= definitions(part)
    if term.word == "let":
        found[term.note[0]] = term.parts[0]
    return found


def rule_text(rule: GeneratedRule, name: str) -> str:
    """The rule as it stands below `rules:` of a rulepack document."""
    lines = ["title: A rule", "consequence: outage", f"about: {rule.about}"]
    if rule.when is not None:
        lines += _clause("when", rule.when)
    lets = definitions(rule.require) | (definitions(rule.when) if rule.when is not None else {})
    if lets:
        lines.append("let:")
        for key, term in lets.items():
            lines += [f"  {line}" for line in _clause(key, term)]
    lines += [*_clause("require", rule.require), 'because: "It is so."']
    return f"  {name}:\n" + indent("\n".join(lines), "    ") + "\n"


def _clause(key: str, term: Term) -> list[str]:
    return [f"{key}: >-", f"  {shown(term)}"]


def rulepack_text(rules: list[GeneratedRule]) -> str:
    head = "limitrules: rulepack/1\nname: trial\nversion: 1.0.0\nvocabulary: storage\nrules:\n"
    return head + "".join(rule_text(rule, f"rule-{number}") for number, rule in enumerate(rules))


# plain data


def kept(world: World, rule: GeneratedRule) -> str:
    """A system and a rule as one line of data."""
    return json.dumps(
        {
            "values": {path: {name: _given(item) for name, item in values.items()}
                       for path, values in world.values.items()},
            "curves": {path: _curve(item) for path, item in world.curves.items()},
            "feeds": list(world.feeds),
            "about": rule.about,
            "subjects": [list(item) for item in rule.subjects],
            "require": _data(rule.require),
            "when": _data(rule.when) if rule.when is not None else None,
        }
    )  # fmt: skip


def restored(line: str) -> tuple[World, GeneratedRule]:
    """The system and the rule of such a line."""
    data = json.loads(line)
    values = {path: {name: _given_from(item) for name, item in values.items()}
              for path, values in data["values"].items()}  # fmt: skip
    curves = {path: _curve_from(item) for path, item in data["curves"].items()}
    subjects = tuple((name, kind) for name, kind in data["subjects"])
    when = _term(data["when"]) if data["when"] is not None else None
    rule = GeneratedRule(data["about"], subjects, _term(data["require"]), when)
    return World(values, curves, tuple(data["feeds"])), rule


def _data(term: Term) -> list[Any]:
    return [term.word, [_data(part) for part in term.parts], *term.note]


def _term(data: list[Any]) -> Term:
    return Term(data[0], tuple(_term(part) for part in data[1]), tuple(data[2:]))


def _given(item: Given) -> list[str]:
    return [item.form, str(item.nominal), str(item.spread), item.unit]


def _given_from(data: list[str]) -> Given:
    return Given(data[0], Fraction(data[1]), Fraction(data[2]), data[3])


def _curve(item: Curve) -> list[Any]:
    points = [[str(x), str(y)] for x, y in item.points]
    return [points, item.over, item.of, str(item.tolerance), item.is_share]


def _curve_from(data: list[Any]) -> Curve:
    points = tuple((Fraction(x), Fraction(y)) for x, y in data[0])
    return Curve(points, data[1], data[2], Fraction(data[3]), data[4])


def failures(text: str) -> Iterator[tuple[str, str]]:
    """Title and data of each entry of a file of failures; lines that start with # say what was wrong."""
    title = ""
    for line in text.splitlines():
        if line.startswith("== "):
            title = line.removeprefix("== ")
        elif line.startswith('{"values'):
            yield title, line
