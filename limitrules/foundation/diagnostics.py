"""What is said of an input that cannot be used: where, what was found, what was expected, what to do."""

from __future__ import annotations

from collections.abc import Iterable

from attrs import frozen

from limitrules.foundation.source import Span

_EXCERPT_WIDTH = 100


@frozen
class Diagnostic:
    """One mistake in an input.

    ``code`` is a stable slug, ``message`` says what was found, ``expected`` what would have been right in the
    words one types, ``advice`` what to do. ``span`` is None only where there is no text (a missing file).
    """

    code: str
    message: str
    span: Span | None = None
    expected: str = ""
    advice: str = ""
    where: str = ""

    def render(self) -> str:
        """The text shown to a person: place, message, excerpt with a caret, what to do."""
        lines = [f"{self.place}: {self.message} [{self.code}]"]
        if self.span is not None:
            lines += _excerpt(self.span)
        if self.expected:
            lines.append(f"  expected: {self.expected}")
        if self.advice:
            lines.append(f"  try: {self.advice}")
        return "\n".join(lines)

    @property
    def place(self) -> str:
        if self.span is not None:
            return str(self.span)
        return self.where or "input"

    def as_data(self) -> dict[str, object]:
        """Plain data for the JSON output."""
        data: dict[str, object] = {"code": self.code, "message": self.message}
        if self.span is not None:
            data["file"] = self.span.source.name
            data["line"], data["column"] = self.span.source.position(self.span.start)
        elif self.where:
            data["file"] = self.where
        if self.expected:
            data["expected"] = self.expected
        if self.advice:
            data["advice"] = self.advice
        return data


class InputError(Exception):
    """The input cannot be used; carries every diagnostic that was found, not only the first."""

    def __init__(self, diagnostics: Iterable[Diagnostic]) -> None:
        self.diagnostics = tuple(diagnostics)
        super().__init__("\n".join(item.render() for item in self.diagnostics))


def refuse(code: str, message: str, span: Span | None = None, **more: str) -> InputError:
    """An InputError of a single diagnostic, to be raised by the caller."""
    return InputError([Diagnostic(code, message, span, **more)])


def nearest(word: str, names: Iterable[str]) -> str:
    """The name most like ``word``, or an empty text where none is near."""
    import difflib

    candidates = list(names)
    found = difflib.get_close_matches(word, candidates, n=1, cutoff=0.6)
    if found:
        return found[0]
    tails = [name for name in candidates if name.rpartition(".")[2] == word]
    return tails[0] if len(tails) == 1 else ""


def listing(names: Iterable[str], most: int = 8) -> str:
    """``a, b, c or d``, cut after ``most`` names."""
    items = list(names)
    if len(items) > most:
        return ", ".join(items[:most]) + f" and {len(items) - most} more"
    if len(items) < 2:
        return "".join(items)
    return ", ".join(items[:-1]) + " or " + items[-1]


def _excerpt(span: Span) -> list[str]:
    number, column = span.source.position(span.start)
    text = span.source.line(number).replace("\t", " ")
    length = max(1, min(span.end, span.start + len(text) - column + 1) - span.start)
    offset = column - 1
    if len(text) > _EXCERPT_WIDTH:
        left = max(0, min(offset - _EXCERPT_WIDTH // 3, len(text) - _EXCERPT_WIDTH))
        text, offset = text[left : left + _EXCERPT_WIDTH], offset - left
        length = max(1, min(length, len(text) - offset))
    gutter = f"{number:>6} | "
    return [
        gutter + "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in text),
        " " * (len(gutter) - 2) + "| " + " " * offset + "^" * length,
    ]
