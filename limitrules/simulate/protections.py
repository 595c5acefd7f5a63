"""The protections of a pack as watches of a plant."""

from __future__ import annotations

from collections.abc import Iterable

from attrs import evolve

from limitrules.model.values import ComponentRecord
from limitrules.simulate.figures import Figures
from limitrules.simulate.plant import Act, Part, Watch

CHARGE, DISCHARGE = "charge", "discharge"
_CURRENT = {"charge_current": (CHARGE, 1), "discharge_current": (DISCHARGE, -1)}
_VOLTAGE = {
    "pack_over_voltage": (CHARGE, 1), "pack_under_voltage": (DISCHARGE, -1),
    "cell_over_voltage": (CHARGE, 1), "cell_under_voltage": (DISCHARGE, -1),
}  # fmt: skip
_SPREAD = {"cell_over_voltage": "spread.near_full", "cell_under_voltage": "spread.near_empty"}
_BLOCKS = {"block-charge": (True, False), "block-discharge": (False, True), "block-both": (True, True)}


def guards_of(figures: Figures, record: ComponentRecord, number: int, ways: tuple[str, ...]) -> Iterable[Watch]:
    """The watches of one pack that act in one of these ``ways``, the direction of current that they end."""
    for name, (way, sign) in {**_CURRENT, **_VOLTAGE}.items():
        part = figures.part(record, f"protection.{name}")
        if part is None or way not in ways or figures.flag(part, "enabled") is False:
            continue
        blocks = _BLOCKS.get(figures.word(part, "action"), (way == CHARGE, way == DISCHARGE))
        if figures.word(part, "action") in ("report", "limit"):
            continue
        watch = _guard(figures, record, part, name, number, sign, blocks)
        yield watch
        second = figures.optional(part, "second_stage.threshold")
        if second is not None:
            delay = figures.number(part, "second_stage.delay", default=0.0)
            level = sign * second if name in _CURRENT else _level(figures, record, name, second)
            yield evolve(watch, path=f"{part.path}.second_stage", level=level, delay=delay)


def _guard(
    figures: Figures, record: ComponentRecord, part: ComponentRecord, name: str, number: int, sign: int,
    blocks: tuple[bool, bool],
) -> Watch:  # fmt: skip
    current = name in _CURRENT
    usual = _usual_threshold(figures, record, name)
    level = _level(figures, record, name, figures.number(part, "threshold", usual))
    is_inverse = figures.word(part, "curve.shape") == "inverse"
    release, delay, retries = _recovery(figures, record, part, name)
    return Watch(
        part.path,
        Act.BLOCK,
        Part.PACK_CURRENT if current else Part.PACK_VOLTAGE,
        number,
        sign,
        sign * level if current else level,
        figures.number(part, "delay", "0 s"),
        figures.number(part, "measurement.filter", default=0.0),
        figures.number(part, "curve.time_constant") if is_inverse else 0.0,
        sign * release if release is not None and current else release,
        delay,
        retries,
        *blocks,
    )


def _usual_threshold(figures: Figures, record: ComponentRecord, name: str) -> str:
    """What nobody read back may sit as near as it makes sense: at the pack's ceiling, at the cell's own limits."""
    if name in _CURRENT:
        ceiling = figures.optional(record, "charge.ceiling" if name == "charge_current" else "discharge.ceiling")
        return f"{ceiling:.12g} A" if ceiling is not None else ""
    cells = figures.related(record, "cell")
    attribute = "voltage.charge_max" if "over" in name else "voltage.discharge_min"
    limit = figures.optional(cells[0], attribute) if cells else None
    if limit is None:
        return ""
    return f"{limit * (1.0 if name.startswith('cell') else figures.number(record, 'cells_series')):.12g} V"


def _level(figures: Figures, record: ComponentRecord, name: str, threshold: float) -> float:
    """The threshold for the whole pack; a cell's is the pack's voltage at which the worst cell reaches it."""
    if not name.startswith("cell_"):
        return threshold
    spread = figures.number(record, _SPREAD[name], default=0.0)
    worst = threshold - spread if name == "cell_over_voltage" else threshold + spread
    return worst * figures.number(record, "cells_series")


def _recovery(
    figures: Figures, record: ComponentRecord, part: ComponentRecord, name: str
) -> tuple[float | None, float, int | None]:
    """Level and delay at which it lets go by itself, and how often; no level where it does not."""
    mode = figures.word(part, "recovery.mode")
    if mode in ("acknowledge", "latched", "opposite-current") or figures.flag(part, "latched"):
        return None, 0.0, 0
    release = figures.optional(part, "release.threshold")
    if release is None:
        return None, 0.0, 0
    if name.startswith("cell_"):
        release = _level(figures, record, name, release)
    pause = figures.number(part, "retries.pause", default=0.0)
    retries = figures.optional(part, "retries.max")
    delay = max(figures.number(part, "release.delay", default=0.0), pause)
    return release, delay, None if retries is None else int(retries)
