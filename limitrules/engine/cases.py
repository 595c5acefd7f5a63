"""The cases of a rulepack: small changes to a base system, and the verdict that each rule must come to."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import attrs
from attrs import frozen

from limitrules.engine.check import Check
from limitrules.engine.survey import Survey, bound_to
from limitrules.foundation import tree
from limitrules.foundation.diagnostics import Diagnostic, InputError, listing, nearest, refuse
from limitrules.foundation.source import Source, Span
from limitrules.model.reading import Reading, check_header
from limitrules.model.system import System, read_system
from limitrules.rules.findings import Verdict
from limitrules.rules.rule import Rulepack

FILE = "cases.yaml"
NOT_APPLICABLE = "not applicable"
EXPECTED = ("met", "marginal", "breached", "undetermined", NOT_APPLICABLE)
_TOP_KEYS = ("base", "changes", "cases", "explained")
_KEYS = ("expect", "subject", "with", "leave_out", "set")
Changes = Mapping[str, tuple[tree.Scalar, tree.Node]]
_WORST_FIRST = (Verdict.BREACHED, Verdict.MARGINAL, Verdict.UNDETERMINED, Verdict.MET)


@frozen(eq=False)
class Case:
    """``expect`` is a verdict in words, or `not applicable`; ``changes`` are new values by path.

    ``left_out`` are paths at which nothing is stated then; ``subject`` picks one finding, without it the worst finding
    of the rule counts.
    """

    rule: str
    expect: str
    subject: str
    changes: Changes
    left_out: tuple[tuple[str, Span], ...]
    source: Source
    span: Span


@frozen(eq=False)
class Cases:
    """All cases of a rulepack, with the system they change.

    ``explained``: by rule and by the words of a fault, why no case can notice it.
    """

    base: System
    cases: tuple[Case, ...]
    explained: Mapping[str, Mapping[str, str]]


def read_cases(rulepack: Rulepack) -> Cases:
    """The cases in the folder of a rulepack. Raises InputError with every mistake."""
    path = Path(rulepack.folder) / FILE
    if not path.is_file():
        raise refuse("no-cases", f"the rulepack `{rulepack.name}` has no cases", where=str(path),
                     expected=f"a file `{FILE}` beside the rules")  # fmt: skip
    reading = Reading(tree.read_source(path))
    top = check_header(reading, tree.read_tree(reading.source), "cases")
    for name, (key, _) in top.entries.items():
        if name != "limitrules" and name not in _TOP_KEYS:
            reading.unknown_key(key, _TOP_KEYS, "a file of cases")
    base = _base(reading, top, rulepack)
    found = _cases(reading, top, rulepack, _groups(reading, top))
    explained = _explained(reading, top, rulepack)
    reading.finish()
    return Cases(read_system(base, rulepack.vocabulary), tuple(found), explained)


def _base(reading: Reading, top: tree.Mapping, rulepack: Rulepack) -> Path:
    entry = top.entries.get("base")
    if entry is None:
        reading.say("missing-key", "The cases name no base system.", top, expected="`base: base.yaml`")
        reading.finish()
        raise AssertionError("unreachable")
    return Path(rulepack.folder) / (reading.text(entry[1], "the name of a file") or "")


def _groups(reading: Reading, top: tree.Mapping) -> dict[str, Changes]:
    """Changes with a name, for cases that begin alike."""
    entry = top.entries.get("changes")
    mapping = reading.mapping(entry[1], "a map of names and changes") if entry else None
    found: dict[str, Changes] = {}
    for name, (_, node) in (mapping.entries if mapping else {}).items():
        changes = reading.mapping(node, "a map of paths")
        found[name] = changes.entries if changes else {}
    return found


def _explained(reading: Reading, top: tree.Mapping, rulepack: Rulepack) -> dict[str, dict[str, str]]:
    """Why no case can notice a fault, by rule and by the words of the fault."""
    entry = top.entries.get("explained")
    mapping = reading.mapping(entry[1], "a map of rules") if entry else None
    found: dict[str, dict[str, str]] = {}
    for rule, (key, node) in (mapping.entries if mapping else {}).items():
        if rule not in rulepack.rules:
            reading.unknown_key(key, rulepack.rules, "the rules of this rulepack")
            continue
        faults = reading.mapping(node, "a map of faults and reasons")
        for words, (_, because) in (faults.entries if faults else {}).items():
            found.setdefault(rule, {})[words] = reading.text(because, "a reason") or ""
    return found


def _cases(reading: Reading, top: tree.Mapping, rulepack: Rulepack, groups: Mapping[str, Changes]) -> list[Case]:
    entry = top.entries.get("cases")
    mapping = reading.mapping(entry[1], "a map of rules") if entry else None
    found: list[Case] = []
    for rule, (key, node) in (mapping.entries if mapping else {}).items():
        if rule not in rulepack.rules:
            reading.unknown_key(key, rulepack.rules, "the rules of this rulepack")
        elif not isinstance(node, tree.Sequence):
            reading.say("not-a-list", "The cases of a rule are a list.", node, expected="`- {expect: met}`")
        else:
            found.extend(case for item in node.items if (case := _case(reading, rule, item, groups)) is not None)
    return found


def _case(reading: Reading, rule: str, node: tree.Node, groups: Mapping[str, Changes]) -> Case | None:
    mapping = reading.mapping(node, "a map with `expect`, `subject`, `with`, `leave_out` and `set`")
    if mapping is None:
        return None
    for name, (key, _) in mapping.entries.items():
        if name not in _KEYS:
            reading.unknown_key(key, _KEYS, "a case")
    expect = reading.text(mapping.entries["expect"][1], "a verdict") if "expect" in mapping.entries else None
    if expect not in EXPECTED:
        near = nearest(expect or "", EXPECTED)
        reading.say("unknown-verdict", f"`{expect}` is nothing that a rule can come to.", node,
                    expected=listing(EXPECTED), advice=f"write `{near}`" if near else "")  # fmt: skip
        return None
    subject = reading.text(mapping.entries["subject"][1], "a path") if "subject" in mapping.entries else ""
    changes: dict[str, tuple[tree.Scalar, tree.Node]] = {}
    if "with" in mapping.entries:
        place = mapping.entries["with"][1]
        name = reading.text(place, "the name of a group of changes") or ""
        if name not in groups:
            near = nearest(name, groups)
            reading.say("unknown-changes", f"`{name}` is no group of changes.", place, expected=listing(list(groups)),
                        advice=f"write `{near}`" if near else "")  # fmt: skip
        changes.update(groups.get(name, {}))
    stated = reading.mapping(mapping.entries["set"][1], "a map of paths") if "set" in mapping.entries else None
    changes.update(stated.entries if stated else {})
    left_out = _left_out(reading, mapping)
    return Case(rule, expect, subject or "", changes, left_out, reading.source, reading.span(node))


def _left_out(reading: Reading, mapping: tree.Mapping) -> tuple[tuple[str, Span], ...]:
    """The paths that a case leaves out; one of them needs no list."""
    if "leave_out" not in mapping.entries:
        return ()
    node = mapping.entries["leave_out"][1]
    items = node.items if isinstance(node, tree.Sequence) else (node,)
    return tuple((reading.text(item, "a path") or "", reading.span(item)) for item in items)


def changed(base: System, case: Case) -> System:
    """The base system with the changes of a case. Raises InputError where a change cannot be made."""
    system = base
    found: list[Diagnostic] = []
    for path, place in case.left_out:
        try:
            system = system.without(path, place)
        except InputError as error:
            found.extend(error.diagnostics)
    for path, (key, node) in case.changes.items():
        place = case.source.span(key.start, key.end)
        try:
            system = system.with_node(path, node, case.source, place)
        except InputError as error:
            found.extend(error.diagnostics)
    if found:
        raise InputError(found)
    return system


def outcome(rulepack: Rulepack, base: System, case: Case) -> str:
    """What the rule of a case comes to on the changed system: a verdict in words, or `not applicable`."""
    alone = attrs.evolve(rulepack, rules={case.rule: rulepack.rules[case.rule]})
    return verdict_of(Survey(changed(base, case), [alone], only=case.subject), case.subject)


def verdict_of(survey: Survey, subject: str = "") -> str:
    """The worst verdict in words, of one subject where it is named; `not applicable` where there is none."""
    found = [
        check.verdict for check in survey.checks if check.verdict is not None and subject in ("", subject_of(check))
    ]
    if survey.without_tie and not subject:
        found.append(Verdict.UNDETERMINED)  # whom the rule concerns cannot be told
    return min(found, key=_WORST_FIRST.index).value if found else NOT_APPLICABLE


def subject_of(check: Check) -> str:
    """Whom a check concerns, as a finding shows it."""
    return bound_to(check.binder)
