"""The wheel holds what it should, and works where nothing else of the project is."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import zipfile
from email.message import Message
from email.parser import Parser
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from limitrules.foundation.version import VERSION
from tests.house.installed import Installed, installed, wheel
from tests.house.tree import ROOT

pytestmark = pytest.mark.wheel

KINDS = {
    "code": r"limitrules/([a-z_]+/)*[a-z_]+\.py",
    "type marker": r"limitrules/py\.typed",
    "grammar": r"limitrules/language/[a-z_]+\.lark",
    "rulepack checked beforehand": r"limitrules/rules/checked/[a-z0-9-]+\.json",
    "vocabulary": r"limitrules/model/vocabularies/[a-z_]+\.yaml",
    "vocabulary read beforehand": r"limitrules/model/vocabularies/[a-z_]+\.json",
    "rulepack": r"limitrules/_shipped/rulepacks/[a-z0-9-]+/[a-z0-9-]+\.yaml",
    "schema": r"limitrules/_shipped/schemas/[a-z]+-[0-9]+\.json",
    "metadata": rf"limitrules-{re.escape(VERSION)}\.dist-info/(METADATA|RECORD|WHEEL|entry_points\.txt)",
    "licence": rf"limitrules-{re.escape(VERSION)}\.dist-info/licenses/docs/LICENSE",
}
CORE = {"attrs", "jsonschema", "lark", "pyyaml"}
EXAMPLE = "docs/examples/lakeside.yaml"
SURVEY_SCHEMA = ROOT / "schemas" / "survey-1.json"


def names_in(wheel: Path) -> list[str]:
    with zipfile.ZipFile(wheel) as archive:
        return archive.namelist()


def metadata_of(wheel: Path) -> Message:
    with zipfile.ZipFile(wheel) as archive:
        return Parser().parsestr(archive.read(f"limitrules-{VERSION}.dist-info/METADATA").decode())


def test_it_holds_these_kinds_of_files_and_no_other(wheel: Path) -> None:
    kinds: dict[str, list[str]] = {kind: [] for kind in KINDS}
    strangers = []
    for name in names_in(wheel):
        matching = [kind for kind, pattern in KINDS.items() if re.fullmatch(pattern, name)]
        for kind in matching:
            kinds[kind].append(name)
        if not matching:
            strangers.append(name)
    assert strangers == []
    assert [kind for kind, names in kinds.items() if not names] == []


@pytest.mark.parametrize(
    ("folder", "inside"),
    [
        ("limitrules", "limitrules"),
        ("rulepacks", "limitrules/_shipped/rulepacks"),
        ("schemas", "limitrules/_shipped/schemas"),
    ],
)
def test_nothing_of_the_checkout_is_left_out(wheel: Path, folder: str, inside: str) -> None:
    top = ROOT / folder
    wanted = {
        f"{inside}/{path.relative_to(top).as_posix()}"
        for path in top.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert wanted
    assert wanted <= set(names_in(wheel))


def test_the_core_depends_on_four_libraries(wheel: Path) -> None:
    stated = metadata_of(wheel).get_all("Requires-Dist") or []
    core = {re.split(r"[ <>=!~;\[]", line)[0].lower() for line in stated if "extra ==" not in line}
    assert core == CORE


def test_it_states_its_version_licence_and_oldest_python(wheel: Path) -> None:
    metadata = metadata_of(wheel)
    assert metadata["Version"] == VERSION
    assert metadata["License-Expression"] == "Apache-2.0"
    assert metadata["License-File"] == "docs/LICENSE"
    assert metadata["Requires-Python"] == ">=3.11"


def test_the_command_tells_its_version(installed: Installed, tmp_path: Path) -> None:
    run = subprocess.run([installed.command, "--version"], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert run.stdout.split() == ["limitrules", VERSION]


def test_the_command_surveys_an_example(installed: Installed, tmp_path: Path) -> None:
    shutil.copy(ROOT / EXAMPLE, tmp_path / "system.yaml")
    command = [installed.command, "survey", "system.yaml", "--format", "json"]
    run = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert run.returncode == 1, run.stderr
    assert run.stderr == ""
    report = json.loads(run.stdout)
    Draft202012Validator(json.loads(SURVEY_SCHEMA.read_text(encoding="utf-8"))).validate(report)
    assert len(report["findings"]) > 10


def test_a_document_that_cannot_be_used_is_told_without_a_traceback(installed: Installed, tmp_path: Path) -> None:
    (tmp_path / "system.yaml").write_text("limitrules: system/1\nname: x\npacks: {north: {charge: {rated: 5 V}}}\n")
    command = [installed.command, "survey", "system.yaml"]
    run = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert run.returncode == 2
    assert "system.yaml:3:" in run.stderr
    assert "Traceback" not in run.stderr + run.stdout


def test_the_installed_package_is_typed_and_does_not_see_the_checkout(installed: Installed, tmp_path: Path) -> None:
    code = (
        "import limitrules, pathlib, sys; from limitrules.foundation.shipped import shipped;"
        "home = pathlib.Path(limitrules.__file__).parent;"
        "print((home / 'py.typed').is_file(), shipped('rulepacks').is_relative_to(home), home)"
    )
    run = subprocess.run([installed.python, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True)
    typed, own, home = run.stdout.split(maxsplit=2)
    assert (typed, own) == ("True", "True")
    assert not Path(home.strip()).is_relative_to(ROOT)
