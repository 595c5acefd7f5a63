"""Conductors: resistance when warm, voltage drop, temperature and ampacity as installed, and what a joint heats."""

from __future__ import annotations

import math
from fractions import Fraction

from limitrules.foundation import dimension as d
from limitrules.foundation.exact import floats_around
from limitrules.foundation.kinds import Quantity, Temperature, Type
from limitrules.language.functions import STANDARD, Argument, Bounds, Direction, Function, Mistyped
from limitrules.language.pairs import negated
from limitrules.physics.converters import FALLS, NEITHER, RISES, exact_of, gives, point_of

Enclosure = tuple[Fraction, Fraction]
TINY = 1e-250
"""What is smaller may have lost its digits on the way and is only known to lie between zero and this."""
SLACK = 1e-14  # about 90 roundings; no formula of floats below has more than sixteen
TWENTY = Fraction(29315, 100)
RESISTIVITY = d.RESISTANCE * d.LENGTH
HEAT_INTEGRAL = d.CURRENT**2 * d.TIME
_PER_KELVIN = d.NUMBER / d.TEMPERATURE_DIFFERENCE
_NO_VALUE = (-math.inf, math.inf)


def around(value: float, weight: float = 1.0) -> Bounds:
    """A float that is not negative, outwards by a slack; ``weight`` multiplies it."""
    slack = SLACK * weight * value
    return (value - slack, value + slack) if value > TINY else (0.0, TINY)


def product(over: tuple[Bounds, ...], under: tuple[Bounds, ...] = (), factor: float = 1.0) -> Bounds:
    """A product of pairs that are not negative over a product of pairs above zero, outwards."""
    low = factor * math.prod(pair[0] for pair in over) / math.prod(pair[1] for pair in under)
    high = factor * math.prod(pair[1] for pair in over) / math.prod(pair[0] for pair in under)
    return around(low)[0], around(high)[1]


def signed(size: Bounds, pair: Bounds) -> Bounds:
    """A pair that is not negative times one of any sign, outwards."""
    low, high = pair[0] * size[pair[0] < 0.0], pair[1] * size[pair[1] > 0.0]
    return low - SLACK * abs(low) - TINY, high + SLACK * abs(high) + TINY


def apart(a: Bounds, b: Bounds) -> Bounds:
    """The difference of two pairs; its two roundings are outweighed by a slack that follows."""
    return a[0] - b[1], a[1] - b[0]


def root_of(value: Fraction) -> Enclosure:
    """Enclosure of a square root, exact where the root is rational."""
    exact = STANDARD["sqrt"].exact
    assert exact is not None
    return exact(value)


def floats_of(low: Fraction, high: Fraction) -> Bounds:
    """The narrowest floats around a pair of rationals; an infinity stays one, and no bounds raise ValueError."""
    if low == -math.inf:
        raise ValueError("a reference ambient below the highest temperature of the insulation")
    ends = (floats_around(end)[side] if end != math.inf else math.inf for side, end in enumerate((low, high)))
    return next(ends), next(ends)


def resistance_at_temperature(
    resistance: Fraction, coefficient: Fraction, reference: Fraction, temperature: Fraction
) -> Fraction:
    """The resistance at a temperature (K): R (1 + alpha (T - T_ref)).

    ``resistance`` is the one at the reference temperature (K): of a conductor (ohm), of a metre of it (ohm/m), or of
    its material (ohm*m); the result is of the same sort. The coefficient (1/K) is the one at the reference.
    """
    return resistance * (1 + coefficient * (temperature - reference))


def _warm_type(types: tuple[Type, ...]) -> Type:
    if types[0] not in [Quantity(d.RESISTANCE), Quantity(d.RESISTANCE / d.LENGTH), Quantity(RESISTIVITY)]:
        raise Mistyped("a resistance (ohm), a resistance per length (ohm/m) or a resistivity (ohm*mm2/m)")
    return types[0]


def _warm_over(resistance: Bounds, coefficient: Bounds, reference: Bounds, temperature: Bounds) -> Bounds:
    """It rises with the coefficient above the reference and falls below: one of its ends decides."""
    point = point_of(resistance_at_temperature)
    return (
        min(point(resistance[0], each, reference[1], temperature[0])[0] for each in set(coefficient)),
        max(point(resistance[1], each, reference[0], temperature[1])[1] for each in set(coefficient)),
    )


def _warm_slopes(resistance: Bounds, coefficient: Bounds, reference: Bounds, temperature: Bounds) -> tuple[Bounds, ...]:
    warmer, per_kelvin = apart(temperature, reference), product((resistance, coefficient))
    return _factor_of(coefficient, warmer), signed(resistance, warmer), negated(per_kelvin), per_kelvin


def _factor_of(coefficient: Bounds, warmer: Bounds) -> Bounds:
    low, high = signed(coefficient, warmer)
    return around(1.0 + low)[0], around(1.0 + high)[1]


def conductor_resistance(
    length: Fraction, area: Fraction, resistivity: Fraction, coefficient: Fraction, temperature: Fraction
) -> Fraction:
    """The resistance (ohm) of one pole at its temperature (K): rho (1 + alpha (T - 20 degC)) L / S.

    Length in m, cross-section in m2; resistivity (ohm*m) and coefficient (1/K) of the metal at 20 degC.
    """
    return resistance_at_temperature(resistivity, coefficient, TWENTY, temperature) * length / area


def _pole_over(length: Bounds, area: Bounds, resistivity: Bounds, coefficient: Bounds, temperature: Bounds) -> Bounds:
    point = point_of(conductor_resistance)
    return (
        min(point(length[0], area[1], resistivity[0], each, temperature[0])[0] for each in set(coefficient)),
        max(point(length[1], area[0], resistivity[1], each, temperature[1])[1] for each in set(coefficient)),
    )


def _pole_slopes(
    length: Bounds, area: Bounds, resistivity: Bounds, coefficient: Bounds, temperature: Bounds
) -> tuple[Bounds, ...]:
    warmer, cold = apart(temperature, floats_around(TWENTY)), product((resistivity, length), (area,))
    factor = _factor_of(coefficient, warmer)
    return (
        product((resistivity, factor), (area,)),
        negated(product((resistivity, factor, length), (area, area))),
        product((factor, length), (area,)),
        signed(cold, warmer),
        product((cold, coefficient)),
    )


def two_pole_voltage_drop(
    current: Fraction, length: Fraction, area: Fraction, resistivity: Fraction, joint_resistance: Fraction
) -> Fraction:
    """The voltage (V) that both poles lose at a current (A): I (2 rho L / S + R_joints).

    Length (m) of one pole, its cross-section (m2), resistivity at working temperature (ohm*m), and the resistance of
    all joints in both poles (ohm).
    """
    return current * (2 * resistivity * length / area + joint_resistance)


def _drop_slopes(
    current: Bounds, length: Bounds, area: Bounds, resistivity: Bounds, joint: Bounds
) -> tuple[Bounds, ...]:
    poles = product((resistivity, length), (area,), 2.0)
    return (
        product(((poles[0] + joint[0], poles[1] + joint[1]),)),
        product((current, resistivity), (area,), 2.0),
        negated(product((current, resistivity, length), (area, area), 2.0)),
        product((current, length), (area,), 2.0),
        product((current,)),
    )


def _settled(
    ambient: Fraction, maximum: Fraction, reference: Fraction, ampacity: Fraction, current: Fraction
) -> Enclosure:
    """The temperature (K), open above where it is above the maximum; no bounds for a reference not below that."""
    if maximum <= reference:
        return _NO_VALUE  # type: ignore[return-value]
    value = ambient + (maximum - reference) * (current / ampacity) ** 2
    return value, value if value <= maximum else math.inf  # type: ignore[return-value]


def conductor_temperature(ambient: float, maximum: float, reference: float, ampacity: float, current: float) -> Bounds:
    """Enclosure of the steady temperature (K) of a conductor: T_amb + (T_max - T_ref) (I / I_z)^2.

    The ampacity I_z (A) is the current that brings it to its maximum (K) in surroundings of the reference (K). Up to
    the maximum the law gives too much, since resistance is lower there; above it all that is said is that it is at
    least this hot. Raises ValueError for a reference that is not below the maximum.
    """
    return floats_of(*_settled(*map(Fraction, (ambient, maximum, reference, ampacity, current))))


def _settled_over(ambient: Bounds, maximum: Bounds, reference: Bounds, ampacity: Bounds, current: Bounds) -> Bounds:
    """It goes one way in each; whether it passes the maximum is decided at one of the ends of that."""
    near = ambient[0], maximum[0], reference[1], ampacity[1], current[0]
    far = [(ambient[1], end, reference[0], ampacity[0], current[1]) for end in maximum]
    found = [_settled(*map(Fraction, near)), *(_settled(*map(Fraction, each)) for each in far)]
    return floats_of(found[0][0], max(high for _, high in found[1:]))


def _settled_slopes(
    ambient: Bounds, maximum: Bounds, reference: Bounds, ampacity: Bounds, current: Bounds
) -> tuple[Bounds, ...]:
    if _settled_over(ambient, maximum, reference, ampacity, current)[1] == math.inf:
        raise ValueError("a temperature up to the highest of the insulation")
    span, square = apart(maximum, reference), (ampacity, ampacity)
    share = product((current, current), square)
    by_ampacity = negated(product((span, current, current), (*square, ampacity), 2.0))
    return (1.0, 1.0), share, negated(share), by_ampacity, product((span, current), square, 2.0)


def _factor(maximum: Fraction, reference: Fraction, ambient: Fraction) -> Enclosure:
    if maximum <= reference:
        return _NO_VALUE  # type: ignore[return-value]
    return root_of(max(Fraction(0), maximum - ambient) / (maximum - reference))


def ambient_factor(maximum: float, reference: float, ambient: float) -> Bounds:
    """Enclosure of the share of an ampacity that is left: sqrt((T_max - T_amb) / (T_max - T_ref)).

    Temperatures in K: the highest continuous one of the insulation, the ambient on which the ampacity is based, and
    that of the surroundings. Zero where these are as hot as the insulation bears. Raises ValueError for a reference
    that is not below the maximum.
    """
    return floats_of(*_factor(*map(Fraction, (maximum, reference, ambient))))


def _factor_over(maximum: Bounds, reference: Bounds, ambient: Bounds) -> Bounds:
    """It rises with the maximum where the ambient is above the reference and falls below: one of its ends decides."""
    if maximum[0] <= reference[1]:
        raise ValueError("a reference ambient below the highest temperature of the insulation")
    low = min(_factor(*map(Fraction, (end, reference[0], ambient[1])))[0] for end in maximum)
    return floats_of(low, max(_factor(*map(Fraction, (end, reference[1], ambient[0])))[1] for end in maximum))


def _factor_slopes(maximum: Bounds, reference: Bounds, ambient: Bounds) -> tuple[Bounds, ...]:
    """With a = T_max - T_amb and b = T_max - T_ref, of sqrt(a / b). Raises ValueError where they reach zero."""
    a, b = apart(maximum, ambient), apart(maximum, reference)
    if a[0] <= 0.0 or b[0] <= 0.0:
        raise ValueError("an ambient and a reference below the highest temperature of the insulation")
    one, (root_a, root_b) = (1.0, 1.0), ((math.sqrt(low), math.sqrt(high)) for low, high in (a, b))
    steep = product((one,), (root_a, root_b, b), 0.5)
    return (
        signed(steep, apart(ambient, reference)),
        product((root_a,), (root_b, b), 0.5),
        negated(product((one,), (root_a, root_b), 0.5)),
    )


def _cube_root(value: int) -> int:
    """The largest whole number whose cube is not above a value, by Newton's steps from above."""
    root = 1 << -(-value.bit_length() // 3)
    while (following := (2 * root + value // (root * root)) // 3) < root:
        root = following
    return root


def _grouped(circuits: Fraction) -> Enclosure:
    over, under, scale = circuits.denominator, circuits.numerator, 10**40
    cube = over * under * under * scale**3
    root = _cube_root(cube)
    return Fraction(root, under * scale), Fraction(root + (root**3 < cube), under * scale)


def grouping_factor(circuits: float) -> Bounds:
    """Enclosure of the share of an ampacity that is left to each of n equal loaded circuits in one bundle: n^(-1/3).

    The heat n I^2 R leaves through a surface that grows with sqrt(n); natural convection from a wide bundle is weaker,
    with the fourth root of its width: together n^(-5/16). What the inner circuits are hotter than the outer ones is
    met by rounding the exponent up. The table of the wiring rules in force goes before it.
    """
    return floats_of(*_grouped(Fraction(circuits)))


def _grouping_slopes(circuits: Bounds) -> tuple[Bounds]:
    factors = grouping_factor(circuits[1])[0], grouping_factor(circuits[0])[1]
    return (negated(product((factors,), (circuits,), 1.0 / 3.0)),)


def _joint(
    ambient: Fraction, current: Fraction, resistance: Fraction, coefficient: Fraction, thermal: Fraction
) -> Fraction:
    rise = current * current * resistance * thermal
    if coefficient * rise >= 1:
        return math.inf  # type: ignore[return-value]
    return ambient + rise * (1 + coefficient * (ambient - TWENTY)) / (1 - coefficient * rise)


def joint_temperature(
    ambient: float, current: float, resistance: float, coefficient: float, thermal_resistance: float
) -> Bounds:
    """Enclosure of the steady temperature (K) of a joint whose resistance (ohm at 20 degC) rises as it warms.

    T = T_amb + P (1 + alpha (T_amb - 20 degC)) / (1 - alpha P) with P = I^2 R R_th (K/W): the heat balance solved.
    Infinite, above any limit, where alpha P reaches one: it runs away. A coefficient (1/K) of zero leaves I^2 R R_th.
    """
    return _joint_over(*((value, value) for value in (ambient, current, resistance, coefficient, thermal_resistance)))


def _joint_over(ambient: Bounds, current: Bounds, resistance: Bounds, coefficient: Bounds, thermal: Bounds) -> Bounds:
    """Its slope over the coefficient is P (T_amb - 20 degC + P) / (1 - alpha P)^2, of one sign: the ends decide."""
    ends = [map(Fraction, side) for side in zip(ambient, current, resistance, thermal, strict=True)]
    least, most = ([_joint(t, i, r, Fraction(each), k) for each in set(coefficient)] for t, i, r, k in ends)
    return floats_of(min(least), max(most))


def quantity(name: str, meaning: str, of: d.Dimension, direction: Direction, low: float, high: float) -> Argument:
    """An argument of one dimension."""
    return Argument(name, meaning, Quantity(of), direction, low, high)


def degrees(name: str, meaning: str, direction: Direction, low: float = 223.0, high: float = 574.0) -> Argument:
    """An argument that is a temperature, from -50 to 300 degC where nothing else is said."""
    return Argument(name, meaning, Temperature(), direction, low, high)


def metal(in_resistivity: Direction, in_coefficient: Direction, least: float = 0.0) -> tuple[Argument, Argument]:
    """The two arguments that stand for a metal at 20 degC."""
    return (
        quantity("resistivity", "resistivity of the metal at 20 degC", RESISTIVITY, in_resistivity, 1e-10, 1e-4),
        quantity("coefficient", "relative rise of resistance per kelvin at 20 degC", _PER_KELVIN, in_coefficient,
                 least, 0.006),
    )  # fmt: skip


def section(direction: Direction) -> Argument:
    """The cross-section as an argument."""
    return quantity("area", "cross-section of one pole, its parallel cores together", d.AREA, direction, 1e-12, 1.0)


def amperes(name: str, meaning: str, direction: Direction, low: float = 0.0) -> Argument:
    """A current as an argument."""
    return quantity(name, meaning, d.CURRENT, direction, low, 1e9)


def seconds(name: str, meaning: str, direction: Direction, low: float = 0.0) -> Argument:
    """A time as an argument."""
    return quantity(name, meaning, d.TIME, direction, low, 1e9)


def ohms(name: str, meaning: str, direction: Direction, low: float = 0.0) -> Argument:
    """A resistance as an argument."""
    return quantity(name, meaning, d.RESISTANCE, direction, low, 1e6)


_LENGTH = quantity("length", "length of one pole", d.LENGTH, RISES, 0.0, 1e6)
_MAXIMUM = degrees("maximum", "highest continuous temperature of the insulation", NEITHER)
_CONDUCTOR = degrees("temperature", "temperature of the conductor", RISES)
_BASED = "ambient temperature on which the ampacity is based"
_AMBIENT = "temperature of the surroundings"
_LINEAR = "R = R0 (1 + alpha (T - T0)) (linear temperature coefficient of a metal)"
_STEADY = " (steady heat balance, loss at the insulation's limit in proportion to the rise above ambient)"

FUNCTIONS = (
    Function(
        "resistance_at_temperature", "The resistance of a conductor, of a metre of it or of its metal when warm.",
        (
            Argument("resistance", "resistance at the reference temperature", None, RISES, 0.0, 1e12),
            quantity("coefficient", "relative rise of resistance per kelvin at that temperature", _PER_KELVIN, NEITHER,
                     0.0, 0.006),
            degrees("reference", "temperature at which that resistance holds", FALLS, high=374.0),
            _CONDUCTOR,
        ),
        _warm_type, point_of(resistance_at_temperature), _LINEAR,
        _warm_over, exact_of(resistance_at_temperature), _warm_slopes,
    ),
    Function(
        "conductor_resistance", "The resistance of one pole of a conductor at its temperature.",
        (_LENGTH, section(FALLS), *metal(RISES, NEITHER), _CONDUCTOR),
        gives(d.RESISTANCE), point_of(conductor_resistance), "R = rho L / S (prism) with " + _LINEAR,
        _pole_over, exact_of(conductor_resistance), _pole_slopes,
    ),
    Function(
        "two_pole_voltage_drop", "The voltage that both poles of a conductor and their joints lose at a current.",
        (
            amperes("current", "current in the loop", RISES), _LENGTH, section(FALLS),
            quantity("resistivity", "resistivity at working temperature", RESISTIVITY, RISES, 1e-10, 1e-4),
            ohms("joint_resistance", "resistance of all joints in both poles", RISES),
        ),
        gives(d.VOLTAGE), point_of(two_pole_voltage_drop), "I (2 rho L / S + R_joints) (Ohm's law over both poles)",
        exact=exact_of(two_pole_voltage_drop), slopes=_drop_slopes,
    ),
    Function(
        "conductor_temperature", "The steady temperature of a conductor at a current; no upper end above its maximum.",
        (
            degrees("ambient", _AMBIENT, RISES), _MAXIMUM, degrees("reference", _BASED, FALLS),
            amperes("ampacity", "continuous current at that ambient", FALLS, 1e-6),
            amperes("current", "effective current in service", RISES),
        ),
        lambda types: Temperature(), conductor_temperature, "T_amb + (T_max - T_ref) (I / I_z)^2" + _STEADY,
        _settled_over, _settled, _settled_slopes,
    ),
    Function(
        "ambient_factor", "The share of an ampacity that is left in surroundings of another temperature.",
        (_MAXIMUM, degrees("reference", _BASED, RISES), degrees("ambient", _AMBIENT, FALLS)),
        gives(d.NUMBER), ambient_factor, "sqrt((T_max - T_amb) / (T_max - T_ref))" + _STEADY,
        _factor_over, _factor, _factor_slopes,
    ),
    Function(
        "grouping_factor", "The share of an ampacity that is left to each of equal loaded circuits in one bundle, "
        "where the table of the wiring rules is not at hand.",
        (quantity("circuits", "number of loaded circuits in the bundle, itself included", d.NUMBER, FALLS, 1.0, 20.0),),
        gives(d.NUMBER), grouping_factor, "n^(-1/3) (heat balance of a bundle in still air, rounded to the safe side)",
        exact=_grouped, slopes=_grouping_slopes,
    ),
    Function(
        "joint_temperature", "The steady temperature of a joint; infinite where it runs away.",
        (
            degrees("ambient", _AMBIENT, RISES), amperes("current", "effective current through it", RISES),
            ohms("resistance", "resistance of the joint at 20 degC", RISES), metal(RISES, NEITHER)[1],
            quantity("thermal_resistance", "kelvin of steady rise for each watt", d.TEMPERATURE_DIFFERENCE / d.POWER,
                     RISES, 0.0, 1e6),
        ),
        lambda types: Temperature(), joint_temperature, "(T - T_amb) / R_th = I^2 R (1 + alpha (T - 20 degC)), solved",
        _joint_over, lambda *values: (_joint(*values),) * 2,
    ),
)  # fmt: skip
