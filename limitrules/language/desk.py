"""Where a clause is typed: what its names mean, what was found until then, and how mistakes are worded."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from attrs import field, frozen

from limitrules.foundation.diagnostics import Diagnostic, listing, nearest
from limitrules.foundation.dimension import NUMBER, TEMPERATURE_DIFFERENCE
from limitrules.foundation.kinds import Component, Components, Curve, Group, Kind, Quantity, Temperature, Truth, Type
from limitrules.foundation.units import Unit, unit_for
from limitrules.language import nodes as n
from limitrules.language.functions import STANDARD, Registry
from limitrules.language.nodes import Clause, Node

DIFFERENCE = Quantity(TEMPERATURE_DIFFERENCE)


@frozen(eq=False, repr=False)
class Scope:
    """What the names of a clause mean.

    ``kinds`` by name; ``names`` are the bound subjects, parameters and earlier definitions; ``units`` are those
    to show them in, where one is known. ``broken`` are names that a mistake keeps from having a type; ``bare`` are
    parameters written as a number without unit.
    """

    kinds: Mapping[str, Kind]
    names: Mapping[str, Type] = field(factory=dict)
    functions: Registry = STANDARD
    units: Mapping[str, Unit] = field(factory=dict)
    broken: frozenset[str] = frozenset()
    bare: frozenset[str] = frozenset()
    _collections: dict[str, Type] = field(factory=dict, alias="_collections")

    def binding(self, /, **names: Type) -> Scope:
        """With more names; any word may be one, `self` too."""
        return self._with({**self.names, **names}, self.units)

    def defining(self, name: str, kind: Type, unit: Unit | None) -> Scope:
        """With one more name, shown in a unit where one is known."""
        units = self.units if unit is None else {**self.units, name: unit}
        return self._with({**self.names, name: kind}, units)

    def _with(self, names: Mapping[str, Type], units: Mapping[str, Unit]) -> Scope:
        return Scope(self.kinds, names, self.functions, units, self.broken, self.bare, self._collections)

    def collections(self) -> dict[str, Type]:
        """The plurals of the kinds that stand at the top of a document, and the single ones by name."""
        if not self._collections:
            self._collections.update(
                (kind.plural, Component(kind.name) if kind.single else Components(kind.name))
                for kind in self.kinds.values()
                if kind.plural
            )
        return self._collections

    def is_taken(self, name: str) -> bool:
        """True where a new name would hide another, or could not be told from a word of the language."""
        return name in self.names or name in self.broken or name in self.collections() or name in n.RESERVED


Rule = Callable[["Desk", Any, Scope], Type | None]


class Desk:
    """One clause while it is typed. ``rules`` says how each sort of node is."""

    def __init__(self, clause: Clause, rules: Mapping[type[Node], Rule]) -> None:
        self.clause = clause
        self.rules = rules
        self.types: dict[Node, Type] = {}
        self.units: dict[Node, Unit] = {}
        self.mistakes: list[Diagnostic] = []

    def type_of(self, node: Node, scope: Scope) -> Type | None:
        """The type of a node, noted for it and all below; None where a mistake keeps it from having one."""
        found = self.rules[type(node)](self, node, scope)
        if found is not None:
            self.types[node] = found
        return found

    def unit_from(self, node: Node, kind: Type, *sources: Node) -> None:
        """Show a node of a type in the unit of the first source that has the same type."""
        for source in sources:
            unit = self.units.get(source)
            if unit is not None and self.types.get(source) == kind:
                self.units[node] = unit
                return

    # wording

    def report(self, code: str, message: str, node: Node, expected: str = "", advice: str = "") -> None:
        self.mistakes.append(Diagnostic(code, message, self.clause.span(node), expected, advice))

    def excerpt(self, node: Node) -> str:
        return self.clause.excerpt(node)

    def described(self, node: Node, found: Type) -> str:
        """A type with the unit it was written in, so that a clash shows both."""
        unit = self.units.get(node)
        if found == Quantity(NUMBER):
            if unit is not None:
                return f"a share, here in {unit.symbol}"
            return "a plain number" if isinstance(node, n.Literal) else "a plain number or share"
        if unit is not None and isinstance(found, Quantity) and unit.symbol not in str(found):
            return f"{named(found)}, here in {unit.symbol}"
        return named(found)

    def clash(self, node: Node, first: Node, one: Type, second: Node, other: Type, deed: str) -> None:
        """Two values that do not go together."""
        numbers = isinstance(one, Quantity | Temperature) and isinstance(other, Quantity | Temperature)
        left = f"`{self.excerpt(first)}` is {self.described(first, one)}"
        right = f"`{self.excerpt(second)}` is {self.described(second, other)}"
        self.report("dimension-clash" if numbers else "type-clash",
                    f"{left}{',' if ', here' in left else ''} and {right}; they cannot be {deed}", node,
                    "the same dimension on both sides" if numbers else "the same sort of value on both sides",
                    self._way_out(first, one, second, other))  # fmt: skip

    def _way_out(self, first: Node, one: Type, second: Node, other: Type) -> str:
        for side, kind, against, due in ((second, other, first, one), (first, one, second, other)):
            if not isinstance(side, n.Literal) or kind == due:
                continue
            if side.unit.symbol == "C" and isinstance(due, Temperature):
                return f"`{side.digits} degC`; C is the coulomb"
            if side.unit.symbol == "1" and isinstance(due, Quantity | Temperature):
                return f"the unit behind the number: `{side.digits} {self._symbol(against, due)}`"
            if kind == DIFFERENCE and isinstance(due, Temperature):
                return f"`{side.digits} degC`; a temperature is written in degC, a difference in K"
            if isinstance(kind, Temperature) and due == DIFFERENCE:
                return f"`{side.digits} K`; a temperature is written in degC, a difference in K"
        if isinstance(one, Temperature) != isinstance(other, Temperature) and DIFFERENCE in (one, other):
            return "a temperature is written in degC, a difference in K"
        return ""

    def _symbol(self, node: Node, kind: Quantity | Temperature) -> str:
        if node in self.units:
            return self.units[node].symbol
        return "degC" if isinstance(kind, Temperature) else unit_for(kind.dimension).symbol

    def is_value(self, node: Node, found: Type, scope: Scope) -> bool:
        """True for a single value; says what it is and what to take of it where it is none."""
        expected = ""
        if isinstance(found, Group):
            what = "a group of attributes"
            expected = _one_of(self.excerpt(node), scope.kinds[found.kind].names_below(found.path))
        elif isinstance(found, Component):
            what = str(found)
            expected = _one_of(self.excerpt(node), scope.kinds[found.kind].names_below(""))
        elif isinstance(found, Components):
            name = self.excerpt(node)
            what = f"a collection of {scope.kinds[found.kind].plural or found.kind}"
            expected = f"`every x in {name}: ...`, or `lowest of ... over x in {name}`"
        elif isinstance(found, Curve):
            what, expected = str(found), f"a point to read it at: `{self.excerpt(node)} at {_point(found)}`"
        else:
            return True
        self.report("not-a-value", f"`{self.excerpt(node)}` is {what}, not a single value", node, expected)
        return False

    def is_number(self, node: Node, found: Type, scope: Scope, deed: str) -> bool:
        """True for a quantity or a temperature; says what it is where it is none."""
        if isinstance(found, Quantity | Temperature):
            return True
        if self.is_value(node, found, scope):
            self.report("not-a-quantity", f"`{self.excerpt(node)}` is {found}; it cannot be {deed}", node, "a quantity")
        return False

    def condition(self, node: Node, scope: Scope) -> None:
        """A node that has to be a condition."""
        self.expect_condition(node, self.type_of(node, scope))

    def expect_condition(self, node: Node, found: Type | None) -> None:
        if found is None or isinstance(found, Truth):
            return
        expected, advice = "a comparison such as `A at or below B`", ""
        if isinstance(node, n.Aggregate) and isinstance(node.where, n.Compare):
            advice = f"parentheses: `({node.word} of ... where ...) {node.where.relation} ...`"
        elif isinstance(found, Component | Components | Group):
            expected = f"`{self.excerpt(node)} is stated`, or a comparison of what it holds"
        self.report("not-a-condition", f"`{self.excerpt(node)}` is {self.described(node, found)}, not a condition",
                    node, expected, advice)  # fmt: skip

    def shares_are_clear(self, *nodes: Node) -> bool:
        """False, with a word on it, where a bare number above 1 stands beside a value that is shown in %."""
        if not any((unit := self.units.get(node)) is not None and unit.symbol == "%" for node in nodes):
            return True
        for node in nodes:
            if isinstance(node, n.Literal) and node.unit.symbol == "1" and node.value > 1:
                self.report("bare-share", f"`{node.digits}` stands beside a share and would be "
                            f"{node.digits} times the whole", node, f"`{node.digits} %`")  # fmt: skip
                return False
        return True


def named(kind: Type) -> str:
    """A type with its article: ``a current (A)``."""
    text = str(kind)
    if not isinstance(kind, Quantity | Temperature) or text.startswith("a "):
        return text.removesuffix(" (1)")
    return f"{'an' if text[0] in 'aeiou' else 'a'} {text}"


def near_name(name: str, names: Iterable[str]) -> str:
    """The nearest name; one that differs in large and small letters alone comes first."""
    known = list(names)
    return next((item for item in known if item.lower() == name.lower()), "") or nearest(name, known)


def _one_of(start: str, names: list[str]) -> str:
    return listing([f"`{start}.{name}`" for name in names], 5)


def _point(curve: Curve) -> str:
    if isinstance(curve.over, Temperature):
        return "20 degC"
    return "20 %" if curve.over.dimension.is_number else f"20 {unit_for(curve.over.dimension).symbol}"
