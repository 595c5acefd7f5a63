"""The values that a setting can be given: multiples of its resolution within a range."""

from __future__ import annotations

import math
from fractions import Fraction

from attrs import frozen

from limitrules.foundation.diagnostics import InputError, refuse
from limitrules.foundation.exact import plain_decimal
from limitrules.foundation.kinds import Attribute
from limitrules.foundation.units import Unit
from limitrules.model.quantity import Uncertain, difference_unit
from limitrules.model.system import System

_FINEST = 200_000
_COLDEST, _HOTTEST = Fraction(23315, 100), Fraction(37315, 100)  # -40 and 100 degrees Celsius in kelvin
_WIDER, _STEPS = 4, 100
# Where the vocabulary states no resolution: as fine as such settings are usually entered.
_USUAL_STEP = {"A": Fraction(1), "V": Fraction(5, 1000), "degC": Fraction(1), "K": Fraction(1), "s": Fraction(1, 10)}


@frozen(eq=False)
class Grid:
    """``count`` values from ``low`` in steps of ``step`` (SI), in the unit in which the setting is written.

    ``relative`` and ``absolute`` are the tolerance that a value keeps wherever it stands: a share of it, or an amount.
    ``bound``: what the range ends at, in words.
    """

    path: str
    attribute: Attribute
    unit: Unit
    low: Fraction
    step: Fraction
    count: int
    relative: Fraction
    absolute: Fraction
    bound: str

    def value(self, number: int) -> Fraction:
        """A value of the grid (SI)."""
        return self.low + number * self.step

    def span(self, first: int, last: int) -> tuple[Fraction, Fraction]:
        """From the lowest to the highest that settings between two values can be within their tolerance (SI)."""
        low, high = self.value(first), self.value(last)
        return low - self._half(low), high + self._half(high)

    def _half(self, value: Fraction) -> Fraction:
        return abs(value) * self.relative + self.absolute

    def number(self, value: Fraction) -> Fraction:
        """Where a value stands on the grid; a whole number where it is one of its values."""
        return (value - self.low) / self.step

    def text(self, number: int) -> str:
        """A value with its tolerance, as it is written in a document."""
        value = self.value(number)
        if self.relative:
            exact = Uncertain(value, value, value, self.unit)
            return f"{exact} ± {plain_decimal(100 * self.relative)} %"
        low, high = self.span(number, number)
        return str(Uncertain(value, low, high, self.unit))


def grid_of(system: System, path: str) -> Grid:
    """The grid of a setting. Raises InputError where the path names none, or no number."""
    attribute = system.attribute(path)
    if not attribute.adjustable:
        raise refuse("not-adjustable", f"`{path}` is no setting that a person enters", where=path,
                     advice="`limitrules vocabulary` marks settings as adjustable")  # fmt: skip
    step = _step(attribute)
    if step is None or attribute.unit is None:
        raise refuse("no-number", f"`{path}` is no number, so it has no window", where=path)
    value = system.value(path)
    content = value.content if value is not None else None
    known = content if isinstance(content, Uncertain) else None
    low, high, bound = _range(system, path, attribute, known, step)
    step *= max(math.ceil((high - low) / step / _FINEST), 1)  # a range that is too fine is looked at in larger steps
    offset = unit_offset(attribute.unit)
    first = offset - ((offset - low) // step) * step  # the first multiple on its own scale that is not below the range
    count = int((high - first) // step) + 1
    unit = attribute.unit if known is None else known.unit
    return Grid(path, attribute, unit, first, step, max(count, 1), *_tolerance(known), bound)


def unit_offset(unit: Unit) -> Fraction:
    """The zero of a scale in SI: 273.15 K for degrees Celsius."""
    return unit.to_si(Fraction(0))


def _step(attribute: Attribute) -> Fraction | None:
    if attribute.resolution is not None or attribute.unit is None:
        return attribute.resolution
    return _USUAL_STEP.get(attribute.unit.symbol)


def _tolerance(known: Uncertain | None) -> tuple[Fraction, Fraction]:
    """The tolerance as a share or as an amount, the way it is written."""
    if known is None or known.is_exact:
        return Fraction(0), Fraction(0)
    half = (known.high - known.low) / 2
    if known.is_relative and known.nominal and known.unit.symbol != "%":
        return half / abs(known.nominal), Fraction(0)
    return Fraction(0), half


def _range(
    system: System, path: str, attribute: Attribute, known: Uncertain | None, step: Fraction
) -> tuple[Fraction, Fraction, str]:  # fmt: skip
    """The range that is looked at (SI), and what it ends at."""
    unit = attribute.unit
    assert unit is not None
    if unit.is_temperature:
        return _COLDEST, _HOTTEST, "a range that covers all settings of temperature"
    rated = _rated(system, path)
    if rated is not None:
        return Fraction(0), rated, "the rating"
    if unit.symbol == "%":
        return Fraction(0), Fraction(1), "the whole"
    now = abs(known.nominal) if known is not None else Fraction(0)
    far = max(_WIDER * now, _STEPS * step)
    words = f"{_WIDER} times the present value" if now else "a range from zero"
    return (-far if attribute.signed else Fraction(0)), far, words


def _rated(system: System, path: str) -> Fraction | None:
    """What the same figure is rated for, where the document says."""
    head, _, last = path.rpartition(".")
    if last not in ("configured", "ceiling"):
        return None
    try:
        value = system.value(f"{head}.rated")
    except InputError:
        return None
    return value.content.high if value is not None and isinstance(value.content, Uncertain) else None


def settings_of(system: System) -> tuple[str, ...]:
    """The paths of all settings with a number that the document states, in its order."""
    return tuple(
        path
        for path, value in system.values()
        if (attribute := system.attribute(path)).adjustable
        and _step(attribute) is not None
        and isinstance(value.content, Uncertain)
    )


def step_words(grid: Grid) -> str:
    """The step in the unit of the setting."""
    unit = difference_unit(grid.unit)
    return f"{float(grid.step / unit.factor):g} {unit.symbol}"
