"""`limitrules rulepack new FOLDER`: a small rulepack to begin with."""

from __future__ import annotations

import argparse
from pathlib import Path

from limitrules.commands.common import NOTHING_FAILS, Answer, Arguments, report


def add_options(parser: argparse.ArgumentParser) -> None:
    """What can be said of a new rulepack."""
    parser.add_argument("folder", metavar="FOLDER", type=Path, help="a folder that does not exist yet")


def run(arguments: Arguments) -> Answer:
    """The files that were written, and what to do with them."""
    from limitrules.rules.skeleton import write_skeleton

    files = [str(path) for path in write_skeleton(arguments.folder)]

    def told(**_: object) -> str:
        lines = [*files, "", f"Now: limitrules rulepack prove {arguments.folder}"]
        return "\n".join(lines) + "\n"

    return report(arguments, lambda: {"limitrules": "files/1", "files": files}, told), NOTHING_FAILS
