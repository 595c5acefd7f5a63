"""Faults, against circuits solved as linear equations, small time steps, many digits and worked figures."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mpmath import mpf

from limitrules.physics.conductors import TWENTY
from limitrules.physics.faults import (
    FUNCTIONS,
    adiabatic_k_squared,
    adiabatic_temperature,
    arc_incident_energy,
    arc_power_max,
    fault_current_after,
    parallel_fault_current,
    prospective_current_max,
)
from tests.physics import support

BY_NAME = {item.name: item for item in FUNCTIONS}
COPPER, WARM, HEAT = (1.7e-8, 1.8e-8), (0.0038, 0.0041), (3.3e6, 3.6e6)
WIDE_BANK, BANK = (
    [(0.0, 1e3), (1e-4, 1.0), (0.0, 1.0), (1.0, 50.0), (0.0, 1.0)],
    [(80.0, 85.0), (5e-3, 6e-3), (8e-4, 1e-3), (1.0, 3.0), (1e-3, 2e-3)],
)
SOURCE, ARC = [(0.0, 1e3), (0.0, 1e5), (0.0, 10.0)], [(440.0, 460.0), (5e3, 6e3), (0.1, 0.2)]
SAMPLES: support.Samples = {
    "prospective_current_max": (WIDE_BANK, BANK),
    "reverse_feed_current": (WIDE_BANK, BANK),
    "parallel_fault_current": (
        [(0.0, 1e6), (0.0, 1e4), (0.0, 1.0)], [(2e4, 3e4), (300.0, 400.0), (1e-3, 2e-3)],
    ),
    "prospective_current_min": (
        [(0.0, 1e3), (1e-4, 1.0), (0.1, 5.0), (0.0, 1.0), (0.0, 1.0)],
        [(25.0, 26.0), (1e-2, 2e-2), (1.0, 2.2), (0.05, 0.07), (0.0, 0.02)],
    ),
    "loop_time_constant": ([(1e-7, 1.0), (1e-4, 10.0)], [(2e-6, 8e-6), (2e-3, 1e-2)]),
    "fault_current_after": (
        [(0.0, 1e3), (0.0, 1.0), (1e-6, 1e-2), (0.0, 1e-2), (0.0, 1e4)],
        [(70.0, 90.0), (2e-3, 1e-2), (2e-6, 8e-6), (1e-4, 5e-3), (0.0, 300.0)],
    ),
    "adiabatic_k_squared": (
        [(293.2, 574.0), (293.2, 800.0), (1e-9, 1e-6), (1e-5, 0.006), (1e5, 1e7)],
        [(340.0, 364.0), (430.0, 525.0), COPPER, WARM, HEAT],
    ),
    "adiabatic_withstand": ([(1e-7, 1e-3), (1e12, 1e17)], [(1e-5, 7e-5), (1e16, 2.1e16)]),
    "adiabatic_temperature": (
        [(293.2, 574.0), (0.0, 1e8), (1e-6, 1e-3), (1e-9, 1e-6), (1e-5, 0.006), (1e5, 1e7)],
        [(340.0, 364.0), (1e6, 1e7), (3e-5, 7e-5), COPPER, WARM, HEAT],
    ),
    "arc_power_max": (SOURCE[:2], ARC[:2]),
    "arc_incident_energy": ([*SOURCE, (0.01, 10.0)], [*ARC, (0.4, 0.5)]),
    "arc_boundary_distance": ([*SOURCE, (1.0, 1e6)], [*ARC, (4e4, 6e4)]),
}  # fmt: skip


def bank(voltage: mpf, resistance: mpf, lead: mpf, packs: mpf, common: mpf) -> mpf:
    """One branch of all the packs, in series with what they share."""
    return voltage / ((resistance + lead) / packs + common)


def risen(voltage: mpf, resistance: mpf, inductance: mpf, time: mpf, before: mpf) -> mpf:
    x = time * resistance / inductance
    through = -voltage / resistance * mpmath.expm1(-x) if resistance else voltage * time / inductance
    return through + before / mpmath.exp(x)


def k_squared(start: mpf, end: mpf, rho: mpf, alpha: mpf, heat: mpf) -> mpf:
    """The way tables write it, with the temperature at which the straight line meets zero."""
    beta, zero = 1 / alpha - 20, mpf("273.15")
    warm = [beta + each - zero for each in (start, max(start, end))]
    return heat * (beta + 20) / rho * mpmath.log(warm[1] / warm[0])


def after(start: mpf, integral: mpf, area: mpf, rho: mpf, alpha: mpf, heat: mpf) -> mpf:
    beta, zero = 1 / alpha - 20, mpf("273.15")
    end = (beta + start - zero) * mpmath.exp(integral * rho * alpha / (area**2 * heat)) - beta + zero
    return end if end < 800 else mpmath.inf


def incident(voltage: mpf, bolted: mpf, time: mpf, distance: mpf) -> mpf:
    """As published, with the arc current, centimetres and calories per square centimetre."""
    arc = bolted / 2
    return mpf("0.01") * voltage * arc * time / (distance * 100) ** 2 * mpf("41840")


DIGITS: Mapping[str, Callable[..., mpf]] = {
    "prospective_current_max": bank,
    "reverse_feed_current": bank,
    "parallel_fault_current": lambda own, g, common: own / g / (1 / g + common) if g else own,
    "prospective_current_min": lambda v, r, age, conductors, fault: v / (fault + conductors + age * r),
    "loop_time_constant": lambda inductance, r: inductance / r,
    "fault_current_after": risen,
    "adiabatic_k_squared": k_squared,
    "adiabatic_withstand": lambda area, k2: (mpmath.sqrt(k2) * area) ** 2,
    "adiabatic_temperature": after,
    "arc_power_max": lambda v, i: (v / 2) * (i / 2),
    "arc_incident_energy": incident,
    "arc_boundary_distance": lambda v, i, t, energy: mpmath.sqrt(incident(v, i, t, mpf(1)) / energy),
}
METAL = {
    "copper": "0.017241 ohm*mm2/m, 1 / 254.5 K, 0.00345 J/K/mm3",
    "aluminium": "0.028264 ohm*mm2/m, 1 / 248 K, 0.0025 J/K/mm3",
}
CALORIE = "/ 4.184 J * 1 cm2"
WORKED = {
    "prospective_current_max(82.08 V, 0.55 * 9.5 mohm, 0.9 mohm, 3, 1.15 mohm)": ("25717 A", "0.05 A"),
    "prospective_current_max(82.08 V, 9.5 mohm, 0.9 mohm, 3, 1.15 mohm)": ("17779.1 A", "0.05 A"),
    "reverse_feed_current(82.1 V, 0.55 * 9.5 mohm, 0.9 mohm, 2, 0 ohm)": ("26808.2 A", "0.05 A"),
    "parallel_fault_current(2 * 82.1 V / 6.125 mohm, 2 / 6.125 mohm, 0 ohm)": ("26808.2 A", "0.05 A"),
    "prospective_current_min(25.44 V, 14.2 mohm, 2.1, 65.25 mohm, 0 ohm)": ("267.592 A", "0.001 A"),
    "loop_time_constant(3.5 uH, 3.5 mohm)": ("1 ms", "0.000001 ms"),
    "fault_current_after(80 V, 4 mohm, 4 uH, 1 ms, 0 A)": ("20000 * (1 - exp(-1)) * 1 A", "0.000001 A"),
    "fault_current_after(80 V, 4 mohm, 4 uH, 1 ms, 300 A)": ("12642.4112 A + 110.3638 A", "0.001 A"),
    f"sqrt(adiabatic_k_squared(90 degC, 250 degC, {METAL['copper']}) / 1 A2s/mm4)": ("142.9", "0.05"),
    f"sqrt(adiabatic_k_squared(70 degC, 160 degC, {METAL['copper']}) / 1 A2s/mm4)": ("114.8", "0.05"),
    f"sqrt(adiabatic_k_squared(90 degC, 250 degC, {METAL['aluminium']}) / 1 A2s/mm4)": ("94.5", "0.1"),
    f"sqrt(adiabatic_k_squared(70 degC, 160 degC, {METAL['aluminium']}) / 1 A2s/mm4)": ("76", "0.1"),
    "adiabatic_withstand(35 mm2, 20449 A2s/mm4)": ("25050025 A2s", "0.1 A2s"),
    f"adiabatic_temperature(90 degC, 25006000 A2s, 35 mm2, {METAL['copper']}) - 0 degC": ("250 K", "0.1 K"),
    "arc_power_max(452 V, 5850 A)": ("661.05 kW", "0.000001 kW"),
    f"arc_incident_energy(452 V, 5850 A, 0.18 s, 45.7 cm) {CALORIE}": ("1.13947", "0.00001"),
    f"arc_incident_energy(452 V, 5850 A, 2 s, 45.7 cm) {CALORIE}": ("12.6608", "0.0001"),
    "arc_boundary_distance(452 V, 5850 A, 2 s, 1.2 * 4.184 J/cm2)": ("148.442 cm", "0.001 cm"),
}


PACK = st.tuples(st.floats(60.0, 90.0), st.floats(1e-3, 1e-1))


@given(st.lists(PACK, min_size=1, max_size=6), st.floats(0.0, 1e-2))
def test_unequal_packs_feed_a_fault_as_the_nodes_of_the_circuit_say(
    packs: list[tuple[float, float]], common: float
) -> None:
    """Unknown are the currents of the packs and the voltage of the node where they meet."""
    count = len(packs)
    with mpmath.workdps(30):
        matrix, right = mpmath.zeros(count + 1), mpmath.zeros(count + 1, 1)
        for row, (voltage, resistance) in enumerate(packs):
            matrix[row, row], matrix[row, count], right[row] = resistance, 1, voltage
            matrix[count, row] = common
        matrix[count, count] = -1
        currents = mpmath.lu_solve(matrix, right)
        total = sum(currents[row] for row in range(count))
    conductance = mpmath.fsum(1 / mpf(resistance) for _, resistance in packs)
    own = mpmath.fsum(mpf(voltage) / resistance for voltage, resistance in packs)
    low, high = BY_NAME["parallel_fault_current"].interval(*((float(x), float(x)) for x in (own, conductance, common)))
    assert low == pytest.approx(float(total), rel=1e-9)
    assert high == pytest.approx(float(total), rel=1e-9)


@given(st.fractions(1, 100), st.fractions(1, 9), st.fractions(0, 9), st.integers(1, 9), st.fractions(0, 9))
def test_equal_packs_are_unequal_ones_that_happen_to_be_alike(voltage, resistance, lead, packs, common) -> None:  # type: ignore[no-untyped-def]
    own, conductance = packs * voltage / (resistance + lead), packs / (resistance + lead)
    whole = prospective_current_max(voltage, resistance, lead, packs, common)
    assert whole == parallel_fault_current(own, conductance, common)


@given(st.floats(10, 90), st.floats(1e-3, 1e-2), st.floats(1e-6, 1e-5), st.floats(0, 5), st.floats(0, 3e4))
def test_the_current_rises_as_small_time_steps_have_it(
    voltage: float, resistance: float, inductance: float, ages: float, before: float
) -> None:
    time, count, current = ages * inductance / resistance, 400, before
    step = time / count

    def slope(at: float) -> float:
        return (voltage - resistance * at) / inductance

    for _ in range(count):
        one = slope(current)
        two = slope(current + step / 2 * one)
        three = slope(current + step / 2 * two)
        current += step / 6 * (one + 2 * two + 2 * three + slope(current + step * three))
    low, high = fault_current_after(voltage, resistance, inductance, time, before)
    assert low == pytest.approx(current, rel=1e-8)
    assert high == pytest.approx(current, rel=1e-8)


def test_a_current_above_its_end_falls_towards_it() -> None:
    function = BY_NAME["fault_current_after"]
    low, high = function.interval((80.0, 80.0), (4e-3, 4e-3), (4e-6, 4e-6), (0.0, 1e-2), (3e4, 3e4))
    assert high == pytest.approx(3e4)
    assert low == pytest.approx(fault_current_after(80.0, 4e-3, 4e-6, 1e-2, 3e4)[0])


def test_a_loop_without_resistance_rises_in_a_straight_line() -> None:
    condition = "fault_current_after(80 V, 0 ohm, 4 uH, 1 ms, 100 A) within 0.001 A of 20100 A"
    assert support.verdict(FUNCTIONS, condition) == "met"


def test_no_other_pack_feeds_nothing_back() -> None:
    condition = "reverse_feed_current(82.1 V, 5 mohm, 1 mohm, 0, 1 mohm) equals 0 A"
    assert support.verdict(FUNCTIONS, condition) == "met"


def test_the_heat_integral_is_that_of_heating_kelvin_by_kelvin() -> None:
    """A cubic metre of copper: the heat of each small step of temperature over its resistivity there, summed."""
    rho, alpha, heat, steps = 1.7241e-8, 0.00393, 3.45e6, 20000
    width = 160.0 / steps
    whole = sum(heat * width / (rho * (1 + alpha * (70.0 + (each + 0.5) * width))) for each in range(steps))
    assert adiabatic_k_squared(363.15, 523.15, rho, alpha, heat)[0] == pytest.approx(whole, rel=1e-9)
    assert adiabatic_temperature(363.15, whole * 49e-10, 7e-5, rho, alpha, heat)[0] == pytest.approx(523.15, rel=1e-9)


@given(st.floats(293.2, 500), st.floats(0, 250), st.floats(1e-6, 1e-4))
def test_a_conductor_that_bears_its_withstand_just_reaches_the_end(start: float, rise: float, area: float) -> None:
    metal = 1.7241e-8, 0.00393, 3.45e6
    bears = adiabatic_k_squared(start, start + rise, *metal)[0] * area * area
    assert adiabatic_temperature(start, bears, area, *metal)[0] == pytest.approx(start + rise, rel=1e-9)


def test_far_too_much_heat_is_hotter_than_any_limit_in_range() -> None:
    low, high = adiabatic_temperature(363.15, 1e12, 1e-6, 1.7241e-8, 0.00393, 3.45e6)
    assert high == math.inf
    assert low == pytest.approx(800.0)


def test_twenty_degrees_are_a_start() -> None:
    assert float(TWENTY) == 293.15
    condition = "adiabatic_k_squared({} degC, 160 degC, " + METAL["copper"] + ") above 10000 A2s/mm4"
    assert support.verdict(FUNCTIONS, condition.format(20)) == "met"
    assert support.verdict(FUNCTIONS, condition.format(19.9)) == "undetermined"


@given(st.floats(1, 1000), st.floats(1, 1e5), st.floats(0, 1))
def test_no_arc_takes_more_than_the_most(voltage: float, bolted: float, share: float) -> None:
    """An arc that holds a share of the voltage leaves the rest to drive the current."""
    most = float(arc_power_max(voltage, bolted))  # type: ignore[arg-type]
    assert share * voltage * (1 - share) * bolted <= most * (1 + 1e-12)
    assert most == pytest.approx(0.5 * voltage * 0.5 * bolted)


def test_the_incident_energy_is_that_of_a_sphere_and_a_little_more() -> None:
    """The most power through the surface of a sphere around it; the published factor is rounded up by five percent."""
    found = float(arc_incident_energy(452.0, 5850.0, 0.18, 0.457))  # type: ignore[arg-type]
    sphere = 452.0 * 5850.0 / 4 * 0.18 / (4 * math.pi * 0.457**2)
    assert sphere < found < 1.06 * sphere


def test_tolerances_pass_through_to_the_verdict() -> None:
    """A bank of three drives 25.1 kA to 25.8 kA over five percent of its common part either way (1.15 mohm)."""
    site = "site: {location: Lakeside}\nconductors: {trunk: {resistance: {loop: 1.15 mohm ± 5 %}}}"
    least, most = (prospective_current_max(82.08, 5.225e-3, 9e-4, 3, 1.15e-3 * part) for part in (1.05, 0.95))  # type: ignore[arg-type]
    current = "prospective_current_max(82.08 V, 5.225 mohm, 0.9 mohm, 3, c.resistance.loop)"
    for limit, due in ((most + 1, "met"), (0.5 * (most + least), "marginal"), (least - 1, "breached")):
        assert support.verdict(FUNCTIONS, f"{current} below {limit} A", site, "each conductor c") == due
