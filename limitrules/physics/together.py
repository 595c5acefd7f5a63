"""Several sources that let go together, each with a regulator of its own."""

from __future__ import annotations

import math
from collections.abc import Iterator

from limitrules.foundation.dimension import CURRENT, TIME
from limitrules.foundation.kinds import Quantity
from limitrules.language.functions import Argument, Bounds, Direction, Function
from limitrules.physics.converters import FALLS, RISES, gives

_CURRENT_MOST, _TIME_MOST, _SLEW_LEAST, _SLEW_MOST = 1e9, 1e9, 1e-9, 1e15
_PARTS = 5
_SLACK = 4e-15
_HALVINGS = 200

Course = tuple[float, float, float, float, float]  # start, end, dead time, time constant, slew


def time_above_together(threshold: float, *members: float) -> Bounds:
    """Enclosure of the time (s) that the sum of several currents (A) is above a threshold (A) after a step.

    For each member start and end (A), dead time, time constant (s) and slew (A/s), as in `time_above`: it keeps its
    start for the dead time and falls then by min((current - end) / time constant, slew). Each falls, so that their sum
    does, and is above the threshold up to one moment. A member whose end lies above its start is taken to be at its end
    from the beginning, which is never too little. Infinite where the ends together lie above the threshold. Source:
    superposition of the members' responses.
    """
    courses = list(_courses(members))
    starts, ends = (math.fsum(course[number] for course in courses) for number in (0, 1))
    size = math.fsum(abs(course[0]) + abs(course[1]) for course in courses) + abs(threshold)
    slack = _SLACK * size * len(courses)
    if ends - slack > threshold:
        return math.inf, math.inf
    high = _last_above(courses, threshold - slack, up=True) if starts + slack > threshold else 0.0
    low = _last_above(courses, threshold + slack, up=False) if starts - slack > threshold else 0.0
    return low, high


def _courses(members: tuple[float, ...]) -> Iterator[Course]:
    for first in range(0, len(members), _PARTS):
        start, end, dead, constant, slew = members[first : first + _PARTS]
        if min(dead, constant) < 0.0 or not _SLEW_LEAST <= slew <= _SLEW_MOST:
            raise ValueError("times that are not negative and a slew above zero")
        yield max(start, end), end, dead, constant, slew


def _last_above(courses: list[Course], level: float, up: bool) -> float:
    """The moment at which the sum falls to a level, rounded up or down; infinite where it never does."""
    if math.fsum(course[1] for course in courses) >= level:
        return math.inf
    left, right = 0.0, 1.0
    while _sum_at(courses, right) > level:
        left, right = right, 2.0 * right
        if right > 1e300:
            return math.inf
    for _ in range(_HALVINGS):
        middle = (left + right) / 2.0
        if not left < middle < right:
            break
        if _sum_at(courses, middle) > level:
            left = middle
        else:
            right = middle
    # Times are added and divided a few times on the way to a current.
    return right * (1.0 + 1e-14) if up else left * (1.0 - 1e-14)


def _sum_at(courses: list[Course], time: float) -> float:
    return math.fsum(_current(course, time) for course in courses)


def _current(course: Course, time: float) -> float:
    start, end, dead, constant, slew = course
    since = time - dead
    if since <= 0.0 or start == end:
        return start
    bend = slew * constant
    away = start - end
    if away > bend:
        straight = (away - bend) / slew
        if since <= straight:
            return start - slew * since
        away, since = bend, since - straight
    return end + away * math.exp(-since / constant) if constant > 0.0 else end


def _amperes(name: str, meaning: str, direction: Direction) -> Argument:
    return Argument(name, meaning, Quantity(CURRENT), direction, -_CURRENT_MOST, _CURRENT_MOST)


FUNCTIONS = (
    Function(
        "time_above_together",
        "How long the sum of several currents is above a threshold while each falls at the pace of its own regulator.",
        (_amperes("threshold", "the level that is looked at", FALLS),),
        gives(TIME),
        time_above_together,
        "first-order response with dead time and slew limit, superposed",
        members=(
            _amperes("start", "its current before it moves", RISES),
            _amperes("end", "the current that it goes to", RISES),
            Argument("dead_time", "time before it moves", Quantity(TIME), RISES, 0.0, _TIME_MOST),
            Argument("time_constant", "time constant of its fall", Quantity(TIME), RISES, 0.0, _TIME_MOST),
            Argument("slew", "fastest change of its current", Quantity(CURRENT / TIME), FALLS, _SLEW_LEAST, _SLEW_MOST),
        ),
    ),
)
