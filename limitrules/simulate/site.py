"""A plant from a system document: packs with their protections, sources with their regulators, loads, links."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from attrs import evolve, frozen

from limitrules.model.values import ComponentRecord
from limitrules.simulate.figures import Figures, in_si, read_at
from limitrules.simulate.plant import Act, Converter, Limiter, Load, Pack, Part, Plant, Source, Watch
from limitrules.simulate.protections import CHARGE, DISCHARGE, guards_of
from limitrules.simulate.told import Need

USUAL_SOC = 0.5
# Slower than devices usually are, so that what is assumed does not flatter.
_DEAD_TIME, _TIME_CONSTANT, _SLEW, _STOP = "3 s", "3 s", "10 A/s", "1 s"


@frozen
class Wanted:
    """What a rehearsal needs of a site.

    ``ways``: the directions in which protections may act. ``soc``: state of charge as a share, None where the
    document or the usual one counts. ``running``: AC sources that charge through their converter, by path.
    ``needs_news``: it matters how long news of a ceiling takes. ``needs_silence``: likewise for a dead link.
    ``needs_bus``: the bus may be left without a pack.
    """

    ways: tuple[str, ...] = (CHARGE, DISCHARGE)
    soc: float | None = None
    running: tuple[str, ...] = ()
    needs_news: bool = False
    needs_silence: bool = False
    needs_bus: bool = False
    cold: float | None = None


def plant_of(figures: Figures, wanted: Wanted) -> Plant:
    """The plant; what is missing is noted in ``figures``."""
    records = figures.kind("pack")
    packs = tuple(_pack(figures, record, wanted) for record in records)
    charging = _sources(figures, wanted)
    loads = tuple(_load(figures, record) for record in figures.kind("load"))
    watches = [
        *(watch for number, record in enumerate(records) for watch in guards_of(figures, record, number, wanted.ways)),
        *(_limit_watch(number, pack) for number, pack in enumerate(packs) if pack.limiter),
        *(watch for number, record in enumerate(charging) for watch in _stops(figures, record, number, wanted)),
        *(watch for number, record in enumerate(figures.kind("load")) for watch in _sheds(figures, record, number)),
        *(_overstresses(figures) if wanted.needs_bus else ()),
    ]
    converter = figures.kind("converter")
    return Plant(
        packs,
        tuple(_source(figures, record, wanted) for record in charging),
        loads,
        tuple(watches),
        _converter(figures, converter[0]) if converter else None,
        _bank_ceiling(figures),
        _update_time(figures, wanted),
        _silence_time(figures, wanted),
        _capacitance(figures, wanted),
    )


def with_overload(plant: Plant, figures: Figures, power: float) -> Plant:
    """The plant with what ends an AC power (W) and a low bus voltage: overload of the converter, and its cut-off."""
    record, converter = figures.kind("converter")[0], plant.converter
    assert converter is not None
    watches = list(plant.watches)
    if not converter.can_limit and power > converter.power_ceiling:
        allowed = _overload_time(figures, record, power)
        watches.append(Watch(f"{record.path}.overload_curve", Act.STOP_CONVERTER, Part.CONVERTER_POWER, 0, 1,
                             converter.power_ceiling * (1.0 + 1e-9), allowed))  # fmt: skip
    cutoff = figures.optional(record, "voltage.cutoff")
    if cutoff is not None:
        error = figures.optional(record, "voltage.error") or 0.0
        # The converter sees less than the bus by what its leads lose, and may read low by its error.
        drop = converter.lead * power / (converter.efficiency * cutoff)
        delay = figures.number(record, "voltage.cutoff_delay", default=0.0)
        watches.append(Watch(f"{record.path}.voltage.cutoff", Act.STOP_CONVERTER, Part.BUS_VOLTAGE, 0, -1,
                             cutoff * (1.0 + error) + drop, delay))  # fmt: skip
    return evolve(plant, watches=tuple(watches))


def _overload_time(figures: Figures, record: ComponentRecord, power: float) -> float:
    curve = figures.curve(record, "overload_curve")
    if curve is None:
        figures.number(record, "overload_curve")
        return math.nan
    if power < float(curve.xs[0]):
        return math.inf
    time = read_at(curve, power)
    if math.isnan(time):
        figures.take(f"{record.path} stops at once above the last point of its overload curve.")
        return 0.0
    spread = float(curve.tolerance)
    return max(0.0, time * (1.0 - spread) if curve.relative else time - spread)


# packs


def _pack(figures: Figures, record: ComponentRecord, wanted: Wanted) -> Pack:
    separate = figures.flag(record, "separate_paths")
    if separate is None:
        figures.take(
            f"{record.path} is taken to open when it blocks one direction, since nothing says that it has two."
        )
    ceiling = figures.number(record, "charge.ceiling") if CHARGE in wanted.ways else math.inf
    if wanted.cold is not None and CHARGE in wanted.ways:
        ceiling *= _cold_share(figures, record, wanted.cold)
    return Pack(
        record.path,
        _rest_voltage(figures, record, wanted),
        _resistance(figures, record),
        figures.number(record, "lead.resistance", "0 ohm"),
        ceiling,
        figures.number(record, "discharge.ceiling") if DISCHARGE in wanted.ways else math.inf,
        _limiter(figures, record) if CHARGE in wanted.ways else None,
        bool(separate),
    )


def _cold_share(figures: Figures, record: ComponentRecord, temperature: float) -> float:
    curve = figures.curve(record, "charge.derating.temperature")
    if curve is None:
        figures.number(record, "charge.derating.temperature")
        return math.nan
    if temperature < float(curve.xs[0]):
        return 0.0  # colder than the table reaches: the pack grants nothing
    share = read_at(curve, temperature)
    return float(curve.ys[-1]) if math.isnan(share) else share


def blocks_in_the_cold(figures: Figures, record: ComponentRecord, temperature: float) -> bool:
    """True where the pack's protection surely blocks charge at a cell temperature (K)."""
    part = figures.part(record, "protection.charge_cold")
    if part is None or figures.flag(part, "enabled") is not True:
        return False
    threshold = figures.optional(part, "threshold")
    acts = figures.word(part, "action") in ("block-charge", "block-both", "")
    return threshold is not None and acts and temperature < threshold


def _series(figures: Figures, record: ComponentRecord) -> float:
    return figures.number(record, "cells_series")


def _rest_voltage(figures: Figures, record: ComponentRecord, wanted: Wanted) -> float:
    cell = figures.cell(record)
    if cell is None:
        return math.nan
    soc = wanted.soc
    if soc is None:
        soc = figures.optional(record, "soc.now")
    if soc is None:
        soc = USUAL_SOC
        figures.take("Packs whose state of charge is not stated are half full; another one is set with --soc.")
    curve = figures.curve(cell, "rest_voltage")
    if curve is None:
        return _series(figures, record) * figures.number(cell, "voltage.nominal")
    return _series(figures, record) * read_at(curve, min(max(soc, float(curve.xs[0])), float(curve.xs[-1])))


def _resistance(figures: Figures, record: ComponentRecord) -> float:
    own = figures.optional(record, "resistance.pulse")
    if own is not None:
        return own
    cell = figures.cell(record)
    one = figures.optional(cell, "resistance.pulse") if cell is not None else None
    if one is None:
        return figures.number(record, "resistance.pulse")
    figures.take(f"The resistance of {record.path} is that of its cells alone.")
    return one * _series(figures, record) / figures.number(record, "strings_parallel", default=1.0)


def _limiter(figures: Figures, record: ComponentRecord) -> Limiter | None:
    if not figures.flag(record, "limiter.fitted"):
        return None
    return Limiter(
        figures.number(record, "limiter.engage"),
        figures.number(record, "limiter.current"),
        figures.number(record, "limiter.release"),
    )


def _limit_watch(number: int, pack: Pack) -> Watch:
    limiter = pack.limiter
    assert limiter is not None
    return Watch(f"{pack.path}.limiter", Act.LIMIT, Part.LIMITED_CURRENT, number, 1, limiter.engage, 0.0,
                 release=limiter.release)  # fmt: skip


# sources


def _sources(figures: Figures, wanted: Wanted) -> list[ComponentRecord]:
    """Whatever charges the bus: regulators, sources on the DC bus, and converters whose AC source runs."""
    found = [*figures.kind("regulator")]
    found += [record for record in figures.kind("source") if figures.related(record, "feeds")]
    running = [record for record in figures.kind("source") if record.path in wanted.running]
    fed = {converter.path for record in running for converter in figures.related(record, "supplies")}
    return found + [record for record in figures.kind("converter") if record.path in fed]


def _source(figures: Figures, record: ComponentRecord, wanted: Wanted) -> Source:
    obeys = figures.flag(record, "obeys_dynamic_limit")
    if obeys is None:
        figures.take(f"{record.path} is taken not to obey the packs, since no test says that it does.")
    dynamic = bool(obeys)
    return Source(
        record.path,
        figures.number(record, "charge.ceiling"),
        dynamic,
        # A source that never gets an order does not move, so its dynamics do not matter.
        figures.number(record, "regulator.dead_time", _DEAD_TIME) if dynamic else 0.0,
        figures.number(record, "regulator.time_constant", _TIME_CONSTANT) if dynamic else 0.0,
        figures.number(record, "regulator.slew", _SLEW) if dynamic else math.inf,
        _fallback(figures, record),
    )


def _fallback(figures: Figures, record: ComponentRecord) -> float | None:
    behaviour = figures.word(record, "fallback.behaviour") if "fallback.behaviour" in record.kind.attributes else ""
    if behaviour in ("stop-both", "stop-charge"):
        return 0.0
    return figures.number(record, "fallback.charge") if behaviour == "static" else None


def _stops(figures: Figures, record: ComponentRecord, number: int, wanted: Wanted) -> Iterable[Watch]:
    """What stops a source when the bus voltage is too high."""
    kind = record.kind.attributes
    level = figures.optional(record, "over_voltage.threshold") if "over_voltage.threshold" in kind else None
    if level is not None:
        delay = figures.number(record, "over_voltage.delay", _STOP)
        yield _stop(f"{record.path}.over_voltage", number, level, delay)
    if "regulator.over_voltage_stop" not in kind:
        return
    if not wanted.needs_bus and figures.optional(record, "regulator.over_voltage_stop") is None:
        return
    target = figures.optional(record, "voltage.target")
    if target is None:
        return
    error = figures.optional(record, "voltage.error") or 0.0
    delay = figures.number(record, "regulator.over_voltage_stop", _STOP)
    yield _stop(f"{record.path}.regulator.over_voltage_stop", number, target * (1.0 + error), delay)


def _stop(path: str, number: int, level: float, delay: float) -> Watch:
    return Watch(path, Act.STOP_SOURCE, Part.BUS_VOLTAGE, number, 1, level, delay)


def _overstresses(figures: Figures) -> Iterable[Watch]:
    """What is told once the bus is above what a device survives."""
    for kind in ("converter", "regulator", "source", "load"):
        for record in figures.kind(kind):
            level = figures.optional(record, "voltage.abs_max")
            on_bus = kind != "load" or figures.word(record, "bus") == "dc"
            if level is not None and on_bus:
                path = f"{record.path}.voltage.abs_max"
                yield Watch(path, Act.OVERSTRESS, Part.BUS_VOLTAGE, 0, 1, level, 0.0)


# loads, converter, links


def _load(figures: Figures, record: ComponentRecord) -> Load:
    return Load(record.path, figures.load_power(record), figures.word(record, "bus") == "dc")


def _sheds(figures: Figures, record: ComponentRecord, number: int) -> Iterable[Watch]:
    level = figures.optional(record, "shed.voltage")
    if level is not None:
        delay = figures.number(record, "shed.delay", default=0.0) + figures.number(record, "shed.time", default=0.0)
        yield Watch(f"{record.path}.shed.voltage", Act.SHED, Part.BUS_VOLTAGE, number, -1, level, delay)


def _converter(figures: Figures, record: ComponentRecord) -> Converter:
    def most(attribute: str) -> float:
        found = figures.optional(record, attribute)
        return math.inf if found is None else found

    return Converter(
        record.path,
        figures.number(record, "efficiency.discharge", "0.9"),
        min(most("power.ceiling"), most("power.rated")),
        most("discharge.ceiling"),
        bool(figures.flag(record, "island.can_limit")),
        figures.number(record, "lead.resistance", default=0.0),
    )


def _bank_ceiling(figures: Figures) -> float:
    found = figures.of_site("bank.charge.ceiling")
    return math.inf if found is None else found


def _links(figures: Figures) -> Sequence[ComponentRecord]:
    """The links between packs and what charges them."""
    ends = ("ends.converters", "ends.regulators", "ends.sources")
    return [
        link
        for link in figures.kind("link")
        if figures.related(link, "ends.packs") and any(figures.related(link, end) for end in ends)
    ]


def _update_time(figures: Figures, wanted: Wanted) -> float:
    """A full period for every hop: what is published just after it was asked for waits for the next time."""
    if not wanted.needs_news:
        return 0.0
    links = _links(figures)
    if not links:
        return _unlinked(figures, "links", "time until a source hears of a changed ceiling", "10 s")
    return max(
        figures.number(link, "publish_period", "2 s") + figures.number(link, "poll_period", "2 s")
        + figures.number(link, "latency_max", "2 s")
        for link in links
    )  # fmt: skip


def _silence_time(figures: Figures, wanted: Wanted) -> float:
    if not wanted.needs_silence:
        return math.inf
    links = _links(figures)
    if not links:
        return _unlinked(figures, "links", "silence after which sources go to their fallback", "600 s")
    return max(figures.number(link, "timeout.converter_end", "600 s") for link in links)


def _unlinked(figures: Figures, path: str, meaning: str, usual: str) -> float:
    figures.needs[path] = Need(path, meaning, usual)
    return in_si(usual)


def _capacitance(figures: Figures, wanted: Wanted) -> float:
    site = figures.site
    whole = figures.optional(site, "dc.capacitance") if site is not None else None
    if whole is not None:
        return whole
    parts = [
        found
        for kind in ("converter", "regulator", "load")
        for record in figures.kind(kind)
        if (found := figures.optional(record, "capacitance")) is not None
    ]
    if not parts and wanted.needs_bus and site is not None:
        figures.number(site, "dc.capacitance")
    if not sum(parts):
        figures.take("The bus has no stated capacitance, so its voltage leaps once no pack holds it.")
    return sum(parts)
