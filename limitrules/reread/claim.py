"""The rule that a certificate names, with its subjects, from the documents themselves."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from attrs import frozen

from limitrules.foundation import tree
from limitrules.foundation.source import Source
from limitrules.language import nodes as n
from limitrules.language.parser import parse_clause
from limitrules.model.system import System, read_system
from limitrules.model.values import ComponentRecord
from limitrules.reread.clauses import Box, Reading
from limitrules.reread.ranges import YES, Range, Refused, contrary, joined

_EACH = re.compile(r"\s*each\s+([a-z][a-z ]*?)\s+(\w+)(?:\s+in\s+(.+))?", re.DOTALL)
_PAIR = re.compile(r"each\s+pair\s+(\w+)\s*,\s*(\w+)\s+in\s+(.+)", re.DOTALL)


@frozen
class Claimed:
    """The rule that a certificate names, on its subjects in the system, both from their own documents."""

    reading: Reading
    when: n.Node | None
    require: n.Node

    def over(self, box: Box, reader: type[Reading] = Reading) -> tuple[Range, Range, Reading]:
        """Whether the rule applies; whether it does not apply or is met; and what was read for it."""
        reading = reader(self.reading.system, self.reading.named, self.reading.subjects, box)
        applies = YES if self.when is None else reading.value(self.when, reading.subjects)
        required = reading.value(self.require, reading.subjects) if applies.high > 0 else YES
        return applies, joined("highest", contrary(applies), required), reading

    def headroom(self, box: Box) -> Range:
        """The distance to the limit, where the requirement is a single comparison."""
        reading, node = self.over(box)[2], self.require
        while isinstance(node, n.Name) and node.name in reading.named:
            node = reading.named[node.name]
        if not isinstance(node, n.Compare | n.Within):
            raise Refused("a headroom is stated, and the requirement is no single comparison")
        return reading.distance(node, reading.subjects)[0]


def claimed(certificate: Mapping[str, Any], document: bytes, rulepack: bytes) -> Claimed:
    """Open both documents at what a certificate is about. Raises Refused where it is about something else."""
    for name, content in (("system", document), ("rulepack", rulepack)):
        if certificate[name]["sha256"] != hashlib.sha256(content).hexdigest():
            raise Refused(f"it is about another {name} document")
    pack = _rulepack(rulepack)
    if "extends" in pack:
        raise Refused("this checker does not read a rulepack that adds to the vocabulary")
    system, rule = _system(document), pack["rules"][certificate["rule"]]
    if pack["vocabulary"] != system.vocabulary.name:
        raise Refused("the rulepack speaks of another vocabulary")
    if any(certificate["rulepack"][word] != pack[word] for word in ("name", "version")):
        raise Refused("the rulepack has another name or version")
    texts = {name: item["value"] for name, item in pack.get("parameters", {}).items()} | rule.get("let", {})
    named = {name: _node(text) for name, text in texts.items()}
    reading = Reading(system, named, _subjects(system, named, rule["about"], certificate["subjects"]))
    when = _node(rule["when"]) if "when" in rule else None
    return Claimed(reading, when, _node(rule["require"]))


@lru_cache(maxsize=4096)
def _node(text: str) -> n.Node:
    return parse_clause(text).node


@lru_cache(maxsize=4)
def _system(document: bytes) -> System:
    return read_system(Source("system", document.decode("utf-8-sig")))


@lru_cache(maxsize=16)
def _rulepack(content: bytes) -> Mapping[str, Any]:
    found: Mapping[str, Any] = _plain(tree.read_tree(Source("rulepack", content.decode("utf-8-sig"))))
    return found


def _plain(node: tree.Node) -> Any:
    if isinstance(node, tree.Mapping):
        return {name: _plain(value) for name, (_, value) in node.entries.items()}
    return [_plain(item) for item in node.items] if isinstance(node, tree.Sequence) else node.text


def _subjects(system: System, named: Mapping[str, n.Node], about: str, paths: Mapping[str, str]) -> (
    dict[str, ComponentRecord]
):  # fmt: skip
    """The components of the certificate's paths, where the rule speaks of them together."""
    pair, each = _PAIR.fullmatch(about), map(_EACH.fullmatch, re.split(r",\s*(?=each\b)", about))
    parts = [("", name, pair[3]) for name in pair.group(1, 2)] if pair else [match.groups() for match in each if match]
    found: dict[str, ComponentRecord] = {}
    places = []
    for kind, name, text in parts:
        reading = Reading(system, named, found)
        several = reading.value(_node(text), found) if text else system.components[kind].values()
        members = list(several)
        places.append([record.path for record in members].index(paths[name]))
        found[name] = members[places[-1]]
    if found.keys() != paths.keys() or (pair and places[0] >= places[1]):
        raise Refused("the rule does not speak of these subjects")
    return found
