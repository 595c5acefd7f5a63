"""Certificates: made for every finding of the examples, confirmed by the checker, and refused when forged."""

from __future__ import annotations

import ast
import copy
import json
import random
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest

from limitrules.api import Survey, load_rulepacks, read_system
from limitrules.engine.certify import Search, certificate_file, certificates
from limitrules.engine.check import Check
from limitrules.foundation.shipped import shipped
from limitrules.language import ground as g
from limitrules.language import nodes as n
from limitrules.language.exactly import point, truth_over
from limitrules.language.parser import parse_clause
from limitrules.model.quantity import Uncertain
from limitrules.recheck import main, recheck, truth_of
from limitrules.reread.claim import Claimed
from limitrules.reread.clauses import Reading
from limitrules.reread.ranges import Refused
from tests.exact.certified import (
    BASES,
    CLOSE,
    CONDITIONS,
    EXAMPLES,
    ROOT,
    Surveyed,
    made,
    surveyed,
    write_rulepack,
    written,
)  # fmt: skip
from tests.exact.forgeries import FORGERIES

# What the checker may refuse to prove, in its own words; anything else is a fault.
REFUSED = ("does not know", "cannot tell which error")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_rulepack(tmp_path_factory.mktemp("conditions"), CONDITIONS)


def test_the_findings_of_the_examples_are_confirmed() -> None:
    shares: Counter[str] = Counter()
    for path in EXAMPLES:
        for certificate in made(path):
            reason = certificate.get("unproven", "")
            shares["unknown function" if "does not know" in reason else reason or "confirmed"] += 1
            if not reason:
                said = surveyed(path).recheck(certificate)
                assert said.startswith(
                    certificate["verdict"] if certificate.get("holds_at", "") is not None else "not met"
                )
    print(dict(shares))  # noqa: T201
    known = shares.total() - shares["unknown function"]
    assert shares["confirmed"] >= 0.97 * known
    assert known >= 0.8 * shares.total()


@pytest.mark.parametrize("path", BASES, ids=lambda path: path.parent.name)
def test_the_findings_of_the_base_systems_are_confirmed(path: Path) -> None:
    unproven = [item["unproven"] for item in made(path) if "unproven" in item]
    assert [reason for reason in unproven if not any(words in reason for words in REFUSED)] == []


def test_each_marginal_finding_of_the_examples_has_a_point_of_either_sort() -> None:
    marginal = [item for path in EXAMPLES for item in made(path) if item["verdict"] == "marginal"]
    marginal = [item for item in marginal if "unproven" not in item]
    assert sum(item.get("holds_at") is not None for item in marginal) >= 0.7 * len(marginal) > 0


def test_headrooms_are_those_of_the_survey() -> None:
    compared = 0
    for path in EXAMPLES:
        survey = surveyed(path).survey
        checks = [check for check in survey.checks if check.verdict is not None]
        for check, certificate in zip(checks, made(path), strict=True):
            is_alone = "headroom" in certificate and isinstance(check.whole, g.Holds)
            if is_alone and certificate["variables"].keys() <= survey.slots.index.keys():
                assert Fraction(certificate["headroom"]) == check.worst(survey.slots).reached
                compared += 1
    assert compared > 25


# the checker's evaluation against the survey's


def value_at(survey: Survey, claim: Claimed, path: str, place: dict[str, Fraction]) -> Fraction | None:
    """The value of a path at a point of the checker's variables: its own one, or the one its sensor shares."""
    if path in place:
        return place[path]
    words = path.split(".")
    for count in range(1, len(words)):
        record, name = survey.system.record(".".join(words[:count])), ".".join(words[count:])
        value = record.values.get(name) if record else None
        if value is not None and isinstance(value.content, Uncertain):
            box = {variable: (at, at) for variable, at in place.items()}
            found = Reading(claim.reading.system, {}, {}, box).attribute(record, name)
            return Fraction(found.low) if found.low == found.high else None
    return None


def compare(survey: Survey, check: Check, claim: Claimed, chance: random.Random) -> Iterator[str]:
    """Where the checker and the survey find different truths: over the box, or at a point of it."""
    whole = check.require if check.condition is None else g.Any((g.Contrary(check.condition), check.require))
    numbers, slots = g.inputs_of(whole), survey.slots
    _, found, reading = claim.over({})
    over = truth_over(whole, slots.box(numbers))
    if None not in (over, truth_of(found)) and over is not truth_of(found):
        yield f"over the box {over}, {truth_of(found)}"
    for _ in range(6):
        place = {
            path: low + (high - low) * Fraction(chance.choice([0, 1, chance.random(), chance.random()]))
            for path, (low, high) in reading.seen.items()
        }
        same = {}
        for number in numbers:
            low, high = slots.ranges[number]
            at = value_at(survey, claim, slots.paths[number], place)
            same[number] = low + (high - low) * Fraction(chance.random()) if at is None else at
        one, other = (
            truth_over(whole, point(same)),
            truth_of(claim.over({path: (at, at) for path, at in place.items()})[1]),
        )
        if one is not other:
            yield f"at a point {one}, {other}"


def differences(source: Surveyed) -> tuple[list[str], int]:
    chance = random.Random(5)
    found, compared = [], 0
    for check in source.survey.checks:
        claim = source.claim(check)
        try:
            found += [f"{check}: {item}" for item in compare(source.survey, check, claim, chance)]
        except Refused as refusal:
            found += [] if "does not know" in str(refusal) else [f"{check}: {refusal}"]
            continue
        compared += 1
    return found, compared


@pytest.mark.parametrize("path", EXAMPLES + BASES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_the_checker_finds_the_truths_of_the_survey(path: Path) -> None:
    found, compared = differences(surveyed(path))
    assert [item for item in found if not item.endswith(REFUSED[1] + " stands here")] == []
    assert compared > 70


def test_the_checker_finds_the_truths_of_other_phrases(folder: Path) -> None:
    found, compared = differences(surveyed(CLOSE, folder))
    assert found == []
    assert compared >= len(CONDITIONS) - 1


def test_every_kind_of_phrase_is_compared() -> None:
    texts = [require for _, require in CONDITIONS.values()]
    used = {type(node).__name__ for text in texts for node in parse_clause(text).node.walk()}
    kinds = {item for item in vars(n).values() if isinstance(item, type) and issubclass(item, n.Node)}
    # Members only stand as arguments of functions that the checker does not know.
    assert {kind.__name__ for kind in kinds} - {"Node", "Each"} == used


# conditions that need a cover of several pieces


def test_covers_of_several_pieces_are_found_and_confirmed(folder: Path) -> None:
    source = surveyed(CLOSE, folder)
    by_rule = {(item["rule"], item["subjects"].get("p", "")): item for item in made(CLOSE, folder)}
    for rule, verdict in (("cut-met", "met"), ("cut-breached", "breached")):
        certificate = by_rule[rule, "packs.north"]
        assert (certificate["verdict"], "unproven" in certificate) == (verdict, False)
        assert certificate["cover"]["cut"] == "packs.north.charge.ceiling"
        assert "pieces" in source.recheck(certificate)
    assert "cut" in by_rule["cut-joined", ""]["cover"]


def test_what_is_not_proven_says_why(folder: Path) -> None:
    unproven = {item["rule"]: item["unproven"] for item in made(CLOSE, folder) if "unproven" in item}
    assert unproven.pop("strange") == "this checker does not know exp"
    assert unproven == {}


def test_a_cover_that_takes_too_many_pieces_is_not_claimed(folder: Path) -> None:
    found = certificates(surveyed(CLOSE, folder).survey, pieces=1)
    certificate = next(item for item in found if item["rule"] == "cut-met")
    assert certificate["cover"] is None
    assert certificate["unproven"] == "no cover was found within 1 piece"


def test_a_value_changed_after_reading_is_not_certified_by_the_document(folder: Path) -> None:
    source = surveyed(CLOSE, folder)
    survey = Survey(source.survey.system, source.survey.rulepacks)
    survey.change("packs.north.charge.ceiling", "80 A ± 1 %")
    found = next(item for item in certificates(survey) if item["rule"] == "cut-met")
    assert found["verdict"] == "breached"
    assert "unproven" in found


def test_parameters_set_by_another_rulepack_are_beyond_the_checker(tmp_path: Path) -> None:
    (tmp_path / "rulepack.yaml").write_text(
        "limitrules: rulepack/1\nname: local\nversion: 1.0.0\nvocabulary: storage\n"
        "overrides: {discharge: {dark_time: 3 d}}\nrules: {}\n"
    )
    packs = load_rulepacks([tmp_path])
    survey = Survey(read_system(EXAMPLES[0], packs), packs)
    found = certificates(survey)
    assert found
    assert all("another rulepack sets" in item["unproven"] for item in found if item["rulepack"]["name"] == "discharge")


def test_a_document_with_additions_to_the_vocabulary_is_beyond_the_checker(tmp_path: Path, folder: Path) -> None:
    (tmp_path / "rulepack.yaml").write_text(
        "limitrules: rulepack/1\nname: rooms\nversion: 1.0.0\nvocabulary: storage\n"
        "extends: {pack: {attributes: {room: {text: true, meaning: The room it stands in.}}}}\n"
        "rules:\n  roomy:\n    title: A condition for tests\n    consequence: advice\n    about: each pack p\n"
        "    require: p.room is stated\n    because: It is so.\n"
    )
    system = tmp_path / "system.yaml"
    system.write_text(CLOSE.read_text("utf-8").replace("limiter: {fitted: yes}", "room: cellar"), "utf-8")
    packs = load_rulepacks([folder, tmp_path])
    found = certificates(Survey(read_system(system, packs), packs))
    assert found
    assert all("adds to" in item["unproven"] for item in found)


# forgeries


def test_a_thousand_forgeries_are_refused(folder: Path) -> None:
    sources = [(surveyed(path), made(path)) for path in EXAMPLES]
    sources.append((surveyed(CLOSE, folder), made(CLOSE, folder)))
    whole = [(source, item) for source, items in sources for item in items if "unproven" not in item]
    chance = random.Random(11)
    done: Counter[str] = Counter()
    while done.total() < 1000:
        forge = FORGERIES[done.total() % len(FORGERIES)]
        source, item = chance.choice(whole)
        forged = copy.deepcopy(item)
        if not forge(forged, chance):
            continue
        rulepack = source.packs[item["rulepack"]["name"]]
        with pytest.raises(Refused):
            pytest.fail(f"{forge.__name__}: {recheck(forged, source.document, rulepack)}\n{json.dumps(forged)}")
        done[forge.__name__] += 1
    assert min(done.values()) >= 80
    assert len(done) == len(FORGERIES)


def test_a_changed_document_or_rule_is_refused_whatever_the_certificate_names() -> None:
    path = EXAMPLES[0]
    source = surveyed(path)
    item = next(item for item in made(path) if "unproven" not in item and len(item["variables"]) > 3)
    name = item["rulepack"]["name"]
    for document, rulepack in (
        (source.document + b"#", source.packs[name]),
        (source.document, source.packs[name] + b"#"),
    ):
        with pytest.raises(Refused, match="another"):
            recheck(item, document, rulepack)
    stated = next(path for path, ends in item["variables"].items() if ends[0] != ends[1])
    low = item["variables"][stated][0]
    forged = copy.deepcopy(item)
    forged["variables"][stated] = [low, low]
    with pytest.raises(Refused, match="ranges"):
        source.recheck(forged)


def test_a_rule_that_does_not_apply_proves_nothing() -> None:
    tried = 0
    for path in EXAMPLES:
        source = surveyed(path)
        for check in source.survey.checks:
            if check.verdict is not None:
                continue
            seen = source.claim(check).over({})[2].seen
            forged = source.head(check) | {
                "variables": {name: [written(low), written(high)] for name, (low, high) in seen.items()},
                "witness": {name: written(low) for name, (low, _) in seen.items()},
                "cover": "decided",
            }
            for verdict in ("met", "breached"):
                with pytest.raises(Refused):
                    source.recheck(forged | {"verdict": verdict})
            tried += 1
    assert tried > 50


def test_values_of_one_sensor_move_together(tmp_path: Path) -> None:
    folder = write_rulepack(
        tmp_path,
        {
            "apart": ("each pack p", "p.discharge.ceiling - p.discharge.rated below 1.5 A"),
            "opposed": ("each pack p", "p.discharge.ceiling + p.discharge.rated below 300 A"),
        },
    )
    source = surveyed(CLOSE, folder)
    claims = {str(check): source.claim(check) for check in source.survey.checks if "south" in str(check)}
    apart, opposed = claims.values()
    _, whole, reading = apart.over({})
    assert reading.seen == {"sensor clamp": (Fraction(-1), Fraction(1))}
    assert truth_of(whole) is None
    assert Search(apart, dict(reading.seen), 20).cover() is not None  # it is 1 A everywhere
    assert Search(opposed, dict(reading.seen), 20).cover() is None  # 299 A and twice what the clamp is off
    assert truth_of(opposed.over({"sensor clamp": (Fraction(1, 2), Fraction(1, 2))})[1]) is False
    assert opposed.headroom({"sensor clamp": (Fraction(1, 2), Fraction(1, 2))}).low == 0


# the program


def test_the_program_says_a_line_for_each_and_how_it_ended(
    tmp_path: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, source = tmp_path / "certificates.json", surveyed(CLOSE, folder)
    data = certificate_file(source.survey)
    data["findings"] = [item for item in data["findings"] if "unproven" not in item]
    file.write_text(json.dumps(data))
    assert main([str(file), str(CLOSE), str(folder)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == len(data["findings"])
    assert all("] confirmed: " in line for line in lines)
    data["findings"][0]["verdict"] = "undetermined"
    file.write_text(json.dumps(data))
    assert main([str(file), str(CLOSE), str(folder)]) == 1
    assert sum("not confirmed: " in line for line in capsys.readouterr().out.splitlines()) == 1
    file.write_text("{")
    assert main([str(file), str(CLOSE), str(folder)]) == main([]) == main([str(tmp_path / "none")]) == 2


def test_the_program_runs_as_a_module(tmp_path: Path) -> None:
    file = tmp_path / "certificates.json"
    file.write_text(json.dumps(certificate_file(surveyed(EXAMPLES[-1]).survey)))
    packs = sorted(shipped("rulepacks").glob("*/"))
    done = subprocess.run(
        [sys.executable, "-m", "limitrules.recheck", str(file), str(EXAMPLES[-1]), *map(str, packs)],
        capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    confirmed = [line for line in lines if "] confirmed: " in line]
    assert len(confirmed) >= 0.8 * len(lines) > 0
    assert all(line in confirmed or any(words in line for words in REFUSED) for line in lines)


# what it is made of


def imported(path: Path) -> set[str]:
    tree = ast.parse(path.read_text("utf-8"))
    found = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    return found | {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}


def test_it_is_small_and_imports_nothing_that_decides() -> None:
    package = ROOT / "limitrules"
    parts = [package / "recheck.py", *sorted((package / "reread").glob("*.py"))]
    lengths = {path.name: len(path.read_text("utf-8").splitlines()) for path in parts}
    assert lengths["recheck.py"] < 150
    assert sum(lengths.values()) < 680
    allowed = ("limitrules.foundation", "limitrules.model", "limitrules.reread", "attrs")
    exact = {"limitrules.language", "limitrules.language.nodes", "limitrules.language.parser"}
    for path in parts:
        strange = {
            name for name in imported(path) - exact
            if name.split(".")[0] not in sys.stdlib_module_names and not name.startswith(allowed)
        }  # fmt: skip
        assert strange == set(), path.name
