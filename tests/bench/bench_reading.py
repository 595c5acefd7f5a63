"""How fast a system document is read, against the usual loader on the same text, and how much memory that takes.

Run by name, on a quiet machine: `pytest tests/bench/bench_reading.py -s`.
"""

from __future__ import annotations

import gc
import random
import re
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest
import yaml

from limitrules.foundation.source import Source
from limitrules.model import quantity
from limitrules.model.system import parse_system
from limitrules.model.vocabulary import load_vocabulary

LAKESIDE = (Path(__file__).parents[2] / "docs" / "examples" / "lakeside.yaml").read_text(encoding="utf-8")
MOST_TIME, MOST_MEMORY = 2, 15


def repeated(lines: int) -> str:
    """The components of the example over and over, under ids of their own."""
    copies = lines // LAKESIDE.count("\n") + 1
    parts = []
    for section in re.split(r"(?m)^(?=[a-z]+:)", LAKESIDE):
        key, _, body = section.partition("\n")
        if section.startswith(("#", "limitrules", "name", "site")):
            parts.append(section)
            continue
        bodies = [re.sub(r"(?m)^  ([a-z0-9-]+):", rf"  \1-{copy}:", body) if copy else body for copy in range(copies)]
        parts += [f"{key}\n", *bodies]
    return "".join(parts)


def short_lines(lines: int) -> str:
    """A document of short lines and values that seldom repeat, which is the hardest for the memory."""
    chance = random.Random(4)
    found = ["limitrules: system/1", "packs:"]
    while len(found) < lines:
        rated, ceiling, delay = chance.randint(80, 200), chance.uniform(80, 200), chance.uniform(1, 9)
        found += [
            f"  p{len(found)}:", f"    cells_series: {chance.randint(4, 30)}", "    charge:", f"      rated: {rated} A",
            f"      ceiling: {ceiling:.2f} A ± {chance.randint(1, 9)} %", "    protection:", "      charge_current:",
            f"        threshold: {rated} A ± 3 %", f"        delay: {delay:.1f} s ± 5 %",
        ]  # fmt: skip
    return "\n".join(found) + "\n"


DOCUMENTS = {"lakeside": LAKESIDE, "lakeside repeated": repeated(20_000), "short lines": short_lines(20_000)}


def best(work: Callable[[], object], times: int = 5) -> float:
    found = []
    for _ in range(times):
        gc.collect()
        begun = time.perf_counter()
        work()
        found.append(time.perf_counter() - begun)
    return min(found)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_time(name: str) -> None:
    text = DOCUMENTS[name]
    vocabulary = load_vocabulary()

    def ours() -> object:
        quantity._known.clear()
        return parse_system(Source(name, text), vocabulary)

    ours()
    usual = best(lambda: yaml.load(text, Loader=yaml.CSafeLoader))
    ratio = best(ours) / usual
    print(f"\n{name}: {text.count(chr(10))} lines, {ratio:.2f} of the usual loader's {usual * 1000:.1f} ms")  # noqa: T201
    assert ratio <= MOST_TIME


@pytest.mark.parametrize("name", ["lakeside repeated", "short lines"])
def test_memory(name: str) -> None:
    text = DOCUMENTS[name]
    size = len(text.encode())
    vocabulary = load_vocabulary()
    parse_system(Source("warm", LAKESIDE), vocabulary)
    quantity._known.clear()
    tracemalloc.start()
    try:
        kept = parse_system(Source(name, text), vocabulary)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    print(f"\n{name}: {peak / size:.1f} of the text's {size} bytes at the peak")  # noqa: T201
    assert kept.components
    assert peak <= MOST_MEMORY * size
