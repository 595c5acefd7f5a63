"""Random systems and rules for them, typed by construction and made of small choices, so that failures shrink."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from typing import TypeVar

from attrs import define, field, frozen
from hypothesis import strategies as st

from tests.exact.oracle import SIGNS, GeneratedRule, Place, Term, inputs_of, number
from tests.exact.world import Curve, Given, World, decimal

_Made = TypeVar("_Made")

# What may be read of a kind, by dimension: paths with the units they may be written in.
ATTRIBUTES: Mapping[str, Mapping[str, Mapping[str, tuple[str, ...]]]] = {
    "pack": {
        "A": {"charge.rated": ("A", "mA"), "charge.ceiling": ("A", "mA"), "discharge.ceiling": ("A",),
              "protection.charge_current.threshold": ("A",)},
        "V": {"voltage.ceiling": ("V", "mV"), "voltage.measured": ("V",)},
        "ohm": {"resistance.pulse": ("ohm", "mohm")},
        "1": {"soc.now": ("%",), "resistance.growth": ("",), "cells_series": ("count",)},
        "W": {"charge.power.rated": ("W", "kW")},
        "T": {"temperature.max": ("degC",)},
    },
    "cell": {"V": {"voltage.charge_max": ("V",)}, "ohm": {"resistance.pulse": ("mohm",)}},
    "converter": {
        "A": {"charge.ceiling": ("A",), "discharge.ceiling": ("A",)},
        "V": {"voltage.target": ("V",)},
        "ohm": {"lead.resistance": ("ohm", "mohm")},
        "1": {"voltage.error": ("%",)},
        "W": {"power.ceiling": ("W", "kW")},
    },
    "site": {"A": {"bank.charge.ceiling": ("A",)}, "V": {"dc.voltage.max": ("V",)}, "1": {"reserve.floor": ("%",)},
             "T": {"ambient.max": ("degC",)}},
}  # fmt: skip
# Curves by kind: path, unit over, unit of, and the dimensions they run over and give.
CURVES: Mapping[str, tuple[tuple[str, str, str, str, str], ...]] = {
    "pack": (("charge.derating.soc", "%", "", "1", "1"), ("charge.derating.temperature", "degC", "", "T", "1")),
    "cell": (("rest_voltage", "%", "V", "1", "V"),),
    "converter": (("efficiency.curve", "W", "%", "W", "1"),),
}
SMALLEST, LARGEST = 5, 45
_SIZES = {"A": 200, "mA": 200_000, "V": 60, "mV": 60_000, "ohm": 2, "mohm": 900, "W": 4000, "kW": 12, "%": 100,
          "": 3, "degC": 45}  # fmt: skip
_FORMS = (*(("exact", "exact", "share", "share", "share", "amount", "range", "long") * 8), "unknown", "ranged", "none")
_SPREADS = (Fraction(3, 2), Fraction(5), Fraction(1, 10), Fraction(0), Fraction(30), Fraction(100))


@st.composite
def givens(draw: st.DrawFn, units: tuple[str, ...]) -> Given | None:
    """A value as a document may state it; None where it says nothing."""
    unit = draw(st.sampled_from(units)) if len(units) > 1 else units[0]
    if unit == "count":
        made = draw(st.sampled_from(["exact"] * 29 + ["unknown"]))
        return Given(made, Fraction(draw(st.integers(1, 24))), Fraction(0), "")
    form = draw(st.sampled_from(_FORMS))
    if form == "none":
        return None
    size = _SIZES[unit]
    nominal = Fraction(draw(st.integers(0, 20)), 20) * size
    if draw(st.integers(0, 7)) == 7:
        nominal += Fraction(draw(st.integers(0, 99)), 1000) * size
    if form in ("share", "long") and unit in ("%", "degC"):
        form = "amount"
    spread = draw(st.sampled_from(_SPREADS))
    if form in ("amount", "range", "ranged"):
        spread = spread * size / 400
    return Given(form, nominal, spread, unit)


@st.composite
def curves(draw: st.DrawFn, over: str, of: str) -> Curve:
    count = draw(st.integers(2, 5))
    xs = sorted(draw(st.lists(st.integers(0, 20), min_size=count, max_size=count, unique=True)))
    ys = [Fraction(draw(st.integers(0, 20)), 20) * _SIZES[of] for _ in xs]
    tolerance = draw(st.sampled_from([Fraction(0), Fraction(0), Fraction(2)]))
    points = tuple((Fraction(x, 20) * _SIZES[over], y) for x, y in zip(xs, ys, strict=True))
    return Curve(points, over, of, tolerance, of != "%")


@st.composite
def worlds(draw: st.DrawFn) -> World:
    """One to three packs, a converter that feeds some of them, their cell and the site."""
    ids = ["north", "south", "east"][: draw(st.integers(1, 3))]
    kinds = {"site": "site", "cells.plain": "cell", **{f"packs.{name}": "pack" for name in ids},
             "converters.main": "converter"}  # fmt: skip
    values: dict[str, dict[str, Given]] = {}
    found: dict[str, Curve] = {}
    for path, kind in kinds.items():
        values[path] = {}
        for attributes in ATTRIBUTES[kind].values():
            for name, units in attributes.items():
                given = draw(givens(units))
                if given is not None:
                    values[path][name] = given
        for name, over, of, _, _ in CURVES.get(kind, ()):
            if draw(st.integers(0, 19)) < 19:
                found[f"{path}.{name}"] = draw(curves(over, of))
    feeds = [f"packs.{name}" for name in ids[: draw(st.integers(1, len(ids)))]]
    return World(values, found, tuple(feeds))


ABOUT: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    ("each converter c, each pack p in c.feeds", (("c", "converter"), ("p", "pack"))),
    ("each pair p, q in packs", (("p", "pack"), ("q", "pack"))),
    ("the site", (("site", "site"),)),
)


@frozen
class Scope:
    """The names that may be spoken of, with their kinds, and how many collections enclose the place."""

    names: tuple[tuple[str, str], ...]
    depth: int = 0

    def within(self, name: str) -> Scope:
        return Scope(((name, "pack"), *self.names), self.depth + 1)

    def owners(self, table: Mapping[str, object]) -> list[tuple[str, str]]:
        """Names with the kinds whose attributes they lead to: a pack leads to its cell as well."""
        found = [*self.names, *((name, "cell") for name, kind in self.names if kind == "pack")]
        return [(name, kind) for name, kind in dict.fromkeys([*found, ("site", "site")]) if kind in table]


@define
class Maker:
    """Makes the phrases of one rule."""

    draw: st.DrawFn
    world: World
    names: Mapping[str, str]
    lets: list[tuple[str, str, Term]] = field(factory=list)
    made: int = 0

    def pick(self, items: Sequence[_Made]) -> _Made:
        return items[self.draw(st.integers(0, len(items) - 1))] if len(items) > 1 else items[0]

    def chance(self, one_in: int) -> bool:
        """Rarely true, so that failures shrink to what is plain."""
        return self.draw(st.integers(0, one_in - 1)) == one_in - 1

    def shares(self, size: int, count: int) -> list[int]:
        """A size divided among several phrases."""
        found = []
        for left in range(count, 1, -1):
            part = self.draw(st.integers(1, max(1, size - left + 1)))
            found.append(part)
            size -= part
        return [*found, max(1, size)]

    # numbers

    def number(self, due: str, size: int, scope: Scope) -> Term:
        """A number of a dimension, of about so many phrases."""
        if size <= 1:
            return self.leaf(due, scope)
        made = self.pick(_WAYS[due])(self, due, size - 1, scope)
        if scope.depth == 0 and due != "T" and 2 < made.size < 8 and len(self.lets) < 2 and self.chance(12):
            made = Term("let", (made,), (f"part{len(self.lets)}",))
            self.lets.append((due, made.note[0], made))
        return made

    def leaf(self, due: str, scope: Scope) -> Term:
        known = [term for kind, _, term in self.lets if kind == due]
        if known and self.chance(2):
            return self.pick(known)
        return self.figure(due) if self.chance(5) else self.value(due, scope) or self.figure(due)

    def value(self, due: str, scope: Scope) -> Term | None:
        owners = [(name, kind, path) for name, kind in scope.owners(ATTRIBUTES)
                  for path in ATTRIBUTES[kind].get(due, ())]  # fmt: skip
        if not owners:
            return None
        name, kind, path = self.pick(owners)
        return Term("value", (), (name, f"cell.{path}" if kind == "cell" else path))

    def figure(self, due: str, bare: bool = True) -> Term:
        if due == "1" and bare and self.chance(3):
            return Term("figure", (), (self.pick(["0.5", "1", "0.85", "0"]), ""))
        unit = {"1": "%", "T": "degC"}.get(due, due)
        if due != "T" and self.chance(6):
            unit = {"A": "mA", "V": "mV", "ohm": "mohm", "W": "kW"}.get(due, unit)
        text = decimal(Fraction(self.draw(st.integers(0, 40)), 40) * _SIZES[unit])
        assert text is not None
        return Term("figure", (), (text, unit))

    def gathered(self, due: str, size: int, scope: Scope, words: Sequence[str]) -> Term:
        count = 2 + self.chance(3)
        return Term(self.pick(words), tuple(self.number(due, part, scope) for part in self.shares(size, count)))

    def pair(self, word: str, dues: tuple[str, str], size: int, scope: Scope) -> Term:
        one, other = self.shares(size, 2)
        return Term(word, (self.number(dues[0], one, scope), self.number(dues[1], other, scope)))

    def margin(self, due: str, size: int, scope: Scope) -> Term:
        word = self.pick(["less", "plus"])
        if due == "1" or self.chance(3):
            one, other = self.shares(size, 2)
            amount = self.number(due, other, scope)
            if due != "1":
                return Term(word, (self.number(due, one, scope), amount), ("amount",))
            return Term("+" if word == "plus" else "-", (self.number(due, one, scope), amount))
        if self.chance(4):
            share = self.value("1", scope) or self.figure("1", bare=False)
        else:
            share = self.figure("1", bare=False)
        return Term(word, (self.number(due, size, scope), share), ("share",))

    def error(self, due: str, size: int, scope: Scope) -> Term:
        """A value with the error of the device that reads it, or an amount that is the error of a device."""
        stated = self.value("1", scope) if self.chance(3) else None
        if stated is not None:
            return Term("plus or minus", (self.number(due, size, scope), stated), ("share",))
        base = self.value(due, scope)
        if base is None:
            return self.leaf(due, scope)
        if self.chance(2):
            return Term("plus or minus", (base, self.figure(due)), ("amount",))
        return Term("plus or minus", (base, self.figure("1", bare=False)), ("share",))

    def otherwise(self, due: str, size: int, scope: Scope) -> Term:
        value = self.value(due, scope)
        return Term("otherwise", (value, self.number(due, size, scope))) if value else self.leaf(due, scope)

    def chosen(self, due: str, size: int, scope: Scope) -> Term:
        if size < 5:
            return self.gathered(due, size, scope, ("min", "max"))
        condition, then, other = self.shares(size, 3)
        condition = max(condition, 3)
        return Term("if", (self.compared(condition, scope), self.number(due, then, scope),
                           self.number(due, other, scope)))  # fmt: skip

    def over(self, due: str, size: int, scope: Scope, words: Sequence[str]) -> Term:
        if scope.depth > 1:
            return self.gathered(due, size, scope, ("min", "max"))
        name = "xy"[scope.depth]
        inner = scope.within(name)
        note = (name, self.collection(scope))
        if size >= 5 and self.chance(2):
            body, where = self.shares(size, 2)
            return Term(self.pick(words), (self.number(due, body, inner), self.compared(max(where, 3), inner)), note)
        return Term(self.pick(words), (self.number(due, size, inner),), note)

    def collection(self, scope: Scope) -> str:
        return self.pick(["packs", "c.feeds"]) if ("c", "converter") in scope.names else "packs"

    def count(self, due: str, size: int, scope: Scope) -> Term:
        if scope.depth > 1 or size < 3:
            return self.leaf(due, scope)
        name = "xy"[scope.depth]
        return Term("count over", (self.compared(size, scope.within(name)),), (name, self.collection(scope)))

    def reading(self, due: str, size: int, scope: Scope) -> Term:
        found = [(name, kind, item) for name, kind in scope.owners(CURVES) for item in CURVES[kind] if item[4] == due]
        if not found:
            return self.leaf(due, scope)
        name, kind, (path, _, _, over, _) = self.pick(found)
        return Term("curve", (self.number(over, min(size, 3), scope),),
                    (name, f"cell.{path}" if kind == "cell" else path))  # fmt: skip

    # conditions

    def truth(self, size: int, scope: Scope) -> Term:
        """A condition of about so many phrases."""
        if size < 8:
            return self.compared(size, scope)
        way = self.draw(st.integers(0, 9))
        if way < 4:
            return self.compared(size, scope)
        if way < 6:
            word = self.pick(["and", "or"])
            return Term(word, tuple(self.truth(part, scope) for part in self.shares(size - 1, 2 + self.chance(4))))
        if way == 6:
            return Term("not", (self.truth(size - 1, scope),))
        if way == 7:
            condition, then, other = self.shares(size - 1, 3)
            return Term("if holds", (self.truth(condition, scope), self.truth(then, scope), self.truth(other, scope)))
        return self.quantified(size, scope)

    def quantified(self, size: int, scope: Scope) -> Term:
        if scope.depth > 1:
            return self.compared(size, scope)
        name = "xy"[scope.depth]
        inner, note = scope.within(name), (name, self.collection(scope))
        word = self.pick(["every", "some", "no"])
        if self.chance(3):
            body, where = self.shares(size - 1, 2)
            return Term(word, (self.truth(body, inner), self.compared(where, inner)), note)
        return Term(word, (self.truth(size - 1, inner),), note)

    def compared(self, size: int, scope: Scope) -> Term:
        """A comparison; now and then one that is a tie on purpose."""
        if self.chance(40) and (value := self.value("A", scope)) is not None:
            return Term(self.pick(["is stated", "is missing"]), (), value.note)
        due = self.pick(["A", "A", "V", "1", "ohm", "W", "A", "T"])
        way = self.draw(st.integers(0, 11))
        if way == 11:
            parts = self.shares(size - 1, 3)
            if self.chance(2) and due != "T":
                return Term("within", tuple(self.number(due, part, scope) for part in parts))
            return Term("between", tuple(self.number(due, part, scope) for part in parts))
        word = self.pick([*SIGNS, *SIGNS, "equals", "differs from"])
        if way in (8, 9, 10):
            left = self.number(due, size - 1, scope)
            tied = self.tied(left, due) if way < 10 else self.turned(left)
            if tied is not None:
                return Term(word, (left, tied) if self.chance(2) else (tied, left))
        one, other = self.shares(size - 1, 2)
        return Term(word, (self.number(due, one, scope), self.number(due, other, scope)))

    def tied(self, left: Term, due: str) -> Term | None:
        """A figure that is exactly what the left side is at some corner of the tolerances."""
        names = {**self.names, "x": self.world.packs[0], "y": self.world.packs[-1]}
        inputs = inputs_of(left, self.world, names)
        turn = self.draw(st.integers(0, 15))
        values = {key: ends[turn >> place % 4 & 1] for place, (key, ends) in enumerate(inputs.ranges.items())}
        low, high = number(left, Place(self.world, names, values))
        if low != high or not isinstance(low, Fraction):
            return None
        unit = {"1": "%", "T": "degC"}.get(due, due)
        shown = low * 100 if due == "1" else low - Fraction(27315, 100) if due == "T" else low
        text = decimal(abs(shown))
        if text is None or (due == "T" and shown < 0) or len(text) > 20:
            return None
        figure = Term("figure", (), (text, unit))
        return figure if shown >= 0 else Term("negative", (figure,))

    def turned(self, left: Term) -> Term | None:
        """The same value in other words."""
        if left.word in ("+", "*"):
            return Term(left.word, (left.parts[1], left.parts[0]))
        if left.word == "-":
            return Term("negative", (Term("-", (left.parts[1], left.parts[0])),))
        return left


Way = Callable[[Maker, str, int, Scope], Term]


def _joined(word: str, *dues: str) -> Way:
    def way(maker: Maker, due: str, size: int, scope: Scope) -> Term:
        return maker.pair(word, (dues[0] if dues else due, dues[1] if dues else due), size, scope)

    return way


def _gathered(*words: str) -> Way:
    return lambda maker, due, size, scope: maker.gathered(due, size, scope, words)


def _alone(word: str) -> Way:
    return lambda maker, due, size, scope: Term(word, (maker.number(due, size, scope),))


def _over(*words: str) -> Way:
    return lambda maker, due, size, scope: maker.over(due, size, scope, words)


# The ways to make a number of each dimension, plain ones first: a failure shrinks towards them.
_ANY: tuple[Way, ...] = (
    _gathered("min", "max"),
    Maker.chosen,
    _gathered("lowest of", "highest of"),
    _over("lowest over", "highest over"),
    Maker.otherwise,
)
_PLAIN: tuple[Way, ...] = (
    _joined("+"), _joined("-"), *_ANY, Maker.margin, Maker.margin, Maker.error, _alone("abs"), _over("total over"),
    _gathered("total of"), _alone("negative"),
)  # fmt: skip


def _scaled(due: str) -> tuple[Way, ...]:
    return _joined("*", due, "1"), _joined("/", due, "1"), _joined("*", "1", due)


_WAYS: Mapping[str, tuple[Way, ...]] = {
    "A": (*_PLAIN, *_scaled("A"), _joined("/", "V", "ohm"), _joined("/", "W", "V")),
    "V": (*_PLAIN, *_scaled("V"), _joined("*", "A", "ohm"), _joined("/", "W", "A"), Maker.reading, Maker.reading),
    "ohm": (*_PLAIN, *_scaled("ohm"), _joined("/", "V", "A")),
    "W": (*_PLAIN, *_scaled("W"), _joined("*", "V", "A"), _joined("*", "A", "V")),
    "1": (
        _joined("+"), _joined("-"), *_ANY, _alone("abs"), _joined("*", "1", "1"), _joined("/", "A", "A"),
        _joined("/", "V", "V"), Maker.reading, Maker.reading, Maker.reading, Maker.count, _joined("/", "1", "1"),
        _over("total over"),
    ),
    "T": _ANY,
}  # fmt: skip


@st.composite
def rules(draw: st.DrawFn, world: World, scoped: bool = True, pairs: bool = True) -> GeneratedRule:
    """A rule for a system, of 5 to 45 phrases; ``scoped`` allows a `when`."""
    is_pair = pairs and len(world.packs) > 1
    about, subjects = draw(st.sampled_from((*ABOUT[:1] * 2, *(ABOUT[1:] if is_pair else ABOUT[2:]))))
    bound = GeneratedRule(about, subjects, Term("yes")).bindings(world)[0]
    maker, scope = Maker(draw, world, bound), Scope(subjects)
    when = None
    if scoped and maker.chance(10):
        when = maker.compared(draw(st.integers(3, 8)), scope)
    size, lone = draw(st.integers(5, 45)), maker.chance(2)
    require = maker.compared(size, scope) if lone else maker.truth(size, scope)
    if not SMALLEST <= require.size <= LARGEST:
        require = maker.compared(10, scope)
    return GeneratedRule(about, subjects, require, when)


@st.composite
def cases(
    draw: st.DrawFn, count: int = 5, scoped: bool = True, pairs: bool = True
) -> tuple[World, list[GeneratedRule]]:
    """A system with rules for it."""
    world = draw(worlds())
    made = [draw(rules(world, scoped, pairs)) for _ in range(count)]
    return world, made
