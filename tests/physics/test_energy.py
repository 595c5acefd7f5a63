"""Energy over time, against stepping, quadrature and fine sums; places on curves against sampling."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from fractions import Fraction
from itertools import pairwise

import mpmath
import pytest
from attrs import evolve
from hypothesis import given
from hypothesis import strategies as st

from limitrules.engine.survey import Survey
from limitrules.foundation.source import Source
from limitrules.language.functions import Direction, refute
from limitrules.physics import FUNCTIONS, energy
from limitrules.physics.energy import (
    Inversion,
    charging_time,
    energy_above,
    energy_below,
    inverted,
    recharge_time,
    recharged,
    stranded_energy,
)
from limitrules.rules.rulepack import check_drafts, parse_draft
from tests.rules.support import document, rule, system

F = Fraction
MINE = {item.name: item for item in energy.FUNCTIONS}
REGISTRY = FUNCTIONS.extended(item for item in energy.FUNCTIONS if item.name not in FUNCTIONS)
KWH = F(3_600_000)
Curve = list[tuple[Fraction, Fraction]]


def value(name: str, *values: F) -> float:
    found = MINE[name].at(*values)
    assert found is not None
    assert found[0] <= found[1] <= found[0] * (1 + F(1, 10**13))
    return float(found[0])


def drained(store: float, load: float, standby: float, out: float, efficiency: float) -> float:
    """Hours in which a store runs empty, minute by minute."""
    minutes = 0
    drawn = (load / efficiency + standby) / out
    while store >= drawn * 60:
        store -= drawn * 60
        minutes += 1
    return (minutes + store / (drawn * 60)) / 60


@pytest.mark.parametrize("seed", range(20))
def test_autonomy_is_what_draining_gives(seed: int) -> None:
    generator = random.Random(seed)
    store, load = generator.uniform(1e6, 1e8), generator.uniform(100, 5000)
    rest = generator.uniform(0, 400), generator.uniform(0.8, 1), generator.uniform(0.7, 1)
    found = value("autonomy", *map(F, (store, load, *rest))) / 3600
    assert found == pytest.approx(drained(store, load, *rest), rel=1e-9)


def test_worked_autonomy() -> None:
    usable = F("48.384") * F("0.86") * (F("31") - F("3.5") - 8) / 100 * KWH
    assert value("autonomy", usable, F(820), F(0), F(1), F("0.93")) / 3600 == pytest.approx(9.20246, abs=1e-5)


def test_worked_standby() -> None:
    assert value("standby_time", F("2.70556") * KWH, F(57), F(0), F(0)) / 86400 == pytest.approx(1.97775, abs=1e-5)
    assert value("standby_energy", F(62), F(0), F(0), F(86400)) / float(KWH) == pytest.approx(1.488)


@given(st.integers(1, 10**8), st.integers(1, 500), st.integers(0, 50), st.integers(0, 10**9))
def test_standby_uses_up_its_energy_in_its_time(left: int, power: int, self_discharge: int, full: int) -> None:
    rest = F(power), F(self_discharge, 10**10), F(full)
    time = energy.standby_time(F(left), *rest)
    assert energy.standby_energy(*rest, time) == left


@given(
    st.floats(0, 1e9), st.floats(1, 1e9), st.floats(10, 1e5), st.floats(1e-3, 1.0) | st.just(1.0) | st.just(1 - 2**-53),
    st.floats(0.5, 1.0),
)  # fmt: skip
def test_recharging_is_the_integral_over_the_charge(
    first: float, taper: float, power: float, share: float, efficiency: float
) -> None:
    low, high = recharge_time(first, taper, power, share, efficiency)
    with mpmath.workdps(30):
        e, t, p, f, n = map(mpmath.mpf, (first, taper, power, share, efficiency))
        found = e / (n * p) + mpmath.quad(lambda s: t / (n * p * (1 - (1 - f) * s)), mpmath.linspace(0, 1, 13))
        assert low * (1 - mpmath.mpf("1e-12")) <= found <= high * (1 + mpmath.mpf("1e-12"))
    with mpmath.workdps(60):
        closed = e / (n * p) + t / (n * p) * (-mpmath.log(f) / (1 - f) if f != 1 else 1)
        assert low <= closed <= high
    assert high - low <= 2e-14 * high


def test_recharging_by_minutes() -> None:
    """10 kWh at 5 kW and 95 %, then 3 kWh with a taper to a tenth, step by step."""
    stored, seconds, full = 0.0, 0.0, 13 * 3.6e6
    while stored < full:
        taper = max(0.0, (stored - 10 * 3.6e6) / (3 * 3.6e6))
        stored += 5000 * (1 - 0.9 * taper) * 0.95 * 0.5
        seconds += 0.5
    assert recharge_time(10 * 3.6e6, 3 * 3.6e6, 5000.0, 0.1, 0.95)[0] == pytest.approx(seconds, rel=1e-3)


def profiles(low: int = -3000) -> st.SearchStrategy[Curve]:
    heights = st.lists(st.integers(low, 9000), min_size=2, max_size=8)
    return heights.map(lambda row: [(F(900 * at), F(height)) for at, height in enumerate(row)])


def read(curve: Curve, at: float) -> float:
    for (x0, y0), (x1, y1) in pairwise(curve):
        if x0 <= at <= x1:
            return float(y0) + float(y1 - y0) * (at - float(x0)) / float(x1 - x0)
    raise AssertionError(at)


def summed(curve: Curve, clip: Callable[[float], float], count: int) -> float:
    """A sum over the middles of many narrow strips."""
    start, width = float(curve[0][0]), float(curve[-1][0] - curve[0][0]) / count
    return sum(clip(read(curve, start + (at + 0.5) * width)) for at in range(count)) * width


@given(profiles(), st.integers(-2000, 9000))
def test_what_a_ceiling_clips_is_the_area_above_it(curve: Curve, ceiling: int) -> None:
    rough = 9000.0 * float(curve[-1][0]) / 1000
    above = float(energy_above(curve, F(ceiling)))
    assert above == pytest.approx(summed(curve, lambda p: max(0.0, p - ceiling), 500), abs=rough)
    through = float(energy_below(curve, F(ceiling)))
    assert through == pytest.approx(summed(curve, lambda p: max(0.0, min(p, ceiling)), 500), abs=rough)


def test_clipping_by_hand() -> None:
    tent = [(F(0), F(0)), (F(10), F(100)), (F(20), F(0))]
    assert energy_above(tent, F(50)) == 250
    assert energy_below(tent, F(50)) == 750
    assert energy_above(tent, F(100)) == 0
    assert energy_below(tent, F(-5)) == 0
    assert energy_above([(F(0), F(10)), (F(10), F(-30))], F(0)) == F(25, 2)


@given(profiles(), st.integers(0, 9000), st.integers(0, 2000), st.integers(0, 500))
def test_clipped_energy_rises_with_the_profile_and_falls_with_the_ceiling(
    curve: Curve, ceiling: int, more: int, lift: int
) -> None:
    lifted = [(t, p + lift) for t, p in curve]
    assert energy_above(lifted, F(ceiling)) >= energy_above(curve, F(ceiling)) >= energy_above(curve, F(ceiling + more))
    assert energy_below(lifted, F(ceiling)) >= energy_below(curve, F(ceiling))
    assert energy_below(curve, F(ceiling + more)) >= energy_below(curve, F(ceiling))


def test_stranded_energy_ends_where_the_pack_is_full() -> None:
    flat = [(F(0), F(8000)), (F(7200), F(8000))]
    assert stranded_energy(flat, F(5000), F(7000), F(10**9), F("0.95")) == F("0.95") * 2000 * 7200
    assert stranded_energy(flat, F(5000), F(7000), F(36_000_000), F("0.95")) == 36_000_000 - F("0.95") * 5000 * 7200
    assert stranded_energy(flat, F(5000), F(7000), F(30_000_000), F("0.95")) == 0


SURPLUS = [F(x) * 1000 for x in ("1.2", "3.9", "6.8", "8.8", "9.3", "8.1", "5.5", "2.4")]


def test_worked_recharging() -> None:
    full = F("41.624") * KWH
    found = recharged(F("0.22"), full, SURPLUS, F(3600), F(7000), F("0.95"))
    assert [100 * float(x) for x in found] == pytest.approx([24.7, 33.6, 49.2, 65.1, 81.1, 97.1, 100, 100], abs=0.05)
    assert 100 * float(recharged(F("0.22"), full, SURPLUS, F(3600), F(5100), F("0.95"))[-1]) == pytest.approx(97.3171)


TOP = [(F(0), F(5000)), (F("0.88"), F(5000)), (F("0.94"), F(3100)), (F("0.98"), F(750)), (F(1), F(250))]


@pytest.mark.parametrize(("start", "target"), [("0.2", "1"), ("0.9", "0.93"), ("0.5", "0.8"), ("0.95", "0.95")])
def test_the_time_along_a_ceiling_is_what_stepping_gives(start: str, target: str) -> None:
    low, high = charging_time(TOP, F(start), F(target), F(10) * KWH, F("0.95"))
    state, seconds = float(F(start)), 0.0
    while state < float(F(target)) - 1e-12:
        step = read(TOP, min(state, 1.0)) * 0.95 / (10 * 3.6e6) * 2.0
        seconds += 2.0 * min(1.0, (float(F(target)) - state) / step)
        state += step
    assert low == pytest.approx(seconds, rel=2e-3, abs=1e-9)
    assert low <= high <= low * (1 + 2e-14)


def test_a_ceiling_that_ends_at_zero_never_fills() -> None:
    assert charging_time([(F(0), F(100)), (F(1), F(0))], F(0), F(1), KWH, F(1)) == (math.inf, math.inf)
    with pytest.raises(ValueError, match="expected a curve from"):
        charging_time(TOP[1:], F("0.2"), F(1), KWH, F(1))


def test_one_taper_is_the_scalar_function() -> None:
    curve = [(F(0), F(5000)), (F("0.8"), F(5000)), (F(1), F(500))]
    found = charging_time(curve, F("0.3"), F(1), F(10) * KWH, F("0.95"))
    scalar = recharge_time(5 * 3.6e6, 2 * 3.6e6, 5000.0, 0.1, 0.95)
    assert found[0] == pytest.approx(scalar[0], rel=1e-13)


LFP = [
    (F(x), F(y))
    for x, y in (
        ("0", "2.60"), ("4", "3.00"), ("10", "3.180"), ("18", "3.230"), ("30", "3.262"), ("42", "3.284"),
        ("55", "3.291"), ("68", "3.301"), ("80", "3.326"), ("88", "3.332"), ("94", "3.338"), ("98", "3.360"),
        ("100", "3.420"),
    )
]  # fmt: skip


def test_worked_inversion() -> None:
    over = F("0.00415625")
    first, second = (inverted(LFP, (F(v) - over, F(v) - over)) for v in ("3.345", "3.380"))
    assert first.low is not None
    assert second.low is not None
    assert (first.low, second.low) == (first.high, second.high)
    assert float(first.low) == pytest.approx(94.517, abs=1e-3)
    assert float(second.low) == pytest.approx(98.5281, abs=1e-4)
    assert float(second.low - first.low) * 0.484 == pytest.approx(1.94136, abs=1e-4)


def test_a_flat_part_gives_all_of_itself() -> None:
    curve = [(F(0), F(3)), (F(20), F("3.3")), (F(80), F("3.3")), (F(100), F("3.4"))]
    found = inverted(curve, (F("3.3"), F("3.3")))
    assert found == Inversion(F(20), F(80), below=False, above=False)
    found = inverted(curve, (F("3.3"), F("3.3")), F("0.03"))
    assert found == Inversion(F(18), F(86), below=False, above=False)
    found = inverted(curve, (F("2.9"), F("2.95")))
    assert found == Inversion(None, None, below=True, above=False)
    found = inverted(curve, (F("3.35"), F("3.5")))
    assert found == Inversion(F(90), F(100), below=False, above=True)


CURVES = st.lists(st.integers(0, 40), min_size=2, max_size=7).map(
    lambda row: [(F(10 * at), F(height)) for at, height in enumerate(row)]
)


@given(CURVES, st.integers(-20, 420), st.integers(0, 60), st.integers(0, 15))
def test_places_on_a_curve_are_those_that_a_scan_finds(curve: Curve, at: int, width: int, tolerance: int) -> None:
    low, high, wide = F(at, 10), F(at + width, 10), F(tolerance, 10)
    found = inverted(curve, (low, high), wide)
    last = int(curve[-1][0])
    seen = []
    for place in range(last * 20 + 1):
        x = F(place, 20)
        (x0, y0), (x1, y1) = next(pair for pair in pairwise(curve) if pair[0][0] <= x <= pair[1][0])
        if low - wide <= y0 + (y1 - y0) * (x - x0) / (x1 - x0) <= high + wide:
            seen.append(x)
    if seen:
        assert found.low is not None
        assert found.high is not None
        assert found.low <= seen[0]
        assert seen[-1] <= found.high
    for end in (found.low, found.high):
        if end is not None:
            near = F(read(curve, float(end)))
            assert low - wide - F(1, 10**9) <= near <= high + wide + F(1, 10**9)
    heights = [y for _, y in curve]
    assert found.below == (low - wide < min(heights))
    assert found.above == (high + wide > max(heights))


@pytest.mark.parametrize("curve", [[], [(F(0), F(1))], [(F(0), F(1)), (F(0), F(2))], [(F(1), F(1)), (F(0), F(2))]])
def test_what_is_no_curve_is_refused(curve: Curve) -> None:
    with pytest.raises(ValueError, match="expected two or more points"):
        inverted(curve, (F(1), F(1)))
    with pytest.raises(ValueError, match="expected two or more points"):
        energy_above(curve, F(1))


WIDE = {
    "usable_energy": (0.0, 1e9), "load": (1.0, 1e5), "standby": (1.0, 500.0), "discharge_efficiency": (0.0, 1.0),
    "efficiency": (0.1, 1.0), "energy": (0.0, 1e9), "taper_energy": (0.0, 1e8), "power": (1.0, 1e5),
    "end_share": (1e-3, 1.0), "self_discharge": (0.0, 1e-7), "full_energy": (0.0, 1e9), "time": (0.0, 1e7),
}  # fmt: skip
NARROW = {name: (low + 0.6 * (high - low), low + 0.61 * (high - low)) for name, (low, high) in WIDE.items()}


@pytest.mark.parametrize("name", sorted(MINE))
def test_directions_are_not_refuted_and_wrong_ones_would_be(name: str) -> None:
    function = MINE[name]
    assert refute(function, WIDE, tries=2000) is None
    assert refute(function, NARROW, tries=2000) is None
    for at, item in enumerate(function.arguments):
        other = Direction.FALLS if item.direction is Direction.RISES else Direction.RISES
        arguments = list(function.arguments)
        arguments[at] = evolve(item, direction=other)
        assert refute(evolve(function, arguments=tuple(arguments)), WIDE, tries=300) is not None


@pytest.mark.parametrize("name", sorted(MINE))
def test_no_sample_of_a_box_leaves_its_enclosure(name: str) -> None:
    generator, function = random.Random(2), MINE[name]
    for _ in range(60):
        box = [tuple(sorted(generator.uniform(*WIDE[item.name]) for _ in range(2))) for item in function.arguments]
        low, high = function.interval(*box)  # type: ignore[arg-type]
        for _ in range(10):
            found = function.at(*[F(generator.uniform(*pair)) for pair in box])
            assert found is not None
            assert low <= found[1]
            assert found[0] <= high


@pytest.mark.parametrize("name", sorted(MINE))
def test_outside_the_range_there_is_no_value(name: str) -> None:
    for at, item in enumerate(MINE[name].arguments):
        for outside in [F(-1, 1000)] + [F(11, 10)] * (item.high == 1.0):
            values = [F(1)] * len(MINE[name].arguments)
            assert MINE[name].at(*values) is not None
            values[at] = outside
            assert MINE[name].at(*values) is None


PACK = """
packs:
  n: {energy: {available: 7.5 kWh ± 3 %, rated: 48.4 kWh}, standby: {power: 57 W ± 10 %}, self_discharge: 0.1 %/d}
converters:
  c: {feeds: n, standby: {power: 30 W ± 10 %}, efficiency: {discharge: 93 % ± 1 %}, charge: {power: {rated: 7 kW}}}
"""
STORE, IDLE = "p.energy.available", "c.standby.power"


@pytest.mark.parametrize(
    ("require", "verdict"),
    [
        (f"autonomy({STORE}, 820 W, {IDLE}, 98 %, c.efficiency.discharge) at least 7 h", "met"),
        (f"autonomy({STORE}, 820 W, {IDLE}, 98 %, c.efficiency.discharge) at least 8 h", "marginal"),
        (f"autonomy({STORE}, 820 W, {IDLE}, 98 %, c.efficiency.discharge) at least 9.5 h", "breached"),
        (f"recharge_time({STORE}, 2 kWh, c.charge.power.rated, 5 %, 95 %) at most 3 h", "met"),
        (f"recharge_time({STORE}, 2 kWh, c.charge.power.rated, 0 %, 95 %) at most 3 h", "undetermined"),
        (f"standby_time({STORE}, p.standby.power, p.self_discharge, p.energy.rated) at least 5 d", "marginal"),
        ("standby_energy(p.standby.power, p.self_discharge, p.energy.rated, 24 h) at or below 1.56 kWh", "met"),
    ],
)
def test_rules_can_call_them(require: str, verdict: str) -> None:
    text = document("rules:\n") + rule("each converter c, each pack p in c.feeds", require)
    rulepacks = check_drafts([parse_draft(Source("r.yaml", text))], REGISTRY)
    (found,) = Survey(system(PACK), rulepacks).result().findings
    assert found.verdict.value == verdict
