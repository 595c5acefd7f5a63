"""Lines on a page of limited width: wrapping, colour where asked, and a plain spelling for plain terminals."""

from __future__ import annotations

import re
import textwrap
import unicodedata
from collections.abc import Iterable, Sequence

NARROWEST, WIDEST = 40, 160
USUAL_WIDTH = 100

_BOLD, _OFF = "1", "\033[0m"
COLOURS = {"breached": "1;31", "marginal": "33", "undetermined": "36", "met": "32"}

_GLUE = "\N{NO-BREAK SPACE}"
_KEEP_TOGETHER = re.compile(
    r"(?<=\d) (?=(?:%|[A-Za-z/0-9*]{1,8})(?:[\s,.;:)]|$))"  # a figure and its unit
    r"|(?<=\N{PLUS-MINUS SIGN}) | (?=\.\. )|(?<=\.\.) "  # a tolerance; a range
    r"|(?<=worst) (?=[-\d])|(?<=headroom) (?=[-\d])|(?<=limit) (?=[-\d])"
)
_PLAIN = str.maketrans({
    "\N{PLUS-MINUS SIGN}": "+-", "\N{MINUS SIGN}": "-", "\N{MULTIPLICATION SIGN}": "x", "\N{MIDDLE DOT}": "*",
    "\N{DEGREE SIGN}": "deg", "\N{MICRO SIGN}": "u", "\N{GREEK SMALL LETTER MU}": "u", "\N{OHM SIGN}": "ohm",
    "\N{GREEK CAPITAL LETTER OMEGA}": "ohm", "\N{SQUARE ROOT}": "sqrt ", "\N{LESS-THAN OR EQUAL TO}": "<=",
    "\N{GREATER-THAN OR EQUAL TO}": ">=", "\N{EN DASH}": "-", "\N{EM DASH}": "-", "\N{HORIZONTAL ELLIPSIS}": "...",
    "\N{LEFT SINGLE QUOTATION MARK}": "'", "\N{RIGHT SINGLE QUOTATION MARK}": "'",
    "\N{LEFT DOUBLE QUOTATION MARK}": '"', "\N{RIGHT DOUBLE QUOTATION MARK}": '"', "\N{NO-BREAK SPACE}": " ",
    "\N{SUPERSCRIPT TWO}": "2", "\N{REPLACEMENT CHARACTER}": "?",
})  # fmt: skip


def clean(text: str) -> str:
    """One line without control characters: no text of a document may steer the reader's terminal."""
    line = " ".join(text.split())
    if line.isprintable():
        return line
    return "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in line)


def printable(text: str) -> str:
    """The text with its lines and blanks, without what would steer a terminal."""
    return "".join(
        char if char == "\n" or char.isprintable() or char == _GLUE else "\N{REPLACEMENT CHARACTER}" for char in text
    )


def fitted(text: str, encoding: str | None) -> str:
    """The text as an output of this encoding can carry it: unchanged, or spelled in plain letters."""
    try:
        text.encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        spelled = unicodedata.normalize("NFKD", text.translate(_PLAIN))
        letters = "".join(char for char in spelled if not unicodedata.combining(char))
        return letters.encode("ascii", "replace").decode("ascii")
    return text


class Page:
    """Collects lines. Text is wrapped first and coloured after, so colour never shifts a line."""

    def __init__(self, width: int = USUAL_WIDTH, colour: bool = False) -> None:
        self.width = min(max(width, NARROWEST), WIDEST)
        self._colour = colour
        self._lines: list[str] = []

    def text(self) -> str:
        return "\n".join(self._lines).strip("\n") + "\n"

    def blank(self) -> None:
        if self._lines and self._lines[-1]:
            self._lines.append("")

    def heading(self, text: str) -> None:
        """A heading, set off by an empty line above it."""
        self.blank()
        self._add(self._wrapped(clean(text), 0, 2), _BOLD)

    def line(self, text: str, indent: int = 0, hang: int = 2, verdict: str = "") -> None:
        """A paragraph; its first word is coloured when it is the verdict given."""
        lines = self._wrapped(clean(text), indent, indent + hang)
        self._add(self._tinted(lines, verdict))

    def flow(self, segments: Iterable[str], indent: int = 0, hang: int = 2, verdict: str = "") -> None:
        """Segments side by side, broken between segments where the width ends."""
        lines: list[str] = []
        current = ""
        for segment in filter(None, map(clean, segments)):
            if current and len(current) + 2 + len(segment) <= self.width:
                current += "  " + segment
                continue
            if current:
                lines.append(current)
            start = indent + hang if lines else indent
            *full, current = self._wrapped(segment, start, indent + hang)
            lines += full
        self._add(self._tinted([*lines, current], verdict))

    def table(self, rows: Sequence[Sequence[str]], indent: int = 0) -> None:
        """Rows in columns where they fit side by side, else each row flowing."""
        cells = [[clean(cell) for cell in row] for row in rows]
        if not cells:
            return
        widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
        # All but the last column have to leave it half of the page.
        if indent + sum(widths[:-1]) + 2 * len(widths) > self.width // 2 + self.width // 6:
            for row in cells:
                self.flow(row, indent, hang=4)
            return
        hang = indent + sum(widths[:-1]) + 2 * (len(widths) - 1)
        for row in cells:
            start = " " * indent + "".join(cell.ljust(size + 2) for cell, size in zip(row, widths[:-1], strict=False))
            self._add(_wrap(row[-1], self.width, start, " " * hang) if row[-1] else [start.rstrip()])

    def _wrapped(self, text: str, indent: int, hang: int) -> list[str]:
        # However deep a line stands, room is left to read it.
        deepest = self.width // 2
        return _wrap(text, self.width, " " * min(indent, deepest), " " * min(hang, deepest))

    def _tinted(self, lines: list[str], verdict: str) -> list[str]:
        if not (self._colour and verdict in COLOURS and lines):
            return lines
        return [_tint(lines[0], COLOURS[verdict], verdict), *lines[1:]]

    def _add(self, lines: list[str], style: str = "") -> None:
        painted = [f"\033[{style}m{line}{_OFF}" for line in lines] if style and self._colour else lines
        self._lines += painted


def _tint(line: str, style: str, word: str) -> str:
    blanks = len(line) - len(line.lstrip())
    end = blanks + len(word)
    if line[blanks:end].lower() != word:
        return line
    return f"{line[:blanks]}\033[{style}m{line[blanks:end]}{_OFF}{line[end:]}"


def _wrap(text: str, width: int, first: str, rest: str) -> list[str]:
    if text and len(first) + len(text) <= width:  # most lines fit as they are
        return [first + text]
    lines = textwrap.wrap(
        _KEEP_TOGETHER.sub(_GLUE, text), width, initial_indent=first, subsequent_indent=rest,
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip
    return [line.replace(_GLUE, " ") for line in lines] or [""]
