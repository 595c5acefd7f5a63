"""Courses in closed form against numerical integration of the same plants, written apart from them."""

from __future__ import annotations

import os
from collections import defaultdict

import pytest

from limitrules.simulate.course import Course, run
from limitrules.simulate.outcome import outcome_of
from limitrules.simulate.told import What
from tests.simulate.integrated import Integrated, Told
from tests.simulate.plants import Case, random_case

PLANTS = 500 if os.environ.get("LIMITRULES_PROFILE") == "nightly" else 50
NEAR, NEAR_UNDER_LOAD = 1e-6, 1e-3
"""A load holds its current between events. Where sources move while one runs, what counts as an event shows in that."""
COMPARED = {What.EXCEEDED: "exceeded", What.BACK: "back", What.ACTED: "acted", What.RELEASED: "released",
            What.ORDER: "order", What.AFLOAT: "afloat"}  # fmt: skip


def integrated(case: Case) -> Told:
    return Integrated(case.plant, case.start.extra_load, case.changes, case.lasting).run()


def times(moments: list[tuple[float, str, str]]) -> dict[tuple[str, str], list[float]]:
    """When what happened to whom; what ends at the instant at which it begins never was."""
    found: dict[tuple[str, str], list[float]] = defaultdict(list)
    for time, what, path in moments:
        if not any(abs(time - other) <= 1e-9 for other in found[what, path]):
            found[what, path].append(time)
    for what, path in [key for key in found if key[0] == "back"]:
        at_once = [time for time in found[what, path] if time in found["exceeded", path]]
        for time in at_once:
            found[what, path].remove(time)
            found["exceeded", path].remove(time)
    return {key: value for key, value in found.items() if value}


def moments_of(course: Course) -> list[tuple[float, str, str]]:
    return [(m.time, COMPARED[m.what], m.path) for m in course.moments if m.what in COMPARED]


def moves_under_load(case: Case, course: Course) -> bool:
    return case.start.extra_load > 0.0 and any(
        moment.what is What.ORDER and moment.time < case.changes[0].time for moment in course.moments
    )


@pytest.mark.parametrize("seed", range(PLANTS))
def test_peaks_times_and_order_agree_with_integration(seed: int) -> None:
    case = random_case(seed)
    course, rival = run(case.plant, case.start, case.changes, case.lasting), integrated(case)
    ours, theirs = times(moments_of(course)), times(rival.moments)
    assert {key: len(value) for key, value in ours.items()} == {key: len(value) for key, value in theirs.items()}
    near = NEAR_UNDER_LOAD if moves_under_load(case, course) else NEAR
    for key, found in ours.items():
        assert found == pytest.approx(theirs[key], rel=near, abs=near), key
    outcome = outcome_of(course)
    for pack, (high, low) in zip(outcome.packs, rival.peaks, strict=True):
        assert pack.charge_peak == pytest.approx(high, rel=near, abs=1e-6)
        assert pack.discharge_peak == pytest.approx(-low, rel=near, abs=1e-6)
    assert outcome.highest_voltage == pytest.approx(rival.voltage[1], rel=near)
    assert outcome.charge == pytest.approx(rival.charge, rel=near, abs=1e-3)
