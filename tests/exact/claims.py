"""What a finding claims, held against the oracle at points, and against a solver where one is at hand."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from fractions import Fraction
from math import inf
from typing import TYPE_CHECKING

from attrs import define, frozen

from limitrules.engine.survey import Survey
from limitrules.foundation.source import Source
from limitrules.model.system import System, parse_system
from limitrules.model.vocabulary import load_vocabulary
from limitrules.rules.findings import Finding, Headroom, SurveyResult, Verdict
from limitrules.rules.rulepack import check_drafts, parse_draft
from tests.exact.oracle import (
    End,
    Ends,
    GeneratedRule,
    Inputs,
    Names,
    Place,
    Point,
    Term,
    fillings_of,
    headroom_at,
    inputs_of,
    lone_comparison,
    points_in,
    truth,
)
from tests.exact.wording import rulepack_text, shown
from tests.exact.world import World

if TYPE_CHECKING:
    from tests.exact.reals import Formula

RELATIVE = Fraction(1, 10**6)
BESIDE_ZERO = Fraction(1, 10**9)
"""What is no more than this share of the limit away from a headroom of zero is told apart from other looseness."""


def system(world: World, more: str = "") -> System:
    return parse_system(Source("system.yaml", world.document(more)), load_vocabulary())


def surveyed(world: World, rules: list[GeneratedRule], more: str = "") -> SurveyResult:
    """The survey of the rules over the system, both read from their text. Raises InputError where one is refused."""
    rulepacks = check_drafts([parse_draft(Source("rulepack.yaml", rulepack_text(rules)))])
    return Survey(system(world, more), rulepacks).result()


@frozen
class Claim:
    """One finding, with the rule and what its names stand for; without a finding where the rule does not apply."""

    world: World
    rule: GeneratedRule
    names: Names
    finding: Finding | None

    @property
    def verdict(self) -> Verdict | None:
        return self.finding.verdict if self.finding is not None else None

    @property
    def inputs(self) -> Inputs:
        return inputs_of(self.rule.whole, self.world, self.names)

    @property
    def lone(self) -> tuple[Term, int] | None:
        """The comparison whose headroom is the one that is stated."""
        return lone_comparison(self.rule.require) if self.rule.when is None else None

    def at(self, values: Point) -> Place:
        return Place(self.world, self.names, values)

    def shown(self) -> str:
        """Everything that is needed to see it again."""
        when = f"when: {shown(self.rule.when)}\n" if self.rule.when is not None else ""
        found = f"{self.finding.verdict.value}, {self.finding.headroom}, {self.finding.witness}" if self.finding else (
            "not applicable")  # fmt: skip
        return (f"{self.world.document()}\n{rulepack_text([self.rule])}\n{when}require: {shown(self.rule.require)}\n"
                f"{dict(self.names)}: {found}")  # fmt: skip


def claims(world: World, rules: list[GeneratedRule], result: SurveyResult) -> list[Claim]:
    """Every finding that is due, each with what it claims."""
    found: Mapping[tuple[str, str], Finding] = {(item.rule, item.subject): item for item in result.findings}
    passed_over = {(item.rule, item.subject) for item in result.not_applicable}
    due = []
    for number, rule in enumerate(rules):
        for names in rule.bindings(world):
            subject = ", ".join(names[name] for name, kind in rule.subjects if kind != "site" or len(rule.subjects) > 1)
            key = f"rule-{number}", subject or "site"
            if key not in found and key not in passed_over:
                key = f"rule-{number}", ""
            assert key in found or key in passed_over, (key, list(found), passed_over)
            due.append(Claim(world, rule, names, found.get(key)))
    assert len(due) == len(result.findings) + len(result.not_applicable)
    return due


@frozen
class Contradiction:
    """What speaks against a claim; ``kind`` is the part of the claim that is wrong."""

    kind: str
    text: str


# points


def contradictions(claim: Claim) -> Iterator[Contradiction]:
    """Everything that sampled points have to say against a claim."""
    generator = random.Random(7)
    inputs = claim.inputs
    fillings = fillings_of(inputs, generator)
    lone, is_open = claim.lone, bool(inputs.gaps)
    lowest: End = inf
    for values in points_in(inputs, generator):
        found = truth(claim.rule.whole, claim.at(values))
        yield from _against_verdict(claim, values, found, fillings)
        for filling in fillings or [{}] if lone is not None else []:
            assert lone is not None
            low, high = headroom_at(lone, claim.at({**values, **filling}))
            lowest, is_open = min(lowest, high), is_open or low != high
    yield from _against_headroom(claim, inputs, lowest, is_open)


def _said(point: Point) -> str:
    return "{" + ", ".join(f"{key}: {value}" for key, value in point.items()) + "}"


def _against_verdict(claim: Claim, values: Point, found: bool | None, fillings: list[Point]) -> Iterator[Contradiction]:
    if claim.verdict is Verdict.UNDETERMINED:
        if found is False:
            yield Contradiction("undetermined", f"it fails, whatever is missing, at {_said(values)}")
    elif claim.verdict is None:
        assert claim.rule.when is not None
        if truth(claim.rule.when, claim.at(values)) is True:
            yield Contradiction("not applicable", f"it applies at {_said(values)}")
    elif claim.verdict is not Verdict.MARGINAL:
        due = claim.verdict is Verdict.MET
        if found is not None and found is not due:
            yield Contradiction(claim.verdict.value, f"it {'holds' if found else 'fails'} at {_said(values)}")
        for filling in (fillings or [{}]) if found is None else []:
            there = truth(claim.rule.whole, claim.at({**values, **filling}))
            if there is not due:
                yield Contradiction(claim.verdict.value, f"it is {there} at {_said({**values, **filling})}")
                return


def _against_headroom(claim: Claim, inputs: Inputs, lowest: Fraction | float, is_open: bool) -> Iterator[Contradiction]:
    headroom = claim.finding.headroom if claim.finding is not None else None
    if claim.finding is None or headroom is None:
        return
    witness = claim.finding.witness or {}
    for key, value in witness.items():
        low, high = inputs.ranges.get(key) or inputs.gaps.get(key) or (value + 1, value)
        if not low <= value <= high:
            yield Contradiction("witness", f"it has {key} at {value}, outside what the rule reads")
    lone = claim.lone
    if lone is None:
        return
    nominal = headroom_at(lone, claim.at(inputs.nominal))
    if headroom.nominal is not None and nominal[0] == nominal[1] and nominal[0] != headroom.nominal:
        yield Contradiction("nominal headroom", f"{headroom.nominal} is stated; it is {nominal[0]}")
    there = headroom_at(lone, claim.at({**inputs.nominal, **witness}))
    if headroom.reached is not None and witness and there != (headroom.reached, headroom.reached):
        yield Contradiction("reached headroom", f"{headroom.reached} is stated; it is {there} at the witness")
    if headroom.worst is not None:
        yield from _against_worst(headroom, there, lowest, is_open)


def _against_worst(headroom: Headroom, there: Ends, lowest: End, is_open: bool) -> Iterator[Contradiction]:
    """``there`` is the headroom at the witness, ``lowest`` the lowest one sampled."""
    worst = headroom.worst
    assert worst is not None
    if lowest < worst:
        yield Contradiction("worst headroom", f"{worst} is stated; {lowest} was sampled")
    if there[1] < worst:
        yield Contradiction("worst headroom", f"{worst} is stated; it is {there[1]} at the witness")
    if (
        headroom.tight
        and not headroom.is_open
        and there[0] > worst + RELATIVE * max(abs(worst), abs(Fraction(there[0])))
    ):
        where = " where something is missing" if is_open else ""
        where = (
            " beside zero"
            if there[0] - worst < BESIDE_ZERO * max(Fraction(1), abs(headroom.limit or Fraction(0)))
            else where
        )
        yield Contradiction(f"tightness{where}", f"{float(worst)!r} is stated, {float(there[0])!r} at the witness")


def is_reached(claim: Claim) -> bool | None:
    """Whether the headroom at the witness is exactly the worst one; None where there is nothing to hold it against."""
    finding, lone = claim.finding, claim.lone
    if lone is None or finding is None or finding.headroom is None or finding.headroom.worst is None:
        return None
    place = claim.at({**claim.inputs.nominal, **(finding.witness or {})})
    return headroom_at(lone, place) == (finding.headroom.worst,) * 2


# proofs


@define
class Proofs:
    """Contradictions that a solver finds anywhere in the tolerances; ``asked`` counts questions, ``decided`` answers.

    ``unnoticed`` counts undetermined rules that hold, or fail, whatever is missing, as where two phrases speak of the
    same missing figure; conditions of three values do not see that, and are not wrong for it.
    """

    milliseconds: int = 400
    asked: int = 0
    decided: int = 0
    unnoticed: int = 0

    def against(self, claim: Claim) -> Iterator[Contradiction]:
        """Everything that can be proved against a claim."""
        if claim.finding is None:
            return
        from tests.exact.reals import Formula, z3

        formula = Formula(claim.world, claim.names)
        condition = formula.truth(claim.rule.whole)
        can_fail = self._can_be(formula, z3.Not(condition))
        can_hold = self._can_be(formula, condition)
        if claim.verdict is Verdict.MET and can_fail:
            yield Contradiction("met", "a solver finds a point where it fails")
        if claim.verdict is Verdict.BREACHED and can_hold:
            yield Contradiction("breached", "a solver finds a point where it holds")
        headroom = claim.finding.headroom
        if False in (can_fail, can_hold):
            one_sided = "holds everywhere" if can_fail is False else "fails everywhere"
            if claim.verdict is Verdict.MARGINAL and headroom is not None and headroom.tight:
                yield Contradiction("marginal", f"it is proved that it {one_sided}, and no search was cut short")
            self.unnoticed += claim.verdict is Verdict.UNDETERMINED
        if claim.lone is not None and headroom is not None and headroom.worst is not None:
            yield from self._against_worst(claim, headroom, headroom.worst)

    def _against_worst(self, claim: Claim, headroom: Headroom, worst: Fraction) -> Iterator[Contradiction]:
        from tests.exact.reals import Formula

        assert claim.lone is not None
        formula = Formula(claim.world, claim.names)
        distance = formula.distance(claim.lone[0]) * claim.lone[1]
        if self._can_be(formula, distance < formula.value(worst)):
            yield Contradiction("worst headroom", f"{worst} is stated; a solver finds a point that lies lower")
        nearly = formula.value(worst + RELATIVE * abs(worst))
        if headroom.tight and self._can_be(formula, distance <= nearly) is False:
            limit = formula.value(worst + BESIDE_ZERO * max(Fraction(1), abs(headroom.limit or Fraction(0))))
            beside = self._can_be(formula, distance <= limit)
            yield Contradiction("tightness beside zero" if beside else "tightness", f"{worst} is too low everywhere")

    def _can_be(self, formula: Formula, condition: object) -> bool | None:
        found = formula.can_be(condition, self.milliseconds)
        self.asked += 1
        self.decided += found is not None
        return found
