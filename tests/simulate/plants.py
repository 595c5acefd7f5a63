"""Random plants, always the same ones for a seed."""

from __future__ import annotations

import math
import random

from attrs import frozen

from limitrules.simulate.bus import Mode
from limitrules.simulate.course import Change, Start
from limitrules.simulate.plant import Act, Converter, Limiter, Pack, Part, Plant, Source, Watch


@frozen(eq=False)
class Case:
    plant: Plant
    start: Start
    changes: tuple[Change, ...]
    lasting: float


def random_case(seed: int) -> Case:
    """A load rejection, a pack that leaves, or packs that block charge, on a random plant."""
    chance = random.Random(seed)
    packs = tuple(_pack(chance, number) for number in range(chance.randint(1, 4)))
    sources = tuple(_source(chance, number) for number in range(chance.randint(1, 4)))
    watches = [watch for number, pack in enumerate(packs) for watch in _watches(chance, pack, number)]
    watches += [_stop(chance, source, number) for number, source in enumerate(sources)]
    watches.append(Watch("bus.abs_max", Act.OVERSTRESS, Part.BUS_VOLTAGE, 0, 1, 75.0, 0.0))
    plant = Plant(
        packs,
        sources,
        (),
        tuple(watches),
        Converter("converters.main", chance.uniform(0.88, 0.97)),
        chance.choice((math.inf, chance.uniform(40.0, 300.0))),
        chance.uniform(0.1, 3.0),
        math.inf,
        chance.uniform(0.005, 0.05),
    )
    event = chance.choice(("rejection", "rejection", "leaves", "trip"))
    power = chance.uniform(1000.0, 7000.0) if event == "rejection" else 0.0
    change = {
        "rejection": Change(1.0, "drops", extra_load=0.0),
        "leaves": Change(1.0, "leaves", modes=((chance.randrange(len(packs)), Mode.OPEN),)),
        "trip": Change(1.0, "trips", modes=tuple((n, Mode.NO_CHARGE) for n in range(chance.randint(1, len(packs))))),
    }[event]  # fmt: skip
    return Case(plant, Start((Mode.FREE,) * len(packs), (), power), (change,), chance.uniform(15.0, 40.0))


def _pack(chance: random.Random, number: int) -> Pack:
    ceiling = chance.uniform(30.0, 110.0)
    limiter = None
    if chance.random() < 0.3:
        engage = ceiling * chance.uniform(1.1, 1.4)
        limiter = Limiter(engage, chance.uniform(4.0, 15.0), engage * chance.uniform(0.3, 0.8))
    return Pack(f"packs.p{number}", 52.0 + chance.uniform(-0.15, 0.15), chance.uniform(0.002, 0.02),
                chance.uniform(0.0005, 0.004), ceiling, math.inf, limiter, chance.random() < 0.7)  # fmt: skip


def _source(chance: random.Random, number: int) -> Source:
    return Source(
        f"regulators.r{number}",
        chance.uniform(20.0, 120.0),
        chance.random() < 0.8,
        chance.choice((0.0, chance.uniform(0.05, 3.0))),
        chance.choice((0.0, chance.uniform(0.1, 4.0), chance.uniform(0.1, 4.0), chance.uniform(0.1, 4.0))),
        chance.choice((math.inf, chance.uniform(4.0, 90.0), chance.uniform(4.0, 90.0))),
    )


def _watches(chance: random.Random, pack: Pack, number: int) -> list[Watch]:
    found = [_current(chance, pack, number), _voltage(chance, pack, number)]
    if chance.random() < 0.3:
        found.append(_heating(chance, pack, number))
    if chance.random() < 0.4:
        found.append(_discharge(chance, pack, number))
    if pack.limiter is not None:
        found.append(Watch(f"{pack.path}.limiter", Act.LIMIT, Part.LIMITED_CURRENT, number, 1, pack.limiter.engage, 0.0,
                           release=pack.limiter.release))  # fmt: skip
    return found


def _current(chance: random.Random, pack: Pack, number: int) -> Watch:
    level = pack.charge_ceiling * chance.uniform(1.05, 1.6)
    return Watch(
        f"{pack.path}.charge_current", Act.BLOCK, Part.PACK_CURRENT, number, 1, level, chance.uniform(0.1, 4.0),
        chance.choice((0.0, chance.uniform(0.05, 0.8))),
        release=chance.choice((None, level * chance.uniform(0.2, 0.9))), release_delay=chance.uniform(0.3, 4.0),
        retries=chance.choice((None, 0, 1, 2)), blocks_charge=True, blocks_discharge=chance.random() < 0.2,
    )  # fmt: skip


def _voltage(chance: random.Random, pack: Pack, number: int) -> Watch:
    level = pack.rest + chance.uniform(0.2, 1.5)
    return Watch(
        f"{pack.path}.over_voltage", Act.BLOCK, Part.PACK_VOLTAGE, number, 1, level, chance.uniform(0.3, 3.0),
        chance.choice((0.0, chance.uniform(0.05, 0.5))),
        release=chance.choice((None, level - chance.uniform(0.05, 0.3))), release_delay=chance.uniform(0.5, 5.0),
        retries=chance.choice((0, 1, 2)), blocks_charge=True,
    )  # fmt: skip


def _heating(chance: random.Random, pack: Pack, number: int) -> Watch:
    return Watch(
        f"{pack.path}.heating", Act.BLOCK, Part.PACK_CURRENT, number, 1,
        pack.charge_ceiling * chance.uniform(1.02, 1.3), 0.0,
        chance.choice((0.0, chance.uniform(0.05, 0.4))), chance.uniform(3.0, 60.0), blocks_charge=True,
    )  # fmt: skip


def _discharge(chance: random.Random, pack: Pack, number: int) -> Watch:
    return Watch(f"{pack.path}.discharge_current", Act.BLOCK, Part.PACK_CURRENT, number, -1,
                 -chance.uniform(2.0, 40.0), chance.uniform(0.2, 2.0), blocks_discharge=True)  # fmt: skip


def _stop(chance: random.Random, source: Source, number: int) -> Watch:
    return Watch(f"{source.path}.stop", Act.STOP_SOURCE, Part.BUS_VOLTAGE, number, 1, chance.uniform(54.0, 60.0),
                 chance.uniform(0.02, 0.4))  # fmt: skip
