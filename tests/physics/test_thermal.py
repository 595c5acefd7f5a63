"""Heating of one body, against stepping through time, quadrature, and sampling; derating factors."""

from __future__ import annotations

import math
import random
from fractions import Fraction

import mpmath
import pytest
from attrs import evolve
from hypothesis import assume, given
from hypothesis import strategies as st

from limitrules.engine.survey import Survey
from limitrules.foundation.source import Source
from limitrules.language.functions import Bounds, Direction, refute
from limitrules.physics import FUNCTIONS, thermal
from limitrules.physics.thermal import combined_derating, heating_time, temperature_after, warm_up_time
from limitrules.rules.rulepack import check_drafts, parse_draft
from tests.rules.support import document, rule, system

MINE = {item.name: item for item in thermal.FUNCTIONS}
REGISTRY = FUNCTIONS.extended(item for item in thermal.FUNCTIONS if item.name not in FUNCTIONS)
KELVIN = st.floats(200, 400)
POWER = st.floats(0, 500)
RESISTANCE = st.floats(0.01, 20)
CAPACITY = st.floats(1, 1e5)
ZERO = 273.15


def stepped(start: float, ambient: float, power: float, loss: float, capacity: float, time: float) -> float:
    """The temperature by Runge and Kutta's steps through C dT/dt = P - U (T - T_a)."""
    count = 400
    step, now = time / count, start

    def slope(at: float) -> float:
        return (power - loss * (at - ambient)) / capacity

    for _ in range(count):
        one = slope(now)
        two = slope(now + step / 2 * one)
        three = slope(now + step / 2 * two)
        now += step / 6 * (one + 2 * two + 2 * three + slope(now + step * three))
    return now


@given(KELVIN, KELVIN, POWER, RESISTANCE, CAPACITY, st.floats(0, 5))
def test_the_temperature_is_what_stepping_gives(
    start: float, ambient: float, power: float, resistance: float, capacity: float, ages: float
) -> None:
    time = ages * resistance * capacity
    low, high = temperature_after(start, ambient, power, resistance, capacity, time)
    assert low <= high <= low * (1 + 1e-12) + 1e-12 * power * resistance
    found = stepped(start, ambient, power, 1 / resistance, capacity, time)
    assert (low + high) / 2 == pytest.approx(found, rel=1e-8)


@given(KELVIN, KELVIN, POWER, RESISTANCE, CAPACITY, st.floats(0, 50))
def test_the_enclosure_holds_the_temperature(
    start: float, ambient: float, power: float, resistance: float, capacity: float, ages: float
) -> None:
    time = ages * resistance * capacity
    low, high = temperature_after(start, ambient, power, resistance, capacity, time)
    with mpmath.workdps(60):
        t0, ta, p, r, c, t = map(mpmath.mpf, (start, ambient, power, resistance, capacity, time))
        left = mpmath.exp(-t / (r * c))
        assert low <= ta + p * r * (1 - left) + (t0 - ta) * left <= high


def integral(start: float, target: float, ambient: float, power: float, loss: float, capacity: float) -> mpmath.mpf:
    """The time as the integral of C / (P - U (T - T_a)) over the temperature."""
    with mpmath.workdps(40):
        t0, t1, ta, p, u, c = map(mpmath.mpf, (start, target, ambient, power, loss, capacity))
        return mpmath.quad(lambda t: c / (p - u * (t - ta)), mpmath.linspace(t0, t1, 9))


@given(KELVIN, KELVIN, KELVIN, st.floats(1, 500), st.floats(0, 3), CAPACITY)
def test_the_time_to_warm_up_is_the_integral(
    start: float, target: float, ambient: float, power: float, loss: float, capacity: float
) -> None:
    low, high = warm_up_time(start, target, ambient, power, loss, capacity)
    if target <= start:
        assert (low, high) == (0.0, 0.0)
        return
    left = Fraction(power) - Fraction(loss) * (Fraction(target) - Fraction(ambient))
    if left <= 0:
        assert (low, high) == (math.inf, math.inf)
        return
    assume(left > 0.01 * power)
    found = integral(start, target, ambient, power, loss, capacity)
    assert float(found) == pytest.approx((low + high) / 2, rel=1e-9)
    assert high - low <= 3e-14 * high
    with mpmath.workdps(60):
        gap = mpmath.mpf(target) - mpmath.mpf(start)
        rest = mpmath.mpf(power) - mpmath.mpf(loss) * (mpmath.mpf(target) - mpmath.mpf(ambient))
        z = mpmath.mpf(loss) * gap / rest
        assert low <= mpmath.mpf(capacity) * gap / rest * (mpmath.log1p(z) / z if z else 1) <= high


@given(KELVIN, KELVIN, KELVIN, POWER, RESISTANCE, CAPACITY)
def test_heating_undoes_what_the_temperature_says(
    start: float, target: float, ambient: float, power: float, resistance: float, capacity: float
) -> None:
    low, high = heating_time(start, target, ambient, power, resistance, capacity)
    assume(start + 0.1 < target < ambient + 0.98 * power * resistance)
    after = temperature_after(start, ambient, power, resistance, capacity, (low + high) / 2)
    assert after[0] == pytest.approx(target, rel=1e-9)


def test_worked_limiter() -> None:
    ambient, limit = ZERO + 35, ZERO + 105
    steady = temperature_after(ambient, ambient, 45.372, 1.35, 310.0, 1e6)
    assert steady[0] - ZERO == pytest.approx(96.2522, abs=1e-4)
    assert heating_time(ambient, limit, ambient, 45.372, 1.35, 310.0) == (math.inf, math.inf)
    assert temperature_after(ambient, ambient, 114.0, 1.35, 310.0, 1e6)[0] - ZERO == pytest.approx(188.9, abs=1e-3)
    found = heating_time(ambient, limit, ambient, 114.0, 1.35, 310.0)
    assert found[0] == pytest.approx(253.895, abs=6e-4)


def test_a_start_below_the_ambient_is_helped_by_it() -> None:
    cold, target, warm = ZERO - 20, ZERO + 5, ZERO + 15
    assert warm_up_time(cold, target, warm, 200.0, 6.0, 3e5)[1] < warm_up_time(cold, target, warm, 200.0, 0.0, 3e5)[0]
    assert warm_up_time(cold, target, warm, 0.0, 6.0, 3e5)[1] < math.inf


WIDE = {
    "start": (230.0, 400.0), "target": (230.0, 400.0), "ambient": (230.0, 400.0), "power": (0.0, 500.0),
    "thermal_resistance": (0.05, 10.0), "loss": (0.0, 4.0), "heat_capacity": (10.0, 1e4), "time": (0.0, 3e4),
    "first": (0.0, 1.0), "second": (0.0, 1.0),
}  # fmt: skip
NARROW = {
    "start": (263.0, 265.0), "target": (300.0, 301.0), "ambient": (262.0, 266.0), "power": (90.0, 95.0),
    "thermal_resistance": (0.8, 0.82), "loss": (1.1, 1.15), "heat_capacity": (900.0, 950.0), "time": (200.0, 230.0),
    "first": (0.5, 0.52), "second": (0.5, 0.52),
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(MINE))
def test_promises_are_not_refuted(name: str) -> None:
    assert refute(MINE[name], WIDE, tries=2000) is None
    assert refute(MINE[name], NARROW, tries=2000) is None


@pytest.mark.parametrize("name", sorted(MINE))
def test_wrong_promises_would_be_refuted(name: str) -> None:
    turned = {Direction.RISES: Direction.FALLS, Direction.FALLS: Direction.RISES, Direction.NEITHER: Direction.RISES}
    for at in range(len(MINE[name].arguments)):
        arguments = [
            evolve(item, direction=turned[item.direction]) if at == place else item
            for place, item in enumerate(MINE[name].arguments)
        ]
        wrong = evolve(MINE[name], arguments=tuple(arguments), enclose=None, slopes=None)
        assert refute(wrong, WIDE, tries=2000) is not None


def test_wrong_slopes_would_be_refuted() -> None:
    function = MINE["temperature_after"]

    def half(*pairs: Bounds) -> tuple[Bounds, ...]:
        assert function.slopes is not None
        return tuple((low / 2, high / 2) for low, high in function.slopes(*pairs))

    assert refute(evolve(function, slopes=half), NARROW, tries=200) is not None


def boxes(name: str, seed: int, count: int, warm: bool) -> list[list[Bounds]]:
    """Random boxes; ``warm`` ones have the start nowhere below the ambient."""
    generator = random.Random(seed)
    found: list[list[Bounds]] = []
    while len(found) < count:
        box = []
        for item in MINE[name].arguments:
            low, high = WIDE[item.name]
            at = generator.uniform(low, high)
            box.append((at, min(high, at + (high - low) * generator.choice([0.0, 0.05, 0.3]) * generator.random())))
        at = [item.name for item in MINE[name].arguments].index("ambient")
        if not warm or box[0][0] >= box[at][1]:
            found.append(box)
    return found


@pytest.mark.parametrize("name", ["temperature_after", "heating_time", "warm_up_time"])
@pytest.mark.parametrize("warm", [False, True])
def test_no_sample_of_a_box_leaves_its_enclosure_and_warm_ones_are_reached(name: str, warm: bool) -> None:
    generator, function = random.Random(5), MINE[name]
    assert function.point is not None
    for box in boxes(name, 7, 120, warm):
        low, high = function.interval(*box)
        ends = [function.point(*[generator.choice(pair) for pair in box]) for _ in range(60)]
        inside = [function.point(*[generator.uniform(*pair) for pair in box]) for _ in range(30)]
        for found in ends + inside:
            assert low <= found[1]
            assert found[0] <= high
        corners = [function.point(*row) for row in every_corner(box)]
        if warm:
            assert low == pytest.approx(min(end for end, _ in corners), rel=1e-12)
            assert high == pytest.approx(max(end for _, end in corners), rel=1e-12)


def every_corner(box: list[Bounds]) -> list[list[float]]:
    found: list[list[float]] = [[]]
    for pair in box:
        found = [[*row, end] for row in found for end in sorted(set(pair))]
    return found


@pytest.mark.parametrize("name", sorted(MINE))
def test_outside_the_range_there_is_no_value(name: str) -> None:
    for at in range(len(MINE[name].arguments)):
        values = [Fraction(1)] * len(MINE[name].arguments)
        assert MINE[name].at(*values) is not None
        values[at] = Fraction(-1, 1000)
        assert MINE[name].at(*values) is None
        assert MINE[name].interval(*[(float(x), 1.0) for x in values]) == (-math.inf, math.inf)


FACTORS = st.integers(0, 100).map(lambda n: Fraction(n, 100))


@given(st.lists(FACTORS, min_size=1, max_size=5))
def test_the_product_law_is_never_above_the_lowest(factors: list[Fraction]) -> None:
    product, lowest = combined_derating(factors)
    assert product <= lowest == sorted(factors)[0]
    expected = Fraction(1)
    for item in factors:
        expected *= item
    assert product == expected


def test_worked_derating() -> None:
    """The record of a pack: 168 A, cold 0.276, nearly full 0.683333, less a buffer of 4 %."""
    product, lowest = combined_derating([Fraction("0.276"), Fraction("0.683333")])
    assert float(168 * lowest * Fraction("0.96")) == pytest.approx(44.5133, abs=1e-4)
    assert float(168 * product * Fraction("0.96")) == pytest.approx(30.4174, abs=1e-4)


@pytest.mark.parametrize("factors", [[], [Fraction(11, 10)], [Fraction(1), Fraction(-1, 10)]])
def test_what_is_no_factor_is_refused(factors: list[Fraction]) -> None:
    with pytest.raises(ValueError, match="expected one or more factors from 0 to 1"):
        combined_derating(factors)


PACK = """
packs:
  n:
    limiter: {thermal_resistance: 1.35 K/W ± 5 %, heat_capacity: 310 J/K ± 10 %, temperature_max: 105 degC}
    heater: {power: 400 W ± 5 %}
    temperature: {min: -12 degC ± 1 K}
    thermal: {resistance: 0.2 K/W ± 20 %, heat_capacity: 260000 J/K ± 10 %}
"""
R, C = "p.limiter.thermal_resistance", "p.limiter.heat_capacity"
WARMTH = "p.heater.power, 1 / p.thermal.resistance, p.thermal.heat_capacity"


@pytest.mark.parametrize(
    ("require", "verdict"),
    [
        (f"temperature_after(35 degC, 35 degC, 45.4 W, {R}, {C}, 1 h) at or below p.limiter.temperature_max", "met"),
        (f"temperature_after(35 degC, 35 degC, 114 W, {R}, {C}, 260 s) colder than 105 degC", "marginal"),
        (f"temperature_after(35 degC, 35 degC, 114 W, {R}, {C}, 600 s) colder than 105 degC", "breached"),
        (f"heating_time(35 degC, p.limiter.temperature_max, 35 degC, 114 W, {R}, {C}) at least 200 s", "met"),
        (f"heating_time(35 degC, p.limiter.temperature_max, 35 degC, 45.4 W, {R}, {C}) at least 9000 h", "met"),
        (f"warm_up_time(p.temperature.min, 5 degC, -15 degC, {WARMTH}) at most 5 h", "met"),
        (f"warm_up_time(p.temperature.min, 5 degC, -15 degC, {WARMTH}) at most 2 h", "breached"),
        ("derated_by_lowest(27.6 %, 68.3 %) equals 27.6 %", "met"),
        ("derated_by_product(50 %, 20 %) equals 10 %", "met"),
        ("derated_by_product(150 %, 20 %) equals 30 %", "undetermined"),
    ],
)  # fmt: skip
def test_rules_can_call_them(require: str, verdict: str) -> None:
    text = document("rules:\n") + rule("each pack p", require)
    rulepacks = check_drafts([parse_draft(Source("r.yaml", text))], REGISTRY)
    (found,) = Survey(system(PACK), rulepacks).result().findings
    assert found.verdict.value == verdict


def test_slopes_are_enclosed_over_boxes() -> None:
    generator, function = random.Random(6), MINE["temperature_after"]
    for box in boxes("temperature_after", 3, 120, warm=False):
        steep = function.slopes_over(*box)
        for _ in range(20):
            here = [generator.choice([*pair, generator.uniform(*pair)]) for pair in box]
            left = math.exp(-here[5] / (here[3] * here[4]))
            for (low, high), slope in zip(steep, (left, 1 - left, here[3] * (1 - left)), strict=False):
                assert low <= slope + 1e-13
                assert slope - 1e-13 <= high
