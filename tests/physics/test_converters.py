"""Relations of converters, against many digits, circuits stepped through time, and sampling."""

from __future__ import annotations

import cmath
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
from limitrules.physics import FUNCTIONS
from limitrules.physics.converters import current_at_power, ripple_rms, ripple_share, stable_constant_power
from limitrules.rules.rulepack import check_drafts, parse_draft
from tests.rules.support import document, rule, system

CURRENT = FUNCTIONS["current_at_power"]
POWERS = st.floats(1e-3, 1e6)
VOLTAGES = st.floats(1e-2, 1500)
RESISTANCES = st.floats(0, 10)


def exact_current(power: float, voltage: float, resistance: float) -> mpmath.mpf:
    """The smaller root of R I^2 - V I + P = 0, or the current at the largest power there is."""
    with mpmath.workdps(400):
        p, v, r = mpmath.mpf(power), mpmath.mpf(voltage), mpmath.mpf(resistance)
        if r == 0:
            return p / v
        rest = v * v - 4 * r * p
        return (v - mpmath.sqrt(rest)) / (2 * r) if rest >= 0 else v / (2 * r)


@given(POWERS, VOLTAGES, RESISTANCES)
def test_the_enclosure_holds_the_root(power: float, voltage: float, resistance: float) -> None:
    low, high = current_at_power(power, voltage, resistance)
    if low == float("inf"):
        assert 4 * Fraction(resistance) * Fraction(power) > Fraction(voltage) ** 2
        return
    with mpmath.workdps(60):
        current = exact_current(power, voltage, resistance)
        assert low <= current <= high


@given(POWERS, VOLTAGES, RESISTANCES)
def test_the_enclosure_is_narrow_well_inside_what_the_source_can_give(
    power: float, voltage: float, resistance: float
) -> None:
    assume(4 * resistance * power < 0.9 * voltage * voltage)
    low, high = current_at_power(power, voltage, resistance)
    assert high - low <= 1e-13 * high


@given(POWERS, VOLTAGES, st.floats(1e-6, 10))
def test_what_cannot_be_delivered_is_more_than_any_limit(power: float, voltage: float, resistance: float) -> None:
    assume(4 * resistance * power > 1.001 * voltage * voltage)
    low, high = current_at_power(power, voltage, resistance)
    assert (low, high) == (float("inf"), float("inf"))


def test_its_directions_are_not_refuted() -> None:
    wide = {"power": (1.0, 1e5), "rest_voltage": (1.0, 1000.0), "resistance": (0.0, 1.0)}
    narrow = {"power": (1e3, 6e4), "rest_voltage": (350.0, 470.0), "resistance": (0.01, 0.2)}
    assert refute(CURRENT, wide, tries=2000) is None
    assert refute(CURRENT, narrow, tries=2000) is None


def test_a_wrong_direction_would_be_refuted() -> None:
    turned = tuple(evolve(item, direction=Direction.RISES) for item in CURRENT.arguments)
    found = refute(evolve(CURRENT, arguments=turned), {"power": (1e3, 6e4), "rest_voltage": (350.0, 470.0),
                                                       "resistance": (0.01, 0.2)})  # fmt: skip
    assert found is not None
    assert found.argument == "rest_voltage"


@pytest.mark.parametrize(
    ("power", "voltage", "resistance", "current"),
    [
        ("57000/0.955", "397.6", "0.059", 153.617),  # a cold store near its floor
        ("57000/0.955", "397.6", "0.080", 154.95),
        ("3400/0.92", "25.44", "0.0142", 159.463),  # a hut, where nominal voltage would give 144.4 A
    ],
)
def test_worked_examples(power: str, voltage: str, resistance: str, current: float) -> None:
    above, _, below = power.partition("/")
    values = (Fraction(above) / Fraction(below), Fraction(voltage), Fraction(resistance))
    found = CURRENT.at(*values)
    assert found is not None
    assert float(found[0]) == pytest.approx(current, abs=0.006)


F = Fraction
NEW = (
    "dc_power_drawn", "dc_power_charging", "dc_power_with_losses", "efficiency_with_losses", "ripple_peak",
    "ripple_rms", "ripple_share", "apparent_power", "stable_constant_power",
)  # fmt: skip
WIDE = {
    "ac_power": (1.0, 2e4), "efficiency": (0.1, 1.0), "no_load_loss": (0.0, 200.0), "loss_share": (0.0, 0.1),
    "loss_growth": (0.0, 1e-5), "dc_current": (0.0, 300.0), "ripple": (0.0, 1.0), "inductance": (0.0, 5e-5),
    "capacitance": (1e-3, 0.1), "esr": (0.0, 0.05), "frequency": (40.0, 1000.0), "active_power": (-1e4, 1e4),
    "reactive_power": (-1e4, 1e4), "rest_voltage": (0.0, 500.0), "resistance": (1e-3, 0.2),
}  # fmt: skip
NARROW = {name: (low + 0.3 * (high - low), low + 0.33 * (high - low)) for name, (low, high) in WIDE.items()}


def value(name: str, *values: Fraction) -> float:
    found = FUNCTIONS[name].at(*values)
    assert found is not None
    assert found[0] <= found[1]
    assert float(found[1]) == pytest.approx(float(found[0]), rel=1e-12)
    return float(found[0])


@pytest.mark.parametrize("name", NEW)
def test_promises_are_not_refuted(name: str) -> None:
    assert refute(FUNCTIONS[name], WIDE, tries=2000) is None
    assert refute(FUNCTIONS[name], NARROW, tries=2000) is None


@pytest.mark.parametrize("name", NEW)
def test_wrong_promises_would_be_refuted(name: str) -> None:
    turned = {Direction.RISES: Direction.FALLS, Direction.FALLS: Direction.RISES, Direction.NEITHER: Direction.RISES}
    function = FUNCTIONS[name]
    for at in range(len(function.arguments)):
        arguments = list(function.arguments)
        arguments[at] = evolve(arguments[at], direction=turned[arguments[at].direction])
        wrong = evolve(function, arguments=tuple(arguments), enclose=None, slopes=None)
        assert refute(wrong, WIDE, tries=1000) is not None


def boxes(name: str, seed: int, count: int) -> list[list[Bounds]]:
    generator, found = random.Random(seed), []
    for _ in range(count):
        box = []
        for item in FUNCTIONS[name].arguments:
            low, high = WIDE[item.name]
            at = generator.uniform(low, high)
            box.append((at, min(high, at + (high - low) * generator.choice([0.0, 0.03, 0.4]) * generator.random())))
        found.append(box)
    return found


@pytest.mark.parametrize("name", ["efficiency_with_losses", "apparent_power", "stable_constant_power", "ripple_share"])
def test_no_sample_of_a_box_leaves_its_enclosure_and_a_search_comes_near_its_ends(name: str) -> None:
    generator, function = random.Random(5), FUNCTIONS[name]
    assert function.point is not None
    for box in boxes(name, 9, 60):
        if name == "ripple_share":
            # Only then are the reactances of inductance and capacitance independent of each other.
            box[-1] = (box[-1][0], box[-1][0])
        low, high = function.interval(*box)
        lowest, highest = math.inf, -math.inf
        for sign in (1, -1):
            best = [generator.choice(pair) for pair in box]
            score = -math.inf
            for turn in range(400):
                part = 0.5 ** (turn // 25)
                here = [
                    min(max(x + part * generator.uniform(-1, 1) * (b - a), a), b) if turn > 40 else
                    generator.choice([a, b, generator.uniform(a, b)])
                    for x, (a, b) in zip(best, box, strict=True)
                ]  # fmt: skip
                found = function.point(*here)
                assert low <= found[1]
                assert found[0] <= high
                lowest, highest = min(lowest, found[1]), max(highest, found[0])
                if sign * found[0] > score:
                    best, score = here, sign * found[0]
        assert low >= lowest - 2e-3 * max(abs(lowest), 0.05 * highest)
        assert high <= highest * 1.002


@given(st.floats(1, 1e5), st.floats(0, 500), st.floats(0, 0.2), st.floats(0, 1e-4))
def test_efficiency_is_what_comes_out_of_what_goes_in(power: float, fixed: float, share: float, more: float) -> None:
    given_values = [F(x) for x in (power, fixed, share, more)]
    drawn = value("dc_power_with_losses", *given_values)
    assert drawn == pytest.approx(power + fixed + share * power + more * power**2)
    efficiency = value("efficiency_with_losses", *given_values)
    assert efficiency == pytest.approx(power / drawn)
    assert value("dc_power_drawn", F(power), F(efficiency)) == pytest.approx(drawn)
    assert value("dc_power_charging", F(drawn), F(efficiency)) == pytest.approx(power)


@pytest.mark.parametrize(
    ("power", "share"), [(150, 69.3687), (1500, 93.3068), (6500, 95.4255), (14000, 94.8021), ("6224.95", 95.4271)]
)
def test_worked_efficiency(power: str | int, share: float) -> None:
    found = value("efficiency_with_losses", F(power), F(62), F("0.028"), F("0.0000016"))
    assert 100 * found == pytest.approx(share, abs=1e-4)


def test_the_best_efficiency_stands_between_the_ends() -> None:
    box = (1500.0, 14000.0), (62.0, 62.0), (0.028, 0.028), (1.6e-6, 1.6e-6)
    low, high = FUNCTIONS["efficiency_with_losses"].interval(*box)
    assert 100 * low == pytest.approx(93.3068, abs=1e-4)
    assert 100 * high == pytest.approx(95.4271, abs=1e-4)


@given(st.floats(0, 1e4), st.floats(0, 2))
def test_the_ripple_is_that_of_a_sine(mean: float, ripple: float) -> None:
    wave = [mean * (1 + ripple * math.sin(2 * math.pi * at / 360)) for at in range(360)]
    assert value("ripple_peak", F(mean), F(ripple)) == pytest.approx(max(wave))
    low, high = ripple_rms(mean, ripple)
    assert (low + high) / 2 == pytest.approx(math.sqrt(sum(x * x for x in wave) / 360), rel=1e-12)
    with mpmath.workdps(50):
        assert low <= mpmath.mpf(mean) * mpmath.sqrt(1 + mpmath.mpf(ripple) ** 2 / 2) <= high
    found = FUNCTIONS["ripple_rms"].at(F(mean), F(ripple))
    assert found is not None
    assert low <= found[0] <= found[1] <= high


def test_worked_ripple() -> None:
    assert value("ripple_peak", F(141), F("0.3")) == pytest.approx(183.3)
    assert value("ripple_rms", F(141), F("0.3")) == pytest.approx(144.138, abs=6e-4)
    share = value("ripple_share", F("0.0142"), F("0.000011"), F("0.0094"), F("0.004"), F(100))
    assert share == pytest.approx(1.03636, abs=6e-6)
    assert value("ripple_peak", F(141), F("0.3") * F(share)) == pytest.approx(184.838, abs=6e-4)
    assert value("ripple_rms", F(141), F("0.3") * F(share)) == pytest.approx(144.367, abs=6e-4)


@given(st.floats(1e-4, 1), st.floats(0, 1e-3), st.floats(1e-5, 1), st.floats(0, 0.1), st.floats(10, 1e4))
def test_the_ripple_share_is_that_of_the_impedances(
    resistance: float, inductance: float, capacitance: float, esr: float, frequency: float
) -> None:
    low, high = ripple_share(resistance, inductance, capacitance, esr, frequency)
    turn = 2j * math.pi * frequency
    pack, bus = resistance + turn * inductance, esr + 1 / (turn * capacitance)
    near = abs(bus / (pack + bus))
    assert near == pytest.approx((low + high) / 2, rel=1e-9)
    assert cmath.isfinite(bus)
    with mpmath.workdps(50):
        w = mpmath.mpc(0, 2) * mpmath.pi * mpmath.mpf(frequency)
        zb = mpmath.mpf(resistance) + w * mpmath.mpf(inductance)
        zc = mpmath.mpf(esr) + 1 / (w * mpmath.mpf(capacitance))
        assert low <= abs(zc / (zb + zc)) <= high


def test_over_a_range_of_frequencies_the_ripple_share_is_still_enclosed() -> None:
    generator = random.Random(8)
    function = FUNCTIONS["ripple_share"]
    for box in boxes("ripple_share", 4, 60):
        low, high = function.interval(*box)
        for _ in range(60):
            found = ripple_share(*[generator.choice([a, b, generator.uniform(a, b)]) for a, b in box])
            assert low <= found[1]
            assert found[0] <= high


@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6), st.floats(-1e6, 1e6))
def test_the_apparent_power_is_the_root_of_the_squares(active: float, reactive: float, distortion: float) -> None:
    found = FUNCTIONS["apparent_power"].at(F(active), F(reactive))
    assert found is not None
    assert found[0] ** 2 <= F(active) ** 2 + F(reactive) ** 2 <= found[1] ** 2
    assert FUNCTIONS["apparent_power"].point is not None
    low, high = FUNCTIONS["apparent_power"].point(active, reactive)
    assert low <= found[0] <= found[1] <= high
    twice = value("apparent_power", F(found[0]), F(distortion))
    assert twice == pytest.approx(math.hypot(active, reactive, distortion), rel=1e-12, abs=1e-300)


@given(st.integers(100, 9000), st.integers(1, 300), st.integers(0, 300), st.integers(1, 4000))
def test_the_stability_bound_is_where_the_linearised_circuit_turns(volt: int, ohm: int, henry: int, farad: int) -> None:
    """From the operating point found with many digits: trace and determinant of the circuit at the bound."""
    v0, r, ind, cap = F(volt, 10), F(ohm, 1000), F(henry, 10**6), F(farad, 10**4)
    bound = stable_constant_power(v0, r, ind, cap)
    for factor, stable in ((F(999_999, 1_000_000), True), (F(1_000_001, 1_000_000), False)):
        power = bound * factor
        with mpmath.workdps(40):
            rest = v0 * v0 - 4 * r * power
            if rest < 0:
                assert not stable
                continue
            root = mpmath.sqrt(mpmath.mpf(rest.numerator) / rest.denominator)
            volts = (mpmath.mpf(v0.numerator) / v0.denominator + root) / 2
            p, rr, ll, cc = (mpmath.mpf(x.numerator) / x.denominator for x in (power, r, ind, cap))
            damped = p * ll < rr * cc * volts**2 or not ind
            assert (damped and rr < volts**2 / p) == stable


@pytest.mark.parametrize(("inductance", "capacitance"), [(11e-6, 9.4e-3), (11e-6, 2.2e-3), (40e-6, 30e-3)])
def test_swings_die_below_the_bound_and_grow_above_it(inductance: float, capacitance: float) -> None:
    rest, resistance = 25.44, 0.0142
    bound = float(stable_constant_power(F(rest), F(resistance), F(inductance), F(capacitance)))
    for factor, dies in ((0.95, True), (1.05, False)):
        power = bound * factor
        volts = (rest + math.sqrt(rest * rest - 4 * resistance * power)) / 2
        current, step = power / volts, math.sqrt(inductance * capacitance) / 40
        here = (current, volts * 1.0005)

        def slope(at: tuple[float, float], power: float = power) -> tuple[float, float]:
            return (
                (rest - resistance * at[0] - at[1]) / inductance,
                (at[0] - power / at[1]) / capacitance,
            )

        largest = []
        for _ in range(8):
            top = 0.0
            for _ in range(300):
                one = slope(here)
                half = slope((here[0] + step / 2 * one[0], here[1] + step / 2 * one[1]))
                here = here[0] + step * half[0], here[1] + step * half[1]
                top = max(top, abs(here[1] - volts))
            largest.append(top)
        assert (largest[-1] < largest[1]) == dies


def test_worked_stability() -> None:
    """A bus that sags: with the voltage of the operating point the bound is below that at a fixed 24.6 V."""
    ohm, henry = F("0.0142"), F("0.000011")
    assert value("stable_constant_power", F("25.44"), ohm, henry, F("0.0094")) == pytest.approx(5714.4, abs=0.1)
    assert value("stable_constant_power", F("25.44"), ohm, henry, F("0.0022")) == pytest.approx(1698.3, abs=0.1)
    assert value("stable_constant_power", F("25.44"), ohm, F(0), F("0.0022")) == pytest.approx(11394.3, abs=0.1)


@pytest.mark.parametrize("name", NEW)
def test_outside_the_range_there_is_no_value(name: str) -> None:
    for at, item in enumerate(FUNCTIONS[name].arguments):
        values = [F(1)] * len(FUNCTIONS[name].arguments)
        assert FUNCTIONS[name].at(*values) is not None
        if item.low >= 0:
            values[at] = F(-1, 1000)
            assert FUNCTIONS[name].at(*values) is None
        if item.high == 1.0:
            values[at] = F(1001, 1000)
            assert FUNCTIONS[name].at(*values) is None


SYSTEM = """
packs:
  n: {resistance: {pulse: 14.2 mohm ± 3 %}, lead: {inductance: 11 uH ± 5 %}, voltage: {measured: 25.44 V ± 0.1 V}}
converters:
  c: {feeds: n, power: {rated: 3400 W}, standby: {power: 62 W ± 5 %}, ripple: 30 % ± 2 %, capacitance: 9.4 mF ± 20 %,
      efficiency: {discharge: 92 % ± 1 %}, discharge: {measured: 141 A ± 1 %}}
"""
RLC = "p.resistance.pulse, p.lead.inductance, c.capacitance"


@pytest.mark.parametrize(
    ("require", "verdict"),
    [
        ("dc_power_drawn(c.power.rated, c.efficiency.discharge) at or below 3750 W", "met"),
        ("dc_power_charging(c.power.rated, c.efficiency.discharge) at or below 3080 W", "breached"),
        ("dc_power_with_losses(c.power.rated, c.standby.power, 2.8 %, 1.6e-6 1/W) at or below 3580 W", "met"),
        ("efficiency_with_losses(150 W, c.standby.power, 2.8 %, 1.6e-6 1/W) at or above 70 %", "marginal"),
        ("ripple_peak(c.discharge.measured, c.ripple) at or below 189 A", "met"),
        ("ripple_rms(c.discharge.measured, c.ripple) at or below 144.5 A", "marginal"),
        (f"ripple_share({RLC}, 4 mohm, 100 Hz) between 1.02 and 1.06", "met"),
        (f"ripple_share({RLC}, 4 mohm, 100 Hz) at or below 1", "breached"),
        ("apparent_power(c.power.rated, 2 kvar) at or below 3.95 kVA", "met"),
        (f"stable_constant_power(p.voltage.measured, {RLC}) at or above 3696 W", "met"),
        (f"stable_constant_power(p.voltage.measured, {RLC}) at or above 5.7 kW", "marginal"),
        ("dc_power_drawn(c.power.rated, 101 %) at or below 9 kW", "undetermined"),
    ],
)
def test_rules_can_call_them(require: str, verdict: str) -> None:
    text = document("rules:\n") + rule("each converter c, each pack p in c.feeds", require)
    rulepacks = check_drafts([parse_draft(Source("r.yaml", text))])
    (found,) = Survey(system(SYSTEM), rulepacks).result().findings
    assert found.verdict.value == verdict


def test_the_slopes_of_the_apparent_power_are_enclosed_over_boxes() -> None:
    generator, function = random.Random(6), FUNCTIONS["apparent_power"]
    for box in boxes("apparent_power", 3, 150):
        steep = function.slopes_over(*box)
        for _ in range(20):
            here = [generator.choice([*pair, generator.uniform(*pair)]) for pair in box]
            for (low, high), own in zip(steep, here, strict=True):
                assert low <= own / math.hypot(*here) + 1e-14
                assert own / math.hypot(*here) - 1e-14 <= high
        if 0.0 not in box[0] + box[1] and (box[0][0] > 0) == (box[0][1] > 0):
            assert all(math.isfinite(end) for pair in steep for end in pair)
