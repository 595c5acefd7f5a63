"""The HTML report: one file, well-formed, nothing fetched, all of the survey in it and none of it as markup."""

from __future__ import annotations

import re
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

from limitrules import api
from limitrules.cli import main
from limitrules.report.web import survey_html
from limitrules.rules.findings import Consequence, SurveyResult

LAKESIDE = Path(__file__).parents[2] / "docs" / "examples" / "lakeside.yaml"
VOID = {"meta", "br", "img", "hr", "link", "input"}


class Outline(HTMLParser):
    """Tags that close what they opened, the words outside of the style, ids, links and what would be fetched."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.words: list[str] = []
        self.ids: set[str] = set()
        self.links: set[str] = set()
        self.fetched: list[str] = []
        self.headings: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.ids |= {given["id"] or ""} if "id" in given else set()
        if tag == "a":
            self.links.add(given.get("href") or "")
        self.fetched += [value or "" for name, value in attrs if name in ("src", "data", "action", "srcset")]
        if tag in ("script", "link", "iframe", "object"):
            self.fetched.append(tag)
        if re.fullmatch(r"h\d", tag):
            self.headings.append(tag)
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words.append(data)


@cache
def found() -> SurveyResult:
    return api.survey(LAKESIDE)


def outline(text: str) -> Outline:
    made = Outline()
    made.feed(text)
    assert made.open == []
    return made


def test_it_is_well_formed_and_fetches_nothing() -> None:
    text = survey_html(found())
    made = outline(text)
    assert made.fetched == []
    assert "http" not in text
    assert "url(" not in text
    assert {link.removeprefix("#") for link in made.links} <= made.ids
    assert made.headings[0] == "h1"
    assert made.headings.count("h1") == 1


def test_every_finding_and_every_caution_is_in_it() -> None:
    words = " ".join(" ".join(outline(survey_html(found())).words).split())
    for finding in found().findings:
        assert finding.rule in words
    for failing in found().failing(Consequence.OUTAGE):
        assert " ".join(failing.sentence.split()) in words
    assert words.count("Local electrical codes") == 2
    for item in found().missing:
        assert item.path in words


def test_what_a_document_says_is_never_markup(tmp_path: Path) -> None:
    odd = tmp_path / "odd.yaml"
    text = LAKESIDE.read_text(encoding="utf-8")
    odd.write_text(text.replace("name: Lakeside research station", 'name: "<script>alert(1)</script> & co"'))
    html = survey_html(api.survey(odd))
    assert "<script" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; co" in html
    assert outline(html).fetched == []


def test_verdicts_are_told_without_colour() -> None:
    html = survey_html(found())
    for verdict in ("breached", "marginal", "undetermined"):
        assert f'<article class="{verdict}"><h3><span class="verdict">{verdict}</span>' in html


def test_the_command_writes_one_file(tmp_path: Path) -> None:
    target = tmp_path / "survey.html"
    assert main(["survey", str(LAKESIDE), "--format", "html", "--out", str(target)]) == 1
    assert target.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert [path.name for path in tmp_path.iterdir()] == ["survey.html"]
