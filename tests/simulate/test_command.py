"""`limitrules rehearse`: exit codes, quantities, rows of events, files."""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path

import pytest
import yaml

from limitrules.cli import main
from tests.simulate.sites import STATION

LOOKOUT = str(Path(__file__).parents[2] / "docs" / "examples" / "lookout.yaml")
LAKESIDE = str(Path(__file__).parents[2] / "docs" / "examples" / "lakeside.yaml")


@pytest.fixture
def station(tmp_path: Path) -> str:
    """The small system as a file."""
    path = tmp_path / "station.yaml"
    text = yaml.safe_dump(yaml.safe_load(STATION), sort_keys=False)
    path.write_text(text.replace("'yes'", "yes"), encoding="utf-8")
    return str(path)


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(["rehearse", *words])
    told = capsys.readouterr()
    assert "Traceback" not in told.err
    return code, told.out, told.err


def test_nothing_acts_is_zero(capsys: pytest.CaptureFixture[str], station: str) -> None:
    code, out, err = run(capsys, station, "load-rejection")
    assert (code, err) == (0, "")
    assert "no protection acts and supply stays" in out


def test_a_trip_is_one(capsys: pytest.CaptureFixture[str], station: str) -> None:
    code, out, _ = run(capsys, station, "load-rejection", "--power", "9 kW")
    assert code == 1
    assert "ACTS" in out


@pytest.mark.parametrize(("words", "code"), [
    (("load-rejektion",), "unknown-event"), (("pack-leaves", "--assume", "--pack", "nort"), "no-such-pack"),
    (("load-rejection", "--soc", "150 %"), "above-full"), (("load-rejection", "--every", "5 s"), "every-without-times"),
    (("load-rejection", "--power", "6.9"), ""), (("load-rejection", "--power", "6.9 A"), ""),
    (("load-rejection", "--power", "-1 kW"), "below-zero"), (("load-rejection", "--power", "1 kW ± 5 %"), "below-zero"),
    (("load-rejection", "--lasting", "0 s"), "below-zero"), (("load-rejection", "--soc", "half"), ""),
    (("load-rejection", "--times", "3"), "times-without-every"),
    (("load-rejection", "--times", "0"), "times-without-every"),
    (("load-rejection", "--every", "1 s", "--times", "5000"), "row-too-long"),
    (("load-rejection", "--picture", "out.gif"), "no-such-picture"), (("link-loss",), "figure-missing"),
    (("grid-loss",), "nothing-to-rehearse"), (("load-rejection", "--running", "sources.wind"), "no-such-source"),
    (("load-rejection", "--pack", "nort"), "no-such-pack"),
])  # fmt: skip
def test_what_cannot_be_used_is_two(
    capsys: pytest.CaptureFixture[str], station: str, words: tuple[str, ...], code: str
) -> None:
    ended, out, err = run(capsys, station, *words)
    assert (ended, out) == (2, "")
    assert f"[{code}]" in err or not code
    assert err.strip()


def test_a_missing_file_is_two(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "nowhere.yaml", "load-rejection")[0] == 2


def test_the_nearest_event_is_named(capsys: pytest.CaptureFixture[str], station: str) -> None:
    assert "write `load-pickup`" in run(capsys, station, "load-pick-up")[2]


def test_missing_figures_are_assumed_only_where_one_asks(capsys: pytest.CaptureFixture[str], station: str) -> None:
    text = Path(station).read_text(encoding="utf-8")
    begin = text.index("    regulator:")
    Path(station).write_text(text[:begin] + text[text.index("loads:") :], encoding="utf-8")
    code, _, err = run(capsys, station, "load-rejection")
    assert code == 2
    assert "with --assume 3 s is taken" in err
    code, out, _ = run(capsys, station, "load-rejection", "--assume")
    assert code in (0, 1)
    assert "ASSUMED" in out


def test_a_row_of_events(capsys: pytest.CaptureFixture[str], station: str) -> None:
    code, out, _ = run(capsys, station, "load-rejection", "--every", "30 s", "--times", "3", "--format", "json")
    data = json.loads(out)
    events = [m["time"] for m in data["nominal"]["moments"] if m["what"] == "event"]
    assert code == 0
    assert events == [pytest.approx(t) for t in (0.0, 15.0, 30.0, 45.0, 60.0)]
    peaks = [max(v for t, v in zip(trace["times"], trace["values"], strict=True) if begin <= t <= begin + 5)
             for trace in data["nominal"]["traces"][:1] for begin in (0.0, 30.0, 60.0)]  # fmt: skip
    assert peaks == [pytest.approx(259.439, rel=1e-3)] * 3


def test_lasting(capsys: pytest.CaptureFixture[str], station: str) -> None:
    _, out, _ = run(capsys, station, "load-rejection", "--lasting", "10 min", "--format", "json")
    assert json.loads(out)["nominal"]["traces"][0]["times"][-1] == pytest.approx(599.0)


def test_csv_goes_to_a_file(capsys: pytest.CaptureFixture[str], station: str, tmp_path: Path) -> None:
    target = tmp_path / "traces.csv"
    code, out, _ = run(capsys, station, "load-rejection", "--format", "csv", "--out", str(target))
    assert (code, out) == (0, "")
    rows = list(csv.DictReader(target.read_text(encoding="utf-8").splitlines()))
    assert {row["figure"] for row in rows} == {"current", "output", "bus voltage"}
    assert max(float(row["value"]) for row in rows if row["figure"] == "current") == pytest.approx(259.439, rel=1e-5)


def test_a_file_is_not_written_over_the_system(capsys: pytest.CaptureFixture[str], station: str) -> None:
    before = Path(station).read_text(encoding="utf-8")
    assert run(capsys, station, "load-rejection", "--format", "csv", "--out", station)[0] == 2
    picture = Path(station).with_suffix(".svg")
    picture.write_text(before, encoding="utf-8")
    assert run(capsys, str(picture), "load-rejection", "--picture", str(picture))[0] == 2
    assert Path(station).read_text(encoding="utf-8") == picture.read_text(encoding="utf-8") == before


def test_a_picture_beside_the_report(capsys: pytest.CaptureFixture[str], station: str, tmp_path: Path) -> None:
    pytest.importorskip("matplotlib")
    target = tmp_path / "picture.svg"
    code, out, _ = run(capsys, station, "load-rejection", "--picture", str(target))
    assert code == 0
    assert "What happens" in out
    assert target.read_text(encoding="utf-8").lstrip().startswith("<?xml")


def test_a_picture_without_the_extra(
    capsys: pytest.CaptureFixture[str], station: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    code, out, err = run(capsys, station, "load-rejection", "--picture", str(tmp_path / "picture.svg"))
    assert (code, out) == (2, "")
    assert "limitrules[pictures]" in err


def test_the_reserve_is_no_loss(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, LOOKOUT, "reserve-floor")
    assert code == 0
    assert "SUPPLY IS LOST" in out


def test_help_lists_every_event(capsys: pytest.CaptureFixture[str]) -> None:
    from limitrules.commands.rehearse import EPILOG
    from limitrules.simulate.events import EVENTS

    listed = {line.split()[0]: " ".join(line.split()[1:]) for line in EPILOG.splitlines()[1:]}
    assert listed == {event.name: event.title for event in EVENTS.values()}
