"""A module that has grown long has a seam somewhere."""

from __future__ import annotations

from tests.house.tree import modules

MOST_LINES = 450


def test_no_module_is_long() -> None:
    lengths = {name: len(module.text.splitlines()) for name, module in modules().items()}
    assert lengths
    assert {name: length for name, length in lengths.items() if length >= MOST_LINES} == {}
