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


_SHARED = ("cells", "sensors")
_TIES = ("like", "feeds", "packs", "converters", "regulators", "loads", "sources", "supplies", "fed_by", "protects",
         "upstream", "interlocked_regulator", "interlocked_source")  # fmt: skip


def site_of(banks: int) -> str:
    """One site with the equipment of the example so many times, each bank of packs tied to its own devices."""
    ids = set(re.findall(r"(?m)^  ([a-z0-9-]+):", LAKESIDE.partition("packs:\n")[2]))
    parts = []
    for section in re.split(r"(?m)^(?=[a-z]+:)", LAKESIDE):
        key, _, body = section.partition("\n")
        if section.startswith("site:"):
            parts.append(re.sub(r"(packs_[a-z_]+): 3\b", rf"\1: {3 * banks}", section))
        elif section.startswith(("#", "limitrules", "name", *_SHARED)):
            parts.append(section)
        else:
            parts += [f"{key}\n", *(_bank(body, ids, number) for number in range(1, banks + 1))]
    return "".join(parts)


def _bank(body: str, ids: set[str], number: int) -> str:
    def renamed(text: str) -> str:
        return re.sub(r"[\w-]+", lambda word: f"{word[0]}-{number}" if word[0] in ids else word[0], text)

    body = re.sub(r"(?m)^  [a-z0-9-]+:", lambda match: renamed(match[0]), body)
    ties = rf"(?<=[{{ ])({'|'.join(_TIES)}): (\[[^\]]*\]|[\w-]+)"
    return re.sub(ties, lambda match: f"{match[1]}: {renamed(match[2])}", body)


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
