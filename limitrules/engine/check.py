"""One rule on one set of subjects, ready to be evaluated again and again."""

from __future__ import annotations

from fractions import Fraction
from operator import is_

from attrs import define, field

from limitrules.language import ground as g
from limitrules.language.exactly import Range
from limitrules.language.infimum import Infimum
from limitrules.language.pairs import Pair
from limitrules.language.shadow import LogicalShadow, shadow_truth
from limitrules.language.truth import Decider, Decision, Outcome, decide
from limitrules.rules.binding import Binder
from limitrules.rules.findings import Verdict
from limitrules.rules.slots import Slots

_VERDICTS = {
    Outcome.ALWAYS: Verdict.MET,
    Outcome.SOMETIMES: Verdict.MARGINAL,
    Outcome.NEVER: Verdict.BREACHED,
    Outcome.UNKNOWN: Verdict.UNDETERMINED,
}
_DECIDED = {True: Verdict.MET, False: Verdict.BREACHED}


@define(eq=False, repr=False)
class Check:
    """``condition`` is the rule's `when` (None: always) and ``require`` what must hold.

    ``verdict`` is the last one found, None where the rule does not apply.
    """

    binder: Binder
    condition: g.Logical | None
    require: g.Logical
    _when: LogicalShadow | None = field(default=None, init=False)
    _test: LogicalShadow | None = field(default=None, init=False)
    _is_new: bool = field(default=True, init=False)
    verdict: Verdict | None = None
    _kept: Decider | None = field(default=None, init=False)
    numbers: tuple[int, ...] = field(default=(), init=False)
    _applies: bool = field(default=False, init=False)
    _scoped_term: g.Logical | None = field(default=None, init=False)
    _term: g.Logical | None = field(default=None, init=False)
    _by_floats: bool = field(default=False, init=False)
    _weights: dict[int, Fraction] = field(factory=dict, init=False)
    _corner: dict[int, int] = field(factory=dict, init=False)
    _known: tuple[list[Pair], Verdict | None] | None = field(default=None, init=False)
    _decided: tuple[list[tuple[Range, Fraction]], Decision] | None = field(default=None, init=False)

    def __repr__(self) -> str:
        subjects = ", ".join(record.path for record in self.binder.names.components.values())
        verdict = self.verdict.value if self.verdict is not None else "not applicable"
        return f"<Check {self.binder.rule.id} on {subjects or 'the site'}: {verdict}>"

    def evaluate(self, slots: Slots) -> Verdict | None:
        """The verdict over the tolerances; floats decide where they can, rationals where they cannot."""
        if self.condition is not None:
            applies = self.scope(slots.shadows)
            self._applies = applies is True
            if applies is not True:
                return self._scoped(slots, applies)
        # What floats could not decide before is first looked at as it was left.
        if self._by_floats or not self._is_known(slots):
            self._evaluate_anew(slots)
        return self.verdict

    def _evaluate_anew(self, slots: Slots) -> None:
        still_marginal = self._is_still_marginal(slots)
        found = None if still_marginal else self._at_first(slots) if self._is_new else self.test(slots.shadows)
        self._by_floats = found is not None
        if found is not None:
            self.verdict = _DECIDED[found]
            return
        if not still_marginal:
            self.verdict = _VERDICTS[self.decision(slots).outcome]
        shadows = slots.shadows
        self._known = [shadows[number] for number in self.numbers], self.verdict

    @property
    def scope(self) -> LogicalShadow:
        """The condition as a closure, where there is one."""
        if self._when is None:
            assert self.condition is not None
            self._when = shadow_truth(self.condition)
        return self._when

    @property
    def test(self) -> LogicalShadow:
        """The requirement as a closure."""
        if self._test is None:
            self._test = shadow_truth(self.require)
        return self._test

    def _at_first(self, slots: Slots) -> bool | None:
        """The same from the tape, which the result needs in any case: closures pay from the second time on."""
        self._is_new = False
        low, high = self.decider(slots).extremes.tape.forward(slots.shadows)[-1]
        return True if low > 0.0 else False if high < 0.0 else None

    def _is_known(self, slots: Slots) -> bool:
        """True where floats could not decide these very numbers before, and what did gave the verdict then.

        A slot that is changed gets another pair, even for an equal float, so it is enough that the pairs are the same.
        """
        if self._known is None:
            return False
        pairs, verdict = self._known
        if not all(map(is_, pairs, map(slots.shadows.__getitem__, self.numbers))):
            return False
        self.verdict = verdict
        return True

    def _is_still_marginal(self, slots: Slots) -> bool:
        """True where floats show one point that holds and one that fails: the corner that was worst before.

        That proves marginal, whether or not the corner is still the worst one.
        """
        if self.verdict is not Verdict.MARGINAL or not self._corner:
            return False
        ends, test = slots.ends, self.test
        corner = {number: ends[number][end] for number, end in self._corner.items()}
        return test(corner) is False and test(slots.middles) is True

    def _scoped(self, slots: Slots, applies: bool | None) -> Verdict | None:
        """Where it is not certain that the rule applies, it is met only if it also holds where it may apply."""
        self._by_floats = False
        if applies is False or self._never_applies(slots):
            self.verdict = None
        else:
            self.verdict = _VERDICTS[self.decision(slots).outcome]
        return self.verdict

    def _never_applies(self, slots: Slots) -> bool:
        assert self.condition is not None
        numbers = g.inputs_of(self.condition)
        decided = decide(self.condition, slots.box(numbers), slots.nominals(numbers))
        return decided.outcome is Outcome.NEVER

    @property
    def whole(self) -> g.Logical:
        """The requirement alone where the rule surely applies, else given the condition."""
        if self.condition is None or self._applies:
            return self.require
        if self._scoped_term is None:
            self._scoped_term = g.Any((g.Contrary(self.condition), self.require))
        return self._scoped_term

    def decider(self, slots: Slots) -> Decider:
        """What decides the condition; made anew where joined comparisons would be weighed by limits that changed."""
        term = self.whole
        if self._term is not term:
            self._term, self._kept, self._decided, self._known = term, None, None, None
            self.numbers = g.inputs_of(term)
        nominal = slots.nominals(self.numbers)
        if self._kept is None or (self._kept.is_weighted and self._weights != nominal):
            self._kept, self._weights = Decider(term, nominal), nominal
        return self._kept

    def worst(self, slots: Slots) -> Infimum:
        """The lowest headroom and its place. Where floats decided the verdict, the search for it is short."""
        if self._by_floats:
            return self.decider(slots).worst(slots.box(self.numbers), slots.shadows)
        return self.decision(slots).worst

    def decision(self, slots: Slots) -> Decision:
        """The full analysis: outcome, lowest headroom and its place. Kept while the values it rests on stay."""
        decider = self.decider(slots)
        ranges, nominal = slots.ranges, slots.nominal
        values = [(ranges[number], nominal[number]) for number in self.numbers]
        if self._decided is None or self._decided[0] != values:
            decision = decider.decide(slots.box(self.numbers), slots.nominals(self.numbers), slots.shadows)
            self._decided = (values, decision)
            self._corner = _corner_of(decision, slots)
        return self._decided[1]


def _corner_of(decision: Decision, slots: Slots) -> dict[int, int]:
    """For each input the end of its range, 0 or 1, where the worst place is; empty where the place is no corner."""
    found: dict[int, int] = {}
    for number, value in decision.worst.place.items():
        if value not in slots.ranges[number]:
            return {}
        found[number] = slots.ranges[number].index(value)
    return found
