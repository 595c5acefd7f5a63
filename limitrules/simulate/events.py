"""The events that can be rehearsed: how the site stands before, and what happens to it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from attrs import evolve, frozen

from limitrules.foundation.diagnostics import InputError, nearest, refuse
from limitrules.model.values import ComponentRecord
from limitrules.simulate.bus import Mode
from limitrules.simulate.course import Change, Start
from limitrules.simulate.figures import Figures
from limitrules.simulate.plant import Act, Plant
from limitrules.simulate.protections import CHARGE, DISCHARGE
from limitrules.simulate.scene import LEAD_IN, Options, Scene, lacks, last, repeated
from limitrules.simulate.site import Wanted, blocks_in_the_cold, plant_of, with_overload

RESERVE_FLOOR = "reserve-floor"
BOTH = (CHARGE, DISCHARGE)


@frozen(eq=False)
class Event:
    """An event that can be rehearsed. ``scene`` builds it from the figures of a document and what was chosen.

    None for the descent to the reserve, which takes hours and is worked out by its energy.
    """

    name: str
    title: str
    scene: Callable[[Figures, Options], Scene] | None
    lasting: float = 60.0


def scene_of(event: Event, figures: Figures, options: Options) -> Scene:
    """The scene of an event. Raises InputError where the system lacks what the event is about."""
    assert event.scene is not None
    scene = event.scene(figures, options)
    scene = repeated(scene, options) if options.every else scene
    return evolve(scene, lasting=options.lasting or max(scene.lasting, last(scene) + event.lasting))


# ---------------------------------------------------------------- while charging


def _load_rejection(figures: Figures, options: Options) -> Scene:
    plant = plant_of(figures, _wanted(options, (CHARGE,)))
    _demand_source(figures, plant)
    power, words = _dropping(figures, plant, options)
    change = Change(LEAD_IN, words, extra_load=0.0, figure=power, unit="W")
    return _charging(plant, figures, power, change, f"Sun on all regulators; {words}.")


def _export_stop(figures: Figures, options: Options) -> Scene:
    plant = plant_of(figures, _wanted(options, (CHARGE,)))
    _demand_source(figures, plant)
    grids = [record for record in figures.kind("source") if figures.word(record, "type") == "grid"]
    power = options.power
    if power is None:
        if not grids:
            raise lacks("a grid to export to", "say what is exported with --power")
        power = figures.number(grids[0], "power.export_limit")
    words = "the export ends"
    change = Change(LEAD_IN, words, extra_load=0.0, figure=power, unit="W")
    return _charging(plant, figures, power, change, "Sun on all regulators and export to the grid; the grid goes.")


def _charging(plant: Plant, figures: Figures, power: float, change: Change, words: str) -> Scene:
    """Sources charge the packs up to what these allow while ``power`` W are drawn on the AC side."""
    if plant.converter is None and power:
        raise lacks("a converter that feeds AC loads", "describe it under `converters`")
    figures.take("Each source gives up to its own ceiling before the event, and those that obey hold the packs' limit.")
    start = Start((Mode.FREE,) * len(plant.packs), _dc_loads(plant), extra_load=power)
    return Scene(plant, start, (change,), 0.0, words)


def _pack_leaves(figures: Figures, options: Options) -> Scene:
    return _pack_event(figures, options, Mode.OPEN, "opens")


def _pack_limits(figures: Figures, options: Options) -> Scene:
    scene = _pack_event(figures, options, Mode.LIMITING, "goes into its fallback limiter")
    number = scene.changes[0].modes[0][0]
    if scene.plant.packs[number].limiter is None:
        raise lacks(f"a fallback limiter in {scene.plant.packs[number].path}", "choose another one with --pack")
    # The limiter is held by what set it off, so it does not let go by the current alone.
    watches = tuple(w for w in scene.plant.watches if w.act is not Act.LIMIT or w.owner != number)
    return evolve(scene, plant=evolve(scene.plant, watches=watches))


def _pack_event(figures: Figures, options: Options, mode: Mode, verb: str) -> Scene:
    wanted = evolve(_wanted(_charged(figures, options), (CHARGE,)), needs_news=True, needs_bus=True)
    plant = plant_of(figures, wanted)
    _demand_source(figures, plant)
    number = _pack_number(plant, options, lambda pack: pack.limiter is not None or mode is Mode.OPEN)
    path = plant.packs[number].path
    change = Change(LEAD_IN, f"{path} {verb}", path, modes=((number, mode),))
    return _charging(plant, figures, 0.0, change, f"All sources charge; {path} {verb}.")


def _pack_joins(figures: Figures, options: Options) -> Scene:
    wanted = evolve(_wanted(_charged(figures, options), BOTH), needs_news=True)
    plant = plant_of(figures, wanted)
    number = _pack_number(plant, options)
    if len(plant.packs) < 2:
        raise lacks("a second pack to join", "a pack can only join others")
    path = plant.packs[number].path
    difference = options.difference if options.difference is not None else _closing_difference(figures, path)
    packs = list(plant.packs)
    packs[number] = evolve(packs[number], rest=packs[number].rest - difference)
    modes = tuple(Mode.OPEN if n == number else Mode.FREE for n in range(len(packs)))
    change = Change(LEAD_IN, f"{path} joins", path, modes=((number, Mode.FREE),), figure=difference, unit="V")
    words = f"All sources charge; {path}, whose voltage is lower, joins the others."
    scene = _charging(evolve(plant, packs=tuple(packs)), figures, 0.0, change, words)
    return evolve(scene, start=evolve(scene.start, modes=modes))


def _closing_difference(figures: Figures, pack: str) -> float:
    for record in figures.kind("contactor"):
        if pack in [other.path for other in figures.related(record, "packs")]:
            return figures.number(record, "close_difference_max")
    raise lacks(f"a contactor of {pack} with the difference at which it may close", "say it with --difference")


def _link_loss(figures: Figures, options: Options) -> Scene:
    wanted = evolve(_wanted(_charged(figures, options), (CHARGE,)), needs_news=True, needs_silence=True, needs_bus=True)
    plant = plant_of(figures, wanted)
    _demand_source(figures, plant)
    ceilings: tuple[tuple[int, float], ...] = ()
    words = "the link goes silent"
    if options.ceiling is not None:
        ceilings = tuple((number, options.ceiling) for number in range(len(plant.packs)))
        words += f" and every pack allows {options.ceiling:.4g} A from then on"
    change = Change(LEAD_IN, words, link=False, ceilings=ceilings)
    return _charging(plant, figures, 0.0, change, f"All sources charge; {words}.")


def _trip_under_charge(figures: Figures, options: Options) -> Scene:
    plant = plant_of(figures, evolve(_wanted(_charged(figures, options), (CHARGE,)), needs_news=True, needs_bus=True))
    _demand_source(figures, plant)
    chosen = range(len(plant.packs)) if options.pack is None else [_pack_number(plant, options)]
    who = options.pack or "every pack"
    change = Change(LEAD_IN, f"{who} blocks charge", modes=tuple((number, Mode.NO_CHARGE) for number in chosen))
    return _charging(plant, figures, 0.0, change, f"All sources charge; {who} blocks charge.")


def _cold_morning(figures: Figures, options: Options) -> Scene:
    site = figures.site
    cold = figures.number(site, "ambient.min") if site is not None else math.nan
    plant = plant_of(figures, evolve(_wanted(_charged(figures, options), (CHARGE,)), cold=cold))
    _demand_source(figures, plant)
    figures.take("The cells are as cold as the coldest air; what the packs allow follows their table of charge rates.")
    plant = evolve(plant, bank_ceiling=min(plant.bank_ceiling, sum(pack.charge_ceiling for pack in plant.packs)))
    blocks = [blocks_in_the_cold(figures, record, cold) for record in figures.kind("pack")]
    modes = tuple(Mode.NO_CHARGE if is_blocked else Mode.FREE for is_blocked in blocks)
    blocked = ", ".join(pack.path for pack, mode in zip(plant.packs, modes, strict=True) if mode is Mode.NO_CHARGE)
    if blocked:
        figures.take(f"The cold protection has blocked charge overnight: {blocked}.")
    start = Start(modes, _dc_loads(plant), asleep=True)
    words = "Cold cells at sunrise, nothing running; every source goes up to what it may."
    if Mode.FREE not in modes:
        figures.take(
            "With every pack blocked the sources hold their voltage targets and give the loads what they need."
        )
        return Scene(evolve(plant, sources=()), start, (Change(LEAD_IN, "the sun comes"),), 0.0, words)
    return Scene(plant, start, (Change(LEAD_IN, "the sun comes", awake=True),), 0.0, words)


# ---------------------------------------------------------------- while discharging


def _load_pickup(figures: Figures, options: Options) -> Scene:
    plant = plant_of(figures, _wanted(options, (DISCHARGE,)))
    _demand(figures, "converter")
    peak = _peak(figures, plant)
    record, running, starting, time = _starting(figures, options)
    before = max(0.0, peak - running)
    changes = [Change(LEAD_IN, f"{record} starts", record, extra_load=before + starting, figure=starting, unit="W")]
    if starting > running:
        words = f"{record} has started"
        changes.append(Change(LEAD_IN + time, words, record, extra_load=before + running, figure=running, unit="W"))
    plant = with_overload(_alone(plant), figures, before + starting)
    start = Start((Mode.FREE,) * len(plant.packs), _dc_loads(plant), extra_load=before)
    return Scene(plant, start, tuple(changes), 0.0, f"No sun, and all other loads of the peak run; {record} starts.")


def _starting(figures: Figures, options: Options) -> tuple[str, float, float, float]:
    """The load with the largest start: its path, power running and starting (W), and how long it starts (s)."""
    if options.power is not None:
        return "a load", options.power, options.power, 0.0
    found = []
    for record in figures.kind("load"):
        if figures.word(record, "bus") == "dc":
            continue
        running = figures.load_power(record)
        multiple = figures.optional(record, "start.multiple") or 1.0
        time = figures.optional(record, "start.time") or 0.0
        found.append((record.path, running, max(running, running * multiple), time))
    if not found:
        raise lacks("an AC load", "say what starts with --power")
    return max(found, key=lambda item: item[2])


def _overload(figures: Figures, options: Options) -> Scene:
    plant = plant_of(figures, _wanted(options, (DISCHARGE,)))
    _demand(figures, "converter")
    power = options.power if options.power is not None else _peak(figures, plant)
    change = Change(LEAD_IN, "all loads of the peak run together", extra_load=power, figure=power, unit="W")
    plant = with_overload(_alone(plant), figures, power)
    start = Start((Mode.FREE,) * len(plant.packs), _dc_loads(plant))
    return Scene(plant, start, (change,), _peak_duration(figures), "An island without sun; the peak of the load comes.")


def _grid_loss(figures: Figures, options: Options) -> Scene:
    plant = plant_of(figures, _wanted(options, (DISCHARGE,)))
    _demand(figures, "converter")
    grids = [record for record in figures.kind("source") if figures.word(record, "type") == "grid"]
    if not grids:
        raise lacks("a grid", "describe it under `sources` with `type: grid`")
    grid = grids[0]
    gap = figures.number(grid, "loss_detection_time", "1 s") + figures.number(grid, "transfer_time", "1 s")
    power = options.power if options.power is not None else _peak(figures, plant)
    helping = max(0.0, power - _import(figures, grid))
    changes = (
        Change(LEAD_IN, "the grid is lost", grid.path, extra_load=0.0),
        Change(LEAD_IN + gap, "the converter takes all loads", grid.path, extra_load=power, figure=power, unit="W"),
    )
    plant = with_overload(_alone(plant), figures, power)
    start = Start((Mode.FREE,) * len(plant.packs), _dc_loads(plant), extra_load=helping)
    words = "The grid carries what it may of the peak load, the converter the rest; the grid is lost."
    return Scene(plant, start, changes, _peak_duration(figures), words)


def _import(figures: Figures, grid: ComponentRecord) -> float:
    """What the grid may give (W)."""
    limit = figures.optional(grid, "power.import_limit")
    current, phases = figures.optional(grid, "service.current"), figures.optional(grid, "phases")
    voltage = figures.optional(grid, "ac.voltage.nominal")
    service = math.inf
    if current is not None and phases is not None and voltage is not None:
        factor = figures.optional(grid, "power_factor") or 1.0
        service = current * phases * voltage * factor
    found = min(math.inf if limit is None else limit, service)
    return figures.number(grid, "power.import_limit") if math.isinf(found) else found


# ---------------------------------------------------------------- what they share


def _wanted(options: Options, ways: tuple[str, ...]) -> Wanted:
    return Wanted(ways, options.soc, options.running)


def _charged(figures: Figures, options: Options) -> Options:
    """Beside a grid, the converter charges from it unless other sources were named."""
    if options.running or figures.site is None or figures.word(figures.site, "mode") != "grid-parallel":
        return options
    grids = [record for record in figures.kind("source") if figures.word(record, "type") == "grid"]
    on = tuple(record.path for record in grids if figures.word(record, "connection") != "disconnected")
    return evolve(options, running=on)


def _alone(plant: Plant) -> Plant:
    """Without sun: no source gives anything."""
    return evolve(plant, sources=(), watches=tuple(w for w in plant.watches if w.act is not Act.STOP_SOURCE))


def _dc_loads(plant: Plant) -> tuple[int, ...]:
    return tuple(number for number, load in enumerate(plant.loads) if load.on_dc)


def _peak(figures: Figures, plant: Plant) -> float:
    """The largest AC power at one time: as logged, else all loads together."""
    logged = figures.of_site("load.peak")
    if logged is not None:
        return logged
    figures.take("No peak of the load was logged; all AC loads are taken to run at once.")
    return sum(load.power for load in plant.loads if not load.on_dc)


def _peak_duration(figures: Figures) -> float:
    logged = figures.of_site("load.peak_duration")
    return LEAD_IN + (logged or 0.0)


def _dropping(figures: Figures, plant: Plant, options: Options) -> tuple[float, str]:
    """The largest load that can vanish at once: all that stands behind the converter, when its AC side trips."""
    if options.power is not None:
        return options.power, f"a load of {options.power / 1000:.4g} kW drops"
    power = _peak(figures, plant)
    if plant.converter is not None:
        power = min(power, plant.converter.power_ceiling)
    figures.take("The AC side of the converter trips, which drops all its loads; a smaller drop is set with --power.")
    return power, "the whole AC load drops"


def _pack_number(plant: Plant, options: Options, fit: Callable[..., bool] = lambda pack: True) -> int:
    """The pack it happens to: the chosen one, else the one that carries most of the current."""
    paths = [pack.path for pack in plant.packs]
    if options.pack is None:
        fitting = [number for number, pack in enumerate(plant.packs) if fit(pack)]
        if not fitting:
            raise lacks("a pack that fits", "describe it under `packs`")
        return max(fitting, key=lambda number: plant.packs[number].conductance)
    return paths.index(_pack_path(options.pack))


def _pack_path(name: str) -> str:
    return name if name.startswith("packs.") else f"packs.{name}"


def refuse_unknown(figures: Figures, options: Options) -> None:
    """Refuse packs and sources that the system does not have, and sources that charge nothing by running."""
    packs = [record.path for record in figures.kind("pack")]
    if options.pack is not None and packs and _pack_path(options.pack) not in packs:
        raise _no_such("pack", options.pack, nearest(_pack_path(options.pack), packs))
    sources = {record.path: record for record in figures.kind("source")}
    for name in options.running:
        if name not in sources:
            raise _no_such("source", name, nearest(name, sources))
        if not figures.related(sources[name], "supplies"):
            raise lacks(f"a converter that `{name}` supplies", f"state `{name}.supplies`, or leave it out of --running")


def _no_such(sort: str, name: str, near: str | None) -> InputError:
    option = {"pack": "--pack", "source": "--running"}[sort]
    return refuse(f"no-such-{sort}", f"there is no {sort} `{name}` in this system", where=option,
                  advice=f"write `{near}`" if near else "")  # fmt: skip


def _demand(figures: Figures, *kinds: str) -> None:
    if not figures.kind("pack"):
        raise lacks("a pack", "describe it under `packs`")
    if not any(figures.kind(kind) for kind in kinds):
        raise lacks(" or ".join(f"a {kind}" for kind in kinds), f"describe it under `{kinds[0]}s`")


def _demand_source(figures: Figures, plant: Plant) -> None:
    _demand(figures, "converter", "regulator")
    if not plant.sources:
        advice = "describe a solar regulator or a source on the DC bus, or name a running AC source with --running"
        raise lacks("a source that charges the packs then", advice)


EVENTS: Mapping[str, Event] = {
    event.name: event
    for event in (
        Event("load-rejection", "a load drops while the sun charges the packs", _load_rejection),
        Event("export-stop", "the grid goes while power is exported", _export_stop),
        Event("load-pickup", "the largest load starts while the packs carry the others", _load_pickup),
        Event("overload", "the peak of the load comes in island mode", _overload),
        Event("grid-loss", "the grid is lost and the converter takes all loads", _grid_loss),
        Event("pack-leaves", "a pack opens while all sources charge", _pack_leaves),
        Event("pack-limits", "a pack goes into its fallback limiter while all sources charge", _pack_limits),
        Event("pack-joins", "a pack with a lower voltage joins the others", _pack_joins),
        Event("link-loss", "nobody hears the packs any more", _link_loss),
        Event("trip-under-charge", "protections block charge while all sources charge", _trip_under_charge),
        Event(RESERVE_FLOOR, "the packs go down to their reserve with no sun", None),
        Event("cold-morning", "the sun comes while the cells are at their coldest", _cold_morning),
    )
}
