"""What the YAML parser complains of, in plain words."""

from __future__ import annotations

from typing import Any

from limitrules.foundation.diagnostics import Diagnostic
from limitrules.foundation.source import Source

# Part of the parser's own text -> what is wrong, what to do.
_WORDS = (
    ("mapping values are not allowed", "A second colon stands in this line, or the line is indented wrongly.",
     "put a text that holds a colon in quotes, or put the key on a line of its own"),
    ("could not find expected ':'", "A key stands here without its colon.",
     "write a colon and a blank after the key; check that every quote is closed"),
    ("expected ',' or '}'", "A map in braces is not continued or closed as it should be.",
     "separate its entries with commas and close it with }"),
    ("expected ',' or ']'", "A list in brackets is not continued or closed as it should be.",
     "separate its items with commas and close it with ]"),
    ("did not find expected key", "This line does not fit the lines above it.",
     "check the indentation: entries of one map begin in the same column"),
    ("expected '-' indicator", "This line does not fit the list above it.",
     "begin each item of the list with a dash in the same column"),
    ("block sequence entries are not allowed", "A list item cannot begin here.",
     "put each `- item` on a line of its own"),
    ("unexpected end of stream", "A quoted text begins here and is never closed.", "add the closing quote"),
    ("unknown escape character", "This backslash does not begin anything that is known.",
     "use single quotes, or write the backslash twice"),
    ("violates indentation", "A tab stands where blanks are needed.", "indent with blanks only"),
    ("unexpected document indicator", "A quoted text begins here and is never closed.", "add the closing quote"),
    ("expected <document start>", "The text goes on where the document has ended.",
     "write the whole file as one map of `key: value` lines, or check the indentation"),
    ("expected node content", "A value is missing or cannot begin with this character.",
     "put a text that begins with a special character in quotes"),
    ("alphabetic or numeric character", "A text cannot begin with * or &.", "put it in quotes"),
)  # fmt: skip

# Where the parser names the place at which something began, that is the place to show.
_FROM_THE_BEGINNING = ("unexpected end of stream", "unexpected document indicator", "alphabetic or numeric")
DEEPEST_NESTING = 40


def in_plain_words(source: Source, error: Any, shift: int) -> Diagnostic:
    """A diagnostic for an error of the YAML parser; ``shift`` is what its character counts leave out."""
    problem = getattr(error, "problem", None) or str(error).partition("\n")[0]
    mark = getattr(error, "problem_mark", None)
    context = getattr(error, "context_mark", None)
    if context is not None and any(part in problem for part in _FROM_THE_BEGINNING):
        mark = context
    at = min((mark.index if mark is not None else 0) + shift, len(source.text))
    at = _last_character(source.text, at)
    if "nesting depth" in problem:
        return too_deep(source, at)
    message, advice = _words(problem, source.text[at : at + 1])
    return Diagnostic("not-yaml", message, source.span(at), advice=advice)


def too_deep(source: Source, at: int) -> Diagnostic:
    """Said of values within values within values, without end."""
    message = f"Values are nested more than {DEEPEST_NESTING} deep here."
    return Diagnostic("nested-too-deep", message, source.span(at), advice="write it with fewer levels")


def _words(problem: str, char: str) -> tuple[str, str]:
    if char == "\t":
        return "A tab stands where blanks are needed.", "indent with blanks only"
    if "cannot start any token" in problem:
        return f"A value cannot begin with `{char}`.", "put the text in quotes"
    for part, message, advice in _WORDS:
        if part in problem:
            return message, advice
    return f"This is not valid YAML: {problem}.", "check quotes, brackets and indentation"


def _last_character(text: str, at: int) -> int:
    """The place itself, or the last visible character where the parser points behind the end."""
    if at < len(text):
        return at
    return max(len(text.rstrip()) - 1, 0)
