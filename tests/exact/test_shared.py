"""One uncertain variable for each physical source: a sensor, a datum, a device; what is independent stays so."""

from __future__ import annotations

from fractions import Fraction

import pytest

from limitrules.foundation.diagnostics import InputError
from limitrules.rules.findings import Finding, Verdict
from tests.rules.test_no_false_all_clear import finding, survey

TWO = """sensors: {{clamp: {{}}}}
packs:
  north:
    charge: {{ceiling: 100 A, measured: {{value: 100 A, tolerance: 2 %{one}}}}}
    discharge: {{measured: {{value: 100 A, tolerance: 2 %{other}}}}}
"""
APART = "p.charge.measured - p.discharge.measured at or below 1 A"


def found(one: str, other: str, require: str = APART) -> Finding:
    return finding(survey(TWO.format(one=one, other=other), require))


@pytest.mark.parametrize(
    ("one", "other", "verdict"),
    [
        ("", "", Verdict.MARGINAL),
        (", sensor: clamp", ", sensor: clamp", Verdict.MET),
        (", datum: sheet 3", ", datum: sheet 3", Verdict.MET),
        (", datum: sheet 3", ", datum: sheet 4", Verdict.MARGINAL),
        (", sensor: clamp", ", datum: clamp", Verdict.MARGINAL),
        (", sensor: clamp", "", Verdict.MARGINAL),
    ],
)
def test_what_one_source_tells_deviates_together(one: str, other: str, verdict: Verdict) -> None:
    assert found(one, other).verdict is verdict


def test_what_two_sources_tell_adds_up_and_what_one_tells_does_too() -> None:
    """Values that move together make a sum no better; only a difference."""
    total = "p.charge.measured + p.discharge.measured at or below 203 A"
    assert found("", "", total).verdict is Verdict.MARGINAL
    shared = found(", sensor: clamp", ", sensor: clamp", total)
    assert shared.verdict is Verdict.MARGINAL
    assert shared.headroom is not None
    assert shared.headroom.worst == -1
    assert shared.witness == {"sensor clamp": Fraction(1)}
    assert shared.losses == {"sensor clamp": Fraction(4)}


def test_a_range_with_unlike_sides_is_followed_on_each() -> None:
    body = """sensors: {clamp: {}}
packs:
  north:
    charge: {measured: {value: 94 A .. 98 A, sensor: clamp}, ceiling: {value: 100 A, tolerance: 1 A, sensor: clamp}}
"""
    under = finding(survey(body, "p.charge.measured at or below p.charge.ceiling less 1 A"))
    assert under.headroom is not None
    assert (under.verdict, under.headroom.worst) == (Verdict.MET, Fraction(2))
    assert under.witness == {"sensor clamp": Fraction(1)}


def test_like_takes_a_source_along_and_leaves_other_values_independent() -> None:
    body = """cells: {c: {chemistry: lfp}}
packs:
  north: {charge: {rated: {value: 100 A, tolerance: 2 %, datum: type sheet}, ceiling: 100 A ± 2 %}}
  south: {like: north}
"""
    same = finding(survey(body, "p.charge.rated - q.charge.rated at or below 0 A", about="each pair p, q in packs"))
    assert same.verdict is Verdict.MET
    require = "p.charge.ceiling - q.charge.ceiling at or below 0 A"
    apart = finding(survey(body, require, about="each pair p, q in packs"))
    assert apart.verdict is Verdict.MARGINAL
    assert set(apart.losses) == {"packs.north.charge.ceiling", "packs.south.charge.ceiling"}


def test_a_changed_value_of_a_sensor_is_surveyed_anew() -> None:
    made = survey(TWO.format(one=", sensor: clamp", other=", sensor: clamp"), APART)
    assert finding(made).verdict is Verdict.MET
    made.change("packs.north.charge.measured", "102 A ± 2 %")
    assert finding(made).verdict is Verdict.MARGINAL
    made.change("packs.north.charge.measured", "{value: 100.5 A, tolerance: 2 %, sensor: clamp}")
    changed = finding(made)
    assert changed.headroom is not None
    assert (changed.verdict, changed.headroom.worst) == (Verdict.MET, Fraction(49, 100))


@pytest.mark.parametrize("text", ["-3276.8 A", "-1 A ± 3 A", "{value: -5 A, origin: reported}"])
def test_what_no_limit_can_be_is_refused(text: str) -> None:
    made = survey(TWO.format(one="", other=""), APART)
    with pytest.raises(InputError, match=r"below zero, which `charge\.ceiling` cannot be"):
        made.change("packs.north.charge.ceiling", text)
    made.change("packs.north.charge.measured", "-5 A")
    assert finding(made).verdict is Verdict.MET
