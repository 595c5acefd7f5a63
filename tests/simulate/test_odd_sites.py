"""Events on systems that lack something or hold odd figures: words, never a traceback."""

from __future__ import annotations

from typing import Any

import pytest

from limitrules.foundation.diagnostics import InputError
from limitrules.simulate.course import MOST_PIECES, run
from limitrules.simulate.events import EVENTS, scene_of
from limitrules.simulate.figures import Figures
from limitrules.simulate.outcome import outcome_of
from limitrules.simulate.rehearsal import rehearse
from limitrules.simulate.scene import MOST_TIMES, Options
from limitrules.simulate.told import What
from tests.simulate.rehearsed import RULE, UNFIT, codes, course_of, outcome, reach, refused
from tests.simulate.sites import GONE, site

LIMITER = {"fitted": "yes", "engage": "190 A", "current": "9.5 A", "release": "70 A"}

# ---------------------------------------------------------------- what is missing


def test_missing_dynamics_are_refused_with_what_would_be_assumed() -> None:
    system = site({"regulators.roof.regulator": GONE})
    error = refused(system, "load-rejection")
    told = {diagnostic.message.split("`")[1]: diagnostic.advice for diagnostic in error.diagnostics}
    assert set(told) == {f"regulators.roof.regulator.{name}" for name in ("dead_time", "time_constant", "slew")}
    assert "with --assume 3 s is taken" in told["regulators.roof.regulator.dead_time"]
    found = rehearse(system, "load-rejection", assume=True)
    assert {need.path for need in found.assumed} == set(told)
    assert all(need.assumed and need.meaning for need in found.assumed)


def test_what_nothing_can_be_assumed_for_is_refused_all_the_same() -> None:
    error = refused(site({"packs.north.charge.ceiling": "unknown"}), "load-rejection", assume=True)
    assert codes(error) == {"figure-missing"}
    assert all("--assume" not in diagnostic.advice for diagnostic in error.diagnostics)


@pytest.mark.parametrize("missing", [
    "packs.north.cell", "packs.north.cells_series", "packs.north.resistance", "packs.north.charge",
    "regulators.roof.charge", "cells", "site", "converters.main.efficiency", "packs.north.lead",
    "packs.north.protection.charge_current.delay", "packs.north.protection.charge_current.threshold",
])  # fmt: skip
@pytest.mark.parametrize("event", [event for event in EVENTS if event != "pack-joins"])
def test_whatever_is_missing_ends_in_words(missing: str, event: str) -> None:
    system = site({missing: GONE, "packs.north.cell": GONE} if missing == "cells" else {missing: GONE})
    for assume in (False, True):
        try:
            found = rehearse(system, event, assume=assume)
        except InputError as error:
            found = None
            told = codes(error)
        else:
            told = set()
        assert told <= {"figure-missing", UNFIT, "figure-unusable"}
        assert found is None or assume or not found.assumed


# ---------------------------------------------------------------- odd but possible


def test_no_crossing() -> None:
    found = outcome(site({f"{RULE}.threshold": "500 A"}), "load-rejection")
    above = reach(found, RULE)
    assert (above.longest, above.total, above.acted_at) == (0.0, 0.0, None)
    assert above.share < 0.0
    assert above.peak == pytest.approx(259.439, rel=1e-5)


def test_a_threshold_below_the_operating_point_trips_before_the_event() -> None:
    found = outcome(site({f"{RULE}.threshold": "150 A", f"{RULE}.delay": "0.4 s"}), "load-rejection")
    assert found.first is not None
    assert found.first.time == pytest.approx(0.4)


@pytest.mark.parametrize("time_constant", ["1 us", "1 ms", "1000000 s"])
def test_stiff_time_constants(time_constant: str) -> None:
    changes = {"regulators.roof.regulator.time_constant": time_constant, f"{RULE}.measurement": {"filter": "2 us"}}
    found = outcome(site(changes), "load-rejection")
    assert found.packs[0].charge_peak == pytest.approx(259.439, rel=1e-5)
    tau = {"1 us": 1e-6, "1 ms": 1e-3}.get(time_constant)
    if tau:
        wanted = 1.1 + (88.4389 - 34.0) / 45.0
        assert reach(found, RULE).longest == pytest.approx(wanted, rel=1e-4)
    else:
        assert found.first is not None


@pytest.mark.parametrize(("path", "value"), [
    ("packs.north.resistance.pulse", "0 mohm"), ("packs.north.resistance.pulse", "5 mohm ± 200 %"),
    ("regulators.roof.regulator.slew", "0 A/s"), ("regulators.roof.regulator.time_constant", "-1 s"),
    ("converters.main.efficiency.discharge", "0 %"), ("packs.north.charge.ceiling", "-5 A"),
    ("packs.north.cells_series", 0), ("packs.north.protection.charge_current.delay", "-1 s"),
    ("packs.north.protection.charge_current", {"threshold": "0 A", "delay": "0 s",
                                               "curve": {"shape": "inverse", "time_constant": "40 s"}}),
])  # fmt: skip
def test_figures_that_cannot_be_are_refused_in_words(path: str, value: object) -> None:
    try:
        system = site({path: value})
    except InputError:
        return  # the document itself refuses it
    error = refused(system, "load-rejection")
    assert codes(error) == {"figure-unusable"}
    assert all("tolerance" in diagnostic.advice for diagnostic in error.diagnostics)


@pytest.mark.parametrize("path", ["packs.north.capacity.rated", "packs.north.cells_series"])
def test_packs_without_capacity(path: str) -> None:
    value = 0 if path.endswith("series") else "0 Ah"
    try:
        system = site({path: value})
    except InputError:
        return
    assert codes(refused(system, "reserve-floor")) == {"figure-unusable"}


def test_zero_times_and_a_threshold_at_the_operating_point() -> None:
    changes = {
        "regulators.roof.regulator.dead_time": "0 s", "regulators.roof.regulator.time_constant": "0 s",
        f"{RULE}.delay": "0 s", f"{RULE}.threshold": "171 A",
    }  # fmt: skip
    course = course_of(site(changes), "load-rejection")
    assert outcome_of(course).first is not None
    assert not course.is_restless


def test_a_pack_that_allows_nothing() -> None:
    found = outcome(site({"packs.north.charge.ceiling": "0 A"}), "load-rejection")
    assert found.packs[0].charge_peak == pytest.approx(6900 / 0.94 / 82.829, rel=1e-6)


def test_chattering_protections_are_bounded_and_told() -> None:
    """A voltage protection that releases at rest, at once, trips and releases for ever."""
    voltage = {
        "enabled": "yes",
        "threshold": "83.05 V",
        "delay": "0 s",
        "release": {"threshold": "83.0 V", "delay": "0 s"},
    }
    course = course_of(site({"packs.north.protection.pack_over_voltage": voltage}), "load-rejection")
    assert course.is_restless
    assert course.moments[-1].what is What.RESTLESS
    assert len(course.pieces) < MOST_PIECES
    slow = {**voltage, "release": {"threshold": "83.0 V", "delay": "5 s"}, "delay": "0.2 s"}
    changes = {"packs.north.protection.pack_over_voltage": slow, "regulators.roof.obeys_dynamic_limit": "no"}
    day = course_of(site(changes), "load-rejection", Options(lasting=86400.0))
    assert day.is_restless
    assert len(day.pieces) < MOST_PIECES


def test_a_limiter_that_lets_go_above_where_it_engages() -> None:
    limiter = {**LIMITER, "release": "230 A"}
    course = course_of(site({"packs.north.limiter": limiter}), "load-rejection")
    assert course.is_restless or outcome_of(course).first is not None


def test_a_limiter_in_the_only_pack_leaves_the_bus_to_its_capacitance() -> None:
    """9.5 A pass, the rest charges the bus; it lets go once the pack would take little enough."""
    changes = {
        "packs.north.limiter": LIMITER,
        "regulators.roof.voltage": {"target": "95 V"},
        "regulators.roof.regulator.over_voltage_stop": "10 ms",
    }
    course = course_of(site(changes), "load-rejection")
    found = outcome_of(course)
    assert not course.is_restless
    assert found.first is not None
    assert found.first.path == "packs.north.limiter"
    assert found.highest_voltage > 95.0
    limited = [piece for piece in course.pieces if piece.is_afloat]
    assert limited
    assert all(piece.current(0)(0.0) == pytest.approx(9.5) for piece in limited)


def test_a_pack_that_left_does_not_come_back_when_its_protection_lets_go() -> None:
    """What was done from outside stays done."""
    voltage = {
        "enabled": "yes",
        "threshold": "82.95 V",
        "delay": "0.5 s",
        "release": {"threshold": "82.9 V", "delay": "1 s"},
    }
    south = {"like": "north", "protection": {"pack_over_voltage": voltage}}
    course = course_of(site({"packs.south": south}), "pack-leaves", Options(pack="south"))
    after = [piece for piece in course.pieces if piece.start >= 1.0]
    assert after
    assert all(abs(piece.current(1)(0.0)) < 1e-12 for piece in after)
    assert any(moment.what is What.RELEASED for moment in course.moments) or all(
        moment.what is not What.ACTED for moment in course.moments
    )


def test_a_pack_without_separate_paths_opens_when_it_blocks_charge() -> None:
    """In doubt too: then nothing holds the bus, and the loads go dark once the sources have stopped."""
    sources = {"regulators.roof.voltage": {"target": "90 V"}, "regulators.roof.regulator.over_voltage_stop": "10 ms"}
    both = course_of(site(sources), "trip-under-charge")
    open_ = course_of(site({**sources, "packs.north.separate_paths": GONE}), "trip-under-charge")
    assert outcome_of(both).lowest_voltage > 82.0
    assert all(piece.is_afloat for piece in open_.pieces if piece.start >= 1.0)


def test_a_pack_without_separate_paths_that_the_cold_blocked_is_open() -> None:
    cold = {"enabled": "yes", "threshold": "5 degC", "delay": "10 s", "action": "block-charge"}
    derating = {"temperature": {"points": [["0 degC", 0], ["10 degC", 1]]}}
    changes = {"packs.north.protection.charge_cold": cold, "packs.north.charge.derating": derating}
    apart = course_of(site(changes), "cold-morning")
    joined = course_of(site({**changes, "packs.north.separate_paths": "no"}), "cold-morning")
    assert not any(piece.is_afloat for piece in apart.pieces)
    assert all(piece.is_afloat for piece in joined.pieces)


def test_what_is_taken_of_the_paths_is_told() -> None:
    found = rehearse(site({"packs.north.separate_paths": GONE}), "load-rejection")
    assert any("packs.north is taken to open" in words for words in found.taken)


def test_days() -> None:
    course = course_of(site(), "load-rejection", Options(lasting=30 * 86400.0))
    assert course.pieces[-1].end == 30 * 86400.0
    assert reach(outcome_of(course), RULE).longest == pytest.approx(2.74389, rel=2e-6)
    assert len(course.pieces) < 20


def test_a_row_of_events_is_bounded() -> None:
    assert codes(refused(site(), "load-rejection", Options(every=1.0, times=MOST_TIMES + 1))) == {"row-too-long"}
    slow = site({"loads.house": {"power": {"rated": "2 kW"}, "start": {"multiple": 3, "time": "4 s"}}})
    assert codes(refused(slow, "load-pickup", Options(every=5.0, times=3))) == {"row-too-close"}


def test_a_row_of_leavings_brings_the_pack_back_in_between() -> None:
    system = site({"packs.south": {"like": "north"}, f"{RULE}.threshold": "400 A"})
    course = course_of(system, "pack-leaves", Options(pack="south", every=20.0, times=2))
    at = {time: next(p.current(1)(0.0) for p in course.pieces if p.start <= time < p.end) for time in (5.0, 15.0, 25.0)}
    assert at[5.0] == 0.0
    assert at[15.0] > 10.0
    assert at[25.0] == 0.0


# ---------------------------------------------------------------- systems that lack something


@pytest.mark.parametrize("event", EVENTS)
@pytest.mark.parametrize("without", ["packs", "converters", "regulators", "loads", "all"])
def test_systems_that_lack_a_kind(event: str, without: str) -> None:
    """Refused in words, or rehearsed; never a traceback."""
    gone: dict[str, Any] = {"packs": GONE, "converters": GONE, "regulators": GONE, "loads": GONE}
    changes = gone if without == "all" else {without: GONE}
    if without == "packs":
        changes = {"packs": GONE, "converters.main.feeds": GONE, "regulators.roof.feeds": GONE}
    system = site(changes)
    found, told = None, set[str]()
    try:
        found = rehearse(system, event, assume=True)
    except InputError as error:
        told = codes(error)
    assert told <= {UNFIT, "figure-missing"}
    if found is not None:
        assert without not in ("packs", "all")
        assert found.nominal.traces


def test_an_unknown_event_names_the_nearest() -> None:
    (diagnostic,) = refused(site(), "load-rejektion").diagnostics
    assert diagnostic.code == "unknown-event"
    assert diagnostic.advice == "write `load-rejection`"
    assert "load-pickup" in diagnostic.expected


def test_an_unknown_pack_names_the_nearest() -> None:
    (diagnostic,) = refused(site(), "pack-leaves", Options(pack="nort")).diagnostics
    assert diagnostic.advice == "write `packs.north`"


def test_a_bus_without_a_stated_capacitance_leaps() -> None:
    """Where a protection leaves the bus alone, no capacitance may not mean no rise."""
    changes = {
        "site.dc": GONE, f"{RULE}.threshold": "180 A", f"{RULE}.delay": "0.5 s",
        "regulators.roof.voltage": {"target": "95 V"}, "regulators.roof.regulator.over_voltage_stop": "10 ms",
    }  # fmt: skip
    figures = Figures(site(changes))
    scene = scene_of(EVENTS["load-rejection"], figures, Options())
    assert any("leaps" in words for words in figures.taken)
    assert outcome_of(run(scene.plant, scene.start, scene.changes, scene.lasting)).highest_voltage > 95.0


def test_a_reserve_without_a_cell_is_no_all_clear() -> None:
    for assume in (False, True):
        with pytest.raises(InputError) as caught:
            rehearse(site({"packs.north.cell": GONE}), "reserve-floor", assume=assume)
        assert codes(caught.value) == {"figure-missing"}


def test_a_reserve_of_an_unknown_pack_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        rehearse(site(), "reserve-floor", Options(pack="nort"))
    assert codes(caught.value) == {"no-such-pack"}
