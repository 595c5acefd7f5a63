from __future__ import annotations

from fractions import Fraction

import attrs
import pytest

from limitrules.report.order import CAUTIONS
from limitrules.report.why import steps, why_text, witness_words
from limitrules.rules.findings import Reason, Verdict
from tests.report import pinned
from tests.report.samples import decimal, finding, ladder, rich


def test_the_whole_argument_is_as_pinned() -> None:
    pinned.check("why.txt", why_text([ladder()]))


def test_everything_else_is_as_pinned() -> None:
    pinned.check("why-all.txt", why_text(rich().findings, rich().not_applicable, width=80))


def test_nothing_of_the_argument_is_left_out() -> None:
    words = " ".join(why_text([ladder()]).split())
    for part in (
        "94.56 A .. 97.44 A", "stated as 96 A ± 1.5 %", "reported", "lakeside.yaml:5", "does not hold",
        "does not hold (governing/rulepack.yaml:5)", "(governing/rulepack.yaml:2)",
        "[governs: p.protection.charge_current.threshold less ladder_gap]", "ladder_gap: 5 % [parameter of governing]",
        "packs.north.charge.ceiling 97.44 A", "Raise the threshold if the maker allows it", "Never raise",
        "coordination of overcurrent protection", CAUTIONS[0],
    ):  # fmt: skip
        assert part in words


def test_steps_come_each_before_the_steps_below_it() -> None:
    tree = Reason("a", parts=(Reason("b", parts=(Reason("c"),)), Reason("d")))
    assert [(depth, item.text) for depth, item in steps([tree, Reason("e")])] == [
        (0, "a"), (1, "b"), (2, "c"), (1, "d"), (0, "e"),
    ]  # fmt: skip


def test_a_deep_argument_is_told_to_its_end() -> None:
    tree = Reason("the bottom", "1 A")
    for depth in range(3000):
        tree = Reason(f"step {depth}", parts=(tree,))
    text = why_text([finding("deep", Verdict.MET, reasons=(tree,))])
    assert "the bottom: 1 A" in text
    assert max(map(len, text.splitlines())) <= 100


@pytest.mark.parametrize(
    ("stated", "value", "words"),
    [
        ("96 A ± 1.5 %", "97.44", "97.44 A"),
        ("0.4 mohm .. 0.6 mohm", "0.0005", "0.5 mohm"),
        ("-14 degC", "259.15", "-14 degC"),
        ("20 %", "0.2", "20 %"),
        ("24", "24", "24"),
        ("unknown", "5", "5 (SI units)"),
        ("", "0.0165", "0.0165 (SI units)"),
        ("5 furlongs", "3", "3 (SI units)"),
    ],
)
def test_the_worst_corner_is_told_in_the_unit_of_the_document(stated: str, value: str, words: str) -> None:
    reason = Reason("x", path="packs.north.x", stated=stated)
    item = finding("x", Verdict.BREACHED, reasons=(reason,), witness={"packs.north.x": decimal(value)})
    assert witness_words(item) == [("packs.north.x", words, "")]


def test_a_corner_that_no_short_decimal_can_state_is_told_as_about() -> None:
    reason = Reason("x", path="p", stated="1 A")
    item = finding("x", Verdict.BREACHED, reasons=(reason,), witness={"p": Fraction(1, 3)})
    assert witness_words(item) == [("p", "about 0.333333333 A", "")]


def test_what_each_input_takes_is_told_the_largest_first() -> None:
    item = attrs.evolve(
        next(item for item in rich().findings if item.headroom is not None),
        witness={"packs.a.x": Fraction(1), "sensor clamp": Fraction(-1), "c.error (error)": Fraction(1, 2)},
        losses={"c.error (error)": Fraction(3), "packs.a.x": Fraction(0), "sensor clamp": Fraction(5, 4)},
    )
    assert item.headroom is not None
    unit = item.headroom.unit.symbol
    assert witness_words(item) == [
        ("c.error (error)", "+50 % of the stated error", f"takes 3 {unit} of the headroom"),
        ("sensor clamp", "-100 % of the stated error", f"takes 1.25 {unit} of the headroom"),
        ("packs.a.x", "1 (SI units)", ""),
    ]
