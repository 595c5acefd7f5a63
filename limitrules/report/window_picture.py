"""Windows as a picture: one row for each setting, a bar for each need, and a mark where the present value lies.

The rows have scales of their own; the bars of a row are told apart by height and lightness, not by colour alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from limitrules.report.picture import save
from limitrules.report.window import value_words
from limitrules.solve.window import Level, Window

_INKS = {"safe": "#a9c3dd", "without outages": "#5d8fb8", "nothing stranded": "#12355b"}
_HEIGHTS = {"safe": 0.62, "without outages": 0.42, "nothing stranded": 0.22}
_NOW = "#b5541c"
_SPARE = Fraction(1, 3)
_MOST = 40


def draw_windows(windows: Sequence[Window], title: str, target: Path) -> None:
    """Draw the windows that a rule reads, in their order, into a file. Raises InputError where it cannot be written."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    shown = [window for window in windows if window.counted][:_MOST]
    with rc_context({"font.size": 8.5, "svg.hashsalt": "limitrules", "svg.fonttype": "none"}):
        figure = Figure(figsize=(9.6, 1.1 + 0.62 * max(1, len(shown))), layout="constrained")
        axes = figure.subplots()
        figure.suptitle(title, fontweight="bold")
        for row, window in enumerate(shown):
            _row(axes, -row, window)
        axes.set_yticks([-row for row in range(len(shown))], [window.grid.path for window in shown])
        axes.set_ylim(-len(shown) + 0.4, 0.6)
        axes.set_xlim(-0.02, 1.02)
        axes.set_xticks([])
        for side in ("top", "right", "bottom", "left"):
            axes.spines[side].set_visible(False)
        _legend(axes)
        save(figure, target)


def _row(axes: Any, height: float, window: Window) -> None:
    low, high = _seen(window)

    def place(value: Fraction) -> float:
        return float((value - low) / (high - low))

    axes.plot([0.0, 1.0], [height, height], color="#cccccc", linewidth=1.0, zorder=1)
    for item in window.levels:
        _bars(axes, height, item, place, low, high)
    if window.now is not None:
        axes.plot([place(window.now)], [height], marker="D", markersize=6, color=_NOW, zorder=5)
    grid = window.grid
    for value, side in ((low, "left"), (high, "right")):
        axes.annotate(value_words(grid, value), (place(value), height - 0.42), ha=side, fontsize=6, color="#666666")
    widest = next((item for item in window.levels if item.otherwise), None)
    for opening in widest.otherwise if widest is not None else ():
        for edge in (opening.low, opening.high):
            if low < edge.value < high:
                axes.annotate(value_words(grid, edge.value), (place(edge.value), height - 0.42), ha="center",
                              fontsize=6.5)  # fmt: skip


def _bars(axes: Any, height: float, item: Level, place: Any, low: Fraction, high: Fraction) -> None:
    size = _HEIGHTS[item.name]
    for opening in item.otherwise:
        start, end = max(opening.low.value, low), min(opening.high.value, high)
        if start > end:
            continue
        width = max(place(end) - place(start), 0.004)
        axes.barh(height, width, size, left=place(start), color=_INKS[item.name], zorder=2 + 0.1 * (1 - size),
                  hatch="" if item.openings else "////", edgecolor="white", linewidth=0.0)  # fmt: skip


def _seen(window: Window) -> tuple[Fraction, Fraction]:
    """The part of the range that is worth seeing: the edges and the present value, with some room to either side."""
    grid = window.grid
    values = [window.now] if window.now is not None else []
    for item in window.levels:
        for opening in item.otherwise:
            values += [edge.value for edge in (opening.low, opening.high) if edge.limits]
    first, last = grid.value(0), grid.value(grid.count - 1)
    if len(values) < 2:
        return first, max(last, first + grid.step)
    room = (max(values) - min(values)) * _SPARE + 10 * grid.step
    low, high = max(first, min(values) - room), min(last, max(values) + room)
    return low, max(high, low + grid.step)


def _legend(axes: Any) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    marks: list[Any] = [Patch(facecolor=_INKS[name], label=name) for name in _INKS]
    marks.append(
        Patch(facecolor="white", edgecolor="#888888", hatch="////", label="but other rules fail whatever it is")
    )
    marks.append(Line2D([], [], marker="D", linestyle="", color=_NOW, label="present value"))
    axes.legend(handles=marks, loc="upper center", bbox_to_anchor=(0.4, -0.02), ncols=5, frameon=False, fontsize=7)
