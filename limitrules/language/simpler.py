"""The same term with fewer parts: what is equal is shared, what is constant worked out, what cancels left out.

A bound that takes every use of a value as another one is loose where the uses belong together. The simpler term has
the same value at every point, and has none where the given one has none.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from fractions import Fraction
from typing import Any

from attrs import define, evolve, field

from limitrules.language import ground as g
from limitrules.language.rebuild import Rebuild

_ZERO = Fraction(0)


def simpler(term: g.Numeric) -> g.Numeric:
    """The term made simpler; the given one where nothing is to be gained."""
    found = _Simpler().change(term)
    assert isinstance(found, g.Numeric)
    return found


@define
class _Sum:
    """An offset and terms, by their identity, each times a factor; ``is_merged`` where two of them were the same."""

    offset: Fraction = _ZERO
    terms: dict[int, tuple[g.Numeric, Fraction]] = field(factory=dict)
    is_merged: bool = False


class _Simpler(Rebuild):
    def __init__(self) -> None:
        super().__init__()
        self._shared: dict[Hashable, g.Ground] = {}
        self._total: dict[int, bool] = {}

    def after(self, term: Any) -> g.Ground:
        rule = _RULES.get(type(term))
        found = rule(self, term) if rule is not None else term
        if isinstance(found, g.Add | g.Subtract | g.Total) and found is term:
            found = self._summed(found)
        # Kept while this lives, so that no other term takes over an identity.
        return self._shared.setdefault(_key(found), found)

    def shared(self, term: g.Numeric) -> g.Numeric:
        """The one that stands for all terms equal to this one."""
        found = self._shared.setdefault(_key(term), term)
        assert isinstance(found, g.Numeric)
        return found

    def has_value(self, term: g.Ground) -> bool:
        """True where the term surely has a value at every point."""
        found = self._total.get(id(term))
        if found is None:
            found = self._total[id(term)] = _is_sound(term) and all(self.has_value(item) for item in term.below())
        return found

    def _summed(self, term: g.Numeric) -> g.Numeric:
        found = _Sum()
        self._gather(term, Fraction(1), found)
        # What has no value somewhere must not vanish, and no times anything is nothing.
        if not found.is_merged or any(not factor and not self.has_value(item) for item, factor in found.terms.values()):
            return term
        parts: list[g.Numeric] = [g.Constant(found.offset)] if found.offset else []
        for item, factor in found.terms.values():
            if factor == 1:
                parts.append(item)
            elif factor:
                parts.append(self.shared(g.Multiply(self.shared(g.Constant(factor)), item)))
        if len(parts) == 1:
            return parts[0]
        return g.Total(tuple([g.Part(self.shared(part)) for part in parts])) if parts else g.Constant(_ZERO)

    def _gather(self, term: g.Numeric, factor: Fraction, found: _Sum) -> None:
        if isinstance(term, g.Constant):
            found.offset += factor * term.value
        elif isinstance(term, g.Add | g.Subtract):
            self._gather(term.left, factor, found)
            self._gather(term.right, factor if isinstance(term, g.Add) else -factor, found)
        elif isinstance(term, g.Negate):
            self._gather(term.value, -factor, found)
        elif isinstance(term, g.Total) and _is_unguarded(term):
            for part in term.parts:
                self._gather(part.value, factor, found)
        elif isinstance(term, g.Multiply) and isinstance(term.left, g.Constant):
            self._gather(term.right, factor * term.left.value, found)
        elif isinstance(term, g.Multiply) and isinstance(term.right, g.Constant):
            self._gather(term.left, factor * term.right.value, found)
        else:
            _, before = found.terms.get(id(term), (term, None))
            found.is_merged |= before is not None
            found.terms[id(term)] = term, factor + (before or _ZERO)


def _is_unguarded(term: g.Gathered) -> bool:
    return all(part.guard is None for part in term.parts)


def _is_sound(term: g.Ground) -> bool:
    """True where a term has a value wherever those below it have one."""
    if isinstance(term, g.Gap | g.Apply | g.Lookup):
        return False
    if isinstance(term, g.Divide):
        return isinstance(term.right, g.Constant) and term.right.value != 0
    if isinstance(term, g.Least | g.Greatest):
        return bool(term.parts) and _is_unguarded(term)
    return not isinstance(term, g.Fixed) or term.value is not None


def _key(term: g.Ground) -> Hashable:
    """Equal for terms that are the same; what only belongs to their wording is left out."""
    if isinstance(term, g.Constant):
        return g.Constant, term.value.as_integer_ratio()
    if isinstance(term, g.Input):
        return type(term), term.index
    if isinstance(term, g.Gap):
        return g.Gap, term.path
    if isinstance(term, g.Fixed):
        return g.Fixed, term.value, term.path
    if isinstance(term, g.Gathered):
        return type(term), tuple([(id(part.value), id(part.guard)) for part in term.parts])
    extra: Hashable = None
    if isinstance(term, g.Apply):
        extra = id(term.function)
    elif isinstance(term, g.Lookup):
        extra = term.points
    elif isinstance(term, g.Holds):
        extra = term.strict
    return type(term), tuple([id(item) for item in term.below()]), extra


# What takes the place of a term, by its kind

_Rule = Callable[[_Simpler, Any], g.Ground]


def _negate(made: _Simpler, term: g.Negate) -> g.Ground:
    if isinstance(term.value, g.Negate):
        return term.value.value
    return g.Constant(-term.value.value) if isinstance(term.value, g.Constant) else term


def _absolute(made: _Simpler, term: g.Absolute) -> g.Ground:
    value = term.value
    if isinstance(value, g.Negate):
        return g.Absolute(value.value)
    if isinstance(value, g.Constant):
        return g.Constant(abs(value.value))
    return value if isinstance(value, g.Absolute) else term


def _multiply(made: _Simpler, term: g.Multiply) -> g.Ground:
    for factor, other in ((term.left, term.right), (term.right, term.left)):
        if not isinstance(factor, g.Constant):
            continue
        if isinstance(other, g.Constant):
            return g.Constant(factor.value * other.value)
        if factor.value == 1:
            return other
        if factor.value == 0 and made.has_value(other):
            return factor
    return term


def _divide(made: _Simpler, term: g.Divide) -> g.Ground:
    if not isinstance(term.right, g.Constant) or not term.right.value:
        return term
    return made.after(g.Multiply(made.shared(g.Constant(1 / term.right.value)), term.left))


def _margin(made: _Simpler, term: g.Margin) -> g.Ground:
    base, share = term.left, term.right
    if isinstance(share, g.Constant) and (isinstance(base, g.Constant) or not share.value):
        return g.Constant(base.value + abs(base.value) * share.value) if isinstance(base, g.Constant) else base
    return term


def _gathered(made: _Simpler, term: g.Gathered) -> g.Gathered:
    """Without members that surely take no part, and without the conditions of those that surely do."""
    parts = []
    for part in term.parts:
        if isinstance(part.guard, g.Fixed) and part.guard.value is not None:
            if part.guard.value:
                parts.append(evolve(part, guard=None))
        else:
            parts.append(part)
    is_same = len(parts) == len(term.parts) and all(one is other for one, other in zip(parts, term.parts, strict=True))
    return term if is_same else evolve(term, parts=tuple(parts))


def _total(made: _Simpler, term: g.Total) -> g.Ground:
    found = _gathered(made, term)
    return found.parts[0].value if len(found.parts) == 1 and _is_unguarded(found) else found


def _extreme(made: _Simpler, term: g.Gathered) -> g.Ground:
    found = _gathered(made, term)
    if not found.parts or not _is_unguarded(found):
        return found
    members: dict[int, g.Numeric] = {}
    figures: list[g.Constant] = []
    for part in found.parts:
        nested = isinstance(part.value, type(found)) and _is_unguarded(part.value)
        for item in part.value.operands() if nested else (part.value,):
            if isinstance(item, g.Constant):
                figures.append(item)
            else:
                members[id(item)] = item
    if figures:
        choose = min if isinstance(found, g.Least) else max
        best = choose(figures, key=lambda item: item.value)
        members[id(best)] = best
    items = list(members.values())
    if len(items) == 1:
        return items[0]
    is_same = len(items) == len(found.parts) and all(
        item is part.value for item, part in zip(items, found.parts, strict=True)
    )
    return found if is_same else type(found)(tuple([g.Part(item) for item in items]))


def _select(made: _Simpler, term: g.Select) -> g.Ground:
    if isinstance(term.condition, g.Fixed) and term.condition.value is not None:
        return term.then if term.condition.value else term.other
    return term.then if term.then is term.other else term


def _holds(made: _Simpler, term: g.Holds) -> g.Ground:
    if not isinstance(term.headroom, g.Constant):
        return term
    over = term.headroom.value
    return g.Fixed(over > 0 or (over == 0 and not term.strict))


_RULES: Mapping[type[g.Ground], _Rule] = {
    g.Negate: _negate,
    g.Absolute: _absolute,
    g.Multiply: _multiply,
    g.Divide: _divide,
    g.Margin: _margin,
    g.Total: _total,
    g.Least: _extreme,
    g.Greatest: _extreme,
    g.Select: _select,
    g.Holds: _holds,
}
