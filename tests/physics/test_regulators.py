"""Steps of regulators, against quadrature with many digits, complex roots, and currents followed in tiny steps."""

from __future__ import annotations

import math
from fractions import Fraction

import mpmath
import pytest
from attrs import evolve
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from mpmath import mpf

from limitrules.engine.survey import Survey
from limitrules.foundation.source import Source
from limitrules.language.functions import STANDARD, Bounds, Direction, Function, refute
from limitrules.physics import regulators
from limitrules.physics.regulators import charge_above, damped_peak, damped_time_above, settling_time, time_above
from limitrules.rules.findings import Finding
from limitrules.rules.rulepack import check_drafts, parse_draft
from tests.rules.support import document, rule, system

BY_NAME = {item.name: item for item in regulators.FUNCTIONS}
EACH = pytest.mark.parametrize("function", regulators.FUNCTIONS, ids=lambda item: item.name)
WIDE = {
    "start": (-50.0, 250.0), "end": (-50.0, 250.0), "threshold": (-50.0, 250.0), "dead_time": (0.0, 3.0),
    "time_constant": (0.0, 4.0), "slew": (1.0, 200.0), "step": (0.0, 200.0), "band": (0.0, 50.0),
    "natural_period": (0.5, 6.0), "damping": (0.05, 3.0),
}  # fmt: skip
NARROW = {
    **WIDE, "start": (250.0, 270.0), "end": (160.0, 175.0), "threshold": (195.0, 210.0), "dead_time": (1.0, 1.5),
    "time_constant": (1.5, 2.2), "slew": (35.0, 60.0), "step": (80.0, 95.0), "band": (2.0, 9.0),
    "natural_period": (2.0, 3.0), "damping": (0.2, 0.8),
}  # fmt: skip
RINGING = {**NARROW, "threshold": (177.0, 182.0), "damping": (0.05, 0.3)}
UPWARDS = {**RINGING, "start": (80.0, 95.0)}
DAMPED = ("damped_time_above", "damped_time_below")


def mirrored(samples: dict[str, Bounds]) -> dict[str, Bounds]:
    return {
        name: (-high, -low) if name in ("start", "end", "threshold") else (low, high)
        for name, (low, high) in samples.items()
    }


def point(function: Function, values: list[float]) -> Bounds:
    assert function.point is not None
    return function.point(*values)


CURRENTS = st.floats(-300, 300)
DELAYS = st.floats(0, 10)
CONSTANTS = st.floats(1e-3, 10)
SLEWS = st.floats(0.1, 1e4)


def by_quadrature(
    start: float, end: float, threshold: float, dead: float, constant: float, slew: float
) -> tuple[mpf, mpf]:
    """Time and charge as integrals of one over the rate, taken over the current instead of over time."""
    low, high, final, tau, limit = map(mpf, (threshold, start, end, constant, slew))
    knee = min(max(final + tau * limit, low), high)
    # Each part at most four times as far from the end as it begins, since the rate nears zero there.
    marks = [low]
    while final + 4 * (marks[-1] - final) < knee:
        marks.append(final + 4 * (marks[-1] - final))
    time, charge = mpf(dead), mpf(dead) * (high - low)
    for part in ([*marks, knee], [knee, high]):
        time += mpmath.quad(lambda current: 1 / min(limit, (current - final) / tau), part)
        charge += mpmath.quad(lambda current: (current - low) / min(limit, (current - final) / tau), part)
    return time, charge


@settings(max_examples=25)
@given(CURRENTS, CURRENTS, CURRENTS, DELAYS, CONSTANTS, SLEWS)
def test_time_and_charge_are_those_of_the_integrals(
    a: float, b: float, c: float, dead: float, constant: float, slew: float
) -> None:
    end, threshold, start = sorted((a, b, c))
    assume(threshold - end > 1e-6 and start > threshold)
    with mpmath.workdps(30):
        time, charge = by_quadrature(start, end, threshold, dead, constant, slew)
        room = mpf(10) ** -22
        low, high = time_above(start, end, threshold, dead, constant, slew)
        assert low - room * time <= time <= high + room * time
        assert high - low <= 1e-13 * high + 1e-29 * constant
        low, high = charge_above(start, end, threshold, dead, constant, slew)
        assert low - room * (start - end) * time <= charge <= high + room * (start - end) * time


def followed(
    start: float, end: float, threshold: float, dead: float, constant: float, slew: float
) -> tuple[float, float]:
    """Time and charge above a threshold, in explicit steps of a 20000th of a second with a half step ahead."""
    step, current, clock, charge = 5e-5, start, dead, (start - threshold) * dead

    def rate(value: float) -> float:
        return max(-slew, min(slew, (end - value) / constant))

    while current > threshold:
        half = current + 0.5 * step * rate(current)
        charge += step * max(0.0, half - threshold)
        current += step * rate(half)
        clock += step
    return clock, charge


# Step 88.4389 A: straight down to 76.5 A above the end, then bent. A third of it is never straight.
STEP = 6900 / (0.94 * 83.0)


@pytest.mark.parametrize(
    ("start", "end", "threshold", "dead", "constant", "slew", "time"),
    [
        (171 + STEP, 171, 205, 1.1, 1.7, 45.0, 2.74389),
        (171 * 1.015 + STEP, 171 * 1.015, 205 * 0.97, 1.43, 2.04, 38.25, 4.00097),
        (171 + 0.3 * STEP, 171, 171 + 0.3 * 34, 1.1, 1.7, 45.0, None),
        (171 + STEP, 171, 250, 1.1, 1.7, 45.0, None),
        (171 + STEP, 171, 175, 1.1, 1.7, 1e4, None),
    ],
)
def test_worked_examples_in_tiny_steps(
    start: float, end: float, threshold: float, dead: float, constant: float, slew: float, time: float | None
) -> None:
    clock, charge = followed(start, end, threshold, dead, constant, slew)
    found = time_above(start, end, threshold, dead, constant, slew)[0]
    assert found == pytest.approx(clock, abs=2e-4)
    assert time is None or found == pytest.approx(time, abs=2e-5)
    assert charge_above(start, end, threshold, dead, constant, slew)[0] == pytest.approx(charge, rel=1e-3)
    down = [-start, -end, -threshold, dead, constant, slew]
    assert point(BY_NAME["time_below"], down)[0] == found
    assert point(BY_NAME["charge_below"], down) == charge_above(start, end, threshold, dead, constant, slew)


def test_the_charge_above_the_end_of_a_step() -> None:
    assert charge_above(171 + STEP, 171, 171, 1.1, 1.7, 45.0)[0] == pytest.approx(249.213, abs=1e-3)


def test_a_test_with_a_third_of_the_step_does_not_show_the_slew_limit() -> None:
    """Without a slew limit both take equally long; with one, the whole step takes longer by what is straight."""
    whole, part = [
        [time_above(171 + k * STEP, 171, 171 + k * 34, 1.1, 1.7, slew)[0] for slew in (1e9, 30.0)] for k in (1.0, 0.3)
    ]
    assert whole[0] == pytest.approx(part[0])
    assert part[1] == part[0] == pytest.approx(1.1 + 1.7 * math.log(STEP / 34))
    assert whole[1] == pytest.approx(1.1 + (STEP - 51) / 30 + 1.7 * math.log(51 / 34))
    assert whole[1] > part[1] + 0.3


def test_upwards_and_at_the_threshold() -> None:
    shape = (1.0, 2.0, 50.0)
    assert time_above(100, 60, 100, *shape) == (0.0, 0.0)  # at the threshold is not above it
    assert time_above(60, 100, 100, *shape) == (0.0, 0.0)
    assert time_above(60, 100, 90, *shape) == (math.inf, math.inf)  # it ends above
    assert time_above(100, 60, 60, *shape) == (math.inf, math.inf)  # it nears the threshold for ever
    assert charge_above(60, 100, 90, *shape) == (math.inf, math.inf)
    assert point(BY_NAME["time_below"], [60, 100, 90, *shape])[0] == pytest.approx(1 + 2 * math.log(4))
    assert point(BY_NAME["time_below"], [100, 60, 60, *shape]) == (0.0, 0.0)
    # Without a time constant it is straight to the end, and gets there.
    assert time_above(100, 60, 60, 1.0, 0.0, 50.0)[0] == pytest.approx(1.8)
    assert charge_above(100, 60, 60, 1.0, 0.0, 50.0)[0] == pytest.approx(40 + 16)


@given(st.floats(0, 300), st.floats(1e-6, 300), DELAYS, CONSTANTS, SLEWS)
def test_it_has_settled_when_it_is_no_more_above_the_band(
    step: float, band: float, dead: float, constant: float, slew: float
) -> None:
    assert settling_time(step, band, dead, constant, slew) == time_above(step, 0.0, band, dead, constant, slew)


def test_settling_by_the_book() -> None:
    assert settling_time(88.44, 0.02 * 88.44, 1.1, 1.7, 1e9)[0] == pytest.approx(1.1 + 1.7 * math.log(50))
    assert settling_time(88.44, 0.02 * 88.44, 1.1, 0.0, 45.0)[0] == pytest.approx(1.1 + 0.98 * 88.44 / 45)


@given(st.data())
def test_what_is_straight_is_exact(data: st.DataObject) -> None:
    whole = st.integers(1, 1000)
    rest, over, dead, tenths = (data.draw(whole) for _ in range(4))
    slew = Fraction(data.draw(st.integers(1, 100)), 7)
    constant = Fraction(rest) / slew * Fraction(tenths, 1000)
    found = BY_NAME["time_above"].at(Fraction(rest + over), Fraction(0), Fraction(rest), Fraction(dead), constant, slew)
    assert found == (dead + over / slew, dead + over / slew)


@given(CURRENTS, CURRENTS, CURRENTS, DELAYS, st.floats(0, 10), SLEWS)
def test_exact_enclosures_meet_those_of_floats(
    start: float, end: float, threshold: float, dead: float, constant: float, slew: float
) -> None:
    values = (start, end, threshold, dead, constant, slew)
    found = BY_NAME["time_above"].at(*map(Fraction, values))
    low, high = time_above(*values)
    assert found is not None
    assert found[0] <= high
    assert found[1] >= low
    assert found[0] == found[1] or found[1] - found[0] <= 1e-13 * found[1]


def free_response(x: float, damping: float) -> mpf:
    """From both roots of s^2 + 2 damping s + 1, real or not, far enough apart for 60 digits."""
    with mpmath.workdps(60):
        z = mpf(damping)
        root = mpmath.sqrt(mpmath.mpc(z * z - 1))
        if root == 0:
            return (1 + x) * mpmath.exp(-mpf(x))
        a, b = -z + root, -z - root
        return ((a * mpmath.exp(b * x) - b * mpmath.exp(a * x)) / (a - b)).real


DAMPINGS = st.one_of(st.floats(0.05, 2.0), st.sampled_from([0.999999, 1.0, 1.000001, 30.0]))


@settings(max_examples=60)
@given(st.floats(0.01, 0.99), st.sampled_from([-1, 1]), DAMPINGS)
def test_the_last_crossing_of_a_second_order(ratio: float, way: int, damping: float) -> None:
    """Just before the time it is above, and after it never: its extremes, and a fine comb, stay below."""
    low, high = damped_time_above(100.0 * way, 0.0, 100.0 * ratio, 0.0, 2 * math.pi, damping)
    assert high - low <= 1e-7 * (1.0 + high)

    def above(x: float) -> bool:
        return bool(way * free_response(x, damping) > ratio * (1 + 1e-13))

    if low > 0.0:
        assert way * free_response(low * (1 - 1e-12), damping) > ratio * (1 - 1e-13)
    comb = [high * (1 + 1e-9) + 1e-9 + 0.05 * step for step in range(200)]
    if damping < 1.0:
        root = math.sqrt(1 - damping**2)
        comb += [place for place in (k * math.pi / root for k in range(60)) if place > high]
    assert not any(above(x) for x in comb)


def swung(start: float, end: float, threshold: float, dead: float, period: float, damping: float) -> tuple[float, ...]:
    """Last time above the threshold, highest and lowest current, in explicit steps with a half step ahead."""
    step, omega = 1e-4, 2 * math.pi / period
    current, speed, clock, last, highest, lowest = start, 0.0, 0.0, 0.0, start, start
    while clock < 8 * period:
        force = omega * omega * (end - current) - 2 * damping * omega * speed
        half, quick = current + 0.5 * step * speed, speed + 0.5 * step * force
        current += step * quick
        speed += step * (omega * omega * (end - half) - 2 * damping * omega * quick)
        clock += step
        highest, lowest = max(highest, current), min(lowest, current)
        if current > threshold:
            last = clock
    return dead + last if last or start > threshold else 0.0, highest, lowest


@pytest.mark.parametrize(
    ("start", "threshold", "damping", "time"),
    [
        (171 + 88.4, 205, 0.35, 1.73),  # down once
        (171 + 88.4, 178, 0.35, None),  # and up again: the second swing reaches 8.45 A above the end
        (171 + 88.4, 205, 1.4, None),
        (171 - 88.4, 190, 0.35, None),  # upwards, over the end
        (171 - 88.4, 190, 1.0, 0.0),
    ],
)
def test_second_orders_in_tiny_steps(start: float, threshold: float, damping: float, time: float | None) -> None:
    values = (start, 171.0, threshold, 1.1, 2 * math.pi / 2.2, damping)
    last, highest, lowest = swung(*values)
    low = damped_time_above(*values)[0]
    assert low == pytest.approx(last, abs=5e-4)
    assert time is None or low == pytest.approx(time, abs=5e-3)
    assert damped_peak(start, 171.0, damping)[1] == pytest.approx(highest, abs=1e-3)
    assert point(BY_NAME["damped_trough"], [start, 171.0, damping])[0] == pytest.approx(lowest, abs=1e-3)


def test_the_undershoot_and_the_second_swing_of_the_worked_example() -> None:
    lowest = point(BY_NAME["damped_trough"], [171 + 88.4, 171.0, 0.35])[0]
    assert 171 - lowest == pytest.approx(27.3, abs=0.05)
    assert damped_peak(lowest, 171.0, 0.35)[0] - 171 == pytest.approx(8.45, abs=0.005)


def test_a_second_order_at_its_threshold() -> None:
    shape = (1.0, 3.0)
    assert damped_time_above(100, 60, 60, *shape, 0.5) == (math.inf, math.inf)
    assert damped_time_above(60, 100, 100, *shape, 0.5) == (math.inf, math.inf)
    assert damped_time_above(60, 100, 100, *shape, 1.0) == (0.0, 0.0)
    assert damped_time_above(60, 60, 60, *shape, 0.5) == (0.0, 0.0)
    assert damped_time_above(60, 100, 90, *shape, 0.5) == (math.inf, math.inf)
    # A threshold all but at the end is bounded from below, by the time to one further away.
    low, high = damped_time_above(60, 0, 1e-300, *shape, 0.5)
    assert damped_time_above(60, 0, 1e-270, *shape, 0.5)[1] < low < high == math.inf


@EACH
@pytest.mark.parametrize("samples", [WIDE, NARROW, RINGING, UPWARDS], ids=["wide", "narrow", "ringing", "upwards"])
def test_what_it_promises_is_not_refuted(function: Function, samples: dict[str, Bounds]) -> None:
    tries = 60 if function.name in DAMPED else 2000
    below = "below" in function.name or "trough" in function.name
    assert refute(function, mirrored(samples) if below else samples, tries=tries) is None


@EACH
def test_a_wrong_direction_would_be_refuted(function: Function) -> None:
    below = "below" in function.name or "trough" in function.name
    for place, item in enumerate(function.arguments):
        if item.direction is Direction.NEITHER:
            continue
        turned = Direction.FALLS if item.direction is Direction.RISES else Direction.RISES
        arguments = (*function.arguments[:place], evolve(item, direction=turned), *function.arguments[place + 1 :])
        # On the way up the peak depends on the damping; on the way down a time on all it takes.
        samples = UPWARDS if function.name in ("damped_peak", "damped_trough") else NARROW
        found = refute(evolve(function, arguments=arguments), mirrored(samples) if below else samples, tries=50)
        assert found is not None


@EACH
@settings(max_examples=40)
@given(st.data())
def test_no_point_of_a_box_lies_outside_its_enclosure(function: Function, data: st.DataObject) -> None:
    samples = data.draw(st.sampled_from([WIDE, mirrored(RINGING), RINGING, UPWARDS]))
    ends = [[data.draw(st.floats(*samples[item.name])) for item in function.arguments] for _ in range(2)]
    box = [(min(pair), max(pair)) for pair in zip(*ends, strict=True)]
    inside = [data.draw(st.floats(low, high)) for low, high in box]
    low, high = function.interval(*box)
    found = point(function, inside)
    assert low <= found[1]
    assert found[0] <= high


def test_an_enclosure_of_a_second_order_is_met_at_its_corners() -> None:
    box = [(255.0, 262.0), (168.0, 174.0), (198.0, 210.0), (1.0, 1.4), (2.5, 3.0), (0.25, 0.4)]
    low = damped_time_above(255.0, 168.0, 210.0, 1.0, 2.5, 0.25)[0]
    high = damped_time_above(262.0, 174.0, 198.0, 1.4, 3.0, 0.4)[1]
    assert BY_NAME["damped_time_above"].interval(*box) == pytest.approx((low, high), rel=1e-12)


@pytest.mark.parametrize("name", [item.name for item in regulators.FUNCTIONS if "peak" not in item.name])
def test_outside_its_range_it_has_no_value(name: str) -> None:
    function = BY_NAME[name]
    good = {**dict.fromkeys(WIDE, Fraction(1)), "start": Fraction(3), "threshold": Fraction(2)}
    if "below" in name:
        good |= {"start": Fraction(1), "end": Fraction(3)}
    values = [good[item.name] for item in function.arguments]
    assert function.at(*values) is not None
    for place, item in enumerate(function.arguments):
        if item.low >= 0.0:
            changed = [*values[:place], Fraction(-1), *values[place + 1 :]]
            assert function.at(*changed) is None
        if item.name in ("slew", "natural_period"):
            assert function.at(*[*values[:place], Fraction(0), *values[place + 1 :]]) is None
            assert function.interval(*[(float(each), float(each)) for each in values[:place]], (0.0, 1.0),
                                     *[(float(each), float(each)) for each in values[place + 1 :]]) == (
                -math.inf, math.inf)  # fmt: skip
    with pytest.raises(ValueError, match="not negative"):
        time_above(3.0, 1.0, 2.0, 1.0, 1.0, 0.0)


BODY = """
packs:
  north:
    charge: {ceiling: 171 A ± 1.5 %}
    protection:
      charge_current: {threshold: 205 A ± 3 %, delay: 3.2 s ± 5 %}
converters:
  main:
    feeds: [north]
    regulator: {dead_time: 1.1 s .. 1.43 s, time_constant: 1.7 s .. 2.04 s, slew: 38.25 A/s .. 45 A/s}
"""
OVERSHOOT = math.exp(-math.pi * 0.35 / math.sqrt(1 - 0.35**2))
TIME = "time_above(i + s, i, x.threshold, g.dead_time, g.time_constant, g.slew)"


def found(require: str, body: str = BODY) -> Finding:
    let = "let: {x: p.protection.charge_current, i: p.charge.ceiling, s: 6900 W / (0.94 * 83 V)}"
    require = require.replace("g.", "c.regulator.")
    text = document("rules:\n") + rule("each converter c, each pack p in c.feeds", require, let)
    packs = check_drafts([parse_draft(Source("rulepack.yaml", text))], STANDARD.extended(regulators.FUNCTIONS))
    (finding,) = Survey(system(body), packs).result().findings
    return finding


@pytest.mark.parametrize(
    ("require", "verdict", "worst"),
    [
        (f"{TIME} shorter than x.delay", "marginal", 3.04 - 4.00097),
        (f"{TIME} shorter than 5 s", "met", 5 - 4.00097),
        (f"{TIME} shorter than i / 40 A * 1 s", "met", 173.565 / 40 - 4.00097),
        (f"{TIME.replace('time', 'charge', 1)} below 300 A * 1 s", "met", None),
        ("time_below(0 A, i, 100 A, g.dead_time, g.time_constant, g.slew) shorter than 5 s", "met", None),
        ("charge_below(0 A, i, 100 A, g.dead_time, g.time_constant, g.slew) below 300 A * 1 s", "met", None),
        ("settling_time(s, 5 A, g.dead_time, g.time_constant, g.slew) shorter than 7 s", "marginal", None),
        ("damped_time_above(i + s, i, x.threshold, g.dead_time, 2.86 s, 35 %) shorter than x.delay", "met", None),
        ("damped_time_below(0 A, i, 100 A, g.dead_time, 2.86 s, 1.2) shorter than x.delay", "met", None),
        ("damped_peak(50 A, i, 0.35) below 200 A", "breached", 200 - 173.565 - 123.565 * OVERSHOOT),
        ("damped_trough(i + s, i, 0.35) above 140 A", "met", 168.435 - STEP * OVERSHOOT - 140),
    ],
)
def test_a_rule_may_call_it(require: str, verdict: str, worst: float | None) -> None:
    finding = found(require)
    assert finding.verdict.value == verdict
    assert finding.headroom is not None
    assert finding.headroom.tight
    if worst is not None:
        assert finding.headroom.worst is not None
        assert float(finding.headroom.worst) == pytest.approx(worst, abs=1e-4)


@pytest.mark.parametrize("slew", [", slew: 0 A/s", "", ", slew: unknown"])
def test_without_a_slew_it_is_undetermined(slew: str) -> None:
    body = BODY.replace(", slew: 38.25 A/s .. 45 A/s", slew)
    assert found(f"{TIME} shorter than 5 s", body).verdict.value == "undetermined"


def test_a_slew_that_may_be_all_but_zero_breaches_somewhere() -> None:
    body = BODY.replace("38.25 A/s .. 45 A/s", "1 mA/s .. 45 A/s")
    assert found(f"{TIME} shorter than 5 s", body).verdict.value == "marginal"
