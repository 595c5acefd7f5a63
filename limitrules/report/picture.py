"""A rehearsal as a picture: currents of the packs with their ceilings and thresholds, sources, bus voltage, who acts.

Colours are told apart with colour blindness and in grey by their lightness, and every line has a stroke of its own.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from limitrules.foundation.diagnostics import refuse
from limitrules.report.rehearsal import zero_of
from limitrules.simulate.plant import Part
from limitrules.simulate.told import Moment, Rehearsal, Story, What

INKS = ("#12355b", "#b5541c", "#2f8f6b", "#8a6fb0", "#c9a227", "#5b6670")
STROKES = ("-", "--", "-.", (0, (1, 1)), (0, (5, 1, 1, 1, 1, 1)))
LEVEL_INK, CEILING_INK, EVENT_INK, ACT_INK = "#9c1f1f", "#4a4a4a", "#777777", "#9c1f1f"
_SUFFIXES = (".svg", ".png")
_SPARE = 0.6  # share of the window kept after the last thing that happens


def check_can_draw(target: Path) -> None:
    """Refuse what cannot be drawn, before any work is done."""
    if target.suffix.lower() not in _SUFFIXES:
        raise refuse("no-such-picture", f"`{target.name}` names no kind of picture that can be drawn",
                     where="--picture", expected="a name that ends in .svg or .png")  # fmt: skip
    try:
        import matplotlib  # noqa: F401
    except ImportError:
        raise refuse("extra-missing", "drawing needs the extra `pictures`, which is not installed", where="--picture",
                     advice="install it with `pip install 'limitrules[pictures]'`,"
                     " or leave --picture out: the timeline needs nothing more") from None  # fmt: skip


def draw(rehearsal: Rehearsal, target: Path) -> None:
    """Draw the nominal and the worst course side by side into a file. Raises InputError where it cannot be written."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    stories = rehearsal.stories
    titles = ["nominal", "worst corner found"][: len(stories)]
    with rc_context({"font.size": 9, "svg.hashsalt": "limitrules", "svg.fonttype": "none", "axes.grid": True,
                     "grid.color": "#dddddd", "grid.linewidth": 0.6, "axes.axisbelow": True}):  # fmt: skip
        figure = Figure(figsize=(5.4 * len(stories) + 1.2, 6.6), layout="constrained")
        panels = _panels(stories[0])
        axes = figure.subplots(len(panels), len(stories), sharex="col", sharey="row", squeeze=False,
                               gridspec_kw={"height_ratios": [height for _, height in panels]})  # fmt: skip
        figure.suptitle(f"{rehearsal.system.name}: {rehearsal.event}", fontweight="bold")
        for column, (story, title) in enumerate(zip(stories, titles, strict=True)):
            window = _window(story)
            for row, (panel, _) in enumerate(panels):
                _draw_panel(axes[row][column], story, panel, first=column == 0)
                axes[row][column].set_xlim(*window)
            axes[0][column].set_title(title)
            axes[-1][column].set_xlabel(f"{_scale(story)[1]} after the event")
        save(figure, target)


def save(figure: Any, target: Path) -> None:
    """Write a figure to a file. Raises InputError where it cannot be written."""
    try:
        figure.savefig(target, dpi=140, metadata={"Date": None} if target.suffix.lower() == ".svg" else None)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise refuse("out-not-written", f"the picture cannot be written: {reason}", where=str(target)) from error


def _panels(story: Story) -> list[tuple[str, float]]:
    names = {trace.name for trace in story.traces}
    wanted = [("current", 3.0), ("output", 1.4), ("bus voltage", 1.4), ("state of charge", 3.0)]
    return [(name, height) for name, height in wanted if name in names]


_AXES = {
    "current": "pack current, A", "output": "sources, A", "bus voltage": "bus, V",
    "state of charge": "state of charge, %",
}  # fmt: skip


def _scale(story: Story) -> tuple[float, str]:
    span = story.ends - zero_of(story)
    return (3600.0, "hours") if span > 7200.0 else (60.0, "minutes") if span > 600.0 else (1.0, "seconds")


def _window(story: Story) -> tuple[float, float]:
    """From just before the event to some time after the last thing that happens."""
    zero, (unit, _) = zero_of(story), _scale(story)
    last = max((moment.time for moment in story.moments if moment.what is not What.GOVERNS), default=zero)
    settled = story.outcome.settled_at if story.outcome is not None else story.ends
    end = min(story.ends, max(last, settled, zero) + _SPARE * max(last - zero, settled - zero, 1.0))
    return -min(1.0, zero) / unit, max(end - zero, 1e-3) / unit


def _draw_panel(axes: Any, story: Story, panel: str, first: bool) -> None:
    zero, (unit, _) = zero_of(story), _scale(story)
    factor = 100.0 if panel == "state of charge" else 1.0
    for number, trace in enumerate(trace for trace in story.traces if trace.name == panel):
        times = [(time - zero) / unit for time in trace.times]
        values = [value * factor for value in trace.values]
        axes.plot(times, values, color=INKS[number % len(INKS)], linestyle=STROKES[number % len(STROKES)],
                  linewidth=1.8, label=_short(trace.path))  # fmt: skip
    if panel == "current" and story.outcome is not None:
        _levels(axes, story)
    if panel == "bus voltage" and story.outcome is not None:
        _voltages(axes, story)
    _marks(axes, story, zero, unit, panel in ("current", "state of charge"))
    if first:
        axes.set_ylabel(_AXES[panel])
    if panel != "bus voltage":
        axes.legend(loc="best", fontsize=7, framealpha=0.85)


def _short(path: str) -> str:
    return path.partition(".")[2] or path


def _levels(axes: Any, story: Story) -> None:
    """Thresholds of current protections and ceilings of the packs, where the currents come near them."""
    outcome = story.outcome
    assert outcome is not None
    most = max((abs(v) for trace in story.traces if trace.name == "current" for v in trace.values), default=0.0)
    near = [reach for reach in outcome.reaches if abs(reach.watch.level) <= 1.6 * most]
    for part, name in ((Part.PACK_CURRENT, "threshold"), (Part.LIMITED_CURRENT, "limiter")):
        owners: dict[float, list[str]] = {}
        for reach in near:
            if reach.watch.part is part:
                owners.setdefault(reach.watch.level, []).append(_short(reach.watch.path).partition(".")[0])
        for level, packs in owners.items():
            axes.axhline(level, color=LEVEL_INK, linewidth=0.9, linestyle=(0, (6, 2)))
            axes.annotate(f"{name} {', '.join(packs)} {level:.4g} A", (1.0, level), ha="right", va="bottom",
                          xycoords=("axes fraction", "data"), fontsize=6.5, color=LEVEL_INK)  # fmt: skip
    for ceiling in {round(pack.ceiling, 3) for pack in outcome.packs if math.isfinite(pack.ceiling)}:
        if ceiling <= 1.6 * most:
            axes.axhline(ceiling, color=CEILING_INK, linewidth=0.7, linestyle=(0, (1, 2)))
            axes.annotate(f"ceiling {ceiling:.4g} A", (0.0, ceiling), xycoords=("axes fraction", "data"), ha="left",
                          va="bottom", fontsize=6.5, color=CEILING_INK)  # fmt: skip


def _voltages(axes: Any, story: Story) -> None:
    """Voltages at which something acts, where the bus comes near them."""
    outcome = story.outcome
    assert outcome is not None
    volts = [value for trace in story.traces if trace.name == "bus voltage" for value in trace.values]
    if not volts:
        return
    low, high = min(volts), max(volts)
    for level in sorted({r.watch.level for r in outcome.reaches if r.watch.part is Part.BUS_VOLTAGE}):
        if low <= level <= high * 1.02:
            axes.axhline(level, color=LEVEL_INK, linewidth=0.8, linestyle=(0, (6, 2)))


def _marks(axes: Any, story: Story, zero: float, unit: float, with_words: bool) -> None:
    """The event and whatever acts, as upright lines."""
    axes.axvline(0.0, color=EVENT_INK, linewidth=0.9)
    shown: list[float] = []
    acts = [moment for moment in story.moments if moment.what in (What.ACTED, What.DARK)]
    for moment in acts:
        time = (moment.time - zero) / unit
        axes.axvline(time, color=ACT_INK, linewidth=0.9, linestyle=":")
        if with_words and len(shown) < 4 and all(abs(time - other) > 1e-9 for other in shown):
            shown.append(time)
            place = 0.97 - 0.07 * (len(shown) - 1)
            axes.annotate(_act_words(moment), (time, place), xycoords=("data", "axes fraction"), fontsize=6.5,
                          color=ACT_INK, ha="left", va="top", xytext=(2, 0), textcoords="offset points")  # fmt: skip


def _act_words(moment: Moment) -> str:
    if moment.what is What.DARK:
        return "supply lost"
    parts = _short(moment.path).split(".")
    return f"{parts[0]}: {parts[-1].replace('_', ' ')}"
