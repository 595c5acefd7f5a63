"""From a check and its verdict to a finding: headroom, sentence, governing members, what was assumed or missing."""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction
from functools import cache

from limitrules.engine.check import Check
from limitrules.engine.reasons import governing_of, reason_of, shown_value
from limitrules.foundation.exact import float_below
from limitrules.foundation.kinds import Component
from limitrules.language import ground as g
from limitrules.language import nodes
from limitrules.language.bounds import Infimum
from limitrules.language.checker import Checked
from limitrules.language.exactly import Bound, is_unbounded, number_over, point
from limitrules.language.printer import print_node
from limitrules.language.tape import Tape
from limitrules.language.truth import scale_of
from limitrules.rules.binding import Binder
from limitrules.rules.bound import Assumed
from limitrules.rules.concessions import Concessions
from limitrules.rules.findings import Assumption, Finding, Headroom, NotApplicable, Reason, Verdict
from limitrules.rules.rule import Sentence
from limitrules.rules.slots import Slots


def finding_of(check: Check, slots: Slots, concessions: Concessions) -> Finding:
    """The finding of a check whose rule applies. ``slots`` must not change afterwards: reasons are made later."""
    binder, rule = check.binder, check.binder.rule
    assert check.verdict is not None
    worst = check.worst(slots)
    subjects = {name: record.path for name, record in binder.names.components.items()}
    has_condition = check.condition is not None

    @cache
    def reasons() -> tuple[Reason, ...]:
        clauses = [rule.require, *([rule.when] if rule.when is not None and has_condition else [])]
        return tuple(reason_of(binder, clause, clause.clause.node, binder.names, slots) for clause in clauses)

    @cache
    def sentence() -> str:
        return sentence_of(binder, rule.because, slots)

    @cache
    def governing() -> tuple[str, ...]:
        comparison = deciding_comparison(check, worst, slots)
        return governing_of(binder, rule.require, slots, comparison.clause if comparison is not None else "")

    is_open = check.verdict is Verdict.UNDETERMINED
    missing = g.gaps_of(check.whole) if is_open else ()
    headroom = None if is_open else headroom_of(check, worst, slots)
    assumed = tuple(dict.fromkeys(_assumption(binder, item, slots) for item in binder.assumed))
    return Finding(
        rule.rulepack, rule.id, rule.title, rule.consequence, subjects, check.verdict,
        headroom, sentence, rule.remedies, rule.caution, rule.basis, rule.evidence,
        reasons, missing, assumed, governing,
        slots.named(worst.place) if worst.place and not is_unbounded(worst.value) else None,
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
    plain = _plain(check, slots)
    if isinstance(plain, g.Holds):
        return plain
    nominal, place = _places(plain, worst, slots)
    return _nearest_to_failing(plain, place, nominal)


def _plain(check: Check, slots: Slots) -> g.Logical:
    """The requirement without negations."""
    return check.decider(slots).plain if check.whole is check.require else g.without_contrary(check.require)


def _places(plain: g.Logical, worst: Infimum, slots: Slots) -> tuple[dict[int, Fraction], dict[int, Fraction]]:
    """The nominal point and the worst place, for the inputs of a requirement."""
    nominal = slots.nominals(g.inputs_of(plain))
    return nominal, {**nominal, **{number: value for number, value in worst.place.items() if number in nominal}}


def headroom_of(check: Check, worst: Infimum, slots: Slots) -> Headroom | None:
    """The headroom of the comparison that comes nearest to failing, in its own unit."""
    comparison = deciding_comparison(check, worst, slots)
    if comparison is None or comparison.unit is None:
        return None
    is_alone = check.whole is check.require and isinstance(_plain(check, slots), g.Holds)
    nominal = slots.nominals(check.numbers)
    at_nominal, limit, figure = _figures(check.decider(slots).extremes.tape, comparison, nominal)
    at_worst = _finite(worst.value) if is_alone else _single(comparison.headroom, {**nominal, **worst.place})
    if (at_nominal is None and at_worst is None) or (at_nominal == 0 and _is_equality(comparison)):
        return None
    return Headroom(at_nominal, at_worst, comparison.unit, limit, worst.tight, figure)


def _figures(tape: Tape, comparison: g.Holds, place: Mapping[int, Fraction]) -> list[Fraction | None]:
    """Headroom, limit and figure of a comparison at a point, by one pass over the tape where they all stand on it."""
    terms = (comparison.headroom, comparison.limit, comparison.figure)
    values = tape.exact(place)
    return [
        Fraction(*values[tape.place[id(term)]]) if values is not None and id(term) in tape.place
        else _single(term, place)
        for term in terms
    ]  # fmt: skip


def _nearest_to_failing(plain: g.Logical, place: Mapping[int, Fraction], nominal: Mapping[int, Fraction]) -> (
    g.Holds | None
):  # fmt: skip
    """Of joined comparisons the one that decides at a place: the lowest share of `and`, the highest of `or`."""
    if isinstance(plain, g.Holds):
        return plain
    if not isinstance(plain, g.All | g.Any):
        return None
    found = [item for part in plain.parts if (item := _nearest_to_failing(part, place, nominal)) is not None]
    if not found:
        return None

    def share(item: g.Holds) -> float:
        value = _single(item.headroom, place)
        if value == 0 and _is_equality(item):
            return math.inf  # equal is all it can be; there is no distance to speak of
        return float_below(value / scale_of(item, nominal)) if value is not None else math.inf

    return min(found, key=share) if isinstance(plain, g.All) else max(found, key=share)


def _is_equality(comparison: g.Holds) -> bool:
    headroom = comparison.headroom
    return isinstance(headroom, g.Negate) and isinstance(headroom.value, g.Absolute)


def _single(term: g.Numeric | None, place: Mapping[int, Fraction]) -> Fraction | None:
    """The value at a point, or the lower end of its enclosure; None where there is no value."""
    if term is None:
        return None
    low, high = number_over(term, point(place))
    return None if is_unbounded(low, high) else Fraction(low)


def _finite(value: Bound | None) -> Fraction | None:
    return None if value is None or is_unbounded(value) else Fraction(value)


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
