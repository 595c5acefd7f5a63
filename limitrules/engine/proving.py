"""Proving a rulepack: its cases come out as stated, cover every verdict, and notice every small fault of a rule."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction

import attrs
from attrs import frozen

from limitrules.engine.cases import EXPECTED, Case, Cases, changed, read_cases, verdict_of
from limitrules.engine.mutants import Mutant, mutants_of
from limitrules.engine.survey import Survey
from limitrules.foundation.source import Span
from limitrules.model.system import System
from limitrules.rules.rule import Rule, Rulepack

Progress = Callable[[str], None]


@frozen(eq=False)
class Wrong:
    """A case that does not come out as it states."""

    case: Case
    found: str


@frozen(eq=False)
class Survivor:
    """A fault that no case notices; ``because`` is what the author says of it, empty where nothing is said."""

    words: str
    span: Span
    because: str


@frozen(eq=False)
class RuleProof:
    """What the cases of one rule are worth. ``lacking``: verdicts that no case expects."""

    rule: Rule
    cases: int
    lacking: tuple[str, ...]
    wrong: tuple[Wrong, ...]
    mutants: int
    survivors: tuple[Survivor, ...]

    @property
    def unexplained(self) -> tuple[Survivor, ...]:
        return tuple(item for item in self.survivors if not item.because)

    @property
    def holds(self) -> bool:
        return bool(self.cases) and not self.wrong and not self.unexplained


@frozen(eq=False)
class Proof:
    """The proofs of all rules of a rulepack."""

    rulepack: Rulepack
    rules: tuple[RuleProof, ...]

    @property
    def holds(self) -> bool:
        return all(item.holds for item in self.rules)


def prove(rulepack: Rulepack, progress: Progress | None = None) -> Proof:
    """Run all cases and all faults. Raises InputError where the cases cannot be read."""
    cases = read_cases(rulepack)
    proofs = []
    for number, rule in enumerate(rulepack.rules.values()):
        if progress is not None:
            progress(f"{rulepack.name}: rule {number + 1} of {len(rulepack.rules)}")
        proofs.append(_prove_rule(rulepack, rule, cases))
    return Proof(rulepack, tuple(proofs))


def _prove_rule(rulepack: Rulepack, rule: Rule, cases: Cases) -> RuleProof:
    own = [case for case in cases.cases if case.rule == rule.id]
    systems = [changed(cases.base, case) for case in own]
    alone = attrs.evolve(rulepack, rules={rule.id: rule})
    wrong = []
    for case, system in zip(own, systems, strict=True):
        found = verdict_of(Survey(system, [alone]), case.subject)
        if found != case.expect:
            wrong.append(Wrong(case, found))
    explained = cases.explained.get(rule.id, {})
    mutants = list(mutants_of(rule, rulepack.vocabulary)) if own and not wrong else []
    trials = list(zip(own, systems, strict=True))
    survivors = tuple(
        Survivor(mutant.words, mutant.span, explained.get(mutant.words, ""))
        for mutant in mutants
        if not _is_noticed(rulepack, mutant, trials)
    )
    lacking = tuple(verdict for verdict in EXPECTED if verdict not in {case.expect for case in own})
    return RuleProof(rule, len(own), lacking, tuple(wrong), len(mutants), survivors)


def _is_noticed(rulepack: Rulepack, mutant: Mutant, trials: list[tuple[Case, System]]) -> bool:
    """True where a case comes out in another way with the fault than it states.

    That case comes first from then on: what noticed one fault of a clause often notices the next.
    """
    for number, (case, system) in enumerate(trials):
        if _differs(rulepack, mutant, case, system):
            trials.insert(0, trials.pop(number))
            return True
    return False


def _differs(rulepack: Rulepack, mutant: Mutant, case: Case, system: System) -> bool:
    try:
        return _outcome(rulepack, mutant, case, system) != case.expect
    except (ArithmeticError, LookupError, TypeError, ValueError):
        return True  # a fault that cannot even be evaluated does not pass unnoticed


def _outcome(rulepack: Rulepack, mutant: Mutant, case: Case, system: System) -> str:
    if mutant.rule is None:
        rules = {case.rule: rulepack.rules[case.rule]}
        alone = attrs.evolve(rulepack, rules=rules)
        plain = Survey(system, [alone])
        return verdict_of(Survey(system, [alone], at=_nominal(plain)), case.subject)
    return verdict_of(Survey(system, [attrs.evolve(rulepack, rules={case.rule: mutant.rule})]), case.subject)


def _nominal(survey: Survey) -> Mapping[str, Fraction]:
    return dict(zip(survey.slots.paths, survey.slots.nominal, strict=True))
