"""A rehearsal: an event on a system, simulated at the nominal figures and at the worst corner of the tolerances."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from limitrules.foundation.diagnostics import Diagnostic, InputError, listing, nearest, refuse
from limitrules.model.system import System
from limitrules.simulate.course import Course, run
from limitrules.simulate.events import EVENTS, Event, refuse_unknown, scene_of
from limitrules.simulate.figures import Figures
from limitrules.simulate.outcome import reaches_of
from limitrules.simulate.reserve import descend
from limitrules.simulate.scene import Options, Scene, lacks
from limitrules.simulate.sound import refuse_unsound
from limitrules.simulate.story import story_of, story_of_descent
from limitrules.simulate.told import Need, Rehearsal, severity_of
from limitrules.simulate.worst import search

Progress = Callable[[int, int], None]
_FULL = 1.0


def event_named(name: str) -> Event:
    """The event of a name. Raises InputError with the nearest one."""
    found = EVENTS.get(name)
    if found is None:
        near = nearest(name, EVENTS)
        raise refuse("unknown-event", f"no event is called `{name}`", where="EVENT", expected=listing(list(EVENTS)),
                     advice=f"write `{near}`" if near else "")  # fmt: skip
    return found


def rehearse(
    system: System,
    event: str,
    options: Options | None = None,
    *,
    assume: bool = False,
    progress: Progress | None = None,
) -> Rehearsal:
    """Rehearse an event. Missing figures are assumed only where ``assume`` says so.

    ``progress`` is called with the number of corners that were simulated and how many there may be. Raises InputError
    where the event is unknown, where the system has nothing that it could happen to, and where figures are missing.
    """
    chosen = options or Options()
    kind = event_named(event)
    figures = Figures(system)
    refuse_unknown(figures, chosen)
    if kind.scene is None:
        return _descent(system, kind, figures, chosen, assume)
    scene = scene_of(kind, figures, chosen)
    _refuse_missing(figures.needs, assume)
    nominal = story_of(_course(scene))
    spreads = [spread for spread in figures.spreads.values() if spread.low < spread.high]
    worst = corner = None
    if spreads:

        def severity(at: Mapping[str, float]) -> float:
            return severity_of(reaches_of(_course(scene_of(kind, Figures(system, at), chosen))))

        corner = search(spreads, severity, progress)
        worst = story_of(_course(scene_of(kind, Figures(system, corner.at), chosen)))
    return Rehearsal(
        system,
        kind.name,
        kind.title,
        scene.words,
        nominal,
        worst,
        corner,
        tuple(figures.taken),
        tuple(figures.needs.values()),
    )


def _course(scene: Scene) -> Course:
    refuse_unsound(scene.plant)
    return run(scene.plant, scene.start, scene.changes, scene.lasting)


def _descent(system: System, event: Event, figures: Figures, options: Options, assume: bool) -> Rehearsal:
    if not figures.kind("pack"):
        raise lacks("a pack", "describe it under `packs`")
    descent = descend(figures, _FULL if options.soc is None else options.soc, options.power, options.lasting,
                      lambda: _refuse_missing(figures.needs, assume))  # fmt: skip
    words = "Packs at the start of a night without sun or other sources, all loads running."
    needs, taken = tuple(figures.needs.values()), tuple(figures.taken)
    return Rehearsal(system, event.name, event.title, words, story_of_descent(descent), None, None, taken, needs)


def _refuse_missing(needs: Mapping[str, Need], assume: bool) -> None:
    """Missing figures stop the rehearsal, with what would be assumed for each."""
    missing = [need for need in needs.values() if not (assume and need.assumed)]
    if not missing:
        return
    found = []
    for need in missing:
        advice = f"state `{need.path}`"
        if need.assumed:
            advice += f"; with --assume {need.assumed} is taken"
        found.append(Diagnostic("figure-missing", f"`{need.path}` is not known: {_lowered(need.meaning)}",
                                where="the rehearsal", advice=advice))  # fmt: skip
    raise InputError(found)


def _lowered(meaning: str) -> str:
    text = meaning.rstrip(".")
    return text[:1].lower() + text[1:]
