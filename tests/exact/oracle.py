"""What a rule says at one point, worked out by itself: trees, their text, their value in rationals.

A number at a point is a pair of ends, equal where it is known. Whatever is missing or undefined may be anything:
a curve outside its table, a quotient by zero, the lowest of nothing. A truth is True, False or None, untellable.
"""

from __future__ import annotations

import itertools
import random
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction
from math import inf

from attrs import frozen

from tests.exact.world import Range, World, in_si

End = Fraction | float
Ends = tuple[End, End]
Point = Mapping[str, Fraction]
Names = Mapping[str, str]

ANYTHING: Ends = (-inf, inf)
NOUGHT, ONE = Fraction(0), Fraction(1)
SIGNS = {
    "at or below": (-1, False),
    "below": (-1, True),
    "at or above": (1, False),
    "above": (1, True),
}


@frozen
class Term:
    """A phrase: its word, the phrases below it, and what else it needs (digits and unit, names, paths)."""

    word: str
    parts: tuple[Term, ...] = ()
    note: tuple[str, ...] = ()

    def walk(self) -> Iterator[Term]:
        yield self
        for part in self.parts:
            yield from part.walk()

    @property
    def size(self) -> int:
        return sum(1 for _ in self.walk())


@frozen
class GeneratedRule:
    """``subjects`` maps names to kinds, in order; ``when`` may be left out."""

    about: str
    subjects: tuple[tuple[str, str], ...]
    require: Term
    when: Term | None = None

    @property
    def whole(self) -> Term:
        """What must hold: the requirement wherever the rule applies."""
        return self.require if self.when is None else Term("or", (Term("not", (self.when,)), self.require))

    def bindings(self, world: World) -> list[Names]:
        """What the names stand for, once for each finding that is due."""
        if self.about == "the site":
            return [{"site": "site"}]
        if self.about.startswith("each pair"):
            return [{"p": one, "q": other, "site": "site"} for one, other in itertools.combinations(world.packs, 2)]
        packs = world.feeds if "c.feeds" in self.about else world.packs
        return [{"c": world.converter, "p": pack, "site": "site"} for pack in packs]


@frozen
class Place:
    """One point of the tolerances in a system, with names bound. What ``values`` leaves out may be anything."""

    world: World
    names: Names
    values: Point

    def naming(self, name: str, path: str) -> Place:
        return Place(self.world, {**self.names, name: path}, self.values)

    def key(self, name: str, path: str) -> str:
        if path.startswith("cell."):
            return f"{self.world.cell}.{path.removeprefix('cell.')}"
        return f"{self.names[name]}.{path}"

    def members(self, name: str, collection: str) -> list[Place]:
        packs = self.world.packs if collection == "packs" else self.world.feeds
        return [self.naming(name, path) for path in packs]

    def read(self, key: str) -> Ends:
        value = self.values.get(key)
        if value is not None:
            return value, value
        given = self.world.given(key)
        return ANYTHING if given is None or given.range is None else given.range


def error_key(term: Term, place: Place) -> str:
    """The device whose error it is: the one that states the error, else the one whose value it is."""
    base, amount = term.parts
    source = amount if amount.word == "value" else base
    return place.key(source.note[0], source.note[1]) + " (error)"


# numbers


def number(term: Term, place: Place) -> Ends:
    return _NUMBERS[term.word](term, place)


def _add(one: Ends, other: Ends) -> Ends:
    return one[0] + other[0], one[1] + other[1]


def _negative(ends: Ends) -> Ends:
    return -ends[1], -ends[0]


def _multiply(one: Ends, other: Ends) -> Ends:
    if one[0] == one[1] and other[0] == other[1]:
        return (one[0] * other[0],) * 2
    found = [a * b if a and b else NOUGHT for a in one for b in other]
    return min(found), max(found)


def _divide(one: Ends, other: Ends) -> Ends:
    low, high = other
    if low <= 0 <= high:
        return ANYTHING
    return _multiply(one, tuple(sorted(NOUGHT if abs(end) == inf else 1 / end for end in (low, high))))  # type: ignore[arg-type]


def _size(ends: Ends) -> Ends:
    low, high = ends
    if low >= 0:
        return ends
    return _negative(ends) if high <= 0 else (NOUGHT, max(-low, high))


def _figure(term: Term, place: Place) -> Ends:
    value = in_si(Fraction(term.note[0]), term.note[1])
    return value, value


def _amount(term: Term, place: Place) -> Ends:
    """The amount of a margin: a share is one of the size of the base."""
    base, amount = (number(part, place) for part in term.parts)
    return _multiply(_size(base), amount) if term.note[0] == "share" else amount


def _raised(term: Term, place: Place) -> Ends:
    return _add(number(term.parts[0], place), _amount(term, place))


def _lowered(term: Term, place: Place) -> Ends:
    return _add(number(term.parts[0], place), _negative(_amount(term, place)))


def _with_error(term: Term, place: Place) -> Ends:
    error = place.values.get(error_key(term, place), NOUGHT)
    return _add(number(term.parts[0], place), _multiply(_amount(term, place), (error, error)))


def _otherwise(term: Term, place: Place) -> Ends:
    return number(taken(term, place), place)


def taken(term: Term, place: Place) -> Term:
    """Which side of an `otherwise` counts: the value where something is known of it."""
    value, default = term.parts
    given = place.world.given(place.key(value.note[0], value.note[1]))
    return default if given is None or given.form == "unknown" else value


def _chosen(term: Term, place: Place) -> Ends:
    condition = truth(term.parts[0], place)
    if condition is not None:
        return number(term.parts[1] if condition else term.parts[2], place)
    one, other = number(term.parts[1], place), number(term.parts[2], place)
    return min(one[0], other[0]), max(one[1], other[1])


def _read(term: Term, place: Place) -> Ends:
    key = place.key(term.note[0], term.note[1])
    curve = place.world.curves.get(key)
    if curve is None:
        return ANYTHING
    table, at = curve.table, number(term.parts[0], place)
    if at[0] < table[0][0] or at[1] > table[-1][0]:
        return ANYTHING
    found = [reading(table, Fraction(end)) for end in at] + [y for x, y in table if at[0] <= x <= at[1]]
    ends = min(found), max(found)
    error = place.values.get(f"{key}.tolerance", NOUGHT)
    return _add(ends, _multiply(_size(ends), (error, error)) if curve.is_share else (error, error))


def reading(table: tuple[tuple[Fraction, Fraction], ...], x: Fraction) -> Fraction:
    """A straight line between neighbouring points."""
    after = min(max(bisect_right([item[0] for item in table], x), 1), len(table) - 1)
    (x0, y0), (x1, y1) = table[after - 1], table[after]
    return y0 + (y1 - y0) * ((x - x0) / (x1 - x0))


def _members(term: Term, place: Place) -> list[tuple[Place, bool | None]]:
    """Each member with whether it takes part."""
    members = place.members(term.note[0], term.note[1])
    return [(member, truth(term.parts[1], member) if len(term.parts) > 1 else True) for member in members]


def _sum_over(term: Term, place: Place) -> Ends:
    total: Ends = NOUGHT, NOUGHT
    for member, takes_part in _members(term, place):
        if takes_part is not False:
            low, high = number(term.parts[0], member)
            total = _add(total, (low, high) if takes_part else (min(low, NOUGHT), max(high, NOUGHT)))
    return total


def _lowest(sure: list[Ends], perhaps: list[Ends]) -> Ends:
    if not sure:
        return ANYTHING
    return min(ends[0] for ends in sure + perhaps), min(ends[1] for ends in sure)


def _highest(sure: list[Ends], perhaps: list[Ends]) -> Ends:
    if not sure:
        return ANYTHING
    return max(ends[0] for ends in sure), max(ends[1] for ends in sure + perhaps)


def _over(join: Callable[[list[Ends], list[Ends]], Ends]) -> Callable[[Term, Place], Ends]:
    def rule(term: Term, place: Place) -> Ends:
        members = _members(term, place)
        sure, perhaps = ([number(term.parts[0], member) for member, takes in members if takes is due]
                         for due in (True, None))  # fmt: skip
        return join(sure, perhaps)

    return rule


def _count(term: Term, place: Place) -> Ends:
    found = [truth(term.parts[0], member) for member in place.members(term.note[0], term.note[1])]
    sure = Fraction(found.count(True))
    return sure, sure + found.count(None)


def _listed(join: Callable[[list[Ends], list[Ends]], Ends]) -> Callable[[Term, Place], Ends]:
    return lambda term, place: join([number(part, place) for part in term.parts], [])


def _sum_of(term: Term, place: Place) -> Ends:
    total: Ends = NOUGHT, NOUGHT
    for part in term.parts:
        total = _add(total, number(part, place))
    return total


def _binary(join: Callable[[Ends, Ends], Ends]) -> Callable[[Term, Place], Ends]:
    return lambda term, place: join(number(term.parts[0], place), number(term.parts[1], place))


_NUMBERS: Mapping[str, Callable[[Term, Place], Ends]] = {
    "figure": _figure,
    "value": lambda term, place: place.read(place.key(term.note[0], term.note[1])),
    "let": lambda term, place: number(term.parts[0], place),
    "negative": lambda term, place: _negative(number(term.parts[0], place)),
    "+": _binary(_add),
    "-": _binary(lambda one, other: _add(one, _negative(other))),
    "*": _binary(_multiply),
    "/": _binary(_divide),
    "abs": lambda term, place: _size(number(term.parts[0], place)),
    "min": _listed(_lowest),
    "max": _listed(_highest),
    "lowest of": _listed(_lowest),
    "highest of": _listed(_highest),
    "total of": _sum_of,
    "lowest over": _over(_lowest),
    "highest over": _over(_highest),
    "total over": _sum_over,
    "count over": _count,
    "less": _lowered,
    "plus": _raised,
    "plus or minus": _with_error,
    "otherwise": _otherwise,
    "if": _chosen,
    "curve": _read,
}


# truths


def truth(term: Term, place: Place) -> bool | None:
    return _TRUTHS[term.word](term, place)


def _sign(ends: Ends, strict: bool = False) -> bool | None:
    """Whether a headroom is enough: zero is, unless the comparison is strict."""
    low, high = ends
    if low > 0 or (low == 0 and not strict):
        return True
    return False if high < 0 or (high == 0 and strict) else None


def distance(term: Term, place: Place) -> Ends:
    """The headroom of a lone comparison."""
    if term.word == "within":
        value, allowance, target = (number(part, place) for part in term.parts)
        return _add(allowance, _negative(_size(_add(value, _negative(target)))))
    left, right = (number(part, place) for part in term.parts)
    if term.word in SIGNS:
        return _add(left, _negative(right)) if SIGNS[term.word][0] > 0 else _add(right, _negative(left))
    apart = _size(_add(left, _negative(right)))
    return _negative(apart) if term.word == "equals" else apart


def _compared(term: Term, place: Place) -> bool | None:
    is_strict = term.word == "differs from" or (term.word in SIGNS and SIGNS[term.word][1])
    return _sign(distance(term, place), is_strict)


def _between(term: Term, place: Place) -> bool | None:
    value, low, high = (number(part, place) for part in term.parts)
    return _every([_sign(_add(value, _negative(low))), _sign(_add(high, _negative(value)))])


def _every(found: list[bool | None]) -> bool | None:
    return False if False in found else None if None in found else True


def _some(found: list[bool | None]) -> bool | None:
    return _not(_every([_not(item) for item in found]))


def _not(found: bool | None) -> bool | None:
    return None if found is None else not found


def _if_holds(term: Term, place: Place) -> bool | None:
    condition, then, other = (truth(part, place) for part in term.parts)
    if condition is not None:
        return then if condition else other
    return then if then is other else None


def _quantified(term: Term, place: Place) -> bool | None:
    """Nothing looked at is nothing told, except that there surely is none that does."""
    members = _members(term, place)
    bodies = [(takes_part, truth(term.parts[0], member)) for member, takes_part in members]
    if term.word == "some":
        return _some([_every([takes_part, body]) for takes_part, body in bodies])
    looked_at = None if _some([takes_part for takes_part, _ in bodies]) is not True else True
    if term.word == "every":
        held = _every([_some([_not(takes_part), body]) for takes_part, body in bodies])
    else:
        held = _not(_some([_every([takes_part, body]) for takes_part, body in bodies]))
    return _every([looked_at, held])


def _is_stated(term: Term, place: Place) -> bool:
    given = place.world.given(place.key(term.note[0], term.note[1]))
    return (given is not None and not given.is_open) == (term.word == "is stated")


_TRUTHS: Mapping[str, Callable[[Term, Place], bool | None]] = {
    **dict.fromkeys((*SIGNS, "equals", "differs from", "within"), _compared),
    "between": _between,
    "and": lambda term, place: _every([truth(part, place) for part in term.parts]),
    "or": lambda term, place: _some([truth(part, place) for part in term.parts]),
    "not": lambda term, place: _not(truth(term.parts[0], place)),
    "if holds": _if_holds,
    "every": _quantified,
    "some": _quantified,
    "no": _quantified,
    "is stated": _is_stated,
    "is missing": _is_stated,
}


# what a rule reads


@frozen
class Inputs:
    """The numbers that a term reads: those with tolerances by key, and those that are missing."""

    ranges: dict[str, Range]
    nominal: dict[str, Fraction]
    gaps: dict[str, Range | None]
    special: dict[str, tuple[Fraction, ...]]

    @property
    def free(self) -> list[str]:
        return [key for key, (low, high) in self.ranges.items() if low != high]


def inputs_of(term: Term, world: World, names: Names) -> Inputs:
    found = Inputs({}, {}, {}, {})
    _collect(term, Place(world, names, {}), found)
    return found


def _collect(term: Term, place: Place, found: Inputs) -> None:
    below = [place] * len(term.parts)
    if term.word == "value":
        _note_value(place.key(term.note[0], term.note[1]), place, found)
    elif term.word == "plus or minus":
        _note(error_key(term, place), Fraction(-1), Fraction(1), NOUGHT, found)
    elif term.word == "otherwise":
        _collect(taken(term, place), place, found)
        return
    elif term.word == "curve":
        key = place.key(term.note[0], term.note[1])
        curve = place.world.curves.get(key)
        if curve is not None:
            _note(f"{key}.tolerance", -curve.error, curve.error, NOUGHT, found)
            inner = term.parts[0]
            if inner.word == "value":
                found.special[place.key(inner.note[0], inner.note[1])] = tuple(x for x, _ in curve.table)
        else:
            found.gaps.setdefault(key, None)
    elif term.word in ("lowest over", "highest over", "total over", "count over", "every", "some", "no"):
        for member in place.members(term.note[0], term.note[1]):
            for part in term.parts:
                _collect(part, member, found)
        return
    for part, inner_place in zip(term.parts, below, strict=True):
        _collect(part, inner_place, found)


def _note(key: str, low: Fraction, high: Fraction, nominal: Fraction, found: Inputs) -> None:
    found.ranges[key], found.nominal[key] = (low, high), nominal


def _note_value(key: str, place: Place, found: Inputs) -> None:
    given = place.world.given(key)
    if given is None or given.is_open:
        found.gaps[key] = given.range if given is not None else None
        return
    assert given.range is not None
    _note(key, *given.range, given.middle, found)


# points


def points_in(inputs: Inputs, generator: random.Random, scattered: int = 12, corners: int = 40) -> Iterator[Point]:
    """Corners, the middle, points of tables, ties between inputs, and points anywhere."""
    free, nominal = inputs.free, inputs.nominal
    yield nominal
    if not free:
        return
    chosen = range(2 ** len(free)) if 2 ** len(free) <= corners else [generator.getrandbits(len(free)) for _ in range(
        corners)] + [0, 2 ** len(free) - 1]  # fmt: skip
    for bits in chosen:
        yield {**nominal, **{key: inputs.ranges[key][bits >> place & 1] for place, key in enumerate(free)}}
    for key, xs in inputs.special.items():
        for x in xs:
            if key in inputs.ranges and inputs.ranges[key][0] <= x <= inputs.ranges[key][1]:
                yield {**nominal, key: x}
    for one, other in itertools.islice(itertools.combinations(free, 2), 15):
        low, high = (pick(inputs.ranges[one][end], inputs.ranges[other][end]) for end, pick in enumerate((max, min)))
        if low <= high:
            yield {**nominal, one: (low + high) / 2, other: (low + high) / 2}
    for _ in range(scattered if free else 0):
        yield {**nominal, **{key: _between_ends(inputs.ranges[key], generator) for key in free}}


def _between_ends(ends: Range, generator: random.Random) -> Fraction:
    return ends[0] + (ends[1] - ends[0]) * Fraction(generator.randrange(0, 65), 64)


def fillings_of(inputs: Inputs, generator: random.Random, most: int = 6) -> list[Point]:
    """Values for what is missing: the ends of what is known of it, or small, large, either sign."""
    if not inputs.gaps:
        return []
    found: list[Point] = []
    for turn in range(most):
        filling = {}
        for key, ends in inputs.gaps.items():
            if ends is not None:
                filling[key] = ends[turn] if turn < 2 else _between_ends(ends, generator)
            else:
                sizes = (NOUGHT, ONE, Fraction(10) ** 9, -(Fraction(10) ** 9))
                filling[key] = sizes[turn] if turn < 4 else Fraction(generator.randrange(-4000, 4000), 20)
        found.append(filling)
    return found


def lone_comparison(term: Term) -> tuple[Term, int] | None:
    """The comparison of a requirement that consists of one, and -1 where it is turned round by `not`."""
    sign = 1
    while term.word == "not":
        term, sign = term.parts[0], -sign
    return (term, sign) if term.word in (*SIGNS, "equals", "differs from", "within") else None


def headroom_at(lone: tuple[Term, int], place: Place) -> Ends:
    ends = distance(lone[0], place)
    return ends if lone[1] > 0 else _negative(ends)
