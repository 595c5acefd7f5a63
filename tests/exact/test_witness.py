"""A witness reproduces the worst headroom to the last digit, and says which inputs cost how much of it."""

from __future__ import annotations

import attrs
import pytest

from limitrules import api
from limitrules.model.system import System
from limitrules.rules.findings import Finding, Verdict
from limitrules.rules.rule import Rulepack
from tests.house.tree import ROOT

EXAMPLES = ("lakeside", "coldstore", "lookout")


def _at_witness(system: System, rulepacks: tuple[Rulepack, ...], finding: Finding) -> Finding:
    """The same finding, with every tolerance replaced by the witness."""
    pack = next(pack for pack in rulepacks if pack.name == finding.rulepack)
    alone = attrs.evolve(pack, rules={finding.rule: pack.rules[finding.rule]})
    found = api.Survey(system, [alone], at=finding.witness).result()
    return next(item for item in found.findings if item.subjects == finding.subjects)


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_survey_at_the_witness_has_the_worst_headroom_exactly(name: str) -> None:
    rulepacks = api.load_rulepacks()
    system = api.read_system(ROOT / "docs" / "examples" / f"{name}.yaml", rulepacks)
    tried = 0
    for finding in api.Survey(system, rulepacks).result().findings:
        if finding.witness is None or finding.headroom is None or finding.headroom.reached is None:
            continue
        there = _at_witness(system, rulepacks, finding)
        if there.headroom is None:
            assert there.verdict is Verdict.UNDETERMINED
            continue
        tried += 1
        found = there.headroom.nominal, there.headroom.worst
        assert found == (finding.headroom.reached,) * 2, (finding.rule, finding.subject)
        if finding.verdict is Verdict.MARGINAL and finding.headroom.reached < 0:
            assert there.verdict is Verdict.BREACHED
    assert tried >= 10


@pytest.mark.parametrize("name", EXAMPLES)
def test_what_the_inputs_take_makes_up_the_loss_of_a_sum(name: str) -> None:
    rulepacks = api.load_rulepacks(["governing"])
    system = api.read_system(ROOT / "docs" / "examples" / f"{name}.yaml", rulepacks)
    found = api.Survey(system, rulepacks).result().findings
    sums = [item for item in found if item.rule == "charge-sources-sum-within-pack" and item.headroom is not None]
    assert sums
    for finding in sums:
        headroom = finding.headroom
        assert headroom is not None
        assert headroom.nominal is not None
        assert headroom.worst is not None
        # The shares of the packs are quotients, so it is a sum only nearly.
        loss = headroom.nominal - headroom.worst
        assert abs(sum(finding.losses.values()) - loss) <= loss / 50
        assert list(finding.losses.values()) == sorted(finding.losses.values(), reverse=True)
        assert set(finding.losses) <= set(finding.witness or {})
