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

    ``afloat``: no pack follows the current, so that only the capacitance of the bus does; the voltage is then no line.
    ``bends``: for packs whose current bends with the voltage, where (V) and whether they are below that.
    """

    currents: tuple[Line, ...]
    voltage: Line
    afloat: bool = False
    bends: tuple[tuple[float, bool], ...] = ()

    @property
    def fixed(self) -> float:
        """What the packs take whatever flows (A)."""
        return sum(offset for _, offset in self.currents) if self.afloat else 0.0


@frozen(eq=False)
class _Path:
    """What a pack takes: ``conductance * (voltage - rest)`` on one side of ``bend`` (V), a fixed current on the other.

    ``below``: it follows the voltage below the bend, else above it.
    """

    number: int
    conductance: float
    rest: float
    bend: float = math.inf
    below: bool = True
    fixed: float = 0.0

    def follows(self, low: float) -> bool:
        """Whether it follows the voltage from ``low`` up to the next bend."""
        return low < self.bend if self.below else low >= self.bend

    def current(self, voltage: float) -> float:
        is_held = voltage >= self.bend if self.below else voltage <= self.bend
        return self.fixed if is_held else self.conductance * (voltage - self.rest)


def divide(packs: Sequence[Pack], modes: Sequence[Mode], current: float, floating: float | None = None) -> Division:
    """How ``current`` (A, positive when charging) divides, Kirchhoff's laws with ideal one-way paths and limiters.

    ``floating``: the voltage (V) of a bus that no pack held until now; a pack holds it once it comes within reach.
    """
    paths = [path for number, mode in enumerate(modes) if (path := _path(number, packs[number], mode)) is not None]
    bends = sorted({path.bend for path in paths if math.isfinite(path.bend)})
    if floating is not None:
        low = max((bend for bend in bends if bend <= floating), default=-math.inf)
    else:
        # Every path takes more at a higher voltage, so the current tells between which bends the voltage lies.
        low = max((bend for bend in bends if sum(path.current(bend) for path in paths) < current), default=-math.inf)
    return _division(packs, paths, low)


def _path(number: int, pack: Pack, mode: Mode) -> _Path | None:
    conductance, rest = pack.conductance, pack.rest
    if mode is Mode.FREE:
        return _Path(number, conductance, rest, fixed=math.inf)
    if mode is Mode.NO_CHARGE:
        return _Path(number, conductance, rest, rest)
    if mode is Mode.NO_DISCHARGE:
        return _Path(number, conductance, rest, rest, below=False)
    if mode is Mode.LIMITING and pack.limiter is not None:  # its reverse path stays open
        limit = pack.limiter.current
        return _Path(number, conductance, rest, rest + limit / conductance, fixed=limit)
    return None


def _division(packs: Sequence[Pack], paths: Sequence[_Path], low: float) -> Division:
    """The division while the voltage lies between the bend ``low`` and the next one."""
    following = [path for path in paths if path.follows(low)]
    held = [path for path in paths if not path.follows(low)]
    bends = tuple((path.bend, low < path.bend) for path in paths if math.isfinite(path.bend))
    currents: list[Line] = [(0.0, 0.0)] * len(packs)
    for path in held:
        currents[path.number] = (0.0, path.fixed)
    if not following:
        return Division(tuple(currents), (0.0, math.nan), True, bends)
    conductance = sum(path.conductance for path in following)
    weighted = sum(path.conductance * path.rest for path in following)
    line = 1.0 / conductance, (weighted - sum(path.fixed for path in held)) / conductance
    for path in following:
        currents[path.number] = (path.conductance * line[0], path.conductance * (line[1] - path.rest))
    return Division(tuple(currents), line, False, bends)


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
