"""The values a system document states, and the components that carry them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from fractions import Fraction

from attrs import define, frozen

from limitrules.foundation.kinds import Kind
from limitrules.foundation.source import Source, Span
from limitrules.foundation.units import Unit
from limitrules.model.quantity import Uncertain


@frozen
class Unknown:
    """Stated as not known; ``within`` is the range it is known to lie in, if any."""

    within: Uncertain | None = None

    def __str__(self) -> str:
        return f"unknown, within {self.within}" if self.within else "unknown"


UNKNOWN = Unknown()


@frozen
class Table:
    """A curve: increasing points in SI, read linearly between the first and the last.

    ``tolerance`` holds for every value: a share of its size where ``relative``, else in SI.
    """

    xs: tuple[Fraction, ...]
    ys: tuple[Fraction, ...]
    over: Unit
    of: Unit
    tolerance: Fraction = Fraction(0)
    relative: bool = False

    def bounds(self, index: int) -> tuple[Fraction, Fraction]:
        """The lowest and highest value at a point."""
        value = self.ys[index]
        spread = abs(value) * self.tolerance if self.relative else self.tolerance
        return value - spread, value + spread


@frozen
class Note:
    """Where a value comes from. Empty where the document does not say.

    All values with one ``sensor``, or with one ``datum``, deviate together.
    """

    origin: str = ""
    date: date | None = None
    source: str = ""
    sensor: str = ""
    datum: str = ""

    @property
    def shared(self) -> str:
        """What the value shares its deviation with; empty where it deviates alone."""
        return f"sensor {self.sensor}" if self.sensor else f"datum {self.datum}" if self.datum else ""


Content = Uncertain | bool | str | date | Table | tuple[str, ...] | Unknown

_NO_NOTE = Note()


@define(eq=False, repr=False, weakref_slot=False)
class Value:
    """One value with its place in the text.

    ``content`` is a tuple of ids for a tie and of one path for a part. ``note`` is None for the short form.
    ``_place`` holds its start and end, packed.
    """

    content: Content
    _source: Source
    _place: int
    note: Note | None = None

    @property
    def span(self) -> Span:
        start = self._place >> 32
        return Span(self._source, start, start + (self._place & 0xFFFFFFFF))

    @property
    def start(self) -> int:
        return self._place >> 32

    @property
    def end(self) -> int:
        return (self._place >> 32) + (self._place & 0xFFFFFFFF)

    @property
    def text(self) -> str:
        """As written, in one line; a quantity with its tolerance where it stands in the long form."""
        written = self.span.text
        if ":" in written and isinstance(self.content, Uncertain | Unknown):
            return str(self.content)
        return " ".join(written.split())

    @property
    def is_unknown(self) -> bool:
        return isinstance(self.content, Unknown)

    @property
    def origin(self) -> str:
        return (self.note or _NO_NOTE).origin

    @property
    def date(self) -> date | None:
        return (self.note or _NO_NOTE).date

    @property
    def source(self) -> str:
        """What the document names as the source of the value."""
        return (self.note or _NO_NOTE).source

    @property
    def sensor(self) -> str:
        return (self.note or _NO_NOTE).sensor

    @property
    def shared(self) -> str:
        """What the value shares its deviation with; empty where it deviates alone."""
        return self.note.shared if self.note is not None else ""


def value_at(content: Content, source: Source, start: int, end: int, note: Note | None = None) -> Value:
    """A value that stands from ``start`` up to ``end``."""
    return Value(content, source, packed(start, end), note)


def packed(start: int, end: int) -> int:
    """A place as one number, since there are very many of them."""
    return start << 32 | end - start


@define(eq=False, repr=False, weakref_slot=False)
class ComponentRecord:
    """A component of a system, or a part of one (a protection function).

    ``values`` has every stated value by the attribute's path, inherited ones too; a part stands there under
    the path of its attribute and has a record of its own in ``parts``. ``own`` are the attributes stated in
    this place where ``like`` (the path of another component) adds others, else None.
    """

    kind: Kind
    path: str
    values: dict[str, Value]
    parts: dict[str, ComponentRecord]
    _source: Source
    _place: int
    like: str = ""
    own: frozenset[str] | None = None

    @property
    def id(self) -> str:
        return self.path.rpartition(".")[2]

    @property
    def span(self) -> Span:
        """The place of its id (of its attribute, for a part)."""
        start = self._place >> 32
        return Span(self._source, start, start + (self._place & 0xFFFFFFFF))

    def states(self, attribute: str) -> bool:
        """True where the value stands in this place of the document, not in the one of ``like``."""
        return attribute in self.values and (self.own is None or attribute in self.own)

    def everything(self) -> Iterator[tuple[str, Value]]:
        """All values with their full paths, those of parts after their own."""
        for attribute, value in self.values.items():
            if attribute not in self.parts:
                yield f"{self.path}.{attribute}", value
        for part in self.parts.values():
            yield from part.everything()


Records = Mapping[str, Mapping[str, ComponentRecord]]
