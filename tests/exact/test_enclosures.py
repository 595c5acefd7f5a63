"""Functions with irrational values enclose what interval arithmetic of two hundred bits says; the rest is exact."""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import mpmath
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from limitrules.engine.survey import Survey
from limitrules.foundation.source import Source
from limitrules.language.functions import STANDARD, Function
from limitrules.physics import FUNCTIONS
from limitrules.rules.findings import Verdict
from limitrules.rules.rulepack import check_drafts, parse_draft
from tests.exact.claims import system
from tests.exact.profile import tried
from tests.exact.world import Given, World

iv: Any = mpmath.iv
iv.prec = 200
CURRENT = FUNCTIONS["current_at_power"]
ROOT, EXP, LOG = STANDARD["sqrt"], STANDARD["exp"], STANDARD["ln"]

many = tried(400, 5000)
SIZES = st.floats(0, 1e12) | st.floats(0, 1e-12) | st.floats(0, 1.0) | st.integers(0, 10**6).map(float)


def _of(value: float | Fraction) -> Any:
    exact = Fraction(value)
    return iv.mpf(exact.numerator) / iv.mpf(exact.denominator)


def _above(one: Any, other: Any) -> bool:
    """For certain; what two hundred bits leave open is taken as equal."""
    try:
        return (one > other) is True
    except ValueError:
        return False


def _encloses(found: tuple[Any, Any], lowest: Any, highest: Any) -> None:
    low, high = found
    assert low == -math.inf or not _above(_of(low), lowest)
    assert high == math.inf or not _above(highest, _of(high))


def _is_near(found: tuple[float, float], steps: int) -> bool:
    return found[1] - found[0] <= steps * math.ulp(max(abs(found[0]), abs(found[1])))


def _check(function: Function, true: Callable[[Any], Any], one: float, other: float) -> None:
    low, high = sorted((one, other))
    _encloses(function.interval((low, high)), true(_of(low)), true(_of(high)))
    single = function.interval((low, low))
    _encloses(single, true(_of(low)), true(_of(low)))
    assert not all(map(math.isfinite, single)) or _is_near(single, 6)
    at = function.at(Fraction(low))
    assert at is not None
    _encloses(at, true(_of(low)), true(_of(low)))


@many
@given(SIZES, SIZES)
@example(0.0, 5e-324)
@example(4.0, 2.0)
def test_roots(one: float, other: float) -> None:
    _check(ROOT, iv.sqrt, one, other)


@many
@given(st.floats(-745, 709), st.floats(-1, 1))
@example(0.0, 1.0)
@example(-745.0, 709.0)
def test_powers_of_e(one: float, other: float) -> None:
    _check(EXP, iv.exp, one, other)


@many
@given(st.floats(5e-324, 1e308), st.floats(0.5, 2.0))
@example(1.0, 1.0)
@example(5e-324, 1.7e308)
def test_logarithms(one: float, other: float) -> None:
    _check(LOG, iv.log, one, other)


def test_outside_their_range_functions_have_no_value() -> None:
    anything = (-math.inf, math.inf)
    assert ROOT.interval((-1e-300, 4.0)) == anything
    assert LOG.interval((0.0, 4.0)) == anything
    assert EXP.interval((0.0, 800.0)) == anything
    assert CURRENT.interval((1.0, 2.0), (0.0, 50.0), (0.0, 0.1)) == anything
    assert ROOT.at(Fraction(-1)) is LOG.at(Fraction(-1)) is None


@many
@given(st.fractions(0, 10**9) | st.integers(0, 10**6).map(lambda root: Fraction(root**2, 49)))
@example(Fraction(2))
@example(Fraction(1, 4))
def test_roots_of_rationals(value: Fraction) -> None:
    found = ROOT.at(value)
    assert found is not None
    low, high = found
    assert low**2 <= value <= high**2
    rational = all(math.isqrt(part) ** 2 == part for part in (value.numerator, value.denominator))
    assert (low == high) is rational
    assert high - low <= Fraction(1, 10**39)


def _current(power: float, voltage: float, resistance: float) -> Any:
    """The current by its formula; None where no current delivers the power."""
    rest = Fraction(voltage) ** 2 - 4 * Fraction(resistance) * Fraction(power)
    return None if rest < 0 else 2 * _of(power) / (_of(voltage) + iv.sqrt(_of(rest)))


@st.composite
def sources(draw: st.DrawFn) -> tuple[float, float, float]:
    """Power, rest voltage and resistance; often close to the most that such a source delivers."""
    voltage, resistance = draw(st.floats(1e-3, 1e4)), draw(st.floats(1e-6, 1e3))
    share = draw(st.floats(0, 1.2) | st.sampled_from([1.0, 1 - 1e-15, 1 + 1e-15, 1 - 1e-9, 0.0]))
    power = voltage * voltage / (4 * resistance) * share
    return power if power > 1e-290 else 0.0, voltage, resistance


@many
@given(sources(), sources())
@example((0.0, 50.0, 0.1), (6250.0, 50.0, 0.1))
@example((25.0, 10.0, 1.0), (24.0, 10.0, 0.0))
def test_current_at_power(one: tuple[float, float, float], other: tuple[float, float, float]) -> None:
    single = CURRENT.interval(*((value, value) for value in one))
    true = _current(*one)
    if true is None:
        assert single[1] == math.inf
    else:
        _encloses(single, true, true)
    box = [(min(pair), max(pair)) for pair in zip(one, other, strict=True)]
    lowest = _current(box[0][0], box[1][1], box[2][0])
    highest = _current(box[0][1], box[1][0], box[2][1])
    found = CURRENT.interval(*box)
    if lowest is None:
        assert found[1] == math.inf
    elif highest is None:
        assert found[1] == math.inf
        assert found[0] == -math.inf or not _above(_of(found[0]), lowest)
    else:
        _encloses(found, lowest, highest)


@pytest.mark.parametrize("box", [
    ((1e-323, 1e-323), (3.0, 3.0), (1.0, 1.0)),
    ((2.781342323134e-309, 2.25), (1.0, 3.0), (1.0, 2.0)),
    ((0.0, 8.872771733956e-311), (0.21875, 1.0), (1.0, 3.0)),
])  # fmt: skip
def test_current_at_powers_that_are_hardly_there(box: tuple[tuple[float, float], ...]) -> None:
    power, voltage, resistance = box
    lowest = _current(power[0], voltage[1], resistance[0])
    _encloses(CURRENT.interval(*box), lowest, _current(power[1], voltage[0], resistance[1]))


# through a survey

_CLAUSES = {
    "root": "sqrt(p.charge.rated * p.charge.ceiling)",
    "power of e": "exp(p.resistance.growth) * 1 A",
    "logarithm": "ln(p.resistance.growth) * 1 A",
    "current": "current_at_power(p.charge.power.rated, p.voltage.measured, p.resistance.pulse)",
}
_READ = {"charge.rated": ("A", 100), "charge.ceiling": ("A", 100), "resistance.growth": ("", 5),
         "charge.power.rated": ("W", 4000), "voltage.measured": ("V", 60), "resistance.pulse": ("ohm", 1)}  # fmt: skip
_SOURCE = ("charge.power.rated", "voltage.measured", "resistance.pulse")


@st.composite
def packs(draw: st.DrawFn) -> World:
    """A pack whose values lie somewhere above zero and below a size, tolerances included."""
    values = {}
    for name, (unit, size) in _READ.items():
        nominal, spread = draw(st.integers(150, 900)), draw(st.sampled_from([0, 1, 20, 100]))
        values[name] = Given("range", Fraction(nominal, 1000) * size, Fraction(spread, 1000) * size, unit)
    cell = {"voltage.charge_max": Given("exact", Fraction(3), Fraction(0), "V")}
    target = {"voltage.target": cell["voltage.charge_max"]}
    return World({"site": {}, "cells.plain": cell, "packs.north": values, "converters.main": target}, {}, ())


def _highest(name: str, world: World) -> Any:
    """The highest value that is held against the limit; None where it has no bound."""
    ranges = {key: given.range or (Fraction(0), Fraction(0)) for key, given in world.values["packs.north"].items()}
    high = {key: _of(ends[1]) for key, ends in ranges.items()}
    if name == "current":
        power, voltage, resistance = (ranges[key] for key in _SOURCE)
        rest = voltage[0] ** 2 - 4 * resistance[1] * power[1]
        return 2 * _of(power[1]) / (_of(voltage[0]) + iv.sqrt(_of(rest))) if rest >= 0 else None
    if name == "root":
        return iv.sqrt(high["charge.rated"] * high["charge.ceiling"])
    return (iv.exp if name == "power of e" else iv.log)(high["resistance.growth"])


@pytest.mark.parametrize("name", _CLAUSES)
def test_verdicts_and_headrooms_of_rules_with_functions(name: str) -> None:
    @tried(60, 2000)
    @given(packs(), st.integers(0, 200))
    def holds(world: World, limit: int) -> None:
        rule = _TEMPLATE.format(clause=_CLAUSES[name], limit=limit)
        rulepacks = check_drafts([parse_draft(Source("rulepack.yaml", rule))])
        finding = Survey(system(world), rulepacks).result().findings[0]
        highest = _highest(name, world)
        if highest is None:
            assert finding.verdict is not Verdict.MET
            return
        if _above(_of(Fraction(limit)), highest):
            assert finding.verdict is Verdict.MET
        elif _above(highest, _of(Fraction(limit))):
            assert finding.verdict in (Verdict.MARGINAL, Verdict.BREACHED)
        headroom = finding.headroom
        assert headroom is not None
        assert headroom.worst is not None
        worst = limit - highest
        assert not _above(_of(headroom.worst), worst)
        if headroom.tight:
            assert not _above(worst - _of(headroom.worst), abs(worst) / 10**6)

    holds()


_TEMPLATE = """\
limitrules: rulepack/1
name: trial
version: 1.0.0
vocabulary: storage
rules:
  rule-0:
    title: A rule
    consequence: outage
    about: each pack p
    require: >-
      {clause} at or below {limit} A
    because: "It is so."
"""
