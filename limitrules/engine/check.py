"""One rule on one set of subjects, ready to be evaluated again and again."""

from __future__ import annotations

from attrs import define, field

from limitrules.language import ground as g
from limitrules.language.shadow import LogicalShadow, shadow_truth
from limitrules.language.truth import Decision, Outcome, decide
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


@define(eq=False)
class Check:
    """``condition`` is the rule's `when` (None: always) and ``require`` what must hold.

    ``verdict`` is the last one found, None where the rule does not apply.
    """

    binder: Binder
    condition: g.Logical | None
    require: g.Logical
    when: LogicalShadow | None = field(init=False)
    test: LogicalShadow = field(init=False)
    verdict: Verdict | None = None

    @when.default
    def _when(self) -> LogicalShadow | None:
        return shadow_truth(self.condition) if self.condition is not None else None

    @test.default
    def _test(self) -> LogicalShadow:
        return shadow_truth(self.require)

    def evaluate(self, slots: Slots) -> Verdict | None:
        """The verdict over the tolerances; floats decide where they can, rationals where they cannot."""
        shadows = slots.shadows
        if self.when is not None:
            applies = self.when(shadows)  # type: ignore[arg-type]
            if applies is not True:
                return self._scoped(slots, applies)
        found = self.test(shadows)  # type: ignore[arg-type]
        self.verdict = _VERDICTS[self.decision(slots).outcome] if found is None else _DECIDED[found]
        return self.verdict

    def _scoped(self, slots: Slots, applies: bool | None) -> Verdict | None:
        """Where it is not certain that the rule applies, it is met only if it also holds where it may apply."""
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
        """The requirement, given the condition."""
        if self.condition is None or (isinstance(self.condition, g.Fixed) and self.condition.value):
            return self.require
        return g.Any((g.Contrary(self.condition), self.require))

    def decision(self, slots: Slots) -> Decision:
        """The full analysis: outcome, lowest headroom and its place."""
        term = self.whole
        numbers = g.inputs_of(term)
        return decide(term, slots.box(numbers), slots.nominals(numbers))
