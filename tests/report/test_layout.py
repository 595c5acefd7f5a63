from __future__ import annotations

import re

import pytest

from limitrules.report.layout import NARROWEST, Page, clean, fitted, printable

ESCAPE = re.compile(r"\033\[[0-9;]*m")


def test_no_text_of_a_document_steers_the_terminal() -> None:
    assert clean("a\033[31mred\nline\t\x07") == "a\N{REPLACEMENT CHARACTER}[31mred line \N{REPLACEMENT CHARACTER}"
    assert printable("a\033[31m\n  b") == "a\N{REPLACEMENT CHARACTER}[31m\n  b"


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("96 A ± 1.5 %", "96 A +- 1.5 %"),
        ("\N{MINUS SIGN}4 °C", "-4 degC"),
        ("25 mm² · 2 mΩ", "25 mm2 * 2 mohm"),
        ("Älvdalen \N{EN DASH} Łódź", "Alvdalen - ?odz"),
        ("湖", "?"),
    ],
)
def test_a_plain_terminal_gets_a_plain_spelling(text: str, plain: str) -> None:
    assert fitted(text, "ascii") == plain
    assert fitted(text, None) == plain
    assert fitted(text, "utf-8") == text


def test_a_terminal_that_can_show_it_gets_it_unchanged() -> None:
    assert fitted("96 A ± 1.5 %", "latin-1") == "96 A ± 1.5 %"
    assert fitted("96 A ± 1.5 % \N{MINUS SIGN}", "latin-1") == "96 A +- 1.5 % -"
    assert fitted("±", "no-such-encoding") == "+-"


def test_a_figure_is_not_torn_from_its_unit() -> None:
    for width in range(NARROWEST, 80):
        page = Page(width)
        page.line("The ceiling of the pack is 97.44 A ± 1.5 %, above 118 A less 25 % for all of 3.2 s here. " * 3)
        for line in page.text().splitlines():
            assert not re.search(r"(\d|±)$", line), line


def test_lines_keep_to_the_width_unless_a_word_is_longer() -> None:
    page = Page(50)
    page.line("some words " * 30, indent=4)
    page.flow(["first", "a second segment that is rather long and has to be wrapped", "third"], indent=2)
    page.table([("a", "b", "long words " * 10), ("aaaaa", "b" * 30, "c")], indent=2)
    lines = page.text().splitlines()
    assert max(map(len, lines)) <= 50
    assert any(line.startswith("  first") for line in lines)


def test_a_long_path_is_never_cut() -> None:
    page = Page(NARROWEST)
    path = "packs." + "n" * 90 + ".charge.ceiling"
    page.line(path, indent=20)
    assert path in page.text()


def test_colour_changes_no_letter_and_no_line() -> None:
    def filled(colour: bool) -> str:
        page = Page(60, colour)
        page.heading("A heading")
        page.line("BREACHED something that goes on for quite a while, past the end of the line", 2, verdict="breached")
        page.flow(["MET", "all"], verdict="met")
        page.flow(["other words first", "MET"], verdict="met")
        return page.text()

    assert "\033" not in filled(False)
    assert filled(True).count("\033[0m") == 3
    assert ESCAPE.sub("", filled(True)) == filled(False)


def test_an_empty_table_is_nothing() -> None:
    page = Page()
    page.table([])
    assert page.text() == "\n"
