"""What several commands share: the report in the form that was asked for, inputs, names that are not known."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

if TYPE_CHECKING:
    from limitrules.engine.survey import Survey

NOTHING_FAILS, FINDINGS_FAIL, UNUSABLE_INPUT = 0, 1, 2

Arguments = argparse.Namespace
Answer = tuple[str, int]


def report(arguments: Arguments, data: Callable[[], dict[str, Any]], text: Callable[..., str]) -> str:
    """The data as JSON, or the text with the look that suits whoever reads it."""
    if arguments.format == "json":
        from limitrules.report.data import as_json

        return as_json(data())
    return text(**arguments.look())


def opened(arguments: Arguments) -> Survey:
    """The survey of the system with the rulepacks, functions and concessions that were named."""
    from limitrules import api

    functions = api.load_functions(arguments.functions)
    rulepacks = api.load_rulepacks(tuple(arguments.rulepack), functions)
    system = api.read_system(arguments.system, rulepacks)
    return api.open_survey(system, rulepacks, getattr(arguments, "concessions", None))


def inputs(arguments: Arguments) -> Iterator[Path]:
    """The files and folders that a command reads."""
    from limitrules.rules.concessions import concessions_beside

    documents = [Path(item) for name in ("system", "old") if (item := getattr(arguments, name, None)) is not None]
    yield from documents
    yield from (concessions_beside(path) for path in documents if path.name)
    others = [getattr(arguments, "concessions", None), *getattr(arguments, "rulepack", [])]
    yield from (Path(item) for item in (*others, *getattr(arguments, "names", [])) if item is not None)


def unknown(sort: str, word: str, names: Any) -> NoReturn:
    """Refuse a name, with those that there are and the nearest."""
    from limitrules.foundation.diagnostics import listing, nearest, refuse

    known = sorted(set(names))
    near = nearest(word, known)
    where = {"subject": "SUBJECT", "rule": "RULE", "kind": "KIND"}.get(sort, "NAME")
    advice = f"`{near}`" if near else ""
    raise refuse(f"unknown-{sort}", f"no {sort} here is called `{word}`", where=where, expected=listing(known),
                 advice=advice)  # fmt: skip


def unused_rulepacks(used: Iterable[str]) -> tuple[str, ...]:
    """A note on the shipped rulepacks that were left out; none where all were used."""
    from limitrules import api

    there = set(used)
    unused = [name for name in api.known_rulepacks() if name not in there]
    if not unused:
        return ()
    return (f"Rulepacks that were not used: {', '.join(unused)}. What they look at was not checked.",)


def picture_target(arguments: Arguments) -> Path | None:
    """Where the picture goes, if one is asked for; refused before any work where it cannot be drawn."""
    target: Path | None = arguments.picture
    if target is None:
        return None
    from limitrules.report.output import check_target
    from limitrules.report.picture import check_can_draw

    check_target(target, inputs(arguments))
    check_can_draw(target)
    return target
