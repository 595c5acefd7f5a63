"""The changelog, assembled from one small file for each change."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from sitepages.live import Mismatch

FOLDER = Path(__file__).resolve().parent.parent / "changes"
NEXT = "next"
KINDS = {
    "added": "Added",
    "changed": "Changed",
    "fixed": "Fixed",
    "removed": "Removed",
    "verdicts": "Changes that can alter a verdict",
}


def page(folder: Path = FOLDER) -> str:
    """Every version with its changes, the newest first."""
    versions = sorted((item for item in folder.iterdir() if item.is_dir()), key=_order, reverse=True)
    return "\n".join(line for version in versions for line in _version(version))


def _order(folder: Path) -> tuple[int, ...]:
    return (10**6,) if folder.name == NEXT else tuple(int(part) for part in folder.name.split("."))


def _version(folder: Path) -> Iterator[str]:
    entries: dict[str, list[str]] = {kind: [] for kind in KINDS}
    for path in sorted(folder.iterdir()):
        match = re.fullmatch(r"[a-z0-9-]+\.([a-z]+)\.md", path.name)
        if match is None or match[1] not in KINDS:
            raise Mismatch(f"{path.name} is not named WORDS.KIND.md with KIND one of {', '.join(KINDS)}")
        entries[match[1]].append(" ".join(path.read_text(encoding="utf-8").split()))
    yield f"\n## {'Not yet released' if folder.name == NEXT else folder.name}\n"
    for kind, heading in KINDS.items():
        if entries[kind]:
            yield f"\n### {heading}\n"
            yield from (f"- {entry}" for entry in entries[kind])
