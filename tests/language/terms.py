"""Random ground terms over a few inputs, boxes of tolerances, and points in them."""

from __future__ import annotations

from fractions import Fraction

import attrs
from hypothesis import strategies as st

from limitrules.language import ground as g
from limitrules.language.exactly import Box, Range
from limitrules.language.functions import STANDARD

INPUTS = 3
Place = dict[int, Fraction]
NUMBERS = st.fractions(-20, 20, max_denominator=40) | st.sampled_from([Fraction(n) for n in (-1, 0, 1, 10**9, 10**-1)])
CONSTANTS = st.builds(g.Constant, NUMBERS)
INPUT = st.builds(g.Input, st.integers(0, INPUTS - 2))
RANGED = st.just(g.Ranged(INPUTS - 1, "packs.c.z"))


GAPS = st.builds(g.Gap, st.sampled_from(["packs.a.x", "packs.b.y"]))


def _table(xs: list[int], ys: list[Fraction]) -> tuple[tuple[Fraction, Fraction], ...]:
    return tuple((Fraction(x), y) for x, y in zip(sorted(xs), ys, strict=False))


TABLES = st.builds(
    _table,
    st.lists(st.integers(-20, 20), min_size=2, max_size=5, unique=True),
    st.lists(NUMBERS, min_size=5, max_size=5),
)


def _numeric(below: st.SearchStrategy[g.Numeric]) -> st.SearchStrategy[g.Numeric]:
    guard = st.none() | st.builds(g.Holds, below, st.booleans())
    parts = st.lists(st.builds(g.Part, below, guard), min_size=1, max_size=3).map(tuple)
    functions = st.sampled_from([STANDARD["sqrt"], STANDARD["exp"], STANDARD["ln"]])
    made: list[st.SearchStrategy[g.Numeric]] = [
        st.builds(g.Negate, below),
        st.builds(g.Absolute, below),
        st.builds(g.Add, below, below),
        st.builds(g.Subtract, below, below),
        st.builds(g.Multiply, below, below),
        st.builds(g.Divide, below, below),
        st.builds(g.Margin, below, below),
        st.builds(g.Total, parts),
        st.builds(g.Least, parts),
        st.builds(g.Greatest, parts),
        st.builds(g.Apply, functions, below.map(lambda item: (item,))),
        st.builds(g.Lookup, TABLES, below),
        st.builds(g.Select, st.builds(g.Holds, below, st.booleans()), below, below),
    ]
    return st.one_of(made)


NUMERIC: st.SearchStrategy[g.Numeric] = st.recursive(CONSTANTS | INPUT | INPUT | RANGED | GAPS, _numeric, max_leaves=8)


def _logical(below: st.SearchStrategy[g.Logical]) -> st.SearchStrategy[g.Logical]:
    parts = st.lists(below, min_size=1, max_size=3).map(tuple)
    return st.one_of(st.builds(g.All, parts), st.builds(g.Any, parts), st.builds(g.Contrary, below))


FIXED = st.sampled_from([g.Fixed(True), g.Fixed(False), g.Fixed(None, "packs.a.flag")])
LOGICAL: st.SearchStrategy[g.Logical] = st.recursive(
    st.builds(g.Holds, NUMERIC, st.booleans(), NUMERIC) | FIXED, _logical, max_leaves=4
)


def _range(one: Fraction, other: Fraction, exact: bool) -> Range:
    return (one, one) if exact else (min(one, other), max(one, other))


BOXES: st.SearchStrategy[Box] = st.lists(
    st.builds(_range, NUMBERS, NUMBERS, st.booleans()), min_size=INPUTS, max_size=INPUTS
).map(lambda ranges: dict(enumerate(ranges)))
SHARES = st.lists(st.fractions(0, 1, max_denominator=8), min_size=INPUTS, max_size=INPUTS)


def place_in(box: Box, shares: list[Fraction]) -> Place:
    """A point of a box: each share says how far up its range an input stands."""
    return {index: low + (high - low) * shares[index] for index, (low, high) in box.items()}


def filled(term: g.Ground, shares: dict[str, Fraction]) -> g.Ground:
    """The term with every gap replaced by one value it may have, every missing truth by yes or no."""
    if isinstance(term, g.Gap):
        return g.Constant(shares[term.path] * 1000)
    if isinstance(term, g.Fixed):
        return g.Fixed(term.value if term.value is not None else shares[term.path] >= 0)
    changed: dict[str, object] = {}
    for field in attrs.fields(type(term)):
        value = getattr(term, field.name)
        if isinstance(value, g.Ground):
            changed[field.name] = filled(value, shares)
        elif isinstance(value, tuple) and field.name != "points":
            changed[field.name] = tuple(_filled_item(item, shares) for item in value)
    return attrs.evolve(term, **changed)


def _filled_item(item: object, shares: dict[str, Fraction]) -> object:
    if isinstance(item, g.Part):
        value, guard = filled(item.value, shares), item.guard
        assert isinstance(value, g.Numeric)
        truth = filled(guard, shares) if guard is not None else None
        assert truth is None or isinstance(truth, g.Logical)
        return g.Part(value, truth, item.label)
    return filled(item, shares) if isinstance(item, g.Ground) else item


FILLINGS = st.fixed_dictionaries(
    {path: st.fractions(-1, 1, max_denominator=8) for path in ("packs.a.x", "packs.b.y", "packs.a.flag")}
)


# Terms whose extremes are known to lie at corners.


def _multilinear(products: list[tuple[Fraction, frozenset[int]]]) -> g.Numeric:
    total: g.Numeric = g.Constant(Fraction(0))
    for factor, inputs in products:
        product: g.Numeric = g.Constant(factor)
        for index in sorted(inputs):
            product = g.Multiply(product, g.Input(index))
        total = g.Add(total, product)
    return total


MULTILINEAR = st.lists(
    st.tuples(NUMBERS, st.frozensets(st.integers(0, INPUTS - 1), max_size=INPUTS)), min_size=1, max_size=5
).map(_multilinear)

_UP: st.SearchStrategy[g.Numeric] = CONSTANTS | INPUT


def _rising(below: st.SearchStrategy[g.Numeric]) -> st.SearchStrategy[g.Numeric]:
    factors = st.fractions(Fraction(1, 10), 10, max_denominator=20).map(g.Constant)
    parts = st.lists(st.builds(g.Part, below), min_size=1, max_size=3).map(tuple)
    cut = st.builds(
        lambda term: g.Apply(STANDARD["sqrt"], (g.Greatest((g.Part(term), g.Part(g.Constant(Fraction(0))))),)), below
    )
    return st.one_of(
        st.builds(g.Add, below, below),
        st.builds(g.Multiply, factors, below),
        st.builds(g.Least, parts),
        st.builds(g.Greatest, parts),
        st.builds(g.Total, parts),
        cut,
    )


RISING = st.recursive(_UP, _rising, max_leaves=8)
