"""Tables of the check language, from the registry of functions, the units and the grammar."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import groupby

from limitrules.foundation.kinds import Type
from limitrules.foundation.units import UNITS, Unit
from limitrules.language.functions import Argument, Direction, Function
from limitrules.physics import FUNCTIONS

_GROWS = {Direction.RISES: "rises with it", Direction.FALLS: "falls with it", Direction.NEITHER: "neither"}


def functions() -> str:
    """Every function that is there without a plugin, with its arguments and what it promises of them."""
    return "\n".join(line for function in FUNCTIONS.by_name.values() for line in _function(function))


def units() -> str:
    """The symbols of every dimension."""
    ordered = sorted(UNITS.values(), key=lambda unit: str(_dimension(unit)))
    rows = [
        f"| {name} | {' '.join(f'`{unit.symbol}`' for unit in group)} |"
        for name, group in groupby(ordered, key=_dimension)
    ]
    return "\n".join(["| for | symbols |", "| --- | --- |", *rows])


def grammar() -> str:
    """The grammar as the program reads it."""
    from importlib.resources import files

    text = files("limitrules.language").joinpath("grammar.lark").read_text(encoding="utf-8")
    return f"```text\n{text.rstrip()}\n```"


def _dimension(unit: Unit) -> str:
    return "absolute temperature" if unit.is_temperature else str(unit.dimension).partition(" (")[0]


def _function(function: Function) -> Iterator[str]:
    yield f"\n### `{function.signature}`\n"
    yield function.meaning + (f" Source: {function.source}." if function.source else "") + "\n"
    yield "| argument | meaning | takes | range | the value |"
    yield "| --- | --- | --- | --- | --- |"
    for item in function.arguments:
        # The engine works these out by itself, without a promise.
        moves = "" if function.lowered else _GROWS[item.direction]
        yield f"| `{item.name}` | {item.meaning} | {_takes(item.type)} | {_range(item)} | {moves} |"
    yield ""


def _takes(accepted: Type | None) -> str:
    return "any quantity" if accepted is None else str(accepted)


def _range(item: Argument) -> str:
    if math.isinf(item.low) and math.isinf(item.high):
        return "any"
    if math.isinf(item.high):
        return "above 0" if item.low == math.ulp(0) else f"from {item.low:g}"
    return f"up to {item.high:g}" if math.isinf(item.low) else f"{item.low:g} to {item.high:g}"
