"""One word for one thing, and links that lead somewhere."""

from __future__ import annotations

import re
from pathlib import Path

from tests.house.test_top_level import in_a_git_checkout, project_files
from tests.house.tree import ROOT

TWO_WORDS = re.compile(r"\brule[ -]packs?\b", re.IGNORECASE)
LINK = re.compile(r"\]\((?!https?:|mailto:|#)([^)#\s]+)")

pytestmark = in_a_git_checkout


def texts(*suffixes: str) -> dict[str, str]:
    chosen = [Path(name) for name in project_files(ROOT) if name.endswith(suffixes) and (ROOT / name).is_file()]
    assert chosen
    return {str(name): (ROOT / name).read_text(encoding="utf-8") for name in chosen if name.name != Path(__file__).name}


def test_rulepack_is_one_word() -> None:
    files = texts(".py", ".md", ".yaml", ".yml", ".json", ".lark", ".toml")
    assert [name for name, text in files.items() if TWO_WORDS.search(text)] == []


def test_links_from_the_readme_and_the_developers_page_lead_somewhere() -> None:
    broken = [
        f"{name}: {target}"
        for name in ("README.md", "DEVELOPERS.md")
        for target in LINK.findall((ROOT / name).read_text(encoding="utf-8"))
        if not (ROOT / target).exists()
    ]
    assert broken == []
