"""What every function of conductors, faults, fuses and breakers is held to, with samples and figures of its module."""

from __future__ import annotations

from random import Random
from types import ModuleType

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.physics import support, test_conductors, test_fault_currents, test_fuses

MODULES = (test_conductors, test_fault_currents, test_fuses)
BY_NAME = {name: function for module in MODULES for name, function in module.BY_NAME.items()}
SAMPLES = {name: ranges for module in MODULES for name, ranges in module.SAMPLES.items()}
DIGITS = {name: digits for module in MODULES for name, digits in module.DIGITS.items()}
WORKED = [(module, expression) for module in MODULES for expression in module.WORKED]
DRAWN = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=25)

of_each = pytest.mark.parametrize("name", SAMPLES)


@of_each
def test_directions_enclosures_and_slopes_are_not_refuted(name: str) -> None:
    support.check_promises(BY_NAME[name], *SAMPLES[name])


@of_each
@DRAWN
@given(data=st.randoms(use_true_random=False))
def test_what_happens_inside_a_box_is_inside_its_enclosures(name: str, data: Random) -> None:
    support.check_box(BY_NAME[name], support.drawn_box(data.choice(SAMPLES[name]), data), data)


@of_each
def test_an_enclosure_is_no_wider_than_its_corners(name: str) -> None:
    support.check_corners(BY_NAME[name], SAMPLES[name][1])


@of_each
def test_there_is_no_value_outside_the_range_of_an_argument(name: str) -> None:
    support.check_range(BY_NAME[name], SAMPLES[name][1])


@of_each
@DRAWN
@given(data=st.randoms(use_true_random=False))
def test_the_value_is_that_of_many_digits(name: str, data: Random) -> None:
    support.check_digits(BY_NAME[name], DIGITS[name], data.choice(SAMPLES[name]), data)


@pytest.mark.parametrize(("module", "expression"), WORKED)
def test_worked_examples_in_the_check_language(module: ModuleType, expression: str) -> None:
    support.check_worked(module.FUNCTIONS, expression, *module.WORKED[expression])


@pytest.mark.parametrize("module", MODULES)
def test_every_function_is_held_to_all_of_it(module: ModuleType) -> None:
    assert set(module.SAMPLES) == set(module.DIGITS) == set(module.BY_NAME)
    assert all(any(f"{name}(" in expression for expression in module.WORKED) for name in module.BY_NAME)
