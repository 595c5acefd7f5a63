"""Conductors: resistance when warm, voltage drop of a loop, ampacity as installed, and what a short fault heats."""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction
from typing import TypeVar

from limitrules.foundation import dimension as d
from limitrules.foundation.kinds import Quantity, Temperature, Type
from limitrules.language.functions import STANDARD, Argument, Bounds, Direction, Function, Mistyped

RISES, FALLS, NEITHER = Direction.RISES, Direction.FALLS, Direction.NEITHER
_SLACK = 1e-14  # about 90 roundings; no formula below has more than sixteen
_TWENTY = 293.15  # the float is 2.3e-14 K below 20 degC, which no formula below feels
_HOTTEST = 800.0  # kelvin; beyond it resistance is no longer a straight line over temperature
_K_SQUARED = d.CURRENT**2 * d.TIME / d.AREA**2
_HEAT = d.ENERGY / d.TEMPERATURE_DIFFERENCE / d.LENGTH**3
_RESISTIVITY = d.RESISTANCE * d.LENGTH
N = TypeVar("N", float, Fraction)
_ROOT = STANDARD["sqrt"].exact
assert _ROOT is not None


def _gives(kind: Type) -> Callable[[tuple[Type, ...]], Type]:
    return lambda types: kind


def _around(value: float) -> Bounds:
    """A figure that is not negative, outwards by the slack."""
    return max(0.0, value - _SLACK * value), value + _SLACK * value


def _minus(pair: Bounds) -> Bounds:
    return -pair[1], -pair[0]


def _monomial(over: tuple[Bounds, ...], under: tuple[Bounds, ...] = (), factor: float = 1.0) -> Bounds:
    """A product of pairs that are not negative over a product of pairs above zero, outwards."""
    low = factor * math.prod(pair[0] for pair in over) / math.prod(pair[1] for pair in under)
    high = factor * math.prod(pair[1] for pair in over) / math.prod(pair[0] for pair in under)
    return _around(low)[0], _around(high)[1]


def _signed(size: Bounds, pair: Bounds) -> Bounds:
    """A pair that is not negative times one of any sign, outwards."""
    low, high = pair[0] * size[pair[0] < 0.0], pair[1] * size[pair[1] > 0.0]
    return low - _SLACK * abs(low), high + _SLACK * abs(high)


def _between(a: Bounds, b: Bounds) -> Bounds:
    """The difference of two pairs; its two roundings are outweighed by the slack that follows."""
    return a[0] - b[1], a[1] - b[0]


def _exactly(formula: Callable[..., Fraction]) -> Callable[..., tuple[Fraction, Fraction]]:
    def both(*values: Fraction) -> tuple[Fraction, Fraction]:
        value = formula(*values)
        return value, value

    return both


def _warm(resistance: N, coefficient: N, reference: N, temperature: N) -> N:
    return resistance * (1 + coefficient * (temperature - reference))


def resistance_at_temperature(resistance: float, coefficient: float, reference: float, temperature: float) -> Bounds:
    """Enclosure of the resistance at a temperature (K): R (1 + alpha (T - T_ref)).

    ``resistance`` is the one at the reference temperature (K): of a conductor (ohm), of a metre of it (ohm/m), or of
    its material (ohm*m); the result is of the same sort. The coefficient (1/K) is the one at the reference.
    """
    factor = 1.0 + coefficient * (temperature - reference)
    if resistance < 0.0 or factor <= 0.0:
        raise ValueError("a resistance and a temperature at which the straight line is above zero")
    return _around(_warm(resistance, coefficient, reference, temperature))


def _warm_type(types: tuple[Type, ...]) -> Type:
    if types[0] not in [Quantity(d.RESISTANCE), Quantity(d.RESISTANCE / d.LENGTH), Quantity(_RESISTIVITY)]:
        raise Mistyped("a resistance (ohm), a resistance per length (ohm/m) or a resistivity (ohm*mm2/m)")
    return types[0]


def _warm_box(resistance: Bounds, coefficient: Bounds, reference: Bounds, temperature: Bounds) -> Bounds:
    """It rises with the coefficient above the reference and falls below: one of its ends decides."""
    return (
        min(resistance_at_temperature(resistance[0], each, reference[1], temperature[0])[0] for each in coefficient),
        max(resistance_at_temperature(resistance[1], each, reference[0], temperature[1])[1] for each in coefficient),
    )


def _warm_slopes(resistance: Bounds, coefficient: Bounds, reference: Bounds, temperature: Bounds) -> tuple[Bounds, ...]:
    per_kelvin = _monomial((resistance, coefficient))
    factor = _warm_box((1.0, 1.0), coefficient, reference, temperature)
    return factor, _signed(resistance, _between(temperature, reference)), _minus(per_kelvin), per_kelvin


def _loop(length: N, area: N, resistivity: N) -> N:
    return 2 * resistivity * length / area


def loop_resistance(length: float, area: float, resistivity: float) -> Bounds:
    """Enclosure of the resistance (ohm) of both poles: 2 rho L / S, with L (m) of one pole, S (m2), rho (ohm*m)."""
    return _around(_loop(length, area, resistivity))


def _loop_slopes(length: Bounds, area: Bounds, resistivity: Bounds) -> tuple[Bounds, ...]:
    return (
        _monomial((resistivity,), (area,), 2.0),
        _minus(_monomial((resistivity, length), (area, area), 2.0)),
        _monomial((length,), (area,), 2.0),
    )


def _drop(current: N, length: N, area: N, resistivity: N) -> N:
    return 2 * resistivity * length * current / area


def loop_voltage_drop(current: float, length: float, area: float, resistivity: float) -> Bounds:
    """Enclosure of the voltage (V) that both poles lose at a current (A): 2 rho L I / S; see `loop_resistance`."""
    return _around(_drop(current, length, area, resistivity))


def _drop_slopes(current: Bounds, length: Bounds, area: Bounds, resistivity: Bounds) -> tuple[Bounds, ...]:
    return (
        _monomial((resistivity, length), (area,), 2.0),
        _monomial((resistivity, current), (area,), 2.0),
        _minus(_monomial((resistivity, length, current), (area, area), 2.0)),
        _monomial((length, current), (area,), 2.0),
    )


def derated_ampacity(ampacity: float, grouping: float, maximum: float, reference: float, ambient: float) -> Bounds:
    """Enclosure of the continuous current (A) as installed: I g sqrt((T_max - T_amb) / (T_max - T_ref)).

    The table's ampacity (A) holds at its reference ambient (K); ``maximum`` (K) is the temperature that the insulation
    bears, ``grouping`` the factor for neighbours. Zero where the surroundings are that hot themselves. Raises
    ValueError for a reference that is not below the maximum.
    """
    if maximum <= reference:
        raise ValueError("a reference ambient below the highest temperature of the insulation")
    return _around(ampacity * grouping * math.sqrt(max(0.0, maximum - ambient) / (maximum - reference)))


def _derated_box(ampacity: Bounds, grouping: Bounds, maximum: Bounds, reference: Bounds, ambient: Bounds) -> Bounds:
    """It rises with the maximum where the ambient is above the reference and falls below: one of its ends decides."""
    if maximum[0] <= reference[1]:
        raise ValueError("a reference ambient below the highest temperature of the insulation")
    return (
        min(derated_ampacity(ampacity[0], grouping[0], each, reference[0], ambient[1])[0] for each in maximum),
        max(derated_ampacity(ampacity[1], grouping[1], each, reference[1], ambient[0])[1] for each in maximum),
    )


def _derated_exact(
    ampacity: Fraction, grouping: Fraction, maximum: Fraction, reference: Fraction, ambient: Fraction
) -> tuple[Fraction, Fraction]:
    if maximum <= reference:
        return -math.inf, math.inf  # type: ignore[return-value]
    assert _ROOT is not None
    low, high = _ROOT(max(Fraction(0), maximum - ambient) / (maximum - reference))
    return ampacity * grouping * low, ampacity * grouping * high


def _derated_slopes(
    ampacity: Bounds, grouping: Bounds, maximum: Bounds, reference: Bounds, ambient: Bounds
) -> tuple[Bounds, ...]:
    """With a = T_max - T_amb and b = T_max - T_ref, of I g sqrt(a / b). Raises ValueError where they reach zero."""
    cooling, based = _between(maximum, ambient), _between(maximum, reference)
    if cooling[0] <= 0.0 or based[0] <= 0.0:
        raise ValueError("an ambient and a reference below the highest temperature of the insulation")
    root, base_root = ((math.sqrt(low), math.sqrt(high)) for low, high in (cooling, based))
    size = _monomial((ampacity, grouping), factor=0.5)
    steep = _monomial((size,), (root, base_root, based))
    return (
        _monomial((grouping, root), (base_root,)),
        _monomial((ampacity, root), (base_root,)),
        _signed(steep, _between(ambient, reference)),
        _monomial((size, root), (base_root, based)),
        _minus(_monomial((size,), (root, base_root))),
    )


def ambient_factor(maximum: float, reference: float, ambient: float) -> Bounds:
    """Enclosure of sqrt((T_max - T_amb) / (T_max - T_ref)); see `derated_ampacity`. All temperatures in K."""
    return derated_ampacity(1.0, 1.0, maximum, reference, ambient)


_ONE, _ONE_EXACT = (1.0, 1.0), Fraction(1)


def _factor_box(maximum: Bounds, reference: Bounds, ambient: Bounds) -> Bounds:
    return _derated_box(_ONE, _ONE, maximum, reference, ambient)


def _factor_exact(maximum: Fraction, reference: Fraction, ambient: Fraction) -> tuple[Fraction, Fraction]:
    return _derated_exact(_ONE_EXACT, _ONE_EXACT, maximum, reference, ambient)


def _factor_slopes(maximum: Bounds, reference: Bounds, ambient: Bounds) -> tuple[Bounds, ...]:
    return _derated_slopes(_ONE, _ONE, maximum, reference, ambient)[2:]


def _rise(start: float) -> float:
    """Kelvins above 20 degC; raises ValueError below."""
    if start < _TWENTY:
        raise ValueError("a conductor that starts at 20 degC or above")
    return start - _TWENTY


def adiabatic_k_squared(
    start: float, end: float, resistivity: float, coefficient: float, heat_capacity: float
) -> Bounds:
    """Enclosure of the square of k (A2s/m4) that heats a conductor from ``start`` to ``end`` (K).

    Q / (rho alpha) ln((1 + alpha (T_end - T_20)) / (1 + alpha (T_start - T_20))), with resistivity rho (ohm*m) and
    coefficient alpha (1/K) at 20 degC and heat capacity per volume Q (J/K/m3). Zero where it is as hot at the start.
    Raises ValueError for a start below 20 degC.
    """
    swing = coefficient * max(0.0, end - start) / (1.0 + coefficient * _rise(start))
    return _around(heat_capacity / (resistivity * coefficient) * math.log1p(swing))


def _withstand(current: N, area: N, k_squared: N) -> N:
    return k_squared * area * area / (current * current)


def withstand_time(current: float, area: float, k_squared: float) -> Bounds:
    """Enclosure of the time (s) for which a conductor bears a current (A): (k S)^2 / I^2, area S (m2), k2 (A2s/m4)."""
    return _around(_withstand(current, area, k_squared))


def _time_slopes(current: Bounds, area: Bounds, k_squared: Bounds) -> tuple[Bounds, ...]:
    square = current, current
    return (
        _minus(_monomial((k_squared, area, area), (*square, current), 2.0)),
        _monomial((k_squared, area), square, 2.0),
        _monomial((area, area), square),
    )


def withstand_current(time: float, area: float, k_squared: float) -> Bounds:
    """Enclosure of the current (A) that a conductor bears for a time (s): k S / sqrt(t), area S (m2), k2 (A2s/m4)."""
    return _around(area * math.sqrt(k_squared / time))


def _current_exact(time: Fraction, area: Fraction, k_squared: Fraction) -> tuple[Fraction, Fraction]:
    assert _ROOT is not None
    low, high = _ROOT(k_squared / time)
    return area * low, area * high


def _current_slopes(time: Bounds, area: Bounds, k_squared: Bounds) -> tuple[Bounds, ...]:
    k, root = ((math.sqrt(low), math.sqrt(high)) for low, high in (k_squared, time))
    return (
        _minus(_monomial((area, k), (root, time), 0.5)),
        _monomial((k,), (root,)),
        _monomial((area,), (root, k), 0.5),
    )


def temperature_after_fault(
    start: float, heat_integral: float, area: float, resistivity: float, coefficient: float, heat_capacity: float
) -> Bounds:
    """Enclosure of the temperature (K) after a heat integral (A2s) without cooling; it begins at ``start`` (K).

    T + (1 / alpha + T - T_20) (exp(I2t rho alpha / (S^2 Q)) - 1): `adiabatic_k_squared` solved for its end. Above
    800 K (about 525 degC) all that is said is that it is above. Raises ValueError for a start below 20 degC.
    """
    exponent = heat_integral * resistivity * coefficient / (area * area * heat_capacity)
    gain = (1.0 / coefficient + _rise(start)) * math.expm1(min(exponent, 700.0))
    if start + gain >= _HOTTEST:
        return _HOTTEST * (1.0 - _SLACK), math.inf
    # The relative error of exp grows with its exponent, which is below ten here.
    return start + gain * (1.0 - 10.0 * _SLACK) - 1e-12, start + gain * (1.0 + 10.0 * _SLACK) + 1e-12


def _argument(
    name: str, meaning: str, dimension: d.Dimension, direction: Direction, low: float, high: float
) -> Argument:
    return Argument(name, meaning, Quantity(dimension), direction, low, high)


def _degrees(name: str, meaning: str, direction: Direction, low: float = 223.0, high: float = 574.0) -> Argument:
    return Argument(name, meaning, Temperature(), direction, low, high)


def _section(direction: Direction) -> Argument:
    return _argument("area", "cross-section of one pole, its parallel cores together", d.AREA, direction, 1e-12, 1.0)


def _rho(direction: Direction, meaning: str = "resistivity at 20 degC") -> Argument:
    return _argument("resistivity", meaning, _RESISTIVITY, direction, 1e-10, 1e-4)


def _coefficient(direction: Direction, low: float) -> Argument:
    meaning = "relative rise of resistance per kelvin, at the temperature where the resistance holds"
    return _argument("coefficient", meaning, d.NUMBER / d.TEMPERATURE_DIFFERENCE, direction, low, 0.006)


def _heat_capacity(direction: Direction) -> Argument:
    return _argument("heat_capacity", "heat capacity of the metal per volume", _HEAT, direction, 1e5, 1e8)


_LENGTH = _argument("length", "length of one pole", d.LENGTH, RISES, 0.0, 1e6)
_CURRENT = _argument("current", "current in the loop", d.CURRENT, RISES, 0.0, 1e9)
_AT_WORK = "resistivity at working temperature"
_K = _argument("k_squared", "square of the factor k of the wiring rules", _K_SQUARED, RISES, 1e10, 1e20)
_MAXIMUM = _degrees("maximum", "highest continuous temperature of the insulation", NEITHER)
_REFERENCE = _degrees("reference", "ambient temperature on which the ampacity is based", RISES)
_AMBIENT = _degrees("ambient", "temperature of the surroundings", FALLS)
_START = "temperature before the fault, 20 degC or above"
_STEADY = "steady heat balance, loss at the insulation's limit in proportion to the rise above ambient"
_ADIABATIC = "heat of the current stored in the metal alone, resistivity a straight line over temperature"

FUNCTIONS = (
    Function(
        "resistance_at_temperature", "The resistance of a conductor, of a metre of it or of its material when warm.",
        (
            Argument("resistance", "resistance at the reference temperature", None, RISES, 0.0, 1e12),
            _coefficient(NEITHER, 0.0),
            _degrees("reference", "temperature at which that resistance holds", FALLS, high=374.0),
            _degrees("temperature", "temperature of the conductor", RISES),
        ),
        _warm_type, resistance_at_temperature, "linear temperature coefficient of a metal",
        _warm_box, _exactly(_warm), _warm_slopes,
    ),
    Function(
        "loop_resistance", "The resistance of both poles of a conductor.",
        (_LENGTH, _section(FALLS), _rho(RISES, _AT_WORK)), _gives(Quantity(d.RESISTANCE)), loop_resistance,
        "resistance of a prism, both poles in series", exact=_exactly(_loop), slopes=_loop_slopes,
    ),
    Function(
        "loop_voltage_drop", "The voltage that both poles of a conductor lose at a current.",
        (_CURRENT, _LENGTH, _section(FALLS), _rho(RISES, _AT_WORK)), _gives(Quantity(d.VOLTAGE)), loop_voltage_drop,
        "Ohm's law over the resistance of both poles", exact=_exactly(_drop), slopes=_drop_slopes,
    ),
    Function(
        "ambient_factor", "The share of an ampacity that is left in surroundings of another temperature.",
        (_MAXIMUM, _REFERENCE, _AMBIENT), _gives(Quantity(d.NUMBER)), ambient_factor, _STEADY,
        _factor_box, _factor_exact, _factor_slopes,
    ),
    Function(
        "derated_ampacity", "The continuous current that a conductor may carry as installed.",
        (
            _argument("ampacity", "ampacity in the table of the wiring rules", d.CURRENT, RISES, 0.0, 1e9),
            _argument("grouping", "factor for neighbouring loaded circuits", d.NUMBER, RISES, 0.0, 10.0),
            _MAXIMUM, _REFERENCE, _AMBIENT,
        ),
        _gives(Quantity(d.CURRENT)), derated_ampacity, _STEADY, _derated_box, _derated_exact, _derated_slopes,
    ),
    Function(
        "adiabatic_k_squared", "The square of the factor k with which a metal bears a short fault.",
        (
            _degrees("start", _START, FALLS, _TWENTY),
            _degrees("end", "highest temperature for a few seconds in a fault", RISES, _TWENTY, _HOTTEST),
            _rho(FALLS), _coefficient(FALLS, 1e-5), _heat_capacity(RISES),
        ),
        _gives(Quantity(_K_SQUARED)), adiabatic_k_squared, _ADIABATIC,
    ),
    Function(
        "withstand_time", "How long a conductor bears a fault current.",
        (_argument("current", "fault current", d.CURRENT, FALLS, 1e-6, 1e9), _section(RISES), _K),
        _gives(Quantity(d.TIME)), withstand_time, _ADIABATIC, exact=_exactly(_withstand), slopes=_time_slopes,
    ),
    Function(
        "withstand_current", "The fault current that a conductor bears for a time.",
        (_argument("time", "how long the fault lasts", d.TIME, FALLS, 1e-9, 1e9), _section(RISES), _K),
        _gives(Quantity(d.CURRENT)), withstand_current, _ADIABATIC, exact=_current_exact, slopes=_current_slopes,
    ),
    Function(
        "temperature_after_fault", "The temperature of a conductor after a short fault.",
        (
            _degrees("start", _START, RISES, _TWENTY),
            _argument("heat_integral", "heat integral of the fault", d.CURRENT**2 * d.TIME, RISES, 0.0, 1e18),
            _section(FALLS), _rho(RISES), _coefficient(RISES, 1e-5), _heat_capacity(FALLS),
        ),
        _gives(Temperature()), temperature_after_fault, _ADIABATIC,
    ),
)  # fmt: skip
