"""The JSON Schema of system documents: current, valid, and no stricter than the reader."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.shipped import shipped
from limitrules.foundation.source import Source
from limitrules.model.schema import FILE, as_text, system_schema
from limitrules.model.system import parse_system
from limitrules.model.vocabulary import load_vocabulary
from tests.model.small import small
from tests.model.test_quantity import FORMS
from tests.model.test_refusals import sections
from tests.model.test_system import EXAMPLES, HOUSE


class EditorLoader(yaml.CSafeLoader):
    """Types scalars as editors do: numbers and truth values, but no dates."""


EditorLoader.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in resolvers if tag != "tag:yaml.org,2002:timestamp"]
    for first, resolvers in yaml.CSafeLoader.yaml_implicit_resolvers.items()
}

VALIDATOR = jsonschema.Draft202012Validator(system_schema(small()))


def errors(text: str, validator: Any = VALIDATOR) -> list[str]:
    return [error.message for error in validator.iter_errors(yaml.load(text, Loader=EditorLoader))]  # noqa: S506


def test_the_file_is_current() -> None:
    written = (shipped("schemas") / FILE).read_text(encoding="utf-8")
    assert written == as_text(system_schema(load_vocabulary())), "run python -m limitrules.model.schema"
    assert json.loads(written) == system_schema(load_vocabulary())


def test_it_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(system_schema(load_vocabulary()))
    jsonschema.Draft202012Validator.check_schema(system_schema(small()))


def test_every_reference_leads_somewhere() -> None:
    schema = system_schema(load_vocabulary())
    names = set(schema["$defs"])  # type: ignore[call-overload]
    text = as_text(schema)
    assert {part.split('"')[0] for part in text.split('"#/$defs/')[1:]} <= names


@pytest.mark.parametrize("file", EXAMPLES, ids=[file.name for file in EXAMPLES])
def test_examples_fit(file: Path) -> None:
    validator = jsonschema.Draft202012Validator(system_schema(load_vocabulary()))
    assert errors(file.read_text(encoding="utf-8"), validator) == []


def test_the_small_house_fits() -> None:
    assert errors(HOUSE) == []


PLACES = {"A": "charge: {rated: %}", "degC": "temperature: {max: %}", "%": "soc: %", "1": "growth: %"}


@pytest.mark.parametrize(("text", "unit"), [form[:2] for form in FORMS if form[1] in PLACES])
def test_every_form_of_a_quantity_fits(text: str, unit: str) -> None:
    for written in (text, f"{{value: {text}, origin: measured, date: 2026-05-02}}"):
        document = "limitrules: system/1\npacks: {a: {" + PLACES[unit].replace("%", written) + "}}\n"
        parse_system(Source("s.yaml", document), small())
        assert errors(document) == []


@pytest.mark.parametrize(
    "entry",
    [
        "packs: {a: {soc: unknown, enabled: yes, cells_series: 24, serial: 12, installed_on: 2026-05-02}}",
        "packs: {a: {soc: {value: unknown, range: 10 % .. 20 %}, enabled: off, cells_series: unknown}}",
        "packs: {a: {growth: 2}, b: {growth: {value: 2, tolerance: 0.1}}, 7: {like: a}}",
        "packs: {a: {protection: {charge_current: none, over_temperature: unknown}}}",
        "packs: {a: {cell: none}, b: {cell: []}, c: {cell: unknown, enabled: {value: no}}}",
        "converters: {a: {feeds: none}, b: {feeds: []}, c: {feeds: unknown}}",
        "cells: {a: {rest_voltage: unknown, chemistry: {value: lfp, source: sheet}}}",
        "cells: {a: {rest_voltage: {points: [[0 %, 1 V], [1 %, 2 V]], tolerance: 1 %, date: 2026-05-02}}}",
    ],
)
def test_what_the_reader_reads_fits(entry: str) -> None:
    document = f"limitrules: system/1\n{entry}\n"
    parse_system(Source("s.yaml", document), small())
    assert errors(document) == []


# The reader alone knows these.
ONLY_THE_READER = {"ties in an empty document", "ids"}


@pytest.mark.parametrize("title", [title for title in sections("refusals.txt") if title not in ONLY_THE_READER])
def test_what_the_reader_refuses_mostly_does_not_fit(title: str) -> None:
    document, _ = sections("refusals.txt")[title]
    try:
        assert errors(document)
    except yaml.YAMLError:
        pass
    except AssertionError:
        assert title in ("like", "twice the same", "what YAML knows and we do not")


@pytest.mark.parametrize(
    "entry",
    [
        "packs: {a: {soc: 50}}",
        "packs: {a: {soc: ~}}",
        "packs: {a: {charge: {rated: 96 V}}}",
        "packs: {a: {charge: {rated: 96 A ± 1 V}}}",
        "packs: {a: {charge: {rated: 96 A .. 98}}}",
        "packs: {a: {charge: {rated: '96,5 A'}}}",
        "packs: {a: {temperature: {max: 35 K}}}",
        "packs: {a: {colour: red}}",
        "packs: {a: {converters: [main]}}",
        "packs: {a: {enabled: maybe}}",
        "packs: {a: {installed_on: 2.5.2026}}",
        "packs: {a: {cells_series: 2.5}}",
        "packs: {a: {protection: {charge_current: 3 A}}}",
        "packs: {'a b': {}}",
        "cells: {a: {chemistry: lead}}",
        "cells: {a: {rest_voltage: {points: [[0 %, 1 V]]}}}",
        "cells: {a: {rest_voltage: {points: [[0 %, 1 V], [1 %]]}}}",
        "batteries: {}",
    ],
)
def test_mistakes_do_not_fit(entry: str) -> None:
    document = f"limitrules: system/1\n{entry}\n"
    assert errors(document)
    with pytest.raises(InputError):
        parse_system(Source("s.yaml", document), small())


def test_an_editor_is_told_what_a_key_means() -> None:
    schema: Any = system_schema(small())
    rated = schema["$defs"]["pack"]["properties"]["charge"]["properties"]["rated"]
    assert rated == {"description": "Rated charge current. In A.", "$ref": "#/$defs/in_A"}
    assert schema["$defs"]["cell"]["properties"]["chemistry"]["anyOf"][0] == {"enum": ["lfp", "nmc", "lto", "unknown"]}
