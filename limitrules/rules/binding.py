"""Binding a rule to the components of a system: names become values, collections are written out.

What comes out is a ground term over the slots, with the paths it read, the assumptions it had to make and what it
found missing. Nothing is evaluated here, except what does not depend on numbers: ties, choices, flags.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any, cast

from limitrules.foundation.kinds import Component, Components, Group, Quantity, Temperature, Truth, Type
from limitrules.language import ground as g
from limitrules.language import nodes as n
from limitrules.language.checker import Checked
from limitrules.language.nodes import Node
from limitrules.language.printer import print_node
from limitrules.model.quantity import Uncertain
from limitrules.model.system import System
from limitrules.model.values import ComponentRecord, Table, Unknown, Value
from limitrules.rules.bound import (
    Absent,
    Assumed,
    Below,
    Bound,
    Named,
    absent,
    contrary,
    deviating,
    either,
    missing_in,
    negative,
    shown_unit,
    together,
)
from limitrules.rules.collections import Collections
from limitrules.rules.findings import ERROR
from limitrules.rules.rule import Rule
from limitrules.rules.slots import Slots
from limitrules.rules.stated import is_stated, is_unknown, open_tie


class Binder(Collections):
    """Binds the clauses of one rule to one set of subjects."""

    def __init__(self, system: System, slots: Slots, rule: Rule, names: Named) -> None:
        self.system = system
        self.slots = slots
        self.rule = rule
        self.names = names
        self.reads: dict[str, None] = {}
        self.assumed: list[Assumed] = []
        self._made: dict[str, tuple[Bound, tuple[Assumed, ...]]] = {}

    def truth(self, checked: Checked, node: Node | None = None, names: Named | None = None) -> g.Logical:
        found = self.bind(checked, node or checked.clause.node, names or self.names)
        return cast(g.Logical, found)

    def number(self, checked: Checked, node: Node | None = None, names: Named | None = None) -> g.Numeric:
        found = self.bind(checked, node or checked.clause.node, names or self.names)
        return g.Gap(found.path) if isinstance(found, Absent) else cast(g.Numeric, found)

    def bind(self, checked: Checked, node: Node, names: Named) -> Bound:
        """What a node stands for. Its type is the one the checker found."""
        return _RULES[type(node)](self, checked, node, names)

    # names and attributes

    def name(self, checked: Checked, node: n.Name, names: Named) -> Bound:
        if node.name in names.components:
            return names.components[node.name]
        if node.name in names.definitions:
            return self._definition(node.name, names)
        if node.name in self.rule.parameters:
            value = self.rule.parameters[node.name].value
            return self.bind(value, value.clause.node, Named())
        kind = next(kind for kind in self.system.vocabulary.by_plural.values() if kind.plural == node.name)
        records = tuple(self.system.components[kind.name].values())
        if not kind.single:
            return records
        return records[0] if records else Absent(kind.plural)

    def _definition(self, name: str, names: Named) -> Bound:
        # A definition speaks only of subjects and earlier definitions, so one binding serves the whole rule.
        if name not in self._made:
            value = names.definitions[name].value
            before = len(self.assumed)
            bound = self.bind(value, value.clause.node, self.names)
            self._made[name] = bound, tuple(self.assumed[before:])
            return bound
        bound, assumed = self._made[name]
        self.assumed.extend(assumed)
        return bound

    def member(self, checked: Checked, node: n.Member, names: Named) -> Bound:
        base = self.bind(checked, node.base, names)
        if isinstance(base, Absent):
            return absent(base.path, checked.types[node])
        if isinstance(base, Below):
            record, path = base.record, f"{base.prefix}.{node.name}"
        else:
            record, path = cast(ComponentRecord, base), node.name
        if isinstance(checked.types[node], Group):
            return Below(record, path)
        return self.attribute(record, path)

    def attribute(self, record: ComponentRecord, attribute: str) -> Bound:
        """The value of an attribute; what is missing is kept as a gap that knows its path."""
        declared = record.kind.attributes[attribute]
        path = f"{record.path}.{attribute}"
        self.reads[path] = None
        if declared.derived:
            silent = self.system.not_saying(declared)
            if silent:
                # A component that does not say whom it is tied to may belong here too.
                return Absent(f"{silent[0]}.{declared.inverse}")
        if isinstance(declared.type, Component | Components):
            related = self.system.related(record, declared)
            if related is None or (isinstance(declared.type, Component) and not related):
                return Absent(path)
            return related[0] if isinstance(declared.type, Component) else related
        value = record.values.get(attribute)
        if value is None:
            return absent(path, declared.type)
        return self._content(path, value, declared.type)

    def _content(self, path: str, value: Value, kind: Type) -> Bound:
        content = value.content
        if isinstance(content, Uncertain):
            if value.shared and content.low != content.high:
                return deviating(content, self.slots.slot(value.shared, Fraction(-1), Fraction(1), Fraction(0)))
            return g.Input(self.slots.slot(path, content.low, content.high, content.nominal))
        if isinstance(content, bool):
            return g.Fixed(content, path="")
        if isinstance(content, Unknown):
            within = content.within
            if within is not None and isinstance(kind, Quantity | Temperature):
                return g.Ranged(self.slots.slot(path, within.low, within.high, within.nominal), path)
            return absent(path, kind)
        if isinstance(content, str | Table):
            return content
        return str(content)

    # numbers

    def literal(self, checked: Checked, node: n.Literal, names: Named) -> Bound:
        return g.Constant(node.value)

    def negative(self, checked: Checked, node: n.Negative, names: Named) -> Bound:
        return negative(self.number(checked, node.value, names))

    def arithmetic(self, checked: Checked, node: n.Arithmetic, names: Named) -> Bound:
        left, right = self.number(checked, node.left, names), self.number(checked, node.right, names)
        return _OPERATIONS[node.operator](left, right)

    def margin(self, checked: Checked, node: n.Margin, names: Named) -> Bound:
        base, amount = self.number(checked, node.base, names), self.number(checked, node.amount, names)
        if node.word == "plus or minus":
            amount = g.Multiply(amount, self._error(checked, node, names))
        if checked.types[node.base] != checked.types[node.amount] and checked.types[node.amount] == Quantity():
            # A share of the size: `less` always lowers and `plus` always raises, also where the base is negative.
            return g.Margin(base, negative(amount) if node.word == "less" else amount)
        return g.Subtract(base, amount) if node.word == "less" else g.Add(base, amount)

    def _error(self, checked: Checked, node: n.Margin, names: Named) -> g.Input:
        """Where within its error a device stands, from -1 to 1: one variable for all that one stated error covers."""
        source = node.amount.value if isinstance(node.amount, n.Assume) else node.amount
        located = self.locate(checked, source, names) or self.locate(checked, node.base, names)
        if located is not None and located[0] is not None:
            path = f"{located[0].path}.{located[1]}"
        else:
            subjects = ", ".join(record.path for record in names.components.values())
            path = f"{print_node(node)} of {subjects}"
        return g.Input(self.slots.slot(f"{path}{ERROR}", Fraction(-1), Fraction(1), Fraction(0)))

    def assume(self, checked: Checked, node: n.Assume, names: Named) -> Bound:
        value = self.bind(checked, node.value, names)
        missing = missing_in(value, but_bounded=True)
        if not missing:
            return value
        self.assumed.append(Assumed(node, checked, names, missing[0]))
        return self.bind(checked, node.default, names)

    def call(self, checked: Checked, node: n.Call, names: Named) -> Bound:
        function = self.rule.functions[node.function]
        if function.members:
            return self.over_members(checked, node, function, names)
        arguments = tuple(self.number(checked, argument, names) for argument in node.arguments)
        if function.lowered == "absolute":
            return g.Absolute(arguments[0])
        if function.lowered:
            labels = [print_node(argument) for argument in node.arguments]
            parts = tuple(g.Part(value, None, label) for value, label in zip(arguments, labels, strict=True))
            return g.Least(parts) if function.lowered == "least" else g.Greatest(parts)
        return g.Apply(function, arguments)

    def read_at(self, checked: Checked, node: n.ReadAt, names: Named) -> Bound:
        curve = self.bind(checked, node.curve, names)
        at = self.number(checked, node.point, names)
        if isinstance(curve, Absent):
            return g.Gap(curve.path)
        table = cast(Table, curve)
        reading = g.Lookup(tuple(zip(table.xs, table.ys, strict=True)), at)
        if not table.tolerance:
            return reading
        path = f"{self.path_of(checked, node.curve, names)}.tolerance"
        error = g.Input(self.slots.slot(path, -table.tolerance, table.tolerance, Fraction(0)))
        if not table.relative:
            return g.Add(reading, error)
        return g.Margin(reading, error)

    def path_of(self, checked: Checked, node: Node, names: Named) -> str:
        found = self.locate(checked, node, names)
        return f"{found[0].path}.{found[1]}" if found is not None and found[0] is not None else print_node(node)

    # conditions

    def compare(self, checked: Checked, node: n.Compare, names: Named) -> Bound:
        sign = n.COMPARISONS[node.relation]
        if not isinstance(checked.types[node.left], Quantity | Temperature):
            return self._same(checked, node, names, sign)
        left, right = self.number(checked, node.left, names), self.number(checked, node.right, names)
        about = (right, shown_unit(checked, node.left, node.right), print_node(node), left)
        if sign in ("<", "<="):
            return g.Holds(g.Subtract(right, left), sign == "<", *about)
        if sign in (">", ">="):
            return g.Holds(g.Subtract(left, right), sign == ">", *about)
        apart = g.Absolute(g.Subtract(left, right))
        return g.Holds(g.Negate(apart), False, *about) if sign == "=" else g.Holds(apart, True, *about)

    def _same(self, checked: Checked, node: n.Compare, names: Named, sign: str) -> g.Logical:
        left, right = self.bind(checked, node.left, names), self.bind(checked, node.right, names)
        for side in (left, right):
            if isinstance(side, Absent):
                return g.Fixed(None, side.path)
        if isinstance(left, g.Fixed) and isinstance(right, g.Fixed):
            if left.value is None or right.value is None:
                return g.Fixed(None, left.path or right.path)
            return g.Fixed((left.value == right.value) == (sign == "="))
        if isinstance(left, g.Logical) and isinstance(right, g.Logical):
            both = g.All((left, right)), g.All((g.Contrary(left), g.Contrary(right)))
            return g.Any(both) if sign == "=" else g.Contrary(g.Any(both))
        one = left.path if isinstance(left, ComponentRecord) else left
        other = right.path if isinstance(right, ComponentRecord) else right
        return g.Fixed((one == other) == (sign == "="))

    def between(self, checked: Checked, node: n.Between, names: Named) -> Bound:
        value = self.number(checked, node.value, names)
        low, high = self.number(checked, node.low, names), self.number(checked, node.high, names)
        unit, words = shown_unit(checked, node.value, node.low, node.high), print_node(node)
        above = g.Holds(g.Subtract(value, low), False, low, unit, words, value)
        return g.All((above, g.Holds(g.Subtract(high, value), False, high, unit, words, value)))

    def within(self, checked: Checked, node: n.Within, names: Named) -> Bound:
        value, target = self.number(checked, node.value, names), self.number(checked, node.target, names)
        allowance = self.number(checked, node.allowance, names)
        headroom = g.Subtract(allowance, g.Absolute(g.Subtract(value, target)))
        unit = shown_unit(checked, node.allowance, node.value, node.target)
        return g.Holds(headroom, False, allowance, unit, print_node(node))

    def state(self, checked: Checked, node: n.State, names: Named) -> Bound:
        found = self.locate(checked, node.value, names)
        if found is None:
            is_there = not isinstance(self.bind(checked, node.value, names), Absent)
            return g.Fixed(is_there and node.word not in ("missing", "unknown"))
        record, attribute = found
        if record is None:
            return g.Fixed(node.word == "missing")
        if node.word == "unknown":
            return g.Fixed(is_unknown(record, attribute, self.reads))
        silent = open_tie(self.system, record, attribute)
        if silent:
            return g.Fixed(None, silent)
        stated = is_stated(self.system, record, attribute, self.reads)
        if node.word in ("stated", "missing"):
            return g.Fixed(stated == (node.word == "stated"))
        value = record.values.get(attribute)
        return g.Fixed(stated and value is not None and value.origin == node.word)

    def locate(self, checked: Checked, node: Node, names: Named) -> tuple[ComponentRecord | None, str] | None:
        """The component and attribute that a path names, through definitions that stand for a path.

        The component is None where a tie on the way is missing; the whole is None where it is no such path.
        """
        if isinstance(node, n.Name) and node.name in names.definitions:
            value = names.definitions[node.name].value
            return self.locate(value, value.clause.node, self.names)
        if not isinstance(node, n.Member):
            return None
        base = self.bind(checked, node.base, names)
        if isinstance(base, Absent):
            return None, node.name
        if isinstance(base, Below):
            return base.record, f"{base.prefix}.{node.name}"
        return (base, node.name) if isinstance(base, ComponentRecord) else None

    def belongs(self, checked: Checked, node: n.Belongs, names: Named) -> Bound:
        item, collection = self.bind(checked, node.item, names), self.bind(checked, node.collection, names)
        for side in (item, collection):
            if isinstance(side, Absent):
                return g.Fixed(None, side.path)
        path = cast(ComponentRecord, item).path
        return g.Fixed(any(record.path == path for record in cast("tuple[ComponentRecord, ...]", collection)))

    def opposite(self, checked: Checked, node: n.Opposite, names: Named) -> Bound:
        return contrary(self.truth(checked, node.value, names))

    def all_of(self, checked: Checked, node: n.AllOf, names: Named) -> Bound:
        return together(self._parts(checked, node.parts, names, decisive=False))

    def any_of(self, checked: Checked, node: n.AnyOf, names: Named) -> Bound:
        return either(self._parts(checked, node.parts, names, decisive=True))

    def _parts(self, checked: Checked, parts: tuple[Node, ...], names: Named, decisive: bool) -> tuple[g.Logical, ...]:
        """The parts; where one decides the whole by itself, that one alone, with none of the others' assumptions."""
        before = len(self.assumed)
        found: list[g.Logical] = []
        for part in parts:
            start = len(self.assumed)
            term = self.truth(checked, part, names)
            if isinstance(term, g.Fixed) and term.value is decisive:
                del self.assumed[before:start]
                return (term,)
            found.append(term)
        return tuple(found)

    def choose(self, checked: Checked, node: n.Choose, names: Named) -> Bound:
        condition = self.truth(checked, node.condition, names)
        if isinstance(condition, g.Fixed) and condition.value is not None:
            return self.bind(checked, node.then if condition.value else node.other, names)
        then, other = self.bind(checked, node.then, names), self.bind(checked, node.other, names)
        if isinstance(checked.types[node], Truth):
            yes, no = cast(g.Logical, then), cast(g.Logical, other)
            # The last one decides where both branches agree and the condition is open.
            return g.Any((g.All((condition, yes)), g.All((g.Contrary(condition), no)), g.All((yes, no))))
        if isinstance(then, g.Numeric) and isinstance(other, g.Numeric):
            return g.Select(condition, then, other)
        return Absent(g.gaps_of(condition)[0] if g.gaps_of(condition) else print_node(node.condition))


_OPERATIONS: Mapping[str, Callable[[g.Numeric, g.Numeric], g.Numeric]] = {
    "+": g.Add,
    "-": g.Subtract,
    "*": g.Multiply,
    "/": g.Divide,
}
_RULES: Mapping[type[Node], Callable[[Binder, Checked, Any, Named], Bound]] = {
    n.Literal: Binder.literal,
    n.YesNo: lambda binder, checked, node, names: g.Fixed(node.value),
    n.Word: lambda binder, checked, node, names: node.text,
    n.Name: Binder.name,
    n.Member: Binder.member,
    n.Negative: Binder.negative,
    n.Arithmetic: Binder.arithmetic,
    n.Margin: Binder.margin,
    n.Assume: Binder.assume,
    n.Call: Binder.call,
    n.ReadAt: Binder.read_at,
    n.Compare: Binder.compare,
    n.Between: Binder.between,
    n.Within: Binder.within,
    n.State: Binder.state,
    n.Belongs: Binder.belongs,
    n.Opposite: Binder.opposite,
    n.AllOf: Binder.all_of,
    n.AnyOf: Binder.any_of,
    n.Choose: Binder.choose,
    n.Quantified: Binder.quantified,
    n.Aggregate: Binder.aggregate,
    n.Listed: Binder.listed,
}
