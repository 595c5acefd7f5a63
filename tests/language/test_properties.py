"""What holds for any text and any tree."""

from __future__ import annotations

import random
import re

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.kinds import Truth
from limitrules.language import ground as g
from limitrules.language import nodes as n
from limitrules.language.checker import RULES, check
from limitrules.language.nodes import Node
from limitrules.language.parser import MAX_DEPTH, MAX_LENGTH, depth_of, literal_value, parse_clause
from limitrules.language.printer import print_node
from limitrules.language.truth import Outcome, decide
from limitrules.rules.slots import Slots
from tests.language.support import binder, checked, scope, sections
from tests.language.trees import CONDITIONS, CURRENTS, TREES, shape

WORDS: list[str] = re.findall(
    r"\S+",
    """
    p q c . charge ceiling 96 A A/s 25 % 3 35 degC ( ) , : + - * / at or below above equals differs from between and
    within of is stated missing yes no in not if then else every some no total lowest highest count over where "lfp"
    less plus or minus otherwise <= >= < > = != packs x . . ( ) min sqrt at most longer than ± == && ' ; [ 1e400 96,5
""",
)


@given(TREES)
@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_what_is_printed_is_read_as_the_same_tree(tree: Node) -> None:
    text = print_node(tree)
    if depth_of(tree) > MAX_DEPTH or len(text) > MAX_LENGTH:
        return
    again = parse_clause(text).node
    assert shape(again) == shape(tree)
    assert print_node(again) == text


@given(st.text(max_size=60) | st.lists(st.sampled_from(WORDS), max_size=25).map(" ".join))
@settings(max_examples=500, deadline=None)
@example("\ufeff3 A")
@example("3\u00a0A")
@example("\x00")
@example('"')
@example("p.\n\tcharge")
@example("-" * 60 + "3 A")
def test_any_text_is_read_or_refused(text: str) -> None:
    _read_or_refuse(text)


@pytest.mark.parametrize("seed", range(6))
def test_any_long_text_is_read_or_refused(seed: int) -> None:
    generator = random.Random(seed)
    words = " ".join(generator.choices(WORDS, k=1500))
    _read_or_refuse(words[: MAX_LENGTH - seed])
    _read_or_refuse("".join(map(chr, (generator.randrange(0x20, 0x2FFF) for _ in range(MAX_LENGTH)))))


@pytest.mark.parametrize(
    "text",
    [
        "-" * (MAX_LENGTH - 1) + "3",
        "not " * 999 + "yes",
        "if yes then " * 300 + "no",
        "a." * 1999 + "b",
        "1+" * 1999 + "1",
        "(" * 2000,
        "(" * 2000 + "1" + ")" * 1999,
        "every x in y: " * 280 + "z",
        "total of " * 400 + "x",
        "min(" * 900 + "1",
        "a less " * 570 + "b",
        "a at " * 700 + "b",
        "0" * MAX_LENGTH,
        "1e" + "9" * 3000,
        '"' + "x" * 3900,
    ],
    ids=lambda text: text[:12],
)
def test_texts_that_want_to_go_deep(text: str) -> None:
    _read_or_refuse(text)


def test_the_longest_and_the_deepest() -> None:
    assert print_node(parse_clause("a and " * 600 + "b").node).startswith("a and a")
    with pytest.raises(InputError, match=r"4001 characters long .*clause-too-long") as caught:
        parse_clause("a" * (MAX_LENGTH + 1))
    assert "expected: at most 4000" in str(caught.value)
    assert depth_of(parse_clause("-" * (MAX_DEPTH - 1) + "a").node) == MAX_DEPTH
    with pytest.raises(InputError, match="too deep within each other"):
        parse_clause("-" * MAX_DEPTH + "a")
    parse_clause("(" * MAX_DEPTH + "a" + ")" * MAX_DEPTH)
    with pytest.raises(InputError, match="parentheses stand too deep"):
        parse_clause("(" * (MAX_DEPTH + 1) + "a" + ")" * (MAX_DEPTH + 1))


def _read_or_refuse(text: str) -> None:
    try:
        clause = parse_clause(text)
    except InputError as error:
        _is_well_said(error, text)
        return
    for node in clause.node.walk():
        assert 0 <= node.start <= node.end <= len(text)
    assert shape(parse_clause(print_node(clause.node)).node) == shape(clause.node)
    _check_or_refuse(text)


def _is_well_said(error: InputError, text: str) -> None:
    assert error.diagnostics
    for item in error.diagnostics:
        assert item.span is not None
        assert 0 <= item.span.start <= len(text)
        assert item.message
        assert item.expected
        assert item.render()


def _check_or_refuse(text: str) -> None:
    clause = parse_clause(text)
    for expected in (None, Truth):
        try:
            found = check(clause, scope(), expected)
        except InputError as error:
            _is_well_said(error, text)
            continue
        assert found.types[clause.node] == found.type
        assert all(found.unit(node) for node in found.types)


@given(TREES)
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_tree_is_typed_or_refused(tree: Node) -> None:
    if depth_of(tree) <= MAX_DEPTH:
        _check_or_refuse(print_node(tree))


def test_every_kind_of_node_has_a_type_rule() -> None:
    kinds = {
        kind for kind in vars(n).values() if isinstance(kind, type) and issubclass(kind, Node) and kind is not Node
    }
    assert kinds == set(RULES)


@given(CONDITIONS)
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_typed_condition_is_decided(text: str) -> None:
    if len(text) > MAX_LENGTH or depth_of(parse_clause(text).node) > MAX_DEPTH:
        return
    found, slots = checked(text, Truth), Slots()
    term = binder(slots).truth(found)
    numbers = g.inputs_of(term)
    decision = decide(term, slots.box(numbers), slots.nominals(numbers))
    if decision.outcome is Outcome.UNKNOWN:
        assert g.gaps_of(term) or not decision.worst.tight or decision.worst.value == float("-inf")
    canonical = checked(print_node(found.clause.node), Truth)
    other = Slots()
    again = binder(other).truth(canonical)
    numbers = g.inputs_of(again)
    assert decide(again, other.box(numbers), other.nominals(numbers)).outcome is decision.outcome


@given(CURRENTS)
@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_typed_current_is_a_current(text: str) -> None:
    assert str(checked(text).type) == "current (A)"


def test_literal_value_reads_lone_literals_only() -> None:
    assert literal_value("96 mA") == literal_value("0.096 A")
    assert literal_value("-14 degC") == literal_value("259.15 K")
    assert literal_value("p") is literal_value("96 Amps") is literal_value("-3 A") is None


@pytest.mark.parametrize("title", sections("mistakes.txt"))
def test_the_place_of_a_mistake_lies_in_the_text(title: str) -> None:
    text, _ = sections("mistakes.txt")[title]
    with pytest.raises(InputError) as caught:
        checked(text, Truth)
    for item in caught.value.diagnostics:
        assert item.span is not None
        assert item.span.source.text == text
        assert 0 <= item.span.start <= len(text)
