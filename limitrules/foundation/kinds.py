"""Types of values, and the kinds of components that carry them.

The vocabulary fills these in; the check language is typed against them; neither knows the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from attrs import field, frozen

from limitrules.foundation.dimension import NUMBER, Dimension
from limitrules.foundation.units import Unit


class _Sort:
    """What all types of values share."""

    __slots__ = ()

    def __repr__(self) -> str:
        return f"<{self}>"


@frozen(repr=False)
class Quantity(_Sort):
    """A number with a dimension; a plain number or share has the empty dimension."""

    dimension: Dimension = NUMBER

    def __str__(self) -> str:
        return str(self.dimension)


@frozen(repr=False)
class Temperature(_Sort):
    """An absolute temperature, held in kelvin. Its differences are quantities."""

    def __str__(self) -> str:
        return "absolute temperature (degC)"


@frozen(repr=False)
class Truth(_Sort):
    """Yes or no."""

    def __str__(self) -> str:
        return "yes or no"


@frozen(repr=False)
class Choice(_Sort):
    """One word out of a fixed list."""

    options: tuple[str, ...]

    def __str__(self) -> str:
        return "one of " + ", ".join(self.options)


@frozen(repr=False)
class Text(_Sort):
    """Free text or an identifier: shown and compared, never computed with."""

    def __str__(self) -> str:
        return "text"


@frozen(repr=False)
class Date(_Sort):
    """A calendar day."""

    def __str__(self) -> str:
        return "a date (2026-05-02)"


@frozen(repr=False)
class Curve(_Sort):
    """A table of points read between its first and last point, linearly."""

    over: Quantity | Temperature
    of: Quantity | Temperature

    def __str__(self) -> str:
        return f"a curve of {self.of} over {self.over}"


@frozen(repr=False)
class Component(_Sort):
    """A single component of a kind."""

    kind: str

    def __str__(self) -> str:
        return f"a {self.kind}"


@frozen(repr=False)
class Components(_Sort):
    """Several components of a kind."""

    kind: str

    def __str__(self) -> str:
        return f"several of kind {self.kind}"


@frozen(repr=False)
class Group(_Sort):
    """The attributes of a component below a common word: ``p.charge``."""

    kind: str
    path: str

    def __str__(self) -> str:
        return f"the group `{self.path}` of a {self.kind}"


Type = Quantity | Temperature | Truth | Choice | Text | Date | Curve | Component | Components | Group


@frozen
class Attribute:
    """A fact that a kind of component may state.

    ``path`` is dotted (``charge.ceiling``); ``unit`` is the one it is shown in and accepts the dimension of;
    ``adjustable`` marks a setting that a person may enter, in steps of ``resolution`` (SI); ``signed`` marks what
    may lie below zero, which no limit, rating or duration does;
    ``inverse`` names the relation seen from the other side; ``part`` marks components written in place;
    ``derived`` marks such an inverse, which documents do not state; ``count`` marks a whole number;
    of a curve, ``unit`` is the one of its values and ``over_unit`` the one it is read over.
    """

    path: str
    type: Type
    meaning: str
    unit: Unit | None = None
    adjustable: bool = False
    resolution: Fraction | None = None
    inverse: str = ""
    part: bool = False
    open_standard: str = ""
    derived: bool = False
    count: bool = False
    over_unit: Unit | None = None
    signed: bool = False


@frozen(eq=False)
class Kind:
    """A sort of component: its attributes by dotted path and the key its components stand under."""

    name: str
    plural: str
    meaning: str
    attributes: Mapping[str, Attribute]
    single: bool = False
    groups: frozenset[str] = field(init=False)

    @groups.default
    def _groups(self) -> frozenset[str]:
        found: set[str] = set()
        for path in self.attributes:
            parts = path.split(".")
            found.update(".".join(parts[:count]) for count in range(1, len(parts)))
        return frozenset(found)

    def member(self, prefix: str, name: str) -> Type | None:
        """The type of ``name`` below the group ``prefix`` (empty: the component itself), None if unknown."""
        path = f"{prefix}.{name}" if prefix else name
        attribute = self.attributes.get(path)
        if attribute is not None:
            return attribute.type
        return Group(self.name, path) if path in self.groups else None

    def names_below(self, prefix: str) -> list[str]:
        """The words that may follow a prefix, in order of the vocabulary."""
        start = prefix + "." if prefix else ""
        words = (path[len(start) :].split(".")[0] for path in self.attributes if path.startswith(start))
        return list(dict.fromkeys(words))
