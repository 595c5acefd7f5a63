"""The site shows what the program does, or it is not built."""

from __future__ import annotations

from pathlib import Path

import pytest

from sitepages import MAKERS, changes, fill
from sitepages.live import Mismatch, run_fences
from tests.house.tree import ROOT

PAGES = sorted((ROOT / "docs" / "pages").glob("*.md"))
BROKEN = "```yaml file=broken.yaml\nlimitrules: system/1\nname: x\npacks: {north: {charge: {rated: 5 V}}}\n```\n"


@pytest.mark.parametrize("name", sorted(MAKERS))
def test_each_made_part_says_something_and_is_shown(name: str) -> None:
    assert len(MAKERS[name]().split()) > 10
    assert [page for page in PAGES if f"<!-- made: {name} -->" in page.read_text(encoding="utf-8")]


def test_a_marker_that_nothing_is_made_for_is_refused() -> None:
    with pytest.raises(Mismatch, match="nonsense"):
        fill("before\n\n<!-- made: nonsense -->\n")


def test_a_page_without_commands_stays_as_it_is() -> None:
    page = "# A page\n\n```yaml\na: 1\n```\n\n```text\nlimitrules survey x\n```\n"
    assert fill(page) == page


def test_a_command_is_followed_by_what_it_printed() -> None:
    shown = run_fences(BROKEN + "\n```live exit=2\nlimitrules survey broken.yaml\n```\n\nafter\n")
    assert shown.startswith("```yaml\nlimitrules: system/1\n")
    assert "\n```text\n$ limitrules survey broken.yaml\n" in shown
    assert "broken.yaml:3:" in shown
    assert shown.endswith("```\n\nafter\n")


def test_another_exit_code_than_the_stated_one_is_refused() -> None:
    with pytest.raises(Mismatch, match="exit code 2, not 0"):
        run_fences(BROKEN + "\n```live\nlimitrules survey broken.yaml\n```\n")


def test_only_the_program_itself_is_run() -> None:
    with pytest.raises(Mismatch, match="only limitrules itself"):
        run_fences("```live\nls\n```\n")


def test_changes_stand_by_version_and_kind(tmp_path: Path) -> None:
    for name, text in {
        "next/a-word.added.md": "Something\nnew.\n",
        "0.9.0/a.fixed.md": "Old.",
        "0.10.0/b.verdicts.md": "Newer.",
        "0.10.0/a.removed.md": "Gone.",
    }.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text)
    lines = [line for line in changes.page(tmp_path).splitlines() if line]
    assert lines == [
        "## Not yet released", "### Added", "- Something new.",
        "## 0.10.0", "### Removed", "- Gone.", "### Changes that can alter a verdict", "- Newer.",
        "## 0.9.0", "### Fixed", "- Old.",
    ]  # fmt: skip


@pytest.mark.parametrize("name", ["a.md", "a.news.md", "A B.added.md", "a.added.txt"])
def test_a_change_with_another_name_is_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / "next").mkdir()
    (tmp_path / "next" / name).write_text("x")
    with pytest.raises(Mismatch, match="is not named"):
        changes.page(tmp_path)


def test_a_change_is_made_in_the_file_and_shown() -> None:
    change = "```diff file=broken.yaml\n-name: x\n+name: y\n+site: {mode: grid}\n```\n"
    shown = run_fences(BROKEN + change + "```live exit=2\nlimitrules survey broken.yaml\n```\n")
    assert change.replace(" file=broken.yaml", "") in shown
    assert "broken.yaml:4:" in shown


def test_a_change_of_what_does_not_stand_there_is_refused() -> None:
    with pytest.raises(Mismatch, match="stands 0 times"):
        run_fences(BROKEN + "```diff file=broken.yaml\n-name: z\n+name: y\n```\n")
