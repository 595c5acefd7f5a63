"""Types and dimensions of clauses, checked once before anything is evaluated.

All mistakes of a clause are collected; a node whose type is unknown because of a mistake below it is passed over
in silence, so that one mistake gives one message.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import attrs
from attrs import field, frozen

from limitrules.foundation.diagnostics import Diagnostic, InputError, listing, nearest
from limitrules.foundation.dimension import NUMBER, TEMPERATURE_DIFFERENCE, TIME
from limitrules.foundation.kinds import (
    Choice,
    Component,
    Components,
    Curve,
    Group,
    Kind,
    Quantity,
    Temperature,
    Text,
    Truth,
    Type,
)
from limitrules.foundation.units import Unit, unit_for
from limitrules.language import nodes as n
from limitrules.language.functions import STANDARD, Mistyped, Registry
from limitrules.language.nodes import Clause, Node

_DURATION_WORDS = {"longer than", "shorter than", "at most", "at least"}
_TEMPERATURE_WORDS = {"colder than", "warmer than"}
_DIFFERENCE = Quantity(TEMPERATURE_DIFFERENCE)


@frozen(eq=False)
class Scope:
    """What the names of a clause mean.

    ``kinds`` by name; ``names`` are the bound subjects, parameters and earlier definitions; ``aliases`` are
    definitions that stand for a path, by name, so that ``is stated`` can look through them.
    """

    kinds: Mapping[str, Kind]
    names: Mapping[str, Type] = field(factory=dict)
    functions: Registry = STANDARD
    units: Mapping[str, Unit] = field(factory=dict)

    def binding(self, **names: Type) -> Scope:
        return attrs.evolve(self, names={**self.names, **names})

    def collections(self) -> dict[str, Type]:
        """The plurals of all kinds, and the single ones by name."""
        found: dict[str, Type] = {}
        for kind in self.kinds.values():
            found[kind.plural] = Component(kind.name) if kind.single else Components(kind.name)
        return found


@frozen(eq=False)
class Checked:
    """A clause whose every node has a type; ``units`` are those to show quantities in, where one is known."""

    clause: Clause
    type: Type
    types: Mapping[Node, Type]
    units: Mapping[Node, Unit]

    def unit(self, node: Node) -> Unit:
        """The unit to show a quantity in; for a temperature the caller adds the offset."""
        known = self.units.get(node)
        if known is not None:
            return known
        kind = self.types[node]
        return unit_for(kind.dimension) if isinstance(kind, Quantity) else unit_for(TEMPERATURE_DIFFERENCE)


def check(clause: Clause, scope: Scope, expected: type | None = None) -> Checked:
    """Type a clause. ``expected`` is Truth where a condition is due.

    Raises InputError with every mistake of the clause.
    """
    checker = _Checker(clause, scope)
    found = checker.type_of(clause.node, scope)
    if expected is Truth and found is not None and not isinstance(found, Truth):
        checker.report("not-a-condition", f"`{checker.excerpt(clause.node)}` is {found}, not a condition",
                       clause.node, "a comparison such as `A at or below B`")  # fmt: skip
    if checker.mistakes or found is None:
        raise InputError(checker.mistakes)
    return Checked(clause, found, checker.types, checker.units)


class _Checker:
    def __init__(self, clause: Clause, scope: Scope) -> None:
        self.clause = clause
        self.types: dict[Node, Type] = {}
        self.units: dict[Node, Unit] = {}
        self.mistakes: list[Diagnostic] = []

    def report(self, code: str, message: str, node: Node, expected: str = "", advice: str = "") -> None:
        self.mistakes.append(Diagnostic(code, message, self.clause.span(node), expected, advice))

    def excerpt(self, node: Node) -> str:
        return self.clause.excerpt(node)

    def type_of(self, node: Node, scope: Scope) -> Type | None:
        found = _RULES[type(node)](self, node, scope)
        if found is not None:
            self.types[node] = found
        return found

    def _unit_from(self, node: Node, *sources: Node) -> None:
        """Show a node in the unit of the first source that has the same type."""
        for source in sources:
            unit = self.units.get(source)
            if unit is not None and self.types.get(source) == self.types.get(node, self.types.get(source)):
                self.units[node] = unit
                return

    # values

    def literal(self, node: n.Literal, scope: Scope) -> Type:
        if node.unit.symbol != "1":
            self.units[node] = node.unit
        return Temperature() if node.unit.is_temperature else Quantity(node.unit.dimension)

    def name(self, node: n.Name, scope: Scope) -> Type | None:
        collections = scope.collections()
        found = scope.names.get(node.name) or collections.get(node.name)
        if found is None:
            names = [*scope.names, *collections]
            near = nearest(node.name, names)
            self.report("unknown-name", f"`{node.name}` is not a name that is known here", node, listing(names, 14),
                        f"`{near}`" if near else "")  # fmt: skip
        elif node.name in scope.units:
            self.units[node] = scope.units[node.name]
        return found

    def member(self, node: n.Member, scope: Scope) -> Type | None:
        base = self.type_of(node.base, scope)
        if base is None:
            return None
        if isinstance(base, Component | Group):
            kind = scope.kinds[base.kind]
            prefix = base.path if isinstance(base, Group) else ""
            found = kind.member(prefix, node.name)
            if found is None:
                self._unknown_attribute(node, kind, prefix)
                return None
            attribute = kind.attributes.get(f"{prefix}.{node.name}" if prefix else node.name)
            if attribute is not None and attribute.unit is not None and attribute.unit.symbol != "1":
                self.units[node] = attribute.unit
            return found
        advice = ""
        if isinstance(base, Components):
            advice = f"`every x in {self.excerpt(node.base)}: ... x.{node.name} ...`, or `lowest of x.{node.name} over ...`"
        self.report("no-attributes", f"`{self.excerpt(node.base)}` is {base}; it has no `{node.name}`", node,
                    "a component before the dot", advice)  # fmt: skip
        return None

    def _unknown_attribute(self, node: n.Member, kind: Kind, prefix: str) -> None:
        below = kind.names_below(prefix)
        near = nearest(node.name, below)
        if not near:
            paths = [path for path in kind.attributes if path.startswith(prefix)]
            near = nearest(f"{prefix}.{node.name}" if prefix else node.name, paths)
        where = f"`{prefix}` of a {kind.name}" if prefix else f"a {kind.name}"
        place = attrs.evolve(node, start=node.end - len(node.name))
        self.report("unknown-attribute", f"{where} has no attribute `{node.name}`", place, listing(below, 14),
                    f"`{near}`" if near else "")  # fmt: skip

    def negative(self, node: n.Negative, scope: Scope) -> Type | None:
        found = self.type_of(node.value, scope)
        if found is None:
            return None
        if not isinstance(found, Quantity):
            hint = ""
            if isinstance(found, Temperature):
                hint = "write `0 degC - 14 K`, or compare with a value of the document"
            self.report("not-a-quantity", f"`-` stands before {found}", node, "a quantity", hint)
            return None
        self._unit_from(node, node.value)
        return found

    def arithmetic(self, node: n.Arithmetic, scope: Scope) -> Type | None:
        left, right = self.type_of(node.left, scope), self.type_of(node.right, scope)
        if left is None or right is None:
            return None
        for side, found in ((node.left, left), (node.right, right)):
            if not isinstance(found, Quantity | Temperature):
                self.report("not-a-quantity", f"`{self.excerpt(side)}` is {found}; it cannot be computed with", side,
                            "a quantity")  # fmt: skip
                return None
        if node.operator in "+-":
            result = self._sum(node, left, right)
            if result is not None:
                self.types[node] = result
                self._unit_from(node, node.left, node.right)
            return result
        if isinstance(left, Quantity) and isinstance(right, Quantity):
            return self._product(node, left, right)
        self.report("absolute-temperature", f"an absolute temperature cannot take part in `{node.operator}`", node,
                    "a temperature difference in K", "subtract a reference first: `t - 0 degC`")  # fmt: skip
        return None

    def _product(self, node: n.Arithmetic, left: Quantity, right: Quantity) -> Type:
        if node.operator == "*":
            result = Quantity(left.dimension * right.dimension)
        else:
            result = Quantity(left.dimension / right.dimension)
        for side, kind in ((node.left, left), (node.right, right)):
            if kind == result and side in self.units and not (node.operator == "/" and side is node.right):
                self.units[node] = self.units[side]
                break
        return result

    def _sum(self, node: n.Arithmetic, left: Type, right: Type) -> Type | None:
        if isinstance(left, Temperature) and isinstance(right, Temperature):
            if node.operator == "-":
                return _DIFFERENCE
            self.report("absolute-temperature", "two absolute temperatures cannot be added", node,
                        "a temperature difference in K on one side")  # fmt: skip
            return None
        if isinstance(left, Temperature) and right == _DIFFERENCE:
            return left
        if isinstance(right, Temperature) and left == _DIFFERENCE and node.operator == "+":
            return right
        if left == right:
            return left
        self._clash(node, node.left, left, node.right, right, "added" if node.operator == "+" else "subtracted")
        return None

    def _clash(self, node: Node, first: Node, one: Type, second: Node, other: Type, deed: str) -> None:
        advice = ""
        if isinstance(one, Temperature) != isinstance(other, Temperature) and _DIFFERENCE in (one, other):
            advice = "an absolute temperature is written in degC, a difference in K"
        self.report("dimension-clash", f"`{self.excerpt(first)}` is {_sized(self, first, one)} and "
                    f"`{self.excerpt(second)}` is {_sized(self, second, other)}; they cannot be {deed}", node,
                    "the same dimension on both sides", advice)  # fmt: skip

    def margin(self, node: n.Margin, scope: Scope) -> Type | None:
        base, amount = self.type_of(node.base, scope), self.type_of(node.amount, scope)
        if base is None or amount is None:
            return None
        if not isinstance(base, Quantity | Temperature) or not isinstance(amount, Quantity):
            self.report("not-a-quantity", f"`{node.word}` joins {base} with {amount}", node,
                        "a quantity, and a share of it or an amount in its own unit")  # fmt: skip
            return None
        self._unit_from(node, node.base)
        if base in (Quantity(), Temperature()) and amount.dimension == NUMBER:
            what = "a share itself" if base == Quantity() else "an absolute temperature"
            word = "-" if node.word == "less" else "+"
            self.report("share-of-share", f"`{self.excerpt(node.base)}` is {what}, so `{node.word}` a share of it "
                        "can be read two ways", node, "a clear amount",
                        f"`{word}` for points or degrees, `*` for a share")  # fmt: skip
            return None
        if amount.dimension == NUMBER:
            if isinstance(node.amount, n.Literal) and node.amount.unit.symbol == "1":
                self.report("bare-share", f"`{node.word} {node.amount.digits}` does not say of what", node.amount,
                            "a share such as `25 %` or an amount with its unit")  # fmt: skip
                return None
            return base
        if amount == base or (isinstance(base, Temperature) and amount == _DIFFERENCE):
            return base
        self._clash(node, node.base, base, node.amount, amount, f"joined by `{node.word}`")
        return None

    def assume(self, node: n.Assume, scope: Scope) -> Type | None:
        value, default = self.type_of(node.value, scope), self.type_of(node.default, scope)
        if value is None or default is None:
            return None
        if not _alike(value, default, node.default):
            self._clash(node, node.value, value, node.default, default, "exchanged")
            return None
        self._unit_from(node, node.value, node.default)
        return value

    def call(self, node: n.Call, scope: Scope) -> Type | None:
        types = [self.type_of(argument, scope) for argument in node.arguments]
        if node.function not in scope.functions:
            near = nearest(node.function, scope.functions.by_name)
            self.report("unknown-function", f"`{node.function}` is not a function that is known here", node,
                        listing(sorted(scope.functions.by_name), 14), f"`{near}`" if near else "")  # fmt: skip
            return None
        function = scope.functions[node.function]
        count, due = len(types), len(function.arguments)
        if count != due and not (function.variadic and count > due):
            self.report("argument-count", f"`{node.function}` is given {count} values", node,
                        f"`{function.signature}`")  # fmt: skip
            return None
        known = [item for item in types if item is not None]
        if len(known) < count:
            return None
        for argument, given, place in zip(function.arguments, known, node.arguments):
            if argument.type is not None and argument.type != given:
                self.report("argument-type", f"`{self.excerpt(place)}` is {_sized(self, place, given)}", place,
                            f"{argument.type} for `{argument.name}` of `{function.signature}`")  # fmt: skip
                return None
        try:
            result = function.result(tuple(known))
        except Mistyped as error:
            found = listing([str(item) for item in known])
            self.report("argument-type", f"`{node.function}` is given {found}", node, str(error))
            return None
        self.types[node] = result
        self._unit_from(node, *node.arguments)
        return result

    def read_at(self, node: n.ReadAt, scope: Scope) -> Type | None:
        curve, point = self.type_of(node.curve, scope), self.type_of(node.point, scope)
        if curve is None or point is None:
            return None
        if not isinstance(curve, Curve):
            self.report("not-a-curve", f"`{self.excerpt(node.curve)}` is {curve}; it cannot be read at a point", node,
                        "a curve before `at`")  # fmt: skip
            return None
        if curve.over != point:
            self.report("dimension-clash", f"`{self.excerpt(node.point)}` is {_sized(self, node.point, point)}; the "
                        f"curve runs over {curve.over}", node.point, str(curve.over))  # fmt: skip
            return None
        return curve.of

    # conditions

    def compare(self, node: n.Compare, scope: Scope) -> Type | None:
        left, right = self.type_of(node.left, scope), self.type_of(node.right, scope)
        if left is None or right is None:
            return Truth()
        if not self._comparable(node.left, left, node.right, right):
            self._clash(node, node.left, left, node.right, right, "compared")
        elif not isinstance(left, Quantity | Temperature):
            if node.relation not in ("equals", "differs from"):
                self.report("not-ordered", f"`{node.relation}` compares {left}, which has no order", node,
                            "`equals` or `differs from`")  # fmt: skip
        elif node.relation in _DURATION_WORDS and left != Quantity(TIME):
            self.report("not-a-duration", f"`{node.relation}` compares durations; `{self.excerpt(node.left)}` is "
                        f"{_sized(self, node.left, left)}", node, "`at or below`, `at or above`, `below` or `above`")
        elif node.relation in _TEMPERATURE_WORDS and not isinstance(left, Temperature):
            self.report("not-a-temperature", f"`{node.relation}` compares temperatures; `{self.excerpt(node.left)}` "
                        f"is {_sized(self, node.left, left)}", node, "`below` or `above`")  # fmt: skip
        return Truth()

    def _comparable(self, first: Node, one: Type, second: Node, other: Type) -> bool:
        for choice, word, node in ((one, other, second), (other, one, first)):
            if isinstance(choice, Choice) and isinstance(word, Text) and isinstance(node, n.Word):
                if node.text not in choice.options:
                    near = nearest(node.text, choice.options)
                    self.report("unknown-choice", f'"{node.text}" is not one of the words it can be', node,
                                listing(choice.options, 14), f'"{near}"' if near else "")  # fmt: skip
                return True
        return one == other and not isinstance(one, Components | Curve | Group)

    def between(self, node: n.Between, scope: Scope) -> Type | None:
        value = self.type_of(node.value, scope)
        for bound in (node.low, node.high):
            found = self.type_of(bound, scope)
            if value is not None and found is not None:
                if value != found or not isinstance(value, Quantity | Temperature):
                    self._clash(node, node.value, value, bound, found, "compared")
                    break
        return Truth()

    def within(self, node: n.Within, scope: Scope) -> Type | None:
        value, target = self.type_of(node.value, scope), self.type_of(node.target, scope)
        allowance = self.type_of(node.allowance, scope)
        if value is None or target is None or allowance is None:
            return Truth()
        if value != target or not isinstance(value, Quantity | Temperature):
            self._clash(node, node.value, value, node.target, target, "compared")
        elif allowance != (_DIFFERENCE if isinstance(value, Temperature) else value):
            hint = ""
            if allowance == Quantity():
                hint = f"`within {self.excerpt(node.allowance)} * {self.excerpt(node.target)} of ...`"
            self.report("dimension-clash", f"the allowance `{self.excerpt(node.allowance)}` is "
                        f"{_sized(self, node.allowance, allowance)}", node.allowance,
                        str(_DIFFERENCE if isinstance(value, Temperature) else value), hint)  # fmt: skip
        return Truth()

    def state(self, node: n.State, scope: Scope) -> Type | None:
        found = self.type_of(node.value, scope)
        if found is None:
            return Truth()
        if not isinstance(node.value, n.Member | n.Name):
            self.report("not-a-path", f"`{self.excerpt(node.value)}` is computed; only a value of the document can be "
                        f"{node.word}", node.value, "a path such as `p.charge.ceiling`")  # fmt: skip
        elif node.word not in ("stated", "missing") and isinstance(found, Component | Components | Group):
            self.report("not-a-value", f"`{self.excerpt(node.value)}` is {found}; only a value has an origin",
                        node.value, "a path to a single value")  # fmt: skip
        return Truth()

    def belongs(self, node: n.Belongs, scope: Scope) -> Type | None:
        item, collection = self.type_of(node.item, scope), self.type_of(node.collection, scope)
        if item is not None and collection is not None:
            if not (isinstance(item, Component) and isinstance(collection, Components)):
                self.report("not-a-collection", f"`in` joins {item} with {collection}", node,
                            "a component, and a collection such as `c.feeds`")  # fmt: skip
            elif item.kind != collection.kind:
                self.report("kind-clash", f"`{self.excerpt(node.item)}` is {item}; the collection holds "
                            f"{scope.kinds[collection.kind].plural}", node, f"a {collection.kind}")  # fmt: skip
        return Truth()

    def _condition(self, node: Node, scope: Scope) -> None:
        found = self.type_of(node, scope)
        if found is not None and not isinstance(found, Truth):
            self.report("not-a-condition", f"`{self.excerpt(node)}` is {found}, not a condition", node,
                        "a comparison such as `A at or below B`")  # fmt: skip

    def opposite(self, node: n.Opposite, scope: Scope) -> Type | None:
        self._condition(node.value, scope)
        return Truth()

    def all_any(self, node: n.AllOf | n.AnyOf, scope: Scope) -> Type | None:
        for part in node.parts:
            self._condition(part, scope)
        return Truth()

    def choose(self, node: n.Choose, scope: Scope) -> Type | None:
        self._condition(node.condition, scope)
        then, other = self.type_of(node.then, scope), self.type_of(node.other, scope)
        if then is None or other is None:
            return None
        if then != other:
            self._clash(node, node.then, then, node.other, other, "the two branches of one `if`")
            return None
        self._unit_from(node, node.then, node.other)
        return then

    # collections

    def _members(self, node: n.Quantified | n.Aggregate, scope: Scope) -> Scope | None:
        found = self.type_of(node.collection, scope)
        if found is None:
            return None
        if not isinstance(found, Components):
            self.report("not-a-collection", f"`{self.excerpt(node.collection)}` is {found}", node.collection,
                        "a collection such as `packs` or `c.feeds`")  # fmt: skip
            return None
        if node.name in scope.names or node.name in scope.collections():
            self.report("name-taken", f"`{node.name}` has a meaning already", node, "a new name for the members")
            return None
        inner = scope.binding(**{node.name: Component(found.kind)})
        if node.where is not None:
            self._condition(node.where, inner)
        return inner

    def quantified(self, node: n.Quantified, scope: Scope) -> Type | None:
        inner = self._members(node, scope)
        if inner is not None:
            self._condition(node.body, inner)
        return Truth()

    def aggregate(self, node: n.Aggregate, scope: Scope) -> Type | None:
        inner = self._members(node, scope)
        if inner is None:
            return None
        body = self.type_of(node.body, inner)
        if body is None:
            return None
        if node.word == "count":
            if not isinstance(body, Truth | Component):
                self.report("not-countable", f"`count of` is given {body}", node.body,
                            "the member itself or a condition on it")  # fmt: skip
            return Quantity()
        if not isinstance(body, Quantity) and not (isinstance(body, Temperature) and node.word != "total"):
            self.report("not-a-quantity", f"`{node.word} of` is given {body}", node.body, "a quantity")
            return None
        self._unit_from(node, node.body)
        return body

    def listed(self, node: n.Listed, scope: Scope) -> Type | None:
        types = [self.type_of(member, scope) for member in node.members]
        first = types[0]
        for member, found in zip(node.members, types):
            if first is None or found is None:
                return None
            if not isinstance(found, Quantity) and not (isinstance(found, Temperature) and node.word != "total"):
                self.report("not-a-quantity", f"`{node.word} of` is given {found}", member, "a quantity")
                return None
            if found != first:
                self._clash(node, node.members[0], first, member, found, f"put into one `{node.word} of`")
                return None
        self._unit_from(node, *node.members)
        return first


def _alike(value: Type, default: Type, node: Node) -> bool:
    if isinstance(value, Choice) and isinstance(node, n.Word):
        return node.text in value.options
    return value == default


def _sized(checker: _Checker, node: Node, found: Type) -> str:
    """A type with the unit it was written in, so that a clash shows both."""
    unit = checker.units.get(node)
    if unit is not None and isinstance(found, Quantity) and unit.symbol not in str(found):
        return f"{found}, here in {unit.symbol}"
    return str(found)


_Rule = Callable[[_Checker, Any, Scope], Type | None]
_RULES: Mapping[type[Node], _Rule] = {
    n.Literal: _Checker.literal,
    n.YesNo: lambda checker, node, scope: Truth(),
    n.Word: lambda checker, node, scope: Text(),
    n.Name: _Checker.name,
    n.Member: _Checker.member,
    n.Negative: _Checker.negative,
    n.Arithmetic: _Checker.arithmetic,
    n.Margin: _Checker.margin,
    n.Assume: _Checker.assume,
    n.Call: _Checker.call,
    n.ReadAt: _Checker.read_at,
    n.Compare: _Checker.compare,
    n.Between: _Checker.between,
    n.Within: _Checker.within,
    n.State: _Checker.state,
    n.Belongs: _Checker.belongs,
    n.Opposite: _Checker.opposite,
    n.AllOf: _Checker.all_any,
    n.AnyOf: _Checker.all_any,
    n.Choose: _Checker.choose,
    n.Quantified: _Checker.quantified,
    n.Aggregate: _Checker.aggregate,
    n.Listed: _Checker.listed,
}
