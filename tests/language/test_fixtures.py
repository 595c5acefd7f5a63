"""Clauses in files: their trees, types, values, canonical texts, and what is said of those that are wrong."""

from __future__ import annotations

import math

import pytest

from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.exact import plain_decimal
from limitrules.foundation.figures import with_unit
from limitrules.foundation.kinds import Quantity, Temperature, Truth
from limitrules.foundation.units import Unit, unit_for
from limitrules.language import ground as g
from limitrules.language.bounds import infimum, supremum
from limitrules.language.checker import Checked
from limitrules.language.exactly import Bound, number_over, point
from limitrules.language.parser import parse_clause
from limitrules.language.printer import print_node
from limitrules.language.truth import Outcome, decide
from limitrules.rules.bound import Absent
from limitrules.rules.slots import Slots
from tests.language.support import FIXTURES, binder, checked, sections, tree_of

_OUTCOMES = {
    Outcome.ALWAYS: "holds",
    Outcome.SOMETIMES: "holds in part",
    Outcome.NEVER: "does not hold",
    Outcome.UNKNOWN: "not known",
}


def tree(text: str) -> str:
    return tree_of(parse_clause(text).node)


def type_and_unit(text: str) -> str:
    found = checked(text)
    if not isinstance(found.type, Quantity | Temperature):
        return str(found.type)
    return f"{found.type}, shown in {found.unit(found.clause.node).symbol}"


def value(text: str) -> str:
    found, slots = checked(text), Slots()
    bound = binder(slots).bind(found, found.clause.node, binder(slots).names)
    if isinstance(bound, g.Logical):
        numbers = g.inputs_of(bound)
        outcome = decide(bound, slots.box(numbers), slots.nominals(numbers)).outcome
        gaps = g.gaps_of(bound)
        return _OUTCOMES[outcome] + (f"; missing: {', '.join(gaps)}" if gaps else "")
    if isinstance(bound, g.Numeric):
        return _number(found, bound, slots)
    return f"missing: {bound.path}" if isinstance(bound, Absent) else str(bound)


def _number(found: Checked, term: g.Numeric, slots: Slots) -> str:
    numbers = g.inputs_of(term)
    box, unit = slots.box(numbers), found.unit(found.clause.node)
    if isinstance(found.type, Temperature):
        unit = _temperature()
    low, high = infimum(term, box), supremum(term, box)
    # What is missing has no nominal value; it keeps its range.
    nominal = number_over(term, {**point(slots.nominals(numbers)), **slots.box(tuple(g.facts_of(term).ranged))})
    gaps = g.gaps_of(term)
    lines = [
        f"nominal: {_range(*nominal, unit)}",
        f"over tolerances: {_range(low.value, high.value, unit)}",
        *(["not tight"] if not (low.tight and high.tight) and not gaps else []),
        *([f"missing: {', '.join(gaps)}"] if gaps else []),
    ]
    return "\n".join(lines)


def _temperature() -> Unit:
    literal = checked("0 degC")
    return literal.unit(literal.clause.node)


def _range(low: Bound, high: Bound, unit: Unit) -> str:
    if math.isinf(low) and math.isinf(high):
        return "no bounds"
    if low == high:
        return _figure(low, unit)
    return f"{_figure(low, unit)} .. {_figure(high, unit)}"


def _figure(value: Bound, unit: Unit) -> str:
    if isinstance(value, float):
        return "no bound"
    return with_unit(plain_decimal(unit.from_si(value)), unit.symbol if unit != unit_for(Quantity().dimension) else "")


def canonical(text: str) -> str:
    return print_node(parse_clause(text).node)


def said(text: str) -> str:
    with pytest.raises(InputError) as caught:
        checked(text, Truth)
    return str(caught.value)


FILES = {
    "trees.txt": tree,
    "types.txt": type_and_unit,
    "values.txt": value,
    "canonical.txt": canonical,
    "mistakes.txt": said,
}
CASES = [(file, title) for file in FILES for title in sections(file)]


@pytest.mark.parametrize(("file", "title"), CASES, ids=[f"{file[:-4]}: {title}" for file, title in CASES])
def test_fixture(file: str, title: str) -> None:
    text, expected = sections(file)[title]
    assert FILES[file](text) == expected


def test_canonical_texts_stay_as_they_are() -> None:
    for _, expected in sections("canonical.txt").values():
        assert canonical(expected) == expected


def test_nothing_was_left_out() -> None:
    counts = {file: len(sections(file)) for file in FILES}
    assert counts["mistakes.txt"] >= 100
    assert min(counts.values()) >= 30
    assert all(expected for file in FILES for _, expected in sections(file).values())


def write_anew() -> None:
    """Write what is found now into the files, to be read before it is kept."""
    for name, found_of in FILES.items():
        head = (FIXTURES / name).read_text(encoding="utf-8").partition("\n=== ")[0].rstrip("\n")
        parts = []
        for title, (text, _) in sections(name).items():
            found = found_of(text)
            same = name == "canonical.txt" and found == text
            parts.append(f"\n\n=== {title}\n{text}" + ("" if same else f"\n---\n{found}"))
        (FIXTURES / name).write_text(head + "".join(parts) + "\n", encoding="utf-8")
