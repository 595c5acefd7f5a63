"""A term as a tape: every part of it once, operands before what uses them.

One pass forward gives the enclosures of all parts over a box in floats, or their exact values at a point; a pass
backward (slopes.py) tells which way each input moves the term.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from functools import reduce
from math import gcd
from typing import Any

from limitrules.language import ground as g
from limitrules.language import pairs
from limitrules.language.exactly import Enclosure, enclosed, point, read_table, truth_over
from limitrules.language.pairs import Floats, Pair
from limitrules.language.shadow import shadow_truth

Places = tuple[int, ...]
Place = Mapping[int, Fraction]
Ratio = tuple[int, int]
"""Numerator and denominator (above zero), not always in lowest terms: putting them so is most of a sum's cost."""
_LONG = 1 << 600


class Tape:
    """``terms`` in order, the whole term last; ``below`` gives the places of each one's operands."""

    def __init__(self, term: g.Numeric) -> None:
        self.term = term
        self.terms: list[g.Numeric] = []
        self.below: list[Places] = []
        self.place: dict[int, int] = {}
        self.inputs: list[tuple[int, int]] = []
        # What does not depend on an input is worked out once: its floats in one list, its exact values in the other.
        self._blank: list[Pair] = []
        self._known: list[Ratio | None] = []
        self._steps: list[tuple[int, _Step, Callable[[Pair, Pair], Pair] | None, Places]] = []
        self._rules: list[tuple[int, _Rule, Callable[[Ratio, Ratio], Ratio | None] | None, g.Numeric, Places]] = []
        self.rises: dict[int, list[tuple[float, float, Pair]]] = {}
        self._append(term)
        self.indices = tuple(sorted({index for _, index in self.inputs}))
        self.guarded = _guard_inputs(self.terms)
        if self.guarded:
            self.indices = tuple(sorted({*self.indices, *self.guarded}))

    def _append(self, term: g.Numeric) -> int:
        found = self.place.get(id(term))
        if found is not None:
            return found
        below = tuple([self._append(child) for child in term.operands()])
        number = self.place[id(term)] = len(self.terms)
        self.terms.append(term)
        self.below.append(below)
        known = self._constant(term, below)
        self._known.append(known)
        if known is not None:
            value = Fraction(*known)
            self._blank.append(pairs.pair_of(value, value))
            return number
        self._blank.append(pairs.ZERO)
        if isinstance(term, g.Input):
            self.inputs.append((number, term.index))
        else:
            # Most terms have two operands: those are worked out here, without a call in between.
            self._rules.append((number, _EXACT[type(term)], _TWO_EXACT.get(type(term)), term, below))
            self._steps.append((number, _FORWARD[type(term)](term, below), _TWO_FORWARD.get(type(term)), below))
        return number

    def _constant(self, term: g.Numeric, below: Places) -> Ratio | None:
        """The exact value of a term that depends on no input; None where it does, or has no such value."""
        if isinstance(term, g.Input | g.Select) or (isinstance(term, g.Gathered) and any(p.guard for p in term.parts)):
            return None
        values = [self._known[at] for at in below]
        return None if None in values else _EXACT[type(term)](term, values, {})

    def forward(self, box: Floats) -> list[Pair]:
        """Enclosures of all terms over a box; that of the whole term comes last."""
        values = self._blank[:]
        for number, index in self.inputs:
            values[number] = box[index]
        for number, step, of_two, below in self._steps:
            values[number] = of_two(values[below[0]], values[below[1]]) if of_two is not None else step(values, box)
        return values

    def exact(self, place: Place) -> list[Ratio | None]:
        """The exact values of all terms at a point; None for one that is missing, undefined or irrational."""
        values = self._known[:]
        for number, index in self.inputs:
            values[number] = place[index].as_integer_ratio()
        for number, rule, of_two, term, below in self._rules:
            if of_two is None:
                values[number] = rule(term, [values[at] for at in below], place)
                continue
            left, right = values[below[0]], values[below[1]]
            values[number] = None if left is None or right is None else of_two(left, right)
        return values

    def value(self, place: Place) -> Fraction | None:
        """The exact value of the whole term at a point; None where it is undefined, missing or irrational."""
        value = self.exact(place)[-1]
        if value is not None:
            return Fraction(*value)
        low, high = self.enclosure(place)
        return low if low == high and isinstance(low, Fraction) else None

    def enclosure(self, place: Place) -> Enclosure:
        """The enclosure of the whole term at a point, in rationals."""
        exact = self.exact(place)
        if exact[-1] is not None:
            value = Fraction(*exact[-1])
            return value, value
        return self.enclosures(place, exact)(len(self.terms) - 1)

    def enclosures(self, place: Place, exact: Sequence[Ratio | None]) -> Callable[[int], Enclosure]:
        """The enclosure of each term, by its number, at a point at which some have exact values."""
        box = point(place)
        found: list[Enclosure | None] = [None] * len(exact)

        def at(number: int) -> Enclosure:
            known, value = found[number], exact[number]
            if known is None:
                # What is exact becomes a rational only where it is needed.
                single = Fraction(*value) if value is not None else None
                below = [] if single is not None else [at(item) for item in self.below[number]]
                known = (single, single) if single is not None else enclosed(self.terms[number], below, box)
                found[number] = known
            return known

        return at


def _guard_inputs(terms: Sequence[g.Numeric]) -> frozenset[int]:
    """The inputs that decide which member or branch takes part anywhere in the term."""
    found: set[int] = set()
    for item in terms:
        if isinstance(item, g.Select):
            found.update(g.inputs_of(item.condition))
        elif isinstance(item, g.Gathered):
            for part in item.parts:
                if part.guard is not None:
                    found.update(g.inputs_of(part.guard))
    return frozenset(found)


# forward, in floats over a box

_Step = Callable[[list[Pair], Floats], Pair]


def _single(operation: Callable[[Pair], Pair]) -> Callable[[g.Numeric, Places], _Step]:
    def build(term: g.Numeric, below: Places) -> _Step:
        (at,) = below
        return lambda values, box: operation(values[at])

    return build


def _binary(operation: Callable[[Pair, Pair], Pair]) -> Callable[[g.Numeric, Places], _Step]:
    def build(term: g.Numeric, below: Places) -> _Step:
        left, right = below
        return lambda values, box: operation(values[left], values[right])

    return build


def _gathered(operation: Callable[[pairs.Taking], Pair]) -> Callable[[g.Gathered, Places], _Step]:
    def build(term: g.Gathered, below: Places) -> _Step:
        if all(part.guard is None for part in term.parts):
            return lambda values, box: operation([(values[at], True) for at in below])
        guards = [shadow_truth(part.guard) if part.guard is not None else _always for part in term.parts]
        members = list(zip(below, guards, strict=True))
        return lambda values, box: operation([(values[at], guard(box)) for at, guard in members])

    return build


def _always(box: Floats) -> bool:
    return True


def _apply(term: g.Apply, below: Places) -> _Step:
    function = term.function
    return lambda values, box: pairs.mended(*function.interval(*[values[at] for at in below]))


def _lookup(term: g.Lookup, below: Places) -> _Step:
    (at,), read = below, pairs.table(term.points)
    return lambda values, box: read(values[at])


def _select(term: g.Select, below: Places) -> _Step:
    then, other = below
    condition = shadow_truth(term.condition)

    def step(values: list[Pair], box: Floats) -> Pair:
        taken = condition(box)
        if taken is None:
            return pairs.either(values[then], values[other])
        return values[then if taken else other]

    return step


_TWO_FORWARD: Mapping[type[g.Ground], Callable[[Pair, Pair], Pair]] = {
    g.Add: pairs.added,
    g.Subtract: pairs.subtracted,
    g.Multiply: pairs.multiplied,
    g.Divide: pairs.divided,
    g.Margin: pairs.with_margin,
}
_FORWARD: Mapping[type[g.Ground], Callable[[Any, Places], _Step]] = {
    g.Gap: lambda term, below: lambda values, box: pairs.ANYTHING,
    g.Negate: _single(pairs.negated),
    g.Absolute: _single(pairs.absolute),
    **{kind: _binary(operation) for kind, operation in _TWO_FORWARD.items()},
    g.Total: _gathered(pairs.total),
    g.Least: _gathered(pairs.least),
    g.Greatest: _gathered(pairs.greatest),
    g.Apply: _apply,
    g.Lookup: _lookup,
    g.Select: _select,
}


# exactly, at a point

_Values = list[Ratio | None]
_Rule = Callable[[Any, _Values, Place], Ratio | None]


def _known(rule: Callable[..., Ratio | None]) -> _Rule:
    """A rule that needs the values of all operands, and nothing else."""

    def apply(term: Any, values: _Values, place: Place) -> Ratio | None:
        return None if None in values else rule(*values)

    return apply


def _sum(one: Ratio, other: Ratio) -> Ratio:
    a, b = one
    c, d = other
    if b == d:
        return a + c, b
    denominator = b * d
    return (a * d + c * b, denominator) if denominator < _LONG else _short(a * d + c * b, denominator)


def _short(numerator: int, denominator: int) -> Ratio:
    common = gcd(numerator, denominator)
    return numerator // common, denominator // common


def _subtract_exact(left: Ratio, right: Ratio) -> Ratio:
    return _sum(left, (-right[0], right[1]))


def _multiply_exact(left: Ratio, right: Ratio) -> Ratio:
    denominator = left[1] * right[1]
    numerator = left[0] * right[0]
    return (numerator, denominator) if denominator < _LONG else _short(numerator, denominator)


def _divide_exact(left: Ratio, right: Ratio) -> Ratio | None:
    a, b = left
    c, d = right
    if c == 0:
        return None
    return (a * d, b * c) if c > 0 else (-a * d, -b * c)


def _margin_exact(base: Ratio, share: Ratio) -> Ratio:
    a, b = base
    c, d = share
    return a * d + abs(a) * c, b * d


def _members(term: g.Gathered, values: _Values, place: Place) -> list[Ratio] | None:
    """The values of those that take part; None where one is not known."""
    found = []
    for part, value in zip(term.parts, values, strict=True):
        if part.guard is not None:
            taken = truth_over(part.guard, point(place))
            if taken is None:
                return None
            if not taken:
                continue
        if value is None:
            return None
        found.append(value)
    return found


def _total_exact(term: g.Total, values: _Values, place: Place) -> Ratio | None:
    members = _members(term, values, place)
    return None if members is None else reduce(_sum, members, (0, 1))


def _extreme_exact(sign: int) -> Callable[[g.Gathered, _Values, Place], Ratio | None]:
    def rule(term: g.Gathered, values: _Values, place: Place) -> Ratio | None:
        members = _members(term, values, place)
        if not members:
            return None
        best = members[0]
        for member in members[1:]:
            if sign * member[0] * best[1] < sign * best[0] * member[1]:
                best = member
        return best

    return rule


def _apply_exact(term: g.Apply, values: _Values, place: Place) -> Ratio | None:
    found = (
        term.function.at(*[Fraction(*value) for value in values if value is not None]) if None not in values else None
    )
    if found is None or found[0] != found[1] or not isinstance(found[0], Fraction):
        return None
    return found[0].as_integer_ratio()


def _lookup_exact(term: g.Lookup, values: _Values, place: Place) -> Ratio | None:
    if values[0] is None:
        return None
    x = Fraction(*values[0])
    if not term.points[0][0] <= x <= term.points[-1][0]:
        return None
    return read_table(term.points, x).as_integer_ratio()


def _select_exact(term: g.Select, values: _Values, place: Place) -> Ratio | None:
    taken = truth_over(term.condition, point(place))
    return None if taken is None else values[0 if taken else 1]


_TWO_EXACT: Mapping[type[g.Ground], Callable[[Ratio, Ratio], Ratio | None]] = {
    g.Add: _sum,
    g.Subtract: _subtract_exact,
    g.Multiply: _multiply_exact,
    g.Divide: _divide_exact,
    g.Margin: _margin_exact,
}
_EXACT: Mapping[type[g.Ground], _Rule] = {
    g.Constant: lambda term, values, place: term.value.as_integer_ratio(),
    g.Gap: lambda term, values, place: None,
    g.Negate: _known(lambda value: (-value[0], value[1])),
    g.Absolute: _known(lambda value: (abs(value[0]), value[1])),
    **{kind: _known(rule) for kind, rule in _TWO_EXACT.items()},
    g.Total: _total_exact,
    g.Least: _extreme_exact(1),
    g.Greatest: _extreme_exact(-1),
    g.Apply: _apply_exact,
    g.Lookup: _lookup_exact,
    g.Select: _select_exact,
}
