"""Relations of converters: the DC current that a power needs at a sagging voltage."""

from __future__ import annotations

import math

from limitrules.foundation.dimension import CURRENT, POWER, RESISTANCE, VOLTAGE
from limitrules.foundation.kinds import Quantity, Type
from limitrules.language.functions import Argument, Bounds, Direction, Function


def _current(types: tuple[Type, ...]) -> Type:
    return Quantity(CURRENT)


def current_at_power(power: float, rest_voltage: float, resistance: float) -> Bounds:
    """Enclosure of the current (A) at which a source delivers a power (W).

    The source has a rest voltage (V) and a series resistance (ohm): power = current * (rest_voltage - current *
    resistance), smaller root, in the form 2 P / (V + sqrt(V^2 - 4 R P)) that keeps its digits for small resistance.
    Where the power is more than V^2 / (4 R) no current delivers it: it is then infinite, more than any limit. Raises
    ValueError for a source without voltage.
    """
    if rest_voltage <= 0.0:
        raise ValueError("a rest voltage above zero")
    square = rest_voltage * rest_voltage
    rest = square - 4.0 * resistance * power
    # Four roundings, each of at most 1.2e-16 of the larger of the two terms.
    slack = 1e-15 * max(square, 4.0 * resistance * power)
    if rest < -slack:
        return math.inf, math.inf
    low = 2.0 * power / (rest_voltage + math.sqrt(max(rest + slack, 0.0)))
    if rest <= slack:
        return _lower(low), math.inf
    high = 2.0 * power / (rest_voltage + math.sqrt(rest - slack))
    return _lower(low), math.nextafter(high + 1e-15 * high, math.inf)


def _slopes(power: Bounds, rest_voltage: Bounds, resistance: Bounds) -> tuple[Bounds, ...]:
    """Enclosures of the slopes 1 / S, -I / S and I^2 / S, with S = sqrt(V^2 - 4 R P).

    They follow from P = I (V - I R) by implicit differentiation, where V - 2 I R = S. Raises ValueError where the box
    reaches the power that no current delivers.
    """
    least = rest_voltage[0] ** 2 - 4.0 * resistance[1] * power[1]
    most = rest_voltage[1] ** 2 - 4.0 * resistance[0] * power[0]
    room = 1e-14 * max(most, 4.0 * resistance[1] * power[1])
    if least <= room:
        raise ValueError("a power that the source can deliver")
    over = 1.0 / math.sqrt(most + room), 1.0 / math.sqrt(least - room)
    low = current_at_power(power[0], rest_voltage[1], resistance[0])[0]
    high = current_at_power(power[1], rest_voltage[0], resistance[1])[1]
    down, up = 1.0 - 1e-14, 1.0 + 1e-14
    return (
        (over[0] * down, over[1] * up),
        (-high * over[1] * up, -low * over[0] * down),
        (low * low * over[0] * down, high * high * over[1] * up),
    )


def _lower(value: float) -> float:
    return max(0.0, math.nextafter(value - 1e-15 * value, -math.inf))


FUNCTIONS = (
    Function(
        "current_at_power",
        "The DC current that delivers a power from a source with rest voltage and series resistance; more than any "
        "limit where no current delivers it.",
        (
            Argument("power", "power drawn on the DC side", Quantity(POWER), Direction.RISES, 0.0),
            Argument("rest_voltage", "voltage of the source without current", Quantity(VOLTAGE), Direction.FALLS, 0.0),
            Argument("resistance", "series resistance of the source and its leads", Quantity(RESISTANCE),
                     Direction.RISES, 0.0),
        ),
        _current,
        current_at_power,
        "P = I (V - I R) solved for I, smaller root",
        slopes=_slopes,
    ),
)  # fmt: skip
