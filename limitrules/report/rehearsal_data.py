"""A rehearsal as plain data for JSON (``rehearsal/1``, ``schemas/rehearsal-1.json``) and its traces as CSV; all SI."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

from limitrules.report.order import CAUTIONS
from limitrules.report.rehearsal import sentence, zero_of
from limitrules.simulate.told import Moment, Outcome, Reach, Rehearsal, Story, Trace

FORMAT = "rehearsal/1"

Data = dict[str, Any]


def rehearsal_data(rehearsal: Rehearsal) -> Data:
    """Everything that a rehearsal found; figures in SI, times in s from the event, null for what has no end."""
    corner = rehearsal.corner
    return {
        "limitrules": FORMAT,
        "system": {"name": rehearsal.system.name, "file": rehearsal.system.source.name},
        "event": {"name": rehearsal.event, "title": rehearsal.title, "scene": rehearsal.words},
        "loses": rehearsal.loses,
        "nominal": _story(rehearsal.nominal),
        "worst": None if rehearsal.worst is None else _story(rehearsal.worst),
        "corner": None
        if corner is None
        else {"proven": False, "tried": corner.tried, "at": dict(corner.at), "matters": list(corner.matters)},
        "taken": list(rehearsal.taken),
        "assumed": [{"path": need.path, "meaning": need.meaning, "value": need.assumed} for need in rehearsal.assumed],
        "cautions": list(CAUTIONS),
    }


def rehearsal_csv(rehearsal: Rehearsal) -> str:
    """One line for every point of every trace: case, whose, what, unit, time in s from the event, value in SI."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["case", "path", "figure", "unit", "time_s", "value"])
    for case, story in (("nominal", rehearsal.nominal), ("worst", rehearsal.worst)):
        if story is None:
            continue
        zero = zero_of(story)
        for trace in story.traces:
            for time, value in zip(trace.times, trace.values, strict=True):
                writer.writerow([case, trace.path, trace.name, _si(trace.unit), repr(time - zero), repr(value)])
    return text.getvalue()


def _si(unit: str) -> str:
    return "1" if unit == "%" else unit


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _story(story: Story) -> Data:
    zero = zero_of(story)
    return {
        "supply_lost": story.is_dark,
        "restless": story.is_restless,
        "moments": [_moment(moment, zero) for moment in story.moments],
        "figures": None if story.outcome is None else _outcome(story.outcome, zero),
        "traces": [_trace(trace, zero) for trace in story.traces],
    }


def _moment(moment: Moment, zero: float) -> Data:
    return {
        "time": moment.time - zero,
        "what": moment.what.value,
        "path": moment.path,
        "figure": _finite(moment.figure),
        "unit": _si(moment.unit),
        "text": sentence(moment),
    }


def _outcome(outcome: Outcome, zero: float) -> Data:
    return {
        "packs": [
            {
                "path": pack.path,
                "charge_peak": pack.charge_peak,
                "discharge_peak": pack.discharge_peak,
                "ceiling": _finite(pack.ceiling),
                "time_above_ceiling": pack.time_above_ceiling,
                "charge_above_ceiling": pack.charge_above_ceiling,
            }
            for pack in outcome.packs
        ],
        "levels": [_reach(reach, zero) for reach in outcome.reaches],
        "bus_voltage": {"lowest": _finite(outcome.lowest_voltage), "highest": _finite(outcome.highest_voltage)},
        "settled_at": outcome.settled_at - zero,
    }


def _reach(reach: Reach, zero: float) -> Data:
    return {
        "path": reach.watch.path,
        "level": reach.watch.level,
        "delay": _finite(reach.watch.delay),
        "peak": _finite(reach.peak),
        "longest": reach.longest,
        "total": reach.total,
        "acted_at": None if reach.acted_at is None else reach.acted_at - zero,
    }


def _trace(trace: Trace, zero: float) -> Data:
    return {
        "path": trace.path,
        "figure": trace.name,
        "unit": _si(trace.unit),
        "times": [time - zero for time in trace.times],
        "values": list(trace.values),
    }
