"""The current at constant power, against the quadratic solved with many digits and against scanning."""

from __future__ import annotations

from fractions import Fraction

import mpmath
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from limitrules.language.functions import Direction, refute
from limitrules.physics import FUNCTIONS
from limitrules.physics.converters import current_at_power

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
    from attrs import evolve

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
