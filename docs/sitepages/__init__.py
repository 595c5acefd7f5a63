"""What the site says that the project itself knows best: tables from the code, output of real runs."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from sitepages import api, changes, language, rules, vocabulary
from sitepages.live import Mismatch, run_fences

MAKERS: Mapping[str, Callable[[], str]] = {
    "api": api.page,
    "changes": changes.page,
    "functions": language.functions,
    "grammar": language.grammar,
    "rules": rules.page,
    "units": language.units,
    "vocabulary": vocabulary.page,
}
_MARKER = re.compile(r"^<!-- made: (\w+) -->$", re.MULTILINE)


def fill(markdown: str) -> str:
    """A page with its markers replaced by what they stand for and its commands run."""
    return run_fences(_MARKER.sub(_made, markdown))


def _made(match: re.Match[str]) -> str:
    maker = MAKERS.get(match[1])
    if maker is None:
        raise Mismatch(f"nothing is made under the name {match[1]}")
    return maker()
