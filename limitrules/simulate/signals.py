"""Figures over time in closed form: sums of powers of time and exponentials, and where they cross a level.

A piece of a current or of a filtered current between two events is ``sum of c * t**p * exp(-r * t)``. Such sums are
closed under addition, products, integration and first-order filters, so no step size enters anywhere.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping

from attrs import frozen

Term = tuple[int, float]  # power of time, rate in 1/s
_SAME_RATE = 1e-9
_RELATIVE = 1e-14
_MOST_CUTS = 4000


@frozen(eq=False)
class Signal:
    """``terms`` maps (power, rate) to a coefficient; time in s counts from the start of the piece."""

    terms: Mapping[Term, float]

    def __call__(self, time: float) -> float:
        return sum(
            factor * (time**power if power else 1.0) * (math.exp(-rate * time) if rate else 1.0)
            for (power, rate), factor in self.terms.items()
        )

    def __add__(self, other: Signal) -> Signal:
        return Signal(_summed([*self.terms.items(), *other.terms.items()]))

    def __mul__(self, other: Signal) -> Signal:
        return Signal(
            _summed(((p + q, r + s), a * b) for (p, r), a in self.terms.items() for (q, s), b in other.terms.items())
        )

    def affine(self, factor: float, offset: float) -> Signal:
        """``factor`` times the signal plus ``offset``."""
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
    if end <= start:
        return math.inf
    if math.isinf(end):
        end = start + _horizon(signal)
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


def times_above(signal: Signal, level: float, start: float, end: float) -> list[tuple[float, float]]:
    """The spans between ``start`` and ``end`` in which the signal is above a level."""
    spans: list[tuple[float, float]] = []
    now = start
    while now < end:
        begin = first_reach(signal, level, True, end, now)
        if begin >= end:
            break
        stop = min(_next_below(signal, level, begin, end), end)
        spans.append((begin, stop))
        now = max(stop, math.nextafter(begin, math.inf))
    return spans


def extremes(signal: Signal, start: float, end: float) -> tuple[float, float]:
    """The lowest and highest value between two times: at the ends, or where the slope changes its sign."""
    values = [signal(start), signal(end)]
    slope = signal.slope()
    stack = [(start, end)]
    for _ in range(_MOST_CUTS):
        if not stack:
            break
        left, right = stack.pop()
        low, high = slope.range(left, right)
        if low >= 0.0 or high <= 0.0:
            continue
        middle = (left + right) / 2.0
        values.append(signal(middle))
        # Where the slope is zero, an error in time counts squared.
        if right - left > 1e-8 * max(end - start, 1e-9):
            stack += [(left, middle), (middle, right)]
    return min(values), max(values)


def _next_below(signal: Signal, level: float, begin: float, end: float) -> float:
    """When a signal that reached a level falls below it again."""
    step = max(abs(begin), 1.0) * 1e-13
    after = begin + step
    if after >= end or signal(after) < level:
        return after
    return first_reach(signal, level, False, end, after)


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
    """The root between two times, the first below zero and the second not: Newton's steps, kept inside by halving."""
    if signal(left) >= 0.0:
        return left
    time = right
    for _ in range(200):
        value = signal(time)
        if value >= 0.0:
            right = time
        else:
            left = time
        steep = slope(time)
        guess = time - value / steep if steep else left
        time = guess if left < guess < right else (left + right) / 2.0
        if right - left <= _RELATIVE * max(abs(right), 1e-12) or time in (left, right):
            break
        if abs(time - guess) == 0.0 and abs(value) <= 1e-15 * abs(steep) * max(abs(time), 1e-9):
            right = time if signal(time) >= 0.0 else right
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
        yield (power + 1, filter_rate), factor * filter_rate / (power + 1)
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
