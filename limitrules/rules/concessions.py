"""Concessions: findings that somebody has accepted, with who, why and until when, in a file beside the system."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from pathlib import Path

import attrs
from attrs import frozen

from limitrules.foundation import tree
from limitrules.foundation.source import Source
from limitrules.model.reading import Reading, check_header
from limitrules.rules.findings import Concession, Finding

_KEYS = ("rule", "subject", "who", "why", "until")
_REQUIRED = ("rule", "who", "why", "until")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}\Z")


@frozen
class Concessions:
    """All concessions for one system; ``today`` decides which have expired."""

    items: tuple[Concession, ...] = ()
    today: date = attrs.field(factory=date.today)

    def match(self, rule: str, subject: str) -> Concession | None:
        """The concession for a finding: one that names its subject before one for all subjects of the rule."""
        fitting = [item for item in self.items if item.rule == rule and _same_subject(item.subject, subject)]
        fitting.sort(key=lambda item: (self._expired(item), item.subject == ""))
        return attrs.evolve(fitting[0], expired=self._expired(fitting[0])) if fitting else None

    def _expired(self, item: Concession) -> bool:
        return date.fromisoformat(item.until) < self.today

    def notes(self, findings: Iterable[Finding]) -> tuple[str, ...]:
        """What to say of concessions that fit no finding."""
        known = {(finding.rule, finding.subject) for finding in findings}
        return tuple(
            f"The concession for {item.rule}{' on ' + item.subject if item.subject else ''} fits no finding."
            for item in self.items
            if not any(item.rule == rule and _same_subject(item.subject, subject) for rule, subject in known)
        )


def _same_subject(named: str, subject: str) -> bool:
    """True where a concession names a subject, its parts in any order, or none and so all of them."""
    return not named or {part.strip() for part in named.split(",")} == {part.strip() for part in subject.split(",")}


def concessions_beside(system: str | Path) -> Path:
    """Where the concessions of a system document stand: ``station.yaml`` has ``station.concessions.yaml``."""
    path = Path(system)
    return path.with_name(f"{path.stem}.concessions.yaml")


def read_concessions(path: str | Path) -> Concessions:
    """Read a concessions file. Raises InputError with every mistake."""
    return parse_concessions(tree.read_source(path))


def parse_concessions(source: Source) -> Concessions:
    """Check the text of a concessions file."""
    reading = Reading(source)
    top = check_header(reading, tree.read_tree(source), "concessions")
    for name, (key, _) in top.entries.items():
        if name not in ("limitrules", "concessions"):
            reading.unknown_key(key, ("concessions",), "a concessions file")
    entry = top.entries.get("concessions")
    if entry is None or not isinstance(entry[1], tree.Sequence):
        reading.say("not-a-list", "The concessions are no list.", entry[1] if entry else top, expected="`- rule: ...`")
        reading.finish()
        return Concessions()
    items = [item for node in entry[1].items if (item := _concession(reading, node)) is not None]
    reading.finish()
    return Concessions(tuple(items))


def _concession(reading: Reading, node: tree.Node) -> Concession | None:
    mapping = reading.mapping(node, "a map with rule, subject, who, why and until")
    if mapping is None:
        return None
    for name, (key, _) in mapping.entries.items():
        if name not in _KEYS:
            reading.unknown_key(key, _KEYS, "a concession")
    texts = {name: " ".join((reading.text(value, f"a text for `{name}`") or "").split())
             for name, (_, value) in mapping.entries.items() if name in _KEYS}  # fmt: skip
    for name in _REQUIRED:
        if not texts.get(name):
            reading.say("missing-key", f"A concession has to say `{name}`.", node, expected=", ".join(_REQUIRED))
            return None
    if not _is_day(texts["until"]):
        reading.say("not-a-date", f"`{texts['until']}` is not a day.", mapping.entries["until"][1],
                    expected="a day such as `2027-03-31`")  # fmt: skip
        return None
    return Concession(texts["rule"], texts.get("subject", ""), texts["who"], texts["why"], texts["until"],
                      reading.span(node))  # fmt: skip


def _is_day(text: str) -> bool:
    try:
        return bool(_DAY.match(text)) and date.fromisoformat(text) is not None
    except ValueError:
        return False
