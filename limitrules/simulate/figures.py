"""Reading the figures of a rehearsal from a document: what is used, what is missing, what would be assumed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction

from attrs import frozen

from limitrules.foundation.units import parse_unit
from limitrules.model.quantity import Uncertain
from limitrules.model.system import System
from limitrules.model.values import ComponentRecord, Table, Unknown, Value
from limitrules.simulate.told import Need


@frozen
class Spread:
    """An uncertain figure that was used: bounds in SI, and what it shares its deviation with, if anything."""

    path: str
    low: float
    nominal: float
    high: float
    shared: str = ""


class Figures:
    """The figures of one system as floats in SI. ``at`` gives some of them another value, by path.

    What is read is kept: ``spreads`` of the uncertain ones, ``needs`` of the missing ones, ``taken`` in words.
    """

    def __init__(self, system: System, at: Mapping[str, float] | None = None) -> None:
        self.system = system
        self.at = at or {}
        self.spreads: dict[str, Spread] = {}
        self.needs: dict[str, Need] = {}
        self.taken: dict[str, None] = {}

    def number(self, record: ComponentRecord, attribute: str, usual: str = "", default: float | None = None) -> float:
        """A figure in SI. Where it is missing: ``default`` without a word, else ``usual``, noted as a need.

        NaN where nothing may be assumed; the need is noted then too.
        """
        path = f"{record.path}.{attribute}"
        value = record.values.get(attribute)
        content = value.content if value is not None else None
        if isinstance(content, Unknown) and content.within is not None:
            content = content.within
        if isinstance(content, Uncertain):
            return self._used(path, content, value)
        if default is not None and not isinstance(content, Unknown):
            return default
        self.needs[path] = Need(path, record.kind.attributes[attribute].meaning, usual)
        return in_si(usual) if usual else math.nan

    def optional(self, record: ComponentRecord, attribute: str) -> float | None:
        """A figure in SI, or None where the document leaves it out or calls it unknown."""
        value = record.values.get(attribute)
        if value is None or not isinstance(value.content, Uncertain):
            return None
        return self._used(f"{record.path}.{attribute}", value.content, value)

    def _used(self, path: str, content: Uncertain, value: Value | None) -> float:
        if path not in self.spreads and not content.is_exact:
            shared = value.shared if value is not None else ""
            ends = float(content.low), float(content.nominal), float(content.high)
            self.spreads[path] = Spread(path, *ends, shared)
        return self.at.get(path, float(content.nominal))

    def word(self, record: ComponentRecord, attribute: str) -> str:
        """A choice or text; empty where it is not stated."""
        value = record.values.get(attribute)
        return value.content if value is not None and isinstance(value.content, str) else ""

    def flag(self, record: ComponentRecord, attribute: str) -> bool | None:
        value = record.values.get(attribute)
        return value.content if value is not None and isinstance(value.content, bool) else None

    def curve(self, record: ComponentRecord, attribute: str) -> Table | None:
        value = record.values.get(attribute)
        return value.content if value is not None and isinstance(value.content, Table) else None

    def related(self, record: ComponentRecord, attribute: str) -> tuple[ComponentRecord, ...]:
        """The components that a relation leads to; none where the document does not say."""
        return self.system.related(record, record.kind.attributes[attribute]) or ()

    def part(self, record: ComponentRecord, attribute: str) -> ComponentRecord | None:
        return record.parts.get(attribute)

    def kind(self, name: str) -> tuple[ComponentRecord, ...]:
        """All components of a kind, in the order of the document."""
        return tuple(self.system.components[name].values())

    def cell(self, record: ComponentRecord) -> ComponentRecord | None:
        """The cell that a pack is made of; where the document does not say, the need is noted."""
        found = self.related(record, "cell")
        if not found:
            self.number(record, "cell")
            return None
        return found[0]

    def load_power(self, record: ComponentRecord) -> float:
        """The power (W) of a load: its peak, or else what it is rated for."""
        peak = self.optional(record, "power.peak")
        return self.number(record, "power.rated") if peak is None else peak

    def of_site(self, attribute: str) -> float | None:
        """A figure of the site in SI, or None where the document leaves it out or calls it unknown."""
        return None if self.site is None else self.optional(self.site, attribute)

    @property
    def site(self) -> ComponentRecord | None:
        return self.system.record("site")

    def take(self, words: str) -> None:
        """Note something that the rehearsal takes for granted."""
        self.taken[words] = None


def in_si(text: str) -> float:
    """``2 s``, ``0.1 ohm``: a figure of our own in SI."""
    number, _, unit = text.partition(" ")
    return float(parse_unit(unit).to_si(Fraction(number))) if unit else float(number)


def read_at(table: Table, x: float) -> float:
    """A curve read linearly; NaN outside of it."""
    xs = [float(value) for value in table.xs]
    if not xs[0] <= x <= xs[-1]:
        return math.nan
    for number in range(1, len(xs)):
        if x <= xs[number]:
            share = (x - xs[number - 1]) / (xs[number] - xs[number - 1])
            left, right = float(table.ys[number - 1]), float(table.ys[number])
            return left + share * (right - left)
    return float(table.ys[-1])
