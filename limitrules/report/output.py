"""Where a report goes: a file that is whole or not there, and never one of the files that were read."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from limitrules.foundation.diagnostics import InputError, refuse

_FRESH_MODE = 0o666


def check_target(target: Path, read: Iterable[Path]) -> None:
    """Refuse a target that cannot be a report, before any work is done. ``read`` are the inputs: files or folders."""
    if target.is_dir():
        raise refuse("out-is-folder", "the report cannot take the place of a folder", where=str(target),
                     advice="name a file in it")  # fmt: skip
    if target.exists() and not target.is_file():
        raise refuse("out-is-no-file", "the report can only be written to an ordinary file", where=str(target),
                     advice="leave out --out to see the report here")  # fmt: skip
    if not target.resolve().parent.is_dir():
        raise refuse("out-folder-missing", "the folder for the report is not there", where=str(target),
                     advice=f"make the folder {target.parent} first, or name another")  # fmt: skip
    for path in read:
        if _is_within(target, path):
            raise refuse("out-is-input", "the report would overwrite what it is a report of", where=str(target),
                         advice="name another file")  # fmt: skip


def write_whole(target: Path, text: str) -> None:
    """Write a text as UTF-8 so that a reader sees the old file or the new one, never half of it.

    Raises InputError where the file cannot be written.
    """
    place = target.resolve()
    try:
        _replace(place, text)
    except OSError as error:
        raise _cannot_write(target, error) from error


def _replace(place: Path, text: str) -> None:
    import tempfile

    handle, name = tempfile.mkstemp(prefix=f".{place.name}.", dir=place.parent)
    beside = Path(name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", errors="replace", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        beside.chmod(place.stat().st_mode & 0o7777 if place.exists() else _FRESH_MODE & ~_umask())
        beside.replace(place)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise


def _is_within(target: Path, path: Path) -> bool:
    if path.is_dir():
        return target.resolve().is_relative_to(path.resolve())
    if target.exists() and path.exists():
        return target.samefile(path)
    return target.resolve() == path.resolve()


def _umask() -> int:
    # The only way to read it is to set it.
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def _cannot_write(target: Path, error: OSError) -> InputError:
    reason = error.strerror or type(error).__name__
    return refuse("out-not-written", f"the report cannot be written: {reason}", where=str(target),
                  advice="name a file in a folder that you may write to")  # fmt: skip
