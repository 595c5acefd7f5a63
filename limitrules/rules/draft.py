"""The outline of a rulepack document: its keys, and what it sets for other rulepacks."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence

import attrs
from attrs import frozen

from limitrules.foundation import tree
from limitrules.foundation.source import Source
from limitrules.language.nodes import Node
from limitrules.model.reading import Reading, check_header

MANIFEST = "rulepack.yaml"
_KEYS = ("limitrules", "name", "version", "vocabulary", "title", "meaning", "extends", "overrides",
         "retires", "parameters", "rules")  # fmt: skip
_REQUIRED = ("name", "version", "vocabulary")


def no_tree(text: str) -> Node | None:
    """Where no tree is known beforehand."""
    return None


@frozen(eq=False, repr=False)
class Override:
    """A value that another rulepack gives to a parameter; ``reason`` is due where it is not marked local."""

    by: str
    rulepack: str
    parameter: str
    node: tree.Node
    source: Source
    key: tree.Scalar
    reason: str = ""


@frozen(eq=False, repr=False)
class Retirement:
    """A rule of another rulepack that is no longer asked, and the written reason."""

    by: str
    rulepack: str
    rule: str
    reason: str
    source: Source
    key: tree.Scalar


@frozen(eq=False, repr=False)
class Draft:
    """A rulepack document that is read, but not checked yet."""

    source: Source
    top: tree.Mapping
    folder: str
    name: str
    overrides: tuple[Override, ...]
    retires: tuple[Retirement, ...] = ()
    trees: Callable[[str], Node | None] = no_tree  # of clauses whose tree is known already


def content_of(source: Source, overrides: Sequence[Override] = ()) -> str:
    """The hash of everything that decides what a rulepack says."""
    content = hashlib.sha256(source.text.encode())
    for item in overrides:
        content.update(f"{item.by}:{item.parameter}:{item.source.text[item.node.start : item.node.end]}".encode())
    return content.hexdigest()[:16]


def parse_draft(source: Source, folder: str = "", trees: Callable[[str], Node | None] = no_tree) -> Draft:
    """The outline of a rulepack document: its keys, and what it sets for other rulepacks."""
    reading = Reading(source)
    top = check_header(reading, tree.read_tree(source), "rulepack")
    for name, (key, _) in top.entries.items():
        if name not in _KEYS:
            reading.unknown_key(key, _KEYS, "a rulepack")
    for name in _REQUIRED:
        if name not in top.entries:
            reading.say_at("missing-key", f"The rulepack has no `{name}`.", top.start, top.start + 1)
    name = text_of(reading, top, "name")
    overrides = _overrides(reading, top, name)
    retires = _retires(reading, top, name)
    reading.finish()
    return Draft(source, top, folder, name, overrides, retires, trees)


def _overrides(reading: Reading, top: tree.Mapping, by: str) -> tuple[Override, ...]:
    found: list[Override] = []
    entry = top.entries.get("overrides")
    outer = reading.mapping(entry[1], "a map of rulepacks") if entry else None
    for rulepack, (_, node) in (outer.entries if outer else {}).items():
        inner = reading.mapping(node, "a map of parameters")
        for name, (key, value) in (inner.entries if inner else {}).items():
            found.append(_override(reading, Override(by, rulepack, name, value, reading.source, key)))
    return tuple(found)


def _retires(reading: Reading, top: tree.Mapping, by: str) -> tuple[Retirement, ...]:
    """By rulepack and rule: the reason why it is not asked here."""
    found: list[Retirement] = []
    entry = top.entries.get("retires")
    outer = reading.mapping(entry[1], "a map of rulepacks") if entry else None
    for rulepack, (_, node) in (outer.entries if outer else {}).items():
        inner = reading.mapping(node, "a map of rules and reasons")
        for rule, (key, value) in (inner.entries if inner else {}).items():
            reason = " ".join((reading.text(value, "a reason") or "").split())
            if not reason:
                reading.say("reason-due", f"The rule `{rule}` is retired without a reason.", key,
                            expected="a sentence that says why it does not count here")  # fmt: skip
            found.append(Retirement(by, rulepack, rule, reason, reading.source, key))
    return tuple(found)


def _override(reading: Reading, plain: Override) -> Override:
    """Either the value alone, or a map with value and reason."""
    if not isinstance(plain.node, tree.Mapping):
        return plain
    entries = plain.node.entries
    for name, (key, _) in entries.items():
        if name not in ("value", "reason"):
            reading.unknown_key(key, ("value", "reason"), "an override")
    if "value" not in entries:
        reading.say("missing-key", f"The override of `{plain.parameter}` has no `value`.", plain.key)
        return plain
    reason = reading.text(entries["reason"][1], "a reason") or "" if "reason" in entries else ""
    return attrs.evolve(plain, node=entries["value"][1], reason=reason)


def text_of(reading: Reading, top: tree.Mapping, name: str) -> str:
    """The text of an entry on one line; empty where there is none."""
    entry = top.entries.get(name)
    return " ".join((reading.text(entry[1], f"a {name}") or "").split()) if entry else ""
