"""Whole reports, kept as files. With LIMITRULES_PIN=1 set they are written anew, to be read before they are kept."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

EXPECTED = Path(__file__).parent / "expected"


def check(name: str, text: str) -> None:
    """Compare a report with the file that holds what it should be."""
    file = EXPECTED / name
    if os.environ.get("LIMITRULES_PIN") == "1":
        file.write_text(text, encoding="utf-8", newline="\n")
        pytest.skip(f"{name} is written anew")
    assert text == file.read_text(encoding="utf-8")
