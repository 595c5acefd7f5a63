"""Events on systems: worked examples, and every event on the three examples."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from limitrules import api
from limitrules.model.system import System
from limitrules.simulate.course import run
from limitrules.simulate.events import EVENTS, scene_of
from limitrules.simulate.figures import Figures
from limitrules.simulate.outcome import outcome_of
from limitrules.simulate.rehearsal import rehearse
from limitrules.simulate.scene import Options
from limitrules.simulate.told import What
from tests.simulate.rehearsed import RULE, UNFIT, codes, course_of, outcome, reach, refused
from tests.simulate.sites import GONE, site

EXAMPLES = Path(__file__).parents[2] / "docs" / "examples"


# ---------------------------------------------------------------- worked examples


def test_load_rejection_as_worked_by_hand() -> None:
    found = outcome(site(), "load-rejection")
    above = reach(found, RULE)
    assert above.longest == pytest.approx(2.74389, rel=2e-6)
    assert above.acted_at is None
    (pack,) = found.packs
    assert pack.charge_peak == pytest.approx(259.439, rel=2e-6)
    assert pack.ceiling == 171.0
    assert pack.charge_above_ceiling == pytest.approx(249.213, rel=1e-4)  # as the tail is cut after a minute


def test_load_rejection_at_the_worst_corner_worked_by_hand() -> None:
    """Threshold 3 % lower, ceiling 1.5 % higher, dead time 30 % and time constant 20 % longer, slew 15 % lower."""
    worst = site({
        "packs.north.charge.ceiling": "173.565 A", "packs.north.protection.charge_current.threshold": "198.85 A",
        "packs.north.protection.charge_current.delay": "60 s", "regulators.roof.regulator.dead_time": "1.43 s",
        "regulators.roof.regulator.time_constant": "2.04 s", "regulators.roof.regulator.slew": "38.25 A/s",
        "cells.c.voltage.nominal": "3.451101458333 V",
    })  # fmt: skip
    assert reach(outcome(worst, "load-rejection"), RULE).longest == pytest.approx(4.00097, rel=2e-5)


def test_the_search_finds_that_corner_and_it_trips() -> None:
    system = site({
        "packs.north.charge.ceiling": "171 A ± 1.5 %",
        "packs.north.protection.charge_current.threshold": "205 A ± 3 %",
        "packs.north.protection.charge_current.delay": "3.2 s ± 5 %",
        "regulators.roof.regulator.dead_time": "1.1 s ± 30 %",
        "regulators.roof.regulator.time_constant": "1.7 s ± 20 %",
        "regulators.roof.regulator.slew": "45 A/s ± 15 %",
    })  # fmt: skip
    found = rehearse(system, "load-rejection")
    assert found.nominal.outcome is not None
    assert found.nominal.outcome.first is None
    assert found.worst is not None
    assert found.worst.outcome is not None
    assert found.worst.outcome.first is not None
    assert found.loses
    assert found.corner is not None
    assert found.corner.at[f"{RULE}.threshold"] == pytest.approx(198.85)
    assert found.corner.at["regulators.roof.regulator.slew"] == pytest.approx(38.25)


@pytest.mark.parametrize("way", ["dead time only", "first order", "slew", "slew and first order"])
def test_the_four_models_of_a_regulator(way: str) -> None:
    dead, tau, slew = {
        "dead time only": (1.1, 0.0, math.inf), "first order": (1.1, 1.7, math.inf), "slew": (1.1, 0.0, 45.0),
        "slew and first order": (1.1, 1.7, 45.0),
    }[way]  # fmt: skip
    changes = {
        "regulators.roof.regulator.dead_time": f"{dead} s", "regulators.roof.regulator.time_constant": f"{tau} s",
        "regulators.roof.regulator.slew": f"{slew if math.isfinite(slew) else 1e12:.0f} A/s",
    }  # fmt: skip
    found = outcome(site(changes), "load-rejection")
    step, spare = found.packs[0].charge_peak - 171.0, 34.0
    end = min(step, slew * tau) if tau else 0.0
    wanted = dead
    if math.isfinite(slew):
        wanted += max(0.0, step - max(end, spare)) / slew
    if tau and spare < end:
        wanted += tau * math.log(end / spare)
    assert reach(found, RULE).longest == pytest.approx(wanted, rel=1e-7)
    charge = step * dead + ((step**2 - end**2) / (2.0 * slew) if math.isfinite(slew) else 0.0) + end * tau
    assert found.packs[0].charge_above_ceiling == pytest.approx(charge, rel=1e-6)


@pytest.mark.parametrize("share", [0.3, 0.5])
def test_a_scaled_down_test_under_predicts_a_slew_limited_regulator(share: float) -> None:
    """The full step takes longer than the small one, by (dI - S tau) / S - tau ln(dI / (S tau)) where that is small."""
    tau, slew, step = 1.7, 45.0, 88.4389
    full = reach(outcome(site(), "load-rejection"), RULE).longest
    small = outcome(
        site({"packs.north.protection.charge_current.threshold": f"{171.0 + 34.0 * share} A"}),
        "load-rejection",
        Options(power=6900.0 * share),
    )
    assert small.packs[0].charge_peak - 171.0 == pytest.approx(step * share, rel=1e-5)
    assert step * share < slew * tau < step
    added = (step - slew * tau) / slew - tau * math.log(step / (slew * tau))
    assert added > 0.0
    assert full - reach(small, RULE).longest == pytest.approx(added, abs=2e-5)


def test_a_small_test_of_a_linear_regulator_scales() -> None:
    linear = {"regulators.roof.regulator.slew": "100000 A/s"}
    full = reach(outcome(site(linear), "load-rejection"), RULE).longest
    small = site({**linear, f"{RULE}.threshold": "181.2 A"})
    assert reach(outcome(small, "load-rejection", Options(power=2070.0)), RULE).longest == pytest.approx(full, rel=1e-5)


def test_mixed_regulators_have_a_heavier_tail_than_their_mean() -> None:
    def with_two(one: float, other: float) -> float:
        regulator = {"feeds": ["north"], "charge": {"ceiling": "150 A"}, "obeys_dynamic_limit": "yes"}
        both = {
            name: {**regulator, "regulator": {"dead_time": "0.5 s", "time_constant": f"{tau} s", "slew": "9999 A/s"}}
            for name, tau in (("fast", one), ("slow", other))
        }
        changes = {"regulators": both, f"{RULE}.threshold": "178 A", f"{RULE}.delay": "60 s"}
        return reach(outcome(site(changes), "load-rejection"), RULE).longest

    mixed, mean = with_two(0.4, 3.0), with_two(1.7, 1.7)
    step = 88.4389
    assert mean == pytest.approx(0.5 + 1.7 * math.log(step / 7.0), rel=1e-5)
    assert mixed > 1.1 * mean
    excess = step / 2.0 * (math.exp(-(mixed - 0.5) / 0.4) + math.exp(-(mixed - 0.5) / 3.0))
    assert excess == pytest.approx(7.0, rel=1e-5)


def test_export_stop_as_worked_by_hand() -> None:
    """11.2 kW exported at 83 V and 96 % while 62 A charge: 191.5 A once the grid is gone."""
    changes = {
        "packs.north.charge.ceiling": "62 A", "cells.c.voltage.nominal": "3.45575 V",
        "converters.main.efficiency.discharge": "100 %",
    }  # fmt: skip
    found = outcome(site(changes), "export-stop", Options(power=11200.0 * 0.96))
    assert found.packs[0].charge_peak == pytest.approx(191.542, rel=1e-5)


def test_the_rejected_load_is_all_that_stands_behind_the_converter() -> None:
    changes = {f"loads.{name}": {"power": {"rated": power}} for name, power in
               (("a", "4.1 kW"), ("b", "2.3 kW"), ("c", "2.6 kW"), ("d", "1.4 kW"))}  # fmt: skip
    system = site({**changes, "loads.house": GONE, "site.load": GONE})
    scene = scene_of(EVENTS["load-rejection"], Figures(system), Options())
    assert scene.start.extra_load == pytest.approx(10400.0)


def test_trip_under_charge_charges_the_capacitance() -> None:
    """sqrt(V0**2 + 2 P t / C) until the source stops."""
    changes = {
        "regulators.roof.voltage": {"target": "86 V", "abs_max": "110 V"},
        "regulators.roof.regulator.over_voltage_stop": "20 ms",
        "packs.north.charge.ceiling": "100 A",
    }
    course = course_of(site(changes), "trip-under-charge")
    found = outcome_of(course)
    begin = 82.829 + 100.0 * 0.001
    power, capacitance = 100.0 * begin, 0.02
    begins_at = (86.0**2 - begin**2) * capacitance / (2.0 * power)
    assert found.highest_voltage == pytest.approx(
        math.sqrt(begin**2 + 2.0 * power * (begins_at + 0.02) / capacitance), rel=1e-6
    )
    over = reach(found, "regulators.roof.voltage.abs_max")
    assert over.acted_at == pytest.approx(1.0 + (110.0**2 - begin**2) * capacitance / (2.0 * power), rel=1e-6)
    assert over.peak == pytest.approx(found.highest_voltage)


def test_a_joining_pack_equalises_as_worked_by_hand() -> None:
    """2.448 V over 21.9 mohm: 111.8 A."""
    changes = {
        "packs.south": {
            "like": "north", "resistance": {"pulse": "10.95 mohm"},
        },
        "packs.north.resistance.pulse": "10.95 mohm",
        "packs.north.protection.discharge_current": {"threshold": "500 A", "delay": "1 s"},
        "regulators.roof.charge.ceiling": "0 A",
    }  # fmt: skip
    found = outcome(site(changes), "pack-joins", Options(pack="south", difference=2.448))
    north, south = found.packs
    assert south.charge_peak == pytest.approx(111.781, rel=1e-5)
    assert north.discharge_peak == pytest.approx(111.781, rel=1e-5)


def test_a_constant_power_draws_more_than_its_nominal_current() -> None:
    """57 kW at 95.5 % from 397.6 V behind 80 mohm: 154.9 A at 385.2 V."""
    changes = {
        "cells.c.voltage.nominal": "3.976 V", "packs.north.cells_series": 100,
        "packs.north.resistance.pulse": "80 mohm", "converters.main.efficiency.discharge": "95.5 %",
        "converters.main.power.ceiling": "60 kW",
    }  # fmt: skip
    found = outcome(site(changes), "overload", Options(power=57000.0))
    assert found.packs[0].discharge_peak == pytest.approx(154.946, rel=1e-5)
    assert found.lowest_voltage == pytest.approx(385.204, rel=1e-5)


def test_rejections_in_a_row_heat_an_inverse_protection() -> None:
    """One passes and the row does not, when the period is short against the time constant."""
    changes = {RULE: {"threshold": "230 A", "delay": "0 s", "curve": {"shape": "inverse", "time_constant": "40 s"}}}
    once = outcome(site(changes), "load-rejection")
    row = outcome(site(changes), "load-rejection", Options(every=10.0, times=60))
    assert once.first is None
    assert row.first is None or row.first.time > 10.0
    hotter = {RULE: {"threshold": "180 A", "delay": "0 s", "curve": {"shape": "inverse", "time_constant": "40 s"}}}
    single, again = (
        outcome(site(hotter), "load-rejection"),
        outcome(site(hotter), "load-rejection", Options(every=12.0, times=60)),
    )
    assert single.first is None
    assert again.first is not None
    assert again.first.time > 13.0


# ---------------------------------------------------------------- the three examples

POSSIBLE = {
    "lakeside": {
        "load-rejection": "", "export-stop": UNFIT, "load-pickup": "assumed", "overload": "assumed", "grid-loss": UNFIT,
        "pack-leaves": "", "pack-limits": "", "pack-joins": "assumed", "link-loss": "", "trip-under-charge": "",
        "cold-morning": "",
    },
    "coldstore": {
        "load-rejection": UNFIT, "export-stop": UNFIT, "load-pickup": "", "overload": "", "grid-loss": "",
        "pack-leaves": "assumed", "pack-limits": UNFIT, "pack-joins": "assumed", "link-loss": "assumed",
        "trip-under-charge": "assumed", "cold-morning": "assumed",
    },
    "lookout": {
        "load-rejection": "", "export-stop": UNFIT, "load-pickup": "", "overload": "", "grid-loss": UNFIT,
        "pack-leaves": "", "pack-limits": UNFIT, "pack-joins": UNFIT, "link-loss": "", "trip-under-charge": "",
        "cold-morning": "",
    },
}  # fmt: skip


@pytest.fixture(scope="module")
def examples() -> dict[str, System]:
    return {name: api.read_system(EXAMPLES / f"{name}.yaml") for name in POSSIBLE}


@pytest.mark.parametrize(("name", "event"), [(name, event) for name in POSSIBLE for event in POSSIBLE[name]])
def test_every_event_on_every_example(examples: dict[str, System], name: str, event: str) -> None:
    wanted = POSSIBLE[name][event]
    if wanted == UNFIT:
        assert codes(refused(examples[name], event)) == {UNFIT}
        return
    figures = Figures(examples[name])
    scene = scene_of(EVENTS[event], figures, Options())
    assert bool(figures.needs) is (wanted == "assumed")
    if wanted == "assumed":
        assert codes(refused(examples[name], event)) == {"figure-missing"}
        assert all(need.assumed for need in figures.needs.values())
    course = run(scene.plant, scene.start, scene.changes, scene.lasting)
    found = outcome_of(course)
    times = [moment.time for moment in course.moments]
    assert times == sorted(times)
    assert not course.is_restless
    assert course.is_dark or course.pieces[-1].end == pytest.approx(scene.lasting)
    assert all(math.isfinite(pack.charge_peak) and math.isfinite(pack.discharge_peak) for pack in found.packs)
    assert 0.0 <= found.lowest_voltage <= found.highest_voltage < 2000.0
    assert course.moments[0].what is not What.EVENT or course.moments[0].time == pytest.approx(1.0)


@pytest.mark.parametrize("name", POSSIBLE)
def test_down_to_the_reserve(examples: dict[str, System], name: str) -> None:
    found = rehearse(examples[name], "reserve-floor")
    (trace,) = found.nominal.traces
    assert trace.values[0] == 1.0
    assert all(later <= before for before, later in zip(trace.values, trace.values[1:], strict=False))
    assert found.nominal.is_dark
    assert trace.values[-1] > 0.0
    assert not found.loses  # it is the end of every night without sun
