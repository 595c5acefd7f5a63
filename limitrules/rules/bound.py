"""What a node of a clause stands for in one system."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

import attrs
from attrs import field, frozen

from limitrules.foundation.kinds import Quantity, Temperature, Truth, Type
from limitrules.foundation.units import Unit
from limitrules.language import ground as g
from limitrules.language.checker import Checked
from limitrules.language.nodes import Assume, Node
from limitrules.model.quantity import Uncertain
from limitrules.model.system import System
from limitrules.model.values import ComponentRecord, Table
from limitrules.rules.rule import Definition


@frozen(eq=False, repr=False)
class Absent:
    """Something that is not a number and is missing at a path."""

    path: str


@frozen(eq=False, repr=False)
class Below:
    """The attributes of a component below a common word."""

    record: ComponentRecord
    prefix: str


Bound = g.Numeric | g.Logical | ComponentRecord | tuple[ComponentRecord, ...] | str | Table | Absent | Below
"""What a node of a clause stands for in one system."""


@frozen(eq=False, repr=False)
class Assumed:
    """A default that stands in for what is missing at ``path``, with the names it is spoken under."""

    node: Assume
    checked: Checked
    names: Named
    path: str


@frozen(eq=False, repr=False)
class Named:
    """What the names of a clause stand for: components, and definitions with the names they were made under."""

    components: Mapping[str, ComponentRecord] = field(factory=dict)
    definitions: Mapping[str, Definition] = field(factory=dict)

    def with_member(self, name: str, record: ComponentRecord) -> Named:
        return attrs.evolve(self, components={**self.components, name: record})

    def renewed(self, system: System) -> Named:
        """The same names in a changed system."""
        found = {name: system.record(record.path) or record for name, record in self.components.items()}
        return attrs.evolve(self, components=found)


def together(parts: tuple[g.Logical, ...]) -> g.Logical:
    """All of the parts, without those that hold anyway; one that never holds decides."""
    kept = tuple(part for part in parts if not (isinstance(part, g.Fixed) and part.value is True))
    if any(isinstance(part, g.Fixed) and part.value is False for part in kept):
        return g.Fixed(False)
    return g.Fixed(True) if not kept else kept[0] if len(kept) == 1 else g.All(kept)


def either(parts: tuple[g.Logical, ...]) -> g.Logical:
    """Any of the parts, without those that never hold; one that holds anyway decides."""
    kept = tuple(part for part in parts if not (isinstance(part, g.Fixed) and part.value is False))
    if any(isinstance(part, g.Fixed) and part.value is True for part in kept):
        return g.Fixed(True)
    return g.Fixed(False) if not kept else kept[0] if len(kept) == 1 else g.Any(kept)


def contrary(term: g.Logical) -> g.Logical:
    """The opposite; what is missing stays missing."""
    if isinstance(term, g.Fixed):
        return g.Fixed(None if term.value is None else not term.value, term.path)
    return g.Contrary(term)


def negative(value: g.Numeric) -> g.Numeric:
    """The number with the other sign."""
    return g.Constant(-value.value) if isinstance(value, g.Constant) else g.Negate(value)


def deviating(value: Uncertain, shared: int) -> g.Numeric:
    """A value that deviates with others: from low to high as the one variable they share goes from -1 to 1."""
    nominal, where = value.nominal, g.Input(shared)
    if nominal - value.low == value.high - nominal:
        return g.Add(g.Constant(nominal), g.Multiply(g.Constant(value.high - nominal), where))
    ends = (Fraction(-1), value.low), (Fraction(0), nominal), (Fraction(1), value.high)
    return g.Lookup(ends, where)


def absent(path: str, kind: Type) -> Bound:
    """What a missing value of a type is bound to."""
    if isinstance(kind, Quantity | Temperature):
        return g.Gap(path)
    return g.Fixed(None, path) if isinstance(kind, Truth) else Absent(path)


def missing_in(value: Bound, but_bounded: bool = False) -> tuple[str, ...]:
    """The paths that are missing in what a node stands for; not those known within a range, if so asked."""
    if isinstance(value, Absent):
        return (value.path,)
    if not isinstance(value, g.Ground) or type(value) is g.Input:
        return ()
    if not but_bounded:
        return g.gaps_of(value)
    bounded = {item.path for item in value.walk() if isinstance(item, g.Ranged)}
    return tuple(path for path in g.gaps_of(value) if path not in bounded)


def shown_unit(checked: Checked, *candidates: Node) -> Unit:
    """The unit of the first node that has one of its own, else a coherent one."""
    for node in candidates:
        if node in checked.units:
            return checked.units[node]
    return checked.unit(candidates[0])
