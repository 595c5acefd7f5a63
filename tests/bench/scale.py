"""How a survey grows with the site: a whole process over a few hundred packs, with its time and its memory."""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from tests.bench.documents import ROOT, site_of
from tests.bench.measured import Disagreement, Measured

BANKS = (20, 67)
PATIENCE = 90.0


def scale() -> Iterator[Measured]:
    """Seconds and memory of one survey, as information; a survey that takes too long is ended and so reported."""
    for banks in BANKS:
        yield from _grown(banks)


def _grown(banks: int) -> Iterator[Measured]:
    text = site_of(banks)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "site.yaml"
        file.write_text(text, encoding="utf-8")
        seconds, size, ended = _survey(file)
    what = f"survey of {3 * banks} packs, {text.count(chr(10))} lines{'' if ended else ', ended before it was done'}"
    note = "" if ended else f"It was ended after {PATIENCE:.0f} s."
    yield Measured(f"{what}, time", seconds, None, "s", None, "", note=note)
    yield Measured(f"{what}, memory at the peak", size, None, "MB", None, "", note=note)


def _survey(file: Path) -> tuple[float, float, bool]:
    """Seconds, megabytes at the peak, and whether it came to its end."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    begun = time.perf_counter()
    with (file.parent / "out").open("wb") as out:
        process = os.posix_spawn(
            sys.executable, [sys.executable, "-m", "limitrules", "survey", str(file)], environment,
            file_actions=[(os.POSIX_SPAWN_DUP2, out.fileno(), 1), (os.POSIX_SPAWN_DUP2, out.fileno(), 2)],
        )  # fmt: skip
        while True:
            found, status, usage = os.wait4(process, os.WNOHANG)
            if found:
                break
            if time.perf_counter() - begun > PATIENCE:
                os.kill(process, 9)
            time.sleep(0.02)
    seconds, code = time.perf_counter() - begun, os.waitstatus_to_exitcode(status)
    if code not in (0, 1, -9):
        raise Disagreement(f"the survey of a large site ended with {code}: {(file.parent / 'out').read_text()[:2000]}")
    return seconds, usage.ru_maxrss / 1024, code >= 0
