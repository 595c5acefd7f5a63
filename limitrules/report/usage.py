"""What is said where the words typed make no command, and where limitrules itself is at fault."""

from __future__ import annotations

import re
import textwrap
import traceback
from collections.abc import Iterable
from pathlib import Path

from limitrules.foundation.diagnostics import Diagnostic, listing, nearest
from limitrules.report.layout import USUAL_WIDTH

_PACKAGE = Path(__file__).resolve().parent.parent
_CHOICE = re.compile(r"argument (?P<what>.+?): invalid choice: '(?P<word>.*)' \(choose from (?P<known>.*)\)", re.DOTALL)
_EXTRA = re.compile(r"unrecognized arguments: (?P<words>.*)", re.DOTALL)
_MISSING = re.compile(r"the following arguments are required: (?P<names>.*)")
_NO_VALUE = re.compile(r"argument (?P<what>.*): expected one argument")
_COMMANDS = ("COMMAND", "list|show|prove|new")


def usage_diagnostic(message: str, command: str, options: Iterable[str]) -> Diagnostic:
    """What argparse found wrong with the words typed, in our words, with what was probably meant."""
    usual = f"{command} --help"

    def told(text: str, expected: str = "", advice: str = "") -> Diagnostic:
        return Diagnostic("usage", text, expected=expected, advice=advice or usual, where=command)

    if choice := _CHOICE.match(message):
        word, known = choice["word"], [item.strip("'") for item in choice["known"].split(", ")]
        if choice["what"] not in _COMMANDS:
            return told(f"`{word}` is not a value of {choice['what']}", listing(known), nearest(word, known))
        forgotten = "survey" in known and word.endswith((".yaml", ".yml"))
        meant = f"limitrules survey {word}" if forgotten else nearest(word, known)
        return told(f"`{word}` is not a command", listing(known), meant)
    if extra := _EXTRA.match(message):
        word = extra["words"].split()[0].partition("=")[0]
        if not word.startswith("-"):
            return told(f"`{word}` is one word too many")
        known = [option for option in options if option.startswith("--")]
        return told(f"`{word}` is not an option of {command}", listing(known), nearest(word, known))
    if missing := _MISSING.match(message):
        return told(f"{missing['names']} is missing")
    if lacking := _NO_VALUE.match(message):
        return told(f"{lacking['what']} needs a value after it")
    return told(message)


def own_fault_words(error: BaseException) -> str:
    """One plain paragraph for a failure that nobody foresaw, with the place in our own code."""
    frames = [(Path(frame.filename), frame.lineno) for frame in traceback.extract_tb(error.__traceback__)]
    ours = [(path, line) for path, line in frames if path.is_relative_to(_PACKAGE)]
    place = ""
    if ours:
        path, line = ours[-1]
        place = f" at limitrules/{path.relative_to(_PACKAGE).as_posix()}, line {line}"
    told = (
        "This is our own fault, not yours: limitrules came to a point that it does not know how to handle"
        f" ({type(error).__name__}{place}). It says nothing about your system."
        " Please report it with the command you typed."
        " With LIMITRULES_TRACEBACK=1 set, the same command shows the details."
    )
    return textwrap.fill(told, USUAL_WIDTH, break_on_hyphens=False) + "\n"
