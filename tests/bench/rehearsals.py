"""What a rehearsal costs against numerical integration of the same plant, and what its worst case costs."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from attrs import evolve

from limitrules.simulate.bus import Mode
from limitrules.simulate.course import Change, Start, run
from limitrules.simulate.figures import Spread
from limitrules.simulate.outcome import outcome_of, reaches_of
from limitrules.simulate.plant import Act, Converter, Pack, Part, Plant, Source, Watch
from limitrules.simulate.told import What, severity_of
from limitrules.simulate.worst import search
from tests.bench.clock import in_turn
from tests.bench.measured import Disagreement, Measured, noise
from tests.simulate.integrated import Integrated, Told

LASTING = 60.0
CHANGE = Change(1.0, "the whole AC load drops", extra_load=0.0)
POWER = 6900.0
START = Start((Mode.FREE,) * 4, (), POWER)


class Bare(Integrated):
    """The rival without a look at peaks: only what happens when."""

    def _note(self, solved: Any) -> None:
        pass


def rehearsals() -> Iterator[Measured]:
    """A load rejection with three sources, four packs and their protections: one course, and its worst corner."""
    for fate, delay in (("ridden through", 9.0), ("all packs trip one by one", 4.5)):
        yield _course(fate, bench_plant(delay))
    plant = bench_plant(9.0)

    def worst() -> object:
        return search(SPREADS, lambda at: severity_of(reaches_of(run(moved(plant, at), START, (CHANGE,), LASTING))))

    times = in_turn(worst, lambda: None, 3)
    tried = search(SPREADS, lambda at: severity_of(reaches_of(run(moved(plant, at), START, (CHANGE,), LASTING)))).tried
    yield Measured("its worst corner over ten uncertain inputs", times.best_ours, None, "s", 1.0, "",
                   note=f"{tried} corners simulated")  # fmt: skip


def _course(fate: str, plant: Plant) -> Measured:
    """One course with its figures, against the same by integration."""

    def ours() -> object:
        return outcome_of(run(plant, START, (CHANGE,), LASTING))

    def rival() -> Told:
        return Bare(plant, POWER, (CHANGE,), LASTING).run()

    _same(plant, rival())
    pieces = len(run(plant, START, (CHANGE,), LASTING).pieces)
    times = in_turn(ours, rival, 5, loops_ours=5)
    return Measured(f"load rejection of 60 s, 3 sources, 4 packs, {fate}", times.best_ours * 1e6,
                    times.best_rival * 1e6, "us", 200.0, "solve_ivp with events at the same accuracy", at_least=True,
                    note=f"{pieces} pieces, {len(plant.watches)} protections and stops; the rival does not look for"
                    f" peaks; {noise(times, turned=True)}")  # fmt: skip


def bench_plant(delay: float) -> Plant:
    """Four packs of different age, three sources of different speed; ``delay`` of the current protections (s)."""
    packs = tuple(
        Pack(f"packs.p{n}", 80.0 + 0.02 * n, 0.008 + 0.002 * n, 0.002, ceiling, math.inf, None, True)
        for n, ceiling in enumerate((96.0, 93.0, 81.0, 70.0))
    )
    sources = tuple(
        Source(f"regulators.r{n}", ceiling, True, dead, tau, slew)
        for n, (ceiling, dead, tau, slew) in enumerate(
            ((180.0, 1.1, 1.7, 45.0), (150.0, 0.6, 2.4, 30.0), (120.0, 2.1, 0.9, 25.0))
        )
    )
    watches = [watch for number, pack in enumerate(packs) for watch in _watches(number, pack, delay)]
    watches += [
        Watch(f"{s.path}.stop", Act.STOP_SOURCE, Part.BUS_VOLTAGE, n, 1, 86.0, 0.2) for n, s in enumerate(sources)
    ]
    return Plant(packs, sources, (), tuple(watches), Converter("converters.main", 0.94), math.inf, 1.5, math.inf, 0.02)


def _watches(number: int, pack: Pack, delay: float) -> Iterator[Watch]:
    level = pack.charge_ceiling * 1.15
    yield Watch(f"{pack.path}.charge_current", Act.BLOCK, Part.PACK_CURRENT, number, 1, level, delay, 0.1,
                release=level * 0.6, release_delay=30.0, retries=3, blocks_charge=True)  # fmt: skip
    yield Watch(f"{pack.path}.over_voltage", Act.BLOCK, Part.PACK_VOLTAGE, number, 1, 84.0, 2.0, release=82.0,
                release_delay=30.0, blocks_charge=True)  # fmt: skip


SPREADS = tuple(
    Spread(path, 1.0 - spread, 1.0, 1.0 + spread)
    for path, spread in (
        *((f"packs.p{n}.ceiling", 0.015) for n in range(4)),
        *((f"regulators.r{n}.time_constant", 0.2) for n in range(3)),
        *((f"regulators.r{n}.slew", 0.15) for n in range(3)),
    )
)  # fmt: skip


def moved(plant: Plant, at: Mapping[str, float]) -> Plant:
    """The plant with some of its figures moved by a factor."""
    packs = tuple(evolve(p, charge_ceiling=p.charge_ceiling * at[f"{p.path}.ceiling"]) for p in plant.packs)
    sources = tuple(
        evolve(s, time_constant=s.time_constant * at[f"{s.path}.time_constant"], slew=s.slew * at[f"{s.path}.slew"])
        for s in plant.sources
    )
    return evolve(plant, packs=packs, sources=sources)


def _same(plant: Plant, told: Told) -> None:
    names = {What.EXCEEDED: "exceeded", What.BACK: "back", What.ACTED: "acted", What.ORDER: "order"}
    course = run(plant, START, (CHANGE,), LASTING)
    ours = sorted((names[m.what], m.path, m.time) for m in course.moments if m.what in names)
    theirs = sorted((what, path, time) for time, what, path in told.moments if what in names.values())
    if [item[:2] for item in ours] != [item[:2] for item in theirs]:
        raise Disagreement(f"load rejection: ours tells {ours}, the rival {theirs}")
    for one, other in zip(ours, theirs, strict=True):
        if not math.isclose(one[2], other[2], rel_tol=1e-6, abs_tol=1e-6):
            raise Disagreement(f"load rejection, {one[:2]}: ours at {one[2]!r} s, the rival at {other[2]!r} s")
