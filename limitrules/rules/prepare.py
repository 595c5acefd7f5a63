"""Reads the shipped vocabularies and checks the shipped rulepacks beforehand.

``python -m limitrules.rules.prepare`` is to be run whenever one of them, or code that reads them, has changed; a test
tells when it was forgotten.
"""

from __future__ import annotations

from pathlib import Path

from limitrules.foundation import tree
from limitrules.foundation.source import Source
from limitrules.model.prepared import prepared_file as vocabulary_file
from limitrules.model.prepared import vocabulary_text
from limitrules.model.vocabulary import SHIPPED, read_vocabulary
from limitrules.rules.discovery import Found, bundled
from limitrules.rules.draft import MANIFEST, parse_draft
from limitrules.rules.prepared import FOLDER, prepared_file, rulepack_text
from limitrules.rules.rulepack import check_drafts


def prepared_texts() -> dict[Path, str]:
    """What every prepared file has to hold."""
    texts = {vocabulary_file(file): _vocabulary_text(file) for file in SHIPPED.glob("*.yaml")}
    for item in bundled():
        draft = parse_draft(source_of(item), str(item.folder))
        # What says something to other rulepacks is to be read together with them.
        if not draft.overrides and "extends" not in draft.top.entries:
            rulepack = check_drafts([draft])[0]
            texts[prepared_file(rulepack)] = rulepack_text(rulepack, draft.source.text)
    return texts


def source_of(found: Found) -> Source:
    """The document of a rulepack, named as a survey names it."""
    return Source(found.shown, tree.read_source(found.folder / MANIFEST).text)


def _vocabulary_text(file: Path) -> str:
    found = read_vocabulary(file)
    return vocabulary_text(file, found.name, found.version, found.kinds, found.variants)


def write() -> None:
    """Write every prepared file, and take away those of rulepacks that are no more."""
    texts = prepared_texts()
    FOLDER.mkdir(exist_ok=True)
    for left in set(FOLDER.glob("*.json")) - texts.keys():
        left.unlink()
    for place, text in texts.items():
        place.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write()
