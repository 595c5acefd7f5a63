"""Breakers and overload protection: their two trips, the thermal image of a cyclic load, the rating for a conductor."""

from __future__ import annotations

import math
from fractions import Fraction

from limitrules.foundation import dimension as d
from limitrules.language.functions import Argument, Bounds, Direction, Function
from limitrules.language.pairs import negated
from limitrules.physics.conductors import SLACK, TINY, amperes, around, product, quantity, seconds
from limitrules.physics.converters import FALLS, NEITHER, RISES, exact_of, gives, point_of
from limitrules.physics.faults import product_slopes
from limitrules.physics.fuses import NEVER, square_step


def magnetic_trip_current(rating: Fraction, multiple: Fraction, dc_factor: Fraction) -> Fraction:
    """The current (A) at an edge of the instant trip on DC: rating (A) times the multiple of the edge times a factor.

    The multiples are marked for AC, in effective values; the armature feels the peak, so on DC the edges lie up to
    sqrt(2) higher. Below the lower edge with the lowest factor it surely holds, above the upper with the highest it
    surely acts.
    """
    return rating * multiple * dc_factor


def thermal_trip_time(current: float, before: float, trip_current: float, thermal_time_constant: float) -> Bounds:
    """Enclosure of the time (s) until a thermal trip acts: tau ln((I^2 - I_b^2) / (I^2 - I_t^2)).

    It had settled at the current I_b (A) ``before``, then I (A) flows. I_t (A) trips it in the end, tau (s) is its time
    constant. Zero where it had tripped before, else infinite where I is not above I_t.
    """
    if before >= trip_current:
        return 0.0, 0.0
    if current <= trip_current:
        return NEVER
    room = (trip_current - before) * (trip_current + before)
    return around(thermal_time_constant * math.log1p(room / ((current - trip_current) * (current + trip_current))))


def _trip_slopes(current: Bounds, before: Bounds, trip: Bounds, constant: Bounds) -> tuple[Bounds, ...]:
    """Raises ValueError where it had tripped before somewhere in the box, or never does."""
    if before[1] >= trip[0] or current[0] <= trip[1]:
        raise ValueError("a trip current above the current before and below the one that flows")
    above, room = square_step(current, trip), square_step(trip, before)
    whole = square_step(current, before)
    each = (
        thermal_trip_time(current[1], before[1], trip[0], 1.0)[0],
        thermal_trip_time(current[0], before[0], trip[1], 1.0)[1],
    )
    return (
        negated(product((constant, current, room), (above, whole), 2.0)),
        negated(product((constant, before), (whole,), 2.0)),
        product((constant, trip), (above,), 2.0),
        each,
    )


def thermal_image_peak(
    current: float,
    time: float,
    other_current: float,
    other_time: float,
    reference_current: float,
    thermal_time_constant: float,
) -> Bounds:
    """Enclosure of the highest state of a leaky counter, tau dy/dt = (I / I_ref)^2 - y, as two levels go on repeating.

    Each level has its current (A) and its time (s) in every period; the state is one after a long time at the reference
    current (A). It is highest when the higher level ends:
    y = a w + b (1 - w), w = (1 - e^(-t_a / tau)) / (1 - e^(-(t_a + t_b) / tau)), a and b the squares of I / I_ref.
    Raises ValueError for a period of no length.
    """
    (low, cooling), (high, heating) = sorted([(current, time), (other_current, other_time)])
    warm, cool = _weights(heating, cooling, thermal_time_constant)
    return around((high / reference_current) ** 2 * warm + (low / reference_current) ** 2 * cool)


def _weights(heating: float, cooling: float, constant: float) -> tuple[float, float]:
    """What the higher and the lower level count for at the peak; together one."""
    if (heating + cooling) / constant < TINY:
        raise ValueError("a period that has a length")
    whole, kept = math.expm1(-(heating + cooling) / constant), math.exp(-heating / constant)
    return math.expm1(-heating / constant) / whole, kept * math.expm1(-cooling / constant) / whole


def _image_over(
    current: Bounds, time: Bounds, other_current: Bounds, other_time: Bounds, reference: Bounds, constant: Bounds
) -> Bounds:
    """The peak rises with both currents; at either end of these, with the time of the higher level over the other."""
    _weights(time[0], other_time[0], constant[1])
    swap = current[0] < other_current[0], current[1] < other_current[1]
    return (
        thermal_image_peak(current[0], time[swap[0]], other_current[0], other_time[not swap[0]],
                           reference[1], constant[1])[0],
        thermal_image_peak(current[1], time[not swap[1]], other_current[1], other_time[swap[1]],
                           reference[0], constant[0])[1],
    )  # fmt: skip


def _image_slopes(
    current: Bounds, time: Bounds, other_current: Bounds, other_time: Bounds, reference: Bounds, constant: Bounds
) -> tuple[Bounds, ...]:
    """In the currents and the reference; the times are left open."""
    peak = _image_over(current, time, other_current, other_time, reference, constant)
    over = reference, reference
    return (
        product((current, _weight(current, other_current, time, other_time, constant)), over, 2.0),
        (-math.inf, math.inf),
        product((other_current, _weight(other_current, current, other_time, time, constant)), over, 2.0),
        (-math.inf, math.inf),
        negated(product((peak,), (reference,), 2.0)),
        (-math.inf, 0.0),
    )


def _weight(own: Bounds, other: Bounds, time: Bounds, other_time: Bounds, constant: Bounds) -> Bounds:
    """What a level counts for at the peak: as the higher one more than as the lower one."""
    found: list[float] = []
    if own[1] >= other[0]:
        found += _weights(time[0], other_time[1], constant[1])[0], _weights(time[1], other_time[0], constant[0])[0]
    if own[0] <= other[1]:
        # One less what the other level counts for, since that goes one way in all three.
        found += (
            1.0 - _weights(other_time[1], time[0], constant[0])[0] - SLACK,
            1.0 - _weights(other_time[0], time[1], constant[1])[0] + SLACK,
        )
    return around(min(found))[0], around(max(found))[1]


def device_rating_max(ampacity: Fraction, conventional_factor: Fraction, overload_factor: Fraction) -> Fraction:
    """The highest rating (A) that protects a conductor against overload: I_z min(1, k / c).

    I_z (A) its ampacity as installed, c the multiple of its rating at which the device surely acts, k the multiple of
    I_z up to which the wiring rules in force let it do so.
    """
    return ampacity * min(Fraction(1), overload_factor / conventional_factor)


def _rating_slopes(ampacity: Bounds, conventional: Bounds, overload: Bounds) -> tuple[Bounds, ...]:
    share = product((overload,), (conventional,))
    by_conventional, by_overload = product((ampacity, share), (conventional,)), product((ampacity,), (conventional,))
    if overload[1] >= conventional[0]:
        by_conventional, by_overload = (0.0, by_conventional[1]), (0.0, by_overload[1])
    return (min(1.0, share[0]), min(1.0, share[1])), negated(by_conventional), by_overload


def _level(which: str) -> tuple[Argument, Argument]:
    name = "" if which == "one" else "other_"
    return (
        amperes(f"{name}current", f"effective current of the {which} level", RISES),
        seconds(f"{name}time", f"time of the {which} level in each period", NEITHER),
    )


def _constant(direction: Direction) -> Argument:
    return seconds("thermal_time_constant", "time constant of the trip or counter", direction, 1e-9)


FUNCTIONS = (
    Function(
        "magnetic_trip_current", "The current at an edge of the instant trip of a breaker on DC.",
        (
            amperes("rating", "rated current", RISES),
            quantity("multiple", "multiple of the rating at that edge, as marked for AC", d.NUMBER, RISES, 1.0, 100.0),
            quantity("dc_factor", "factor by which the edge shifts on DC", d.NUMBER, RISES, 0.5, 2.0),
        ),
        gives(d.CURRENT), point_of(magnetic_trip_current),
        "multiple times rating times DC factor (force of a magnet, by the instantaneous current)",
        exact=exact_of(magnetic_trip_current), slopes=product_slopes(1.0, 1, 1, 1),
    ),
    Function(
        "thermal_trip_time", "The time until a thermal trip acts after a current that had settled; infinite where it "
        "never does.",
        (
            amperes("current", "steady current that flows", FALLS),
            amperes("before", "steady current before", FALLS),
            amperes("trip_current", "smallest current that trips it in the end", RISES, 1e-6),
            _constant(RISES),
        ),
        gives(d.TIME), thermal_trip_time,
        "tau ln((I^2 - I_b^2) / (I^2 - I_t^2)) (heat balance with one time constant, heating with the square of the "
        "current)", slopes=_trip_slopes,
    ),
    Function(
        "thermal_image_peak", "The highest state of a thermal image or leaky counter under two levels of current that "
        "repeat for ever.",
        (
            *_level("one"), *_level("other"),
            amperes("reference_current", "current at which the state settles at one", FALLS, 1e-6),
            _constant(FALLS),
        ),
        gives(d.NUMBER), thermal_image_peak,
        "tau dy/dt = (I / I_ref)^2 - y, its periodic solution (topic of thermal protection)",
        _image_over, slopes=_image_slopes,
    ),
    Function(
        "device_rating_max", "The highest rating of a fuse or breaker that protects a conductor against overload.",
        (
            amperes("ampacity", "continuous current of the conductor as installed", RISES),
            quantity("conventional_factor", "multiple of its rating at which the device surely acts", d.NUMBER, FALLS,
                     1.0, 5.0),
            quantity("overload_factor", "multiple of the ampacity up to which it may act", d.NUMBER, RISES, 1.0, 5.0),
        ),
        gives(d.CURRENT), point_of(device_rating_max),
        "I_z min(1, k / c) (coordination of overload protection, figures from the wiring rules in force)",
        exact=exact_of(device_rating_max), slopes=_rating_slopes,
    ),
)  # fmt: skip
