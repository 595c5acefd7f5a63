"""The seeded faults still fit the source. `python -m tests.faults` tries them."""

from __future__ import annotations

import ast
from collections import Counter

import pytest

from tests.faults import FOUND, LIGHTER, ROOT, TESTS, Fault, faults, stale

FAULTS = faults()
LANGUAGE = ("ground", "pairs", "shadow", "fused", "exactly", "tape", "slopes", "pieces", "rebuild", "bounds",
            "infimum", "halving", "truth", "functions")  # fmt: skip
OTHERS = ("rules/binding", "rules/bound", "rules/slots", "rules/stated", "engine/check", "engine/finding",
          "engine/survey")  # fmt: skip


def test_the_text_of_every_fault_stands_in_its_file_exactly_once() -> None:
    assert stale(FAULTS) == []
    nowhere = Fault("nowhere", "limitrules/api.py", "no such text", "", "")
    assert stale([nowhere]) == ["nowhere: its text stands 0 times in limitrules/api.py"]


def test_there_are_many_and_every_module_of_the_evaluation_has_some() -> None:
    assert len(FAULTS) >= 40
    assert [name for name, count in Counter(item.name for item in FAULTS).items() if count > 1] == []
    due = {f"limitrules/language/{name}.py" for name in LANGUAGE} | {f"limitrules/{name}.py" for name in OTHERS}
    assert due <= {item.file for item in FAULTS}


@pytest.mark.parametrize("fault", FAULTS, ids=lambda item: item.name)
def test_a_fault_changes_what_the_module_does_and_is_explained(fault: Fault) -> None:
    text = (ROOT / fault.file).read_text(encoding="utf-8")
    before, after = (ast.dump(ast.parse(item)) for item in (text, text.replace(fault.was, fault.becomes)))
    is_other = before != after
    assert is_other
    assert fault.opens.endswith(".")
    assert fault.tests


def test_the_tests_that_are_run_are_there() -> None:
    files = {FOUND, *LIGHTER, *(name for names in TESTS.values() for name in names)}
    assert [name for name in files if not (ROOT / name).is_file()] == []
    assert all(was in (ROOT / name).read_text(encoding="utf-8") for name, (was, _) in LIGHTER.items())
