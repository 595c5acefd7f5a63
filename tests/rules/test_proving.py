"""Proving a rulepack: wrong cases, missing verdicts, and faults that the cases do not notice."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from limitrules import api
from limitrules.cli import main
from limitrules.engine.mutants import mutants_of
from limitrules.engine.proving import prove
from limitrules.foundation.diagnostics import InputError
from limitrules.rules.skeleton import BASE, CASES

RULEPACK = """\
limitrules: rulepack/1
name: berth
version: 1.0.0
vocabulary: storage
title: Rules of the berth
parameters:
  gap: {value: 5 %, local: true, meaning: share kept free}
rules:
  ceiling-below-threshold:
    title: The ceiling lies below the protection
    consequence: outage
    about: each pack p
    when: p.protection.charge_current.threshold is stated
    require: p.charge.ceiling at or below p.protection.charge_current.threshold less gap
    because: "{p.charge.ceiling} against {p.protection.charge_current.threshold}."
    remedy: ["Lower the ceiling."]
    caution: A trip takes the berth off.
    basis: ["charge control"]
"""
STRONG = CASES.replace("ceiling-keeps-its-distance", "ceiling-below-threshold")
WEAK = """\
limitrules: cases/1
base: base.yaml
cases:
  ceiling-below-threshold:
    - {expect: met}
"""


def folder_with(place: Path, cases: str) -> Path:
    for name, text in (("rulepack.yaml", RULEPACK), ("base.yaml", BASE), ("cases.yaml", cases)):
        (place / name).write_text(text, encoding="utf-8")
    return place


def test_strong_cases_notice_every_fault(tmp_path: Path) -> None:
    (rulepack,) = api.load_rulepacks([folder_with(tmp_path, STRONG)])
    proof = prove(rulepack)
    (rule,) = proof.rules
    assert [survivor.words for survivor in rule.survivors] == []
    assert rule.lacking == ()
    assert rule.mutants == 6
    assert proof.holds


def test_weak_cases_are_told_which_faults_they_let_pass(tmp_path: Path) -> None:
    (rulepack,) = api.load_rulepacks([folder_with(tmp_path, WEAK)])
    (rule,) = prove(rulepack).rules
    words = [survivor.words for survivor in rule.survivors]
    assert any("without its margin" in item for item in words)
    assert any("nominal values" in item for item in words)
    assert not any("with `at or above`" in item for item in words)
    assert rule.lacking == ("marginal", "breached", "undetermined", "not applicable")
    assert all(survivor.span.line == 14 for survivor in rule.survivors if "require" in survivor.words)


def test_an_explained_fault_is_no_gap(tmp_path: Path) -> None:
    (rulepack,) = api.load_rulepacks([folder_with(tmp_path, WEAK)])
    left = [survivor.words for survivor in prove(rulepack).rules[0].survivors]
    reasons = "".join(f"    {json.dumps(words)}: cannot be told apart\n" for words in left)
    folder_with(tmp_path, f"{WEAK}explained:\n  ceiling-below-threshold:\n{reasons}")
    (rulepack,) = api.load_rulepacks([tmp_path])
    proof = prove(rulepack)
    assert proof.holds
    assert len(proof.rules[0].survivors) == len(left)


def test_a_wrong_case_is_told(tmp_path: Path) -> None:
    (rulepack,) = api.load_rulepacks([folder_with(tmp_path, WEAK.replace("met", "breached"))])
    (rule,) = prove(rulepack).rules
    assert [(wrong.case.expect, wrong.found) for wrong in rule.wrong] == [("breached", "met")]
    assert not rule.holds


def test_faults_keep_the_types(tmp_path: Path) -> None:
    """Every faulty rule can be evaluated: what is tried is a wrong rule, not a broken one."""
    (rulepack,) = api.load_rulepacks([folder_with(tmp_path, STRONG)])
    for name in ("governing", "protection"):
        (shipped,) = api.load_rulepacks([name])
        for rule in list(shipped.rules.values())[:5]:
            assert sum(1 for _ in mutants_of(rule, shipped.vocabulary)) > 1
    assert list(mutants_of(rulepack.rules["ceiling-below-threshold"], rulepack.vocabulary))


def test_the_command(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["rulepack", "prove", str(folder_with(tmp_path, STRONG))]) == 0
    assert "Rulepack berth 1.0.0: proved" in capsys.readouterr().out
    assert main(["rulepack", "prove", str(folder_with(tmp_path, WEAK))]) == 1
    out = capsys.readouterr().out
    assert "NOT proved" in out
    assert "line 14: no case notices require:" in " ".join(out.split())
    assert main(["rulepack", "prove", str(tmp_path), "--format", "json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert data["limitrules"] == "proof/1"
    assert data["rulepacks"][0]["rules"][0]["not_noticed"]


def test_a_folder_without_cases_cannot_be_proved(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder_with(tmp_path, WEAK)
    (tmp_path / "cases.yaml").unlink()
    assert main(["rulepack", "prove", str(tmp_path)]) == 2
    assert "no cases" in capsys.readouterr().err


def test_a_new_rulepack_is_proved_from_the_beginning(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder = tmp_path / "our-sites"
    assert main(["rulepack", "new", str(folder)]) == 0
    assert "rulepack prove" in capsys.readouterr().out
    assert main(["rulepack", "prove", str(folder)]) == 0
    assert "Rulepack our-sites 0.1.0: proved" in capsys.readouterr().out
    before = (folder / "rulepack.yaml").read_text(encoding="utf-8")
    assert main(["rulepack", "new", str(folder)]) == 2
    assert (folder / "rulepack.yaml").read_text(encoding="utf-8") == before
    assert main(["rulepack", "new", str(tmp_path / "Our Sites")]) == 2


def test_a_case_can_leave_values_out(tmp_path: Path) -> None:
    """Not entered is something else than entered as unknown."""
    left_out = """\
    - {expect: not applicable, leave_out: packs.a.protection.charge_current}
    - {expect: undetermined, set: {packs.a.protection.charge_current.threshold: unknown}}
    - {expect: undetermined, subject: packs.a, leave_out: [packs.a.charge.rated, packs.a.charge.ceiling]}
"""
    (rulepack,) = api.load_rulepacks([folder_with(tmp_path, f"{WEAK}{left_out}")])
    found = [(wrong.case.span.line, wrong.found) for wrong in prove(rulepack).rules[0].wrong]
    assert found == [(7, "not applicable")]  # unknown alone is not stated


@pytest.mark.parametrize("path", ["packs.a", "packs.a.discharge", "packs.z.charge", "packs"])
def test_what_is_not_there_cannot_be_left_out(path: str, tmp_path: Path) -> None:
    (rulepack,) = api.load_rulepacks([folder_with(tmp_path, f"{WEAK}    - {{expect: met, leave_out: {path}}}\n")])
    with pytest.raises(InputError) as refused:
        prove(rulepack)
    assert [item.code for item in refused.value.diagnostics] == ["nothing-stated"]


def test_faults_that_no_case_could_notice_are_not_tried(tmp_path: Path) -> None:
    """A factor before a comparison with zero, a name that only the sentence reads, tolerances of counts."""
    changed = (
        RULEPACK.replace(
            "    require: p.charge.ceiling at or below p.protection.charge_current.threshold less gap\n",
            "    let: {shown: p.charge.rated, number: p.cells_series}\n"
            "    require: p.cells_series above 0 and number above 4\n",
        )
        .replace('"{p.charge.ceiling}', '"{shown}')
        .replace("    when: p.protection.charge_current.threshold is stated\n", "")
    )
    (tmp_path / "rulepack.yaml").write_text(changed, encoding="utf-8")
    (rulepack,) = api.load_rulepacks([tmp_path])
    words = [mutant.words for mutant in mutants_of(rulepack.rules["ceiling-below-threshold"], rulepack.vocabulary)]
    assert not any(item.startswith("shown") or "nominal" in item for item in words)
    assert "number: `p.cells_series` a thousand times" in words
    assert "require: `p.cells_series` a thousand times" not in words


def test_the_report_never_takes_the_place_of_the_cases(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder = folder_with(tmp_path, STRONG)
    assert main(["rulepack", "prove", str(folder), "--out", str(folder / "cases.yaml")]) == 2
    assert "out-is-input" in capsys.readouterr().err
    assert (folder / "cases.yaml").read_text(encoding="utf-8") == STRONG


def test_only_what_was_named_is_proved(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder = folder_with(tmp_path, STRONG)
    retires = "retires: {governing: {limit-ladder-ordered: ours asks for more}}\n"
    (folder / "rulepack.yaml").write_text(RULEPACK + retires, encoding="utf-8")
    assert main(["rulepack", "prove", str(folder), str(folder), "--format", "json"]) == 0
    assert [item["name"] for item in json.loads(capsys.readouterr().out)["rulepacks"]] == ["berth"]
