"""The top level of the repository holds what was agreed and nothing else."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from tests.house.tree import ROOT

AGREED = {"README.md", "DEVELOPERS.md", "pyproject.toml", "limitrules", "rulepacks", "schemas", "docs", "tests"}

in_a_git_checkout = pytest.mark.skipif(
    not (ROOT / ".git").exists() or shutil.which("git") is None,
    reason="not in a git checkout: what is ignored cannot be told",
)


def project_files(root: Path) -> list[str]:
    """The files that belong to the project: tracked ones, and new ones that are not ignored."""
    command = ["git", "-C", str(root), "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    run = subprocess.run(command, capture_output=True, text=True, check=True)
    return [name for name in run.stdout.split("\0") if name]


@in_a_git_checkout
def test_top_level_is_as_agreed() -> None:
    names = {name.split("/")[0] for name in project_files(ROOT) if (ROOT / name).exists()}
    assert {name for name in names if not name.startswith(".")} == AGREED
