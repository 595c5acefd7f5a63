"""Whom a rule speaks of in one system."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, cast

from limitrules.model.system import System
from limitrules.model.values import ComponentRecord
from limitrules.rules.binding import Binder
from limitrules.rules.bound import Absent, Named
from limitrules.rules.rule import Rule
from limitrules.rules.slots import Slots


def subjects_of(rule: Rule, system: System, slots: Slots) -> Iterator[Binder | Absent]:
    """One binder for each set of subjects of a rule, in the order of the document.

    Where a tie that leads to subjects is missing, that is given instead.
    """
    definitions = {item.name: item for item in rule.definitions}

    def binder(components: Mapping[str, ComponentRecord]) -> Binder:
        return Binder(system, slots, rule, Named(components, definitions))

    if rule.about.pair:
        yield from _pairs(rule, binder)
        return

    def expand(position: int, chosen: dict[str, ComponentRecord]) -> Iterator[Binder | Absent]:
        if position == len(rule.about.subjects):
            yield binder(chosen)
            return
        subject = rule.about.subjects[position]
        if subject.collection is None:
            records: Any = tuple(system.components[subject.kind].values())
        else:
            outer = binder(chosen)
            records = outer.bind(subject.collection, subject.collection.clause.node, outer.names)
        if isinstance(records, Absent):
            yield records
            return
        for record in records:
            yield from expand(position + 1, {**chosen, subject.name: record})

    yield from expand(0, {})


def _pairs(rule: Rule, binder: Callable[[Mapping[str, ComponentRecord]], Binder]) -> Iterator[Binder | Absent]:
    one, other = rule.about.subjects
    assert one.collection is not None
    outer = binder({})
    records = outer.bind(one.collection, one.collection.clause.node, outer.names)
    if isinstance(records, Absent):
        yield records
        return
    members = cast("tuple[ComponentRecord, ...]", records)
    for index, first in enumerate(members):
        for second in members[index + 1 :]:
            yield binder({one.name: first, other.name: second})
