"""What a fuse lets through in an inductive loop on DC: until it melts, and until its arc is out.

The voltage (V) drives i = V / R (1 - e^(-t R / L)) through resistance (ohm) and inductance (H) of the loop.
The link melts when the integral of its square has reached the melting I2t (A2s); that holds while the element has no
time to lose heat, so nothing is said where it takes longer than a twentieth of its thermal time constant (s). Up to
there the loss adds less than 2.6 percent, as it would to a steady current, which never rises late: x / (1 - e^-x) at
x = 1/20. The arc then holds a constant voltage (V) against the source.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from attrs import frozen

from limitrules.foundation import dimension as d
from limitrules.language.functions import Argument, Bounds, Direction, Function
from limitrules.physics.conductors import HEAT_INTEGRAL, around, ohms, product, quantity, seconds
from limitrules.physics.converters import FALLS, RISES, gives
from limitrules.physics.fuses import NEVER, melting_integral, thermal_constant

_QUICK = 20.0
"""How many times the melting time the thermal time constant is at least."""
_ROOM = 3.0
"""Sums that cancel lose less than three times the usual slack from where their series ends."""
# Of x^3, x^4, ... in (1 - e^-x)^2 and in q^2 / (1 + q), integrated; as many as count at 0.5 and at 0.25.
_HEAT = [(-1.0) ** k * (2.0 - 2.0 ** (k - 1)) / math.factorial(k) for k in range(20, 2, -1)]
_SPENT = [(-1.0) ** (k + 1) / k for k in range(30, 2, -1)]


def _series(coefficients: list[float], x: float) -> float:
    total = 0.0
    for each in coefficients:
        total = total * x + each
    return total * x * x * x


def _heat(x: float) -> float:
    """The integral of (1 - e^-x)^2 from zero, close to x^3 / 3 for small x."""
    if x < 0.5:
        return _series(_HEAT, x)
    return x + 2.0 * math.expm1(-x) - 0.5 * math.expm1(-2.0 * x)


def _moment(heat: float) -> Bounds:
    """Where that integral reaches a heat; found by Newton's steps, and proved on either side."""
    x = math.cbrt(3.0 * heat)
    x = x + 0.25 * x * x if heat < 1.0 else heat + 1.5
    for _ in range(60):
        step = (_heat(x) - heat) / math.expm1(-x) ** 2
        x -= step
        # It is squared with each: what is left after a step of this size is no longer seen.
        if abs(step) <= 1e-9 * x:
            break
    (low, high), room = around(heat), 6e-14
    while around(_heat(x * (1.0 - room)), _ROOM)[1] > low or around(_heat(x * (1.0 + room)), _ROOM)[0] < high:
        room *= 2.0
    return x * (1.0 - room), x * (1.0 + room)


def _spent(q: float) -> Bounds:
    """The integral of q^2 / (1 + q) from zero, close to q^3 / 3 for small q."""
    return around(_series(_SPENT, q) if q < 0.25 else q * q / 2.0 - q + math.log1p(q), _ROOM)


@frozen
class Melted:
    """A loop at one point of the tolerances, and when the link in it melts, in time constants of the loop."""

    voltage: float
    resistance: float
    inductance: float
    moment: Bounds

    @property
    def constant(self) -> float:
        """The time constant (s) of the loop."""
        return self.inductance / self.resistance

    @property
    def time(self) -> Bounds:
        """Enclosure of the time (s) until the link melts."""
        return product((self.moment,), (), self.constant)

    @property
    def peak(self) -> Bounds:
        """Enclosure of the current (A) at that moment, the highest there is."""
        low, high = self.moment
        return product(((-math.expm1(-low), -math.expm1(-high)),), (), self.voltage / self.resistance)

    def spare(self, arc_voltage: float) -> Bounds:
        """That current over the one (A) that the arc voltage could drive against the source: R I / (U - V)."""
        return product((self.peak,), (), self.resistance / (arc_voltage - self.voltage))

    def arcing_i2t(self, arc_voltage: float) -> Bounds:
        """Enclosure of the heat integral (A2s) while the arc burns: L (U - V)^2 / R^3 (q^2 / 2 - q + ln(1 + q))."""
        low, high = self.spare(arc_voltage)
        driven = (arc_voltage - self.voltage) / self.resistance
        return product(((_spent(low)[0], _spent(high)[1]),), (), driven * driven * self.constant)

    def arcing_time(self, arc_voltage: float) -> Bounds:
        """Enclosure of the time (s) that the arc burns: L / R ln(1 + q)."""
        low, high = self.spare(arc_voltage)
        return product(((math.log1p(low), math.log1p(high)),), (), self.constant)


def _melted(
    voltage: float, resistance: float, inductance: float, melting_i2t: float, thermal_time_constant: float
) -> Melted:
    """Raises ValueError where the element would lose heat before it melts."""
    heat = melting_i2t * resistance**3 / (voltage**2 * inductance)
    found = Melted(voltage, resistance, inductance, _moment(heat))
    if _QUICK * found.time[1] > thermal_time_constant:
        raise ValueError("a fault that melts the fuse within a twentieth of its thermal time constant")
    return found


def loop_i2t(voltage: float, resistance: float, inductance: float, time: float) -> Bounds:
    """Enclosure of the heat integral (A2s) of the current in a loop, from the fault until a time (s).

    (V / R)^2 T (x - 2 (1 - e^-x) + (1 - e^-2x) / 2), with T = L / R and x = t / T.
    """
    constant = inductance / resistance
    return product((around(_heat(time / constant), _ROOM),), (), (voltage / resistance) ** 2 * constant)


def melting_time_in_loop(
    voltage: float, resistance: float, inductance: float, melting_i2t: float, thermal_time_constant: float
) -> Bounds:
    """Enclosure of the time (s) until a fuse melts. Raises ValueError where the element would lose heat meanwhile."""
    return _melted(voltage, resistance, inductance, melting_i2t, thermal_time_constant).time


def let_through_current(
    voltage: float, resistance: float, inductance: float, melting_i2t: float, thermal_time_constant: float
) -> Bounds:
    """Enclosure of the highest current (A), at melting. Raises ValueError where the element would lose heat."""
    return _melted(voltage, resistance, inductance, melting_i2t, thermal_time_constant).peak


def let_through_i2t(
    voltage: float,
    resistance: float,
    inductance: float,
    melting_i2t: float,
    thermal_time_constant: float,
    arc_voltage: float,
) -> Bounds:
    """Enclosure of the heat integral (A2s) until the current is gone: melting I2t and what passes through the arc.

    Infinite where the arc voltage is not above that of the source, which then feeds the arc for ever. Raises ValueError
    where the element would lose heat before it melts.
    """
    melted = _melted(voltage, resistance, inductance, melting_i2t, thermal_time_constant)
    if arc_voltage <= voltage:
        return NEVER
    arc = melted.arcing_i2t(arc_voltage)
    return product(((melting_i2t + arc[0], melting_i2t + arc[1]),))


def arcing_time(
    voltage: float,
    resistance: float,
    inductance: float,
    melting_i2t: float,
    thermal_time_constant: float,
    arc_voltage: float,
) -> Bounds:
    """Enclosure of the time (s) from melting until the current is gone.

    Infinite where the arc voltage is not above that of the source. Raises ValueError where the element would lose heat
    before it melts.
    """
    melted = _melted(voltage, resistance, inductance, melting_i2t, thermal_time_constant)
    return NEVER if arc_voltage <= voltage else melted.arcing_time(arc_voltage)


def _cornered(point: Callable[..., Bounds], in_inductance: Direction) -> Callable[..., Bounds]:
    """The ``enclose`` of a value that goes one way in each argument, where the slowest melting decides the range."""
    directions = (RISES, FALLS, in_inductance, RISES, FALLS, FALLS)

    def enclose(*pairs: Bounds) -> Bounds:
        voltage, resistance, inductance, melting_i2t, thermal = pairs[:5]
        _melted(voltage[0], resistance[1], inductance[1], melting_i2t[1], thermal[0])
        turns = [direction is FALLS for direction in directions[: len(pairs)]]
        low = [pair[turn] for pair, turn in zip(pairs, turns, strict=True)]
        high = [pair[not turn] for pair, turn in zip(pairs, turns, strict=True)]
        # Whatever the thermal time constant, it has no part in the value.
        low[4] = high[4] = math.inf
        return point(*low)[0], point(*high)[1]

    return enclose


def _loop(in_voltage: Direction, in_resistance: Direction, in_inductance: Direction) -> tuple[Argument, ...]:
    return (
        quantity("voltage", "voltage of the source without current", d.VOLTAGE, in_voltage, 1e-3, 1e6),
        ohms("resistance", "resistance of the loop, both poles", in_resistance, 1e-9),
        quantity("inductance", "inductance of the loop", d.INDUCTANCE, in_inductance, 1e-12, 1e3),
    )


_ARC_VOLTAGE = quantity("arc_voltage", "voltage across the arc while the fuse clears", d.VOLTAGE, FALLS, 1e-3, 1e6)
_MELTS = "integral of (V / R (1 - e^(-t R / L)))^2 reaches the melting I2t (loop of resistance and inductance)"
_CLEARS = ", then L di/dt = V - R i - U to zero (constant arc voltage U)"
_LINK = melting_integral(), thermal_constant(FALLS)

FUNCTIONS = (
    Function(
        "loop_i2t", "The heat integral of the current in an inductive loop since the fault.",
        (*_loop(RISES, FALLS, FALLS), seconds("time", "time since the fault", RISES, 1e-9)),
        gives(HEAT_INTEGRAL), loop_i2t,
        "(V / R)^2 (t - 2 T (1 - e^(-t / T)) + T / 2 (1 - e^(-2 t / T))), T = L / R (loop of resistance and "
        "inductance)",
    ),
    Function(
        "melting_time_in_loop", "The time until a fuse melts in an inductive loop.",
        (*_loop(FALLS, RISES, RISES), *_LINK), gives(d.TIME), melting_time_in_loop, _MELTS,
    ),
    Function(
        "let_through_current", "The highest current that a fuse lets through in an inductive loop.",
        (*_loop(RISES, FALLS, FALLS), *_LINK), gives(d.CURRENT), let_through_current, _MELTS,
        _cornered(let_through_current, FALLS),
    ),
    Function(
        "let_through_i2t", "The heat integral that a fuse lets through in an inductive loop until its arc is out; "
        "infinite where the arc stays.",
        (*_loop(RISES, FALLS, RISES), *_LINK, _ARC_VOLTAGE), gives(HEAT_INTEGRAL), let_through_i2t, _MELTS + _CLEARS,
        _cornered(let_through_i2t, RISES),
    ),
    Function(
        "arcing_time", "The time that the arc of a fuse burns in an inductive loop; infinite where it stays.",
        (*_loop(RISES, FALLS, RISES), *_LINK, _ARC_VOLTAGE), gives(d.TIME), arcing_time, _MELTS + _CLEARS,
        _cornered(arcing_time, RISES),
    ),
)  # fmt: skip
