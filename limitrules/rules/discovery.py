"""Finding rulepacks and functions: bundled ones, folders, and those of installed distributions.

A data rulepack of a distribution is found from the distribution's list of files; none of its code runs. A function
plugin is code, so it runs only when it is named.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from attrs import frozen

from limitrules.foundation.diagnostics import Diagnostic, InputError, listing, nearest, refuse
from limitrules.foundation.shipped import shipped
from limitrules.language.functions import Function, Registry
from limitrules.physics import FUNCTIONS
from limitrules.rules.draft import MANIFEST

if TYPE_CHECKING:
    from importlib.metadata import EntryPoint

RULEPACK_POINTS, FUNCTION_POINTS = "limitrules.rulepacks", "limitrules.functions"
_INFOS = (".dist-info", "egg-info")


@frozen
class Found:
    """A rulepack that can be named. ``origin`` is ``bundled``, ``folder`` or the name of a distribution."""

    name: str
    folder: Path
    origin: str

    @property
    def shown(self) -> str:
        """What its document is called in messages: the path as typed, or the name for what is shipped."""
        return str(self.folder / MANIFEST) if self.origin == "folder" else f"{self.name}/{MANIFEST}"


def bundled() -> list[Found]:
    """The rulepacks that ship with the product, by name."""
    folders = sorted(path.parent for path in shipped("rulepacks").glob(f"*/{MANIFEST}"))
    return [Found(folder.name, folder, "bundled") for folder in folders]


def installed() -> list[Found]:
    """The rulepacks that installed distributions announce under the entry point group ``limitrules.rulepacks``."""
    if not _may_be_announced(RULEPACK_POINTS):
        return []
    from importlib.metadata import entry_points

    return [found for point in entry_points(group=RULEPACK_POINTS) if (found := _installed(point)) is not None]


def _may_be_announced(group: str) -> bool:
    """False where no distribution can announce anything under a group of entry points.

    Nearly always there is none, and a look into their files tells so in a fraction of the time that it takes to ask
    every distribution.
    """
    if sum(hasattr(finder, "find_distributions") for finder in sys.meta_path) > 1:
        return True  # distributions may stand elsewhere than on the path
    return any(_may_hold(folder, group.encode()) for folder in sys.path)


def _may_hold(folder: str, group: bytes) -> bool:
    """True where a list of entry points in a folder has the group, or where that cannot be told."""
    try:
        with os.scandir(folder or ".") as items:  # a third of the time that paths take
            found = [item.path for item in items if item.name.lower().endswith(_INFOS)]
        return any(group in _entry_points(place) for place in found)
    except FileNotFoundError:
        return False
    except OSError:  # such as an archive, which may hold distributions too
        return True


def _entry_points(place: str) -> bytes:
    """The list of entry points of a distribution; empty where it has none."""
    try:
        with open(f"{place}/entry_points.txt", "rb") as file:
            return file.read()
    except (FileNotFoundError, NotADirectoryError):
        return b""


def _installed(point: EntryPoint) -> Found | None:
    """An entry point ``name = package.folder`` names the folder that holds the manifest."""
    if point.dist is None:
        return None
    folder = Path(str(point.dist.locate_file(point.value.replace(":", "/").replace(".", "/"))))
    return Found(point.name, folder, point.dist.name)


def find(names: Sequence[str | Path] = ()) -> list[Found]:
    """The rulepacks of these names or folders; the bundled ones where none is named.

    Raises InputError for each name that leads nowhere.
    """
    shipped_ones = bundled()
    if not names:
        return shipped_ones
    found: list[Found] = []
    unknown: list[Diagnostic] = []
    for name in names:
        item = _named(str(name), {item.name: item for item in shipped_ones})
        if isinstance(item, Diagnostic):
            unknown.append(item)
        elif item.folder not in [other.folder for other in found]:
            found.append(item)
    if unknown:
        raise InputError(unknown)
    return found


def _named(name: str, shipped_ones: dict[str, Found]) -> Found | Diagnostic:
    if name in shipped_ones:
        return shipped_ones[name]
    path = Path(name)
    if path.is_dir() or path.is_file():
        folder = path if path.is_dir() else path.parent
        if (folder / MANIFEST).is_file():
            return Found(folder.resolve().name, folder, "folder")
        return Diagnostic("no-rulepack", f"the folder `{name}` holds no rulepack", where=name,
                          expected=f"a file `{MANIFEST}` in it")  # fmt: skip
    # Installed distributions are asked last, since that takes long.
    known = {**{item.name: item for item in installed()}, **shipped_ones}
    if name not in known:
        near = nearest(name, known)
        return Diagnostic(
            "no-rulepack",
            f"there is no rulepack `{name}`",
            where=name,
            expected=listing(sorted(known), 20) + ", or a folder",
            advice=f"`{near}`" if near else "",
        )
    item = known[name]
    if (item.folder / MANIFEST).is_file():
        return item
    return Diagnostic("rulepack-incomplete", f"the distribution `{item.origin}` announces the rulepack `{name}`, but "
                      f"there is no `{MANIFEST}` in its folder", where=str(item.folder),
                      advice="install the distribution again, or ask its authors")  # fmt: skip


def load_functions(names: Iterable[str], registry: Registry = FUNCTIONS) -> Registry:
    """The standard functions with those of the named plugins.

    A plugin is an entry point of the group ``limitrules.functions`` that leads to a list of Function. Raises
    InputError where one is unknown or broken; a broken one is never passed over.
    """
    from importlib.metadata import entry_points

    points = {point.name: point for point in entry_points(group=FUNCTION_POINTS)}
    for name in names:
        if name not in points:
            near = nearest(name, points)
            raise refuse("no-functions", f"there are no functions named `{name}`", where=name,
                         expected=listing(sorted(points), 20) or "none are installed",
                         advice=f"`{near}`" if near else "")  # fmt: skip
        registry = _extended(registry, name, points[name])
    return registry


def _extended(registry: Registry, name: str, point: EntryPoint) -> Registry:
    where = f"{point.group}: {name} = {point.value}"
    try:
        functions = list(point.load())
    except Exception as error:  # what a plugin raises is not ours to foresee
        raise refuse("functions-broken", f"the functions `{name}` cannot be loaded: {type(error).__name__}: {error}",
                     where=where, advice="mend or uninstall the plugin") from error  # fmt: skip
    wrong = [item for item in functions if not isinstance(item, Function)]
    if wrong:
        raise refuse("functions-broken", f"the functions `{name}` hold {type(wrong[0]).__name__} {wrong[0]!r}",
                     where=where, expected="a list of limitrules.Function")  # fmt: skip
    try:
        return registry.extended(functions)
    except ValueError as error:
        raise refuse("functions-broken", str(error), where=where) from error
