"""The DC bus: how a current divides between the packs that take it, and the voltage that follows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import Enum

from attrs import frozen

from limitrules.simulate.plant import Pack


class Mode(Enum):
    """What a pack lets through."""

    FREE = "both ways"
    NO_CHARGE = "discharge only"
    NO_DISCHARGE = "charge only"
    OPEN = "nothing"
    LIMITING = "the current of its fallback limiter"


Line = tuple[float, float]  # a figure as factor * current into the bus + offset


@frozen(eq=False)
class Division:
    """``currents``: of each pack, as a line over the current into the bus (A). ``voltage``: of the bus, likewise (V).

    ``afloat``: no pack takes the current, so that only the capacitance of the bus does; the voltage is then no line.
    ``blocked``: packs that a blocked direction keeps apart at the moment.
    """

    currents: tuple[Line, ...]
    voltage: Line
    afloat: bool = False
    blocked: tuple[int, ...] = ()


def divide(packs: Sequence[Pack], modes: Sequence[Mode], current: float) -> Division:
    """How ``current`` (A, positive when charging) divides, Kirchhoff's laws with ideal one-way paths.

    A pack that blocks one direction takes part while its current would flow the other way.
    """
    fixed = sum(_limited(pack) for pack, mode in zip(packs, modes, strict=True) if mode is Mode.LIMITING)
    free = [number for number, mode in enumerate(modes) if mode is Mode.FREE]
    one_way = [number for number, mode in enumerate(modes) if mode in (Mode.NO_CHARGE, Mode.NO_DISCHARGE)]
    active = set(free) or {n for n in one_way if _may(modes[n], math.copysign(1.0, current - fixed))}
    for _ in range(2 * len(packs) + 2):
        if not active:
            break
        line = _voltage(packs, active, fixed)
        voltage = line[0] * current + line[1]
        chosen = set(free) | {n for n in one_way if _may(modes[n], voltage - packs[n].rest)}
        if chosen == active or not chosen:
            break
        active = chosen
    blocked = tuple(n for n in one_way if n not in active)
    if not active:
        return Division(_fixed_lines(packs, modes), (0.0, math.nan), True, blocked)
    line = _voltage(packs, active, fixed)
    currents = list(_fixed_lines(packs, modes))
    for number in active:
        g = packs[number].conductance
        currents[number] = (g * line[0], g * (line[1] - packs[number].rest))
    return Division(tuple(currents), line, False, blocked)


def _may(mode: Mode, way: float) -> bool:
    return way > 0.0 if mode is Mode.NO_DISCHARGE else way < 0.0


def _limited(pack: Pack) -> float:
    return pack.limiter.current if pack.limiter else 0.0


def _fixed_lines(packs: Sequence[Pack], modes: Sequence[Mode]) -> tuple[Line, ...]:
    return tuple(
        (0.0, _limited(pack) if mode is Mode.LIMITING else 0.0) for pack, mode in zip(packs, modes, strict=True)
    )


def _voltage(packs: Sequence[Pack], active: set[int], fixed: float) -> Line:
    conductance = sum(packs[number].conductance for number in active)
    weighted = sum(packs[number].conductance * packs[number].rest for number in active)
    return 1.0 / conductance, (weighted - fixed) / conductance


def drawn_current(power: float, inflow: float, line: Line) -> float:
    """The DC current (A) of a constant power (W) while sources push ``inflow`` (A) into the bus; ``line`` as above.

    From ``V = factor * (inflow - power / V) + offset``, the root with the higher voltage; infinite where there is none:
    the bus cannot carry that power.
    """
    open_voltage = line[0] * inflow + line[1]
    under = open_voltage * open_voltage - 4.0 * line[0] * power
    if under < 0.0 or open_voltage <= 0.0:
        return math.inf
    return 2.0 * power / (open_voltage + math.sqrt(under))
