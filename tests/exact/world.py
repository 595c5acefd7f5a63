"""Small systems for generated rules: components with their values, written out as documents.

Nothing here comes from the program under test: values, units and the text of the document are made by themselves.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

import attrs
from attrs import frozen

Range = tuple[Fraction, Fraction]

# What a unit is worth in the SI, and where its zero lies.
UNITS: Mapping[str, tuple[Fraction, Fraction]] = {
    "": (Fraction(1), Fraction(0)),
    "%": (Fraction(1, 100), Fraction(0)),
    "K": (Fraction(1), Fraction(0)),
    "degC": (Fraction(1), Fraction(27315, 100)),
    "A": (Fraction(1), Fraction(0)),
    "mA": (Fraction(1, 1000), Fraction(0)),
    "V": (Fraction(1), Fraction(0)),
    "mV": (Fraction(1, 1000), Fraction(0)),
    "ohm": (Fraction(1), Fraction(0)),
    "mohm": (Fraction(1, 1000), Fraction(0)),
    "W": (Fraction(1), Fraction(0)),
    "kW": (Fraction(1000), Fraction(0)),
}


def in_si(value: Fraction, unit: str) -> Fraction:
    factor, zero = UNITS[unit]
    return value * factor + zero


def decimal(value: Fraction) -> str | None:
    """The decimal text of a number that is not negative; None where it has none of reasonable length."""
    for places in range(13):
        scaled = value * 10**places
        if scaled.denominator == 1:
            digits = str(scaled.numerator).rjust(places + 1, "0")
            return f"{digits[:-places]}.{digits[-places:]}" if places else digits
    return None


def signed(value: Fraction) -> str:
    text = decimal(abs(value))
    assert text is not None, value
    return ("-" if value < 0 else "") + text


@frozen
class Given:
    """One value of a document. ``form`` says how it is written; ``spread`` is in the unit, of a share in per cent.

    The forms: exact, share (`96 A ± 2 %`), amount (`96 A ± 2 A`), range (`94 A .. 98 A`), long, unknown, and ranged
    (unknown within a range).
    """

    form: str
    nominal: Fraction
    spread: Fraction
    unit: str

    @property
    def is_open(self) -> bool:
        return self.form in ("unknown", "ranged")

    @property
    def half(self) -> Fraction:
        """How far it may lie from its nominal value, in its unit."""
        if self.form in ("exact", "unknown"):
            return Fraction(0)
        return abs(self.nominal) * self.spread / 100 if self.form in ("share", "long") else self.spread

    @property
    def range(self) -> Range | None:
        """Its ends in the SI; None where nothing is known of it."""
        if self.form == "unknown":
            return None
        return in_si(self.nominal - self.half, self.unit), in_si(self.nominal + self.half, self.unit)

    @property
    def middle(self) -> Fraction:
        return in_si(self.nominal, self.unit)

    @property
    def text(self) -> str:
        value, ends = self._shown(self.nominal), ""
        if self.form in ("range", "ranged"):
            ends = f"{self._shown(self.nominal - self.half)} .. {self._shown(self.nominal + self.half)}"
        step = "K" if self.unit == "degC" else self.unit
        return {
            "exact": value,
            "share": f"{value} ± {signed(self.spread)} %",
            "amount": f"{value} +- {signed(self.spread)} {step}".rstrip(),
            "range": ends,
            "long": f"{{value: {value}, tolerance: {signed(self.spread)} %, origin: measured}}",
            "unknown": "unknown",
            "ranged": f"{{value: unknown, range: {ends}}}",
        }[self.form]

    def _shown(self, value: Fraction) -> str:
        return f"{signed(value)} {self.unit}".rstrip()

    def scaled(self, factor: Fraction) -> Given:
        """The same with a spread so many times as wide."""
        return attrs.evolve(self, spread=self.spread * factor)

    def in_unit(self, unit: str) -> Given:
        """The same, written in another unit of the same dimension."""
        factor = UNITS[self.unit][0] / UNITS[unit][0]
        spread = self.spread if self.form in ("share", "long") else self.spread * factor
        return Given(self.form, self.nominal * factor, spread, unit)


@frozen
class Curve:
    """A table; its tolerance is a share in per cent of the reading, or an amount in the unit of the values."""

    points: tuple[tuple[Fraction, Fraction], ...]
    over: str
    of: str
    tolerance: Fraction = Fraction(0)
    is_share: bool = False

    @property
    def table(self) -> tuple[tuple[Fraction, Fraction], ...]:
        return tuple((in_si(x, self.over), in_si(y, self.of)) for x, y in self.points)

    @property
    def error(self) -> Fraction:
        return self.tolerance / 100 if self.is_share else in_si(self.tolerance, self.of)

    @property
    def text(self) -> str:
        points = ", ".join(f"[{signed(x)} {self.over}, {f'{signed(y)} {self.of}'.strip()}]" for x, y in self.points)
        tolerance = f", tolerance: {signed(self.tolerance)} {'%' if self.is_share else self.of}".rstrip()
        return f"{{points: [{points}]{tolerance if self.tolerance else ''}}}"

    def scaled(self, factor: Fraction) -> Curve:
        return attrs.evolve(self, tolerance=self.tolerance * factor)


@frozen
class World:
    """Components by path (`packs.north`) with their values and curves, and which packs the converter feeds."""

    values: Mapping[str, Mapping[str, Given]]
    curves: Mapping[str, Curve]
    feeds: tuple[str, ...]

    @property
    def packs(self) -> tuple[str, ...]:
        return tuple(path for path in self.values if path.startswith("packs."))

    @property
    def converter(self) -> str:
        return next(path for path in self.values if path.startswith("converters."))

    @property
    def cell(self) -> str:
        return next(path for path in self.values if path.startswith("cells."))

    def given(self, key: str) -> Given | None:
        """The value at a path; None where the document says nothing of it."""
        parts = key.split(".")
        length = 1 if parts[0] == "site" else 2
        return self.values[".".join(parts[:length])].get(".".join(parts[length:]))

    def document(self, more: str = "") -> str:
        """The system document; ``more`` is added as it stands."""
        lines = ["limitrules: system/1", "name: trial"]
        for plural in dict.fromkeys(path.split(".")[0] for path in self.values):
            lines.append(f"{plural}:")
            for path, values in self.values.items():
                if path.split(".")[0] != plural:
                    continue
                inner = "  "
                if plural != "site":
                    lines.append(f"  {path.split('.')[1]}:")
                    inner = "    "
                lines += [f"{inner}{line}" for line in self._component(path, values)]
        return "\n".join(lines) + "\n" + more

    def _component(self, path: str, values: Mapping[str, Given]) -> list[str]:
        texts = {name: given.text for name, given in values.items()}
        texts |= {key.removeprefix(path + "."): curve.text for key, curve in self.curves.items()
                  if key.startswith(path + ".")}  # fmt: skip
        if path == "site":
            texts["mode"] = "island"
        if path.startswith("packs."):
            texts["cell"] = self.cell.split(".")[1]
        if path.startswith("converters."):
            texts["feeds"] = f"[{', '.join(pack.split('.')[1] for pack in self.feeds)}]"
        return _nested(texts)


def _nested(texts: Mapping[str, str]) -> list[str]:
    """Dotted paths written as maps in maps."""
    lines = []
    for head in dict.fromkeys(path.split(".")[0] for path in texts):
        if head in texts:
            lines.append(f"{head}: {texts[head]}")
            continue
        below = {path.removeprefix(head + "."): text for path, text in texts.items() if path.startswith(head + ".")}
        lines += [f"{head}:", *(f"  {line}" for line in _nested(below))]
    return lines
