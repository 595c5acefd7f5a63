"""How long, how far and with how much charge a current exceeds a threshold while a regulator follows a step."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from fractions import Fraction
from typing import cast

from attrs import evolve

from limitrules.foundation.dimension import CHARGE, CURRENT, NUMBER, TIME, Dimension
from limitrules.foundation.exact import floats_around
from limitrules.foundation.kinds import Quantity, Type
from limitrules.language.functions import Argument, Bounds, Direction, Function
from limitrules.language.pairs import negated

RISES, FALLS, NEITHER = Direction.RISES, Direction.FALLS, Direction.NEITHER
_NEVER: Bounds = (0.0, 0.0)
_ENDLESS: Bounds = (math.inf, math.inf)
_CURRENT_MOST, _TIME_MOST, _SLEW_LEAST, _SLEW_MOST = 1e9, 1e9, 1e-9, 1e15
_DAMPING_LEAST, _DAMPING_MOST, _PERIOD_LEAST, _NEAREST = 1e-3, 1e3, 1e-12, 1e-280
_SLACK = 4e-15  # about 36 roundings; the formulas below have fewer than twelve each


def _gives(dimension: Dimension) -> Callable[[tuple[Type, ...]], Type]:
    return lambda types: Quantity(dimension)


def _around(value: float, slack: float) -> Bounds:
    slack += 1e-300  # what is lost at the low end of the floats
    return max(0.0, math.nextafter(value - slack, -math.inf)), math.nextafter(value + slack, math.inf)


# First order with a slew limit. The excess, current less end, keeps its size for the dead time and falls then by
# min(excess / time constant, slew): straight while it is above slew * time constant, as an exponential below that.
# `over` is how far the start lies above the threshold, `rest` how far the threshold lies above the end, and `curved`
# the part of `over` that falls as an exponential. Time and charge are stationary in it: its rounding does not matter.


def _curved(over: float, rest: float, time_constant: float, slew: float) -> float:
    return max(0.0, min(over, slew * time_constant - rest))


def _log_of_one_plus(over: float, under: float) -> float:
    ratio = over / under
    return math.log1p(ratio) if ratio < 1e15 else math.log(over) - math.log(under)


def _fall(over: float, rest: float, dead_time: float, time_constant: float, slew: float) -> Bounds:
    """From the step to the threshold; ``over`` is above zero."""
    if rest == 0.0 and time_constant > 0.0:
        return _ENDLESS
    curved = _curved(over, rest, time_constant, slew)
    time = dead_time + (over - curved) / slew
    if curved > 0.0:
        time += time_constant * _log_of_one_plus(curved, rest)
    low, high = _around(time, _SLACK * time + 1e-30 * time_constant)
    return max(low, dead_time), high


def _usable(*values: float) -> None:
    """The last is the slew."""
    if min(values) < 0.0 or not _SLEW_LEAST <= values[-1] <= _SLEW_MOST:
        raise ValueError("times that are not negative and a slew above zero")


def time_above(
    start: float, end: float, threshold: float, dead_time: float, time_constant: float, slew: float
) -> Bounds:
    """Enclosure of the time (s) that a current (A) is above a threshold (A) after a step.

    It goes from ``start`` to ``end``: nothing happens for the dead time (s), then it moves at the rate of the first
    order, (end - current) / time constant (s), but no faster than the slew (A/s). Infinite where it stays above.
    """
    _usable(dead_time, time_constant, slew)
    if end > threshold or start <= threshold:
        return _ENDLESS if end > threshold else _NEVER
    return _fall(start - threshold, threshold - end, dead_time, time_constant, slew)


def _exact_logarithm(ratio: Fraction) -> tuple[Fraction, float | Fraction]:
    """Bounds of ln(1 + ratio)."""
    low, high = (math.log1p(value) for value in floats_around(ratio))
    upper = high * (1.0 + 1e-15)
    return Fraction(low * (1.0 - 1e-15)), Fraction(upper) if math.isfinite(upper) else upper


Exact = tuple[Fraction, Fraction]
_EXACT_NEVER, _EXACT_ENDLESS = (Fraction(0), Fraction(0)), cast(Exact, _ENDLESS)


def _exact_time(
    start: Fraction, end: Fraction, threshold: Fraction, dead: Fraction, constant: Fraction, slew: Fraction
) -> Exact:
    if end > threshold or start <= threshold:
        return _EXACT_ENDLESS if end > threshold else _EXACT_NEVER
    over, rest = start - threshold, threshold - end
    if rest == 0 and constant > 0:
        return _EXACT_ENDLESS
    curved = max(Fraction(0), min(over, slew * constant - rest))
    straight = dead + (over - curved) / slew
    if not curved:
        return straight, straight
    low, high = _exact_logarithm(curved / rest)
    return straight + constant * low, straight + constant * high  # type: ignore[return-value]


def charge_above(
    start: float, end: float, threshold: float, dead_time: float, time_constant: float, slew: float
) -> Bounds:
    """Enclosure of the charge (As) above a threshold (A): the integral of current less threshold while it is above.

    Arguments as in `time_above`. Infinite where the current stays above; finite where it ends at the threshold.
    """
    _usable(dead_time, time_constant, slew)
    if end > threshold or start <= threshold:
        return _ENDLESS if end > threshold else _NEVER
    over, rest = start - threshold, threshold - end
    curved = _curved(over, rest, time_constant, slew)
    charge = over * dead_time + (over - curved) * (over + curved) / (2.0 * slew)
    # The integral of the exponential part is its time constant times curved - rest * ln(1 + curved / rest).
    gone = rest * _log_of_one_plus(curved, rest) if rest and curved else 0.0
    slack = _SLACK * (charge + time_constant * curved) + 1e-30 * time_constant * (over + rest)
    return _around(charge + time_constant * max(0.0, curved - gone), slack)


def _grown(low: float, high: float, slack: float = 0.0) -> Bounds:
    """A pair of figures that are not negative, outwards."""
    return max(0.0, low - 1e-14 * low - slack), high + 1e-14 * high + slack


def _difference(a: Bounds, b: Bounds) -> Bounds:
    """Of two pairs; one rounding each, which `_grown` outweighs."""
    return a[0] - b[1], a[1] - b[0]


def _fall_slopes(step: Bounds, rest: Bounds, constant: Bounds, slew: Bounds) -> tuple[Bounds, ...]:
    """Slopes of the time in start - end, threshold - end, time constant and slew; the second and the last as sizes.

    The first two are one over the rate at either end of the fall.
    """
    per_step = _grown(max(1.0 / slew[1], constant[0] / step[1]), max(1.0 / slew[0], constant[1] / step[0]))
    per_rest = _grown(max(1.0 / slew[1], constant[0] / rest[1]), max(1.0 / slew[0], constant[1] / rest[0]))
    knee = slew[0] * constant[0], slew[1] * constant[1]
    ratio = min(step[0], knee[0]) / rest[1], min(step[1], knee[1]) / rest[0]
    logarithm = _grown(math.log(max(1.0, ratio[0])), math.log(max(1.0, ratio[1])), 1e-14)
    straight = (
        max(0.0, min(step[0] - rest[1], step[0] - knee[1])) / slew[1] ** 2,
        max(0.0, min(step[1] - rest[0], step[1] - knee[0])) / slew[0] ** 2,
    )
    return per_step, per_rest, logarithm, _grown(*straight, 1e-14 * step[1] / slew[0] ** 2)


def _gap(high: Bounds, low: Bounds) -> Bounds:
    """The difference of two pairs that do not meet. Raises ValueError where they do."""
    found = _difference(high, low)
    if found[0] <= 0.0:
        raise ValueError("a start above the threshold and a threshold above the end")
    return found


def _time_slopes(
    start: Bounds, end: Bounds, threshold: Bounds, dead: Bounds, constant: Bounds, slew: Bounds
) -> tuple[Bounds, ...]:
    _gap(start, threshold)
    per_step, per_rest, per_constant, per_slew = _fall_slopes(_gap(start, end), _gap(threshold, end), constant, slew)
    return per_step, _difference(per_rest, per_step), negated(per_rest), (1.0, 1.0), per_constant, negated(per_slew)


def settling_time(step: float, band: float, dead_time: float, time_constant: float, slew: float) -> Bounds:
    """Enclosure of the time (s) from a step of a size (A), up or down, until a current stays in a band (A) at its end.

    The rest as in `time_above`. Infinite for a band of zero, unless the time constant is zero too.
    """
    _usable(step, band, dead_time, time_constant, slew)
    return _fall(step - band, band, dead_time, time_constant, slew) if step > band else _NEVER


def _settling_slopes(step: Bounds, band: Bounds, dead: Bounds, constant: Bounds, slew: Bounds) -> tuple[Bounds, ...]:
    _gap(step, band)
    per_step, per_band, per_constant, per_slew = _fall_slopes(step, band, constant, slew)
    return per_step, negated(per_band), (1.0, 1.0), per_constant, negated(per_slew)


# Second order. In units of the natural period over 2 pi, the excess after the dead time is the step times h(x), where
# h'' + 2 damping h' + h = 0 from h = 1 at rest. With w = sqrt(1 - damping^2) above zero its k-th extreme lies at
# k pi / w and has the size exp(-k pi damping / w); from each extreme on, h repeats itself, scaled.


def _root(damping: float) -> float:
    return math.sqrt(abs((1.0 - damping) * (1.0 + damping)))


def _response(x: float, damping: float) -> Bounds:
    """Enclosure of h(x)."""
    root = _root(damping)
    if damping < 1.0:
        envelope = math.exp(-damping * x)
        value = envelope * (math.cos(root * x) + damping / root * math.sin(root * x))
        slack = _SLACK * envelope * (1.0 + x) * (1.0 + damping * x)
    else:
        slow = 1.0 / (damping + root)
        lag = -math.expm1(-2.0 * root * x) / (2.0 * root) if root else x
        value = math.exp(-slow * x) * (1.0 + slow * lag)
        slack = _SLACK * (1.0 + slow * x) * value
    return value - slack - 1e-300, value + slack + 1e-300


def _reach(share: float, damping: float, way: int) -> float:
    """A bound, low for way -1 and high for way 1, of the first x at which h comes down to a share."""
    if share >= 1.0:
        return 0.0
    low, high = 0.0, math.pi / _root(damping) if damping < 1.0 else 2.0
    while damping >= 1.0 and _response(high, damping)[1] >= share:
        low, high = high, 2.0 * high
    edge = high if way > 0 else 0.0
    while low < (middle := 0.5 * (low + high)) < high:
        low, high = (middle, high) if sum(_response(middle, damping)) > 2.0 * share else (low, middle)
    x, step = high if way > 0 else low, 1e-16 * high
    # Ever longer steps, until the error of h leaves no doubt on which side of the share it is.
    while way * (edge - x) > 0.0 and way * (_response(x, damping)[way > 0] - share) >= 0.0:
        x, step = x + way * step, 2.0 * step
    return way * min(way * x, way * edge)


def _last_extreme(depth: float, damping: float, odd: bool) -> int:
    """The last even or odd extreme of a size above exp(-depth); -1 where there is none."""
    if damping >= 1.0:
        return -1 if odd else 0
    count = math.ceil(depth * _root(damping) / (math.pi * damping)) - 1
    return max(count - (count - odd) % 2, -1 if odd else 0)


def _place(extreme: int, damping: float) -> float:
    return extreme * math.pi / _root(damping) if extreme else 0.0


def _share(ratio: float, extreme: int, damping: float) -> float:
    """A ratio as a share of the size of an extreme."""
    return ratio * math.exp(_place(extreme, damping) * damping)


def _last(ratio: Bounds, low: float, high: float, odd: bool) -> Bounds:
    """Enclosure of the last x with h (odd: -h) above a ratio, over dampings from low to high; below zero: never.

    The number of the last extreme above it falls with damping while its place rises; the way from there down to the
    ratio rises with damping and falls with the ratio as a share of that extreme.
    """
    depth = 1e-14 - math.log(ratio[0]) * (1.0 + 1e-14)
    first = _last_extreme(depth, low, odd)
    last = _last_extreme(-math.log(ratio[1]) * (1.0 - 1e-14) - 1e-14, high, odd)
    least = -1.0
    if last >= 0:
        share = _share(ratio[1], last, high) * (1.0 + 1e-11) if last else ratio[1]
        least = (_place(last, low) + _reach(share, low, -1)) * (1.0 - 1e-14)
    if first < 0:
        return least, -1.0
    if first > 0 and high >= 1.0:
        return least, (depth / low + _reach(ratio[0], high, 1)) * (1.0 + 1e-14)
    share = _share(ratio[0], first, low) * (1.0 - 1e-11) if first else ratio[0]
    return least, (_place(first, high) + _reach(share, high, 1)) * (1.0 + 1e-14)


def _once(ratio: float, damping: float) -> bool:
    """Whether a current that has come down to a ratio of its step does not swing above it again."""
    return ratio >= 1.0 or _last_extreme(1e-14 - math.log(ratio) * (1.0 + 1e-14), damping, False) == 0


def _last_over(ratio: Bounds, damping: Bounds, odd: bool) -> Bounds:
    """In pieces where the current rings above the threshold, since place and way then pull against each other."""
    low, high = damping
    rings = _last_extreme(1e-14 - math.log(ratio[0]) * (1.0 + 1e-14), low, odd) > 0
    if low == high or not rings:
        return _last(ratio, low, high, odd)
    marks = [low + (high - low) * part / 8 for part in range(8)] + [high]
    found = [_last(ratio, a, b, odd) for a, b in itertools.pairwise(marks)]
    return min(pair[0] for pair in found), max(pair[1] for pair in found)


def _damped(start: float, end: float, threshold: float, dead_time: float, period: float, damping: Bounds) -> Bounds:
    if end > threshold:
        return _ENDLESS
    if end <= start <= threshold:
        return _NEVER
    if end == threshold:
        # It nears the end from above, or swings about it.
        never = [start < end and each >= 1.0 for each in damping]
        return 0.0 if never[1] else math.inf, 0.0 if never[0] else math.inf
    ratio = (threshold - end) / abs(start - end)
    if start < end and ratio >= 1.0:
        return _NEVER
    # Nearer to the end than a response can be told from zero, the time is bounded from below alone.
    near = max(ratio, _NEAREST)
    found = _last_over((near * (1.0 - 1e-15), min(1.0, near * (1.0 + 1e-15))), damping, start < end)
    times = [dead_time + x * (period / (2.0 * math.pi)) if x >= 0.0 else 0.0 for x in found]
    return _around(times[0], _SLACK * times[0])[0], times[1] + _SLACK * times[1] if ratio >= _NEAREST else math.inf


def damped_time_above(
    start: float, end: float, threshold: float, dead_time: float, natural_period: float, damping: float
) -> Bounds:
    """Enclosure of the time (s) from a step until a current (A) is above a threshold (A) for the last time.

    It goes from ``start`` to ``end`` as a second order does after the dead time (s): natural period (s, that of the
    same regulator without damping), damping 1 critical. Where it swings above the threshold again, the time between
    counts too. Infinite where it ends above, or swings about a threshold that it ends at.
    """
    if not (dead_time >= 0.0 and natural_period > 0.0 and _DAMPING_LEAST <= damping <= _DAMPING_MOST):
        raise ValueError("a dead time that is not negative, a period above zero and a damping from 0.001 to 1000")
    return _damped(start, end, threshold, dead_time, natural_period, (damping, damping))


def _damped_box(start: Bounds, end: Bounds, threshold: Bounds, dead: Bounds, period: Bounds, damping: Bounds) -> Bounds:
    """Rises with the start above the end and falls with it below: least where they are nearest."""
    near = max(start[0], min(end[0], start[1]))
    low = _damped(near, end[0], threshold[1], dead[0], period[0], damping)[0]
    return low, max(_damped(each, end[1], threshold[0], dead[1], period[1], damping)[1] for each in start)


def _damped_slopes(
    start: Bounds, end: Bounds, threshold: Bounds, dead: Bounds, period: Bounds, damping: Bounds
) -> tuple[Bounds, ...]:
    """Signs alone. With damping, the first fall to the threshold gets longer; swings above it get fewer."""
    upwards, downwards, either = (0.0, math.inf), (-math.inf, 0.0), (-math.inf, math.inf)
    per_start = upwards if start[0] >= end[1] else downwards if start[1] <= end[0] else either
    rest = threshold[0] - end[1], start[1] - end[0]
    once = start[0] >= end[1] and rest[0] > 0.0 and _once(rest[0] / rest[1] * (1.0 - 1e-14), damping[0])
    return per_start, upwards, downwards, upwards, upwards, upwards if once else either


def damped_peak(start: float, end: float, damping: float) -> Bounds:
    """Enclosure of the highest current (A) of a second order on its way from ``start`` to ``end`` (A).

    That is the start on the way down. On the way up it overshoots by exp(-pi damping / sqrt(1 - damping^2)) of the
    step where the damping is below 1, and stays below the end otherwise.
    """
    if not 0.0 <= damping <= _DAMPING_MOST:
        raise ValueError("a damping from 0 to 1000")
    if start >= end:
        return start, start
    exponent = math.pi * damping / _root(damping) if damping < 1.0 else math.inf
    beyond = (end - start) * math.exp(-exponent)
    slack = _SLACK * (1.0 + min(exponent, 800.0)) * beyond
    low, high = math.nextafter(end + (beyond - slack), -math.inf), math.nextafter(end + (beyond + slack), math.inf)
    return (max(end, low), high) if damping < 1.0 else (end, end)


def _peak_box(start: Bounds, end: Bounds, damping: Bounds) -> Bounds:
    """Rises with the end, falls with the damping, and is lowest where the start is the end."""
    low = damped_peak(max(start[0], min(end[0], start[1])), end[0], damping[1])[0]
    return low, max(damped_peak(each, end[1], damping[0])[1] for each in start)


def _turned(intervals: tuple[Bounds, ...], count: int) -> tuple[Bounds, ...]:
    return tuple(negated(pair) for pair in intervals[:count]) + intervals[count:]


def _below(function: Function) -> Function:
    """The same of the mirrored current: what was above is below."""
    name, meaning = function.name, function.meaning
    for above, below in (("above", "below"), ("peak", "trough"), ("highest", "lowest")):
        name, meaning = name.replace(above, below), meaning.replace(above, below)
    count = sum(item.type == _AMPERES for item in function.arguments)
    back = {RISES: FALLS, FALLS: RISES, NEITHER: NEITHER}
    point, enclose, exact, slopes = function.point, function.enclose, function.exact, function.slopes
    assert point is not None
    highest = function.result(()) == _AMPERES
    value: Callable[[Bounds], Bounds] = negated if highest else lambda pair: pair
    return evolve(
        function,
        name=name,
        meaning=meaning,
        arguments=tuple(
            evolve(item, direction=back[item.direction]) if highest is (at >= count) else item
            for at, item in enumerate(function.arguments)
        ),
        point=lambda *values: value(point(*(-each for each in values[:count]), *values[count:])),
        enclose=enclose and (lambda *box: value(enclose(*_turned(box, count)))),
        exact=exact and (lambda *values: exact(*(-each for each in values[:count]), *values[count:])),
        slopes=slopes and (lambda *box: _turned(slopes(*_turned(box, count)), count)),
    )


_AMPERES = Quantity(CURRENT)


def _amperes(name: str, meaning: str, direction: Direction, low: float = -_CURRENT_MOST) -> Argument:
    return Argument(name, meaning, _AMPERES, direction, low, _CURRENT_MOST)


def _damping(direction: Direction, low: float) -> Argument:
    return Argument("damping", "damping, 1 where it is critical", Quantity(NUMBER), direction, low, _DAMPING_MOST)


_START, _END = "current just after the step", "current that the regulator brings it to"
_STEP = (_amperes("start", _START, RISES), _amperes("end", _END, RISES))
_START_DAMPED = _amperes("start", _START, NEITHER)
_THRESHOLD = _amperes("threshold", "current against which it is held", FALLS)
_SIZES = (
    _amperes("step", "size of the step, up or down", RISES, 0.0),
    _amperes("band", "distance from the end that counts as settled", FALLS, 0.0),
)
_DEAD = Argument("dead_time", "time until the current begins to move", Quantity(TIME), RISES, 0.0, _TIME_MOST)
_FIRST = (
    _DEAD,
    Argument("time_constant", "time constant of the first order", Quantity(TIME), RISES, 0.0, _TIME_MOST),
    Argument("slew", "highest rate of change", Quantity(CURRENT / TIME), FALLS, _SLEW_LEAST, _SLEW_MOST),
)
_PERIOD = Argument("natural_period", "period of the undamped swing", Quantity(TIME), RISES, _PERIOD_LEAST, _TIME_MOST)
_FIRST_SOURCE = "first-order lag with dead time and saturated rate, solved piece by piece"
_SECOND_SOURCE = "free response of a damped second-order lag from rest, its last crossing by bisection"
_TIME_ABOVE = Function(
    "time_above", "How long a current is above a threshold after a step, under a first order with a slew limit.",
    (*_STEP, _THRESHOLD, *_FIRST), _gives(TIME), time_above, _FIRST_SOURCE, exact=_exact_time, slopes=_time_slopes,
)  # fmt: skip
_CHARGE_ABOVE = Function(
    "charge_above", "The charge above a threshold after a step, under a first order with a slew limit.",
    (*_STEP, _THRESHOLD, *_FIRST), _gives(CHARGE), charge_above, _FIRST_SOURCE,
)  # fmt: skip
_SETTLING = Function(
    "settling_time", "How long a current takes after a step until it stays within a band around its end.",
    (*_SIZES, *_FIRST), _gives(TIME), settling_time, _FIRST_SOURCE, slopes=_settling_slopes,
)  # fmt: skip
_DAMPED = Function(
    "damped_time_above", "How long after a step until a current is above a threshold for the last time, under a "
    "second order.",
    (_START_DAMPED, _STEP[1], _THRESHOLD, _DEAD, _PERIOD, _damping(NEITHER, _DAMPING_LEAST)),
    _gives(TIME), damped_time_above, _SECOND_SOURCE, _damped_box, slopes=_damped_slopes,
)  # fmt: skip
_PEAK = Function(
    "damped_peak", "The highest current of a second order on its way from one current to another.",
    (_START_DAMPED, _STEP[1], _damping(FALLS, 0.0)),
    _gives(CURRENT), damped_peak, "first extreme of a damped second-order lag", _peak_box,
)  # fmt: skip

_MIRRORED = [_below(each) for each in (_TIME_ABOVE, _CHARGE_ABOVE, _DAMPED, _PEAK)]
FUNCTIONS = (_TIME_ABOVE, _CHARGE_ABOVE, _SETTLING, _DAMPED, _PEAK, *_MIRRORED)
