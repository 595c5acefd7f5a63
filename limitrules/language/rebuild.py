"""Terms rebuilt with parts of them replaced. What does not change is kept as it is, shared parts stay shared."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from attrs import evolve

from limitrules.language import ground as g


class Rebuild:
    """Rebuilds a term from the top down and up again; kinds of replacement say what they do in the two hooks."""

    def __init__(self) -> None:
        self._done: dict[int, g.Ground] = {}

    def before(self, term: g.Ground) -> g.Ground | None:
        """What takes the place of a term and all below it; None to look further down."""
        return None

    def after(self, term: Any) -> g.Ground:
        """What takes the place of a term whose parts have been replaced already."""
        return term  # type: ignore[no-any-return]

    def change(self, term: g.Ground) -> g.Ground:
        """The term rebuilt."""
        found = self._done.get(id(term))
        if found is None:
            found = self.before(term)
            if found is None:
                found = self.after(self._below(term))
            self._done[id(term)] = found
        return found

    def _below(self, term: g.Ground) -> g.Ground:
        changes: dict[str, object] = {}
        for name in _FIELDS.get(type(term), ()):
            value = getattr(term, name)
            if isinstance(value, tuple):
                changed: Any = tuple([self._item(item) for item in value])
                is_same = all(one is other for one, other in zip(changed, value, strict=True))
            else:
                changed = self.change(value)
                is_same = changed is value
            if not is_same:
                changes[name] = changed
        return evolve(term, **changes) if changes else term

    def _item(self, item: Any) -> Any:
        if isinstance(item, g.Ground):
            return self.change(item)
        value: Any = self.change(item.value)
        guard: Any = self.change(item.guard) if item.guard is not None else None
        return item if value is item.value and guard is item.guard else evolve(item, value=value, guard=guard)


class _Replace(Rebuild):
    def __init__(self, old: g.Ground, new: g.Ground) -> None:
        super().__init__()
        self.old, self.new = old, new

    def before(self, term: g.Ground) -> g.Ground | None:
        return self.new if term is self.old else None


def replaced(term: g.Numeric, old: g.Numeric, new: g.Numeric) -> g.Numeric:
    """The term with one part of it replaced, wherever that is used."""
    found = _Replace(old, new).change(term)
    assert isinstance(found, g.Numeric)
    return found


_FIELDS: Mapping[type[g.Ground], tuple[str, ...]] = {
    g.Negate: ("value",),
    g.Absolute: ("value",),
    **dict.fromkeys((g.Add, g.Subtract, g.Multiply, g.Divide, g.Margin), ("left", "right")),
    **dict.fromkeys((g.Total, g.Least, g.Greatest, g.All, g.Any), ("parts",)),
    g.Apply: ("arguments",),
    g.Lookup: ("at",),
    g.Select: ("condition", "then", "other"),
    g.Contrary: ("value",),
    g.Holds: ("headroom",),
}
