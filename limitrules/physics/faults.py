"""Faults: what a pack can drive into one, how the current rises, what it heats, and what an arc sets free."""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction

from limitrules.foundation import dimension as d
from limitrules.foundation.kinds import Temperature
from limitrules.language.functions import Argument, Bounds, Direction, Function
from limitrules.language.pairs import negated
from limitrules.physics.conductors import (
    HEAT_INTEGRAL,
    SLACK,
    TINY,
    TWENTY,
    Enclosure,
    amperes,
    apart,
    around,
    degrees,
    floats_of,
    metal,
    ohms,
    product,
    quantity,
    root_of,
    seconds,
    section,
    signed,
)
from limitrules.physics.converters import FALLS, NEITHER, RISES, exact_of, gives, point_of

_HOTTEST = 800.0  # kelvin; beyond it resistance is no longer a straight line over temperature
_K_SQUARED = d.CURRENT**2 * d.TIME / d.AREA**2
_PER_VOLUME = d.ENERGY / d.TEMPERATURE_DIFFERENCE / d.LENGTH**3
_EXPOSURE = d.ENERGY / d.AREA


def product_slopes(factor: float, *exponents: int) -> Callable[..., tuple[Bounds, ...]]:
    """The ``slopes`` of a product of whole powers of arguments that are not negative, times a factor."""

    def slopes(*pairs: Bounds) -> tuple[Bounds, ...]:
        found = []
        for position, exponent in enumerate(exponents):
            left = [power - (place == position) for place, power in enumerate(exponents)]
            over = [pair for pair, power in zip(pairs, left, strict=True) for _ in range(power)]
            under = [pair for pair, power in zip(pairs, left, strict=True) for _ in range(-power)]
            size = product(tuple(over), tuple(under), abs(exponent) * factor)
            found.append(size if exponent > 0 else negated(size))
        return tuple(found)

    return slopes


def prospective_current_max(
    voltage: Fraction, resistance: Fraction, lead_resistance: Fraction, packs: Fraction, common_resistance: Fraction
) -> Fraction:
    """The highest fault current (A) of n equal packs in parallel behind a common part: n V / (R + R_lead + n R_common).

    Give the voltage (V) of a full pack without current, its ohmic resistance (ohm; that of a long pulse is higher and
    gives too little), its own lead with both poles cold (ohm), and the part they share, both poles cold (ohm).
    """
    return packs * voltage / (resistance + lead_resistance + packs * common_resistance)


def _equal_slopes(
    voltage: Bounds, resistance: Bounds, lead: Bounds, packs: Bounds, common: Bounds
) -> tuple[Bounds, ...]:
    branch = resistance[0] + lead[0], resistance[1] + lead[1]
    whole = branch[0] + packs[0] * common[0], branch[1] + packs[1] * common[1]
    along = negated(product((packs, voltage), (whole, whole)))
    return (
        product((packs,), (whole,)), along, along,
        product((voltage, branch), (whole, whole)),
        negated(product((packs, packs, voltage), (whole, whole))),
    )  # fmt: skip


def parallel_fault_current(own_currents: Fraction, conductance: Fraction, common_resistance: Fraction) -> Fraction:
    """The fault current (A) of unequal packs in parallel behind a common part: J / (1 + G R_common).

    J is the total of what each would drive alone through its own loop (A), V / (R + R_lead); G the total of the
    conductances 1 / (R + R_lead) of those loops (1/ohm). In a fault inside one pack, these are the totals over the
    others, and the lead of the faulted pack belongs to the common part (ohm).
    """
    return own_currents / (1 + conductance * common_resistance)


def _joined_slopes(own: Bounds, conductance: Bounds, common: Bounds) -> tuple[Bounds, ...]:
    whole = 1.0 + conductance[0] * common[0], 1.0 + conductance[1] * common[1]
    return (
        product(((1.0, 1.0),), (whole,)),
        negated(product((own, common), (whole, whole))),
        negated(product((own, conductance), (whole, whole))),
    )


def prospective_current_min(
    voltage: Fraction,
    resistance: Fraction,
    ageing: Fraction,
    conductor_resistance: Fraction,
    fault_resistance: Fraction,
) -> Fraction:
    """The lowest fault current (A) at the far end: V / (R k + R_conductors + R_fault).

    Give the lowest voltage (V) of an empty pack, its pulse resistance when new (ohm), the factor by which age and cold
    raise that, the conductors with both poles hot (ohm), and the path of the fault itself (ohm).
    """
    return voltage / (resistance * ageing + conductor_resistance + fault_resistance)


def _least_slopes(
    voltage: Bounds, resistance: Bounds, ageing: Bounds, conductors: Bounds, fault: Bounds
) -> tuple[Bounds, ...]:
    low, high = (resistance[end] * ageing[end] + conductors[end] + fault[end] for end in (0, 1))
    whole = low, high
    along = negated(product((voltage,), (whole, whole)))
    return (
        product(((1.0, 1.0),), (whole,)),
        negated(product((voltage, ageing), (whole, whole))),
        negated(product((voltage, resistance), (whole, whole))),
        along, along,
    )  # fmt: skip


def loop_time_constant(inductance: Fraction, resistance: Fraction) -> Fraction:
    """The time constant (s) of a loop: inductance (H) over resistance (ohm)."""
    return inductance / resistance


def fault_current_after(voltage: float, resistance: float, inductance: float, time: float, before: float) -> Bounds:
    """Enclosure of the current (A) in a loop a time (s) after a source (V) was put on it.

    V / R (1 - exp(-t R / L)) + I_0 exp(-t R / L), with the current I_0 (A) that flowed ``before``.
    """
    exponent = time * resistance / inductance
    risen = time * voltage / inductance if exponent < TINY else -voltage / resistance * math.expm1(-exponent)
    return around(risen + before * math.exp(-exponent), 1.0 + min(exponent, 800.0))


def _after_over(voltage: Bounds, resistance: Bounds, inductance: Bounds, time: Bounds, before: Bounds) -> Bounds:
    """Towards V / R from either side: the longest time with the least inductance, or the shortest with the most."""
    ends = (time[0], inductance[1]), (time[1], inductance[0])
    return (
        min(fault_current_after(voltage[0], resistance[1], each, t, before[0])[0] for t, each in ends),
        max(fault_current_after(voltage[1], resistance[0], each, t, before[1])[1] for t, each in ends),
    )


def _after_slopes(
    voltage: Bounds, resistance: Bounds, inductance: Bounds, time: Bounds, before: Bounds
) -> tuple[Bounds, ...]:
    """In V (1 - e^-x) / R and in I_0 e^-x; in t (V - R I_0) e^-x / L, times -t / L in L; R is left open."""
    unit = (1.0, 1.0)
    fading = _after_over((0.0, 0.0), resistance, inductance, time, unit)
    pull = apart(voltage, product((resistance, before)))
    room = 1e-13 * (voltage[1] + resistance[1] * before[1])
    steep = signed(product((fading,), (inductance,)), (pull[0] - room, pull[1] + room))
    slower = negated(signed(product((time,), (inductance,)), steep))
    return _after_over(unit, resistance, inductance, time, (0.0, 0.0)), (-math.inf, 0.0), slower, steep, fading


def adiabatic_k_squared(
    start: float, end: float, resistivity: float, coefficient: float, heat_capacity: float
) -> Bounds:
    """Enclosure of the square of k (A2s/m4) that heats a conductor from ``start`` to ``end`` (K) without cooling.

    Q / (rho alpha) ln((1 + alpha (T_end - 20 degC)) / (1 + alpha (T_start - 20 degC))), with resistivity rho (ohm*m)
    and coefficient alpha (1/K) at 20 degC and heat capacity per volume Q (J/K/m3). Zero where the start is as hot as
    the end. Raises ValueError for a start below 20 degC.
    """
    if end <= start:
        return 0.0, 0.0
    swing = coefficient * (end - start) / (1.0 + coefficient * _above_twenty(start))
    return around(heat_capacity / (resistivity * coefficient) * math.log1p(swing))


def _above_twenty(start: float) -> float:
    # The float is 2.3e-14 K off, which no formula here feels.
    twenty = float(TWENTY)
    if start < twenty:
        raise ValueError("a conductor that starts at 20 degC or above")
    return start - twenty


def adiabatic_withstand(area: Fraction, k_squared: Fraction) -> Fraction:
    """The heat integral (A2s) that a conductor bears: k^2 S^2, with cross-section (m2) and k squared (A2s/m4)."""
    return k_squared * area * area


def adiabatic_temperature(
    start: float, heat_integral: float, area: float, resistivity: float, coefficient: float, heat_capacity: float
) -> Bounds:
    """Enclosure of the temperature (K) after a heat integral (A2s) without cooling; it begins at ``start`` (K).

    T + (1 / alpha + T - 20 degC) (exp(I2t rho alpha / (S^2 Q)) - 1): ``adiabatic_k_squared`` solved for its end.
    Above 800 K (about 525 degC) all that is said is that it is above. Raises ValueError for a start below 20 degC.
    """
    exponent = heat_integral * resistivity * coefficient / (area * area * heat_capacity)
    gain = (1.0 / coefficient + _above_twenty(start)) * math.expm1(min(exponent, 700.0))
    if start + gain >= _HOTTEST:
        return _HOTTEST * (1.0 - SLACK), math.inf
    # The relative error of exp grows with its exponent, which is below ten here.
    return start + gain * (1.0 - 10.0 * SLACK) - 1e-12, start + gain * (1.0 + 10.0 * SLACK) + 1e-12


# An arc of constant voltage fed through a resistance takes the most power at half of either, V / 2 and I / 2. Spread
# over a sphere of radius D in all directions that is V I t / (16 pi D^2) = 0.0199 V I t / D^2. The published method
# writes 0.01 cal/cm2 for V times I / 2, with 4.184 J to the calorie: 0.02092, five percent above.
_SPREAD = Fraction(2092, 100_000)


def arc_power_max(voltage: Fraction, fault_current: Fraction) -> Fraction:
    """The highest power (W) of an arc that a source (V) with a bolted fault current (A) can feed: V I / 4."""
    return voltage * fault_current / 4


def arc_incident_energy(voltage: Fraction, fault_current: Fraction, time: Fraction, distance: Fraction) -> Fraction:
    """The energy (J/m2) that an arc in the open sends to a distance (m): 0.02092 V I t / D^2.

    Voltage (V) and bolted fault current (A) of the source, and the time (s) until the arc is interrupted, which is that
    at half the bolted current.
    """
    return _SPREAD * voltage * fault_current * time / (distance * distance)


def _boundary(voltage: Fraction, fault_current: Fraction, time: Fraction, energy: Fraction) -> Enclosure:
    return root_of(_SPREAD * voltage * fault_current * time / energy)


def arc_boundary_distance(voltage: float, fault_current: float, time: float, energy: float) -> Bounds:
    """Enclosure of the distance (m) at which an arc in the open sends an energy (J/m2): sqrt(0.02092 V I t / E).

    Arguments as in ``arc_incident_energy``.
    """
    return floats_of(*_boundary(*map(Fraction, (voltage, fault_current, time, energy))))


def _boundary_slopes(voltage: Bounds, fault_current: Bounds, time: Bounds, energy: Bounds) -> tuple[Bounds, ...]:
    """Half the distance over each argument, but for the energy against it."""
    near = arc_boundary_distance(voltage[0], fault_current[0], time[0], energy[1])[0]
    pair = near, arc_boundary_distance(voltage[1], fault_current[1], time[1], energy[0])[1]
    rising = (product((pair,), (each,), 0.5) for each in (voltage, fault_current, time))
    return *rising, negated(product((pair,), (energy,), 0.5))


def _volts(meaning: str, direction: Direction = RISES, high: float = 1e6) -> Argument:
    return quantity("voltage", meaning, d.VOLTAGE, direction, 0.0, high)


def _henries(direction: Direction) -> Argument:
    return quantity("inductance", "inductance of the loop", d.INDUCTANCE, direction, 1e-12, 1e3)


def _equal(packs: Argument) -> tuple[Argument, ...]:
    return (
        _volts("highest voltage of a pack without current"),
        ohms("resistance", "ohmic resistance of one pack, without what builds up in a long pulse", FALLS, 1e-9),
        ohms("lead_resistance", "resistance of the own lead of one pack, both poles, cold", FALLS),
        packs,
        ohms("common_resistance", "resistance of the part they share, both poles, cold", FALLS),
    )


_BEFORE = "before", "current that flowed before"
_SOURCE = "voltage of the source without current"
_LOOP = "resistance of the loop, both poles"
_RISE = "i = V / R (1 - e^(-t R / L)) + I0 e^(-t R / L) (loop of resistance and inductance)"
_BRANCHES = "Ohm's law, equal branches behind a common part"
_ADIABATIC = " (heat of the current stored in the metal alone, resistivity a straight line over temperature)"
_START = "temperature before the fault, 20 degC or above"
_AT_20 = float(TWENTY)
_ARC = (
    _volts("voltage of the source without current, up to 1000 V", high=1000.0),
    amperes("fault_current", "bolted fault current", RISES),
    seconds("time", "time until the arc is interrupted, at half that current", RISES),
)
_MOST_POWER = " (most power into an arc at half the voltage, radiated evenly in the open)"

FUNCTIONS = (
    Function(
        "prospective_current_max", "The highest fault current that equal packs in parallel can drive.",
        _equal(quantity("packs", "number of packs that feed the fault", d.NUMBER, RISES, 1.0, 1e4)),
        gives(d.CURRENT), point_of(prospective_current_max), _BRANCHES,
        exact=exact_of(prospective_current_max), slopes=_equal_slopes,
    ),
    Function(
        "reverse_feed_current", "The current that the other, equal packs of a bank feed into a faulted one.",
        _equal(quantity("others", "number of packs beside the faulted one", d.NUMBER, RISES, 0.0, 1e4)),
        gives(d.CURRENT), point_of(prospective_current_max), _BRANCHES + ", the faulted pack without voltage",
        exact=exact_of(prospective_current_max), slopes=_equal_slopes,
    ),
    Function(
        "parallel_fault_current", "The current that unequal packs in parallel feed into a fault behind a common part.",
        (
            amperes("own_currents", "total of the fault currents of each through its own loop alone", RISES),
            quantity("conductance", "total of the conductances of those loops", d.NUMBER / d.RESISTANCE, FALLS,
                     0.0, 1e12),
            ohms("common_resistance", "resistance of the part they share, both poles, cold", FALLS),
        ),
        gives(d.CURRENT), point_of(parallel_fault_current), "J / (1 + G R) (equivalent source of parallel branches)",
        exact=exact_of(parallel_fault_current), slopes=_joined_slopes,
    ),
    Function(
        "prospective_current_min", "The lowest fault current that a protective device must still clear.",
        (
            _volts("lowest voltage of a pack without current"),
            ohms("resistance", "pulse resistance of what feeds the fault, when new", FALLS, 1e-9),
            quantity("ageing", "factor by which age and cold raise it", d.NUMBER, FALLS, 0.1, 1e3),
            ohms("conductor_resistance", "resistance of the conductors, both poles, hot", FALLS),
            ohms("fault_resistance", "resistance of the path of the fault itself", FALLS),
        ),
        gives(d.CURRENT), point_of(prospective_current_min), "V / (R k + R_conductors + R_fault) (Ohm's law)",
        exact=exact_of(prospective_current_min), slopes=_least_slopes,
    ),
    Function(
        "loop_time_constant", "The time constant of a loop.",
        (_henries(RISES), ohms("resistance", _LOOP, FALLS, 1e-9)),
        gives(d.TIME), point_of(loop_time_constant), "L / R (loop of resistance and inductance)",
        exact=exact_of(loop_time_constant), slopes=product_slopes(1.0, 1, -1),
    ),
    Function(
        "fault_current_after", "The current in a loop a time after the fault.",
        (
            _volts(_SOURCE), ohms("resistance", _LOOP, FALLS), _henries(NEITHER),
            seconds("time", "time since the fault", NEITHER), amperes(*_BEFORE, RISES),
        ),
        gives(d.CURRENT), fault_current_after, _RISE, _after_over, slopes=_after_slopes,
    ),
    Function(
        "adiabatic_k_squared", "The square of the factor k with which a metal bears a short fault.",
        (
            degrees("start", _START, FALLS, _AT_20),
            degrees("end", "highest temperature for a few seconds in a fault", RISES, _AT_20, _HOTTEST),
            *metal(FALLS, FALLS, 1e-5),
            quantity("heat_capacity", "heat capacity of the metal per volume", _PER_VOLUME, RISES, 1e5, 1e8),
        ),
        gives(_K_SQUARED), adiabatic_k_squared,
        "Q / (rho alpha) ln((1 + alpha (T_end - 20)) / (1 + alpha (T_start - 20)))" + _ADIABATIC,
    ),
    Function(
        "adiabatic_withstand", "The heat integral that a conductor bears in a short fault.",
        (section(RISES), quantity("k_squared", "square of the factor k of the wiring rules", _K_SQUARED, RISES,
                                  1e10, 1e20)),
        gives(HEAT_INTEGRAL), point_of(adiabatic_withstand), "k^2 S^2" + _ADIABATIC,
        exact=exact_of(adiabatic_withstand), slopes=product_slopes(1.0, 2, 1),
    ),
    Function(
        "adiabatic_temperature", "The temperature of a conductor after a short fault.",
        (
            degrees("start", _START, RISES, _AT_20),
            quantity("heat_integral", "heat integral of the fault", HEAT_INTEGRAL, RISES, 0.0, 1e18),
            section(FALLS), *metal(RISES, RISES, 1e-5),
            quantity("heat_capacity", "heat capacity of the metal per volume", _PER_VOLUME, FALLS, 1e5, 1e8),
        ),
        lambda types: Temperature(), adiabatic_temperature,
        "T + (1 / alpha + T - 20) (e^(I2t rho alpha / (S^2 Q)) - 1)" + _ADIABATIC,
    ),
    Function(
        "arc_power_max", "The highest power of an arc that a source can feed.", _ARC[:2],
        gives(d.POWER), point_of(arc_power_max), "V I / 4 (most power through a resistance)",
        exact=exact_of(arc_power_max), slopes=product_slopes(0.25, 1, 1),
    ),
    Function(
        "arc_incident_energy", "The energy per area that an arc in the open sends to a distance.",
        (*_ARC, quantity("distance", "distance from the arc", d.LENGTH, FALLS, 0.01, 1e3)),
        gives(_EXPOSURE), point_of(arc_incident_energy), "0.02092 V I t / D^2" + _MOST_POWER,
        exact=exact_of(arc_incident_energy), slopes=product_slopes(float(_SPREAD), 1, 1, 1, -2),
    ),
    Function(
        "arc_boundary_distance", "The distance beyond which an arc in the open sends less than an energy per area.",
        (*_ARC, quantity("energy", "energy per area that is borne", _EXPOSURE, FALLS, 1.0, 1e9)),
        gives(d.LENGTH), arc_boundary_distance, "sqrt(0.02092 V I t / E)" + _MOST_POWER,
        exact=_boundary, slopes=_boundary_slopes,
    ),
)  # fmt: skip
