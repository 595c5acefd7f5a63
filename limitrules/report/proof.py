"""What the cases of rulepacks are worth, as text and as data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from limitrules.engine.proving import Proof, RuleProof, Survivor
from limitrules.report.figures import count_words, joined
from limitrules.report.layout import USUAL_WIDTH, Page

FORMAT = "proof/1"


def proofs_text(proofs: Sequence[Proof], colour: bool = False, width: int = USUAL_WIDTH) -> str:
    """Rulepack by rulepack: what does not hold first, then the coverage."""
    page = Page(width, colour)
    for proof in proofs:
        _proof(page, proof)
    return page.text()


def _proof(page: Page, proof: Proof) -> None:
    rules = proof.rules
    page.heading(
        f"Rulepack {proof.rulepack.name} {proof.rulepack.version}: {'proved' if proof.holds else 'NOT proved'}"
    )
    cases, mutants = sum(item.cases for item in rules), sum(item.mutants for item in rules)
    survivors = [survivor for item in rules for survivor in item.survivors]
    explained = sum(bool(item.because) for item in survivors)
    page.line(
        f"{count_words(len(rules), 'rule')}, {count_words(cases, 'case')}; {mutants} faults were tried, "
        f"{mutants - len(survivors)} noticed, {explained} explained, {len(survivors) - explained} not noticed",
        indent=2,
    )  # fmt: skip
    for item in rules:
        if not item.holds:
            _rule(page, item)
    bare = [item for item in rules if item.lacking]
    if bare:
        page.blank()
        page.line("No case of", indent=2)
        page.table([[item.rule.id, joined(item.lacking)] for item in bare], indent=4)


def _rule(page: Page, item: RuleProof) -> None:
    page.blank()
    page.line(f"{item.rule.id}", indent=2)
    if not item.cases:
        page.line("It has no case at all.", indent=4)
    for wrong in item.wrong:
        place = f"{wrong.case.span.source.name}:{wrong.case.span.line}"
        page.line(f"{place}: expected {wrong.case.expect}, found {wrong.found}", indent=4)
    for survivor in item.unexplained:
        page.line(f"line {survivor.span.line}: no case notices {survivor.words}", indent=4)


def proofs_data(proofs: Sequence[Proof]) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "limitrules": FORMAT,
        "rulepacks": [
            {
                "name": proof.rulepack.name,
                "version": proof.rulepack.version,
                "proved": proof.holds,
                "rules": [_rule_data(item) for item in proof.rules],
            }
            for proof in proofs
        ],
    }


def _rule_data(item: RuleProof) -> dict[str, Any]:
    return {
        "rule": item.rule.id,
        "holds": item.holds,
        "cases": item.cases,
        "no_case_of": list(item.lacking),
        "wrong": [
            {"line": wrong.case.span.line, "expected": wrong.case.expect, "found": wrong.found} for wrong in item.wrong
        ],
        "faults": item.mutants,
        "not_noticed": [_survivor(survivor) for survivor in item.survivors],
    }


def _survivor(survivor: Survivor) -> dict[str, Any]:
    return {"line": survivor.span.line, "fault": survivor.words, "because": survivor.because}
