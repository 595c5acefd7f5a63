"""What the page of the check language shows can be typed as it stands there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from limitrules import load_rulepacks
from limitrules.engine.cases import outcome, read_cases
from limitrules.language.parser import parse_clause
from tests.house.tree import ROOT

PAGE = (ROOT / "docs" / "pages" / "language.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```yaml\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
SIGNS = {"+ - * /", "( )"}


def clauses() -> list[str]:
    """Everything that stands as code in the first column of the tables of values and conditions."""
    tables = PAGE.partition("\n## Values\n")[2].partition("\n## Where something is missing\n")[0]
    cells = [line.split(" | ")[0] for line in tables.splitlines() if line.startswith("| `")]
    return [text for cell in cells for text in re.findall(r"`([^`]+)`", cell) if text not in SIGNS]


def block(beginning: str) -> str:
    found: list[str] = [text for text in BLOCKS if text.startswith(beginning)]
    assert len(found) == 1
    return found[0]


@pytest.fixture
def lakeside(tmp_path: Path) -> Path:
    """The rulepack of the page, with its cases, on the station that is shipped as an example."""
    folder = tmp_path / "lakeside"
    folder.mkdir()
    (folder / "rulepack.yaml").write_text(block("limitrules: rulepack/1"), encoding="utf-8")
    (folder / "cases.yaml").write_text(block("limitrules: cases/1"), encoding="utf-8")
    example = (ROOT / "docs" / "examples" / "lakeside.yaml").read_text(encoding="utf-8")
    (folder / "base.yaml").write_text(example, encoding="utf-8")
    return folder


def test_there_are_clauses_to_try() -> None:
    assert len(clauses()) > 40


@pytest.mark.parametrize("text", clauses())
def test_a_clause_is_understood(text: str) -> None:
    assert parse_clause(text).text == text


def test_the_cases_of_the_rulepack_come_out_as_stated(lakeside: Path) -> None:
    (rulepack,) = load_rulepacks([lakeside])
    cases = read_cases(rulepack)
    assert [case.expect for case in cases.cases] == ["met", "breached", "marginal", "undetermined"]
    assert [outcome(rulepack, cases.base, case) for case in cases.cases] == [case.expect for case in cases.cases]


def test_what_is_set_and_added_is_taken_over(lakeside: Path, tmp_path: Path) -> None:
    own = tmp_path / "own"
    own.mkdir()
    head = "limitrules: rulepack/1\nname: own\nversion: 1.0.0\nvocabulary: storage\n"
    (own / "rulepack.yaml").write_text(head + block("overrides:") + block("extends:"), encoding="utf-8")
    rulepack, extended = load_rulepacks([lakeside, own])
    assert rulepack.parameters["spare"].set_by == "own"
    assert "room" in extended.vocabulary.kinds["pack"].attributes
