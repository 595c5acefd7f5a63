"""What is told of a rehearsal: as text, as JSON, as CSV and as a picture."""

from __future__ import annotations

import csv
import io
import json
import math
import sys
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from jsonschema import Draft202012Validator, ValidationError
from referencing import Registry

from limitrules import api
from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.shipped import shipped
from limitrules.report import picture
from limitrules.report.rehearsal import figure_words, rehearsal_text, time_words
from limitrules.report.rehearsal_data import rehearsal_csv, rehearsal_data
from limitrules.simulate.told import Rehearsal
from tests.report import pinned
from tests.simulate.sites import GONE, site

EXAMPLES = Path(__file__).parents[2] / "docs" / "examples"
SCHEMA: dict[str, Any] = json.loads((shipped("schemas") / "rehearsal-1.json").read_text(encoding="utf-8"))
VALIDATOR = Draft202012Validator(SCHEMA, registry=Registry())
TOLERANT = {
    "packs.north.charge.ceiling": "171 A ± 1.5 %", "regulators.roof.regulator.slew": "45 A/s ± 15 %",
    "packs.north.protection.charge_current.threshold": "205 A ± 3 %",
    "packs.north.protection.charge_current.delay": "3.2 s ± 5 %",
    "regulators.roof.regulator.dead_time": "1.1 s ± 30 %",
}  # fmt: skip


@pytest.fixture(scope="module")
def rejection() -> Rehearsal:
    return api.rehearse(api.read_system(EXAMPLES / "lookout.yaml"), "load-rejection")


@pytest.fixture(scope="module")
def told() -> dict[str, Rehearsal]:
    """One of every sort: with a trip, without tolerances, with assumptions, dark, afloat, down to the reserve."""
    return {
        "trip": api.rehearse(site(TOLERANT), "load-rejection"),
        "exact": api.rehearse(site(), "load-rejection"),
        "assumed": api.rehearse(site({"regulators.roof.regulator": GONE}), "load-rejection", assume=True),
        "afloat": api.rehearse(site(), "trip-under-charge", assume=True),
        "overload": api.rehearse(site({"converters.main.overload_curve": {"points": [["14 kW", "60 s"],
                                                                                    ["20 kW", "5 s"]]},
                                       "converters.main.island": {"can_limit": "no"},
                                       "packs.north.protection": GONE, "site.load.peak": "16 kW"}), "overload"),
        "reserve": api.rehearse(site(), "reserve-floor"),
    }  # fmt: skip


# ---------------------------------------------------------------- text


def test_the_whole_report_is_as_pinned(rejection: Rehearsal) -> None:
    pinned.check("rehearsal.txt", rehearsal_text(rejection))


def test_the_report_of_a_trip_is_as_pinned(told: dict[str, Rehearsal]) -> None:
    pinned.check("rehearsal-trip.txt", rehearsal_text(told["trip"]))


@pytest.mark.parametrize("width", [60, 100, 150])
def test_a_report_keeps_its_width(told: dict[str, Rehearsal], width: int) -> None:
    for rehearsal in told.values():
        lines = rehearsal_text(rehearsal, width=width).splitlines()
        assert max(map(len, lines)) <= width or max(len(word) for line in lines for word in line.split()) > width / 3


def test_the_summary_says_what_it_comes_to(told: dict[str, Rehearsal]) -> None:
    trip = " ".join(rehearsal_text(told["trip"]).split())
    assert "At the nominal figures no protection acts and supply stays; at the worst corner" in trip
    assert "`packs.north.protection.charge_current` acts" in trip
    assert "this is no proof" in trip
    assert "worst corner" not in rehearsal_text(told["exact"])
    assert "supply is lost" in rehearsal_text(told["overload"])
    assert "supply is lost" in rehearsal_text(told["reserve"])


def test_what_was_assumed_is_shown_with_all_that_rests_on_it(told: dict[str, Rehearsal]) -> None:
    text = rehearsal_text(told["assumed"])
    assert "ASSUMED, because the document does not say" in text
    for name in ("dead_time", "time_constant", "slew"):
        assert f"regulators.roof.regulator.{name}" in text
    assert "Every figure above rests on these." in text
    assert "ASSUMED" not in rehearsal_text(told["exact"])


def test_every_report_carries_the_cautions(told: dict[str, Rehearsal]) -> None:
    from limitrules.report.order import CAUTIONS

    for rehearsal in told.values():
        text = " ".join(rehearsal_text(rehearsal).split())
        assert all(" ".join(caution.split()) in text for caution in CAUTIONS)
        assert rehearsal_data(rehearsal)["cautions"] == list(CAUTIONS)


def test_times_and_figures_in_words() -> None:
    assert [time_words(t) for t in (0.0, 0.0123, 0.2, 1.3456, 59.0, 720.0, 7200.0 * 2)] == [
        "0 s", "12.3 ms", "0.2 s", "1.346 s", "59 s", "12 min", "4 h",
    ]  # fmt: skip
    assert figure_words(0.421, "%") == "42.1 %"
    assert figure_words(6900.0, "W") == "6.9 kW"
    assert figure_words(math.inf, "A") == "without end"
    assert figure_words(math.nan, "A") == "not known"
    assert "inf" not in time_words(math.inf)


# ---------------------------------------------------------------- JSON and CSV


def test_the_schema_is_one_and_closed_everywhere() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    stack: list[Any] = [SCHEMA]
    closed = 0
    while stack:
        node = stack.pop()
        if isinstance(node, dict):
            if "properties" in node and node.get("type") == "object":
                assert node["additionalProperties"] is False
                assert set(node["required"]) == set(node["properties"])
                closed += 1
            stack += node.values()
        elif isinstance(node, list):
            stack += node
    assert closed >= 10


def test_every_sort_of_rehearsal_fits_the_schema(told: dict[str, Rehearsal], rejection: Rehearsal) -> None:
    for rehearsal in (*told.values(), rejection):
        text = json.dumps(rehearsal_data(rehearsal), allow_nan=False)
        VALIDATOR.validate(json.loads(text))


@pytest.mark.parametrize("spoil", [
    lambda data: data.pop("loses"), lambda data: data.update(more=1), lambda data: data["corner"].update(proven=True),
    lambda data: data["nominal"]["moments"][0].update(what="happens"),
    lambda data: data["nominal"]["traces"][0].update(unit="kA"),
    lambda data: data["nominal"]["figures"]["packs"][0].update(charge_peak=-1.0), lambda data: data.update(cautions=[]),
])  # fmt: skip
def test_what_is_wrong_does_not_fit_the_schema(told: dict[str, Rehearsal], spoil: Any) -> None:
    data = json.loads(json.dumps(rehearsal_data(told["trip"])))
    spoil(data)
    with pytest.raises(ValidationError):
        VALIDATOR.validate(data)


def test_json_tells_what_the_rehearsal_holds(told: dict[str, Rehearsal]) -> None:
    rehearsal = told["trip"]
    data = rehearsal_data(rehearsal)
    assert rehearsal.nominal.outcome is not None
    (pack,) = rehearsal.nominal.outcome.packs
    assert data["nominal"]["figures"]["packs"][0]["charge_peak"] == pack.charge_peak
    times = {moment["what"]: moment["time"] for moment in data["nominal"]["moments"]}
    assert times["event"] == 0.0
    assert times["governs"] == -1.0
    acted = [level["acted_at"] for level in data["worst"]["figures"]["levels"]]
    assert acted == [pytest.approx(data["worst"]["figures"]["levels"][0]["delay"], abs=1e-9)]
    assert data["loses"] is True
    assert set(data["corner"]["at"]) == set(TOLERANT)


def test_csv_read_back_is_the_traces(told: dict[str, Rehearsal]) -> None:
    for rehearsal in told.values():
        rows = list(csv.DictReader(io.StringIO(rehearsal_csv(rehearsal))))
        assert {row["case"] for row in rows} == ({"nominal", "worst"} if rehearsal.worst else {"nominal"})
        for case, story in (("nominal", rehearsal.nominal), ("worst", rehearsal.worst)):
            for trace in story.traces if story is not None else ():
                found = [
                    (float(row["time_s"]), float(row["value"]))
                    for row in rows
                    if (row["case"], row["path"], row["figure"]) == (case, trace.path, trace.name)
                ]
                assert [value for _, value in found] == list(trace.values)
                zero = trace.times[0] - found[0][0]
                assert [time for time, _ in found] == pytest.approx([time - zero for time in trace.times], abs=1e-12)


# ---------------------------------------------------------------- pictures


@pytest.mark.parametrize("sort", ["trip", "exact", "afloat", "overload", "reserve"])
def test_a_picture_as_svg(told: dict[str, Rehearsal], sort: str, tmp_path: Path) -> None:
    pytest.importorskip("matplotlib")
    target = tmp_path / "picture.svg"
    picture.check_can_draw(target)
    picture.draw(told[sort], target)
    root = ElementTree.fromstring(target.read_text(encoding="utf-8"))  # noqa: S314 what we drew ourselves
    text = " ".join("".join(node.itertext()) for node in root.iter() if node.tag.endswith("text"))
    assert told[sort].event in text
    assert "after the event" in text
    assert ("worst corner found" in text) is (told[sort].worst is not None)


def test_the_same_picture_twice_is_the_same(told: dict[str, Rehearsal], tmp_path: Path) -> None:
    pytest.importorskip("matplotlib")
    for name in ("one.svg", "two.svg"):
        picture.draw(told["trip"], tmp_path / name)
    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()


def test_a_picture_as_png(told: dict[str, Rehearsal], tmp_path: Path) -> None:
    pytest.importorskip("matplotlib")
    target = tmp_path / "picture.png"
    picture.draw(told["trip"], target)
    assert target.read_bytes().startswith(b"\x89PNG")
    assert target.stat().st_size > 10_000


def test_without_the_extra_the_message_names_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    with pytest.raises(InputError) as caught:
        picture.check_can_draw(Path("out.svg"))
    (diagnostic,) = caught.value.diagnostics
    assert diagnostic.code == "extra-missing"
    assert "limitrules[pictures]" in diagnostic.advice


def test_other_kinds_of_picture_are_refused() -> None:
    with pytest.raises(InputError) as caught:
        picture.check_can_draw(Path("out.gif"))
    assert caught.value.diagnostics[0].code == "no-such-picture"


def test_a_picture_that_cannot_be_written_ends_in_words(told: dict[str, Rehearsal], tmp_path: Path) -> None:
    pytest.importorskip("matplotlib")
    with pytest.raises(InputError) as caught:
        picture.draw(told["exact"], tmp_path / "nowhere" / "picture.svg")
    assert caught.value.diagnostics[0].code == "out-not-written"
