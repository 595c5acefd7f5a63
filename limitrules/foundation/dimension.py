"""Physical dimensions as vectors of rational exponents over the base quantities of the SI."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from attrs import frozen

BASES = ("m", "kg", "s", "A", "K", "mol")


@frozen
class Dimension:
    """Exponents of metre, kilogram, second, ampere, kelvin and mole, in this order."""

    exponents: tuple[int | Fraction, ...]

    def __mul__(self, other: Dimension) -> Dimension:
        return Dimension(tuple(a + b for a, b in zip(self.exponents, other.exponents, strict=True)))

    def __truediv__(self, other: Dimension) -> Dimension:
        return Dimension(tuple(a - b for a, b in zip(self.exponents, other.exponents, strict=True)))

    def __pow__(self, power: Fraction | int) -> Dimension:
        return Dimension(tuple(a * power for a in self.exponents))

    @property
    def is_number(self) -> bool:
        """True for a plain number or share."""
        return not any(self.exponents)

    @property
    def formula(self) -> str:
        """In base units: ``kg*m2/s3/A``."""
        over, under = [], []
        for base, exponent in zip(BASES, self.exponents, strict=True):
            if exponent > 0:
                over.append(base + _power(exponent))
            elif exponent < 0:
                under.append(base + _power(-exponent))
        return "/".join(["*".join(over) or "1", *under])

    def __str__(self) -> str:
        name = _NAMES.get(self)
        return f"{name[0]} ({name[1]})" if name else f"a quantity in {self.formula}"

    @property
    def unit_symbol(self) -> str:
        """The coherent unit a person would use for it: ``A`` for a current, else the base formula."""
        name = _NAMES.get(self)
        return name[1] if name else self.formula


def dimension(**exponents: int | Fraction) -> Dimension:
    """A dimension from its non-zero exponents: ``dimension(m=2, s=-2)``."""
    return Dimension(tuple(exponents.get(base, 0) for base in BASES))


def _power(exponent: int | Fraction) -> str:
    return "" if exponent == 1 else str(exponent)


NUMBER = dimension()
LENGTH = dimension(m=1)
AREA = LENGTH**2
MASS = dimension(kg=1)
TIME = dimension(s=1)
CURRENT = dimension(A=1)
TEMPERATURE_DIFFERENCE = dimension(K=1)
AMOUNT = dimension(mol=1)
FORCE = MASS * LENGTH / TIME**2
ENERGY = FORCE * LENGTH
POWER = ENERGY / TIME
CHARGE = CURRENT * TIME
VOLTAGE = POWER / CURRENT
RESISTANCE = VOLTAGE / CURRENT
CAPACITANCE = CHARGE / VOLTAGE
INDUCTANCE = VOLTAGE * TIME / CURRENT
FREQUENCY = NUMBER / TIME

_NAMES: Mapping[Dimension, tuple[str, str]] = {
    NUMBER: ("a plain number or share", "1"),
    LENGTH: ("length", "m"),
    AREA: ("area", "m2"),
    MASS: ("mass", "kg"),
    TIME: ("duration", "s"),
    CURRENT: ("current", "A"),
    TEMPERATURE_DIFFERENCE: ("temperature difference", "K"),
    AMOUNT: ("amount of substance", "mol"),
    FORCE: ("force", "N"),
    ENERGY: ("energy", "J"),
    POWER: ("power", "W"),
    CHARGE: ("charge", "A*s"),
    VOLTAGE: ("voltage", "V"),
    RESISTANCE: ("resistance", "ohm"),
    CAPACITANCE: ("capacitance", "F"),
    INDUCTANCE: ("inductance", "H"),
    FREQUENCY: ("frequency", "Hz"),
    CURRENT / TIME: ("current slew", "A/s"),
    CURRENT**2 * TIME: ("heat integral", "A2s"),
    VOLTAGE / TEMPERATURE_DIFFERENCE: ("voltage per kelvin", "V/K"),
    TEMPERATURE_DIFFERENCE / POWER: ("thermal resistance", "K/W"),
    ENERGY / TEMPERATURE_DIFFERENCE: ("heat capacity", "J/K"),
    POWER / AREA: ("irradiance", "W/m2"),
}
