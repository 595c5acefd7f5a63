"""Ground terms: a clause after its names are bound to the values of one system.

Collections are written out, relations followed, choices decided; what is left are numbers and truths over a flat
list of inputs. The same term is evaluated as float shadow, exactly, over boxes, and explained.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import ClassVar

from attrs import evolve, frozen

from limitrules.foundation.units import Unit
from limitrules.language.functions import Function

EXACT, SHADOW = "exact", "shadow"


@frozen(eq=False, repr=False)
class Ground:
    """``evaluations`` declares how a kind of term can be evaluated; a test holds it against the tables."""

    evaluations: ClassVar[frozenset[str]] = frozenset({EXACT, SHADOW})

    def below(self) -> tuple[Ground, ...]:
        """The terms directly below."""
        return ()

    def walk(self) -> Iterator[Ground]:
        """This term and all below it, each once however often it is used."""
        stack: list[Ground] = [self]
        seen: set[int] = set()
        while stack:
            term = stack.pop()
            if id(term) not in seen:
                seen.add(id(term))
                yield term
                stack.extend(term.below())


class Numeric(Ground):
    """A term whose value is a number in SI."""

    __slots__ = ()

    def operands(self) -> tuple[Numeric, ...]:
        """The numbers directly below, without what only guards or chooses."""
        return ()

    def below(self) -> tuple[Ground, ...]:
        return self.operands()


class Logical(Ground):
    """A term that holds, does not hold, or is not known to."""

    __slots__ = ()


@frozen(eq=False, repr=False)
class Constant(Numeric):
    value: Fraction


@frozen(eq=False, repr=False)
class Input(Numeric):
    """The value of one slot; equal indices are one and the same uncertain variable."""

    index: int


@frozen(eq=False, repr=False)
class Ranged(Input):
    """A number that is missing at ``path`` but known to lie in a range, which its slot holds."""

    path: str


@frozen(eq=False, repr=False)
class Gap(Numeric):
    """A number that is missing at ``path``; it may be anything."""

    path: str


@frozen(eq=False, repr=False)
class Single(Numeric):
    value: Numeric

    def operands(self) -> tuple[Numeric, ...]:
        return (self.value,)


class Negate(Single):
    __slots__ = ()


class Absolute(Single):
    __slots__ = ()


@frozen(eq=False, repr=False)
class Binary(Numeric):
    left: Numeric
    right: Numeric

    def operands(self) -> tuple[Numeric, ...]:
        return (self.left, self.right)


class Add(Binary):
    __slots__ = ()


class Subtract(Binary):
    __slots__ = ()


class Multiply(Binary):
    __slots__ = ()


class Divide(Binary):
    """Has no value where the divisor is zero."""

    __slots__ = ()


class Margin(Binary):
    """``left + |left| right``: a base with a share of its size added (taken off where the share is negative)."""

    __slots__ = ()


@frozen(eq=False, repr=False)
class Part:
    """A member of a collection: it takes part where its guard holds (None: always)."""

    value: Numeric
    guard: Logical | None = None
    label: str = ""


@frozen(eq=False, repr=False)
class Gathered(Numeric):
    """A total, lowest or highest over parts."""

    parts: tuple[Part, ...]

    def operands(self) -> tuple[Numeric, ...]:
        return tuple([part.value for part in self.parts])

    def below(self) -> tuple[Ground, ...]:
        return (*self.operands(), *(part.guard for part in self.parts if part.guard is not None))


class Total(Gathered):
    """Zero where no part takes part."""

    __slots__ = ()


class Least(Gathered):
    """Has no value where no part takes part."""

    __slots__ = ()


class Greatest(Gathered):
    """Has no value where no part takes part."""

    __slots__ = ()


@frozen(eq=False, repr=False)
class Apply(Numeric):
    function: Function
    arguments: tuple[Numeric, ...]

    def operands(self) -> tuple[Numeric, ...]:
        return self.arguments


@frozen(eq=False, repr=False)
class Lookup(Numeric):
    """A table read linearly between its points; it has no value outside them."""

    points: tuple[tuple[Fraction, Fraction], ...]
    at: Numeric

    def operands(self) -> tuple[Numeric, ...]:
        return (self.at,)


@frozen(eq=False, repr=False)
class Select(Numeric):
    condition: Logical
    then: Numeric
    other: Numeric

    def operands(self) -> tuple[Numeric, ...]:
        return (self.then, self.other)

    def below(self) -> tuple[Ground, ...]:
        return (self.condition, self.then, self.other)


@frozen(eq=False, repr=False)
class Fixed(Logical):
    """A truth that does not depend on numbers; None with the path that is missing."""

    value: bool | None
    path: str = ""


@frozen(eq=False, repr=False)
class Holds(Logical):
    """``headroom`` is zero or more, or more than zero where ``strict``.

    ``figure`` is held against ``limit``; ``unit`` is the one to show them in, ``clause`` the words they come from.
    """

    headroom: Numeric
    strict: bool
    limit: Numeric | None = None
    unit: Unit | None = None
    clause: str = ""
    figure: Numeric | None = None

    def below(self) -> tuple[Ground, ...]:
        return (self.headroom,)


@frozen(eq=False, repr=False)
class Joined(Logical):
    parts: tuple[Logical, ...]

    def below(self) -> tuple[Ground, ...]:
        return self.parts


class All(Joined):
    __slots__ = ()


class Any(Joined):
    __slots__ = ()


@frozen(eq=False, repr=False)
class Contrary(Logical):
    value: Logical

    def below(self) -> tuple[Ground, ...]:
        return (self.value,)


NUMERIC_KINDS = (Constant, Input, Ranged, Gap, Negate, Absolute, Add, Subtract, Multiply, Divide, Margin, Total,
                 Least, Greatest, Apply, Lookup, Select)  # fmt: skip
LOGICAL_KINDS = (Fixed, Holds, All, Any, Contrary)


def without_contrary(term: Logical, negated: bool = False) -> Logical:
    """The same truth with every negation pushed down into the comparisons."""
    if isinstance(term, Contrary):
        return without_contrary(term.value, not negated)
    if isinstance(term, All | Any):
        parts = tuple(without_contrary(part, negated) for part in term.parts)
        return All(parts) if isinstance(term, All) != negated else Any(parts)
    if not negated:
        return term
    if isinstance(term, Fixed):
        return Fixed(None if term.value is None else not term.value, term.path)
    assert isinstance(term, Holds)
    return evolve(term, headroom=Negate(term.headroom), strict=not term.strict)


@frozen(eq=False, repr=False)
class Facts:
    """What a term rests on.

    The slots it reads, in ascending order; those of them that hold the range of a number that is missing; and the
    paths whose values are missing, each once.
    """

    inputs: tuple[int, ...]
    ranged: frozenset[int]
    gaps: tuple[str, ...]


def facts_of(term: Ground) -> Facts:
    """What a term rests on, by one walk."""
    inputs: set[int] = set()
    ranged: set[int] = set()
    gaps: dict[str, None] = {}
    for item in term.walk():
        if isinstance(item, Input):
            inputs.add(item.index)
            if isinstance(item, Ranged):
                ranged.add(item.index)
                gaps[item.path] = None
        elif isinstance(item, Gap | Fixed) and item.path:
            gaps[item.path] = None
    return Facts(tuple(sorted(inputs)), frozenset(ranged), tuple(gaps))


def inputs_of(term: Ground) -> tuple[int, ...]:
    """The slots a term reads, in ascending order."""
    return facts_of(term).inputs


def gaps_of(term: Ground) -> tuple[str, ...]:
    """The paths whose values are missing, each once."""
    return facts_of(term).gaps
