"""Every way in which a document is refused, with the whole of what is said."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.source import Source
from limitrules.foundation.tree import read_tree
from limitrules.model.system import parse_system
from limitrules.model.vocabulary import vocabulary_from
from tests.model.small import small

FOLDER = Path(__file__).parent
SAID = "\n--- is said\n"


def sections(name: str) -> dict[str, tuple[str, str]]:
    """Name -> (document, what is said) of a file of refusals."""
    text = (FOLDER / name).read_text(encoding="utf-8")
    found = {}
    for part in re.split(r"^=== ", text, flags=re.MULTILINE)[1:]:
        title, _, body = part.partition("\n")
        document, _, said = body.partition(SAID)
        found[title] = (document.rstrip("\n") + "\n", said.rstrip("\n"))
    return found


def said_of_system(document: str) -> str:
    with pytest.raises(InputError) as caught:
        parse_system(Source("s.yaml", document), small())
    return str(caught.value)


def said_of_vocabulary(document: str) -> str:
    source = Source("v.yaml", document)
    with pytest.raises(InputError) as caught:
        vocabulary_from(read_tree(source), source)
    return str(caught.value)


def said_of_extension(document: str) -> str:
    source = Source("rulepack.yaml", document)
    with pytest.raises(InputError) as caught:
        small().extended(read_tree(source), source, "local")
    return str(caught.value)


FILES = {
    "refusals.txt": said_of_system,
    "vocabulary_refusals.txt": said_of_vocabulary,
    "extension_refusals.txt": said_of_extension,
}
CASES = [(file, title) for file in FILES for title in sections(file)]


@pytest.mark.parametrize(("file", "title"), CASES, ids=[f"{file.partition('.')[0]}: {title}" for file, title in CASES])
def test_what_is_said(file: str, title: str) -> None:
    document, expected = sections(file)[title]
    assert FILES[file](document) == expected


def test_nothing_was_left_out() -> None:
    assert len(CASES) >= 30
    assert all(said for file in FILES for _, said in sections(file).values())


def write_anew() -> None:
    """Write what is said now into the files, to be read before it is kept."""
    for name, said_of in FILES.items():
        text = (FOLDER / name).read_text(encoding="utf-8").partition("\n=== ")[0].rstrip("\n")
        parts = [
            f"\n\n=== {title}\n{document}{SAID[1:]}{said_of(document)}"
            for title, (document, _) in sections(name).items()
        ]
        (FOLDER / name).write_text(text + "".join(parts) + "\n", encoding="utf-8")


if __name__ == "__main__" and os.environ.get("LIMITRULES_PIN") == "1":
    write_anew()
