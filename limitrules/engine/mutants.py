"""Rules with one small fault each: what a slip of the author's pen would make of them.

A fault changes one node of a checked clause and keeps all types, so that the faulty rule is as well-formed as the right
one. Cases are worth as much as the faults that they notice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction
from typing import Any

import attrs
from attrs import frozen

from limitrules.foundation.dimension import NUMBER
from limitrules.foundation.kinds import Attribute, Component, Curve, Group, Quantity, Temperature, Type
from limitrules.foundation.source import Span
from limitrules.foundation.units import unit_for
from limitrules.language import nodes as n
from limitrules.language.checker import Checked
from limitrules.language.nodes import Node
from limitrules.language.printer import print_node
from limitrules.model.vocabulary import Vocabulary
from limitrules.rules.rule import Definition, Rule

_SLIP = Fraction(1000)
_OTHER_WAY = {
    "at or below": "at or above", "at or above": "at or below", "below": "above", "above": "below",
    "equals": "differs from", "differs from": "equals", "longer than": "shorter than", "shorter than": "longer than",
    "at most": "at least", "at least": "at most", "colder than": "warmer than", "warmer than": "colder than",
}  # fmt: skip
_EXTREME = {"lowest": "highest", "highest": "lowest"}
_QUANTITY = {"every": "some", "some": "every", "no": "some"}


@frozen(eq=False)
class Mutant:
    """``words`` say what was changed, ``span`` where; ``rule`` is None for the right rule at nominal values."""

    words: str
    span: Span
    rule: Rule | None


@frozen(eq=False)
class _Change:
    """Another node in place of one; ``types`` of the nodes that are new."""

    words: str
    old: Node
    new: Node
    types: tuple[tuple[Node, Type], ...] = ()


def mutants_of(rule: Rule, vocabulary: Vocabulary) -> Iterator[Mutant]:
    """All faults of a rule, in the order of its clauses."""
    for name, checked, put in _clauses(rule):
        for change in _changes(checked, vocabulary):
            words = f"{name}: {change.words}"
            yield Mutant(words, checked.clause.span(change.old), put(_changed(checked, change)))
    if _reads_figures(rule, vocabulary):
        yield Mutant("nominal values in place of the tolerances", rule.span, None)


def _clauses(rule: Rule) -> Iterator[tuple[str, Checked, Callable[[Checked], Rule]]]:
    """The clauses that decide, each with what puts another in its place; what only the sentence reads does not."""
    if rule.when is not None:
        yield "when", rule.when, lambda checked: attrs.evolve(rule, when=checked)
    deciding = _deciding(rule)
    for number, definition in enumerate(rule.definitions):
        if definition.name in deciding:
            yield definition.name, definition.value, _putter(rule, number)
    yield "require", rule.require, lambda checked: attrs.evolve(rule, require=checked)


def _deciding(rule: Rule) -> set[str]:
    """The names from `let` that the verdict depends on."""
    found = _names(rule.require) | (_names(rule.when) if rule.when is not None else set())
    for definition in reversed(rule.definitions):
        if definition.name in found:
            found |= _names(definition.value)
    return found


def _names(checked: Checked) -> set[str]:
    return {node.name for node in checked.clause.node.walk() if isinstance(node, n.Name)}


def _reads_figures(rule: Rule, vocabulary: Vocabulary) -> bool:
    """False where a rule reads counts and words alone, which have no tolerance."""
    return any(
        isinstance(node, n.Member) and _has_tolerance(checked, node, vocabulary)
        for _, checked, _ in _clauses(rule)
        for node in checked.clause.node.walk()
    )


def _has_tolerance(checked: Checked, node: n.Member, vocabulary: Vocabulary) -> bool:
    kind = checked.types.get(node)
    if isinstance(kind, Quantity):
        attribute = _attribute(checked, node, vocabulary)
        return attribute is None or not attribute.count
    return isinstance(kind, Temperature | Curve)


def _putter(rule: Rule, number: int) -> Callable[[Checked], Rule]:
    def put(checked: Checked) -> Rule:
        made = list(rule.definitions)
        made[number] = Definition(made[number].name, checked)
        return attrs.evolve(rule, definitions=tuple(made))

    return put


def _changed(checked: Checked, change: _Change) -> Checked:
    """The clause with one node changed; the nodes above it are made anew and keep their types."""
    types = dict(checked.types)
    types.update(change.types)

    def rebuilt(node: Node) -> Node:
        if node is change.old:
            return change.new
        fresh: dict[str, Any] = {}
        for name in node.below:
            value = getattr(node, name)
            if isinstance(value, tuple):
                several = tuple(rebuilt(item) for item in value)
                if any(a is not b for a, b in zip(value, several, strict=True)):
                    fresh[name] = several
            elif value is not None:
                single = rebuilt(value)
                if single is not value:
                    fresh[name] = single
        if not fresh:
            return node
        result = attrs.evolve(node, **fresh)
        if node in types:
            types[result] = types[node]
        return result

    root = rebuilt(checked.clause.node)
    if change.new not in types and change.old in types:
        types[change.new] = types[change.old]
    return attrs.evolve(checked, clause=attrs.evolve(checked.clause, node=root), types=types)


def _changes(checked: Checked, vocabulary: Vocabulary) -> Iterator[_Change]:
    asked = {node.value for node in checked.clause.node.walk() if isinstance(node, n.State)}
    for node in checked.clause.node.walk():
        make = _MAKERS.get(type(node))
        # Whether something is stated does not depend on its figure.
        if make is not None and node not in asked:
            yield from make(checked, node, vocabulary)


def _compare(checked: Checked, node: n.Compare, _: Vocabulary) -> Iterator[_Change]:
    other = _OTHER_WAY[_canonical(node.relation)]
    yield _Change(f"`{print_node(node)}` with `{other}`", node, attrs.evolve(node, relation=other))


def _canonical(relation: str) -> str:
    return relation if relation in _OTHER_WAY else next(word for word in _OTHER_WAY if n.COMPARISONS[word] == relation)


def _margin(checked: Checked, node: n.Margin, _: Vocabulary) -> Iterator[_Change]:
    yield _Change(f"`{print_node(node)}` without its margin", node, node.base)


def _aggregate(checked: Checked, node: n.Aggregate, _: Vocabulary) -> Iterator[_Change]:
    if node.word in _EXTREME:
        other = _EXTREME[node.word]
        yield _Change(f"`{print_node(node)}` with `{other}`", node, attrs.evolve(node, word=other))
    if node.where is not None:
        yield _Change(f"`{print_node(node)}` without its condition", node, attrs.evolve(node, where=None))


def _listed(checked: Checked, node: n.Listed, _: Vocabulary) -> Iterator[_Change]:
    if node.word in _EXTREME:
        other = _EXTREME[node.word]
        yield _Change(f"`{print_node(node)}` with `{other}`", node, attrs.evolve(node, word=other))
    for number, member in enumerate(node.members if len(node.members) > 1 else ()):
        rest = (*node.members[:number], *node.members[number + 1 :])
        left = attrs.evolve(node, members=rest) if len(rest) > 1 else rest[0]
        yield _Change(f"`{print_node(node)}` without `{print_node(member)}`", node, left)


def _quantified(checked: Checked, node: n.Quantified, _: Vocabulary) -> Iterator[_Change]:
    other = _QUANTITY[node.word]
    yield _Change(f"`{print_node(node)}` with `{other}`", node, attrs.evolve(node, word=other))
    if node.where is not None:
        yield _Change(f"`{print_node(node)}` without its condition", node, attrs.evolve(node, where=None))


def _joined(checked: Checked, node: n.AllOf | n.AnyOf, _: Vocabulary) -> Iterator[_Change]:
    for number, part in enumerate(node.parts):
        rest = (*node.parts[:number], *node.parts[number + 1 :])
        left = attrs.evolve(node, parts=rest) if len(rest) > 1 else rest[0]
        yield _Change(f"`{print_node(node)}` without `{print_node(part)}`", node, left)


def _opposite(checked: Checked, node: n.Opposite, _: Vocabulary) -> Iterator[_Change]:
    yield _Change(f"`{print_node(node)}` without `not`", node, node.value)


def _member(checked: Checked, node: n.Member, vocabulary: Vocabulary) -> Iterator[_Change]:
    kind = checked.types.get(node)
    if not isinstance(kind, Quantity):
        return
    if not _held_against_zero(checked, node):
        thousand = n.Literal(node.start, node.end, "1000", unit_for(NUMBER), _SLIP)
        slip = n.Arithmetic(node.start, node.end, "*", node, thousand)
        added = ((thousand, Quantity(NUMBER)), (slip, kind))
        yield _Change(f"`{print_node(node)}` a thousand times", node, slip, added)
    other = _other_attribute(checked, node, vocabulary)
    if other:
        yield _Change(f"`{print_node(node)}` read as `{other}`", node, attrs.evolve(node, name=other))


def _held_against_zero(checked: Checked, node: n.Member) -> bool:
    """True where only the sign of a figure counts, which no factor changes."""
    compared = [at for at in checked.clause.node.walk() if isinstance(at, n.Compare) and node in (at.left, at.right)]
    others = [at.right if at.left is node else at.left for at in compared]
    return any(isinstance(other, n.Literal) and other.value == 0 for other in others)


def _other_attribute(checked: Checked, node: n.Member, vocabulary: Vocabulary) -> str:
    """Another attribute of the same group and dimension that the vocabulary has."""
    kind, group = _place(checked, node)
    for path, attribute in vocabulary.kinds[kind].attributes.items() if kind else ():
        name = path[len(group) :]
        is_beside = path.startswith(group) and name and "." not in name and name != node.name
        if is_beside and attribute.type == checked.types[node]:
            return name
    return ""


def _attribute(checked: Checked, node: n.Member, vocabulary: Vocabulary) -> Attribute | None:
    kind, group = _place(checked, node)
    return vocabulary.kinds[kind].attributes.get(f"{group}{node.name}") if kind else None


def _place(checked: Checked, node: n.Member) -> tuple[str, str]:
    """The kind of component that an attribute is of, and the group it stands in; empty where there is none."""
    base = node.base
    group = ""
    while isinstance(checked.types.get(base), Group) and isinstance(base, n.Member):
        group = f"{base.name}.{group}"
        base = base.base
    component = checked.types.get(base)
    return (component.kind, group) if isinstance(component, Component) else ("", "")


_MAKERS: Mapping[type[Node], Callable[..., Iterator[_Change]]] = {
    n.Compare: _compare,
    n.Margin: _margin,
    n.Aggregate: _aggregate,
    n.Listed: _listed,
    n.Quantified: _quantified,
    n.AllOf: _joined,
    n.AnyOf: _joined,
    n.Opposite: _opposite,
    n.Member: _member,
}
