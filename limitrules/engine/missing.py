"""What the document does not say, and what saying it would decide."""

from __future__ import annotations

from collections.abc import Sequence

from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.source import Span
from limitrules.model.system import System
from limitrules.rules.findings import Finding, MissingValue, Verdict


def missing_values(findings: Sequence[Finding], system: System) -> tuple[MissingValue, ...]:
    """Every missing path, those that decide most first."""
    waiting: dict[str, list[Finding]] = {}
    for finding in findings:
        if finding.verdict is Verdict.UNDETERMINED:
            for path in finding.missing:
                waiting.setdefault(path, []).append(finding)
    found = [_missing(path, items, system) for path, items in waiting.items()]
    found.sort(key=lambda item: (item.worst.rank, -item.decides, -len(item.findings), item.path))
    return tuple(found)


def _missing(path: str, findings: list[Finding], system: System) -> MissingValue:
    pairs = tuple((finding.rule, finding.subject) for finding in findings)
    alone = sum(len(finding.missing) == 1 for finding in findings)
    worst = min((finding.consequence for finding in findings), key=lambda item: item.rank)
    meaning, span = describe(path, system)
    return MissingValue(path, meaning, pairs, alone, worst, span)


def describe(path: str, system: System) -> tuple[str, Span | None]:
    """The meaning of the attribute at a path, and where the document says that it is unknown."""
    try:
        value = system.value(path)
    except InputError:
        return "", None
    return system.attribute(path).meaning, value.span if value is not None else None
