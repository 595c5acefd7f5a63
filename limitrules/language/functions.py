"""Functions that clauses may call: typed, with a stated direction for every argument.

A function promises, for each argument, that its value rises with it, falls with it, or neither. Tolerances pass
through on the strength of that promise, so registration tries to refute it by sampling.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from enum import Enum
from fractions import Fraction

from attrs import evolve, field, frozen

from limitrules.foundation.dimension import NUMBER
from limitrules.foundation.exact import float_above, float_below
from limitrules.foundation.kinds import Quantity, Temperature, Type

Bounds = tuple[float, float]
Point = Callable[..., Bounds]


class Direction(Enum):
    """How the value moves when one argument grows and the others stay."""

    RISES = "rises"
    FALLS = "falls"
    NEITHER = "neither"


@frozen
class Argument:
    """``type`` None takes any quantity. Outside ``low`` to ``high`` (SI) the function has no value."""

    name: str
    meaning: str
    type: Type | None = None
    direction: Direction = Direction.NEITHER
    low: float = -math.inf
    high: float = math.inf


class Mistyped(Exception):
    """Raised by a result rule when the arguments do not fit together; the text says what was expected."""


@frozen
class Function:
    """A function of the check language.

    ``result`` turns argument types into the type of the value. ``point`` takes one float in SI for each argument
    and gives a pair of floats that encloses the true value there, or raises ValueError outside its range.
    ``enclose`` takes a pair for each argument; it is only needed where an argument goes neither way.
    ``exact``, where given, encloses the value between two rationals from rational arguments; ``slopes``, where
    given, encloses the slope in each argument over a pair for each, so that an argument whose influence meets a
    contrary one elsewhere in a rule can still be seen to go one way.
    ``lowered`` names the node the engine uses instead, for what it knows by itself.
    ``members`` are arguments that are given once for each member of a collection, after the others; `of` makes the
    function for a number of members, and ``point`` and the like take them all, member by member.
    """

    name: str
    meaning: str
    arguments: tuple[Argument, ...]
    result: Callable[[tuple[Type, ...]], Type]
    point: Point | None = None
    source: str = ""
    enclose: Callable[..., Bounds] | None = None
    exact: Callable[..., tuple[Fraction, Fraction]] | None = None
    slopes: Callable[..., tuple[Bounds, ...]] | None = None
    lowered: str = ""
    variadic: bool = False
    members: tuple[Argument, ...] = ()

    def of(self, count: int) -> Function:
        """The function for so many members: an ordinary one, with their arguments written out."""
        return evolve(self, arguments=(*self.arguments, *(self.members * count)), members=())

    @property
    def signature(self) -> str:
        """``sqrt(value)`` as one types it."""
        names = [item.name for item in self.arguments]
        if self.members:
            names.append(f"each ({', '.join(item.name for item in self.members)}) over ...")
        return f"{self.name}({', '.join(names)}{', ...' if self.variadic else ''})"

    def within(self, intervals: Iterable[Bounds]) -> bool:
        """True where every argument interval lies inside the validity range."""
        pairs = zip(self.arguments, intervals, strict=False)
        return all(item.low <= low and high <= item.high for item, (low, high) in pairs)

    def interval(self, *intervals: Bounds) -> Bounds:
        """Enclosure of the values over a box of arguments, each a pair of floats in SI.

        Without bounds (minus to plus infinity) where part of the box lies outside the range.
        """
        if not self.within(intervals):
            return -math.inf, math.inf
        try:
            if self.enclose is not None:
                return self.enclose(*intervals)
            assert self.point is not None
            low = self.point(*(pair[item.direction is Direction.FALLS] for item, pair in self._with(intervals)))[0]
            high = self.point(*(pair[item.direction is Direction.RISES] for item, pair in self._with(intervals)))[1]
        except (ValueError, OverflowError, ZeroDivisionError):
            return -math.inf, math.inf
        return low, high

    def slopes_over(self, *intervals: Bounds) -> list[Bounds]:
        """Enclosures of the slope in each argument over a box; without bounds where part lies outside the range."""
        if not self.within(intervals):
            return [(-math.inf, math.inf)] * len(intervals)
        steep: Sequence[Bounds] = [(-math.inf, math.inf)] * len(intervals)
        if self.slopes is not None:
            with suppress(ValueError, OverflowError, ZeroDivisionError):
                steep = self.slopes(*intervals)
        return [_one_way(item.direction, pair) for item, pair in zip(self.arguments, steep, strict=True)]

    def _with(self, intervals: tuple[Bounds, ...]) -> Iterator[tuple[Argument, Bounds]]:
        return zip(self.arguments, intervals, strict=True)

    def at(self, *values: Fraction) -> tuple[Fraction | float, Fraction | float] | None:
        """Enclosure of the value at a point, in rationals or infinities; None outside the range."""
        shadows = [(float_below(value), float_above(value)) for value in values]
        if not self.within(shadows):
            return None
        if self.exact is not None:
            return self.exact(*values)
        low, high = self.interval(*shadows)
        return tuple(Fraction(end) if math.isfinite(end) else end for end in (low, high))  # type: ignore[return-value]


def _one_way(direction: Direction, slope: Bounds) -> Bounds:
    low, high = slope
    if direction is Direction.RISES:
        return max(low, 0.0), max(high, 0.0)
    return (min(low, 0.0), min(high, 0.0)) if direction is Direction.FALLS else slope


class Registry:
    """The functions that a survey may use. A copy is made before a plugin adds to it."""

    def __init__(self, functions: Iterable[Function] = ()) -> None:
        self._functions: dict[str, Function] = {}
        for function in functions:
            self.add(function)

    def add(self, function: Function) -> None:
        """Add a function. Raises ValueError with expected beside given when it is not well formed."""
        problems = list(_problems(function))
        if function.name in self._functions:
            problems.append(f"expected a new name; given `{function.name}`, which exists already")
        if problems:
            raise ValueError(f"function {function.name!r}: " + "; ".join(problems))
        self._functions[function.name] = function

    def extended(self, functions: Iterable[Function]) -> Registry:
        return Registry([*self._functions.values(), *functions])

    @property
    def by_name(self) -> Mapping[str, Function]:
        return self._functions

    def __getitem__(self, name: str) -> Function:
        return self._functions[name]

    def __contains__(self, name: object) -> bool:
        return name in self._functions


def _problems(function: Function) -> Iterator[str]:
    if not function.name.isidentifier():
        yield f"expected a name of letters, digits and _; given {function.name!r}"
    if not function.meaning.strip():
        yield "expected a meaning in one sentence; given none"
    if not function.arguments and not function.members:
        yield "expected at least one argument; given none"
    result: object = function.result
    if not callable(result):
        yield f"expected a result rule to call; given {result!r}"
    if function.lowered:
        return
    if not callable(function.point):
        yield f"expected `point`, a callable that encloses the value; given {function.point!r}"
    every = (*function.arguments, *function.members)
    unclear = [item.name for item in every if item.direction is Direction.NEITHER]
    if unclear and function.enclose is None:
        yield f"expected `enclose`, since {', '.join(unclear)} neither rises nor falls; given none"


@frozen
class Refutation:
    """A pair of points at which a promise of a function does not hold."""

    function: str
    argument: str
    promise: str
    points: tuple[tuple[float, ...], tuple[float, ...]]
    values: tuple[Bounds, Bounds] = field()


def refute(function: Function, samples: Mapping[str, Bounds], tries: int = 400, seed: int = 1) -> Refutation | None:
    """Look for a point that contradicts what a function promises; None when none was found.

    ``samples`` gives the range (SI) from which each argument is drawn.
    """
    generator = random.Random(seed)
    if function.point is None:
        return None
    for _ in range(tries):
        here = [generator.uniform(*samples[item.name]) for item in function.arguments]
        for position, item in enumerate(function.arguments):
            there = list(here)
            there[position] = generator.uniform(here[position], samples[item.name][1])
            found = _contradiction(function, position, here, there)
            if found is not None:
                return found
    return None


def _contradiction(function: Function, position: int, here: list[float], there: list[float]) -> Refutation | None:
    assert function.point is not None
    item = function.arguments[position]
    try:
        first, second = function.point(*here), function.point(*there)
    except (ValueError, OverflowError, ZeroDivisionError):
        return None
    wrong = (item.direction is Direction.RISES and second[1] < first[0]) or (
        item.direction is Direction.FALLS and second[0] > first[1]
    )
    promise = item.direction.value
    if function.enclose is not None and not wrong:
        box = [(min(pair), max(pair)) for pair in zip(here, there, strict=True)]
        low, high = function.enclose(*box)
        wrong = min(first[1], second[1]) < low or max(first[0], second[0]) > high
        promise = "enclosure"
    if function.slopes is not None and not wrong and here[position] != there[position]:
        run = there[position] - here[position]
        box = [(min(pair), max(pair)) for pair in zip(here, there, strict=True)]
        low, high = function.slopes_over(*box)[position]
        wrong = (second[1] - first[0]) / run < low or (second[0] - first[1]) / run > high
        promise = "slope"
    if not wrong:
        return None
    return Refutation(function.name, item.name, promise, (tuple(here), tuple(there)), (first, second))


def _same(types: tuple[Type, ...]) -> Type:
    if any(not isinstance(item, Quantity | Temperature) for item in types):
        raise Mistyped("quantities")
    if any(item != types[0] for item in types):
        raise Mistyped("quantities of one dimension")
    return types[0]


def _same_quantity(types: tuple[Type, ...]) -> Type:
    if not isinstance(types[0], Quantity):
        raise Mistyped("a quantity (an absolute temperature has no size of its own)")
    return types[0]


def _root(types: tuple[Type, ...]) -> Type:
    if not isinstance(types[0], Quantity):
        raise Mistyped("a quantity")
    return Quantity(types[0].dimension ** Fraction(1, 2))


def _plain(types: tuple[Type, ...]) -> Type:
    if types[0] != Quantity(NUMBER):
        raise Mistyped("a plain number or share")
    return types[0]


def _near(value: float) -> Bounds:
    """Two steps either way: more than the error of the C library's elementary functions."""
    low = math.nextafter(math.nextafter(value, -math.inf), -math.inf)
    return low, math.nextafter(math.nextafter(value, math.inf), math.inf)


def _sqrt_point(value: float) -> Bounds:
    root = math.sqrt(value)
    return max(0.0, math.nextafter(root, -math.inf)), math.nextafter(root, math.inf)


def _sqrt_slope(value: Bounds) -> tuple[Bounds]:
    low, high = _sqrt_point(value[0])[0], _sqrt_point(value[1])[1]
    return ((_near(0.5 / high)[0], _near(0.5 / low)[1] if low else math.inf),)


def _exp_slope(value: Bounds) -> tuple[Bounds]:
    return ((_near(math.exp(value[0]))[0], _near(math.exp(value[1]))[1]),)


def _ln_slope(value: Bounds) -> tuple[Bounds]:
    return ((_near(1.0 / value[1])[0], _near(1.0 / value[0])[1]),)


def _sqrt_exact(value: Fraction) -> tuple[Fraction, Fraction]:
    scale = 10**40
    scaled = value.numerator * value.denominator * scale * scale
    root = math.isqrt(scaled)
    low = Fraction(root, value.denominator * scale)
    return (low, low) if root * root == scaled else (low, Fraction(root + 1, value.denominator * scale))


_ANY = Argument("value", "any quantity")
STANDARD = Registry(
    [
        Function("min", "The lowest of its arguments.", (_ANY, Argument("other", "one of the same dimension")),
                 _same, lowered="least", variadic=True),
        Function("max", "The highest of its arguments.", (_ANY, Argument("other", "one of the same dimension")),
                 _same, lowered="greatest", variadic=True),
        Function("abs", "The size of a quantity without its sign.", (_ANY,), _same_quantity, lowered="absolute"),
        Function("sqrt", "The square root; its dimension is halved.",
                 (Argument("value", "a quantity that is not negative", None, Direction.RISES, 0.0),),
                 _root, _sqrt_point, exact=_sqrt_exact, slopes=_sqrt_slope),
        Function("exp", "e raised to a plain number.",
                 (Argument("value", "a plain number", Quantity(NUMBER), Direction.RISES),),
                 _plain, lambda value: _near(math.exp(value)), slopes=_exp_slope),
        Function("ln", "The natural logarithm of a plain number.",
                 (Argument("value", "a plain number above zero", Quantity(NUMBER), Direction.RISES, 5e-324),),
                 _plain, lambda value: _near(math.log(value)), slopes=_ln_slope),
    ]
)  # fmt: skip
