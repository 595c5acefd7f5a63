"""The nodes of a parsed clause. Every node knows its place in the text of the clause."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction

import attrs
from attrs import frozen

from limitrules.foundation.source import Span
from limitrules.foundation.units import Unit

_FIELDS: dict[str, tuple[str, ...]] = {}


def _fields(kind: type[Node]) -> tuple[str, ...]:
    """The fields of a kind of node that may hold nodes."""
    found = _FIELDS.get(kind.__name__)
    if found is None:
        found = tuple(field.name for field in attrs.fields(kind) if field.name not in ("start", "end"))
        _FIELDS[kind.__name__] = found
    return found


@frozen(eq=False)
class Node:
    """``start`` and ``end`` are character positions in the clause's text."""

    start: int
    end: int

    def children(self) -> Iterator[Node]:
        """The nodes directly below, in the order of the text."""
        for name in _fields(type(self)):
            value = getattr(self, name)
            if isinstance(value, Node):
                yield value
            elif isinstance(value, tuple):
                yield from (item for item in value if isinstance(item, Node))

    def walk(self) -> Iterator[Node]:
        """This node and all below it, parents first."""
        yield self
        for child in self.children():
            yield from child.walk()


@frozen(eq=False)
class Literal(Node):
    """A number with its unit: ``digits`` as typed, ``value`` in SI (kelvin for degC)."""

    digits: str
    unit: Unit
    value: Fraction


@frozen(eq=False)
class YesNo(Node):
    value: bool


@frozen(eq=False)
class Word(Node):
    """A quoted text."""

    text: str


@frozen(eq=False)
class Name(Node):
    name: str


@frozen(eq=False)
class Member(Node):
    """``base.name``; the name stands at the end of the node."""

    base: Node
    name: str


@frozen(eq=False)
class Negative(Node):
    value: Node


@frozen(eq=False)
class Arithmetic(Node):
    """``operator`` is one of + - * /."""

    operator: str
    left: Node
    right: Node


@frozen(eq=False)
class Margin(Node):
    """``base less amount``, ``plus`` or ``plus or minus``; the amount is a share of the base or absolute.

    With ``plus or minus`` the base is uncertain by the amount to either side: the tolerance of a value that the
    document states as a value of its own, such as the error of a device.
    """

    word: str
    base: Node
    amount: Node


@frozen(eq=False)
class Assume(Node):
    """``value otherwise default``: the default stands in where the value is missing, and is shown."""

    value: Node
    default: Node


@frozen(eq=False)
class Call(Node):
    function: str
    arguments: tuple[Node, ...]


@frozen(eq=False)
class ReadAt(Node):
    """A curve read at a point."""

    curve: Node
    point: Node


@frozen(eq=False)
class Compare(Node):
    """``relation`` is a key of COMPARISONS."""

    relation: str
    left: Node
    right: Node


@frozen(eq=False)
class Between(Node):
    value: Node
    low: Node
    high: Node


@frozen(eq=False)
class Within(Node):
    """``value within allowance of target``."""

    value: Node
    allowance: Node
    target: Node


@frozen(eq=False)
class State(Node):
    """``value is stated``, ``is missing``, or ``is`` a grade of origin."""

    value: Node
    word: str


@frozen(eq=False)
class Belongs(Node):
    item: Node
    collection: Node


@frozen(eq=False)
class Opposite(Node):
    value: Node


@frozen(eq=False)
class AllOf(Node):
    parts: tuple[Node, ...]


@frozen(eq=False)
class AnyOf(Node):
    parts: tuple[Node, ...]


@frozen(eq=False)
class Choose(Node):
    condition: Node
    then: Node
    other: Node


@frozen(eq=False)
class Quantified(Node):
    """``word`` is every, some or no."""

    word: str
    name: str
    collection: Node
    where: Node | None
    body: Node


@frozen(eq=False)
class Aggregate(Node):
    """``word`` is total, lowest, highest or count."""

    word: str
    name: str
    body: Node
    collection: Node
    where: Node | None


@frozen(eq=False)
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
RESERVED = frozenset({"not", "if", "yes", "no", "every", "some", "total", "lowest", "highest", "count"})

STATES = ("stated", "missing", "unknown", "rated", "configured", "reported", "measured", "derived", "assumed")


@frozen(eq=False)
class Clause:
    """A text of the check language, its tree, and the way from its characters to the file."""

    text: str
    node: Node
    place: Callable[[int, int], Span]

    def span(self, node: Node) -> Span:
        return self.place(node.start, node.end)

    def excerpt(self, node: Node) -> str:
        return " ".join(self.text[node.start : node.end].split())
