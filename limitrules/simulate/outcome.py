"""What is told of a rehearsal in figures: peaks, times above each level, who acted first, what was lost."""

from __future__ import annotations

import math

from limitrules.simulate.course import Course
from limitrules.simulate.network import Piece
from limitrules.simulate.plant import Act, Part, Watch
from limitrules.simulate.signals import Signal, constant, extremes, times_above
from limitrules.simulate.told import Outcome, PackFigures, Reach, What

_SETTLED = 0.02  # share of the change that may be left


def outcome_of(course: Course) -> Outcome:
    """The figures of a course, all from its closed forms."""
    spans = [extremes(piece.voltage, 0.0, piece.end - piece.start) for piece in course.pieces]
    volts = [
        math.sqrt(max(0.0, value)) if piece.is_afloat else value
        for piece, span in zip(course.pieces, spans, strict=True)
        for value in span
    ]
    acted = [moment for moment in course.moments if moment.what is What.ACTED]
    return Outcome(
        tuple(_pack(course, number) for number in range(len(course.plant.packs))),
        tuple(_reach(course, watch) for watch in course.plant.watches if watch.act in _TOLD),
        acted[0] if acted else None,
        max(volts, default=math.nan),
        min(volts, default=math.nan),
        _settled_at(course),
        sum(piece.inflow.integral()(piece.end - piece.start) for piece in course.pieces),
    )


_TOLD = (Act.BLOCK, Act.LIMIT, Act.STOP_CONVERTER, Act.OVERSTRESS)


def _pack(course: Course, number: int) -> PackFigures:
    pack = course.plant.packs[number]
    signals = [(piece.current(number), piece.end - piece.start) for piece in course.pieces]
    ends = [extremes(signal, 0.0, span) for signal, span in signals]
    time = charge = 0.0
    for signal, span in signals if math.isfinite(pack.charge_ceiling) else ():
        for begin, end in times_above(signal, pack.charge_ceiling * (1.0 + 1e-9), 0.0, span):
            time += end - begin
            charge += _over(signal, pack.charge_ceiling, begin, end)
    return PackFigures(
        pack.path,
        max((0.0, *(high for _, high in ends))),
        max((0.0, *(-low for low, _ in ends))),
        pack.charge_ceiling,
        time,
        charge,
    )


def _over(signal: Signal, level: float, begin: float, end: float) -> float:
    whole = signal.affine(1.0, -level).integral()
    return whole(end) - whole(begin)


def _reach(course: Course, watch: Watch) -> Reach:
    runs: list[tuple[float, float]] = []
    peaks = []
    for piece in course.pieces:
        signal, level = _watched(course, watch, piece)
        span = piece.end - piece.start
        low, high = extremes(signal, 0.0, span)
        peaks.append(high if watch.sign > 0 else low)
        signed = signal if watch.sign > 0 else signal.affine(-1.0, 0.0)
        limit = watch.sign * level
        runs += [(piece.start + a, piece.start + b) for a, b in times_above(signed, limit * (1.0 - 1e-12), 0.0, span)]
    longest = max((end - begin for begin, end in _joined(runs)), default=0.0)
    acted = [m.time for m in course.moments if m.watch is watch and m.what is What.ACTED]
    peak = (max if watch.sign > 0 else min)(peaks, default=math.nan)
    if watch.part is Part.BUS_VOLTAGE and any(piece.is_afloat for piece in course.pieces):
        peak = _voltage_peak(course, watch.sign)
    return Reach(watch, peak, longest, sum(b - a for a, b in runs), acted[0] if acted else None)


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


def _voltage_peak(course: Course, sign: int) -> float:
    values = [piece.bus_voltage(time) for piece in course.pieces for time in (0.0, piece.end - piece.start)]
    return max(values) if sign > 0 else min(values)


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
