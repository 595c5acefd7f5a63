"""Several regulators that let go together, against stepping, against one alone, and in a rule."""

from __future__ import annotations

import math
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limitrules import api
from limitrules.foundation.diagnostics import InputError
from limitrules.language.functions import refute
from limitrules.physics import FUNCTIONS
from limitrules.physics.regulators import time_above
from limitrules.physics.together import time_above_together
from limitrules.rules.findings import Verdict

PARTS = 5
MEMBER = st.tuples(
    st.floats(20.0, 100.0), st.floats(0.0, 19.0), st.floats(0.0, 2.0), st.floats(0.05, 3.0), st.floats(5.0, 200.0)
)


def stepped(threshold: float, members: list[tuple[float, ...]], step: float) -> float:
    """The moment at which the sum falls to the threshold, by small steps of the equations themselves."""
    currents = [member[0] for member in members]
    time = 0.0
    while sum(currents) > threshold:
        for number, (_, end, dead, constant, slew) in enumerate(members):
            if time >= dead:
                currents[number] -= step * min((currents[number] - end) / constant, slew)
        time += step
        if time > 100.0:
            return math.inf
    return time


@settings(max_examples=40, deadline=None)
@given(st.lists(MEMBER, min_size=1, max_size=4), st.floats(0.05, 0.95))
def test_stepping_comes_to_the_same(members: list[tuple[float, ...]], share: float) -> None:
    starts, ends = (sum(member[number] for member in members) for number in (0, 1))
    threshold = ends + share * (starts - ends)
    low, high = time_above_together(threshold, *(value for member in members for value in member))
    assert low <= high <= low * (1.0 + 1e-9) + 1e-9
    # The stepped time is late by its step, and by what the equations lose in one.
    assert stepped(threshold, members, 1e-3) == pytest.approx(high, abs=6e-3)


@settings(max_examples=200, deadline=None)
@given(MEMBER, st.floats(0.01, 0.99))
def test_one_alone_is_what_one_alone_is(member: tuple[float, ...], share: float) -> None:
    start, end, *regulator = member
    threshold = end + share * (start - end)
    one = time_above(start, end, threshold, *regulator)
    together = time_above_together(threshold, *member)
    assert together[0] <= one[1] * (1.0 + 1e-12)
    assert one[0] <= together[1] * (1.0 + 1e-12)


@settings(max_examples=200, deadline=None)
@given(st.lists(MEMBER, min_size=2, max_size=4), st.floats(0.05, 0.95))
def test_the_slowest_bounds_and_the_mean_does_not(members: list[tuple[float, ...]], share: float) -> None:
    """All at the pace of the slowest take no less time."""
    starts, ends = (sum(member[number] for member in members) for number in (0, 1))
    threshold = ends + share * (starts - ends)
    dead, constant = (max(member[number] for member in members) for number in (2, 3))
    slowest = [(start, end, dead, constant, min(m[4] for m in members)) for start, end, *_ in members]
    own = time_above_together(threshold, *(value for member in members for value in member))
    bound = time_above_together(threshold, *(value for member in slowest for value in member))
    assert own[0] <= bound[1]


def test_what_never_comes_down_stays() -> None:
    assert time_above_together(50.0, 60.0, 55.0, 1.0, 1.0, 10.0) == (math.inf, math.inf)
    assert time_above_together(70.0, 60.0, 55.0, 1.0, 1.0, 10.0) == (0.0, 0.0)


def test_who_would_rise_counts_at_its_end() -> None:
    rising = time_above_together(60.0, 80.0, 0.0, 1.0, 1.0, 50.0, 10.0, 30.0, 0.0, 1.0, 50.0)
    steady = time_above_together(60.0, 80.0, 0.0, 1.0, 1.0, 50.0, 30.0, 30.0, 0.0, 1.0, 50.0)
    assert rising == steady


def test_no_promise_is_refuted() -> None:
    function = FUNCTIONS["time_above_together"].of(3)
    ranges = {"start": (10.0, 100.0), "end": (0.0, 60.0), "dead_time": (0.0, 3.0), "time_constant": (0.01, 3.0)}
    for threshold in ((20.0, 60.0), (60.0, 200.0)):
        assert refute(function, {**ranges, "slew": (1.0, 100.0), "threshold": threshold}, 1500) is None


RULE = """\
limitrules: rulepack/1
name: berth
version: 1.0.0
vocabulary: storage
title: Rules of the berth
rules:
  quiet-in-time:
    title: The current falls in time
    consequence: outage
    about: each pack p
    let:
      above: >-
        time_above_together(p.protection.charge_current.threshold,
        each (r.charge.ceiling, 0 A, r.regulator.dead_time, r.regulator.time_constant, r.regulator.slew)
        over r in p.regulators where r.obeys_dynamic_limit is yes,
        each (r.charge.ceiling, r.charge.ceiling, 0 s, 0 s, 1 A/s)
        over r in p.regulators where r.obeys_dynamic_limit is no)
    require: above shorter than p.protection.charge_current.delay
    because: "{above}"
    remedy: ["Lower the ceilings."]
    caution: A trip takes the berth off.
    basis: ["charge control"]
"""
SYSTEM = """\
limitrules: system/1
name: Berth
packs:
  a: {protection: {charge_current: {threshold: 100 A ± 2 %, delay: 3 s ± 5 %}}}
regulators:
  one:
    feeds: [a]
    charge: {ceiling: 80 A}
    obeys_dynamic_limit: yes
    regulator: {dead_time: 0.5 s ± 10 %, time_constant: 0.6 s, slew: 50 A/s}
  two: {feeds: [a], charge: {ceiling: 60 A}, obeys_dynamic_limit: no}
"""


def survey_of(tmp_path: Path, rule: str = RULE, system: str = SYSTEM) -> Verdict:
    (tmp_path / "rulepack.yaml").write_text(rule, encoding="utf-8")
    (tmp_path / "berth.yaml").write_text(system, encoding="utf-8")
    rulepacks = api.load_rulepacks([tmp_path])
    (finding,) = api.survey(api.read_system(tmp_path / "berth.yaml", rulepacks), rulepacks).findings
    if finding.headroom is not None and finding.witness:
        assert isinstance(finding.headroom.worst, Fraction)
    return finding.verdict


@pytest.mark.parametrize(
    ("old", "new", "verdict"),
    [
        ("", "", Verdict.MET),
        ("ceiling: 60 A", "ceiling: 101 A", Verdict.BREACHED),  # never falls below: the end alone is above
        ("time_constant: 0.6 s", "time_constant: 2.6 s ± 60 %", Verdict.MARGINAL),
        ("dead_time: 0.5 s ± 10 %", "dead_time: unknown", Verdict.UNDETERMINED),
        ("obeys_dynamic_limit: no", "obeys_dynamic_limit: unknown", Verdict.UNDETERMINED),
    ],
)
def test_a_rule_over_members(tmp_path: Path, old: str, new: str, verdict: Verdict) -> None:
    assert survey_of(tmp_path, system=SYSTEM.replace(old, new) if old else SYSTEM) is verdict


@pytest.mark.parametrize(
    ("clause", "code"),
    [
        ("time_above_together(3 A, 2 A, 1 A, 1 s, 1 s, 1 A/s) above 1 s", "argument-count"),
        ("time_above_together(3 A, each (r.charge.ceiling, 0 A) over r in p.regulators) above 1 s", "argument-count"),
        ("time_above_together(3 A, each (3 A, 0 A, 1 A, 1 s, 1 A/s) over r in packs) above 1 s", "argument-type"),
        ("sqrt(each r.charge.ceiling over r in p.regulators) above 1 A", "argument-count"),
        ("time_above_together(3 A, each (1 A, 0 A, 1 s, 1 s, 1 A/s) over r in p.cell) above 1 s", "not-a-collection"),
    ],
)  # fmt: skip
def test_mistakes_with_members_are_told(tmp_path: Path, clause: str, code: str) -> None:
    rule = RULE[: RULE.index("    let:")] + f"    require: {clause}\n" + RULE[RULE.index("    because:") :]
    with pytest.raises(InputError) as refused:
        survey_of(tmp_path, rule.replace('"{above}"', '"x"'))
    assert refused.value.diagnostics[0].code == code
    assert len(FUNCTIONS["time_above_together"].members) == PARTS
