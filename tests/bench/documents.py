"""The texts that are read: the example, the same at 20,000 lines, and one that is hard on the memory."""

from __future__ import annotations

import random
import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LAKESIDE_FILE = ROOT / "docs" / "examples" / "lakeside.yaml"
LAKESIDE = LAKESIDE_FILE.read_text(encoding="utf-8")
MANY = 20_000


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
