"""Fixtures: one wheel, and one clean environment with it."""

from __future__ import annotations

import shutil
import subprocess
import sys
import venv
from pathlib import Path

import pytest
from attrs import frozen

from tests.house.tree import ROOT

_BUILD = "from hatchling.build import build_wheel; import sys; print(build_wheel(sys.argv[1]))"
_NOT_SOURCE = shutil.ignore_patterns(".git", ".venv*", ".*_cache", ".hypothesis", "__pycache__", "build", "dist")


@frozen
class Installed:
    """An environment outside the repository that holds the wheel and what it depends on."""

    folder: Path

    @property
    def command(self) -> str:
        return str(self.folder / ("Scripts/limitrules.exe" if sys.platform == "win32" else "bin/limitrules"))

    @property
    def python(self) -> str:
        return str(self.folder / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python"))


@pytest.fixture(scope="session")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from a copy so that nothing lands in the checkout."""
    source = tmp_path_factory.mktemp("source") / "limitrules"
    shutil.copytree(ROOT, source, ignore=_NOT_SOURCE)
    target = tmp_path_factory.mktemp("wheel")
    _run([sys.executable, "-c", _BUILD, str(target)], cwd=source)
    (built,) = target.glob("*.whl")
    return built


@pytest.fixture(scope="session")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """A clean environment into which pip put the wheel as a user would."""
    place = Installed(tmp_path_factory.mktemp("clean"))
    venv.create(place.folder, with_pip=True)
    _run([place.python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", str(wheel)])
    return place


def _run(command: list[str], cwd: Path | None = None) -> None:
    run = subprocess.run(command, cwd=cwd, capture_output=True, text=True, check=False)
    assert run.returncode == 0, f"{' '.join(command)}\n{run.stdout}{run.stderr}"
