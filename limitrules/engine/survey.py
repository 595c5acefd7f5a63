"""A survey: rulepacks bound to a system, evaluated, and kept ready for changed values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from limitrules.engine.check import Check
from limitrules.engine.finding import finding_of, unmet_scope
from limitrules.engine.missing import missing_values
from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.exact import float_below
from limitrules.foundation.kinds import Attribute, Component, Components
from limitrules.language import ground as g
from limitrules.model.quantity import QuantityError, Uncertain, parse_quantity
from limitrules.model.system import System
from limitrules.model.value_reader import may_be
from limitrules.rules.binding import Binder
from limitrules.rules.bound import Absent
from limitrules.rules.concessions import Concessions
from limitrules.rules.findings import (
    Finding,
    NotApplicable,
    RulepackUsed,
    SurveyResult,
    Verdict,
)
from limitrules.rules.rule import Rule, Rulepack
from limitrules.rules.slots import Slots
from limitrules.rules.subjects import subjects_of

_ORDER = {Verdict.BREACHED: 0, Verdict.MARGINAL: 1, Verdict.UNDETERMINED: 2, Verdict.MET: 3}


class Survey:
    """Rulepacks over a system. ``change`` puts in one value and evaluates only what reads it.

    ``at`` surveys one point of the tolerances instead: exact values in SI by path, such as the witness of a finding.
    ``only`` leaves out every subject but one, named as a finding shows it.
    """

    def __init__(
        self,
        system: System,
        rulepacks: Sequence[Rulepack],
        concessions: Concessions | None = None,
        at: Mapping[str, Fraction] | None = None,
        only: str = "",
    ) -> None:
        self._system = system
        self._only = only
        self._at = at
        self._changes: dict[str, str] = {}
        self.rulepacks = tuple(rulepacks)
        self.concessions = concessions or Concessions()
        self._bind()

    # binding

    def _bind(self) -> None:
        self.slots = Slots(self._at)
        self.checks: list[Check] = []
        self._readers: dict[str, list[int]] = {}
        self._plain: dict[str, Attribute | None] = {}
        self._figures: list[int] | None = None
        self.without_subject: list[NotApplicable] = []
        self.without_tie: list[tuple[Rule, Absent]] = []
        for rulepack in self.rulepacks:
            for rule in rulepack.rules.values():
                self._bind_rule(rule)
        for number, check in enumerate(self.checks):
            self._note_reads(number, check)
        self.evaluate()

    def _bind_rule(self, rule: Rule) -> None:
        found = False
        for binder in subjects_of(rule, self._system, self.slots):
            found = True
            if isinstance(binder, Absent):
                self.without_tie.append((rule, binder))
            elif self._only in ("", bound_to(binder)):
                self.checks.append(_check(rule, binder))
        if not found:
            self.without_subject.append(
                NotApplicable(rule.rulepack, rule.id, rule.title, rule.consequence, "", _no_subject(rule, self._system))
            )

    def _note_reads(self, number: int, check: Check) -> None:
        for path in check.binder.reads:
            self._readers.setdefault(path, []).append(number)

    def readers_of(self, path: str) -> list[int]:
        """The numbers of the checks that read a value."""
        return self._readers.get(path, [])

    # evaluating

    def evaluate(self) -> list[Verdict | None]:
        """The verdict of every check, all evaluated anew; None where the rule does not apply."""
        slots = self.slots
        return [check.evaluate(slots) for check in self.checks]

    @property
    def verdicts(self) -> list[Verdict | None]:
        """The verdicts found last."""
        return [check.verdict for check in self.checks]

    @property
    def system(self) -> System:
        """The system with all changes made to it."""
        for path, text in self._changes.items():
            self._system = self._system.with_value(path, text)
        self._changes.clear()
        return self._system

    def change(self, path: str, text: str) -> list[Check]:
        """Put in another value, written as in a document, and evaluate the checks that read it.

        Returns these checks. Raises InputError where the path or the value cannot be used; nothing changes then.
        """
        number = self._number(path, text)
        if number is None:
            return self._change_structure(path, text)
        self._changes[path] = text
        self.slots.change(path, number.low, number.high, number.nominal)
        affected = [self.checks[position] for position in self._readers[path]]
        for check in affected:
            check.evaluate(self.slots)
        return affected

    def _number(self, path: str, text: str) -> Uncertain | None:
        """The new number where one number takes the place of another, else None."""
        if path not in self.slots.index or path not in self._readers or not self._is_number(path):
            return None
        if path not in self._plain:
            self._plain[path] = self._plain_attribute(path)
        attribute = self._plain[path]
        if attribute is None or attribute.unit is None:
            return None
        try:
            found = parse_quantity(text, attribute.unit)
        except QuantityError:
            return None  # the long form, a count, or a mistake: read with all that belongs to it
        return found if may_be(attribute, found) else None

    def _is_number(self, path: str) -> bool:
        """True where the value there is now is a number, so that its readers are bound to its slot."""
        if path in self._changes:
            return True
        value = self._system.value(path)
        return value is not None and isinstance(value.content, Uncertain)

    def _plain_attribute(self, path: str) -> Attribute | None:
        """The attribute of a value in the short form; None for a count, and where an origin or a sensor is stated."""
        attribute, value = self._system.attribute(path), self._system.value(path)
        is_plain = value is not None and value.note is None and not attribute.count
        return attribute if is_plain else None

    def _change_structure(self, path: str, text: str) -> list[Check]:
        changed = self.system.with_value(path, text)
        before = list(self.checks)
        self._system = changed
        self._plain.pop(path, None)
        self._figures = None
        if _is_tie(changed, path):
            self._bind()
            return list(self.checks)
        self.slots.forget(path)
        affected = []
        for position in self._readers.get(path, []):
            old = before[position]
            binder = Binder(changed, self.slots, old.binder.rule, old.binder.names.renewed(changed))
            check = _check(old.binder.rule, binder)
            self.checks[position] = check
            check.evaluate(self.slots)
            affected.append(check)
        self._readers = {}
        for number, check in enumerate(self.checks):
            self._note_reads(number, check)
        return affected

    def _exactness(self) -> tuple[str, ...]:
        """A word where figures carry no tolerance: exact is how they were taken, not how they are."""
        if self._figures is None:
            known = [path for path in self._readers if path in self.slots.index]
            self._figures = [self.slots.index[path] for path in known if not self.system.attribute(path).count]
        ranges, figures = self.slots.ranges, self._figures
        exact = sum(ranges[number][0] == ranges[number][1] for number in figures)
        if not exact:
            return ()
        return (f"{exact} of {len(figures)} figures that were read carry no tolerance; they were taken as exact.",)

    def _retired(self) -> list[str]:
        """Rules that are not asked, with the reason: whoever signs a report has to see them."""
        return [
            f"Not asked: {rulepack.name}/{item.rule} (class {item.consequence.value}), retired by {item.by}:"
            f" {item.reason}"
            for rulepack in self.rulepacks
            for item in rulepack.retired
        ]

    # results

    def result(self) -> SurveyResult:
        """All findings with their reasons, worst first."""
        system = self.system
        slots = self.slots.copy()
        findings: list[Finding] = []
        passed_over = list(self.without_subject)
        for check in self.checks:
            if check.verdict is None:
                passed_over.append(unmet_scope(check))
            else:
                findings.append(finding_of(check, slots, self.concessions))
        findings.extend(_tie_missing(rule, missing) for rule, missing in self.without_tie)
        findings.sort(key=_rank)
        used = tuple(RulepackUsed(pack.name, pack.version, pack.content) for pack in self.rulepacks)
        return SurveyResult(
            system.name,
            system.source.name,
            used,
            tuple(findings),
            tuple(passed_over),
            missing_values(findings, system),
            (*self._exactness(), *self._retired(), *self.concessions.notes(findings)),
        )


def survey(
    system: System,
    rulepacks: Sequence[Rulepack],
    concessions: Concessions | None = None,
) -> SurveyResult:
    """Evaluate rulepacks over a system."""
    return Survey(system, rulepacks, concessions).result()


def bound_to(binder: Binder) -> str:
    """Whom a rule is bound to, as a finding shows it."""
    return ", ".join(record.path for record in binder.names.components.values())


def _check(rule: Rule, binder: Binder) -> Check:
    condition = binder.truth(rule.when) if rule.when is not None else None
    if isinstance(condition, g.Fixed) and condition.value is True:
        condition = None
    return Check(binder, condition, binder.truth(rule.require))


def _no_subject(rule: Rule, system: System) -> str:
    kinds = [subject.kind for subject in rule.about.subjects]
    empty = [kind for kind in kinds if not system.components[kind]]
    if empty:
        return f"the document lists no {empty[0]}"
    return f"nothing in the document fits `{rule.about.text}`"


def _tie_missing(rule: Rule, missing: Absent) -> Finding:
    sentence = f"Whom this rule concerns cannot be told, since {missing.path} is not stated."
    return Finding(rule.rulepack, rule.id, rule.title, rule.consequence, {}, Verdict.UNDETERMINED, None, sentence,
                   rule.remedies, rule.caution, rule.basis, missing=(missing.path,), span=rule.span)  # fmt: skip


def _is_tie(system: System, path: str) -> bool:
    """True where a change at a path may change which subjects there are."""
    try:
        value, kind = system.value(path), system.attribute(path).type
    except InputError:
        return True
    # A tie that has become unknown is still one.
    return value is None or isinstance(kind, Component | Components)


def _rank(finding: Finding) -> tuple[int, int, float, str, str]:
    share = finding.headroom.share_worst if finding.headroom is not None else None
    return (
        _ORDER[finding.verdict] // 2 * 10 + finding.consequence.rank,
        _ORDER[finding.verdict],
        float_below(share) if share is not None else 0.0,
        finding.rule,
        finding.subject,
    )
