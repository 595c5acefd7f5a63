"""The units of the trade, exact to the last decimal.

A unit text is a product of symbols: ``A``, ``A/s``, ``ohm*mm2/m``, ``1/h``. There are no blanks inside it.
Sources of the factors: SI brochure (9th edition) and the definitions of hour, day and degree Celsius in it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction

from attrs import frozen

from limitrules.foundation import dimension as d
from limitrules.foundation.diagnostics import nearest
from limitrules.foundation.dimension import Dimension

ZERO_CELSIUS = Fraction(27315, 100)


@frozen
class Unit:
    """``value in SI = value * factor + offset``. Only absolute temperatures have an offset."""

    symbol: str
    factor: Fraction
    dimension: Dimension
    offset: Fraction = Fraction(0)

    def __str__(self) -> str:
        return self.symbol

    def to_si(self, value: Fraction) -> Fraction:
        scaled = value * self.factor
        return scaled + self.offset if self.offset else scaled

    def from_si(self, value: Fraction) -> Fraction:
        return (value - self.offset) / self.factor

    @property
    def is_temperature(self) -> bool:
        """True for an absolute temperature (degC)."""
        return bool(self.offset)


class UnknownUnit(ValueError):
    """A unit text that is not in the table; ``suggestion`` is the nearest symbol or empty."""

    def __init__(self, text: str, suggestion: str) -> None:
        self.text = text
        self.suggestion = suggestion
        super().__init__(f"`{text}` is not a unit that is known here")


_MILLI, _MICRO, _KILO, _MEGA = Fraction(1, 1000), Fraction(1, 10**6), Fraction(1000), Fraction(10**6)
_HOUR = Fraction(3600)


def _table() -> dict[str, Unit]:
    units: dict[str, Unit] = {}

    def add(dim: Dimension, **factors: Fraction | int) -> None:
        for symbol, factor in factors.items():
            units[symbol] = Unit(symbol, Fraction(factor), dim)

    add(d.CURRENT, uA=_MICRO, mA=_MILLI, A=1, kA=_KILO)
    add(d.VOLTAGE, uV=_MICRO, mV=_MILLI, V=1, kV=_KILO)
    add(d.POWER, mW=_MILLI, W=1, kW=_KILO, MW=_MEGA, VA=1, kVA=_KILO, MVA=_MEGA, var=1, kvar=_KILO)
    add(d.ENERGY, J=1, kJ=_KILO, MJ=_MEGA, Wh=_HOUR, kWh=_KILO * _HOUR, MWh=_MEGA * _HOUR)
    add(d.CHARGE, mAh=_MILLI * _HOUR, Ah=_HOUR, C=1)
    add(d.RESISTANCE, uohm=_MICRO, mohm=_MILLI, ohm=1, kohm=_KILO, Mohm=_MEGA)
    add(d.INDUCTANCE, nH=Fraction(1, 10**9), uH=_MICRO, mH=_MILLI, H=1)
    add(d.CAPACITANCE, nF=Fraction(1, 10**9), uF=_MICRO, mF=_MILLI, F=1)
    add(d.TIME, us=_MICRO, ms=_MILLI, s=1, min=60, h=_HOUR, d=24 * _HOUR)
    add(d.FREQUENCY, mHz=_MILLI, Hz=1, kHz=_KILO, MHz=_MEGA)
    add(d.LENGTH, mm=_MILLI, cm=Fraction(1, 100), m=1, km=_KILO)
    add(d.AREA, mm2=_MICRO, cm2=Fraction(1, 10**4), m2=1)
    add(d.MASS, g=_MILLI, kg=1)
    add(d.FORCE, N=1, kN=_KILO)
    add(d.AMOUNT, mol=1)
    add(d.CURRENT**2 * d.TIME, A2s=1, kA2s=_MEGA)
    add(d.NUMBER, ppm=_MICRO, bit=1, kbit=_KILO, Mbit=_MEGA)
    units["%"] = Unit("%", Fraction(1, 100), d.NUMBER)
    units["K"] = Unit("K", Fraction(1), d.TEMPERATURE_DIFFERENCE)
    units["degC"] = Unit("degC", Fraction(1), d.TEMPERATURE_DIFFERENCE, ZERO_CELSIUS)
    return units


UNITS: Mapping[str, Unit] = _table()

# Written by people and by device pages; the printer always uses the plain symbol.
_SPELLINGS = {
    "\N{OHM SIGN}": "ohm",
    "\N{GREEK CAPITAL LETTER OMEGA}": "ohm",
    "\N{MICRO SIGN}": "u",
    "\N{GREEK SMALL LETTER MU}": "u",
    "°C": "degC",
    "\N{DEGREE CELSIUS}": "degC",
    "²": "2",
    "·": "*",
}
_FACTOR = re.compile(r"(?P<symbol>%|[A-Za-z]+?(?:2s)?)(?P<power>[1-9]?)\Z")
_ONE = Unit("1", Fraction(1), d.NUMBER)

_SUGGESTIONS = {
    "amp": "A", "amps": "A", "ampere": "A", "amperes": "A", "volt": "V", "volts": "V", "watt": "W", "watts": "W",
    "sec": "s", "secs": "s", "second": "s", "seconds": "s", "minute": "min", "minutes": "min", "mins": "min",
    "hour": "h", "hours": "h", "hr": "h", "hrs": "h", "day": "d", "days": "d", "ohms": "ohm", "percent": "%",
    "celsius": "degC", "c": "degC", "°c": "degC", "deg": "degC", "kelvin": "K", "ah": "Ah", "wh": "Wh",
    "kwh": "kWh", "kw": "kW", "kva": "kVA", "mah": "mAh", "ma": "mA", "mv": "mV", "hz": "Hz", "sqmm": "mm2",
}  # fmt: skip


def parse_unit(text: str) -> Unit:
    """The unit a text names. Raises UnknownUnit, with the nearest symbol, when it names none."""
    known = UNITS.get(text)
    if known is not None:
        return known
    plain = text
    for spelling, symbol in _SPELLINGS.items():
        plain = plain.replace(spelling, symbol)
    if plain in UNITS:
        return UNITS[plain]
    parts = re.split(r"([*/])", plain)
    result = _ONE
    for index in range(0, len(parts), 2):
        unit = _factor(parts[index], text, first=index == 0, alone=len(parts) == 1)
        if index and parts[index - 1] == "/":
            result = Unit(plain, result.factor / unit.factor, result.dimension / unit.dimension)
        else:
            result = Unit(plain, result.factor * unit.factor, result.dimension * unit.dimension)
    return Unit(plain, result.factor, result.dimension)


def _factor(symbol: str, whole: str, *, first: bool, alone: bool) -> Unit:
    if symbol == "1" and first and not alone:
        return _ONE
    if symbol in UNITS and not UNITS[symbol].offset:
        return UNITS[symbol]
    match = _FACTOR.match(symbol)
    if match and match["power"] and match["symbol"] in UNITS and not UNITS[match["symbol"]].offset:
        base, power = UNITS[match["symbol"]], int(match["power"])
        return Unit(symbol, base.factor**power, base.dimension**power)
    raise UnknownUnit(whole, suggest(whole))


def suggest(text: str) -> str:
    """The unit that was probably meant, or an empty text."""
    return _SUGGESTIONS.get(text.lower(), "") or nearest(text, UNITS)


def unit_for(dim: Dimension) -> Unit:
    """The coherent unit in which a quantity of this dimension is shown when nothing else is known."""
    if dim.is_number:
        return _ONE
    try:
        return parse_unit(dim.unit_symbol)
    except UnknownUnit:
        return Unit(dim.formula, Fraction(1), dim)
