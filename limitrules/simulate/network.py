"""The site at one moment of a rehearsal: who feeds the bus, who takes from it, and what that makes of the voltage."""

from __future__ import annotations

import math
from collections.abc import Sequence

from attrs import frozen

from limitrules.simulate.bus import Division, Mode, divide, drawn_current
from limitrules.simulate.movement import Movement
from limitrules.simulate.plant import Part, Plant, Watch
from limitrules.simulate.signals import Signal, constant, total

_ROUNDS = 60
_LEAST_CAPACITANCE = 1e-6  # F; of a bus for which none is stated


@frozen(eq=False)
class Piece:
    """A stretch of time without events; its signals count from ``start`` (s).

    ``inflow``: current into all packs together (A); where the bus is afloat, what they take whatever flows.
    ``voltage``: of the bus (V), or its square where the bus is afloat, since constant powers then change the energy in
    its capacitance. ``outputs``: of the sources (A).
    ``load``: drawn from the bus (A). ``ac_power``: asked of the converter (W).
    """

    start: float
    end: float
    inflow: Signal
    division: Division
    voltage: Signal
    outputs: tuple[Signal, ...]
    load: float
    ac_power: float

    @property
    def is_afloat(self) -> bool:
        return self.division.afloat

    def current(self, pack: int) -> Signal:
        """The current of a pack (A)."""
        return self.inflow.affine(*self.division.currents[pack])

    def bus_voltage(self, time: float) -> float:
        """The voltage of the bus (V) at a time from the start."""
        value = self.voltage(time)
        return math.sqrt(max(0.0, value)) if self.is_afloat else value


class Network:
    """Movements of the sources, modes of the packs, loads that run, and the currents that follow."""

    def __init__(self, plant: Plant, modes: Sequence[Mode], loads: Sequence[int], extra_load: float) -> None:
        self.plant = plant
        self.modes = list(modes)
        self.loads = list(loads)
        self.extra_load = extra_load
        self.has_converter = plant.converter is not None
        self.movements = [Movement(source, 0.0) for source in plant.sources]
        self.load = 0.0
        self.has_collapsed = False
        self.voltage = self.highest_rest
        self.held_until: float | None = None  # voltage at which the packs let go of the bus, where they have
        self.division = divide(plant.packs, self.modes, 0.0)

    @property
    def highest_rest(self) -> float:
        return max(pack.rest for pack in self.plant.packs)

    @property
    def ac_power(self) -> float:
        """What is asked of the converter on its AC side (W)."""
        if not self.has_converter:
            return 0.0
        loads = self.plant.loads
        return self.extra_load + sum(loads[number].power for number in self.loads if not loads[number].on_dc)

    @property
    def served_power(self) -> float:
        """What the converter gives of that (W)."""
        converter = self.plant.converter
        if converter is None or not converter.can_limit:
            return self.ac_power
        by_current = converter.discharge_ceiling * self.voltage * converter.efficiency
        return min(self.ac_power, converter.power_ceiling, by_current)

    def dc_power(self) -> float:
        """What is drawn from the bus (W)."""
        loads, converter = self.plant.loads, self.plant.converter
        power = sum(loads[number].power for number in self.loads if loads[number].on_dc)
        return power + self.served_power / converter.efficiency if converter else power

    def divide(self) -> None:
        """Find who takes the current now, and what the loads draw at the voltage that follows."""
        inflow = sum(movement.output for movement in self.movements)
        at_first = self.voltage
        for _ in range(_ROUNDS):
            floating = self.voltage if self.held_until is not None else None
            self.division = divide(self.plant.packs, self.modes, inflow - self.load, floating)
            self._note_held(at_first)
            before, self.load = self.load, self._drawn(inflow)
            if self.has_collapsed or abs(self.load - before) <= 1e-13 * max(1.0, self.load):
                return
            if not self.division.afloat:
                line = self.division.voltage
                self.voltage = line[0] * (inflow - self.load) + line[1]

    def _note_held(self, voltage: float) -> None:
        """Note that packs hold the bus, or the ``voltage`` (V) at which they let go of it."""
        if not self.division.afloat:
            self.held_until = None
        elif self.held_until is None:
            # The packs still bring the bus to where they cease to hold it.
            for bend, is_below in self.division.bends:
                voltage = min(voltage, bend * (1.0 - 1e-12)) if is_below else max(voltage, bend)
            self.held_until = self.voltage = voltage

    def _drawn(self, inflow: float) -> float:
        power = self.dc_power()
        if self.held_until is not None:
            falls = power > (inflow - self.division.fixed) * self.held_until
            self.has_collapsed = falls and self.voltage <= self.lowest_use * (1.0 + 1e-9)
            return 0.0 if self.has_collapsed else power / self.voltage
        drawn = drawn_current(power, inflow, self.division.voltage)
        self.has_collapsed = math.isinf(drawn)
        return 0.0 if self.has_collapsed else drawn

    @property
    def lowest_use(self) -> float:
        """Below this the bus counts as dead when no pack holds it: half of the highest rest voltage."""
        able = Mode.NO_CHARGE in self.modes or Mode.LIMITING in self.modes
        return 0.0 if able else self.highest_rest / 2.0

    def settle(self, aims: Sequence[float]) -> bool:
        """Put sources at rest at ``aims``. True where they were there already."""
        if all(abs(m.output - aim) <= 1e-12 * max(1.0, aim) for m, aim in zip(self.movements, aims, strict=True)):
            return True
        self.movements = [Movement(m.source, aim) for m, aim in zip(self.movements, aims, strict=True)]
        self.divide()
        return False

    def piece(self, start: float, end: float) -> Piece:
        """From now on, if nothing happens."""
        outputs = tuple(movement.signal for movement in self.movements)
        if self.division.afloat:
            inflow, voltage = constant(self.division.fixed), self._afloat(outputs)
        else:
            inflow = total(outputs).affine(1.0, -self.load)
            voltage = inflow.affine(*self.division.voltage)
        return Piece(start, end, inflow, self.division, voltage, outputs, self.load, self.ac_power)

    def _afloat(self, outputs: Sequence[Signal]) -> Signal:
        """The square of the voltage while only the capacitance of the bus takes what the sources give.

        ``C/2 * (V**2 - V0**2) = energy``; sources and loads keep the power that they had when the packs let go, as a
        converter's control does, and a source that moves loses its power in proportion.
        """
        square = self.voltage * self.voltage
        assert self.held_until is not None
        net = total(outputs).affine(1.0, -self.division.fixed)
        energy = net.affine(self.held_until, -self.dc_power()).integral()
        return energy.affine(2.0 / max(self.plant.capacitance, _LEAST_CAPACITANCE), square)

    def figure(self, watch: Watch, piece: Piece) -> Signal:
        """What a watch looks at, along a piece."""
        if watch.part is Part.BUS_VOLTAGE:
            return piece.voltage
        if watch.part is Part.CONVERTER_POWER:
            return constant(self.ac_power)
        pack = self.plant.packs[watch.owner]
        if watch.part is Part.PACK_CURRENT:
            return piece.current(watch.owner)
        if watch.part is Part.PACK_VOLTAGE:
            return piece.current(watch.owner).affine(pack.resistance, pack.rest)
        if self.modes[watch.owner] not in (Mode.FREE, Mode.LIMITING):
            return constant(0.0)
        if piece.is_afloat:
            return piece.voltage
        return piece.voltage.affine(pack.conductance, -pack.conductance * pack.rest)

    def level(self, watch: Watch, piece: Piece, level: float) -> float:
        """A level of a watch in terms of that figure: where the bus is afloat, the square of its voltage."""
        if not piece.is_afloat or watch.part not in (Part.BUS_VOLTAGE, Part.LIMITED_CURRENT):
            return level
        if watch.part is Part.BUS_VOLTAGE:
            return level * level
        pack = self.plant.packs[watch.owner]
        if self.modes[watch.owner] not in (Mode.FREE, Mode.LIMITING):
            return level
        return max(0.0, pack.rest + level / pack.conductance) ** 2

    def bounds(self, watch: Watch, piece: Piece, inflow: tuple[float, float]) -> tuple[float, float]:
        """Bounds of that figure where the inflow lies within bounds: a quick look before the exact one."""
        if watch.part in (Part.CONVERTER_POWER, Part.LIMITED_CURRENT) or piece.is_afloat:
            return -math.inf, math.inf
        if watch.part is Part.BUS_VOLTAGE:
            return on_line(piece.division.voltage, inflow)
        low, high = on_line(piece.division.currents[watch.owner], inflow)
        if watch.part is Part.PACK_CURRENT:
            return low, high
        pack = self.plant.packs[watch.owner]
        return pack.rest + pack.resistance * low, pack.rest + pack.resistance * high


def on_line(line: tuple[float, float], ends: tuple[float, float]) -> tuple[float, float]:
    """The ends of a figure that is a line over the inflow, which it never falls with."""
    return line[0] * ends[0] + line[1], line[0] * ends[1] + line[1]
