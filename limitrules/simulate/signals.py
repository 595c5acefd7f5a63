"""Figures over time in closed form: sums of powers of time and exponentials, and where they cross a level.

A piece of a current or of a filtered current between two events is ``sum of c * t**p * exp(-r * t)``. Such sums are
closed under addition, products, integration and first-order filters, so no step size enters anywhere.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise

from attrs import frozen

Term = tuple[int, float]  # power of time, rate in 1/s
_SAME_RATE = 1e-2  # share of a rate within which two are so near that dividing by their difference loses digits
_TERMS = 8  # of the series that is taken instead
_RELATIVE = 1e-14
_MOST_CUTS = 4000


@frozen(eq=False)
class Signal:
    """``terms`` maps (power, rate) to a coefficient; time in s counts from the start of the piece."""

    terms: Mapping[Term, float]

    @property
    def is_constant(self) -> bool:
        return not self.terms or (len(self.terms) == 1 and CONSTANT in self.terms)

    def __call__(self, time: float) -> float:
        value = 0.0
        for (power, rate), factor in self.terms.items():
            if power:
                factor *= time**power
            value += factor * math.exp(-rate * time) if rate else factor
        return value

    def __add__(self, other: Signal) -> Signal:
        return Signal(_summed([*self.terms.items(), *other.terms.items()]))

    def __mul__(self, other: Signal) -> Signal:
        return Signal(
            _summed(((p + q, r + s), a * b) for (p, r), a in self.terms.items() for (q, s), b in other.terms.items())
        )

    def affine(self, factor: float, offset: float) -> Signal:
        """``factor`` times the signal plus ``offset``."""
        if factor == 1.0:
            made = dict(self.terms)
        else:
            made = {term: value * factor for term, value in self.terms.items()} if factor else {}
        made[0, 0.0] = made.get((0, 0.0), 0.0) + offset
        return Signal(made)

    def integral(self) -> Signal:
        """The integral from the start of the piece."""
        made = Signal(_summed(part for term, factor in self.terms.items() for part in _primitive(term, factor)))
        return made.affine(1.0, -made(0.0))

    def slope(self) -> Signal:
        """The derivative."""
        return Signal(_summed(part for term, factor in self.terms.items() for part in _derived(term, factor)))

    def filtered(self, time_constant: float, start: float) -> Signal:
        """What a first-order filter makes of the signal: ``time_constant * y' = signal - y`` and y(0) = ``start``."""
        if time_constant <= 0.0:
            return self
        rate = 1.0 / time_constant
        forced = Signal(_summed(part for term, factor in self.terms.items() for part in _forced(term, factor, rate)))
        return forced + Signal({(0, rate): start - forced(0.0)})

    def later(self, time: float) -> Signal:
        """The same signal with time counted from ``time`` on."""
        if not time:
            return self
        return Signal(_summed(part for term, factor in self.terms.items() for part in _shifted(term, factor, time)))

    def range(self, start: float, end: float) -> tuple[float, float]:
        """Bounds of the signal between two times: every term by itself, so not always the narrowest."""
        low = high = 0.0
        for (power, rate), factor in self.terms.items():
            one, other = _term_range(power, rate, start, end)
            low += min(factor * one, factor * other)
            high += max(factor * one, factor * other)
        return low, high


CONSTANT: Term = (0, 0.0)


def constant(value: float) -> Signal:
    """The same value for ever."""
    return Signal({CONSTANT: value})


def straight(start: float, slope: float) -> Signal:
    """A straight line."""
    return Signal({CONSTANT: start, (1, 0.0): slope})


def approach(start: float, end: float, time_constant: float) -> Signal:
    """From ``start`` towards ``end`` as an exponential."""
    return Signal({CONSTANT: end, (0, 1.0 / time_constant): start - end})


def total(signals: Iterable[Signal]) -> Signal:
    """The sum of signals."""
    return Signal(_summed(item for signal in signals for item in signal.terms.items()))


def first_reach(signal: Signal, level: float, upward: bool, end: float, start: float = 0.0) -> float:
    """The first time after ``start`` at which the signal is at or past a level; infinite where not before ``end``.

    ``upward``: reached from below. Where it is past the level at ``start``, that is the answer.
    """
    excess = signal.affine(1.0, -level) if upward else signal.affine(-1.0, level)
    if excess(start) >= 0.0:
        return start
    if end <= start or signal.is_constant:
        return math.inf
    if math.isinf(end):
        end = start + _horizon(signal)
    if excess.range(start, end)[1] < 0.0:
        return math.inf
    return _first_root(excess, excess.slope(), start, end)


def next_reach(signal: Signal, level: float, upward: bool, within: float) -> float:
    """As `first_reach` from now on, where rounding must not decide: next to the level its direction does.

    Resting at the level counts as having reached it from below, and as not having fallen below it.
    """
    near = 1e-10 * max(abs(level), 1e-6)
    beyond = signal(0.0) - level
    if abs(beyond) > near:
        return first_reach(signal, level, upward, within)
    steep = signal.slope()(0.0)
    if (steep >= 0.0) if upward else (steep < 0.0):
        return 0.0
    apart = 1e-9
    while abs(signal(apart) - level) <= near:
        apart *= 2.0
        if apart >= within:
            return math.inf
    return first_reach(signal, level, upward, within, apart)


def next_past(signal: Signal, level: float, upward: bool, within: float) -> float:
    """From now on, when a signal is past a level by more than rounding; resting at it is not."""
    away = 1e-12 * max(abs(level), 1e-6)
    return first_reach(signal, level + away if upward else level - away, upward, within)


def times_above(signal: Signal, level: float, start: float, end: float) -> list[tuple[float, float]]:
    """The spans between ``start`` and ``end`` in which the signal is above a level."""
    if signal.is_constant:
        return [(start, end)] if signal(start) > level and start < end else []
    excess = signal.affine(1.0, -level)
    least, most = excess.range(start, end)
    if most <= 0.0 or least > 0.0:
        return [(start, end)] if least > 0.0 and start < end else []
    marks = [start, *_changes_of_sign(excess, start, end), end]
    spans: list[tuple[float, float]] = []
    for left, right in pairwise(marks):
        if right <= left or excess((left + right) / 2.0) <= 0.0:
            continue
        if spans and spans[-1][1] == left:
            left = spans.pop()[0]
        spans.append((left, right))
    return spans


def _changes_of_sign(signal: Signal, start: float, end: float) -> list[float]:
    """Where a signal passes zero between two times, in order."""
    found: list[float] = []
    slope = signal.slope()
    stack = [(start, end)]
    cuts = 0
    while stack:
        left, right = stack.pop()
        least, most = signal.range(left, right)
        if least >= 0.0 or most <= 0.0:
            continue
        low, high = slope.range(left, right)
        cuts += 1
        if low >= 0.0 or high <= 0.0 or cuts > _MOST_CUTS or right - left <= _RELATIVE * max(abs(right), 1e-9):
            one, other = signal(left), signal(right)
            if one < 0.0 <= other:
                found.append(_bisected(signal, slope, left, right))
            elif other < 0.0 <= one:
                found.append(_bisected(signal.affine(-1.0, 0.0), slope.affine(-1.0, 0.0), left, right))
            continue
        middle = (left + right) / 2.0
        stack += [(middle, right), (left, middle)]
    return found


def extremes(signal: Signal, start: float, end: float) -> tuple[float, float]:
    """The lowest and highest value between two times: at the ends, or where the slope changes its sign."""
    if signal.is_constant:
        return signal(start), signal(start)
    lowest, highest = sorted((signal(start), signal(end)))
    slope = signal.slope()
    stack = [(start, end)]
    for _ in range(_MOST_CUTS):
        if not stack:
            break
        left, right = stack.pop()
        low, high = slope.range(left, right)
        if low >= 0.0 or high <= 0.0:
            continue
        least, most = signal.range(left, right)
        rounding = 1e-13 * max(abs(lowest), abs(highest))
        if least >= lowest - rounding and most <= highest + rounding:
            continue
        middle = (left + right) / 2.0
        value = signal(middle)
        lowest, highest = min(lowest, value), max(highest, value)
        # Where the slope is zero, an error in time counts squared.
        if right - left > 1e-8 * max(end - start, 1e-9):
            stack += [(left, middle), (middle, right)]
    return lowest, highest


def _horizon(signal: Signal) -> float:
    rates = [rate for _, rate in signal.terms if rate]
    return 60.0 / min(rates) if rates else 1e9


def _first_root(signal: Signal, slope: Signal, start: float, end: float) -> float:
    """The first time at which a signal that is below zero at ``start`` reaches zero.

    Spans without a root are told by the bounds of the signal; in a span with a slope of one sign it is bisected.
    """
    stack = [(start, end)]
    for _ in range(_MOST_CUTS):
        if not stack:
            return math.inf
        left, right = stack.pop()
        if signal.range(left, right)[1] < 0.0:
            continue
        low, high = slope.range(left, right)
        if high <= 0.0 and signal(left) < 0.0:
            continue
        if low >= 0.0:
            if signal(right) >= 0.0:
                return _bisected(signal, slope, left, right)
            continue
        middle = (left + right) / 2.0
        if right - left <= _RELATIVE * max(abs(right), 1e-9) or not left < middle < right:
            if signal(right) >= 0.0:
                return right
            continue
        stack.append((middle, right))
        stack.append((left, middle))
    return _by_sight(signal, start, end)


def _by_sight(signal: Signal, start: float, end: float) -> float:
    """Where bounds do not get anywhere (a signal that touches zero): the first of many points that is past it."""
    for number in range(1, _MOST_CUTS + 1):
        time = start + (end - start) * number / _MOST_CUTS
        if signal(time) >= 0.0:
            return _bisected(signal, signal.slope(), time - (end - start) / _MOST_CUTS, time)
    return math.inf


def _bisected(signal: Signal, slope: Signal, left: float, right: float) -> float:
    """The root between two times, the first below zero and the second not: Newton's steps, kept inside by halving.

    Each step goes a little beyond where the root should be, so that both ends close in on it.
    """
    if signal(left) >= 0.0:
        return left
    # From the middle, since far out an exponential is flat and its tangent leads nowhere.
    time = (left + right) / 2.0
    for number in range(200):
        value = signal(time)
        if value >= 0.0:
            right = time
        else:
            left = time
        least = _RELATIVE * max(abs(right), 1e-12)
        beyond = least * 2.0 ** min(max(0, number - 8), 12)  # farther where rounding hides the sign
        if right - left <= 4.0 * least:
            break
        steep = slope(time)
        guess = time - value / steep + math.copysign(beyond, -value) if steep else left
        time = guess if left < guess < right and number % 8 < 7 else (left + right) / 2.0
        if time in (left, right):
            break
    return right


def _summed(parts: Iterable[tuple[Term, float]]) -> dict[Term, float]:
    made: dict[Term, float] = {}
    for term, factor in parts:
        made[term] = made.get(term, 0.0) + factor
    return {term: factor for term, factor in made.items() if factor}


def _primitive(term: Term, factor: float) -> Iterator[tuple[Term, float]]:
    power, rate = term
    if not rate:
        yield (power + 1, 0.0), factor / (power + 1)
        return
    for down in range(power, -1, -1):  # by parts
        yield (down, rate), -factor / rate
        factor *= down / rate


def _derived(term: Term, factor: float) -> Iterator[tuple[Term, float]]:
    power, rate = term
    if power:
        yield (power - 1, rate), factor * power
    if rate:
        yield term, -factor * rate


def _forced(term: Term, factor: float, filter_rate: float) -> Iterator[tuple[Term, float]]:
    """A solution of ``y' = filter_rate * (factor * t**power * exp(-rate * t) - y)``."""
    power, rate = term
    apart = filter_rate - rate
    if abs(apart) <= _SAME_RATE * filter_rate:
        part = factor * filter_rate  # exp(apart * t) as a series, term by term
        for order in range(_TERMS if apart else 1):
            yield (power + order + 1, filter_rate), part / (power + order + 1)
            part *= apart / (order + 1)
        return
    factor *= filter_rate / apart
    for down in range(power, -1, -1):
        yield (down, rate), factor
        factor *= -down / apart


def _shifted(term: Term, factor: float, time: float) -> Iterator[tuple[Term, float]]:
    power, rate = term
    factor *= math.exp(-rate * time) if rate else 1.0
    for kept in range(power + 1):
        yield (kept, rate), factor * math.comb(power, kept) * time ** (power - kept)


def _term_range(power: int, rate: float, start: float, end: float) -> tuple[float, float]:
    def value(time: float) -> float:
        return (time**power if power else 1.0) * (math.exp(-rate * time) if rate else 1.0)

    one, other = value(start), value(end)
    low, high = min(one, other), max(one, other)
    if power and rate > 0.0 and start < power / rate < end:
        high = max(high, value(power / rate))
    return low, high
