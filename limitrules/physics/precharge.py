"""Filling the capacitance of a bus through a resistor, closing onto it at once, and what lifts its voltage."""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction

from limitrules.foundation import dimension as d
from limitrules.foundation.kinds import Quantity, Type
from limitrules.language.functions import Argument, Bounds, Direction, Function
from limitrules.language.pairs import negated

RISES, FALLS, NEITHER = Direction.RISES, Direction.FALLS, Direction.NEITHER
_SLACK = 4e-15  # about 36 roundings; no formula below has more than sixteen


def _gives(dimension: d.Dimension) -> Callable[[tuple[Type, ...]], Type]:
    return lambda types: Quantity(dimension)


def _around(value: float, weight: float = 1.0) -> Bounds:
    """Outwards by the slack, ``weight`` times, and by what is lost at the low end of the floats."""
    slack = weight * _SLACK * value + 1e-300
    return max(0.0, math.nextafter(value - slack, -math.inf)), math.nextafter(value + slack, math.inf)


def _spread(low: float, high: float) -> Bounds:
    """Two figures that are not negative, outwards."""
    return _around(low)[0], _around(high)[1]


def _usable(at_least_zero: tuple[float, ...], above_zero: tuple[float, ...]) -> None:
    if min(at_least_zero) < 0.0 or min(above_zero) <= 0.0:
        raise ValueError("figures above zero; a voltage, a current and a time may be zero")


def _hump(low: float, high: float) -> Bounds:
    """Enclosure of y exp(-y), which is highest at 1, over a pair."""
    ends = low * math.exp(-low), high * math.exp(-high)
    top = math.exp(-1.0) if low <= 1.0 <= high else max(ends)
    weight = 2.0 + min(high, 800.0)
    return _around(min(ends), weight)[0], _around(top, weight)[1]


def precharge_voltage(voltage: float, resistance: float, capacitance: float, time: float) -> Bounds:
    """Enclosure of the voltage (V) of a bus, empty at first, after a time (s) of precharge without load.

    V (1 - exp(-t / (R C))), with source voltage (V), resistor (ohm) and capacitance (F).
    """
    _usable((voltage, time), (resistance, capacitance))
    return _around(-voltage * math.expm1(-time / (resistance * capacitance)))


def _voltage_slopes(voltage: Bounds, resistance: Bounds, capacitance: Bounds, time: Bounds) -> tuple[Bounds, ...]:
    """With y = t / (R C): 1 - exp(-y) in V, -V y exp(-y) / R in R, the same over C in C, V exp(-y) / (R C) in t."""
    least, most = time[0] / (resistance[1] * capacitance[1]), time[1] / (resistance[0] * capacitance[0])
    low, high = _hump(least, most)
    return (
        _spread(-math.expm1(-least), -math.expm1(-most)),
        negated(_spread(voltage[0] * low / resistance[1], voltage[1] * high / resistance[0])),
        negated(_spread(voltage[0] * low / capacitance[1], voltage[1] * high / capacitance[0])),
        (
            _around(voltage[0] * math.exp(-most) / (resistance[1] * capacitance[1]), 2.0 + min(most, 800.0))[0],
            _around(voltage[1] * math.exp(-least) / (resistance[0] * capacitance[0]), 2.0 + min(least, 800.0))[1],
        ),
    )


def loaded_precharge_voltage(
    voltage: float, resistance: float, load_resistance: float, capacitance: float, time: float
) -> Bounds:
    """Enclosure of the voltage (V) after a time (s) of precharge with a resistive load (ohm) on the bus.

    The divider of resistor and load sets the end, their parallel resistance the time constant.
    """
    _usable((voltage, time), (resistance, load_resistance, capacitance))
    end = voltage * load_resistance / (resistance + load_resistance)
    rate = (resistance + load_resistance) / (capacitance * resistance * load_resistance)
    return _around(-end * math.expm1(-time * rate))


def precharge_current(voltage: float, resistance: float, capacitance: float, time: float) -> Bounds:
    """Enclosure of the current (A) in the resistor after a time (s) without load: V / R exp(-t / (R C))."""
    _usable((voltage, time), (resistance, capacitance))
    exponent = time / (resistance * capacitance)
    return _around(voltage / resistance * math.exp(-exponent), 1.0 + min(exponent, 800.0))


def _current_box(voltage: Bounds, resistance: Bounds, capacitance: Bounds, time: Bounds) -> Bounds:
    """Highest where the resistance is the time over the capacitance: it rises up to there and falls beyond."""
    low = min(precharge_current(voltage[0], each, capacitance[0], time[1])[0] for each in resistance)
    peak = max(resistance[0], min(time[0] / capacitance[1], resistance[1]))
    # At the peak an error of the resistance is of second order.
    return low, precharge_current(voltage[1], peak, capacitance[1], time[0])[1]


def _current_slopes(voltage: Bounds, resistance: Bounds, capacitance: Bounds, time: Bounds) -> tuple[Bounds, ...]:
    """With y = t / (R C): exp(-y) / R in V, I (y - 1) / R in R, I y / C in C and -I / (R C) in t."""
    y = time[0] / (resistance[1] * capacitance[1]), time[1] / (resistance[0] * capacitance[0])
    low, high = _current_box(voltage, resistance, capacitance, time)
    least, most = _current_box((1.0, 1.0), resistance, capacitance, time)
    way = y[0] * (1.0 - _SLACK) - 1.0, y[1] * (1.0 + _SLACK) - 1.0
    return (
        (least, most),
        (
            way[0] * (high / resistance[0] if way[0] < 0.0 else low / resistance[1]) - _SLACK * high / resistance[0],
            way[1] * (high / resistance[0] if way[1] > 0.0 else low / resistance[1]) + _SLACK * high / resistance[0],
        ),
        _spread(low * y[0] / capacitance[1], high * y[1] / capacitance[0]),
        negated(_spread(low / (resistance[1] * capacitance[1]), high / (resistance[0] * capacitance[0]))),
    )


def precharge_time(share: float, resistance: float, capacitance: float) -> Bounds:
    """Enclosure of the time (s) until a bus without load has a share of the source voltage: -R C ln(1 - share).

    Infinite for a share of 1.
    """
    if not 0.0 <= share <= 1.0:
        raise ValueError("a share from 0 to 100 %")
    _usable((share,), (resistance, capacitance))
    return _around(-resistance * capacitance * math.log1p(-share)) if share < 1.0 else (math.inf, math.inf)


def loaded_precharge_time(share: float, resistance: float, load_resistance: float, capacitance: float) -> Bounds:
    """Enclosure of the time (s) until a bus with a resistive load (ohm) has a share of the source voltage.

    Infinite where the divider of resistor (ohm) and load keeps it below that share for ever.
    """
    if not 0.0 <= share <= 1.0:
        raise ValueError("a share from 0 to 100 %")
    _usable((share,), (resistance, load_resistance, capacitance))
    constant = capacitance * resistance * load_resistance / (resistance + load_resistance)
    # In rationals, since near the end that the divider allows a rounding would decide whether it ever gets there.
    reached = Fraction(share) * (Fraction(resistance) + Fraction(load_resistance)) / Fraction(load_resistance)
    if reached >= 1:
        return math.inf, math.inf
    decay = -math.log1p(-float(reached)) if reached < 0.5 else -math.log(float(1 - reached))
    return _around(constant * decay)


def precharge_energy_after(voltage: float, resistance: float, capacitance: float, time: float) -> Bounds:
    """Enclosure of the heat (J) in the resistor after a time (s) without load: C V^2 / 2 (1 - exp(-2 t / (R C)))."""
    _usable((voltage, time), (resistance, capacitance))
    return _around(-0.5 * capacitance * voltage * voltage * math.expm1(-2.0 * time / (resistance * capacitance)))


def precharge_energy(voltage: float, capacitance: float) -> Bounds:
    """Enclosure of the heat (J) in the resistor for a whole precharge without load: C V^2 / 2, whatever it is."""
    _usable((voltage,), (capacitance,))
    return _around(0.5 * capacitance * voltage * voltage)


def _energy_exact(voltage: Fraction, capacitance: Fraction) -> tuple[Fraction, Fraction]:
    energy = capacitance * voltage * voltage / 2
    return energy, energy


def _energy_slopes(voltage: Bounds, capacitance: Bounds) -> tuple[Bounds, ...]:
    return (
        _spread(capacitance[0] * voltage[0], capacitance[1] * voltage[1]),
        _spread(0.5 * voltage[0] ** 2, 0.5 * voltage[1] ** 2),
    )


def precharge_power(voltage: float, capacitance: float, repetition: float) -> Bounds:
    """Enclosure of the average power (W) in the resistor, one whole precharge every so often (s): C V^2 / (2 T)."""
    _usable((voltage,), (capacitance, repetition))
    return _around(0.5 * capacitance * voltage * voltage / repetition)


def _power_exact(voltage: Fraction, capacitance: Fraction, repetition: Fraction) -> tuple[Fraction, Fraction]:
    power = capacitance * voltage * voltage / (2 * repetition)
    return power, power


def _power_slopes(voltage: Bounds, capacitance: Bounds, repetition: Bounds) -> tuple[Bounds, ...]:
    energy = 0.5 * capacitance[0] * voltage[0] ** 2, 0.5 * capacitance[1] * voltage[1] ** 2
    return (
        _spread(capacitance[0] * voltage[0] / repetition[1], capacitance[1] * voltage[1] / repetition[0]),
        _spread(0.5 * voltage[0] ** 2 / repetition[1], 0.5 * voltage[1] ** 2 / repetition[0]),
        negated(_spread(energy[0] / repetition[1] ** 2, energy[1] / repetition[0] ** 2)),
    )


def inrush_peak(voltage: float, resistance: float, inductance: float, capacitance: float) -> Bounds:
    """Enclosure of the highest current (A) when a voltage difference (V) is closed onto a capacitor (F).

    Through a resistance (ohm) and an inductance (H), from no current. With the damping z = R / 2 sqrt(C / L) it is
    V sqrt(C / L) exp(-z acos(z) / sqrt(1 - z^2)), with acosh(z) / sqrt(z^2 - 1) in its place above 1.
    """
    _usable((voltage, resistance), (inductance, capacitance))
    admittance = math.sqrt(capacitance / inductance)
    damping = 0.5 * resistance * admittance
    root = math.sqrt(abs((1.0 - damping) * (1.0 + damping)))
    time = 1.0 if not root else (math.atan2(root, damping) if damping < 1.0 else math.asinh(root)) / root
    return _around(voltage * admittance * math.exp(-damping * time), 2.0 + damping * time)


def bus_voltage_at_current(voltage: float, current: float, time: float, capacitance: float) -> Bounds:
    """Enclosure of the voltage (V) after a constant current (A) has flowed into a capacitance (F) for a time (s).

    V + I t / C: what a source does that holds its current until it reacts.
    """
    _usable((voltage, current, time), (capacitance,))
    return _around(voltage + current * time / capacitance)


def _at_current_exact(
    voltage: Fraction, current: Fraction, time: Fraction, capacitance: Fraction
) -> tuple[Fraction, Fraction]:
    end = voltage + current * time / capacitance
    return end, end


def _at_current_slopes(voltage: Bounds, current: Bounds, time: Bounds, capacitance: Bounds) -> tuple[Bounds, ...]:
    charge = current[0] * time[0], current[1] * time[1]
    return (
        (1.0, 1.0),
        _spread(time[0] / capacitance[1], time[1] / capacitance[0]),
        _spread(current[0] / capacitance[1], current[1] / capacitance[0]),
        negated(_spread(charge[0] / capacitance[1] ** 2, charge[1] / capacitance[0] ** 2)),
    )


def bus_voltage_at_power(voltage: float, power: float, time: float, capacitance: float) -> Bounds:
    """Enclosure of the voltage (V) after a constant power (W) has flowed into a capacitance (F) for a time (s).

    sqrt(V^2 + 2 P t / C): what a source does that holds its power until it reacts.
    """
    _usable((voltage, power, time), (capacitance,))
    # Roots first: a product or a square may be too small for a float where its root is not.
    rise = math.sqrt(2.0) * math.sqrt(power) * math.sqrt(time) / math.sqrt(capacitance)
    return _around(math.hypot(voltage, rise))


def bus_peak_behind_inductance(
    source_voltage: float, voltage: float, current: float, inductance: float, capacitance: float
) -> Bounds:
    """Enclosure of the highest voltage (V) when an inductance (H) goes on driving its current (A) into the bus.

    E + sqrt((V - E)^2 + L I^2 / C): a source voltage E (V) behind the inductance stays, the bus of capacitance (F)
    begins at V (V). A source that has switched off and empties its choke through its diodes has E = 0.
    """
    _usable((source_voltage, voltage, current), (inductance, capacitance))
    return _around(source_voltage + math.hypot(voltage - source_voltage, _swing(current, inductance, capacitance)))


def _swing(current: float, inductance: float, capacitance: float) -> float:
    return current * math.sqrt(inductance) / math.sqrt(capacitance)


def _behind_box(
    source_voltage: Bounds, voltage: Bounds, current: Bounds, inductance: Bounds, capacitance: Bounds
) -> Bounds:
    """Lowest where the bus is at the source voltage, and the higher the further it is away."""
    near = max(voltage[0], min(source_voltage[0], voltage[1]))
    low = bus_peak_behind_inductance(source_voltage[0], near, current[0], inductance[0], capacitance[1])[0]
    far = (source_voltage[1], current[1], inductance[1], capacitance[0])
    return low, max(bus_peak_behind_inductance(far[0], each, *far[1:])[1] for each in voltage)


def _cosine(apart: float, swing: float, default: float) -> float:
    size = math.hypot(apart, swing)
    return apart / size if size > 1e-290 else default


def _behind_slopes(
    source_voltage: Bounds, voltage: Bounds, current: Bounds, inductance: Bounds, capacitance: Bounds
) -> tuple[Bounds, ...]:
    """In the bus voltage the cosine (V - E) / sqrt((V - E)^2 + L I^2 / C), in E the rest to 1; the others by sign."""
    swing = _swing(current[0], inductance[0], capacitance[1]), _swing(current[1], inductance[1], capacitance[0])
    ends = voltage[0] - source_voltage[1], voltage[1] - source_voltage[0]
    low, high = _cosine(ends[0], swing[ends[0] > 0.0], -1.0), _cosine(ends[1], swing[ends[1] < 0.0], 1.0)
    low, high = max(-1.0, low - 1e-14), min(1.0, high + 1e-14)
    upwards = (0.0, math.inf)
    return (1.0 - high - 1e-15, 1.0 - low + 1e-15), (low, high), upwards, upwards, (-math.inf, 0.0)


def _argument(
    name: str, meaning: str, dimension: d.Dimension, low: float, high: float, direction: Direction = RISES
) -> Argument:
    return Argument(name, meaning, Quantity(dimension), direction, low, high)


def _resistor(direction: Direction) -> Argument:
    return _argument("resistance", "resistance of the precharge resistor", d.RESISTANCE, 1e-9, 1e12, direction)


def _capacity(direction: Direction) -> Argument:
    return _argument("capacitance", "capacitance on the bus", d.CAPACITANCE, 1e-15, 1e9, direction)


def _after(direction: Direction) -> Argument:
    return _argument("time", "time since it was closed", d.TIME, 0.0, 1e12, direction)


_SOURCE = _argument("voltage", "source voltage less the voltage that is on the bus", d.VOLTAGE, 0.0, 1e9)
_EMPTY = _argument("voltage", "source voltage; the bus is empty at first", d.VOLTAGE, 0.0, 1e9)
_BEFORE = _argument("voltage", "bus voltage before", d.VOLTAGE, 0.0, 1e9)
_SHARE = _argument("share", "bus voltage as a share of the source voltage", d.NUMBER, 0.0, 1.0)
_LOAD = "load_resistance", "resistance of the load on the bus", d.RESISTANCE, 1e-9, 1e15
_CURRENT = _argument("current", "current into the bus when the pack opens", d.CURRENT, 0.0, 1e9)
_REACTION = _argument("time", "time until the source has reacted", d.TIME, 0.0, 1e9)
_HENRY = "inductance", "inductance in the loop", d.INDUCTANCE, 1e-15, 1e9
_CHARGING = "exponential charging of a capacitor through a resistor"
_DIVIDER = "the same from the equivalent source of resistor and load"

FUNCTIONS = (
    Function(
        "precharge_voltage", "The voltage on a bus after a time of precharge without load.",
        (_EMPTY, _resistor(FALLS), _capacity(FALLS), _after(RISES)),
        _gives(d.VOLTAGE), precharge_voltage, _CHARGING, slopes=_voltage_slopes,
    ),
    Function(
        "loaded_precharge_voltage", "The voltage on a bus after a time of precharge with a resistive load.",
        (_EMPTY, _resistor(FALLS), _argument(*_LOAD), _capacity(FALLS), _after(RISES)),
        _gives(d.VOLTAGE), loaded_precharge_voltage, _DIVIDER,
    ),
    Function(
        "precharge_current", "The current in the precharge resistor after a time without load.",
        (_SOURCE, _resistor(NEITHER), _capacity(RISES), _after(FALLS)),
        _gives(d.CURRENT), precharge_current, _CHARGING, _current_box, slopes=_current_slopes,
    ),
    Function(
        "precharge_time", "How long the precharge of a bus without load takes to a share of the source voltage.",
        (_SHARE, _resistor(RISES), _capacity(RISES)), _gives(d.TIME), precharge_time, _CHARGING,
    ),
    Function(
        "loaded_precharge_time", "How long the precharge of a bus with a resistive load takes to a share of the source "
        "voltage; infinite where it never gets there.",
        (_SHARE, _resistor(RISES), _argument(*_LOAD, FALLS), _capacity(RISES)),
        _gives(d.TIME), loaded_precharge_time, _DIVIDER,
    ),
    Function(
        "precharge_energy_after", "The heat in the precharge resistor after a time without load.",
        (_SOURCE, _resistor(FALLS), _capacity(RISES), _after(RISES)),
        _gives(d.ENERGY), precharge_energy_after, _CHARGING,
    ),
    Function(
        "precharge_energy", "The heat in the precharge resistor for a whole precharge without load.",
        (_SOURCE, _capacity(RISES)),
        _gives(d.ENERGY), precharge_energy, _CHARGING, exact=_energy_exact, slopes=_energy_slopes,
    ),
    Function(
        "precharge_power", "The average power in the precharge resistor when whole precharges follow each other.",
        (_SOURCE, _capacity(RISES), _argument("repetition", "time between two", d.TIME, 1e-9, 1e12, FALLS)),
        _gives(d.POWER), precharge_power, _CHARGING, exact=_power_exact, slopes=_power_slopes,
    ),
    Function(
        "inrush_peak", "The highest current when a voltage difference is closed onto a capacitor.",
        (
            _SOURCE, _argument("resistance", "resistance in the loop", d.RESISTANCE, 0.0, 1e9, FALLS),
            _argument(*_HENRY, FALLS), _capacity(RISES),
        ),
        _gives(d.CURRENT), inrush_peak, "step response of a series R-L-C circuit at its first maximum",
    ),
    Function(
        "bus_voltage_at_current", "The bus voltage after a constant current into its capacitance alone.",
        (_BEFORE, _CURRENT, _REACTION, _capacity(FALLS)),
        _gives(d.VOLTAGE), bus_voltage_at_current, "charge balance of a capacitor", exact=_at_current_exact,
        slopes=_at_current_slopes,
    ),
    Function(
        "bus_voltage_at_power", "The bus voltage after a constant power into its capacitance alone.",
        (_BEFORE, _argument("power", "power into the bus when the pack opens", d.POWER, 0.0, 1e12), _REACTION,
         _capacity(FALLS)),
        _gives(d.VOLTAGE), bus_voltage_at_power, "energy balance of a capacitor",
    ),
    Function(
        "bus_peak_behind_inductance", "The highest bus voltage when an inductance goes on driving its current into it.",
        (
            _argument("source_voltage", "voltage that stays behind the inductance; 0 V where the source is off",
                      d.VOLTAGE, 0.0, 1e9),
            _argument("voltage", "bus voltage before", d.VOLTAGE, 0.0, 1e9, NEITHER), _CURRENT, _argument(*_HENRY),
            _capacity(FALLS),
        ),
        _gives(d.VOLTAGE), bus_peak_behind_inductance, "energy of an L-C circuit about its source voltage", _behind_box,
        slopes=_behind_slopes,
    ),
)  # fmt: skip
