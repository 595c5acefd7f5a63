"""A scene: a plant, how it stands and what happens to it, once or again and again; and what a person may choose."""

from __future__ import annotations

from attrs import evolve, frozen

from limitrules.foundation.diagnostics import InputError, refuse
from limitrules.simulate.course import Change, Start
from limitrules.simulate.plant import Plant

LEAD_IN = 1.0  # s of rest that are shown before the event
MOST_TIMES = 200


@frozen
class Options:
    """What a person may choose; None where the document or the usual decides.

    ``power``: W of the load that drops, starts or runs. ``pack``: path of the pack it happens to. ``soc``: share.
    ``running``: AC sources that charge the packs, by path. ``ceiling``: A that a pack reports from the event on.
    ``difference``: V between a joining pack and the bus. ``lasting``: s that are rehearsed. ``every``: s between two
    events of a row, ``times``: how many of them.
    """

    power: float | None = None
    pack: str | None = None
    soc: float | None = None
    running: tuple[str, ...] = ()
    ceiling: float | None = None
    difference: float | None = None
    lasting: float | None = None
    every: float | None = None
    times: int = 1


@frozen(eq=False)
class Scene:
    """A plant, how it stands at the start, what happens to it, and for how long it is watched (s)."""

    plant: Plant
    start: Start
    changes: tuple[Change, ...]
    lasting: float
    words: str


def lacks(what: str, advice: str) -> InputError:
    """The refusal of an event for which a system has not what it takes."""
    return refuse("nothing-to-rehearse", f"this system document lists no such thing as {what}", advice=advice)


def last(scene: Scene) -> float:
    """The time (s) of the last thing that happens from outside."""
    return max((change.time for change in scene.changes), default=0.0)


def repeated(scene: Scene, options: Options) -> Scene:
    """The same again, over and over; half-way between two of them the site goes back to how it was."""
    assert options.every is not None
    takes = last(scene) - LEAD_IN
    if options.every <= 2.0 * takes:
        raise refuse("row-too-close", f"the event itself takes {takes:.4g} s", where="--every",
                     expected="more than twice that, so that one is over before the next begins")  # fmt: skip
    if options.times > MOST_TIMES:
        raise refuse("row-too-long", f"a row of {options.times} events is not rehearsed", where="--times",
                     expected=f"{MOST_TIMES} at most; what does not come to rest shows well before that")  # fmt: skip
    row: list[Change] = []
    moved = tuple((number, scene.start.modes[number]) for change in scene.changes for number, _ in change.modes)
    allowed = tuple((n, scene.plant.packs[n].charge_ceiling) for change in scene.changes for n, _ in change.ceilings)
    is_linked = True if any(change.link is False for change in scene.changes) else None
    for number in range(options.times):
        begin = number * options.every
        row += [evolve(change, time=change.time + begin) for change in scene.changes]
        if number + 1 < options.times:
            back = LEAD_IN + begin + options.every / 2
            start = scene.start
            row.append(Change(back, "back as it was", loads=start.loads, extra_load=start.extra_load, modes=moved,
                              ceilings=allowed, link=is_linked))  # fmt: skip
    return evolve(scene, changes=tuple(row))
