"""Collections written out: what speaks of every, some, the lowest or each of several components, member by member."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import cast

from limitrules.foundation.kinds import Component
from limitrules.language import ground as g
from limitrules.language import nodes as n
from limitrules.language.checker import Checked
from limitrules.language.functions import Function
from limitrules.language.nodes import Node
from limitrules.language.printer import print_node
from limitrules.model.values import ComponentRecord
from limitrules.rules.bound import Absent, Bound, Named, contrary, either, together

_GATHERED: Mapping[str, Callable[[tuple[g.Part, ...]], g.Numeric]] = {
    "total": g.Total,
    "count": g.Total,
    "lowest": g.Least,
    "highest": g.Greatest,
}


class Collections(ABC):
    """The part of a binder that writes collections out."""

    @abstractmethod
    def bind(self, checked: Checked, node: Node, names: Named) -> Bound:
        """What a node stands for."""

    @abstractmethod
    def truth(self, checked: Checked, node: Node, names: Named) -> g.Logical:
        """What a condition stands for."""

    @abstractmethod
    def number(self, checked: Checked, node: Node, names: Named) -> g.Numeric:
        """What a number stands for."""

    @abstractmethod
    def path_of(self, checked: Checked, node: Node, names: Named) -> str:
        """The path of a value, to name it where it is missing."""

    def _members(self, checked: Checked, node: n.Quantified | n.Aggregate | n.Each, names: Named) -> (
        Absent | list[tuple[ComponentRecord, Named, g.Logical | None]]
    ):  # fmt: skip
        collection = self.bind(checked, node.collection, names)
        if isinstance(collection, Absent):
            return collection
        found: list[tuple[ComponentRecord, Named, g.Logical | None]] = []
        for record in cast("tuple[ComponentRecord, ...]", collection):
            inner = names.with_member(node.name, record)
            guard = self.truth(checked, node.where, inner) if node.where is not None else None
            if isinstance(guard, g.Fixed) and guard.value is not None:
                if not guard.value:
                    continue
                guard = None
            found.append((record, inner, guard))
        return found

    def quantified(self, checked: Checked, node: n.Quantified, names: Named) -> Bound:
        members = self._members(checked, node, names)
        if isinstance(members, Absent):
            return g.Fixed(None, members.path)
        if not members:
            # `every` and `no` over nothing would hold without anything having been looked at.
            path = self.path_of(checked, node.collection, names)
            return g.Fixed(False) if node.word == "some" else g.Fixed(None, path)
        parts = []
        for _, inner, guard in members:
            body = self.truth(checked, node.body, inner)
            if node.word == "every":
                parts.append(body if guard is None else either((g.Contrary(guard), body)))
            else:
                parts.append(body if guard is None else together((guard, body)))
        if node.word != "some" and all(guard is not None for _, _, guard in members):
            # Where the condition takes all members out, nothing was looked at.
            guards = tuple(guard for _, _, guard in members if guard is not None)
            path = self.path_of(checked, node.collection, names)
            parts_taken = either((*guards, g.Fixed(None, path)))
            body = together(tuple(parts)) if node.word == "every" else contrary(either(tuple(parts)))
            return together((parts_taken, body))
        if node.word == "every":
            return together(tuple(parts))
        some = either(tuple(parts))
        return some if node.word == "some" else contrary(some)

    def aggregate(self, checked: Checked, node: n.Aggregate, names: Named) -> Bound:
        members = self._members(checked, node, names)
        if isinstance(members, Absent):
            return g.Gap(members.path)
        if not members and node.word in ("lowest", "highest"):
            return g.Gap(self.path_of(checked, node.collection, names))
        parts = tuple(
            g.Part(self._counted(checked, node, inner), guard, record.path) for record, inner, guard in members
        )
        return _GATHERED[node.word](parts)

    def _counted(self, checked: Checked, node: n.Aggregate, names: Named) -> g.Numeric:
        if node.word != "count":
            return self.number(checked, node.body, names)
        one, zero = g.Constant(Fraction(1)), g.Constant(Fraction(0))
        if isinstance(checked.types[node.body], Component):
            return one
        condition = self.truth(checked, node.body, names)
        if isinstance(condition, g.Fixed) and condition.value is not None:
            return one if condition.value else zero
        return g.Select(condition, one, zero)

    def listed(self, checked: Checked, node: n.Listed, names: Named) -> Bound:
        parts = tuple(g.Part(self.number(checked, member, names), None, print_node(member)) for member in node.members)
        return _GATHERED[node.word](parts)

    def over_members(self, checked: Checked, node: n.Call, function: Function, names: Named) -> Bound:
        """The function for the members that there are. Whose membership is open leaves the value open."""
        plain: list[g.Numeric] = []
        groups: list[g.Numeric] = []
        count = 0
        for argument in node.arguments:
            if not isinstance(argument, n.Each):
                plain.append(self.number(checked, argument, names))
                continue
            members = self._members(checked, argument, names)
            if isinstance(members, Absent):
                return g.Gap(members.path)
            for record, inner, guard in members:
                if guard is not None:
                    return g.Gap(next(iter(g.gaps_of(guard)), record.path))
                groups += [self.number(checked, value, inner) for value in argument.values]
                count += 1
        if not count:
            first = next(argument for argument in node.arguments if isinstance(argument, n.Each))
            return g.Gap(self.path_of(checked, first.collection, names))
        return g.Apply(function.of(count), (*plain, *groups))
