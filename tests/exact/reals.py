"""A rule as a formula over the reals, for a solver: what holds at no point can then be proved, and not only sampled.

Every missing or undefined number is a variable of its own that may be anything, every untellable truth likewise.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest

from tests.exact.oracle import SIGNS, Names, Place, Term, error_key, taken
from tests.exact.world import World, in_si

z3: Any = pytest.importorskip("z3")


class Formula:
    """The terms of one finding as formulas; ``limits`` are the ranges of what they read."""

    def __init__(self, world: World, names: Names) -> None:
        self.start = Place(world, names, {})
        self.limits: dict[str, Any] = {}
        self._free = 0

    def can_be(self, condition: Any, milliseconds: int) -> bool | None:
        """Whether some point inside the tolerances makes the condition hold; None where time ran out."""
        solver = z3.Solver()
        solver.set("timeout", milliseconds)
        for limit in self.limits.values():
            solver.add(limit)
        solver.add(condition)
        found = solver.check()
        return None if found == z3.unknown else bool(found == z3.sat)

    def value(self, fraction: Fraction) -> Any:
        return z3.RealVal(f"{fraction.numerator}/{fraction.denominator}")

    def _anything(self) -> Any:
        self._free += 1
        return z3.Real(f"anything {self._free}")

    def _perhaps(self) -> Any:
        self._free += 1
        return z3.Bool(f"perhaps {self._free}")

    def _variable(self, key: str, low: Fraction, high: Fraction) -> Any:
        if low == high:
            return self.value(low)
        variable = z3.Real(key)
        self.limits[key] = z3.And(variable >= self.value(low), variable <= self.value(high))
        return variable

    # numbers

    def number(self, term: Term, place: Place | None = None) -> Any:
        place = place or self.start
        rule = getattr(self, _RULES.get(term.word, ""), None)
        if rule is not None:
            return rule(term, place)
        parts = [self.number(part, place) for part in term.parts]
        return _JOINS[term.word](parts)

    def figure(self, term: Term, place: Place) -> Any:
        return self.value(in_si(Fraction(term.note[0]), term.note[1]))

    def read(self, term: Term, place: Place) -> Any:
        key = place.key(term.note[0], term.note[1])
        given = place.world.given(key)
        if given is None or given.range is None:
            return z3.Real(key)
        return self._variable(key, *given.range)

    def quotient(self, term: Term, place: Place) -> Any:
        above, below = (self.number(part, place) for part in term.parts)
        found = self._anything()
        # A solver's own quotient by zero would be the same for every numerator.
        self.limits[str(found)] = z3.Implies(below != 0, found * below == above)
        return found

    def amount(self, term: Term, place: Place) -> Any:
        base, amount = (self.number(part, place) for part in term.parts)
        return z3.If(base >= 0, base, -base) * amount if term.note[0] == "share" else amount

    def raised(self, term: Term, place: Place) -> Any:
        return self.number(term.parts[0], place) + self.amount(term, place)

    def lowered(self, term: Term, place: Place) -> Any:
        return self.number(term.parts[0], place) - self.amount(term, place)

    def with_error(self, term: Term, place: Place) -> Any:
        error = self._variable(error_key(term, place), Fraction(-1), Fraction(1))
        return self.number(term.parts[0], place) + self.amount(term, place) * error

    def otherwise(self, term: Term, place: Place) -> Any:
        return self.number(taken(term, place), place)

    def chosen(self, term: Term, place: Place) -> Any:
        return z3.If(self.truth(term.parts[0], place), *(self.number(part, place) for part in term.parts[1:]))

    def curve(self, term: Term, place: Place) -> Any:
        key = place.key(term.note[0], term.note[1])
        curve = place.world.curves.get(key)
        if curve is None:
            return self._anything()
        table, at = curve.table, self.number(term.parts[0], place)
        found = self._anything()
        for (x0, y0), (x1, y1) in reversed(list(pairwise(table))):
            line = self.value(y0) + self.value((y1 - y0) / (x1 - x0)) * (at - self.value(x0))
            found = z3.If(z3.And(at >= self.value(x0), at <= self.value(x1)), line, found)
        error = self._variable(f"{key}.tolerance", -curve.error, curve.error)
        return found + (z3.If(found >= 0, found, -found) * error if curve.is_share else error)

    def _members(self, term: Term, place: Place) -> list[tuple[Place, Any]]:
        members = place.members(term.note[0], term.note[1])
        return [(member, self.truth(term.parts[1], member) if len(term.parts) > 1 else z3.BoolVal(True))
                for member in members]  # fmt: skip

    def total_over(self, term: Term, place: Place) -> Any:
        total = self.value(Fraction(0))
        for member, takes_part in self._members(term, place):
            total = total + z3.If(takes_part, self.number(term.parts[0], member), self.value(Fraction(0)))
        return total

    def extreme_over(self, term: Term, place: Place) -> Any:
        found, some = self._anything(), z3.BoolVal(False)
        for member, takes_part in self._members(term, place):
            value = self.number(term.parts[0], member)
            further = value < found if term.word == "lowest over" else value > found
            found = z3.If(z3.And(takes_part, z3.Or(z3.Not(some), further)), value, found)
            some = z3.Or(some, takes_part)
        return found

    def count_over(self, term: Term, place: Place) -> Any:
        one, nought = self.value(Fraction(1)), self.value(Fraction(0))
        members = place.members(term.note[0], term.note[1])
        return sum((z3.If(self.truth(term.parts[0], member), one, nought) for member in members), start=nought)

    # truths

    def distance(self, term: Term) -> Any:
        """The headroom of a lone comparison."""
        parts = [self.number(part) for part in term.parts]
        if term.word == "within":
            return parts[1] - _size(parts[0] - parts[2])
        if term.word in SIGNS:
            return (parts[0] - parts[1]) * SIGNS[term.word][0]
        apart = _size(parts[0] - parts[1])
        return -apart if term.word == "equals" else apart

    def truth(self, term: Term, place: Place | None = None) -> Any:
        place = place or self.start
        if term.word in ("every", "some", "no"):
            return self._quantified(term, place)
        if term.word in ("is stated", "is missing"):
            given = place.world.given(place.key(term.note[0], term.note[1]))
            return z3.BoolVal((given is not None and not given.is_open) == (term.word == "is stated"))
        if term.word in _COMPARED:
            return _COMPARED[term.word](*(self.number(part, place) for part in term.parts))
        parts = [self.truth(part, place) for part in term.parts]
        if term.word == "if holds":
            return z3.If(*parts)
        if term.word == "not":
            return z3.Not(parts[0])
        return z3.And(parts) if term.word == "and" else z3.Or(parts)

    def _quantified(self, term: Term, place: Place) -> Any:
        members = [(takes_part, self.truth(term.parts[0], member)) for member, takes_part in self._members(term, place)]
        some = z3.Or([z3.And(takes_part, body) for takes_part, body in members])
        if term.word == "some":
            return some
        looked_at = z3.Or([*(takes_part for takes_part, _ in members), self._perhaps()])
        every = z3.And([z3.Implies(takes_part, body) for takes_part, body in members])
        return z3.And(looked_at, every if term.word == "every" else z3.Not(some))


def _size(value: Any) -> Any:
    return z3.If(value >= 0, value, -value)


def _least(parts: list[Any]) -> Any:
    found = parts[0]
    for part in parts[1:]:
        found = z3.If(part < found, part, found)
    return found


def _most(parts: list[Any]) -> Any:
    found = parts[0]
    for part in parts[1:]:
        found = z3.If(part > found, part, found)
    return found


_JOINS: dict[str, Callable[[list[Any]], Any]] = {
    "let": lambda parts: parts[0],
    "negative": lambda parts: -parts[0],
    "+": lambda parts: parts[0] + parts[1],
    "-": lambda parts: parts[0] - parts[1],
    "*": lambda parts: parts[0] * parts[1],
    "abs": lambda parts: _size(parts[0]),
    "min": _least,
    "max": _most,
    "lowest of": _least,
    "highest of": _most,
    "total of": lambda parts: sum(parts[1:], start=parts[0]),
}
_RULES = {
    "figure": "figure",
    "value": "read",
    "/": "quotient",
    "plus": "raised",
    "less": "lowered",
    "plus or minus": "with_error",
    "otherwise": "otherwise",
    "if": "chosen",
    "curve": "curve",
    "total over": "total_over",
    "lowest over": "extreme_over",
    "highest over": "extreme_over",
    "count over": "count_over",
}
_COMPARED: dict[str, Callable[..., Any]] = {
    "at or below": lambda left, right: left <= right,
    "below": lambda left, right: left < right,
    "at or above": lambda left, right: left >= right,
    "above": lambda left, right: left > right,
    "equals": lambda left, right: left == right,
    "differs from": lambda left, right: left != right,
    "between": lambda value, low, high: z3.And(low <= value, value <= high),
    "within": lambda value, allowance, target: _size(value - target) <= allowance,
}
