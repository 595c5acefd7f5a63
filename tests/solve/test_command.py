"""`limitrules window`: what is printed, and what programs get."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from limitrules.cli import main

LAKESIDE = str(Path(__file__).parents[2] / "docs" / "examples" / "lakeside.yaml")
CEILING = "converters.main.charge.ceiling"
CHOSEN = [word for name in ("governing", "voltage", "protection", "discharge") for word in ("--rulepack", name)]


def test_a_window_is_told_with_what_ends_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["window", LAKESIDE, CEILING, *CHOSEN]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "now 96 A; looked at 0 A .. 150 A (up to the rating) in steps of 1 A" in text
    assert "safe (rules of class hazard and damage hold): 0 A .. 83 A; the present value does not lie in it" in text
    assert "above 83 A: charge-sources-sum-within-pack (packs.west; damage, marginal, headroom -0.18 A)" in text
    assert "Local electrical codes" in text


def test_programs_get_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["window", LAKESIDE, CEILING, "--format", "json", *CHOSEN]) == 0
    data = json.loads(capsys.readouterr().out)
    (window,) = data["windows"]
    safe = window["levels"][0]
    assert (data["limitrules"], window["path"], window["now"]["text"]) == ("window/1", CEILING, "96")
    assert safe["openings"][0]["to"]["text"] == "83"
    assert safe["openings"][0]["above"][0]["rule"] == "charge-sources-sum-within-pack"
    assert not safe["holds_now"]


def test_a_setting_that_no_rule_reads_is_told_apart(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["window", LAKESIDE, "packs.south.limit.buffer", *CHOSEN]) == 0
    assert "Read by no rule" in capsys.readouterr().out


@pytest.mark.parametrize("path", ["packs.south.charge.rated", "packs.south", "nothing.at.all"])
def test_what_is_no_setting_cannot_be_used(capsys: pytest.CaptureFixture[str], path: str) -> None:
    assert main(["window", LAKESIDE, path, *CHOSEN]) == 2
    assert "Traceback" not in capsys.readouterr().err
