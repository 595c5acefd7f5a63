"""Proving a rulepack: its cases come out as stated, cover every verdict, and notice every small fault of a rule."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
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
    """Run all cases and all faults, rules side by side. Raises InputError where the cases cannot be read."""
    cases = read_cases(rulepack)
    trials = _Trials(rulepack, _by_rule(rulepack, cases))
    proofs = []
    for number, (rule, found) in enumerate(zip(rulepack.rules.values(), _all_found(trials), strict=True)):
        if progress is not None:
            progress(f"{rulepack.name}: rule {number + 1} of {len(rulepack.rules)}")
        proofs.append(_proof_of(trials, rule, found, cases.explained.get(rule.id, {})))
    return Proof(rulepack, tuple(proofs))


def _by_rule(rulepack: Rulepack, cases: Cases) -> dict[str, list[tuple[Case, System]]]:
    """The cases of each rule with the systems they change the base into."""
    found: dict[str, list[tuple[Case, System]]] = {rule: [] for rule in rulepack.rules}
    for case in cases.cases:
        found[case.rule].append((case, changed(cases.base, case)))
    return found


@frozen(eq=False)
class _Trials:
    """All that is tried. What comes out of it passes from one process to another, so it is numbers and words."""

    rulepack: Rulepack
    by_rule: Mapping[str, list[tuple[Case, System]]]

    def found(self, rule: Rule) -> _Found:
        """The numbers of the wrong cases with what they came to, and those of the faults that no case notices."""
        own = self.by_rule[rule.id]
        alone = attrs.evolve(self.rulepack, rules={rule.id: rule})
        came_to = [verdict_of(Survey(system, [alone], only=case.subject), case.subject) for case, system in own]
        wrong = [(at, found) for at, found in enumerate(came_to) if found != own[at][0].expect]
        ordered = list(own)
        mutants = mutants_of(rule, self.rulepack.vocabulary) if own and not wrong else ()
        return wrong, [at for at, item in enumerate(mutants) if not _is_noticed(self.rulepack, item, ordered)]


_Found = tuple[list[tuple[int, str]], list[int]]
_shared: list[_Trials] = []


def _all_found(trials: _Trials) -> Iterator[_Found]:
    """The results of all rules in their order, from as many processes as there are processors."""
    rules = list(trials.rulepack.rules.values())
    workers = min(os.cpu_count() or 1, len(rules))
    if workers < 2 or "fork" not in multiprocessing.get_all_start_methods():
        yield from (trials.found(rule) for rule in rules)
        return
    # Forked processes see the rulepack and the systems as they are; nothing has to be sent to them.
    context = multiprocessing.get_context("fork")
    with ProcessPoolExecutor(workers, context, _shared.append, (trials,)) as pool:
        yield from pool.map(_found_by_worker, [rule.id for rule in rules])


def _found_by_worker(rule: str) -> _Found:
    (trials,) = _shared
    return trials.found(trials.rulepack.rules[rule])


def _proof_of(trials: _Trials, rule: Rule, found: _Found, explained: Mapping[str, str]) -> RuleProof:
    own = [case for case, _ in trials.by_rule[rule.id]]
    wrong = tuple(Wrong(own[at], came_to) for at, came_to in found[0])
    mutants = list(mutants_of(rule, trials.rulepack.vocabulary)) if own and not wrong else []
    left = [mutants[at] for at in found[1]]
    survivors = tuple(Survivor(item.words, item.span, explained.get(item.words, "")) for item in left)
    lacking = tuple(verdict for verdict in EXPECTED if verdict not in {case.expect for case in own})
    return RuleProof(rule, len(own), lacking, wrong, len(mutants), survivors)


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
        plain = Survey(system, [alone], only=case.subject)
        return verdict_of(Survey(system, [alone], at=_nominal(plain), only=case.subject), case.subject)
    faulty = attrs.evolve(rulepack, rules={case.rule: mutant.rule})
    return verdict_of(Survey(system, [faulty], only=case.subject), case.subject)


def _nominal(survey: Survey) -> Mapping[str, Fraction]:
    return dict(zip(survey.slots.paths, survey.slots.nominal, strict=True))
