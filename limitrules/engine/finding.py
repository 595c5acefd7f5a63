"""From a check and its verdict to a finding: headroom, sentence, governing members, what was assumed or missing."""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction
from functools import cached_property

from limitrules.engine.check import Check
from limitrules.engine.reasons import governing_of, reason_of, shown_value
from limitrules.foundation.exact import float_below
from limitrules.foundation.kinds import Component
from limitrules.language import ground as g
from limitrules.language import nodes
from limitrules.language.checker import Checked
from limitrules.language.exactly import Bound, Enclosure, is_unbounded, number_over, point
from limitrules.language.infimum import Infimum
from limitrules.language.printer import print_node
from limitrules.language.truth import Decider
from limitrules.rules.binding import Binder
from limitrules.rules.bound import Assumed
from limitrules.rules.concessions import Concessions
from limitrules.rules.findings import Assumption, Finding, Headroom, NotApplicable, Reason, Verdict
from limitrules.rules.rule import Sentence
from limitrules.rules.slots import Slots


class _Argument:
    """What is worked out of a finding when it is first asked for, and then kept."""

    def __init__(self, check: Check, worst: Infimum, slots: Slots) -> None:
        self.check = check
        self.worst = worst
        self.slots = slots

    @cached_property
    def reasons(self) -> tuple[Reason, ...]:
        binder, rule = self.check.binder, self.check.binder.rule
        clauses = [rule.require]
        if rule.when is not None and self.check.condition is not None:
            clauses.append(rule.when)
        return tuple(reason_of(binder, clause, clause.clause.node, binder.names, self.slots) for clause in clauses)

    @cached_property
    def sentence(self) -> str:
        binder = self.check.binder
        return sentence_of(binder, binder.rule.because, self.slots)

    @cached_property
    def governing(self) -> tuple[str, ...]:
        comparison = deciding_comparison(self.check, self.worst, self.slots)
        clause = comparison.clause if comparison is not None else ""
        return governing_of(self.check.binder, self.check.binder.rule.require, self.slots, clause)

    @cached_property
    def losses(self) -> Mapping[str, Fraction]:
        return losses_of(self.check, self.worst, self.slots)


def finding_of(check: Check, slots: Slots, concessions: Concessions) -> Finding:
    """The finding of a check whose rule applies. ``slots`` must not change afterwards: reasons are made later."""
    binder, rule = check.binder, check.binder.rule
    assert check.verdict is not None
    worst = check.worst(slots)
    argument = _Argument(check, worst, slots)
    subjects = {name: record.path for name, record in binder.names.components.items()}
    is_open = check.verdict is Verdict.UNDETERMINED
    missing = g.gaps_of(check.whole) if is_open else ()
    headroom = None if is_open else headroom_of(check, worst, slots)
    assumed = (
        tuple(dict.fromkeys(_assumption(binder, item, slots) for item in binder.assumed)) if binder.assumed else ()
    )
    return Finding(
        rule.rulepack, rule.id, rule.title, rule.consequence, subjects, check.verdict,
        headroom, lambda: argument.sentence, rule.remedies, rule.caution, rule.basis, rule.evidence,
        lambda: argument.reasons, missing, assumed, lambda: argument.governing,
        slots.named(worst.place) if worst.place and not is_unbounded(worst.value) else None,
        (lambda: argument.losses) if headroom is not None else {},
        concessions.match(rule.id, ", ".join(subjects.values())), rule.span,
    )  # fmt: skip


def unmet_scope(check: Check) -> NotApplicable:
    """Why the rule does not apply to these subjects."""
    rule = check.binder.rule
    assert rule.when is not None
    subject = ", ".join(record.path for record in check.binder.names.components.values())
    because = f"it applies when {print_node(rule.when.clause.node)}"
    return NotApplicable(rule.rulepack, rule.id, rule.title, rule.consequence, subject, because)


def deciding_comparison(check: Check, worst: Infimum, slots: Slots) -> g.Holds | None:
    """The comparison of the requirement that comes nearest to failing."""
    decider = _of_requirement(check, slots)
    if isinstance(decider.plain, g.Holds):
        return decider.plain
    return _nearest_to_failing(decider.plain, Figures(decider, {**slots.nominals(check.numbers), **worst.place}))


def _of_requirement(check: Check, slots: Slots) -> Decider:
    """Where it is not certain that the rule applies, the requirement alone is what there is to show."""
    if check.whole is check.require:
        return check.decider(slots)
    return Decider(check.require, slots.nominals(check.numbers))


class Figures:
    """The values of a condition's numbers at a point, by one pass over the tape of its decider."""

    def __init__(self, decider: Decider, place: Mapping[int, Fraction]) -> None:
        self.place = place
        self.tape = decider.extremes.tape
        self.values = self.tape.exact(place)
        self._enclosures = self.tape.enclosures(place, self.values)

    def of(self, term: g.Numeric | None) -> Fraction | None:
        """The value, or the lower end of its enclosure; None where there is no value."""
        if term is None:
            return None
        low, high = self._enclosure(term)
        return None if is_unbounded(low, high) else Fraction(low)

    def exactly(self, term: g.Numeric | None) -> Fraction | None:
        """The exact value; None where there is none, or it is irrational."""
        if term is None:
            return None
        low, high = self._enclosure(term)
        return Fraction(low) if low == high and not is_unbounded(low) else None

    def _enclosure(self, term: g.Numeric) -> Enclosure:
        number = self.tape.place.get(id(term))
        if number is None:
            return number_over(term, point(self.place))
        return self._enclosures(number)


def headroom_of(check: Check, worst: Infimum, slots: Slots) -> Headroom | None:
    """The headroom of the comparison that comes nearest to failing, in its own unit."""
    decider, nominal = _of_requirement(check, slots), slots.nominals(check.numbers)
    is_alone = check.whole is check.require and isinstance(decider.plain, g.Holds)
    if is_alone:
        comparison: g.Holds | None = decider.plain  # type: ignore[assignment]
        at_worst, reached = _finite(worst.value), _finite(worst.reached) if worst.is_exact else None
    else:
        there = Figures(decider, {**nominal, **worst.place})
        comparison = _nearest_to_failing(decider.plain, there)
        headroom = comparison.headroom if comparison is not None else None
        at_worst, reached = there.of(headroom), there.exactly(headroom)
    if comparison is None or comparison.unit is None:
        return None
    here = Figures(decider, nominal)
    at_nominal = here.of(comparison.headroom)
    if (at_nominal is None and at_worst is None) or (at_nominal == 0 and _is_equality(comparison)):
        return None
    return Headroom(
        at_nominal, at_worst, comparison.unit, here.of(comparison.limit), worst.tight, here.of(comparison.figure),
        reached, is_alone and worst.is_open,
    )  # fmt: skip


def _finite(value: Bound) -> Fraction | None:
    return None if is_unbounded(value) else Fraction(value)


def losses_of(check: Check, worst: Infimum, slots: Slots) -> Mapping[str, Fraction]:
    """What each input takes away between the nominal and the worst headroom, by path, the largest first.

    The mean of what it takes alone, all others nominal, and of what its nominal value would give back at the worst
    place. Where the headroom is a sum of what its inputs do, these add up to the whole loss.
    """
    comparison = deciding_comparison(check, worst, slots)
    if comparison is None:
        return {}
    decider, nominal = check.decider(slots), slots.nominals(check.numbers)
    lowest = {**nominal, **worst.place}

    def headroom(place: Mapping[int, Fraction]) -> Fraction | None:
        return Figures(decider, place).of(comparison.headroom)

    at_nominal, at_lowest = headroom(nominal), headroom(lowest)
    found: dict[str, Fraction] = {}
    for number in check.numbers:
        if lowest[number] == nominal[number]:
            continue
        alone, given_back = headroom({**nominal, number: lowest[number]}), headroom({**lowest, number: nominal[number]})
        if at_nominal is None or at_lowest is None or alone is None or given_back is None:
            return {}
        found[slots.paths[number]] = (at_nominal - alone + given_back - at_lowest) / 2
    return dict(sorted(found.items(), key=lambda item: -item[1]))


def _nearest_to_failing(condition: g.Logical, there: Figures) -> g.Holds | None:
    """Of joined comparisons the one that decides at a place: the lowest share of `and`, the highest of `or`."""

    def share(item: g.Holds) -> float:
        value = there.of(item.headroom)
        if value is None or (value == 0 and _is_equality(item)):
            return math.inf  # equal is all it can be; there is no distance to speak of
        # By its limit at this very place, so that a survey of the witness comes to the same comparison.
        return float_below(value) / (abs(float_below(there.of(item.limit) or Fraction(1))) or 1.0)

    def nearest(plain: g.Logical) -> g.Holds | None:
        if isinstance(plain, g.Holds):
            return plain
        if not isinstance(plain, g.All | g.Any):
            return None
        found = [item for part in plain.parts if (item := nearest(part)) is not None]
        if not found:
            return None
        return min(found, key=share) if isinstance(plain, g.All) else max(found, key=share)

    return nearest(condition)


def _is_equality(comparison: g.Holds) -> bool:
    headroom = comparison.headroom
    return isinstance(headroom, g.Negate) and isinstance(headroom.value, g.Absolute)


def sentence_of(binder: Binder, sentence: Sentence, slots: Slots) -> str:
    """The explanation with its figures filled in."""
    pieces = [piece if isinstance(piece, str) else _figure(binder, piece, slots) for piece in sentence.pieces]
    return "".join(pieces)


def _figure(binder: Binder, checked: Checked, slots: Slots) -> str:
    if isinstance(checked.type, Component):
        node = checked.clause.node
        if isinstance(node, nodes.Name) and node.name in binder.names.components:
            return binder.names.components[node.name].id
    return shown_value(binder, checked, checked.clause.node, binder.names, slots)


def _assumption(binder: Binder, item: Assumed, slots: Slots) -> Assumption:
    return Assumption(item.path, shown_value(binder, item.checked, item.node.default, item.names, slots))
