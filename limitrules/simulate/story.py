"""What came of one run of an event, ready to be told: moments, traces, figures."""

from __future__ import annotations

from collections.abc import Callable

from limitrules.simulate.course import Course
from limitrules.simulate.network import Piece
from limitrules.simulate.outcome import outcome_of
from limitrules.simulate.reserve import Descent
from limitrules.simulate.signals import Signal
from limitrules.simulate.told import Story, Trace

_POINTS = 48  # of a bent stretch


def story_of(course: Course) -> Story:
    """A course as a story."""
    traces = [
        _trace(course, pack.path, "current", "A", [piece.current(number) for piece in course.pieces])
        for number, pack in enumerate(course.plant.packs)
    ]
    traces += [
        _trace(course, source.path, "output", "A", [piece.outputs[number] for piece in course.pieces])
        for number, source in enumerate(course.plant.sources)
    ]
    times, volts = _sampled(course, [piece.voltage for piece in course.pieces], Piece.bus_voltage)
    traces.append(Trace("site", "bus voltage", "V", times, volts))
    return Story(course.moments, tuple(traces), outcome_of(course), course.is_dark, course.is_restless)


def story_of_descent(descent: Descent) -> Story:
    """A descent to the reserve as a story."""
    trace = Trace("site", "state of charge", "%", descent.times, descent.socs)
    return Story(descent.moments, (trace,), None, descent.is_dark)


def _trace(course: Course, path: str, name: str, unit: str, signals: list[Signal]) -> Trace:
    values = dict(zip(course.pieces, signals, strict=True))
    return Trace(path, name, unit, *_sampled(course, signals, lambda piece, time: values[piece](time)))


def _sampled(
    course: Course, signals: list[Signal], value: Callable[[Piece, float], float]
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    times: list[float] = []
    values: list[float] = []
    for piece, signal in zip(course.pieces, signals, strict=True):
        span = piece.end - piece.start
        is_straight = not piece.is_afloat and all(not rate and power < 2 for power, rate in signal.terms)
        steps = 1 if is_straight else _POINTS
        for step in range(steps + 1):
            time = span * (step / steps) ** 2  # close together at first, where an exponential bends most
            times.append(piece.start + time)
            values.append(value(piece, time))
    return tuple(times), tuple(values)
