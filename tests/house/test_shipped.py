"""The shipped folders are found in a checkout and in an installed package, and nowhere else."""

from __future__ import annotations

from pathlib import Path

import pytest

from limitrules.foundation import shipped as place
from limitrules.foundation.diagnostics import InputError


@pytest.fixture
def beside(tmp_path: Path) -> Path:
    """A package folder with `rulepacks` beside it."""
    package = tmp_path / "limitrules"
    package.mkdir()
    (tmp_path / "rulepacks").mkdir()
    return package


def test_the_checkout_ships_its_own_folders() -> None:
    assert (place.shipped("rulepacks").parent / "limitrules").is_dir()


def test_a_checkout_uses_the_folders_at_its_top(beside: Path) -> None:
    (beside.parent / "pyproject.toml").touch()
    assert place._find("rulepacks", beside) == beside.parent / "rulepacks"


def test_an_installed_package_uses_its_own(beside: Path) -> None:
    own = beside / "_shipped" / "rulepacks"
    own.mkdir(parents=True)
    assert place._find("rulepacks", beside) == own


def test_a_stranger_beside_an_installed_package_is_not_taken(beside: Path) -> None:
    with pytest.raises(InputError) as caught:
        place._find("rulepacks", beside)
    (diagnostic,) = caught.value.diagnostics
    assert diagnostic.code == "shipped-folder-missing"
    assert "`rulepacks`" in diagnostic.message
    assert "install limitrules again" in diagnostic.advice
