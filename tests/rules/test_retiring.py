"""A local rulepack that takes a rule of a shipped one out, with a reason, and puts one of its own in its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from limitrules import api
from limitrules.foundation.diagnostics import InputError
from limitrules.rules.rulepack import load_rulepacks

LAKESIDE = Path(__file__).parents[2] / "docs" / "examples" / "lakeside.yaml"
LOCAL = """\
limitrules: rulepack/1
name: our-sites
version: 1.0.0
vocabulary: storage
title: What we ask for
retires:
  governing:
    limit-ladder-ordered: Our rule ceiling-well-below-threshold asks for more.
rules:
  ceiling-well-below-threshold:
    title: The ceiling lies well below the protection
    consequence: hazard
    about: each pack p
    require: p.charge.ceiling at or below p.protection.charge_current.threshold less 10 %
    because: "{p.charge.ceiling} against {p.protection.charge_current.threshold}."
    remedy: ["Lower the ceiling."]
    caution: A trip takes the station off.
    basis: ["charge control"]
"""


def local(tmp_path: Path, text: str = LOCAL) -> Path:
    (tmp_path / "rulepack.yaml").write_text(text, encoding="utf-8")
    return tmp_path


def test_a_rule_is_taken_out_and_the_report_says_why(tmp_path: Path) -> None:
    packs = api.load_rulepacks([local(tmp_path)])
    assert [pack.name for pack in packs] == ["governing", "our-sites"]
    result = api.survey(api.read_system(LAKESIDE, packs), packs)
    rules = {finding.rule for finding in result.findings}
    assert "limit-ladder-ordered" not in rules
    assert "ceiling-well-below-threshold" in rules
    (note,) = [note for note in result.notes if note.startswith("Not asked")]
    assert note == (
        "Not asked: governing/limit-ladder-ordered (class hazard), retired by our-sites: "
        "Our rule ceiling-well-below-threshold asks for more."
    )


def test_the_content_of_the_rulepack_is_another_one(tmp_path: Path) -> None:
    (plain,) = api.load_rulepacks(["governing"])
    changed = api.load_rulepacks([local(tmp_path)])[0]
    other = api.load_rulepacks([local(tmp_path, LOCAL.replace("asks for more", "asks for less"))])[0]
    assert len({plain.content, changed.content, other.content}) == 3
    assert set(plain.rules) - set(changed.rules) == {"limit-ladder-ordered"}


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        (" Our rule ceiling-well-below-threshold asks for more.", ' ""', "reason-due"),
        ("limit-ladder-ordered:", "limit-lader-ordered:", "unknown-rule"),
        ("  governing:", "  governering:", "retired-of-nothing"),
    ],
)  # fmt: skip
def test_what_cannot_be_taken_out_is_told(tmp_path: Path, old: str, new: str, code: str) -> None:
    governing = Path(__file__).parents[2] / "rulepacks" / "governing"
    with pytest.raises(InputError) as refused:
        load_rulepacks([governing, local(tmp_path, LOCAL.replace(old, new))])
    assert code in {item.code for item in refused.value.diagnostics}
