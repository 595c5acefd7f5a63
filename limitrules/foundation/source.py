"""Where a text came from, and places in it."""

from __future__ import annotations

from bisect import bisect_right

from attrs import field, frozen


def _line_starts(text: str) -> tuple[int, ...]:
    starts = [0]
    position = text.find("\n")
    while position >= 0:
        starts.append(position + 1)
        position = text.find("\n", position + 1)
    return tuple(starts)


@frozen(eq=False)
class Source:
    """A named text. ``name`` is what the user typed: a path, or ``<condition>``."""

    name: str
    text: str = field(repr=False)
    _starts: list[tuple[int, ...]] = field(factory=list, init=False, repr=False)

    def position(self, offset: int) -> tuple[int, int]:
        """Line and column of a character offset, both counted from 1."""
        if not self._starts:
            self._starts.append(_line_starts(self.text))
        starts = self._starts[0]
        line = bisect_right(starts, offset)
        return line, offset - starts[line - 1] + 1

    def line(self, number: int) -> str:
        """The text of one line (from 1), without its line break."""
        self.position(0)
        starts = self._starts[0]
        end = starts[number] - 1 if number < len(starts) else len(self.text)
        return self.text[starts[number - 1] : end].rstrip("\r")

    def span(self, start: int, end: int | None = None) -> Span:
        """The place from ``start`` up to ``end``; one character when ``end`` is left out."""
        return Span(self, start, start + 1 if end is None else max(end, start))


@frozen
class Span:
    """Characters ``start`` to ``end`` (exclusive) of a source."""

    source: Source
    start: int
    end: int

    @property
    def line(self) -> int:
        return self.source.position(self.start)[0]

    @property
    def column(self) -> int:
        return self.source.position(self.start)[1]

    @property
    def text(self) -> str:
        return self.source.text[self.start : self.end]

    def __str__(self) -> str:
        line, column = self.source.position(self.start)
        return f"{self.source.name}:{line}:{column}"

    def to(self, other: Span) -> Span:
        """From the start of this place to the end of another in the same source."""
        return Span(self.source, self.start, max(self.end, other.end))
