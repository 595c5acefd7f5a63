"""The folders that are shipped beside the code: rulepacks and schemas."""

from __future__ import annotations

from pathlib import Path

from limitrules.foundation.diagnostics import refuse

_PACKAGE = Path(__file__).resolve().parent.parent


def shipped(folder: str) -> Path:
    """The place of a shipped folder: inside an installed package, or at the top of a checkout.

    Raises InputError when it is in neither, which means that the installation is incomplete.
    """
    return _find(folder, _PACKAGE)


def _find(folder: str, package: Path) -> Path:
    installed = package / "_shipped" / folder
    if installed.is_dir():
        return installed
    # Beside an installed package stand folders of other people; only a checkout has the project file there.
    checkout = package.parent / folder
    if checkout.is_dir() and (package.parent / "pyproject.toml").is_file():
        return checkout
    raise refuse(
        "shipped-folder-missing",
        f"the folder `{folder}` that belongs to limitrules is not there",
        where=str(installed),
        advice="install limitrules again: this installation is incomplete",
    )
