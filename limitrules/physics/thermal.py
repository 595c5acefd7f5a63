"""Heating and cooling of one body with a resistance and a capacity for heat, and factors that derate a limit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from limitrules.foundation.dimension import ENERGY, NUMBER, POWER, TEMPERATURE_DIFFERENCE, TIME
from limitrules.foundation.exact import floats_around
from limitrules.foundation.kinds import Quantity, Temperature, Type
from limitrules.language.functions import Argument, Bounds, Function
from limitrules.physics.converters import FALLS, NEITHER, RISES, exact_of, gives, point_of

_SLACK = 4e-15  # about 36 roundings; no product below has more than ten
_INFINITE = math.inf


def temperature_after(
    start: float, ambient: float, power: float, resistance: float, capacity: float, time: float
) -> Bounds:
    """Enclosure of the temperature (K) of a body after a time (s) of constant heating (W).

    T = T_a + P R (1 - e^(-t / (R C))) + (T_0 - T_a) e^(-t / (R C)), the solution of C dT/dt = P - (T - T_a) / R, with
    temperatures in K, R in K/W and C in J/K.
    """
    return _sum_of(_parts(start, ambient, power, (resistance, resistance), capacity, time), ambient)


def _parts(
    start: float, ambient: float, power: float, resistance: Bounds, capacity: float, time: float
) -> tuple[float, float]:
    """What heating adds at the first resistance, and what is left of the start at the second (K)."""
    heated = power * resistance[0] * -math.expm1(-time / (resistance[0] * capacity))
    return heated, (start - ambient) * math.exp(-time / (resistance[1] * capacity))


def _sum_of(parts: tuple[float, float], ambient: float) -> Bounds:
    # An error of x in e^-x counts x e^-x, which is below one half.
    heated, left = parts
    total = ambient + heated + left
    wiggle = _SLACK * (heated + abs(left)) + 6e-16 * (ambient + heated + abs(left))
    return math.nextafter(total - wiggle, -math.inf), math.nextafter(total + wiggle, math.inf)


def _temperature_over(
    start: Bounds, ambient: Bounds, power: Bounds, resistance: Bounds, capacity: Bounds, time: Bounds
) -> Bounds:
    """Rises with start, ambient and power; for each resistance, goes one way in time over capacity.

    Both parts rise with the resistance where the start is not below the ambient; where it is, the part that is left of
    it falls, and the resistance is then taken apart: sound, and wider than need be in this case alone.
    """
    ages = (capacity[1], time[0]), (capacity[0], time[1])
    ends = []
    for end, choose in ((0, min), (1, max)):
        other = end if start[end] >= ambient[end] else 1 - end
        pair = resistance[end], resistance[other]
        found = [
            _sum_of(_parts(start[end], ambient[end], power[end], pair, farad, age), ambient[end])[end]
            for farad, age in ages
        ]
        ends.append(choose(found))
    return ends[0], ends[1]


def _temperature_slopes(
    start: Bounds, ambient: Bounds, power: Bounds, resistance: Bounds, capacity: Bounds, time: Bounds
) -> tuple[Bounds, ...]:
    """In start e^-x, in ambient 1 - e^-x, in power R (1 - e^-x); the others are left open."""
    x = time[0] / (resistance[1] * capacity[1]), time[1] / (resistance[0] * capacity[0])
    left = math.exp(-x[1] * (1.0 + _SLACK)) * (1.0 - _SLACK), min(1.0, math.exp(-x[0] * (1.0 - _SLACK)) * (1 + _SLACK))
    come = -math.expm1(-x[0]) * (1.0 - _SLACK), min(1.0, -math.expm1(-x[1]) * (1.0 + _SLACK))
    most = resistance[1] * come[1] * (1.0 + _SLACK)
    any_slope = (-_INFINITE, _INFINITE)
    return left, come, (resistance[0] * come[0] * (1.0 - _SLACK), most), any_slope, any_slope, any_slope


def _time_to(
    start: Fraction, target: Fraction, ambient: Fraction, power: Fraction, loss: Fraction, capacity: Fraction
) -> Bounds:
    """Enclosure of the time (s) in which a power (W) lifts a body from start to target (K); ``loss`` in W/K.

    With Q the power left at the target and z = loss * (target - start) / Q, the time is C * (target - start) / Q *
    ln(1 + z) / z: nothing cancels. Zero where the start is as warm, infinite where the power does not suffice.
    """
    gap, left = target - start, power - loss * (target - ambient)
    if gap <= 0:
        return 0.0, 0.0
    if left <= 0:
        return _INFINITE, _INFINITE
    z, whole = floats_around(loss * gap / left), floats_around(capacity * gap / left)
    low, high = whole[0] * _shrunk(z[1]) * (1.0 - _SLACK), whole[1] * _shrunk(z[0]) * (1.0 + _SLACK)
    return max(0.0, math.nextafter(low, 0.0)), math.nextafter(high, math.inf)


def _shrunk(z: float) -> float:
    """ln(1 + z) / z, which falls from one to zero."""
    return 1.0 if not z else math.log1p(z) / z if z < _INFINITE else 0.0


def warm_up_time(start: float, target: float, ambient: float, power: float, loss: float, capacity: float) -> Bounds:
    """Enclosure of the time (s) in which a heater (W) warms a body from start to target (K).

    t = C / U ln((P - U (T_0 - T_a)) / (P - U (T_1 - T_a))), U in W/K, C in J/K: the solution of C dT/dt = P - U (T -
    T_a). Zero where the start is as warm as the target; infinite, above any limit, where the power does not suffice.
    """
    return _time_to(*map(Fraction, (start, target, ambient, power, loss, capacity)))


def heating_time(
    start: float, target: float, ambient: float, power: float, resistance: float, capacity: float
) -> Bounds:
    """Enclosure of the time (s) in which a power (W) heats a body from start to target (K).

    As ``warm_up_time``, with a thermal resistance (K/W) in place of the loss per kelvin.
    """
    cold, hot, around, heat, farad = map(Fraction, (start, target, ambient, power, capacity))
    return _time_to(cold, hot, around, heat, 1 / Fraction(resistance), farad)


def _time_over(
    start: Bounds, target: Bounds, ambient: Bounds, power: Bounds, loss: tuple[Fraction, Fraction], capacity: Bounds
) -> Bounds:
    """Falls with start, ambient and power, rises with target and capacity; over the loss it is convex.

    The longest stands at an end of the loss. The shortest does where start and target lie on one side of the ambient;
    where the ambient lies between, the loss is taken apart below and above it: sound, and wider than need be.
    """
    far = start[0], target[1], ambient[0], power[0], capacity[1]
    t0, t1, ta, p, c = map(Fraction, far)
    high = max(_time_to(t0, t1, ta, p, end, c)[1] for end in loss)
    near = start[1], target[0], ambient[1], power[1], capacity[0]
    t0, t1, ta, p, c = map(Fraction, near)
    if t1 <= ta:
        return _time_to(t0, t1, ta, p, loss[1], c)[0], high
    if t0 >= ta or loss[0] == loss[1]:
        return _time_to(t0, t1, ta, p, loss[0], c)[0], high
    low = _time_to(t0, ta, ta, p, loss[1], c)[0] + _time_to(ta, t1, ta, p, loss[0], c)[0]
    return max(0.0, math.nextafter(low, 0.0)), high


def _warm_up_over(
    start: Bounds, target: Bounds, ambient: Bounds, power: Bounds, loss: Bounds, capacity: Bounds
) -> Bounds:
    pair = Fraction(loss[0]), Fraction(loss[1])
    return _time_over(start, target, ambient, power, pair, capacity)


def _heating_over(
    start: Bounds, target: Bounds, ambient: Bounds, power: Bounds, resistance: Bounds, capacity: Bounds
) -> Bounds:
    pair = 1 / Fraction(resistance[1]), 1 / Fraction(resistance[0])
    return _time_over(start, target, ambient, power, pair, capacity)


def derated_by_lowest(first: Fraction, second: Fraction) -> Fraction:
    """The lower of two factors: the law of devices that obey their strictest limit."""
    return min(first, second)


def derated_by_product(first: Fraction, second: Fraction) -> Fraction:
    """Two factors multiplied: the law of devices that apply one limit on top of the other."""
    return first * second


def combined_derating(factors: Sequence[Fraction]) -> tuple[Fraction, Fraction]:
    """The factor by the product of all and by the lowest of all: what is possible while the law is not known.

    Raises ValueError for none and for a factor outside 0 to 1, with what was given.
    """
    if not factors or min(factors) < 0 or max(factors) > 1:
        raise ValueError(f"expected one or more factors from 0 to 1; given {[str(item) for item in factors]}")
    return math.prod(factors, start=Fraction(1)), min(factors)


def _temperature(types: tuple[Type, ...]) -> Type:
    return Temperature()


_PER_KELVIN = Quantity(POWER / TEMPERATURE_DIFFERENCE)
_START = Argument("start", "temperature at the beginning", Temperature(), FALLS, 0.0, 1e6)
_TARGET = Argument("target", "temperature to reach", Temperature(), RISES, 0.0, 1e6)
_AMBIENT = Argument("ambient", "temperature around it", Temperature(), FALLS, 0.0, 1e6)
_RESISTANCE = Argument("thermal_resistance", "kelvin of steady rise for each watt",
                       Quantity(TEMPERATURE_DIFFERENCE / POWER), NEITHER, 1e-9, 1e9)  # fmt: skip
_CAPACITY = Argument("heat_capacity", "heat that lifts it by one kelvin", Quantity(ENERGY / TEMPERATURE_DIFFERENCE),
                     RISES, 1e-9, 1e15)  # fmt: skip
_FACTORS = (
    Argument("first", "a factor from 0 to 1", Quantity(NUMBER), RISES, 0.0, 1.0),
    Argument("second", "another factor from 0 to 1", Quantity(NUMBER), RISES, 0.0, 1.0),
)
_SOLUTION = "C dT/dt = P - (T - T_a) / R (heat balance of one body), "
FUNCTIONS = (
    Function(
        "temperature_after", "The temperature of a body after a time of constant heating.",
        (Argument("start", "temperature at the beginning", Temperature(), RISES, 0.0, 1e6),
         Argument("ambient", "temperature around it", Temperature(), RISES, 0.0, 1e6),
         Argument("power", "heat that is set free in it", Quantity(POWER), RISES, 0.0, 1e12),
         _RESISTANCE,
         Argument("heat_capacity", _CAPACITY.meaning, _CAPACITY.type, NEITHER, 1e-9, 1e15),
         Argument("time", "time since the beginning", Quantity(TIME), NEITHER, 0.0, 1e12)),
        _temperature, temperature_after, _SOLUTION + "solved for T",
        enclose=_temperature_over, slopes=_temperature_slopes,
    ),
    Function(
        "heating_time", "The time until a heated body reaches a temperature; more than any limit where it never does.",
        (_START, _TARGET, _AMBIENT, Argument("power", "heat that is set free in it", Quantity(POWER), FALLS, 0.0, 1e12),
         _RESISTANCE, _CAPACITY),
        gives(TIME), heating_time, _SOLUTION + "solved for t", enclose=_heating_over,
    ),
    Function(
        "warm_up_time", "The time in which a heater warms a pack; above any limit where its power does not suffice.",
        (_START, _TARGET, _AMBIENT, Argument("power", "power of the heater", Quantity(POWER), FALLS, 0.0, 1e12),
         Argument("loss", "heat lost for each kelvin above the ambient", _PER_KELVIN, NEITHER, 0.0, 1e9), _CAPACITY),
        gives(TIME), warm_up_time, "C dT/dt = P - U (T - T_a) (heat balance of one body), solved for t",
        enclose=_warm_up_over,
    ),
    Function(
        "derated_by_lowest", "What two derating factors leave together where the stricter one alone counts.",
        _FACTORS, gives(NUMBER), point_of(derated_by_lowest), "min(f1, f2)", exact=exact_of(derated_by_lowest),
    ),
    Function(
        "derated_by_product", "What two derating factors leave together where one applies on top of the other.",
        _FACTORS, gives(NUMBER), point_of(derated_by_product), "f1 f2", exact=exact_of(derated_by_product),
    ),
)  # fmt: skip
