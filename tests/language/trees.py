"""Random trees: any that can be written at all, and typed ones that can be checked and evaluated."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import TypeVar

import attrs
from hypothesis import strategies as st

from limitrules.foundation.units import UNITS, parse_unit, unit_for
from limitrules.language import nodes as n
from limitrules.language.nodes import Node

Made = TypeVar("Made", bound=Node)
_UNITS = [unit_for(UNITS["%"].dimension), *(parse_unit(text) for text in ("A", "%", "degC", "K", "mohm", "A/s", "1/h"))]
NAMES = st.sampled_from(["p", "q", "c", "margin", "packs", "site", "over", "at", "order", "in_use", "notch", "_x", "K"])
MEMBERS = st.sampled_from(["charge", "ceiling", "cell", "in", "over", "and", "no", "yes", "feeds", "protection"])


def at(build: Callable[..., Made], *parts: st.SearchStrategy[object]) -> st.SearchStrategy[Made]:
    """Nodes of one kind, without a place in any text."""
    return st.builds(lambda *found: build(0, 0, *found), *parts)


def _literal(digits: str, unit: int, below: bool) -> n.Literal:
    chosen = _UNITS[unit]
    digits = f"-{digits}" if below and chosen.is_temperature else digits
    return n.Literal(0, 0, digits, chosen, chosen.to_si(Fraction(digits)))


_DIGITS = st.sampled_from(["0", "1", "96", "0.25", "1.50", "1.5e3", "2e-3"])
LITERALS = st.builds(_literal, _DIGITS, st.integers(0, len(_UNITS) - 1), st.booleans())
_WORDS = st.text(st.characters(blacklist_characters='"\n', blacklist_categories=["Cs"]), max_size=8)
LEAVES: st.SearchStrategy[Node] = st.one_of(LITERALS, at(n.Name, NAMES), at(n.YesNo, st.booleans()), at(n.Word, _WORDS))


def _as_read(node: Node) -> Node:
    """The node, or its part where the parser reads something else: `-14 degC` is one literal, `3.x` none."""
    if isinstance(node, n.Negative) and isinstance(node.value, n.Literal):
        is_one = node.value.unit.is_temperature and not node.value.digits.startswith("-")
        return node.value if is_one else node
    if isinstance(node, n.Member) and isinstance(node.base, n.Literal):
        return node if node.base.unit.symbol != "1" else node.base
    return node


def _tuples(below: st.SearchStrategy[Node], least: int) -> st.SearchStrategy[tuple[Node, ...]]:
    return st.lists(below, min_size=least, max_size=3).map(tuple)


def _above(below: st.SearchStrategy[Node]) -> st.SearchStrategy[Node]:
    perhaps = st.none() | below
    gathered = st.sampled_from(["total", "lowest", "highest"])
    made: list[st.SearchStrategy[Node]] = [
        at(n.Member, below, MEMBERS),
        at(n.Negative, below),
        at(n.Arithmetic, st.sampled_from("+-*/"), below, below),
        at(n.Margin, st.sampled_from(["less", "plus", "plus or minus"]), below, below),
        at(n.Assume, below, below),
        at(n.Call, st.sampled_from(["min", "sqrt", "over"]), _tuples(below, 1)),
        at(n.ReadAt, below, below),
        at(n.Compare, st.sampled_from(sorted(n.COMPARISONS)), below, below),
        at(n.Between, below, below, below),
        at(n.Within, below, below, below),
        at(n.State, below, st.sampled_from(n.STATES)),
        at(n.Belongs, below, below),
        at(n.Opposite, below),
        at(n.AllOf, _tuples(below, 2)),
        at(n.AnyOf, _tuples(below, 2)),
        at(n.Choose, below, below, below),
        at(n.Quantified, st.sampled_from(["every", "some", "no"]), NAMES, below, perhaps, below),
        at(n.Aggregate, gathered | st.just("count"), NAMES, below, below, perhaps),
        at(n.Listed, gathered, _tuples(below, 2)),
    ]
    return st.one_of(made).map(_as_read)


TREES = st.recursive(LEAVES, _above, max_leaves=12)


def shape(node: object) -> object:
    """A tree without its places, to be compared."""
    if not isinstance(node, Node):
        return node.symbol if hasattr(node, "symbol") else node
    fields = [getattr(node, item.name) for item in attrs.fields(type(node)) if item.name not in ("start", "end")]
    return (
        type(node).__name__,
        *(tuple(map(shape, item)) if isinstance(item, tuple) else shape(item) for item in fields),
    )


# Typed texts over the small vocabulary.

_CURRENTS = st.sampled_from(
    [
        "p.charge.ceiling",
        "p.charge.rated",
        "q.charge.rated",
        "q.charge.ceiling",
        "c.charge.ceiling",
        "f.rating",
        "96 A",
        "0 A",
        "1.5 A",
        "p.protection.charge_current.threshold",
        "q.charge.configured",
        "total of x.charge.ceiling over x in c.feeds where x.enabled",
        "lowest of x.charge.ceiling over x in packs",
    ]
)
_SHARES = st.sampled_from(
    [
        "p.soc",
        "q.soh",
        "25 %",
        "c.voltage.error",
        "p.charge.ceiling / p.charge.rated",
        "p.factor - 2",
        "margin",
        "p.cell.derating at p.temperature.max",
        "p.cell.derating at site.ambient.min",
    ]
)
_FLAGS = st.sampled_from(
    [
        "p.enabled",
        "q.enabled",
        "p.locked",
        "yes",
        "no",
        "p in c.feeds",
        "p.charge.rated is stated",
        'p.cell.chemistry equals "lfp"',
        "q.soh is measured",
    ]
)


def _join(pattern: str, *parts: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.tuples(*parts).map(lambda found: pattern.format(*(f"({part})" for part in found)))


def _currents(below: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.one_of(
        _join("{} + {}", below, below),
        _join("{} - {}", below, below),
        _join("{} * {}", below, _SHARES),
        _join("{} / {}", below, _SHARES),
        _join("{} less {}", below, _SHARES),
        _join("{} plus {}", below, below),
        _join("{} plus or minus {}", below, st.just("3 %")),
        _join("-{}", below),
        _join("abs({})", below),
        _join("min({}, {})", below, below),
        _join("highest of ({}, {})", below, below),
        _join("{} otherwise {}", below, below),
        _join("if {} then {} else {}", _FLAGS, below, below),
        _join("if {} above {} then {} else {}", below, below, below, below),
        _join("{} * sqrt({} / 1 A)", below, below),
    )


CURRENTS = st.recursive(_CURRENTS, _currents, max_leaves=5)
_COMPARED = st.sampled_from(["at or below", "at or above", "below", "above", "equals", "differs from"])
_COMPARISONS = st.one_of(
    st.tuples(CURRENTS, _COMPARED, CURRENTS).map(lambda found: "({}) {} ({})".format(*found)),
    _join("{} between {} and {}", CURRENTS, CURRENTS, CURRENTS),
    _join("{} within {} of {}", CURRENTS, CURRENTS, CURRENTS),
    st.just("every x in packs where x.enabled: x.charge.ceiling below 96 A"),
    st.just("no x in packs: x.charge.rated above 104 A"),
    st.just("some y in p.fuses: y.rating above 130 A"),
)


def _conditions(below: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.one_of(
        _join("{} and {}", below, below),
        _join("{} or {}", below, below),
        _join("not {}", below),
        _join("if {} then {} else {}", below, below, below),
        _join("{} equals {}", below, below),
    )


CONDITIONS = st.recursive(_COMPARISONS | _FLAGS, _conditions, max_leaves=4)
