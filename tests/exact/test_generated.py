"""Random rules over random systems: no point of the tolerances contradicts a verdict, and figures are what they say.

`LIMITRULES_PROFILE=nightly python -m pytest tests/exact` tries twenty thousand rules instead of five hundred. What a
run finds is printed as one line of data; it belongs into `failures.txt`, which is tried first.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import attrs
import pytest
from hypothesis import given

from limitrules.foundation.diagnostics import InputError
from limitrules.rules.findings import Verdict
from tests.exact import oracle
from tests.exact.claims import Claim, Contradiction, Proofs, claims, contradictions, is_reached, surveyed
from tests.exact.generated import cases
from tests.exact.oracle import GeneratedRule
from tests.exact.profile import SEED, tried
from tests.exact.wording import failures, kept, restored
from tests.exact.world import World

KNOWN = "known failing: "
KEPT = list(failures((Path(__file__).parent / "failures.txt").read_text(encoding="utf-8")))


ALWAYS_STRICT = frozenset({"met", "breached", "not applicable", "worst headroom", "reached headroom", "witness"})


def _known_kinds() -> set[str]:
    """Parts of claims that are known to be wrong, each with an entry that shows it: `known failing: KIND: ...`.

    What would be a false all-clear or a false alarm is let pass nowhere but in its entry.
    """
    known = {title.removeprefix(KNOWN).split(":")[0] for title, _ in KEPT if title.startswith(KNOWN)}
    return known - ALWAYS_STRICT


def _objections(claim: Claim, proofs: Proofs | None) -> Iterator[Contradiction]:
    yield from contradictions(claim)
    if proofs is not None:
        yield from proofs.against(claim)


def _kept() -> list[object]:
    return [
        pytest.param(
            line,
            id=title,
            marks=[pytest.mark.xfail(raises=AssertionError, reason="known")] if title.startswith(KNOWN) else [],
        )
        for title, line in KEPT
    ]


@pytest.mark.parametrize("line", _kept())
def test_what_failed_before(line: str) -> None:
    world, rule = restored(line)
    assert kept(world, rule) == line
    for claim in claims(world, [rule], surveyed(world, [rule])):
        assert list(_objections(claim, Proofs(5000))) == [], claim.shown()


def test_no_point_contradicts_a_verdict() -> None:
    tally: Counter[str] = Counter()
    words: set[str] = set()
    known, proofs = _known_kinds(), Proofs()

    @tried(100, 4000)
    @given(cases())
    def holds(case: tuple[World, list[GeneratedRule]]) -> None:
        world, rules = case
        tally["rules"] += len(rules)
        words.update(term.word for rule in rules for term in rule.require.walk())
        try:
            result = surveyed(world, rules)
        except InputError:
            tally["refused"] += len(rules)
            return
        for claim in claims(world, rules, result):
            tally["findings"] += 1
            tally[claim.verdict.value if claim.verdict is not None else "not applicable"] += 1
            _tally_headroom(claim, tally)
            for found in _objections(claim, proofs if tally["findings"] % 4 == 0 else None):
                tally[f"known: {found.kind}"] += 1
                assert found.kind in known, (
                    f"{found.kind}: {found.text}\n{claim.shown()}\nseed {SEED}; for failures.txt:\n"
                    f"== {found.kind}: {found.text}\n{kept(world, claim.rule)}"
                )

    holds()
    shares = {name: round(count / tally["findings"], 3) for name, count in tally.items()}
    print(f"\nseed {SEED}: {dict(tally)}\n{proofs}")  # noqa: T201
    assert tally["refused"] * 100 <= tally["rules"]
    assert all(shares[verdict.value] > 0.03 for verdict in Verdict), shares
    assert tally["tight"] > 2 * tally["not tight"]
    assert tally["reached"] > 0.9 * (tally["reached"] + tally["not reached"])
    assert proofs.decided > 0.8 * proofs.asked > 0
    assert words >= set(oracle._NUMBERS) | set(oracle._TRUTHS)


def _tally_headroom(claim: Claim, tally: Counter[str]) -> None:
    headroom = claim.finding.headroom if claim.finding is not None else None
    if headroom is not None:
        tally["tight" if headroom.tight else "not tight"] += 1
        if headroom.tight and (reached := is_reached(claim)) is not None:
            tally["reached" if reached else "not reached"] += 1


@tried(5, 100)
@given(cases())
def test_false_claims_are_refuted(case: tuple[World, list[GeneratedRule]]) -> None:
    """The oracle objects to verdicts and figures that are made wrong on purpose."""
    opposite = {Verdict.MET: Verdict.BREACHED, Verdict.BREACHED: Verdict.MET}
    world, rules = case
    for claim in claims(world, rules, surveyed(world, rules)):
        if claim.finding is None or claim.finding.verdict not in opposite:
            continue
        turned = attrs.evolve(claim.finding, verdict=opposite[claim.finding.verdict])
        kinds = {found.kind for found in _objections(attrs.evolve(claim, finding=turned), Proofs())}
        assert turned.verdict.value in kinds
        headroom = claim.finding.headroom
        if is_reached(claim) and headroom is not None and headroom.worst is not None:
            better = attrs.evolve(headroom, worst=headroom.worst + 1)
            raised = attrs.evolve(claim, finding=attrs.evolve(claim.finding, headroom=better))
            assert "worst headroom" in {found.kind for found in contradictions(raised)}
