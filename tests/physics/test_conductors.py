"""Conductors, against heat balances solved step by step, formulae with many digits, and figures worked by hand."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from fractions import Fraction

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mpmath import mpf

from limitrules.foundation.diagnostics import InputError
from limitrules.physics.conductors import (
    FUNCTIONS,
    ambient_factor,
    conductor_temperature,
    grouping_factor,
    joint_temperature,
)
from tests.physics import support

BY_NAME = {item.name: item for item in FUNCTIONS}
ANY_DEGREES, AROUND = (223.0, 574.0), (280.0, 330.0)
COPPER, WARM = (1.7e-8, 1.8e-8), (0.0038, 0.0041)
SAMPLES: support.Samples = {
    "resistance_at_temperature": (
        [(0.0, 10.0), (0.0, 0.006), (223.0, 374.0), ANY_DEGREES],
        [(0.01, 0.02), WARM, (292.0, 294.0), (270.0, 320.0)],
    ),
    "conductor_resistance": (
        [(0.0, 1e3), (1e-7, 1e-3), (1e-9, 1e-6), (0.0, 0.006), ANY_DEGREES],
        [(3.0, 15.0), (1e-5, 7e-5), COPPER, WARM, (270.0, 320.0)],
    ),
    "two_pole_voltage_drop": (
        [(0.0, 1e4), (0.0, 1e3), (1e-7, 1e-3), (1e-9, 1e-6), (0.0, 1.0)],
        [(10.0, 300.0), (3.0, 15.0), (1e-5, 7e-5), (1.7e-8, 2.3e-8), (0.0, 3e-4)],
    ),
    "conductor_temperature": (
        [ANY_DEGREES, ANY_DEGREES, ANY_DEGREES, (1.0, 1e3), (0.0, 1e3)],
        [AROUND, (343.0, 364.0), (290.0, 310.0), (100.0, 300.0), (50.0, 300.0)],
    ),
    "ambient_factor": ([ANY_DEGREES] * 3, [(343.0, 364.0), (290.0, 310.0), AROUND]),
    "grouping_factor": ([(1.0, 20.0)], [(2.0, 4.0)]),
    "joint_temperature": (
        [ANY_DEGREES, (0.0, 1e3), (0.0, 1e-3), (0.0, 0.006), (0.0, 1.0)],
        [AROUND, (100.0, 300.0), (1e-5, 1e-4), WARM, (5.0, 30.0)],
    ),
}


def heated(ambient: mpf, maximum: mpf, reference: mpf, ampacity: mpf, current: mpf) -> mpf:
    """By a thermal resistance: at the ampacity, one ohm warms the conductor from the reference to its maximum."""
    thermal = (maximum - reference) / (ampacity * ampacity)
    value = ambient + current * current * thermal
    return value if value <= maximum else mpmath.inf


def joint(ambient: mpf, current: mpf, resistance: mpf, coefficient: mpf, thermal: mpf) -> mpf:
    """Heat in and heat out as two straight lines over the temperature, where they meet."""
    heat, twenty = current**2 * resistance, mpf("293.15")
    slope = 1 - heat * coefficient * thermal
    return (ambient + thermal * heat * (1 - coefficient * twenty)) / slope if slope > 0 else mpmath.inf


DIGITS: Mapping[str, Callable[..., mpf]] = {
    "resistance_at_temperature": lambda r, alpha, reference, t: r + r * alpha * t - r * alpha * reference,
    "conductor_resistance": lambda length, area, rho, alpha, t: (
        length / area * rho + length / area * rho * alpha * (t - mpf("293.15"))
    ),
    "two_pole_voltage_drop": lambda i, length, area, rho, joints: i * rho * (length + length) / area + i * joints,
    "conductor_temperature": heated,
    "ambient_factor": lambda most, base, t: mpmath.sqrt(max(mpf(0), most - t)) / mpmath.sqrt(most - base),
    "grouping_factor": lambda n: 1 / mpmath.cbrt(n),
    "joint_temperature": joint,
}  # fmt: skip
WORKED = {
    "resistance_at_temperature(9.5 mohm, 0.00393 1/K, 20 degC, 70 degC)": ("11.36675 mohm", "0.000001 mohm"),
    "resistance_at_temperature(0.0283 ohm*mm2/m, 0.00403 1/K, 20 degC, 90 degC)": (
        "0.03628343 ohm*mm2/m", "0.00000001 ohm*mm2/m"
    ),
    "2 * conductor_resistance(14.5 m, 10 mm2, 0.0225 ohm*mm2/m, 0 1/K, 20 degC)": ("65.25 mohm", "0.000001 mohm"),
    "conductor_resistance(1 m, 70 mm2, 0.017241 ohm*mm2/m, 0.00393 1/K, 90 degC)": ("0.3141 mohm", "0.0001 mohm"),
    "two_pole_voltage_drop(120 A, 7 m, 35 mm2, 0.0225 ohm*mm2/m, 200 uohm)": ("1.104 V", "0.000001 V"),
    "conductor_temperature(52 degC, 90 degC, 30 degC, 0.87 * 268 A, 171 A) - 0 degC": ("84.273 K", "0.001 K"),
    "ambient_factor(90 degC, 30 degC, 52 degC)": ("0.795822", "0.000001"),
    "268 A * 0.87 * ambient_factor(90 degC, 30 degC, 52 degC)": ("185.554 A", "0.001 A"),
    "grouping_factor(8)": ("0.5", "0.000001"),
    "joint_temperature(30 degC, 150 A, 50 uohm, 0 1/K, 20 K/W) - 30 degC": ("22.5 K", "0.000001 K"),
    "joint_temperature(20 degC, 200 A, 50 uohm, 0.004 1/K, 25 K/W) - 20 degC": ("62.5 K", "0.000001 K"),
}  # fmt: skip


@given(st.floats(223, 340), st.floats(0.0, 300.0), st.floats(0.003, 0.006))
def test_up_to_the_maximum_the_law_gives_no_less_than_a_balance_with_the_resistance_at_its_temperature(
    ambient: float, current: float, coefficient: float
) -> None:
    """Resistance at 90 degC is that of the ampacity, 200 A from 30 to 90 degC; the balance by repetition."""
    most, reference, ampacity = 363.15, 303.15, 200.0
    low, high = conductor_temperature(ambient, most, reference, ampacity, current)
    hot = ambient
    for _ in range(400):
        share = (1 + coefficient * (hot - 293.15)) / (1 + coefficient * (most - 293.15))
        hot = min(1e6, ambient + (most - reference) * (current / ampacity) ** 2 * share)
    assert (hot <= low + 1e-6) if math.isfinite(high) else hot >= most


def test_above_its_maximum_a_conductor_has_no_upper_end() -> None:
    expression = "conductor_temperature(52 degC, 90 degC, 30 degC, 200 A, 200 A)"
    assert support.verdict(FUNCTIONS, f"{expression} at or below 90 degC") == "breached"
    assert support.verdict(FUNCTIONS, f"{expression} at or below 130 degC") != "met"


@pytest.mark.parametrize(("ambient", "current", "least"), [(330.0, 200.0, 380.0), (340.0, 100.0, 352.5)])
def test_above_one_of_its_possible_maxima_it_has_none_either(ambient: float, current: float, least: float) -> None:
    """The second is above the least maximum (350 K) and below the greatest (390 K)."""
    box = (ambient, ambient), (350.0, 390.0), (300.0, 300.0), (200.0, 200.0), (current, current)
    assert BY_NAME["conductor_temperature"].interval(*box) == (least, math.inf)


def test_just_at_its_maximum_a_conductor_is_as_hot_as_that() -> None:
    expression = "conductor_temperature(30 degC, 90 degC, 30 degC, 200 A, 200 A)"
    assert support.verdict(FUNCTIONS, f"{expression} equals 90 degC") == "met"


@given(st.floats(223, 362), st.floats(290, 340))
def test_the_ambient_factor_is_the_current_that_just_heats_to_the_maximum(ambient: float, reference: float) -> None:
    most, low, high = 363.0, 0.0, 4.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        too_hot = ambient + (most - reference) * middle**2 > most
        low, high = (low, middle) if too_hot else (middle, high)
    assert ambient_factor(most, reference, ambient)[0] == pytest.approx(low, rel=1e-9)


def test_surroundings_as_hot_as_the_insulation_bears_leave_nothing() -> None:
    assert ambient_factor(343.0, 303.0, 343.0) == (0.0, 0.0)
    assert ambient_factor(343.0, 303.0, 360.0) == (0.0, 0.0)
    assert (
        support.verdict(FUNCTIONS, "268 A * ambient_factor(90 degC, 30 degC, 90 degC) at or above 1 mA") == "breached"
    )


@pytest.mark.parametrize(
    "expression",
    [
        "ambient_factor(30 degC, 30 degC, 20 degC) above 0",
        "conductor_temperature(20 degC, 30 degC, 40 degC, 1 A, 0 A) below 90 degC",
    ],
)
def test_a_reference_as_hot_as_the_insulation_bears_gives_no_value(expression: str) -> None:
    assert support.verdict(FUNCTIONS, expression) == "undetermined"


def test_at_the_reference_the_table_holds_exactly() -> None:
    assert support.verdict(FUNCTIONS, "ambient_factor(90 degC, 30 degC, 30 degC) equals 1") == "met"


@pytest.mark.parametrize("circuits", range(1, 21))
def test_a_bundle_loaded_by_the_grouping_factor_is_no_hotter_than_one_circuit_alone(circuits: int) -> None:
    """Still air around a round bundle: heat leaves with h = 1.32 (dT / D)^(1/4) over its surface, found by halving."""
    single, heat = 0.02, 30.0

    def rise(count: int, share: float) -> float:
        width, low, high = single * math.sqrt(count), 0.0, 1e4
        for _ in range(80):
            middle = 0.5 * (low + high)
            leaving = 1.32 * (middle / width) ** 0.25 * math.pi * width * middle
            low, high = (middle, high) if leaving < count * heat * share**2 else (low, middle)
        return low

    factor = grouping_factor(float(circuits))[1]
    assert rise(circuits, factor) <= rise(1, 1.0) * (1 + 1e-9)
    # Nor is it needlessly strict: without any growth of the surface the factor would be n^(-1/2).
    assert factor >= circuits**-0.5


@pytest.mark.parametrize(("circuits", "factor"), [(1, 1), (8, Fraction(1, 2)), (Fraction(27, 8), Fraction(2, 3))])
def test_cubes_have_an_exact_factor(circuits: Fraction, factor: Fraction) -> None:
    assert BY_NAME["grouping_factor"].at(Fraction(circuits)) == (factor, factor)


@given(st.floats(223, 400), st.floats(0, 400), st.floats(0, 2e-4), st.floats(0, 0.006), st.floats(0, 30))
def test_a_joint_is_as_hot_as_repetition_makes_it(
    ambient: float, current: float, resistance: float, coefficient: float, thermal: float
) -> None:
    hot, heat = ambient, current**2 * resistance
    gain = heat * thermal * coefficient
    for _ in range(1200):
        hot = min(1e12, ambient + heat * thermal * (1 + coefficient * (hot - 293.15)))
    low, high = joint_temperature(ambient, current, resistance, coefficient, thermal)
    if gain < 0.98:
        assert low == pytest.approx(hot, rel=1e-9)
    elif gain >= 1.02:
        assert (low, high, hot) == (math.inf, math.inf, 1e12)


def test_a_joint_that_runs_away_is_hotter_than_any_limit() -> None:
    assert joint_temperature(300.0, 500.0, 5e-5, 0.004, 20.0) == (math.inf, math.inf)
    expression = "joint_temperature(30 degC, 500 A, 50 uohm, 0.004 1/K, 20 K/W)"
    assert support.verdict(FUNCTIONS, f"{expression} at or below 290 degC") == "breached"


def test_what_is_no_resistance_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        support.verdict(FUNCTIONS, "resistance_at_temperature(3 V, 0.00393 1/K, 20 degC, 70 degC) above 3 V")
    assert "a resistance per length (ohm/m)" in str(caught.value)
