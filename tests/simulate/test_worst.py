"""The search for the worst corner against all corners, one by one."""

from __future__ import annotations

import itertools
import os
import random
from collections.abc import Mapping

import pytest
from attrs import evolve

from limitrules.simulate.course import run
from limitrules.simulate.figures import Spread
from limitrules.simulate.outcome import reaches_of
from limitrules.simulate.rehearsal import rehearse
from limitrules.simulate.told import Worst, severity_of
from limitrules.simulate.worst import search
from tests.simulate.plants import Case, random_case
from tests.simulate.sites import STATION, site

BOXES = 36 if os.environ.get("LIMITRULES_PROFILE") == "nightly" else 8
NEARLY_ALL = 0.9  # all of 36 boxes were found when this was written; nothing promises that


def varied(case: Case, at: Mapping[str, float]) -> float:
    """The severity of a case with some of its figures moved by a factor: those of the packs and of the sources."""
    packs = tuple(
        evolve(p, resistance=p.resistance * at.get(f"{p.path}.resistance", 1.0),
               charge_ceiling=p.charge_ceiling * at.get(f"{p.path}.ceiling", 1.0))
        for p in case.plant.packs
    )  # fmt: skip
    sources = tuple(
        evolve(s, dead_time=s.dead_time * at.get(f"{s.path}.dead", 1.0), slew=s.slew * at.get(f"{s.path}.slew", 1.0),
               time_constant=s.time_constant * at.get(f"{s.path}.tau", 1.0))
        for s in case.plant.sources
    )  # fmt: skip
    watches = tuple(
        evolve(w, level=w.level * at.get(f"{w.path}.level", 1.0), delay=w.delay * at.get(f"{w.path}.delay", 1.0))
        for w in case.plant.watches
    )
    plant = evolve(case.plant, packs=packs, sources=sources, watches=watches)
    return severity_of(reaches_of(run(plant, case.start, case.changes, 8.0)))


def box(seed: int) -> tuple[Case, list[Spread]]:
    """A case with 3 to 8 uncertain figures."""
    case, chance = random_case(1000 + seed), random.Random(seed)
    paths = [f"{p.path}.{name}" for p in case.plant.packs for name in ("resistance", "ceiling")]
    paths += [f"{s.path}.{name}" for s in case.plant.sources for name in ("dead", "tau", "slew")]
    paths += [
        f"{w.path}.{name}" for w in case.plant.watches for name in ("level", "delay") if w.path.endswith("current")
    ]
    chosen = chance.sample(paths, min(len(paths), 8 - seed % 6))
    spreads = []
    for path in chosen:
        spread = chance.uniform(0.01, 0.2)
        spreads.append(Spread(path, 1.0 - spread, 1.0, 1.0 + spread))
    return case, spreads


def brute(case: Case, spreads: list[Spread]) -> float:
    ends = [(spread.low, spread.high) for spread in spreads]
    paths = [spread.path for spread in spreads]
    return max(varied(case, dict(zip(paths, corner, strict=True))) for corner in itertools.product(*ends))


def test_the_search_finds_the_worst_of_all_corners_in_nearly_all_boxes() -> None:
    found = 0
    for seed in range(BOXES):
        case, spreads = box(seed)

        def severity(at: Mapping[str, float], case: Case = case) -> float:
            return varied(case, at)

        worst = search(spreads, severity)
        assert worst.severity == varied(case, worst.at), "the corner gives exactly what was told of it"
        assert worst.severity >= varied(case, {})
        everything = brute(case, spreads)
        assert worst.severity <= everything + 1e-9 or set(worst.at.values()) <= {1.0} | _ends(spreads)
        found += worst.severity >= everything - 1e-9
    assert found / BOXES >= NEARLY_ALL, f"{found} of {BOXES}"


def _ends(spreads: list[Spread]) -> set[float]:
    return {end for spread in spreads for end in (spread.low, spread.high)}


def test_a_worst_corner_that_only_two_deviations_make_together() -> None:
    """Alone each makes it better; the random corners are there for this, and no proof is claimed."""
    spreads = [Spread(f"x.{n}", -1.0, 0.0, 1.0) for n in range(8)]

    def severity(at: Mapping[str, float]) -> float:
        one, other = at["x.0"], at["x.1"]
        return 5.0 if one == other == 1.0 else -abs(one) - abs(other)

    worst = search(spreads, severity)
    assert worst.severity == 5.0
    assert not hasattr(worst, "proven")
    assert "tried" in {field.name for field in Worst.__attrs_attrs__}


def test_what_shares_a_sensor_moves_together() -> None:
    """Two readings of one meter err the same way, so their difference does not err at all."""
    spreads = [Spread("a", 9.0, 10.0, 11.0, "sensor clamp"), Spread("b", 18.0, 20.0, 22.0, "sensor clamp"),
               Spread("c", 0.0, 1.0, 2.0)]  # fmt: skip
    seen: list[tuple[float, float]] = []

    def severity(at: Mapping[str, float]) -> float:
        seen.append((at["a"], at["b"]))
        return 2.0 * at["a"] - at["b"] + at["c"]

    worst = search(spreads, severity)
    assert set(seen) <= {(9.0, 18.0), (10.0, 20.0), (11.0, 22.0)}
    assert worst.severity == 2.0
    apart = search([evolve(spread, shared="") for spread in spreads], severity)
    assert apart.severity == 6.0
    assert worst.matters == ("c",)


def test_the_same_search_twice_gives_the_same() -> None:
    case, spreads = box(5)
    one, other = (search(spreads, lambda at: varied(case, at)) for _ in range(2))
    assert (one.at, one.severity, one.tried, one.matters) == (other.at, other.severity, other.tried, other.matters)


def test_progress_never_runs_over() -> None:
    case, spreads = box(3)
    told: list[tuple[int, int]] = []
    worst = search(spreads, lambda at: varied(case, at), lambda done, most: told.append((done, most)))
    assert [done for done, _ in told] == list(range(1, worst.tried + 1))
    assert all(done <= most for done, most in told)


def test_no_deviation_is_no_search() -> None:
    assert search([], lambda at: 1.0).tried == 1
    found = rehearse(site(), "load-rejection")
    assert found.worst is None
    assert found.corner is None


def test_a_rehearsal_s_corner_reproduces_its_severity() -> None:
    system = site({
        "packs.north.charge.ceiling": "171 A ± 1.5 %", "regulators.roof.regulator.slew": "45 A/s ± 15 %",
        "packs.north.protection.charge_current.threshold": "205 A ± 3 %",
    })  # fmt: skip
    found = rehearse(system, "load-rejection")
    assert found.corner is not None
    assert found.worst is not None
    assert found.worst.outcome is not None
    assert found.worst.outcome.severity == found.corner.severity
    at = found.corner.at
    moved = site({
        "packs.north.charge.ceiling": f"{at['packs.north.charge.ceiling']!r} A",
        "regulators.roof.regulator.slew": f"{at['regulators.roof.regulator.slew']!r} A/s",
        "packs.north.protection.charge_current.threshold":
            f"{at['packs.north.protection.charge_current.threshold']!r} A",
    })  # fmt: skip
    again = rehearse(moved, "load-rejection").nominal.outcome
    assert again is not None
    assert again.severity == pytest.approx(found.corner.severity, rel=1e-12)


def test_sensors_of_a_document_are_one_deviation() -> None:
    text = STATION + "sensors: {meter: {location: at the bus bar}}\n"
    text = text.replace(
        "resistance: {pulse: 1 mohm}", "resistance: {pulse: {value: 1 mohm, tolerance: 5 %, sensor: meter}}"
    )
    text = text.replace(
        "lead: {resistance: 0 mohm}", "lead: {resistance: {value: 2 mohm, tolerance: 5 %, sensor: meter}}"
    )
    found = rehearse(site(document=text), "load-rejection")
    assert found.corner is not None
    one, other = found.corner.at["packs.north.resistance.pulse"], found.corner.at["packs.north.lead.resistance"]
    assert other == pytest.approx(2.0 * one)
