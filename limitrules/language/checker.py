"""Types and dimensions of clauses, checked once before anything is evaluated.

All mistakes of a clause are collected; a node whose type is unknown because of a mistake below it is passed over
in silence, so that one mistake gives one message.
"""

from __future__ import annotations

from collections.abc import Mapping

from attrs import frozen

from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.dimension import TEMPERATURE_DIFFERENCE
from limitrules.foundation.kinds import Quantity, Truth, Type
from limitrules.foundation.units import Unit, unit_for
from limitrules.language.condition_types import CONDITIONS
from limitrules.language.desk import Desk, Rule, Scope
from limitrules.language.nodes import Clause, Node
from limitrules.language.value_types import VALUES

__all__ = ["RULES", "Checked", "Scope", "check"]

RULES: Mapping[type[Node], Rule] = {**VALUES, **CONDITIONS}


@frozen(eq=False, repr=False)
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
    desk = Desk(clause, RULES)
    found = desk.type_of(clause.node, scope)
    if expected is Truth:
        desk.expect_condition(clause.node, found)
    if desk.mistakes or found is None:
        raise InputError(desk.mistakes)
    return Checked(clause, found, desk.types, desk.units)
