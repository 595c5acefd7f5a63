"""Two states of one system: which values differ, what that does to the findings, and which tests are due again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction

from attrs import frozen

from limitrules.engine.cases import subject_of
from limitrules.engine.survey import Survey
from limitrules.model.system import System
from limitrules.model.values import Value
from limitrules.rules.findings import Finding, Verdict

_ORDER = {Verdict.MET: 0, Verdict.UNDETERMINED: 1, Verdict.MARGINAL: 2, Verdict.BREACHED: 3}
_FIRMWARE = ".identity.version"

Key = tuple[str, str, str]


@frozen(eq=False)
class ChangedValue:
    """A value that differs: its texts before and after, empty where it was not stated."""

    path: str
    before: str
    after: str

    @property
    def is_firmware(self) -> bool:
        return self.path.endswith(_FIRMWARE)


@frozen(eq=False)
class ChangedFinding:
    """A finding that comes out in another way; ``before`` or ``after`` is None where the rule did not apply then."""

    key: Key
    before: Finding | None
    after: Finding | None

    @property
    def is_worse(self) -> bool:
        """True for a verdict that is further from met, also where the finding is new and not met."""
        before = _ORDER[self.before.verdict] if self.before is not None else 0
        after = _ORDER[self.after.verdict] if self.after is not None else 0
        return after > before


@frozen(eq=False)
class Due:
    """A test that is due again: the finding that rests on it, and the changed values that it reads or is behind."""

    finding: Finding
    because: tuple[str, ...]


@frozen(eq=False)
class Comparison:
    """``unchanged``: how many findings come out as before and read nothing that changed: what was shown still holds."""

    old: System
    new: System
    values: tuple[ChangedValue, ...]
    findings: tuple[ChangedFinding, ...]
    due: tuple[Due, ...]
    unchanged: int
    after: tuple[Finding, ...]


def compare(old: Survey, new: Survey) -> Comparison:
    """Compare two surveys under the same rulepacks."""
    values = tuple(_values(old.system, new.system))
    before, after = _by_key(old.result().findings), _by_key(new.result().findings)
    findings = tuple(
        ChangedFinding(key, before.get(key), after.get(key))
        for key in dict.fromkeys([*after, *before])
        if _is_changed(before.get(key), after.get(key))
    )
    due = tuple(_due(new, values, after))
    touched = {key_of(item.finding) for item in due} | {item.key for item in findings}
    return Comparison(
        old.system, new.system, values, findings, due, sum(key not in touched for key in after), tuple(after.values())
    )


def key_of(finding: Finding) -> Key:
    """What makes a finding the same one in two surveys."""
    return finding.rulepack, finding.rule, finding.subject


def _by_key(findings: Iterable[Finding]) -> dict[Key, Finding]:
    return {key_of(finding): finding for finding in findings}


def _values(old: System, new: System) -> Iterator[ChangedValue]:
    before, after = dict(old.values()), dict(new.values())
    for path in dict.fromkeys([*after, *before]):
        one, other = before.get(path), after.get(path)
        if one is None or other is None or one.content != other.content:
            yield ChangedValue(path, _text(one), _text(other))


def _text(value: Value | None) -> str:
    return value.text if value is not None else ""


def _is_changed(before: Finding | None, after: Finding | None) -> bool:
    if before is None or after is None:
        found = before or after
        return found is not None and (before is None or before.verdict is not Verdict.MET)
    return before.verdict is not after.verdict or _worst(before) != _worst(after)


def _worst(finding: Finding) -> Fraction | None:
    return finding.headroom.worst if finding.headroom is not None else None


def _due(new: Survey, values: tuple[ChangedValue, ...], after: Mapping[Key, Finding]) -> Iterator[Due]:
    """The closure over the rules: whoever reads a changed value, or anything of a component with other firmware."""
    changed = {item.path for item in values}
    renewed = {item.path.removesuffix(_FIRMWARE) + "." for item in values if item.is_firmware}
    for check in new.checks:
        if check.verdict is None:
            continue
        rule = check.binder.rule
        subject = subject_of(check)
        finding = after.get((rule.rulepack, rule.id, subject))
        reads = sorted(changed & set(check.binder.reads))
        behind = [head for head in renewed if any(path.startswith(head) for path in check.binder.reads)]
        reads += sorted(f"{head[:-1]}{_FIRMWARE}" for head in behind)
        if finding is not None and reads and finding.evidence:
            yield Due(finding, tuple(dict.fromkeys(reads)))
