"""Fuses, what they let through, and breakers: against small steps in time, many digits, and figures worked by hand."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import mpmath
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from mpmath import mpf

from limitrules.physics import breakers, fuses, let_through
from limitrules.physics.breakers import thermal_image_peak, thermal_trip_time
from limitrules.physics.fuses import (
    i2t_until_melting,
    melting_current,
    melting_time,
    melting_time_between,
    melting_time_from_i2t,
    minimum_fusing_current,
    pulse_endurance,
)
from tests.physics import support

FUNCTIONS = (*fuses.FUNCTIONS, *let_through.FUNCTIONS, *breakers.FUNCTIONS)
PATIENT = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
BY_NAME = {item.name: item for item in FUNCTIONS}
ANY_CURRENT, ANY_TIME, ANY_I2T = (1e-3, 1e4), (1e-6, 1e3), (1e-3, 1e7)
FAULT, LEAST, CONSTANT, MELTING = (250.0, 900.0), (150.0, 200.0), (0.5, 0.9), (2e4, 3e4)
LOOP = [(40.0, 90.0), (2e-3, 2e-2), (1e-6, 5e-5)]
ANY_LOOP = [(1e-3, 1e3), (1e-6, 1.0), (1e-9, 1e-1)]
QUICK = [(60.0, 90.0), (2e-3, 5e-3), (1e-6, 2e-5), (1e3, 4e3), (0.5, 0.9)]
SLOW = [*ANY_LOOP, ANY_I2T, (1e-3, 1e9)]
ARC = (150.0, 300.0)
SAMPLES: support.Samples = {
    "melting_time": ([ANY_CURRENT, ANY_CURRENT, ANY_TIME], [FAULT, LEAST, CONSTANT]),
    "melting_time_from_i2t": ([ANY_CURRENT, (0.0, 1e4), ANY_I2T], [FAULT, LEAST, MELTING]),
    "i2t_until_melting": ([ANY_CURRENT, (0.0, 1e4), ANY_I2T], [FAULT, LEAST, MELTING]),
    "fuse_time_constant": ([ANY_I2T, ANY_CURRENT], [MELTING, LEAST]),
    "melting_current": ([ANY_TIME, ANY_CURRENT, ANY_TIME], [(0.05, 2.0), LEAST, CONSTANT]),
    "melting_current_from_i2t": ([ANY_TIME, (0.0, 1e4), ANY_I2T], [(0.05, 2.0), LEAST, MELTING]),
    "minimum_fusing_current": ([ANY_CURRENT, ANY_TIME, ANY_TIME], [FAULT, (0.05, 2.0), CONSTANT]),
    "melting_time_between": (
        [ANY_CURRENT, (1e-3, 3e3), (1.0, 1e3), (3e3, 1e4), (1e-3, 30.0)],
        [(150.0, 190.0), (120.0, 150.0), (10.0, 20.0), (200.0, 300.0), (0.1, 0.4)],
    ),
    "conventional_current": ([(0.0, 1e4), (1.0, 5.0)], [LEAST, (1.2, 1.6)]),
    "fuse_continuous_current": (
        [(0.0, 1e4), (223.0, 574.0), (223.0, 574.0), (0.0, 0.1), (0.0, 1.0)],
        [LEAST, (300.0, 330.0), (290.0, 300.0), (0.004, 0.006), (0.8, 0.9)],
    ),
    "selectivity_ratio": ([(0.0, 1e7), ANY_I2T], [(4e4, 5e4), (2e5, 3e5)]),
    "pulse_endurance": ([(1.0, 1e5)], [(50.0, 500.0)]),
    "loop_i2t": ([*ANY_LOOP, (1e-6, 10.0)], [*LOOP, (1e-4, 1e-2)]),
    "melting_time_in_loop": (SLOW, QUICK),
    "let_through_current": (SLOW, QUICK),
    "let_through_i2t": ([*SLOW, (1e-3, 2e3)], [*QUICK, ARC]),
    "arcing_time": ([*SLOW, (1e-3, 2e3)], [*QUICK, ARC]),
    "magnetic_trip_current": ([(0.0, 1e4), (1.0, 100.0), (0.5, 2.0)], [LEAST, (5.0, 10.0), (1.0, 1.4)]),
    "thermal_trip_time": ([(0.0, 1e4)] * 2 + [ANY_CURRENT, ANY_TIME], [FAULT, (0.0, 140.0), LEAST, CONSTANT]),
    "thermal_image_peak": (
        [(0.0, 1e3), (0.0, 1e3), (0.0, 1e3), (0.0, 1e3), ANY_CURRENT, ANY_TIME],
        [(80.0, 140.0), (1.0, 20.0), (40.0, 100.0), (5.0, 50.0), (90.0, 110.0), (5.0, 100.0)],
    ),
    "device_rating_max": ([(0.0, 1e4), (1.0, 5.0), (1.0, 5.0)], [LEAST, (1.3, 1.6), (1.4, 1.5)]),
}


def element(current: mpf, before: mpf, least: mpf, constant: mpf) -> mpf:
    """The time in which the share of its melting rise goes from that of the current before to one."""
    if before >= least:
        return mpf(0)
    with mpmath.workdps(120):
        start, end = (before / least) ** 2, (current / least) ** 2
        return constant * mpmath.log1p((1 - start) / (end - 1)) if end > 1 else mpmath.inf


def bare(current: mpf, least: mpf, heat: mpf) -> mpf:
    return heat / current**2 if least == 0 else element(current, mpf(0), least, heat / least**2)


def melting_at(time: mpf, least: mpf, constant: mpf) -> mpf:
    return least / mpmath.sqrt(-mpmath.expm1(-time / constant))


def on_paper(current: mpf, lower: mpf, longer: mpf, higher: mpf, shorter: mpf) -> mpf:
    power = mpmath.log(shorter / longer) / mpmath.log(higher / lower)
    return longer * (current / lower) ** power


def risen(voltage: mpf, resistance: mpf, inductance: mpf, heat: mpf) -> tuple[mpf, mpf]:
    """When and at which current the link melts: the heat over the current, L times the integral of i^2 / (V - R i)."""
    due = heat * resistance**3 / (voltage**2 * inductance)
    with mpmath.workdps(120):

        def missing(x: mpf) -> mpf:
            share = 1 - mpmath.exp(-x)
            return x - share - share**2 / 2 - due

        low, high = mpf(0), due + 2
        for _ in range(200):
            middle = (low + high) / 2
            low, high = (middle, high) if missing(middle) < 0 else (low, middle)
        return low * inductance / resistance, voltage / resistance * (1 - mpmath.exp(-low))


def burnt(voltage: mpf, resistance: mpf, inductance: mpf, heat: mpf, arc: mpf) -> tuple[mpf, mpf]:
    """How long the arc burns and what passes meanwhile: i = x + (I - x) e^(-t / T), its square over the time."""
    if arc <= voltage:
        return mpmath.inf, mpmath.inf
    with mpmath.workdps(120):
        current, constant = risen(voltage, resistance, inductance, heat)[1], inductance / resistance
        x = (voltage - arc) / resistance
        span, left = current - x, -x / (current - x)
        time = -constant * mpmath.log(left)
        passed = x**2 * time + 2 * x * span * constant * (1 - left) + span**2 * constant / 2 * (1 - left**2)
        return time, passed


def passed_in(voltage: mpf, resistance: mpf, inductance: mpf, time: mpf) -> mpf:
    with mpmath.workdps(120):
        x = time * resistance / inductance
        share = 1 - mpmath.exp(-x)
        return (voltage / resistance) ** 2 * inductance / resistance * (x - share - share**2 / 2)


def image(one: mpf, time: mpf, other: mpf, other_time: mpf, reference: mpf, constant: mpf) -> mpf:
    """The fixed points of a whole period from the end of either level; the higher of the two."""
    a, b = (one / reference) ** 2, (other / reference) ** 2
    warmed, cooled, whole = (-mpmath.expm1(-t / constant) for t in (time, other_time, time + other_time))
    after_one, after_other = a * warmed + b * cooled * (1 - warmed), b * cooled + a * warmed * (1 - cooled)
    return max(after_one, after_other) / whole


DIGITS: Mapping[str, Callable[..., mpf]] = {
    "melting_time": lambda i, least, constant: element(i, mpf(0), least, constant),
    "melting_time_from_i2t": bare,
    "i2t_until_melting": lambda i, least, heat: i**2 * bare(i, least, heat),
    "fuse_time_constant": lambda heat, least: heat / least / least,
    "melting_current": melting_at,
    "melting_current_from_i2t": lambda t, least, heat: (
        melting_at(t, least, heat / least**2) if least else mpmath.sqrt(heat / t)
    ),
    "minimum_fusing_current": lambda i, t, constant: i * mpmath.sqrt(1 - mpmath.exp(-t / constant)),
    "melting_time_between": on_paper,
    "conventional_current": lambda rating, factor: rating * factor,
    "fuse_continuous_current": lambda rating, t, base, loss, share: (
        rating * share * min(mpf(1), max(mpf(0), 1 + loss * base - loss * t))
    ),
    "selectivity_ratio": lambda passed, melts: passed / melts,
    "pulse_endurance": lambda n: mpf("0.48") * (max(n, mpf(100)) / 100) ** mpf("-0.113"),
    "loop_i2t": passed_in,
    "melting_time_in_loop": lambda v, r, ind, heat, _: risen(v, r, ind, heat)[0],
    "let_through_current": lambda v, r, ind, heat, _: risen(v, r, ind, heat)[1],
    "let_through_i2t": lambda v, r, ind, heat, _, arc: heat + burnt(v, r, ind, heat, arc)[1],
    "arcing_time": lambda v, r, ind, heat, _, arc: burnt(v, r, ind, heat, arc)[0],
    "magnetic_trip_current": lambda rating, multiple, factor: rating * multiple * factor,
    "thermal_trip_time": element,
    "thermal_image_peak": image,
    "device_rating_max": lambda bears, surely, up_to: min(bears, bears * up_to / surely),
}
IN_LOOP = "100 V, 10 mohm, 10 uH, 6814.718056 A2s, 0.7 s"
WORKED = {
    "melting_time(0.9 * 267.592 A, 181.25 A, 0.715339 s)": ("0.597762 s", "0.000004 s"),
    "melting_time(267.592 A, 181.25 A, 0.715339 s)": ("0.439174 s", "0.000002 s"),
    "melting_time_from_i2t(267.592 A, 181.25 A, 23500 A2s)": ("0.439174 s", "0.000002 s"),
    "i2t_until_melting(300 A, 150 A, 10000 A2s)": ("11507.282898 A2s", "0.000001 A2s"),
    "i2t_until_melting(3000 A, 150 A, 10000 A2s)": ("10012.520872 A2s", "0.000001 A2s"),
    "fuse_time_constant(23500 A2s, 181.25 A)": ("0.715339 s", "0.000001 s"),
    "melting_current(0.287682072 s, 150 A, 1 s)": ("300 A", "0.000001 A"),
    "melting_current_from_i2t(0.287682072 s, 150 A, 22500 A2s)": ("300 A", "0.000001 A"),
    "minimum_fusing_current(300 A, 0.287682072 s, 1 s)": ("150 A", "0.000001 A"),
    "melting_time_between(200 A, 100 A, 100 s, 1000 A, 0.01 s)": ("6.25 s", "0.000001 s"),
    "conventional_current(160 A, 1.6)": ("256 A", "0.000001 A"),
    "fuse_continuous_current(250 A, 52 degC, 25 degC, 0.005 1/K, 0.85)": ("183.8125 A", "0.000001 A"),
    "1 / selectivity_ratio(46000 A2s, 290000 A2s)": ("6.30435", "0.00001"),
    "0.5 * 9.4 mF * (84 V) * (84 V) / (11.8 mohm) / (23500 A2s)": ("0.119593", "0.000001"),
    "pulse_endurance(3600)": ("0.320169", "0.000001"),
    # One half of 10 kA after ln 2 of 1 ms: ln 2 - 1/2 - 1/8 of 1e5 A2s.
    "loop_i2t(100 V, 10 mohm, 10 uH, 0.693147181 ms)": ("6814.718056 A2s", "0.0001 A2s"),
    f"melting_time_in_loop({IN_LOOP})": ("0.693147181 ms", "0.000001 ms"),
    f"let_through_current({IN_LOOP})": ("5000 A", "0.0001 A"),
    # Twice the voltage: as much against the current as the source had for it; ln 1.5 - 3/8 of 1e5 A2s are added.
    f"let_through_i2t({IN_LOOP}, 200 V)": ("9861.228867 A2s", "0.001 A2s"),
    f"arcing_time({IN_LOOP}, 200 V)": ("0.405465108 ms", "0.000001 ms"),
    "magnetic_trip_current(63 A, 5, 1)": ("315 A", "0.000001 A"),
    "magnetic_trip_current(63 A, 10, 1.4)": ("882 A", "0.000001 A"),
    "thermal_trip_time(2 A, 1 A, sqrt(2) * 1 A, 3 s)": ("1.216395324 s", "0.000001 s"),
    # Half-lives: 2/3 of four and 1/3 of one.
    "thermal_image_peak(200 A, 0.693147181 s, 100 A, 0.693147181 s, 100 A, 1 s)": ("3", "0.00000001"),
    "device_rating_max(185.554 A, 1.6, 1.45)": ("168.1583125 A", "0.000001 A"),
}


@pytest.mark.parametrize(("current", "before"), [(200.0, 0.0), (300.0, 100.0), (1500.0, 140.0)])
def test_an_element_that_warms_in_small_steps_melts_at_that_time(current: float, before: float) -> None:
    least, constant, step, time = 150.0, 0.7, 0.2 / current**2, 0.0
    state = (before / least) ** 2
    while state < 1.0:
        state += step / constant * ((current / least) ** 2 - state)
        time += step
    assert thermal_trip_time(current, before, least, constant)[0] == pytest.approx(time, rel=1e-3)


def test_a_current_up_to_the_least_never_melts() -> None:
    assert melting_time(150.0, 150.0, 0.7) == i2t_until_melting(1.0, 150.0, 1e4) == (math.inf, math.inf)
    assert math.isfinite(melting_time(math.nextafter(150.0, 200.0), 150.0, 0.7)[1])
    assert support.verdict(FUNCTIONS, "melting_time(240 A, 290 A, 0.7 s) shorter than 5 s") == "breached"


def test_after_a_current_that_trips_it_a_trip_has_no_time_left() -> None:
    assert thermal_trip_time(100.0, 150.0, 150.0, 0.7) == (0.0, 0.0)
    assert support.verdict(FUNCTIONS, "thermal_trip_time(90 A, 80 A, 63 A, 60 s) longer than 0 s") == "breached"


@PATIENT
@given(st.floats(150.1, 1e5), st.floats(0.01, 10.0))
def test_current_and_time_lead_back_to_each_other(current: float, constant: float) -> None:
    time = melting_time(current, 150.0, constant)[1]
    assert melting_current(time, 150.0, constant)[1] == pytest.approx(current, rel=1e-9)
    assert minimum_fusing_current(current, time, constant)[1] == pytest.approx(150.0, rel=1e-9)


def test_a_very_high_current_melts_with_the_melting_i2t_and_a_low_one_needs_more() -> None:
    assert i2t_until_melting(1e6, 150.0, 1e4)[1] == pytest.approx(1e4, rel=1e-7)
    assert i2t_until_melting(160.0, 150.0, 1e4)[0] > 2e4
    assert melting_time_from_i2t(500.0, 0.0, 1e4)[0] == pytest.approx(0.04, rel=1e-12)


def test_on_logarithmic_paper_a_straight_reading_of_the_table_is_longer() -> None:
    """Between (100 A, 100 s) and (1000 A, 10 ms); the curve of a vocabulary is read along a straight line."""
    low, high = melting_time_between(200.0, 100.0, 100.0, 1000.0, 0.01)
    straight = 100.0 + (0.01 - 100.0) * (200.0 - 100.0) / 900.0
    assert low == pytest.approx(6.25, rel=1e-12)
    assert straight > 10.0 * high


@pytest.mark.parametrize(
    "points",
    [
        "90 A, 100 A, 100 s, 1000 A, 0.01 s",
        "1001 A, 100 A, 100 s, 1000 A, 0.01 s",
        "500 A, 100 A, 1 s, 1000 A, 2 s",
        "100 A, 100 A, 100 s, 100 A, 0.01 s",
    ],
)
def test_outside_two_points_of_a_falling_curve_nothing_is_said(points: str) -> None:
    assert support.verdict(FUNCTIONS, f"melting_time_between({points}) longer than 0 s") == "undetermined"


def test_cool_surroundings_give_a_fuse_nothing_and_hot_ones_leave_nothing_below_zero() -> None:
    cool = "fuse_continuous_current(250 A, 5 degC, 25 degC, 0.005 1/K, 0.8) equals 200 A"
    hot = "fuse_continuous_current(250 A, 300 degC, 25 degC, 0.005 1/K, 0.8) equals 0 A"
    assert support.verdict(FUNCTIONS, cool) == support.verdict(FUNCTIONS, hot) == "met"


def test_few_pulses_are_borne_like_a_hundred() -> None:
    assert pulse_endurance(1.0) == pulse_endurance(100.0)
    assert support.verdict(FUNCTIONS, "2810 A2s / (23500 A2s) at or below pulse_endurance(3600)") == "met"
    assert support.verdict(FUNCTIONS, "0.23 at or below pulse_endurance(100001)") == "undetermined"


def cleared(
    voltage: float, resistance: float, inductance: float, heat: float, arc: float, thermal: float = math.inf
) -> tuple[float, float, float, float]:
    """In steps of 20 ns: when and at which current the link melts, what passes in all, and how long the arc burns.

    The element loses heat with its time constant.
    """
    step, time, current, state, passed = 2e-8, 0.0, 0.0, 0.0, 0.0
    while state < heat:
        middle = current + 0.5 * step * (voltage - resistance * current) / inductance
        current += step * (voltage - resistance * middle) / inductance
        state += step * (middle * middle - state / thermal)
        passed += step * middle * middle
        time += step
    melted, peak = time, current
    while current > 0.0:
        middle = current + 0.5 * step * (voltage - arc - resistance * current) / inductance
        current += step * (voltage - arc - resistance * middle) / inductance
        passed += step * middle * middle
        time += step
    return melted, peak, passed, time - melted


@pytest.mark.parametrize(
    "case",
    [
        (82.0, 3.2e-3, 5e-6, 2.3e4, 160.0),
        (52.0, 1e-2, 3e-5, 1e3, 55.0),
        (400.0, 5e-2, 1e-4, 2e4, 900.0),
    ],
)
def test_a_loop_followed_in_small_steps_lets_through_as_much(case: tuple[float, float, float, float, float]) -> None:
    melted, peak, passed, arcing = cleared(*case)
    loop = (*case[:4], 1e3)
    assert let_through.melting_time_in_loop(*loop)[0] == pytest.approx(melted, rel=1e-3)
    assert let_through.let_through_current(*loop)[0] == pytest.approx(peak, rel=1e-3)
    assert let_through.let_through_i2t(*loop, case[4])[0] == pytest.approx(passed, rel=1e-3)
    assert let_through.arcing_time(*loop, case[4])[0] == pytest.approx(arcing, rel=1e-3)


def test_at_the_end_of_its_range_an_element_that_loses_heat_needs_less_than_three_percent_more() -> None:
    case = 400.0, 5e-2, 1e-4, 2e4, 900.0
    melted, _, passed, _ = cleared(*case)
    _, _, more, _ = cleared(*case, thermal=20.0 * melted)
    assert passed < more < 1.026 * passed
    with pytest.raises(ValueError, match="twentieth"):
        let_through.let_through_i2t(*case[:4], 19.9 * melted, case[4])
    assert let_through.let_through_i2t(*case[:4], 20.1 * melted, case[4])[0] == pytest.approx(passed, rel=1e-3)


def test_a_slow_melting_somewhere_in_the_tolerances_leaves_it_open() -> None:
    box = [(60.0, 90.0), (2e-3, 5e-3), (1e-6, 2e-5), (1e3, 4e3)]
    slowest = let_through.melting_time_in_loop(60.0, 5e-3, 2e-5, 4e3, 1.0)[1]
    current = BY_NAME["let_through_current"]
    assert current.interval(*box, (20.0 * slowest, 1.0))[1] < 1e5
    assert current.interval(*box, (19.9 * slowest, 1.0)) == (-math.inf, math.inf)


def test_an_arc_without_voltage_to_spare_stays() -> None:
    loop = "100 V, 10 mohm, 10 uH, 6000 A2s, 0.7 s"
    assert support.verdict(FUNCTIONS, f"let_through_i2t({loop}, 100 V) at or below 900000 A2s") == "breached"
    assert support.verdict(FUNCTIONS, f"arcing_time({loop}, 99 V) shorter than 1 h") == "breached"


@given(st.floats(0, 300), st.floats(0.5, 60), st.floats(0, 300), st.floats(0.5, 60), st.floats(2, 100), st.booleans())
def test_a_counter_run_until_it_repeats_peaks_there(
    one: float, time: float, other: float, other_time: float, constant: float, first: bool
) -> None:
    """Each level is an exact relaxation towards its own end; from empty until two periods agree."""
    levels = [(one, time), (other, other_time)] if first else [(other, other_time), (one, time)]
    state, highest = 0.0, 0.0
    for _ in range(3000):
        before, highest = state, 0.0
        for current, lasting in levels:
            state += ((current / 100.0) ** 2 - state) * (1.0 - math.exp(-lasting / constant))
            highest = max(highest, state)
        if state == before:
            break
    assert thermal_image_peak(one, time, other, other_time, 100.0, constant)[1] == pytest.approx(highest, rel=1e-9)


def test_a_period_without_length_has_no_peak() -> None:
    with pytest.raises(ValueError, match="length"):
        thermal_image_peak(200.0, 0.0, 100.0, 0.0, 100.0, 1.0)
    assert BY_NAME["thermal_image_peak"].interval(
        (200.0, 200.0), (0.0, 1.0), (100.0, 100.0), (0.0, 1.0), (100.0, 100.0), (1.0, 1.0)
    ) == (-math.inf, math.inf)


def test_one_passed_step_does_not_prove_the_tenth() -> None:
    """A step of 20 s from a steady 60 A stays below 1.15 of the reference, and repeated every minute does not."""
    after_one = 0.36 + (1.6**2 - 0.36) * (1.0 - math.exp(-20.0 / 60.0))
    assert after_one < 1.15
    expression = "thermal_image_peak(160 A, 20 s, 60 A, 40 s, 100 A, 60 s)"
    assert support.verdict(FUNCTIONS, f"{expression} below 1.15") == "breached"


def test_device_ratings_between_load_and_conductor() -> None:
    most = "device_rating_max(185.554 A, 1.6, 1.45)"
    assert support.verdict(FUNCTIONS, f"160 A at or below {most}") == "met"
    assert support.verdict(FUNCTIONS, f"200 A at or below {most}") == "breached"
    assert support.verdict(FUNCTIONS, "device_rating_max(185 A, 1.3, 1.45) equals 185 A") == "met"


def test_the_instant_trip_of_a_breaker_on_dc_neither_holds_nor_acts_for_sure_in_its_band() -> None:
    low, high = "magnetic_trip_current(63 A, 5, 1)", "magnetic_trip_current(63 A, 10, 1.4)"
    assert support.verdict(FUNCTIONS, f"280 A below {low}") == "met"
    assert support.verdict(FUNCTIONS, f"640 A at or above {high}") == "breached"


@pytest.mark.parametrize(
    ("tolerance", "limit", "expected"),
    [
        ("5 %", "1 s", "met"),
        ("5 %", "0.6 s", "marginal"),
        ("5 %", "0.4 s", "breached"),
        ("40 %", "1 h", "marginal"),
    ],
)
def test_tolerances_pass_through_up_to_a_fuse_that_may_never_melt(tolerance: str, limit: str, expected: str) -> None:
    """At 240.8 A: 0.512 s to 0.701 s for five percent of the least current; 253.75 A is above what flows."""
    body = f"fuses: {{hut: {{minimum_fusing_current: 181.25 A ± {tolerance}, thermal_time_constant: 0.715339 s}}}}"
    time = "melting_time(240.833 A, f.minimum_fusing_current, f.thermal_time_constant)"
    assert support.verdict(FUNCTIONS, f"{time} at most {limit}", body, "each fuse f") == expected
