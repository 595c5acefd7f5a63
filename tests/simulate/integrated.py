"""The same plants by numerical integration: `solve_ivp` from event to event, written without a look at closed forms.

States are the outputs of the sources, what filters and thermal images hold, and the square of the voltage of a bus that
no pack holds. The voltage of a held bus is found by Newton's steps on Kirchhoff's law for what each pack takes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

import numpy as np
from attrs import define, field
from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar

from limitrules.simulate.bus import Mode
from limitrules.simulate.course import Change
from limitrules.simulate.plant import Act, Part, Plant, Watch
from tests.simulate.held import held_voltage, taken

RTOL, ATOL = 1e-10, 1e-11
NEAR = 1e-8
"""What counts as past a level at once; nearer to it, the motion decides."""
Vector = Any  # an array of floats
Gauge = tuple[Callable[[float, Vector], float], float, Callable[[], None]]
_NODES = np.polynomial.legendre.leggauss(6)


@define
class Watching:
    watch: Watch
    state: str = "idle"
    due: float = math.inf
    acts: int = 0
    row: int = -1  # of what its filter holds
    heat: int = -1


@define
class Moving:
    aim: float
    ordered: float
    orders: list[tuple[float, float]] = field(factory=list)
    is_slewing: bool = False
    way: float = 0.0
    is_stopped: bool = False


@define
class Told:
    """``moments``: time, what and whose. ``peaks``: highest and lowest current of each pack."""

    moments: list[tuple[float, str, str]]
    peaks: list[tuple[float, float]]
    charge: float
    voltage: tuple[float, float]


class Integrated:
    """One plant over time."""

    def __init__(self, plant: Plant, extra: float, changes: Sequence[Change], until: float) -> None:
        self.plant, self.until, self.changes = plant, until, list(changes)
        self.modes = [Mode.FREE] * len(plant.packs)
        self.outside = list(self.modes)
        self.heard = list(self.modes)
        self.extra, self.load, self.now = extra, 0.0, 0.0
        self.news: list[tuple[float, list[Mode]]] = []
        self.let_go: float | None = None
        self.is_dark = False
        self.known = math.nan, math.nan  # outputs together, and the voltage that they make
        self.told = Told([], [(0.0, 0.0) for _ in plant.packs], 0.0, (math.inf, -math.inf))
        self.watching = [Watching(watch) for watch in plant.watches]
        self._begin()

    # beginning

    def _begin(self) -> None:
        outs: list[float] = [0.0] * len(self.plant.sources)
        volts = math.nan
        for _ in range(300):
            held = held_voltage(self.plant.packs, self.modes, sum(outs) - self.load)
            assert held is not None
            volts = held
            self.load = self._drawn(volts)
            outs = self._aims()
        self.moving = [Moving(out, out) for out in outs]
        x = list(outs)
        self.volts = volts
        for item in self.watching:
            figure = item.watch.sign * self._figure(item.watch, np.array(x), raw=True)
            if item.watch.filter_time:
                item.row = len(x)
                x.append(figure)
            if item.watch.heating_time:
                item.heat = len(x)
                x.append((max(0.0, figure) / item.watch.level) ** 2)
        self.square = len(x)
        self.x = np.array([*x, volts * volts])

    def _drawn(self, volts: float) -> float:
        converter = self.plant.converter
        return self.extra / converter.efficiency / volts if converter else 0.0

    def _aims(self) -> list[float]:
        sources, packs = self.plant.sources, self.plant.packs
        heard = [p.charge_ceiling for p, m in zip(packs, self.heard, strict=True)
                 if m in (Mode.FREE, Mode.LIMITING, Mode.NO_DISCHARGE)]  # fmt: skip
        free = min(self.plant.bank_ceiling, sum(heard)) + self.load
        free -= sum(s.ceiling for s in sources if not s.obeys)
        able = sum(s.ceiling for s in sources if s.obeys)
        share = min(1.0, max(0.0, free) / able) if able else 0.0
        return [s.ceiling * share if s.obeys else s.ceiling for s in sources]

    # figures

    def _outs(self, x: Vector) -> float:
        return float(x[: len(self.plant.sources)].sum())

    def _voltage(self, x: Vector) -> float:
        if self.let_go is not None:
            return math.sqrt(max(0.0, x[self.square]))
        outs = self._outs(x)
        if outs != self.known[0]:
            found = held_voltage(self.plant.packs, self.modes, outs - self.load)
            assert found is not None
            self.known = outs, found
        return self.known[1]

    def _figure(self, watch: Watch, x: Vector, raw: bool = False, volts: float | None = None) -> float:
        if volts is None:
            volts = self._voltage(x)
        if watch.part is Part.BUS_VOLTAGE:
            return volts
        pack = self.plant.packs[watch.owner]
        mode = self.modes[watch.owner]
        if watch.part is Part.LIMITED_CURRENT:
            able = mode in (Mode.FREE, Mode.LIMITING)
            return (volts - pack.rest) / (pack.resistance + pack.lead) if able else 0.0
        current = taken(pack, mode, volts)[0]
        return current if watch.part is Part.PACK_CURRENT else pack.rest + pack.resistance * current

    def _seen(self, item: Watching, x: Vector, volts: float | None = None) -> float:
        if item.row >= 0:
            return float(x[item.row])
        return item.watch.sign * self._figure(item.watch, x, volts=volts)

    # motion

    def _rates(self, time: float, x: Vector) -> Vector:
        made = np.zeros_like(x)
        volts = self._voltage(x)
        for number, (source, move) in enumerate(zip(self.plant.sources, self.moving, strict=True)):
            away = move.aim - x[number]
            if move.is_slewing:
                made[number] = math.copysign(source.slew, away)
            elif source.time_constant:
                made[number] = away / source.time_constant
        for item in self.watching:
            if item.row < 0 and item.heat < 0:
                continue
            figure = item.watch.sign * self._figure(item.watch, x, volts=volts)
            if item.row >= 0:
                made[item.row] = (figure - x[item.row]) / item.watch.filter_time
            if item.heat >= 0:
                seen = x[item.row] if item.row >= 0 else figure
                made[item.heat] = ((max(0.0, seen) / item.watch.level) ** 2 - x[item.heat]) / item.watch.heating_time
        if self.let_go is not None:
            fixed = sum(taken(p, m, volts)[0] for p, m in zip(self.plant.packs, self.modes, strict=True))
            power = self.extra / self.plant.converter.efficiency if self.plant.converter else 0.0
            net = (self._outs(x) - fixed) * self.let_go - power
            made[self.square] = 2.0 * net / self.plant.capacitance
        return made

    # events

    def _gauges(self, is_at_once: bool = False) -> list[Gauge]:
        """What may happen next: a figure that passes zero, the way it passes, what is then done."""
        found = [gauge for item in self.watching for gauge in self._of_watch(item)]
        for number, (source, move) in enumerate(zip(self.plant.sources, self.moving, strict=True)):
            if move.is_slewing:
                bend = source.slew * source.time_constant
                found.append((self._short_of(number, move, bend), 1.0, partial(self._bends, move, number, bend)))
        if self.let_go is None:
            return found
        tops, bottoms = self._reaches()
        if not is_at_once:  # `_settle` finds who holds the bus then
            found += [(self._square_less(top), -1.0, _nothing) for top in tops]
            found += [(self._square_less(bottom), 1.0, _nothing) for bottom in bottoms]
        if not tops:
            dead = max(pack.rest for pack in self.plant.packs) / 2.0
            found.append((self._square_less(dead), -1.0, self._goes_dark))
        return found

    def _of_watch(self, item: Watching) -> list[Gauge]:
        watch = item.watch
        level = watch.sign * watch.level
        if item.state == "idle" and item.heat >= 0:
            return [(lambda _, x: float(x[item.heat]) - 1.0, 1.0, partial(self._acts, item))]
        if item.state == "idle":
            return [(self._seen_less(item, level), 1.0, partial(self._exceeds, item))]
        if item.state == "counting":
            return [(self._seen_less(item, level), -1.0, partial(self._back, item))]
        if item.state == "locked" or watch.release is None:
            return []
        begins = item.state == "acted"
        gauge = self._seen_less(item, watch.sign * watch.release)
        return [(gauge, -1.0 if begins else 1.0, partial(self._lets_go, item, begins))]

    def _seen_less(self, item: Watching, level: float) -> Callable[[float, Vector], float]:
        return lambda _, x: self._seen(item, x) - level

    def _square_less(self, volts: float) -> Callable[[float, Vector], float]:
        return lambda _, x: float(x[self.square]) - volts * volts

    def _short_of(self, number: int, move: Moving, bend: float) -> Callable[[float, Vector], float]:
        return lambda _, x: float((x[number] - move.aim) * move.way) + bend

    def _goes_dark(self) -> None:
        self.is_dark = True

    def _say(self, what: str, path: str) -> None:
        self.told.moments.append((self.now, what, path))

    def _exceeds(self, item: Watching) -> None:
        item.state, item.due = "counting", self.now + item.watch.delay
        if item.watch.act not in (Act.LIMIT, Act.OVERSTRESS):
            self._say("exceeded", item.watch.path)

    def _back(self, item: Watching) -> None:
        item.state, item.due = "idle", math.inf
        if item.watch.act not in (Act.LIMIT, Act.OVERSTRESS):
            self._say("back", item.watch.path)

    def _lets_go(self, item: Watching, begins: bool) -> None:
        item.state = "letting go" if begins else "acted"
        item.due = self.now + item.watch.release_delay if begins else math.inf

    def _acts(self, item: Watching) -> None:
        watch = item.watch
        item.acts += 1
        self._say("acted", watch.path)
        is_last = watch.release is None or (watch.retries is not None and item.acts > watch.retries)
        item.state, item.due = "locked" if is_last else "acted", math.inf
        if watch.act is Act.STOP_SOURCE:
            self.moving[watch.owner] = Moving(0.0, 0.0, is_stopped=True)
            self.x[watch.owner] = 0.0
        elif watch.act in (Act.BLOCK, Act.LIMIT):
            self._set_mode(watch.owner)

    def _due(self, item: Watching) -> None:
        if item.state == "counting" and self._seen(item, self.x) < item.watch.sign * item.watch.level - NEAR:
            self._back(item)
        elif item.state == "counting":
            self._acts(item)
        else:
            item.state, item.due = "idle", math.inf
            self._say("released", item.watch.path)
            self._set_mode(item.watch.owner)

    def _set_mode(self, number: int) -> None:
        outside = self.outside[number]
        charge = outside in (Mode.OPEN, Mode.NO_CHARGE)
        discharge, limits = outside is Mode.OPEN, False
        for item in self.watching:
            if item.watch.owner == number and item.state in ("acted", "letting go", "locked"):
                charge = charge or item.watch.blocks_charge
                discharge = discharge or item.watch.blocks_discharge
                limits = limits or item.watch.act is Act.LIMIT
        if (charge or discharge) and not self.plant.packs[number].separate_paths:
            charge = discharge = True
        names = {(True, True): Mode.OPEN, (True, False): Mode.NO_CHARGE, (False, True): Mode.NO_DISCHARGE}
        mode = names.get((charge, discharge), Mode.FREE)
        self.modes[number] = Mode.LIMITING if limits and not charge else mode
        self.news.append((self.now + self.plant.update_time, list(self.modes)))

    def _order(self) -> None:
        for source, move, aim in zip(self.plant.sources, self.moving, self._aims(), strict=True):
            if source.obeys and not move.is_stopped and abs(aim - move.ordered) > 1e-9 * max(1.0, abs(aim)):
                move.ordered = aim
                move.orders.append((self.now + source.dead_time, aim))

    def _bends(self, move: Moving, number: int, bend: float) -> None:
        move.is_slewing = False
        if not bend:
            self.x[number] = move.aim

    def _start_moving(self, number: int, aim: float) -> None:
        source, move = self.plant.sources[number], self.moving[number]
        move.aim = aim
        away = aim - self.x[number]
        move.way = math.copysign(1.0, away)
        move.is_slewing = math.isfinite(source.slew) and abs(away) > source.slew * source.time_constant
        if not move.is_slewing and not source.time_constant:
            self.x[number] = aim
        self._say("order", source.path)

    def _scheduled(self) -> list[tuple[float, Callable[[], None]]]:
        found: list[tuple[float, Callable[[], None]]] = [(i.due, partial(self._due, i)) for i in self.watching]
        found += [(change.time, self._change) for change in self.changes[:1]]
        found += [(time, self._hear) for time, _ in self.news[:1]]
        for number, move in enumerate(self.moving):
            found += [(time, partial(self._take, number, aim)) for time, aim in move.orders[:1]]
        return found

    def _take(self, number: int, aim: float) -> None:
        self.moving[number].orders.pop(0)
        self._start_moving(number, aim)

    def _hear(self) -> None:
        _, self.heard = self.news.pop(0)
        self._order()

    def _change(self) -> None:
        change = self.changes.pop(0)
        if change.extra_load is not None:
            self.extra = change.extra_load
        for number, mode in change.modes:
            self.outside[number] = mode
            self._set_mode(number)
        self._settle()
        if change.extra_load is not None:
            self._order()

    def _settle(self) -> None:
        """Who holds the bus now, and what the loads draw."""
        held = None
        if self.let_go is None or not self._is_out_of_reach():
            held = self._held()
        if held is None:
            if self.let_go is None:
                tops, bottoms = self._reaches()
                self.let_go = min([max([self.volts, *tops]), *bottoms])
                self.x[self.square] = self.let_go**2
                self._say("afloat", "")
            self.load = self._drawn(math.sqrt(self.x[self.square]))
        else:
            self.let_go, self.volts, self.known = None, held, (math.nan, math.nan)

    def _reaches(self) -> tuple[list[float], list[float]]:
        """Up to where packs that only give hold the bus, and from where on packs that only take do (V)."""
        both = list(zip(self.plant.packs, self.modes, strict=True))
        tops = [p.rest for p, m in both if m is Mode.NO_CHARGE]
        tops += [p.rest + p.limiter.current * (p.resistance + p.lead)
                 for p, m in both if m is Mode.LIMITING and p.limiter]  # fmt: skip
        return tops, [p.rest for p, m in both if m is Mode.NO_DISCHARGE]

    def _is_out_of_reach(self) -> bool:
        tops, bottoms = self._reaches()
        volts = math.sqrt(self.x[self.square])
        return (
            Mode.FREE not in self.modes
            and all(volts > v + 1e-9 for v in tops)
            and all(volts < v - 1e-9 for v in bottoms)
        )

    def _held(self) -> float | None:
        held = None
        for _ in range(100):
            held = held_voltage(self.plant.packs, self.modes, self._outs(self.x) - self.load)
            if held is None or self._drawn(held) == self.load:
                return held
            self.load = self._drawn(held)
        return held

    # the loop

    def run(self) -> Told:
        self._at_once()
        while self.now < self.until and not self.is_dark:
            self._segment()
        return self.told

    def _at_once(self) -> None:
        """What is due at this instant, all of it together, and then what follows from it."""
        for _ in range(1000):
            due = [act for time, act in self._scheduled() if time <= self.now + 1e-10]
            due = due or [act for gauge, way, act in self._gauges(True) if way * gauge(self.now, self.x) > NEAR]
            if not due:
                return
            for act in due:
                act()
            self._settle()
        raise AssertionError("does not come to rest")

    def _segment(self) -> None:
        gauges = self._gauges()
        end = min([self.until, *(time for time, _ in self._scheduled())])
        events = [_Event(gauge, way) for gauge, way, _ in gauges]
        solved = solve_ivp(self._rates, (self.now, end), self.x, method="DOP853", rtol=RTOL, atol=ATOL, max_step=0.4,
                           events=events, dense_output=True)  # fmt: skip
        assert solved.success, solved.message
        self._note(solved)
        self.now, self.x = float(solved.t[-1]), solved.y[:, -1].copy()
        self.volts = self._voltage(self.x)
        shortly = self.now - min(1e-6, (self.now - float(solved.t[0])) / 2.0)
        before = solved.sol(shortly)
        ends = [
            act
            for times, (gauge, way, act) in zip(solved.t_events, gauges, strict=True)
            if (len(times) and times[-1] >= self.now - 1e-12)
            # Where several pass together, only one of them ended the segment.
            or (way * gauge(shortly, before) < 0.0 and way * gauge(self.now, self.x) >= -1e-11)
        ]
        for act in ends:
            act()
        self._settle()
        self._at_once()

    def _note(self, solved: Any) -> None:
        """Peaks and charge along a segment."""
        begin, end = float(solved.t[0]), float(solved.t[-1])
        if end <= begin:
            return
        for left, right in zip(solved.t[:-1], solved.t[1:], strict=True):
            half = (right - left) / 2.0
            for node, weight in zip(*_NODES, strict=True):
                self.told.charge += half * weight * sum(self._currents(solved, (left + right) / 2.0 + half * node)[0])
        grid = [float(time) for time in np.linspace(begin, end, 40)]
        sampled = [self._currents(solved, time) for time in grid]
        for number in range(len(self.plant.packs)):
            ends = [self._peak(solved, grid, [currents[number] for currents, _ in sampled], number, sign)
                    for sign in (1.0, -1.0)]  # fmt: skip
            high, low = self.told.peaks[number]
            self.told.peaks[number] = (max(high, ends[0]), min(low, ends[1]))
        volts = [volt for _, volt in sampled]
        self.told.voltage = (min(self.told.voltage[0], *volts), max(self.told.voltage[1], *volts))

    def _currents(self, solved: Any, time: float) -> tuple[list[float], float]:
        volts = self._voltage(solved.sol(time))
        return [taken(p, m, volts)[0] for p, m in zip(self.plant.packs, self.modes, strict=True)], volts

    def _peak(self, solved: Any, grid: list[float], values: list[float], number: int, sign: float) -> float:
        best = max(range(len(grid)), key=lambda n: sign * values[n])
        if not 0 < best < len(grid) - 1 or values[best - 1] == values[best] == values[best + 1]:
            return values[best]
        found = minimize_scalar(lambda time: -sign * self._currents(solved, time)[0][number],
                                bounds=(grid[best - 1], grid[best + 1]), method="bounded")  # fmt: skip
        return sign * max(sign * values[best], -float(found.fun))


def _nothing() -> None:
    """What happens shows in who holds the bus."""


class _Event:
    """A figure that ends a segment where it passes zero its way."""

    terminal = True

    def __init__(self, gauge: Callable[[float, Vector], float], way: float) -> None:
        self.gauge, self.direction = gauge, way

    def __call__(self, time: float, x: Vector) -> float:
        return float(self.gauge(time, x))
