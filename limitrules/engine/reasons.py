"""The argument behind a finding, as a tree: each clause with its value, down to the lines of the document."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from functools import partial

from attrs import evolve

from limitrules.foundation.figures import level
from limitrules.foundation.kinds import Component, Components, Quantity, Temperature, Truth
from limitrules.foundation.units import Unit, parse_unit
from limitrules.language import ground as g
from limitrules.language import nodes as n
from limitrules.language.bounds import SHOWN_BUDGET, Extremes
from limitrules.language.checker import Checked
from limitrules.language.exactly import Bound, is_unbounded, number_over, point, truth_over
from limitrules.language.nodes import Node
from limitrules.language.printer import print_node
from limitrules.language.truth import Outcome, decide
from limitrules.model.values import ComponentRecord, Table
from limitrules.rules.binding import Binder
from limitrules.rules.bound import Absent, Below, Named, missing_in, shown_unit
from limitrules.rules.findings import Reason
from limitrules.rules.slots import Slots

_CONDITIONS = {
    Outcome.ALWAYS: "holds",
    Outcome.SOMETIMES: "holds for part of the tolerances",
    Outcome.NEVER: "does not hold",
    Outcome.UNKNOWN: "not known",
}
_JOINED = {n.AllOf: "all of", n.AnyOf: "any of", n.Opposite: "not"}

# Values are worked out when they are first shown: whoever only looks for places never needs them.
Shown = Callable[[], str]


def reason_of(binder: Binder, checked: Checked, node: Node, names: Named, slots: Slots) -> Reason:
    """The reason that a node stands for, with those below it."""
    return _Explainer(binder, slots).reason(checked, node, names)


def shown_value(binder: Binder, checked: Checked, node: Node, names: Named, slots: Slots) -> str:
    """The value of a node over the tolerances, for people."""
    return _Explainer(binder, slots).value(checked, node, names)


def governing_of(binder: Binder, checked: Checked, slots: Slots, comparison: str = "") -> tuple[str, ...]:
    """The members that `lowest of` and `highest of` come down to.

    ``comparison`` is the one that decides the headroom, in canonical words: only what it rests on is looked at, so
    that no member of another comparison is named as governing. Empty: the whole requirement.
    """
    explainer = _Explainer(binder, slots)
    found: dict[str, None] = {}
    for clause, root in _rests_on(binder, checked, comparison):
        for node in root.walk():
            if isinstance(node, n.Listed | n.Aggregate) and node.word in ("lowest", "highest"):
                if _free_names(node) & set(_inner_names(clause.clause.node)):
                    continue
                found.update(dict.fromkeys(explainer.governing(clause, node, binder.names)))
    return tuple(found)


def _rests_on(binder: Binder, checked: Checked, comparison: str) -> list[tuple[Checked, Node]]:
    """The comparison, or the whole requirement, and the definitions it is made of, one by one."""
    whole = checked.clause.node
    root = next((node for node in whole.walk() if comparison and print_node(node) == comparison), whole)
    found, open_nodes, seen = [(checked, root)], [root], set[str]()
    while open_nodes:
        for node in open_nodes.pop().walk():
            if isinstance(node, n.Name) and node.name in binder.names.definitions and node.name not in seen:
                seen.add(node.name)
                value = binder.names.definitions[node.name].value
                found.append((value, value.clause.node))
                open_nodes.append(value.clause.node)
    return found


def _inner_names(node: Node) -> Iterator[str]:
    return (item.name for item in node.walk() if isinstance(item, n.Quantified | n.Aggregate))


def _free_names(node: Node) -> set[str]:
    used = {item.name for item in node.walk() if isinstance(item, n.Name)}
    return used - set(_inner_names(node))


class _Explainer:
    def __init__(self, binder: Binder, slots: Slots) -> None:
        # A binder of its own: explaining must not add to what the check read or assumed.
        self.binder = Binder(binder.system, slots, binder.rule, binder.names)
        self.slots = slots
        self._told: set[str] = set()

    # values

    def value(self, checked: Checked, node: Node, names: Named) -> str:
        bound = self.binder.bind(checked, node, names)
        if isinstance(bound, Absent):
            return "not known"
        if isinstance(bound, g.Fixed) and isinstance(node, n.Member | n.YesNo) and bound.value is not None:
            return "yes" if bound.value else "no"
        if isinstance(bound, g.Logical):
            return self.condition(bound)
        if isinstance(bound, g.Numeric):
            return self.number(bound, self._unit(checked, node))
        if isinstance(bound, ComponentRecord):
            return bound.path
        if isinstance(bound, tuple):
            return ", ".join(record.path for record in bound) or "none"
        return "a curve" if isinstance(bound, Table) else "a group" if isinstance(bound, Below) else bound

    def _unit(self, checked: Checked, node: Node) -> Unit:
        if isinstance(checked.types.get(node), Temperature):
            return checked.units.get(node) or parse_unit("degC")
        return shown_unit(checked, node)

    def number(self, term: g.Numeric, unit: Unit) -> str:
        numbers = g.inputs_of(term)
        box = self.slots.box(numbers)
        extremes = Extremes(term)
        low, high = extremes.lowest(box, SHOWN_BUDGET).value, extremes.highest(box, SHOWN_BUDGET).value
        if is_unbounded(low, high):
            return "not known"
        if low == high:
            return level(Fraction(low), unit)
        text = f"{level(Fraction(low), unit, -1)} .. {level(Fraction(high), unit, 1)}"
        nominal = _middle(number_over(term, point(self.slots.nominals(numbers))))
        return f"{level(nominal, unit)} ({text})" if nominal is not None else text

    def condition(self, term: g.Logical) -> str:
        numbers = g.inputs_of(term)
        return _CONDITIONS[decide(term, self.slots.box(numbers), self.slots.nominals(numbers)).outcome]

    # reasons

    def reason(self, checked: Checked, node: Node, names: Named) -> Reason:
        text, value = print_node(node), partial(self.value, checked, node, names)
        span = checked.clause.span(node)
        if isinstance(node, n.AllOf | n.AnyOf):
            parts = tuple(self.reason(checked, part, names) for part in node.parts)
            return Reason(_JOINED[type(node)], value, span=span, parts=parts)
        if isinstance(node, n.Opposite):
            return Reason("not", value, span=span, parts=(self.reason(checked, node.value, names),))
        if isinstance(node, n.Quantified | n.Aggregate):
            return self._collection(checked, node, names, text, value)
        if isinstance(node, n.Listed):
            return self._listed(checked, node, names, text, value)
        if isinstance(node, n.State):
            return self._state(checked, node, names, text, value)
        if isinstance(node, n.Name) and node.name in names.definitions:
            if node.name in self._told:
                return Reason(node.name, value, "as above", span=span)
            self._told.add(node.name)
            definition = names.definitions[node.name].value
            inner = self.reason(definition, definition.clause.node, self.binder.names)
            return Reason(node.name, value, span=span, parts=(inner,))
        if isinstance(node, n.Name) and node.name in self.binder.rule.parameters:
            parameter = self.binder.rule.parameters[node.name]
            taken = print_node(parameter.value.clause.node)
            return Reason(text, taken, "parameter of the rulepack", span=parameter.span)
        if isinstance(node, n.Member) and not isinstance(checked.types[node], Component | Components):
            return self._leaf(checked, node, names, text, value)
        if isinstance(node, n.Assume):
            return self._assumed(checked, node, names, text, value)
        said = [child for child in node.children() if _says_something(child, checked)]
        parts = tuple(self.reason(checked, child, names) for child in said)
        return Reason(text, value, span=span, parts=parts)

    def _leaf(self, checked: Checked, node: n.Member, names: Named, text: str, value: Shown) -> Reason:
        record, attribute = self.binder.locate(checked, node, names) or (None, "")
        if record is None:
            missing = missing_in(self.binder.bind(checked, node, names))
            return Reason(text, value, "missing", path=missing[0] if missing else "", span=checked.clause.span(node))
        stated = record.values.get(attribute)
        path = f"{record.path}.{attribute}"
        if stated is None or stated.is_unknown:
            span = stated.span if stated is not None else record.span
            return Reason(text, "not known", "missing", path, "unknown" if stated is not None else "", "", span)
        return Reason(text, value, "", path, stated.text, stated.origin, stated.span)

    def _state(self, checked: Checked, node: n.State, names: Named, text: str, value: Shown) -> Reason:
        record, attribute = self.binder.locate(checked, node.value, names) or (None, "")
        if record is None:
            return Reason(text, value, span=checked.clause.span(node))
        stated = record.values.get(attribute)
        path = f"{record.path}.{attribute}"
        if stated is None:
            return Reason(text, value, "", path, "", "", record.span)
        return Reason(text, value, "", path, stated.text, stated.origin, stated.span)

    def _assumed(self, checked: Checked, node: n.Assume, names: Named, text: str, value: Shown) -> Reason:
        taken = missing_in(self.binder.bind(checked, node.value, names))
        if not taken:
            return self.reason(checked, node.value, names)
        return Reason(print_node(node.value), value, f"assumed, since {taken[0]} is missing", path=taken[0],
                      span=checked.clause.span(node.default))  # fmt: skip

    def _collection(
        self, checked: Checked, node: n.Quantified | n.Aggregate, names: Named, text: str, value: Shown
    ) -> Reason:
        collection = self.binder.bind(checked, node.collection, names)
        span = checked.clause.span(node)
        if isinstance(collection, Absent):
            return Reason(text, value, "missing", path=collection.path, span=span)
        governing = self.governing(checked, node, names) if isinstance(node, n.Aggregate) else ()
        parts = []
        for record in collection if isinstance(collection, tuple) else ():
            inner = names.with_member(node.name, record)
            if node.where is not None and self.value(checked, node.where, inner) == _CONDITIONS[Outcome.NEVER]:
                continue
            below = self.reason(checked, node.body, inner)
            note = "governs" if record.path in governing else ""
            inside = (below,) if below.parts or below.path else ()
            parts.append(Reason(record.path, partial(_value_of, below), note, parts=inside))
        return Reason(text, value, "" if parts else "no member", span=span, parts=tuple(parts))

    def _listed(self, checked: Checked, node: n.Listed, names: Named, text: str, value: Shown) -> Reason:
        governing = self.governing(checked, node, names)
        parts = []
        for member in node.members:
            below = self.reason(checked, member, names)
            note = "governs" if below.text in governing or print_node(member) in governing else below.note
            parts.append(evolve(below, note=note))
        return Reason(f"{node.word} of", value, span=checked.clause.span(node), parts=tuple(parts))

    def governing(self, checked: Checked, node: n.Listed | n.Aggregate, names: Named) -> tuple[str, ...]:
        """Labels of the members that are lowest (highest) with nominal values; none where one is missing."""
        if node.word not in ("lowest", "highest"):
            return ()
        term = self.binder.bind(checked, node, names)
        if not isinstance(term, g.Least | g.Greatest) or g.gaps_of(term):
            return ()
        place = point(self.slots.nominals(g.inputs_of(term)))
        values = [
            (number_over(part.value, place)[0], part.label)
            for part in term.parts
            if part.guard is None or truth_over(part.guard, place) is True
        ]
        if not values:
            return ()
        edge = min(values)[0] if isinstance(term, g.Least) else max(values)[0]
        return tuple(label for value, label in values if value == edge)


def _says_something(node: Node, checked: Checked) -> bool:
    """Literals and ties are plain from the text; values and conditions are worth a line."""
    if isinstance(node, n.Literal | n.YesNo | n.Word):
        return False
    return isinstance(checked.types.get(node), Quantity | Temperature | Truth) or isinstance(node, n.Member)


def _value_of(reason: Reason) -> str:
    return reason.value


def _middle(pair: tuple[Bound, Bound]) -> Fraction | None:
    low, high = pair
    return None if is_unbounded(low, high) else (Fraction(low) + Fraction(high)) / 2
