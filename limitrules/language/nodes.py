"""The nodes of a parsed clause. Every node knows its place in the text of the clause."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import ClassVar

from attrs import frozen

from limitrules.foundation.source import Span
from limitrules.foundation.units import Unit


@frozen(eq=False, repr=False)
class Node:
    """``start`` and ``end`` are character positions in the clause's text; ``below`` are the fields that hold nodes."""

    below: ClassVar[tuple[str, ...]] = ()
    start: int
    end: int

    def __init_subclass__(cls) -> None:
        cls.below = tuple(name for name, kind in cls.__annotations__.items() if "Node" in kind)

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.start}, {self.end}, {self.children()})"

    def children(self) -> list[Node]:
        """The nodes directly below, in the order of the text."""
        found: list[Node] = []
        for name in self.below:
            value = getattr(self, name)
            if isinstance(value, tuple):
                found += value
            elif value is not None:
                found.append(value)
        return found

    def walk(self) -> Iterator[Node]:
        """This node and all below it, parents first."""
        waiting = [self]
        while waiting:
            node = waiting.pop()
            yield node
            waiting += reversed(node.children())


@frozen(eq=False, repr=False)
class Literal(Node):
    """A number with its unit: ``digits`` as typed, ``value`` in SI (kelvin for degC)."""

    digits: str
    unit: Unit
    value: Fraction


@frozen(eq=False, repr=False)
class YesNo(Node):
    value: bool


@frozen(eq=False, repr=False)
class Word(Node):
    """A quoted text."""

    text: str


@frozen(eq=False, repr=False)
class Name(Node):
    name: str


@frozen(eq=False, repr=False)
class Member(Node):
    """``base.name``; the name stands at the end of the node."""

    base: Node
    name: str


@frozen(eq=False, repr=False)
class Negative(Node):
    value: Node


@frozen(eq=False, repr=False)
class Arithmetic(Node):
    """``operator`` is one of + - * /."""

    operator: str
    left: Node
    right: Node


@frozen(eq=False, repr=False)
class Margin(Node):
    """``base less amount``, ``plus`` or ``plus or minus``; the amount is a share of the base or absolute.

    With ``plus or minus`` the base is uncertain by the amount to either side: the tolerance of a value that the
    document states as a value of its own, such as the error of a device.
    """

    word: str
    base: Node
    amount: Node


@frozen(eq=False, repr=False)
class Assume(Node):
    """``value otherwise default``: the default stands in where the value is missing, and is shown."""

    value: Node
    default: Node


@frozen(eq=False, repr=False)
class Call(Node):
    function: str
    arguments: tuple[Node, ...]


@frozen(eq=False, repr=False)
class Each(Node):
    """``each (a, b) over m in collection``: as an argument, one group of values for each member."""

    values: tuple[Node, ...]
    name: str
    collection: Node
    where: Node | None


@frozen(eq=False, repr=False)
class ReadAt(Node):
    """A curve read at a point."""

    curve: Node
    point: Node


@frozen(eq=False, repr=False)
class Compare(Node):
    """``relation`` is a key of COMPARISONS."""

    relation: str
    left: Node
    right: Node


@frozen(eq=False, repr=False)
class Between(Node):
    value: Node
    low: Node
    high: Node


@frozen(eq=False, repr=False)
class Within(Node):
    """``value within allowance of target``."""

    value: Node
    allowance: Node
    target: Node


@frozen(eq=False, repr=False)
class State(Node):
    """``value is stated``, ``is missing``, or ``is`` a grade of origin."""

    value: Node
    word: str


@frozen(eq=False, repr=False)
class Belongs(Node):
    item: Node
    collection: Node


@frozen(eq=False, repr=False)
class Opposite(Node):
    value: Node


@frozen(eq=False, repr=False)
class AllOf(Node):
    parts: tuple[Node, ...]


@frozen(eq=False, repr=False)
class AnyOf(Node):
    parts: tuple[Node, ...]


@frozen(eq=False, repr=False)
class Choose(Node):
    condition: Node
    then: Node
    other: Node


@frozen(eq=False, repr=False)
class Quantified(Node):
    """``word`` is every, some or no."""

    word: str
    name: str
    collection: Node
    where: Node | None
    body: Node


@frozen(eq=False, repr=False)
class Aggregate(Node):
    """``word`` is total, lowest, highest or count."""

    word: str
    name: str
    body: Node
    collection: Node
    where: Node | None


@frozen(eq=False, repr=False)
class Listed(Node):
    """``lowest of (a, b, c)`` and its like."""

    word: str
    members: tuple[Node, ...]


COMPARISONS = {
    "at or below": "<=",
    "at or above": ">=",
    "below": "<",
    "above": ">",
    "equals": "=",
    "differs from": "!=",
    "longer than": ">",
    "shorter than": "<",
    "at most": "<=",
    "at least": ">=",
    "colder than": "<",
    "warmer than": ">",
}

# Words that open a value or a condition, so that nothing can be named like them.
RESERVED = frozenset({"not", "if", "yes", "no", "each", "every", "some", "total", "lowest", "highest", "count"})

STATES = ("stated", "missing", "unknown", "rated", "configured", "reported", "measured", "derived", "assumed")


@frozen(eq=False, repr=False)
class Clause:
    """A text of the check language, its tree, and the way from its characters to the file."""

    text: str
    node: Node
    place: Callable[[int, int], Span]

    def span(self, node: Node) -> Span:
        return self.place(node.start, node.end)

    def excerpt(self, node: Node) -> str:
        return " ".join(self.text[node.start : node.end].split())
