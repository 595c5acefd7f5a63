"""Speed against stated rivals, in one run: `python -m tests.bench [--json FILE]`.

Needs the extras `bench` and `test`. Ends with 1 where a figure misses its limit and with 2 where both sides do not
agree.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
from importlib.util import find_spec
from pathlib import Path

from tests.bench.documents import ROOT
from tests.bench.measured import Disagreement, Measured
from tests.bench.works import everything

METHOD = (
    "Both sides take turns in one process (in processes of their own for the cold survey), many times each, and the "
    "shortest time of each counts: other jobs on the machine can only lengthen a time. Their ratio can be trusted; "
    "the times themselves, and with them the rows marked absolute, belong to this machine on this day."
)
HEADINGS = ("what", "ours", "rival", "ratio", "limit", "ok")


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description="Speed against stated rivals.")
    parser.add_argument("--json", type=Path, default=ROOT / "build" / "bench.json", metavar="FILE",
                        help="where the figures are written as JSON (default: %(default)s)")  # fmt: skip
    arguments = parser.parse_args()
    missing = [name for name in ("simpleeval", "asteval", "hypothesis", "scipy") if find_spec(name) is None]
    if missing:
        parser.error(f"{' and '.join(missing)} not installed; they come with the extras `bench` and `test`")
    found = []
    try:
        for measured in everything():
            found.append(measured)
            print(f"  measured: {measured.what}", file=sys.stderr)
    except Disagreement as error:
        print(f"error: {error}", file=sys.stderr)
        return 2
    print(table(found))
    arguments.json.parent.mkdir(parents=True, exist_ok=True)
    arguments.json.write_text(json.dumps(data(found), indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    return 0 if all(measured.holds for measured in found) else 1


def table(found: list[Measured]) -> str:
    """The measurements in columns, what they were held against, and how they were taken."""
    rows = [HEADINGS, *(_row(measured) for measured in found)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEADINGS))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    lines += ["", "Rivals:"]
    lines += [f"  {measured.what}: {measured.rival_name or 'absolute'}. {measured.note}".rstrip() for measured in found]
    return "\n".join([*lines, "", METHOD, _machine()])


def _row(measured: Measured) -> tuple[str, ...]:
    unit, ratio, limit = measured.unit, measured.ratio, measured.limit
    bound = ">=" if measured.at_least else "<="
    return (
        measured.what,
        f"{measured.ours:.2f} {unit}",
        f"{measured.rival:.2f} {unit}" if measured.rival is not None else "absolute",
        f"{ratio:.3g}" if ratio is not None else "-",
        "-" if limit is None else f"{bound} {limit:g}" if ratio is not None else f"{bound} {limit:g} {unit}",
        "-" if limit is None else "yes" if measured.holds else "NO",
    )


def _machine() -> str:
    busy = f", {os.getloadavg()[0]:.1f} jobs running" if hasattr(os, "getloadavg") else ""
    return f"Python {platform.python_version()} on {platform.machine()}, {os.cpu_count()} cores{busy}."


def data(found: list[Measured]) -> dict[str, object]:
    """The same for programs."""
    return {
        "method": METHOD,
        "machine": _machine(),
        "measurements": [
            {
                "what": item.what, "ours": item.ours, "rival": item.rival, "unit": item.unit, "ratio": item.ratio,
                "limit": item.limit, "at_least": item.at_least, "ok": item.holds, "against": item.rival_name,
                "note": item.note,
            }
            for item in found
        ],
    }  # fmt: skip


if __name__ == "__main__":
    sys.exit(main())
