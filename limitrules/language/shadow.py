"""Evaluation in floats, rounded outwards: fast, and never wrong about what it decides.

A term is turned once into closures over the (low, high) pairs of its inputs, by number. A numeric closure gives a
pair that encloses every value the term takes on the box; a logical one gives True or False where that holds on the
whole box, and None where it cannot tell.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from limitrules.language import ground as g
from limitrules.language import pairs
from limitrules.language.fused import LogicalShadow, NumericShadow, compared, fused
from limitrules.language.pairs import Floats, Pair

__all__ = ["LogicalShadow", "NumericShadow", "shadow_number", "shadow_truth"]


def shadow_number(term: g.Numeric) -> NumericShadow:
    """A closure that encloses the term's values over a box."""
    return fused(term, shadow_number, _general)


def _general(term: g.Numeric) -> NumericShadow:
    return _NUMERIC[type(term)](term)


def shadow_truth(term: g.Logical) -> LogicalShadow:
    """A closure that decides the term over a box where floats can."""
    return _LOGICAL[type(term)](term)


def _constant(term: g.Constant) -> NumericShadow:
    pair = pairs.pair_of(term.value, term.value)
    return lambda values: pair


def _input(term: g.Input) -> NumericShadow:
    index = term.index
    return lambda values: values[index]


def _single(operation: Callable[[Pair], Pair]) -> Callable[[g.Negate | g.Absolute], NumericShadow]:
    def build(term: g.Negate | g.Absolute) -> NumericShadow:
        value = shadow_number(term.value)
        return lambda values: operation(value(values))

    return build


def _binary(operation: Callable[[Pair, Pair], Pair]) -> Callable[[g.Binary], NumericShadow]:
    def build(term: g.Binary) -> NumericShadow:
        left, right = shadow_number(term.left), shadow_number(term.right)
        return lambda values: operation(left(values), right(values))

    return build


def _gathered(operation: Callable[[pairs.Taking], Pair]) -> Callable[[g.Gathered], NumericShadow]:
    def build(term: g.Gathered) -> NumericShadow:
        parts = [(shadow_number(part.value), shadow_truth(part.guard) if part.guard is not None else _always)
                 for part in term.parts]  # fmt: skip
        return lambda values: operation((value(values), guard(values)) for value, guard in parts)

    return build


def _always(values: Floats) -> bool:
    return True


def _apply(term: g.Apply) -> NumericShadow:
    function = term.function
    arguments = [shadow_number(argument) for argument in term.arguments]
    return lambda values: pairs.mended(*function.interval(*(argument(values) for argument in arguments)))


def _lookup(term: g.Lookup) -> NumericShadow:
    at, read = shadow_number(term.at), pairs.table(term.points)
    return lambda values: read(at(values))


def _select(term: g.Select) -> NumericShadow:
    condition, then, other = shadow_truth(term.condition), shadow_number(term.then), shadow_number(term.other)

    def evaluate(values: Floats) -> Pair:
        taken = condition(values)
        if taken is None:
            return pairs.either(then(values), other(values))
        return then(values) if taken else other(values)

    return evaluate


def _fixed(term: g.Fixed) -> LogicalShadow:
    value = term.value
    return lambda values: value


def _holds(term: g.Holds) -> LogicalShadow:
    headroom, strict = term.headroom, term.strict
    if isinstance(headroom, g.Subtract):
        return compared(headroom.left, headroom.right, strict, shadow_number)
    value = shadow_number(headroom)

    def evaluate(values: Floats) -> bool | None:
        low, high = value(values)
        if low > 0.0 or (low == 0.0 and not strict):
            return True
        if high < 0.0 or (high == 0.0 and strict):
            return False
        return None

    return evaluate


def _all(term: g.All) -> LogicalShadow:
    parts = [shadow_truth(part) for part in term.parts]

    def evaluate(values: Floats) -> bool | None:
        result: bool | None = True
        for part in parts:
            found = part(values)
            if found is False:
                return False
            if found is None:
                result = None
        return result

    return evaluate


def _any(term: g.Any) -> LogicalShadow:
    parts = [shadow_truth(part) for part in term.parts]

    def evaluate(values: Floats) -> bool | None:
        result: bool | None = False
        for part in parts:
            found = part(values)
            if found is True:
                return True
            if found is None:
                result = None
        return result

    return evaluate


def _contrary(term: g.Contrary) -> LogicalShadow:
    value = shadow_truth(term.value)

    def evaluate(values: Floats) -> bool | None:
        found = value(values)
        return None if found is None else not found

    return evaluate


_NUMERIC: Mapping[type[g.Ground], Callable[[Any], NumericShadow]] = {
    g.Constant: _constant,
    g.Input: _input,
    g.Ranged: _input,
    g.Gap: lambda term: lambda values: pairs.ANYTHING,
    g.Negate: _single(pairs.negated),
    g.Absolute: _single(pairs.absolute),
    g.Add: _binary(pairs.added),
    g.Subtract: _binary(pairs.subtracted),
    g.Multiply: _binary(pairs.multiplied),
    g.Divide: _binary(pairs.divided),
    g.Margin: _binary(pairs.with_margin),
    g.Total: _gathered(pairs.total),
    g.Least: _gathered(pairs.least),
    g.Greatest: _gathered(pairs.greatest),
    g.Apply: _apply,
    g.Lookup: _lookup,
    g.Select: _select,
}
_LOGICAL: Mapping[type[g.Ground], Callable[[Any], LogicalShadow]] = {
    g.Fixed: _fixed,
    g.Holds: _holds,
    g.All: _all,
    g.Any: _any,
    g.Contrary: _contrary,
}
