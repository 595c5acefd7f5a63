"""What is told of a rehearsal in figures: peaks, times above each level, who acted first, what was lost."""

from __future__ import annotations

import math

from limitrules.simulate.course import Course
from limitrules.simulate.network import Piece, on_line
from limitrules.simulate.plant import Act, Part, Watch
from limitrules.simulate.signals import Signal, constant, extremes, times_above
from limitrules.simulate.told import Outcome, PackFigures, Reach, What

_SETTLED = 0.02  # share of the change that may be left


def outcome_of(course: Course) -> Outcome:
    """The figures of a course, all from its closed forms."""
    ends = _ends(course)
    volts = [value for piece, inflow in zip(course.pieces, ends, strict=True) for value in _volts(piece, inflow)]
    acted = [moment for moment in course.moments if moment.what is What.ACTED]
    return Outcome(
        tuple(_pack(course, number, ends) for number in range(len(course.plant.packs))),
        _reaches(course, ends),
        acted[0] if acted else None,
        max(volts, default=math.nan),
        min(volts, default=math.nan),
        _settled_at(course),
        sum(piece.inflow.integral()(piece.end - piece.start) for piece in course.pieces),
    )


def reaches_of(course: Course) -> tuple[Reach, ...]:
    """How far everything that is told of went towards acting."""
    return _reaches(course, _ends(course))


def _ends(course: Course) -> list[tuple[float, float]]:
    """The lowest and highest current into the packs along each piece; most figures go in step with it."""
    return [extremes(piece.inflow, 0.0, piece.end - piece.start) for piece in course.pieces]


def _reaches(course: Course, ends: list[tuple[float, float]]) -> tuple[Reach, ...]:
    return tuple(_reach(course, watch, ends) for watch in course.plant.watches if watch.act in _TOLD)


_TOLD = (Act.BLOCK, Act.LIMIT, Act.STOP_CONVERTER, Act.OVERSTRESS)


def _pack(course: Course, number: int, ends: list[tuple[float, float]]) -> PackFigures:
    pack = course.plant.packs[number]
    limit = pack.charge_ceiling * (1.0 + 1e-9)
    lowest = highest = time = charge = 0.0
    for piece, inflow in zip(course.pieces, ends, strict=True):
        low, high = on_line(piece.division.currents[number], inflow)
        lowest, highest = min(lowest, low), max(highest, high)
        if high <= limit:
            continue
        signal = piece.current(number)
        for begin, end in times_above(signal, limit, 0.0, piece.end - piece.start):
            time += end - begin
            charge += _over(signal, pack.charge_ceiling, begin, end)
    return PackFigures(pack.path, highest, -lowest, pack.charge_ceiling, time, charge)


def _over(signal: Signal, level: float, begin: float, end: float) -> float:
    whole = signal.affine(1.0, -level).integral()
    return whole(end) - whole(begin)


def _reach(course: Course, watch: Watch, ends: list[tuple[float, float]]) -> Reach:
    runs: list[tuple[float, float]] = []
    peaks = []
    for piece, inflow in zip(course.pieces, ends, strict=True):
        low, high = _seen(course, watch, piece, inflow)
        peaks.append(high if watch.sign > 0 else low)
        slack = 1e-12 * abs(watch.level) + 1e-15  # at the level counts as above it
        if watch.sign * (peaks[-1] - watch.level) < -2.0 * slack:
            continue
        signal, level = _watched(course, watch, piece)
        signed = signal if watch.sign > 0 else signal.affine(-1.0, 0.0)
        limit = watch.sign * level - 1e-12 * abs(level) - 1e-15
        runs += [
            (piece.start + a, piece.start + b) for a, b in times_above(signed, limit, 0.0, piece.end - piece.start)
        ]
    longest = max((end - begin for begin, end in _joined(runs)), default=0.0)
    acted = [m.time for m in course.moments if m.watch is watch and m.what is What.ACTED]
    peak = (max if watch.sign > 0 else min)(peaks, default=math.nan)
    return Reach(watch, peak, longest, sum(b - a for a, b in runs), acted[0] if acted else None)


def _seen(course: Course, watch: Watch, piece: Piece, inflow: tuple[float, float]) -> tuple[float, float]:
    """The lowest and highest value of what a watch looks at, along a piece."""
    if watch.part is Part.BUS_VOLTAGE:
        return _volts(piece, inflow)
    if watch.part is Part.CONVERTER_POWER:
        return piece.ac_power, piece.ac_power
    low, high = on_line(piece.division.currents[watch.owner], inflow)
    if watch.part is not Part.PACK_VOLTAGE:
        return low, high
    pack = course.plant.packs[watch.owner]
    return pack.rest + pack.resistance * low, pack.rest + pack.resistance * high


def _watched(course: Course, watch: Watch, piece: Piece) -> tuple[Signal, float]:
    if watch.part is Part.BUS_VOLTAGE:
        return piece.voltage, watch.level * watch.level if piece.is_afloat else watch.level
    if watch.part is Part.CONVERTER_POWER:
        return constant(piece.ac_power), watch.level
    pack = course.plant.packs[watch.owner]
    current = piece.current(watch.owner)
    return (current, watch.level) if watch.part is not Part.PACK_VOLTAGE else (
        current.affine(pack.resistance, pack.rest), watch.level
    )  # fmt: skip


def _volts(piece: Piece, inflow: tuple[float, float]) -> tuple[float, float]:
    """The lowest and the highest voltage of the bus along a piece."""
    if not piece.is_afloat:
        return on_line(piece.division.voltage, inflow)
    low, high = extremes(piece.voltage, 0.0, piece.end - piece.start)
    return math.sqrt(max(0.0, low)), math.sqrt(max(0.0, high))


def _joined(runs: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Runs that touch are one."""
    made: list[tuple[float, float]] = []
    for begin, end in runs:
        if made and begin - made[-1][1] <= 1e-9 * max(1.0, begin):
            made[-1] = (made[-1][0], end)
        else:
            made.append((begin, end))
    return made


def _settled_at(course: Course) -> float:
    """When the current into the packs has come within 2 % of its last change, and stays there."""
    if not course.pieces:
        return 0.0
    last = course.pieces[-1]
    end = last.inflow(last.end - last.start)
    largest = max(abs(piece.inflow(0.0) - end) for piece in course.pieces)
    band = _SETTLED * largest
    if not band:
        return 0.0
    settled = 0.0
    for piece in course.pieces:
        away = piece.inflow.affine(1.0, -end)
        for signed in (away, away.affine(-1.0, 0.0)):
            spans = times_above(signed, band, 0.0, piece.end - piece.start)
            if spans:
                settled = max(settled, piece.start + spans[-1][1])
    return settled
