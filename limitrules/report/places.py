"""Where a finding points to in the document: the line of the value that is worth changing, and what identifies it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from limitrules.foundation.source import Span
from limitrules.rules.findings import Finding, MissingValue, Reason, SurveyResult

_SETTLED = ("configured", "reported", "assumed", "")


def place_of(finding: Finding, missing: dict[str, MissingValue]) -> Span | None:
    """The value that takes most of the headroom, a setting before a plate; where one is missing, what stands for it."""
    for path in finding.missing:
        known = missing.get(path)
        if known is not None and known.span is not None:
            return known.span
    read = [reason for reason in _leaves(finding.reasons) if reason.span is not None]
    if not read:
        return None
    losses = finding.losses
    best = max(read, key=lambda reason: (reason.origin in _SETTLED, abs(losses.get(reason.path, 0))))
    return best.span


def missing_by_path(result: SurveyResult) -> dict[str, MissingValue]:
    """What is missing, by its path."""
    return {item.path: item for item in result.missing}


def fingerprint(finding: Finding) -> str:
    """The same for the same rule on the same subjects, whatever lines or figures change."""
    text = "\n".join((finding.rulepack, finding.rule, *(f"{k}={v}" for k, v in sorted(finding.subjects.items()))))
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def _leaves(reasons: tuple[Reason, ...]) -> Iterator[Reason]:
    for reason in reasons:
        if reason.path:
            yield reason
        yield from _leaves(reason.parts)
