"""Signals in closed form against dense sampling, numerical integration and figures of many digits."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

import mpmath
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from limitrules.simulate.signals import (
    Signal,
    approach,
    constant,
    extremes,
    first_reach,
    next_past,
    next_reach,
    straight,
    times_above,
    total,
)

PATIENT = settings(deadline=None, max_examples=60)
TIMES = (0.0, 1e-6, 0.03, 0.4, 1.7, 9.0)
rates = st.one_of(st.just(0.0), st.floats(0.01, 20.0))
factors = st.floats(-100.0, 100.0).map(lambda value: round(value, 6))
signals = st.dictionaries(st.tuples(st.integers(0, 2), rates), factors, min_size=1, max_size=4).map(Signal)
# What occurs in a course: constants, straight lines, exponentials, at most a few.
courses = st.lists(
    st.one_of(
        factors.map(constant),
        st.builds(straight, factors, st.floats(-40.0, 40.0)),
        st.builds(approach, factors, factors, st.floats(0.05, 8.0)),
    ),
    min_size=1,
    max_size=3,
).map(total)


def size(signal: Signal, time: float) -> float:
    """What rounding is measured against: the sum of the sizes of all terms."""
    return sum(abs(c) * time**p * math.exp(-r * time) for (p, r), c in signal.terms.items()) + 1e-12


def near(value: float, wanted: float, scale: float, share: float = 1e-12) -> bool:
    return abs(value - wanted) <= share * scale


# ---------------------------------------------------------------- algebra


@settings(PATIENT)
@given(signals, signals, st.sampled_from(TIMES))
def test_sums_and_products_are_those_of_the_values(one: Signal, other: Signal, time: float) -> None:
    assert near((one + other)(time), one(time) + other(time), size(one, time) + size(other, time))
    assert near((one * other)(time), one(time) * other(time), size(one, time) * size(other, time))
    assert near(total([one, other, one])(time), 2 * one(time) + other(time), 3 * (size(one, time) + size(other, time)))


@settings(PATIENT)
@given(signals, factors, factors, st.sampled_from(TIMES))
def test_affine(signal: Signal, factor: float, offset: float, time: float) -> None:
    wanted = factor * signal(time) + offset
    assert near(signal.affine(factor, offset)(time), wanted, abs(factor) * size(signal, time) + abs(offset) + 1.0)


@settings(PATIENT)
@given(signals, st.floats(0.0, 5.0), st.floats(0.0, 5.0))
def test_later_only_shifts_the_time(signal: Signal, shift: float, time: float) -> None:
    scale = sum(abs(c) * (time + shift + 1.0) ** 2 for c in signal.terms.values()) + 1.0
    assert near(signal.later(shift)(time), signal(shift + time), scale)


def exact(signal: Signal, time: float) -> mpmath.mpf:
    t = mpmath.mpf(time)
    return mpmath.fsum(c * t**p * mpmath.exp(-mpmath.mpf(r) * t) for (p, r), c in signal.terms.items())


@settings(PATIENT, max_examples=20)
@given(signals, st.floats(0.0, 6.0))
def test_integral_and_slope_against_many_digits(signal: Signal, time: float) -> None:
    with mpmath.workdps(22):
        wanted = float(mpmath.quad(lambda t: exact(signal, t), [0, time / 2, time], maxdegree=4))
        slope = float(mpmath.diff(lambda t: exact(signal, t), time + 1.0))
    # By parts, powers of one over the rate come in.
    scale = sum(abs(c) * (1.0 + 2.0 / max(r, 0.3)) ** 3 * max(time, 1.0) ** 3 for (_, r), c in signal.terms.items())
    if all(not r or r > 0.3 for _, r in signal.terms):
        assert near(signal.integral()(time), wanted, scale + 1.0, 1e-11)
    assert near(signal.slope()(time + 1.0), slope, 25.0 * size(signal, time + 1.0) + scale, 1e-11)


@settings(PATIENT)
@given(signals, st.floats(0.0, 4.0), st.floats(0.0, 4.0))
def test_range_holds_every_value(signal: Signal, one: float, other: float) -> None:
    start, end = sorted((one, other))
    low, high = signal.range(start, end)
    for share in np.linspace(0.0, 1.0, 41):
        time = min(max(start + share * (end - start), start), end)
        rounding = 1e-13 * size(signal, time)
        assert low - rounding <= signal(time) <= high + rounding


# ---------------------------------------------------------------- filters


def filtered_exactly(signal: Signal, time_constant: float, start: float, time: float) -> float:
    """``y = exp(-t/T) * (start + integral of exp(s/T) * x(s) / T)``, term by term, in many digits."""
    with mpmath.workdps(120):
        rate, t = 1 / mpmath.mpf(time_constant), mpmath.mpf(time)
        whole = mpmath.mpf(start)
        for (power, decay), factor in signal.terms.items():
            apart = rate - mpmath.mpf(decay)
            if apart == 0:
                part = t ** (power + 1) / (power + 1)
            else:  # a lower incomplete gamma function, by its sum
                part = mpmath.factorial(power) / (-apart) ** (power + 1) - mpmath.exp(apart * t) * mpmath.fsum(
                    mpmath.factorial(power) / mpmath.factorial(k) * t**k / (-apart) ** (power + 1 - k)
                    for k in range(power + 1)
                )
            whole += factor * rate * part
        return float(mpmath.exp(-rate * t) * whole)


@settings(PATIENT, max_examples=40)
@given(signals, st.floats(0.02, 30.0), factors, st.floats(0.01, 8.0))
def test_a_filter_against_many_digits_alone(signal: Signal, constant_of: float, start: float, time: float) -> None:
    wanted = filtered_exactly(signal, constant_of, start, time)
    scale = sum(abs(c) * (1.0 + 30.0) ** p * max(1.0, time) ** p for (p, _), c in signal.terms.items()) + abs(start)
    assert near(signal.filtered(constant_of, start)(time), wanted, scale + 1.0, 1e-8)


@pytest.mark.parametrize("apart", [0.0, 1e-16, 1e-13, 1e-10, 1e-8, 1e-6, 1e-4, 1e-3, 0.99e-2, 1.01e-2, 0.1])
@pytest.mark.parametrize("power", [0, 1, 2])
def test_a_filter_as_fast_as_what_it_filters(apart: float, power: int) -> None:
    """Where two rates are nearly the same, dividing by their difference must not lose the digits."""
    constant_of = 1.7
    signal = Signal({(power, (1.0 + apart) / constant_of): 88.4, (0, 0.0): 3.0})
    for time in (0.05, 1.0, 5.0, 40.0):
        wanted = filtered_exactly(signal, constant_of, 12.0, time)
        assert signal.filtered(constant_of, 12.0)(time) == pytest.approx(wanted, rel=1e-8, abs=1e-9)


@pytest.mark.parametrize("apart", [0.0, 1e-12, 1e-9, 1e-7, 1e-5, 1e-3, 9e-3, 2e-2])
def test_the_square_of_a_filtered_figure_stays_exact(apart: float) -> None:
    """As it heats a protection: large opposite terms would be squared."""
    seen = approach(120.0, 40.0, 1.7).filtered(1.7 * (1.0 + apart), 120.0)
    heat = (seen * seen).filtered(9.0, 100.0)
    rate, slow = 1.0 / 1.7, 1.0 / (1.7 * (1.0 + apart))

    def motion(time: float, x: list[float]) -> list[float]:
        raw = 40.0 + 80.0 * math.exp(-rate * time)
        return [(raw - x[0]) * slow, (x[0] ** 2 - x[1]) / 9.0]

    solved = solve_ivp(motion, (0.0, 20.0), [120.0, 100.0], rtol=1e-11, atol=1e-11, method="DOP853", t_eval=[1.0, 20.0])
    for time, (_, wanted) in zip(solved.t, solved.y.T, strict=True):
        assert heat(float(time)) == pytest.approx(wanted, rel=1e-7)


@settings(PATIENT, max_examples=15)
@given(courses, st.floats(0.05, 5.0), factors)
def test_a_filter_against_integration(signal: Signal, constant_of: float, start: float) -> None:
    solved = solve_ivp(lambda t, y: (signal(t) - y) / constant_of, (0.0, 6.0), [start], rtol=1e-11, atol=1e-11,
                       method="DOP853", t_eval=[0.5, 2.0, 6.0])  # fmt: skip
    for time, wanted in zip(solved.t, solved.y[0], strict=True):
        scale = sum(map(abs, signal.terms.values())) + abs(start) + 1.0
        assert near(signal.filtered(constant_of, start)(float(time)), wanted, scale * 10.0, 1e-9)


@pytest.mark.parametrize("constant_of", [1e-9, 1e-6, 1e-3])
def test_a_fast_filter_follows(constant_of: float) -> None:
    seen = approach(200.0, 50.0, 1.7).filtered(constant_of, 200.0)
    assert seen(1.0) == pytest.approx(approach(200.0, 50.0, 1.7)(1.0), rel=2.0 * constant_of + 1e-12)
    assert first_reach(seen, 100.0, False, 60.0) == pytest.approx(1.7 * math.log(3.0) + constant_of, rel=1e-5)


def test_no_filter_is_no_filter() -> None:
    signal = approach(1.0, 2.0, 3.0)
    assert signal.filtered(0.0, 99.0) is signal


# ---------------------------------------------------------------- reaching a level


def sampled_first(signal: Signal, past: Callable[[float], bool], end: float, points: int = 4001) -> float:
    """The first of many points that is past a level, then halved."""
    before = 0.0
    for time in np.linspace(0.0, end, points):
        if past(signal(float(time))):
            after = float(time)
            for _ in range(200):
                middle = (before + after) / 2.0
                before, after = (before, middle) if past(signal(middle)) else (middle, after)
            return after
        before = float(time)
    return math.inf


@settings(PATIENT)
@given(courses, factors, st.booleans(), st.floats(0.5, 12.0))
def test_the_first_reach_is_that_of_dense_sampling(signal: Signal, level: float, upward: bool, end: float) -> None:
    def past(value: float) -> bool:
        return value >= level if upward else value <= level

    found, wanted = first_reach(signal, level, upward, end), sampled_first(signal, past, end)
    scale = sum(map(abs, signal.terms.values())) + abs(level) + 1.0
    if math.isinf(found):
        beyond = 1e-12 * scale  # a signal that goes there for ever is there once rounding says so
        wanted = sampled_first(signal, lambda v: v >= level + beyond if upward else v <= level - beyond, end)
        assert math.isinf(wanted), "nothing is found where a sample is past the level"
        return
    assert abs(signal(found) - level) <= 1e-9 * scale or found == 0.0
    assert past(signal(found)) or abs(signal(found) - level) <= 1e-12 * scale
    assert found <= wanted + 1e-9 * max(1.0, wanted) + 1e-12
    if found < wanted - 1e-6:  # sampling stepped over it: it must be past the level there, by itself
        assert past(signal(found)) or abs(signal(found) - level) <= 1e-12 * scale


@settings(PATIENT)
@given(courses, factors, st.floats(0.5, 12.0))
def test_the_times_above_are_those_of_dense_sampling(signal: Signal, level: float, end: float) -> None:
    spans = times_above(signal, level, 0.0, end)
    assert all(begin < stop for begin, stop in spans)
    assert all(a[1] < b[0] for a, b in pairwise(spans))
    scale = 1e-10 * (sum(abs(c) * max(1.0, end) for c in signal.terms.values()) + abs(level) + 1.0)
    for time in np.linspace(0.0, end, 801):
        value = signal(float(time)) - level
        if abs(value) > scale:
            assert any(begin <= time <= stop for begin, stop in spans) == (value > 0.0), (time, value, spans)


@settings(PATIENT)
@given(courses, st.floats(0.1, 12.0))
def test_extremes_are_those_of_dense_sampling(signal: Signal, end: float) -> None:
    low, high = extremes(signal, 0.0, end)
    values = [signal(float(time)) for time in np.linspace(0.0, end, 2001)]
    scale = sum(abs(c) * max(1.0, end) for c in signal.terms.values()) + 1e-9
    assert low <= min(values) + 1e-12 * scale
    assert high >= max(values) - 1e-12 * scale
    # What is told is reached: somewhere between two samples there is no more than their curvature allows.
    assert low >= min(values) - 1e-3 * scale
    assert high <= max(values) + 1e-3 * scale


def test_a_straight_line_reaches_where_it_should() -> None:
    """Newton's step lands on the root at once, just below it; the end of the span must not come out instead."""
    line = straight(3472.401229533807, 735352.1419494379)
    assert first_reach(line, 5625.0, True, 0.0241824) == pytest.approx((5625.0 - 3472.401229533807) / 735352.1419494379)


@settings(PATIENT, max_examples=300)
@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e9), st.floats(0.001, 0.999), st.floats(1e-6, 1e6))
def test_any_straight_line_reaches_where_it_should(start: float, slope: float, share: float, end: float) -> None:
    level = start + slope * end * share
    assume(level > start + 1e-6 * abs(start))
    found = first_reach(straight(start, slope), level, True, end)
    assert found == pytest.approx((level - start) / slope, rel=1e-9 + 1e-15 * abs(start) / (level - start))


@pytest.mark.parametrize("rate", [1e-6, 1e-3, 1.0, 1e3, 1e6])
def test_stiff_and_slow_rates(rate: float) -> None:
    signal = total([approach(100.0, 20.0, 1.0 / rate), approach(30.0, 0.0, 1e4 / rate)])
    found = first_reach(signal, 60.0, False, 1e5 / rate)
    assert signal(found) == pytest.approx(60.0, rel=1e-12)
    assert signal(found * (1.0 - 1e-9)) > 60.0
    with mpmath.workdps(40):
        root = mpmath.findroot(lambda u: 20 + 80 * mpmath.exp(-u) + 30 * mpmath.exp(-u / 10000) - 60, 2.0)
    assert found * rate == pytest.approx(float(root), rel=1e-12)


def test_a_root_that_only_touches() -> None:
    hump = Signal({(1, 1.0): math.e})  # one at its top, at one second
    assert first_reach(hump, 1.0, True, 5.0) == pytest.approx(1.0, abs=1e-6)
    assert first_reach(hump, 1.0 + 1e-9, True, 5.0) == math.inf
    assert first_reach(hump, 1.0 - 1e-9, True, 5.0) == pytest.approx(1.0, abs=1e-4)
    assert sum(end - begin for begin, end in times_above(hump, 1.0, 0.0, 5.0)) <= 1e-6
    width = sum(end - begin for begin, end in times_above(hump, 1.0 - 1e-6, 0.0, 5.0))
    assert width == pytest.approx(2.0 * math.sqrt(2e-6), rel=1e-2)
    assert list(extremes(hump, 0.0, 5.0)) == pytest.approx([0.0, 1.0], rel=1e-14)


@pytest.mark.parametrize("level", [0.0, 5.0, -3.0, 1e-12, 82.1])
def test_constants_at_the_level(level: float) -> None:
    rest = constant(level)
    assert times_above(rest, level, 0.0, 60.0) == []
    assert first_reach(rest, level, True, 60.0) == 0.0
    assert next_reach(rest, level, True, 60.0) == 0.0
    assert next_reach(rest, level, False, 60.0) == math.inf
    assert next_past(rest, level, True, 60.0) == next_past(rest, level, False, 60.0) == math.inf
    assert times_above(constant(level + 1.0), level, 0.0, 60.0) == [(0.0, 60.0)]
    assert extremes(rest, 0.0, 60.0) == (level, level)


def test_next_to_a_level_the_direction_decides() -> None:
    down, up = straight(10.0 + 1e-12, -1.0), straight(10.0 - 1e-12, 1.0)
    assert next_reach(down, 10.0, True, 5.0) == math.inf
    assert next_reach(down, 10.0, False, 5.0) == 0.0
    assert next_reach(up, 10.0, True, 5.0) == 0.0
    assert next_reach(up, 10.0, False, 5.0) == math.inf
    assert next_past(up, 10.0, True, 5.0) == pytest.approx(0.0, abs=1e-10)
    there_and_back = Signal({(0, 0.0): 10.0, (1, 0.0): -1.0, (2, 0.0): 1.0})
    assert next_reach(there_and_back, 10.0, True, 5.0) == pytest.approx(1.0)


def test_what_goes_towards_a_level_for_ever_does_not_pass_it() -> None:
    assert times_above(approach(0.0, 50.0, 1.0), 50.0, 0.0, 30.0) == []
    assert first_reach(approach(0.0, 50.0, 1.0), 50.0 + 1e-9, True, 1e6) == math.inf


@pytest.mark.parametrize("days", [1, 30])
def test_long_times(days: int) -> None:
    end = days * 86400.0
    signal = total([approach(100.0, 20.0, 5000.0), straight(0.0, 1e-4)])
    found = first_reach(signal, 26.0, True, end, 30000.0)
    assert found == pytest.approx(60000.0, rel=1e-4)
    (span,) = times_above(signal, 26.0, 30000.0, end)
    assert list(span) == pytest.approx([found, end])


def test_two_spans_and_their_places() -> None:
    wave = Signal({(0, 0.0): -6.0, (1, 0.0): 11.0, (2, 0.0): -6.0, (3, 0.0): 1.0})  # roots at 1, 2 and 3
    ends = [time for span in times_above(wave, 0.0, 0.0, 4.0) for time in span]
    assert ends == pytest.approx([1.0, 2.0, 3.0, 4.0])
    ends = [time for span in times_above(wave.affine(-1.0, 0.0), 0.0, 0.0, 4.0) for time in span]
    assert ends == pytest.approx([0.0, 1.0, 2.0, 3.0])
