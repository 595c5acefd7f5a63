"""Down to the reserve: which loads are shed at which charge, and when the converter has to stop."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from attrs import frozen

from limitrules.model.values import ComponentRecord
from limitrules.simulate.figures import Figures
from limitrules.simulate.sound import unusable
from limitrules.simulate.told import Moment, What


@frozen(eq=False)
class Descent:
    """What happened on the way down: moments, and the state of charge (a share) over time (s) as corner points."""

    moments: tuple[Moment, ...]
    times: tuple[float, ...]
    socs: tuple[float, ...]
    is_dark: bool


@frozen(eq=False)
class _Step:
    """Something that happens at a state of charge: a load goes ``after`` s, or the converter stops."""

    soc: float
    path: str
    power: float
    after: float
    stops: bool = False


def descend(
    figures: Figures, start: float, power: float | None, lasting: float | None, check: Callable[[], None]
) -> Descent:
    """From a state of charge down until the converter stops, at constant powers.

    The state of charge falls by power over efficiency and energy: ``-P / (eta * E)``; E is the energy of the packs at
    their nominal voltage, so that it falls in straight lines. ``check`` refuses what is missing, once all is read.
    """
    energy = sum(_energy(figures, record) for record in figures.kind("pack"))
    loads = _loads(figures, power)
    steps = sorted(_steps(figures, loads), key=lambda step: -step.soc)
    check()
    if energy <= 0.0:
        raise unusable([("packs", "the capacity of all packs together is above zero")])
    if any(not dc >= 0.0 or math.isinf(dc) for _, dc in loads.values()):
        raise unusable([("loads", "a load draws nothing or more, through an efficiency above zero")])
    moments = [
        Moment(0.0, What.EVENT, "", sum(watt for watt, _ in loads.values()), "W", words="no sun, no other source")
    ]
    now, soc, drawn = 0.0, start, {path: dc for path, (_, dc) in loads.items()}
    times, socs = [now], [soc]
    end = math.inf if lasting is None else lasting
    gone: list[tuple[float, str]] = []
    while steps or gone:
        rate = sum(drawn.values()) / energy
        until_step = max(0.0, (soc - steps[0].soc) / rate) if steps and rate > 0.0 else math.inf
        until_gone = gone[0][0] - now if gone else math.inf
        span = min(until_step, until_gone, end - now)
        if math.isinf(span):
            break
        now, soc = now + span, soc - rate * span
        times.append(now)
        socs.append(soc)
        if now >= end:
            break
        if until_gone <= until_step:
            path = gone.pop(0)[1]
            drawn.pop(path, None)
            moments.append(Moment(now, What.ACTED, path, soc, "%", words="is shed"))
            continue
        step = steps.pop(0)
        if step.stops:
            moments.append(Moment(now, What.DARK, step.path, soc, "%"))
            return Descent(tuple(moments), tuple(times), tuple(socs), True)
        moments.append(Moment(now, What.EXCEEDED, step.path, soc, "%"))
        gone = sorted([*gone, (now + step.after, step.path.rpartition(".shed")[0])])
    return Descent(tuple(moments), tuple(times), tuple(socs), False)


def _energy(figures: Figures, record: ComponentRecord) -> float:
    capacity = figures.optional(record, "capacity.measured")
    if capacity is None:
        capacity = figures.number(record, "capacity.rated")
    cell = figures.cell(record)
    voltage = figures.number(cell, "voltage.nominal") if cell is not None else math.nan
    return capacity * voltage * figures.number(record, "cells_series")


def _loads(figures: Figures, power: float | None) -> dict[str, tuple[float, float]]:
    """Power at the load and power drawn from the bus (W), by path; together no more than the peak, or ``power``."""
    converters = figures.kind("converter")
    efficiency = figures.number(converters[0], "efficiency.discharge", "0.9") if converters else 1.0
    found = {}
    for record in figures.kind("load"):
        watt = figures.load_power(record)
        found[record.path] = (watt, watt if figures.word(record, "bus") == "dc" else _over(watt, efficiency))
    whole = sum(watt for watt, _ in found.values())
    most = power if power is not None else figures.of_site("load.peak")
    share = 1.0 if most is None or not whole else (most / whole if power is not None else min(1.0, most / whole))
    return {path: (watt * share, dc * share) for path, (watt, dc) in found.items()}


def _over(power: float, efficiency: float) -> float:
    return power / efficiency if efficiency else math.inf


def _steps(figures: Figures, loads: dict[str, tuple[float, float]]) -> Sequence[_Step]:
    steps = []
    for record in figures.kind("load"):
        level = figures.optional(record, "shed.soc")
        if level is not None:
            after = figures.number(record, "shed.delay", default=0.0) + figures.number(record, "shed.time", default=0.0)
            steps.append(_Step(level, f"{record.path}.shed.soc", loads[record.path][0], after))
    for record in figures.kind("converter"):
        floor = figures.optional(record, "reserve.floor")
        if floor is not None:
            steps.append(_Step(floor, f"{record.path}.reserve.floor", 0.0, 0.0, stops=True))
    if not any(step.stops for step in steps):
        figures.take("No converter keeps a reserve, so that it runs until the packs are empty.")
        steps.append(_Step(0.0, "packs", 0.0, 0.0, stops=True))
    return steps
