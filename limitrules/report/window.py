"""Windows as text and as data: which values a setting may have, what ends them, where the present one lies."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Any

from limitrules.foundation.exact import plain_decimal
from limitrules.foundation.figures import difference, level
from limitrules.report.figures import count_words, joined
from limitrules.report.layout import USUAL_WIDTH, Page
from limitrules.report.order import CAUTIONS, MOVES_PROTECTION
from limitrules.report.text import cautions
from limitrules.solve.grid import Grid, step_words
from limitrules.solve.setting import Limit, moves_protection
from limitrules.solve.window import Edge, Level, Opening, Window

FORMAT = "window/1"
_MEANING = {
    "safe": "rules of class hazard and damage hold",
    "without outages": "and those of class outage",
    "nothing stranded": "and those of class stranded",
}
_MOST = 4


def windows_text(
    windows: Sequence[Window],
    system: str,
    file: str,
    notes: Sequence[str] = (),
    colour: bool = False,
    width: int = USUAL_WIDTH,
) -> str:
    """The windows, one after the other. ``notes``: what the reader has to know of all of them."""
    page = Page(width, colour)
    page.heading(f"Windows of the settings of {system}")
    page.line(f"document   {file}", indent=2, hang=11)
    page.line(
        "Every value in a window holds for all tolerances of everything else, the rest of the system as it is. "
        "Several settings changed together have other windows.", indent=2, hang=0,
    )  # fmt: skip
    for note in notes:
        page.line(f"Note: {note}", indent=2, hang=2)
    unread = [window.grid.path for window in windows if not window.counted]
    for window in windows:
        if window.counted:
            _window(page, window)
    if unread:
        page.heading("Read by no rule, so that nothing limits them here")
        for path in unread:
            page.line(path, indent=2)
    cautions(page)
    return page.text()


def value_words(grid: Grid, value: Fraction) -> str:
    """A value on the scale of the setting."""
    return level(value, grid.unit)


def opening_words(grid: Grid, opening: Opening) -> str:
    """``80 A .. 96 A``, or one value alone."""
    low, high = value_words(grid, opening.low.value), value_words(grid, opening.high.value)
    return low if low == high else f"{low} .. {high}"


def _window(page: Page, window: Window) -> None:
    grid = window.grid
    page.heading(grid.path)
    now = "not known" if window.now is None else value_words(grid, window.now)
    first, last = value_words(grid, grid.value(0)), value_words(grid, grid.value(grid.count - 1))
    page.line(
        f"now {now}; looked at {first} .. {last} (up to {grid.bound}) in steps of {step_words(grid)}; "
        f"read by {count_words(window.counted, 'check')}", indent=2,
    )  # fmt: skip
    before = None
    for item in window.levels:
        if before is not None and _is_same(before, item):
            page.line(f"{item.name} ({_MEANING[item.name]}): the same", indent=2)
        else:
            _level(page, grid, item)
        before = item
    if moves_protection(grid.path):
        page.line(MOVES_PROTECTION, indent=2)
    if window.open:
        words = "Unproven" if not window.is_proven else "Left open"
        page.line(f"{words}, since these stay undetermined whatever it is: {_named(window.open)}", indent=2)


def _is_same(one: Level, other: Level) -> bool:
    def told(item: Level) -> tuple[object, ...]:
        edges = [(opening.low.value, opening.high.value) for opening in item.otherwise]
        rules = [(limit.rule, limit.subject) for limit in (*item.fails, *item.contradict)]
        return edges, rules, bool(item.openings)

    return told(one) == told(other)


def _level(page: Page, grid: Grid, item: Level) -> None:
    found = joined(opening_words(grid, opening) for opening in item.openings) or "no value"
    place = "the present value lies in it" if item.holds else "the present value does not lie in it"
    page.line(f"{item.name} ({_MEANING[item.name]}): {found}; {place}", indent=2)
    if item.fails:
        page.line(f"Fails whatever it is: {_named(item.fails)}", indent=4)
        if item.otherwise:
            others = joined(opening_words(grid, opening) for opening in item.otherwise)
            page.line(f"Without these rules: {others}", indent=4)
    if item.contradict:
        page.line(f"Contradict each other: {_named(item.contradict)}", indent=4)
    for opening in item.otherwise:
        _edge(page, grid, "below", opening.low)
        _edge(page, grid, "above", opening.high)


def _edge(page: Page, grid: Grid, way: str, edge: Edge) -> None:
    if edge.limits:
        page.line(f"{way} {value_words(grid, edge.value)}: {_named(edge.limits)}", indent=4)


def _named(limits: Iterable[Limit]) -> str:
    """Rules with their subjects and what is missing to their limit; a rule that ends it for several stands once."""
    groups: dict[tuple[str, str], list[Limit]] = {}
    for limit in limits:
        groups.setdefault((limit.rulepack, limit.rule), []).append(limit)
    shown = [_rule_words(group) for group in list(groups.values())[:_MOST]]
    more = [count_words(len(groups) - _MOST, "other rule")] if len(groups) > _MOST else []
    return joined([*shown, *more])


def _rule_words(group: Sequence[Limit]) -> str:
    worst = min(group, key=lambda limit: limit.headroom if limit.headroom is not None else Fraction(0))
    lacks = ""
    if worst.headroom is not None and worst.unit is not None:
        lacks = f", headroom {difference(worst.headroom, worst.unit, -1)}"
    subjects = "; ".join(limit.subject for limit in group[:_MOST])
    more = f" and {count_words(len(group) - _MOST, 'other')}" if len(group) > _MOST else ""
    return f"{worst.rule} ({subjects}{more}; {worst.consequence.value}, {worst.verdict.value}{lacks})"


# data


def windows_data(windows: Sequence[Window], system: str, file: str, notes: Sequence[str] = ()) -> dict[str, Any]:
    """The windows as plain data; figures as decimals in the unit of the setting and as rationals in SI."""
    return {
        "limitrules": FORMAT,
        "system": {"name": system, "file": file},
        "notes": list(notes),
        "windows": [_window_data(window) for window in windows],
        "cautions": list(CAUTIONS),
    }


def _window_data(window: Window) -> dict[str, Any]:
    grid = window.grid
    return {
        "path": grid.path,
        "unit": grid.unit.symbol,
        "now": None if window.now is None else _figure(grid, window.now),
        "range": {"from": _figure(grid, grid.value(0)), "to": _figure(grid, grid.value(grid.count - 1)),
                  "step": step_words(grid), "ends_at": grid.bound},
        "checks": window.counted,
        "proven": window.is_proven,
        "moves_protection": moves_protection(grid.path),
        "undetermined": [_limit(limit) for limit in window.open],
        "levels": [_level_data(grid, item) for item in window.levels],
    }  # fmt: skip


def _level_data(grid: Grid, item: Level) -> dict[str, Any]:
    return {
        "name": item.name,
        "holds_now": item.holds,
        "openings": [_opening(grid, opening) for opening in item.openings],
        "without_failing_rules": [_opening(grid, opening) for opening in item.otherwise],
        "fails_whatever": [_limit(limit) for limit in item.fails],
        "contradict": [_limit(limit) for limit in item.contradict],
    }


def _opening(grid: Grid, opening: Opening) -> dict[str, Any]:
    return {
        "from": _figure(grid, opening.low.value),
        "to": _figure(grid, opening.high.value),
        "below": [_limit(limit) for limit in opening.low.limits],
        "above": [_limit(limit) for limit in opening.high.limits],
    }


def _figure(grid: Grid, value: Fraction) -> dict[str, Any]:
    return {"text": plain_decimal(grid.unit.from_si(value)), "si": float(value), "exact": str(value)}


def _limit(limit: Limit) -> dict[str, Any]:
    return {
        "rulepack": limit.rulepack,
        "rule": limit.rule,
        "subject": limit.subject,
        "consequence": limit.consequence.value,
        "verdict": limit.verdict.value,
        "headroom": None if limit.headroom is None else {"si": float(limit.headroom), "exact": str(limit.headroom)},
    }
