"""Changes of a system or a rule whose effect on verdicts is known, whatever the verdicts are."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

import attrs
from hypothesis import given
from hypothesis import strategies as st

from limitrules.rules.findings import Finding, Verdict
from tests.exact.claims import surveyed
from tests.exact.generated import cases
from tests.exact.oracle import SIGNS, GeneratedRule, Term, lone_comparison
from tests.exact.profile import tried
from tests.exact.world import Curve, Given, World

Case = tuple[World, list[GeneratedRule]]
HALF_OR_LESS = st.sampled_from([Fraction(0), Fraction(1, 2), Fraction(9, 10)])
MORE = st.sampled_from([Fraction(11, 10), Fraction(2)])
RENAMED = {"north": "zulu", "south": "lima", "east": "alfa", "plain": "kite", "main": "second"}
OTHER_UNIT = {"A": "mA", "mA": "A", "V": "mV", "mV": "V", "ohm": "mohm", "mohm": "ohm", "W": "kW", "kW": "W"}
OPPOSITE = {"at or below": "at or above", "at or above": "at or below", "below": "above", "above": "below"}
UNRELATED = "fuses:\n  spare: {rating: 63 A ± 5 %}\nconductors:\n  old: {ampacity: 90 A, area: 35 mm2}\n"

few = tried(5, 160)
CASES = cases(count=3, scoped=False)


def found(world: World, rules: list[GeneratedRule], more: str = "") -> dict[tuple[str, str], Finding]:
    result = surveyed(world, rules, more)
    return {(item.rule, item.subject): item for item in result.findings}


def changed(world: World, give: Mapping[str, str], factor: Fraction) -> World:
    """The same system with every tolerance so many times as wide, and values in other units."""

    def value(given: Given) -> Given:
        made = given.in_unit(give.get(given.unit, given.unit)).scaled(factor)
        # More than the whole is refused as a mistake.
        is_share = made.form in ("share", "long") or (made.form == "amount" and made.unit == "%")
        return attrs.evolve(made, spread=min(made.spread, Fraction(100))) if is_share else made

    values = {path: {name: value(item) for name, item in items.items()} for path, items in world.values.items()}
    curves: dict[str, Curve] = {path: curve.scaled(factor) for path, curve in world.curves.items()}
    return World(values, curves, world.feeds)


def agree(one: Mapping[tuple[str, str], Finding], other: Mapping[tuple[str, str], Finding]) -> None:
    """The same verdicts, and the same figures where these are final."""
    assert {key: item.verdict for key, item in one.items()} == {key: item.verdict for key, item in other.items()}
    for key, item in one.items():
        first, second = item.headroom, other[key].headroom
        assert (first is None) == (second is None)
        if first is None or second is None:
            continue
        assert first.nominal == second.nominal
        assert first.limit == second.limit
        assert first.tight == second.tight
        if first.tight and first.worst != second.worst:
            assert first.worst is not None
            assert second.worst is not None
            assert abs(first.worst - second.worst) <= 2e-6 * max(abs(first.worst), abs(second.worst))


@few
@given(CASES, HALF_OR_LESS)
def test_what_is_met_stays_met_within_smaller_tolerances(case: Case, factor: Fraction) -> None:
    world, rules = case
    before, after = found(world, rules), found(changed(world, {}, factor), rules)
    assert before.keys() == after.keys()
    for key, item in before.items():
        if item.verdict in (Verdict.MET, Verdict.BREACHED):
            assert after[key].verdict is item.verdict


@few
@given(CASES, MORE)
def test_wider_tolerances_turn_no_certain_verdict_round(case: Case, factor: Fraction) -> None:
    world, rules = case
    before, after = found(world, rules), found(changed(world, {}, factor), rules)
    assert before.keys() == after.keys()
    for key, item in before.items():
        if after[key].verdict in (Verdict.MET, Verdict.BREACHED):
            assert item.verdict is after[key].verdict


def renamed(path: str) -> str:
    return ".".join(RENAMED.get(part, part) for part in path.split("."))


def with_other_names(world: World) -> World:
    values = {renamed(path): items for path, items in world.values.items()}
    curves = {renamed(path): curve for path, curve in world.curves.items()}
    return World(values, curves, tuple(map(renamed, world.feeds)))


@few
@given(CASES)
def test_names_change_nothing(case: Case) -> None:
    world, rules = case
    before = {(rule, ", ".join(renamed(path) for path in subject.split(", "))): item
              for (rule, subject), item in found(world, rules).items()}  # fmt: skip
    agree(before, found(with_other_names(world), rules))


@few
@given(cases(count=3, scoped=False, pairs=False))
def test_the_order_of_a_document_changes_nothing(case: Case) -> None:
    """Where several comparisons are equally near to failing, the order may say which of them is shown."""
    world, rules = case
    values = {path: dict(reversed([*items.items()])) for path, items in reversed([*world.values.items()])}
    other = World(values, world.curves, world.feeds[::-1])
    before, after = found(world, rules), found(other, rules)
    lone = {f"rule-{number}" for number, rule in enumerate(rules) if lone_comparison(rule.require) is not None}
    agree(*({key: item for key, item in items.items() if key[0] in lone} for items in (before, after)))
    assert {key: item.verdict for key, item in before.items()} == {key: item.verdict for key, item in after.items()}


@few
@given(CASES)
def test_units_change_nothing(case: Case) -> None:
    world, rules = case
    other = changed(world, OTHER_UNIT, Fraction(1))
    assert "mA" in world.document() + other.document()
    agree(found(world, rules), found(other, rules))


def _turned(term: Term) -> Term:
    parts = tuple(_turned(part) for part in term.parts)
    if term.word in SIGNS:
        return Term(OPPOSITE[term.word], parts[::-1])
    return Term(term.word, parts, term.note)


@few
@given(CASES)
def test_below_and_above_are_the_same_thing_said_from_two_sides(case: Case) -> None:
    world, rules = case
    turned = [attrs.evolve(rule, require=_turned(rule.require)) for rule in rules]
    before, after = found(world, rules), found(world, turned)
    assert {key: item.verdict for key, item in before.items()} == {key: item.verdict for key, item in after.items()}
    for number, rule in enumerate(rules):
        if rule.require.word not in SIGNS:
            continue
        for (name, subject), item in before.items():
            other = after[name, subject].headroom
            if name == f"rule-{number}" and item.headroom is not None and other is not None:
                assert item.headroom.nominal == other.nominal
                assert item.headroom.worst == other.worst


@few
@given(CASES)
def test_an_unrelated_component_changes_nothing(case: Case) -> None:
    world, rules = case
    agree(found(world, rules), found(world, rules, UNRELATED))
