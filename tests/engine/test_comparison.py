"""Two states of a system: what changed, what it does, and what has to be shown anew."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from limitrules import api
from limitrules.cli import main
from limitrules.engine.cases import subject_of
from limitrules.engine.comparison import Comparison
from limitrules.rules.findings import Verdict

LAKESIDE = Path(__file__).parents[2] / "docs" / "examples" / "lakeside.yaml"
CEILING = "converters.main.charge.ceiling"


def compared(*changes: tuple[str, str], base: tuple[tuple[str, str], ...] = ()) -> Comparison:
    old = api.read_system(LAKESIDE)
    for path, text in base:
        old = old.with_value(path, text)
    new = old
    for path, text in changes:
        new = new.with_value(path, text)
    packs = api.load_rulepacks()
    return api.compare(api.open_survey(old, packs), api.open_survey(new, packs))


def test_nothing_changed_makes_nothing_due() -> None:
    same = compared()
    assert (same.values, same.findings, same.due) == ((), (), ())
    assert same.unchanged == len(same.after)


def test_a_lower_ceiling_cures_and_makes_its_readers_due() -> None:
    made = compared((CEILING, "82 A ± 2 %"))
    assert [(item.path, item.before, item.after) for item in made.values] == [(CEILING, "96 A ± 1.92 A", "82 A ± 2 %")]
    changed = {(item.key[1], item.key[2]): item for item in made.findings}
    cured = changed["charge-sources-sum-within-pack", "packs.west"]
    assert cured.before is not None
    assert cured.after is not None
    assert (cured.before.verdict, cured.after.verdict) == (Verdict.MARGINAL, Verdict.MET)
    assert not cured.is_worse
    assert all(item.because == (CEILING,) for item in made.due)
    assert "charge-sources-sum-within-pack" in {item.finding.rule for item in made.due}
    assert "load-shed-ladder-ordered" not in {item.finding.rule for item in made.due}


def test_what_gets_worse_is_told_apart() -> None:
    made = compared(("packs.north.protection.charge_current.threshold", "90 A ± 3 %"))
    worse = {(item.key[1], item.key[2]) for item in made.findings if item.is_worse}
    assert ("limit-ladder-ordered", "packs.north") in worse


def test_a_value_that_is_no_longer_known_is_worse() -> None:
    made = compared(("packs.north.protection.charge_current.threshold", "unknown"))
    found = next(item for item in made.findings if item.key[1:] == ("limit-ladder-ordered", "packs.north"))
    assert found.after is not None
    assert found.after.verdict is Verdict.UNDETERMINED
    assert found.is_worse


def test_other_firmware_makes_every_test_of_the_device_due_and_no_other() -> None:
    version = "regulators.shore.identity.version"
    made = compared((version, '"2.1"'), base=((version, '"2.0"'),))
    (value,) = made.values
    assert value.is_firmware
    packs = api.load_rulepacks()
    survey = api.open_survey(LAKESIDE, packs)
    expected = {
        (check.binder.rule.rulepack, check.binder.rule.id, subject_of(check))
        for check in survey.checks
        if check.verdict is not None
        and check.binder.rule.evidence
        and any(path.startswith("regulators.shore.") for path in check.binder.reads)
    }  # fmt: skip
    due = {(item.finding.rulepack, item.finding.rule, item.finding.subject) for item in made.due}
    assert due >= expected
    assert all("regulators.shore.identity.version" in item.because for item in made.due)
    assert made.unchanged > 0


def test_the_command(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    other = tmp_path / "later.yaml"
    text = LAKESIDE.read_text(encoding="utf-8")
    other.write_text(text.replace("charge_current: {threshold: 118 A ± 3 %", "charge_current: {threshold: 90 A ± 3 %"))
    assert main(["compare", str(LAKESIDE), str(other)]) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert "Worse than before" in out
    assert "Tests due again" in out
    assert main(["compare", str(LAKESIDE), str(LAKESIDE)]) == 0
    assert "No test is due again" in capsys.readouterr().out
    assert main(["compare", str(LAKESIDE), str(other), "--format", "json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert data["limitrules"] == "comparison/1"
    assert data["values"][0]["path"] == "packs.north.protection.charge_current.threshold"
