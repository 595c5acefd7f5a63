from __future__ import annotations

import json
from fractions import Fraction
from typing import Any

import pytest
from jsonschema import Draft202012Validator, ValidationError
from referencing import Registry

from limitrules.foundation.diagnostics import Diagnostic
from limitrules.foundation.shipped import shipped
from limitrules.foundation.source import Source
from limitrules.report.data import diagnostics_data, finding_data, headroom_data, survey_data, survey_json, why_data
from limitrules.rules.findings import Consequence, Headroom, Verdict
from tests.report import pinned
from tests.report.samples import AMPERE, CELSIUS, MILLIOHM, decimal, finding, ladder, result, rich

SCHEMA: dict[str, Any] = json.loads((shipped("schemas") / "survey-1.json").read_text(encoding="utf-8"))
VALIDATOR = Draft202012Validator(SCHEMA, registry=Registry())


def part(name: str) -> Draft202012Validator:
    return Draft202012Validator({"$ref": f"#/$defs/{name}", "$defs": SCHEMA["$defs"]}, registry=Registry())


def every_schema(node: Any) -> list[dict[str, Any]]:
    if isinstance(node, list):
        return [found for item in node for found in every_schema(item)]
    if not isinstance(node, dict):
        return []
    return [node] + [found for item in node.values() for found in every_schema(item)]


def test_the_schema_is_one_and_closed_everywhere() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    objects = [node for node in every_schema(SCHEMA) if "properties" in node and "description" in node]
    assert len(objects) > 10
    for node in objects:
        assert node["additionalProperties"] is False
        assert set(node["required"]) <= set(node["properties"])
        for name, body in node["properties"].items():
            assert "description" in body or "$ref" in body, name


@pytest.mark.parametrize("fail_on", list(Consequence))
@pytest.mark.parametrize("sample", [rich(), result(), result(ladder())], ids=["rich", "nothing", "one"])
def test_every_output_fits_the_schema(sample: Any, fail_on: Consequence) -> None:
    VALIDATOR.validate(json.loads(survey_json(sample, fail_on)))


def test_an_output_with_anything_else_does_not_fit() -> None:
    data = survey_data(rich())
    data["findings"][0]["score"] = 1
    with pytest.raises(ValidationError):
        VALIDATOR.validate(data)


@pytest.mark.parametrize("name", sorted(survey_data(rich())))
def test_nothing_may_be_missing(name: str) -> None:
    data = survey_data(rich())
    del data[name]
    with pytest.raises(ValidationError):
        VALIDATOR.validate(data)


def test_the_whole_output_is_as_pinned() -> None:
    pinned.check("survey.json", survey_json(rich()))


def test_the_output_is_plain_ascii_and_no_number_is_beyond_json() -> None:
    text = survey_json(rich())
    assert text.isascii()
    assert "NaN" not in text
    assert "Infinity" not in text


def test_a_figure_is_stated_exactly_in_its_unit_and_in_si() -> None:
    data = headroom_data(Headroom(Fraction(1, 3), decimal("-0.0002"), MILLIOHM, decimal("0.001")))
    assert data["unit"] == "mohm"
    assert data["worst"] == {"text": "-0.2", "si": -0.0002, "exact": "-1/5000"}
    assert data["nominal"] == {"text": "333.333333333", "si": 1 / 3, "exact": "1/3"}
    assert data["limit"] == {"text": "1", "si": 0.001, "exact": "1/1000"}
    assert data["share_worst"] == {"text": "-0.2", "si": -0.2, "exact": "-1/5"}


def test_a_limit_in_degrees_keeps_its_scale_and_the_headroom_is_a_difference() -> None:
    data = headroom_data(Headroom(decimal("-4"), None, CELSIUS, decimal("273.15")))
    assert (data["unit"], data["limit_unit"]) == ("K", "degC")
    assert data["nominal"]["text"] == "-4"
    assert data["limit"]["text"] == "0"
    assert data["worst"] is None
    assert data["share_nominal"] is None


def test_a_figure_beyond_floats_keeps_its_exact_value() -> None:
    data = headroom_data(Headroom(decimal("1e400"), decimal("-1e400"), AMPERE))
    assert data["nominal"]["si"] is None
    assert Fraction(data["worst"]["exact"]) == decimal("-1e400")
    part("headroom").validate(data)


def test_the_witness_loses_nothing() -> None:
    item = finding("x", Verdict.BREACHED, witness={"packs.north.x": Fraction(22, 7), "site.y": decimal("-0.1")})
    data = finding_data(item)
    assert {entry["path"]: Fraction(entry["exact"]) for entry in data["witness"]} == item.witness
    part("finding").validate(data)


def test_every_finding_says_whether_it_fails() -> None:
    data = survey_data(rich())
    failing = {item["rule"] for item in data["findings"] if item["fails"]}
    assert failing == {"fault-clearing", "limit-ladder-ordered", "interrupting-rating", "cold-charge-blocked"}
    assert data["outcome"] == {
        "fails": True, "exit": 1, "fail_on": "outage", "failing": 4,
        "counts": {"breached": 3, "marginal": 2, "undetermined": 2, "met": 5, "conceded": 1, "not_applicable": 3},
    }  # fmt: skip
    assert sum(data["outcome"]["counts"].values()) - 3 == len(data["findings"]) == len(rich().findings)


def test_the_argument_keeps_its_places() -> None:
    (reason,) = finding_data(ladder())["reasons"]
    figure = reason["parts"][0]
    assert figure["place"] == {"file": "lakeside.yaml", "line": 5, "column": 23}
    assert figure["stated"] == "96 A \N{PLUS-MINUS SIGN} 1.5 %"


def test_why_uses_the_same_form() -> None:
    data = why_data(rich().findings, rich().not_applicable)
    assert data["limitrules"] == "why/1"
    for item in data["findings"]:
        part("finding").validate(item)
    for item in data["not_applicable"]:
        part("not_applicable").validate(item)


def test_diagnostics_as_data() -> None:
    span = Source("a.yaml", "x: 5 V\n").span(3, 6)
    data = diagnostics_data([Diagnostic("wrong-unit", "not a current", span, "a current (A)", "5 A")])
    assert data == {
        "limitrules": "diagnostics/1",
        "diagnostics": [
            {
                "code": "wrong-unit", "message": "not a current", "file": "a.yaml", "line": 1, "column": 4,
                "expected": "a current (A)", "advice": "5 A",
            }
        ],
    }  # fmt: skip
