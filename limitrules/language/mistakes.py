"""What is said of a text that is no clause: what stands there, what may stand there, what was probably meant."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from limitrules.foundation.diagnostics import Diagnostic, listing
from limitrules.foundation.source import Span

# What each terminal is called in the words one types.
_WORDS = {
    "AT_OR_BELOW": "`at or below`", "AT_OR_ABOVE": "`at or above`", "BELOW": "`below`", "ABOVE": "`above`",
    "EQUALS": "`equals`", "DIFFERS_FROM": "`differs from`", "LONGER_THAN": "`longer than`",
    "SHORTER_THAN": "`shorter than`", "AT_MOST": "`at most`", "AT_LEAST": "`at least`",
    "COLDER_THAN": "`colder than`", "WARMER_THAN": "`warmer than`", "BETWEEN": "`between`", "WITHIN": "`within`",
    "IS": "`is`", "IN": "`in`", "AND": "`and`", "OR": "`or`", "OTHERWISE": "`otherwise`", "LESS": "`less`",
    "PLUS": "`plus`", "PLUS_OR_MINUS": "`plus or minus`", "ADD": "`+`", "SUBTRACT": "`-`", "MULTIPLY": "`*`",
    "DIVIDE": "`/`", "AT": "`at`", "DOT": "`.`", "UNIT": "a unit", "NUMBER": "a number", "NAME": "a name",
    "STRING": "a quoted word",
    "OVER": "`over`", "WHERE": "`where`", "THEN": "`then`", "ELSE": "`else`", "OF": "`of`", "LPAR": "`(`",
    "RPAR": "`)`", "COMMA": "`,`", "COLON": "`:`", "NOT": "`not`", "IF": "`if`", "$END": "the end",
}  # fmt: skip
_COMPARING = {"AT_OR_BELOW", "AT_OR_ABOVE", "BELOW", "ABOVE", "EQUALS", "DIFFERS_FROM", "LONGER_THAN",
              "SHORTER_THAN", "AT_MOST", "AT_LEAST", "COLDER_THAN", "WARMER_THAN", "BETWEEN", "WITHIN"}  # fmt: skip
_VALUES = {"NUMBER", "NAME", "STRING", "LPAR", "TOTAL", "LOWEST", "HIGHEST", "COUNT", "YES", "NO", "SUBTRACT"}
_OPENING = {"NOT", "IF", "EVERY", "SOME", "NO_SUCH"}
_ARITHMETIC = {"ADD", "SUBTRACT", "MULTIPLY", "DIVIDE"}
# Where one of these is due, what else would continue the phrase is beside the point.
_DUE = ("THEN", "ELSE", "OVER", "COLON", "OF")
_CONTINUING = {"DOT", "LPAR", "AT", "LESS", "PLUS", "PLUS_OR_MINUS", "OTHERWISE", "IN", "IS", "UNIT"}

_COMPARISON = (
    r"(?:at\s+or\s+(?:below|above)|below|above|equals|differs\s+from|between|within|(?:longer|shorter|colder|warmer)"
    r"\s+than|at\s+(?:most|least)|<=|>=|<|>|≤|≥)"
)
_SMALLER, _LARGER = r"(?:less|lower|smaller|fewer)", r"(?:more|greater|higher|larger|bigger)"
_KEYWORD = (
    r"AND|OR|NOT|IF|THEN|ELSE|IS|IN|AT|BELOW|ABOVE|EQUALS|BETWEEN|WITHIN|EVERY|SOME|NO|LESS|PLUS|OTHERWISE|OVER|WHERE"
    r"|TOTAL|LOWEST|HIGHEST|COUNT|OF|THAN|MOST|LEAST"
)

# Ways of writing that people bring along: a pattern, and what to write instead. The first that covers the place of
# the mistake is taken.
_HABITS: tuple[tuple[str, str | Callable[[re.Match[str]], str]], ...] = (
    (r"={2,}", "`equals`"),
    (r"<>|=!|!==|/=", "`differs from`"),
    (r"=\s?<", "`at or below`"),
    (r"=\s?>", "`at or above`"),
    (r"&+", "`and`"),
    (r"\|+", "`or`"),
    (r"!", "`not`"),
    (r"(\d+),(\d+)", r"a decimal point: `\1.\2`"),
    (r"(?<![\w.])\.(\d+)", r"`0.\1`"),
    (r"\d+(?:\.\d+){2,}", "a number with one decimal point"),
    (r"(?<![\w.])(\d+)\.(?!\w)", r"`\1` or `\1.0`"),
    (r"\*\*|\^", "a product: `x * x`"),
    (r"\+/-", "`plus or minus`"),
    (r"\.\.+|…", "`between A and B`"),
    (r"~=?|≈", "`within T of B`"),
    (r"(?<!\w)'([^'\n]*)'?", r'double quotes: `"\1"`'),
    (r"[“”„]([^“”„\"]*)[“”\"]?", r'straight quotes: `"\1"`'),
    (r"'s\b", "a dot: `p.cell`"),
    (r'"[^"]*\Z', 'a closing `"`'),
    (r"\?", "`if A then B else C`"),
    (r";", "one condition; two are joined with `and`"),
    (r"\[[^\]]*\]?", "a dot before an attribute, parentheses around a list"),
    (r"[{}]", "no braces; they stand in `because` alone"),
    (r"\$|€|#|@|\\", "no such sign"),
    (r"\bnot\s+in\b", "`not A in B`"),
    (r"\bis\s+not\s+stated\b", "`is missing`"),
    (r"\bis\s+not\s+missing\b", "`is stated`"),
    (r"\bis\s+not\s+(\w+)", r"`not` before the whole: `not X is \1`"),
    (rf"\b(?:is\s+)?not?\s+{_LARGER}\s+than\b", "`at or below`"),
    (rf"\b(?:is\s+)?not?\s+{_SMALLER}\s+than\b", "`at or above`"),
    (rf"\b(?:is\s+)?{_SMALLER}\s+than\s+or\s+equal(?:\s+to)?\b", "`at or below`"),
    (rf"\b(?:is\s+)?{_LARGER}\s+than\s+or\s+equal(?:\s+to)?\b", "`at or above`"),
    (rf"\b(?:is\s+)?{_SMALLER}\s+than\b", "`below`"),
    (rf"\b(?:is\s+)?{_LARGER}\s+than\b", "`above`"),
    (rf"\bis\s+({_COMPARISON})", r"no `is` before a comparison: `\1`"),
    (r"\bis\s+(?:present|given|known|set|available|there|defined)\b", "`is stated`"),
    (r"\bis\s+(?:absent|empty|none|null|undefined)\b", "`is missing`"),
    (r"\bis\s+(?:true|on)\b", "`is yes`"),
    (r"\bis\s+(?:false|off)\b", "`is no`"),
    (r"\bis\s+equal(?:\s+to)?\b|\bis\s+the\s+same\s+as\b|\bequal(?:\s+to)?\b", "`equals`"),
    (r"\bat\s+or\s+(?:lower|under|beneath|smaller)\b", "`at or below`"),
    (r"\bat\s+or\s+(?:higher|over|larger|greater)\b", "`at or above`"),
    (r"\b(?:must|shall|should|has\s+to)(?:\s+not)?(?:\s+be)?\b", "the bare comparison: `A at or below B`"),
    (r"\b(?:exceeds?|surpass(?:es)?)\b", "`above`"),
    (r"\bunder\b", "`below`"),
    (r"\bsum\s+of\b", "`total of`"),
    (r"\bnumber\s+of\b", "`count of p over p in packs`"),
    (r"\b(?:min|minimum|smallest|least)\s+of\b", "`lowest of`"),
    (r"\b(?:max|maximum|largest|greatest)\s+of\b", "`highest of`"),
    (r"\bfor\s+(?:every|each|all|any|some)\b", "`every x in packs: ...`"),
    (r"\bfor\s+(\w+)\s+in\b", r"`over \1 in`"),
    (r"\b(?:all|each)\s+(\w+)\s+in\b", r"`every \1 in`"),
    (r"\bany\s+(\w+)\s+in\b", r"`some \1 in`"),
    (r"\b(every|some|no|each|all|any)\s+\w+\s+\w+(?=\s*:)", "`every x in packs: ...`"),
    (r"\bcount\s+of\s+(\w+)\s+in\s+([\w.]+)", r"`count of \1 over \1 in \2`"),
    (r"(\d[\d.]*\s?%)\s+of\b", r"a product: `\1 * ...`"),
    (r"\bthan\b", "one of the comparisons, such as `below`"),
    (r"\bbut\b", "`and`"),
    (r"\A\s*(and|or)\b", r"a condition before `\1`"),
    (r"\bunless\b", "`or` with the exception behind it"),
    (r"(?<=\S)\s+if\s+\w+", "parentheses around `if ... then ... else ...`"),
    (r"\b(?:elseif|elif|elsif)\b", "`else if`"),
    (r"\b(lowest|highest|total)\s+of\s+[^(),]+,", r"parentheses around the list: `\1 of (a, b)`"),
    (r"\b(lowest|highest|total)\s+of\s+\([^(),]*\)", r"two or more: `\1 of (a, b)`; or `\1 of p.x over p in packs`"),
    (rf"\b(?:{_KEYWORD})\b(?:\s+(?:{_KEYWORD})\b)*", lambda found: f"small letters: `{found[0].lower()}`"),
    (r"(?<=\w)\(", "`curve at 20 %` to read a curve; no parentheses behind an attribute"),
    (r"\bthe\s+(\w+)", r"`\1` alone"),
)


def syntax_diagnostic(error: Any, text: str, place: Callable[[int, int], Span]) -> Diagnostic:
    """What to say of an error of the parser."""
    from lark.exceptions import UnexpectedToken

    due = set(error.interactive_parser.accepts())
    ended = isinstance(error, UnexpectedToken) and error.token.type == "$END"
    at = len(text.rstrip()) if ended else int(error.pos_in_stream)
    habit = habit_diagnostic(text, at, place)
    if habit is not None:
        return habit
    if ended:
        return Diagnostic("syntax", "the clause ends too early", place(max(0, at - 1), max(at, 1)), _in_words(due))
    found = _word_at(text, at)
    if not found.isprintable() or found.isspace() or not found:
        message = f"an unprintable character stands here (U+{ord(text[at]):04X})" if found else "nothing stands here"
        return Diagnostic("syntax", message, place(at, at + 1), "a plain blank, or nothing")
    return Diagnostic("syntax", f"`{found}` is not understood here", place(at, at + len(found)),
                      _in_words(due) or "the end", _chained(text, at, due))  # fmt: skip


def habit_diagnostic(text: str, at: int, place: Callable[[int, int], Span]) -> Diagnostic | None:
    """What to write instead of a way of writing that people bring along, where one covers the place."""
    for pattern, advice in _HABITS:
        for match in re.finditer(pattern, text):
            if _covers(match, text, at):
                start = match.end() - len(match[0].lstrip())
                found = " ".join(text[start : match.end()].split())
                expected = advice(match) if callable(advice) else match.expand(advice)
                return Diagnostic("syntax", f"`{found}` is not understood here", place(start, match.end()), expected)
    return None


def _covers(match: re.Match[str], text: str, at: int) -> bool:
    """True where the mistake lies in the match; its words may have been taken for names up to its end."""
    if match.start() <= at < match.end() or at == match.end() == len(text.rstrip()):
        return True
    return match.end() < at and (match[0][-1:].isalpha() or match[0][-1:] == ")") and not text[match.end() : at].strip()


def _chained(text: str, at: int, due: set[str]) -> str:
    """What to do about a second comparison behind a first one."""
    if "AND" in due and not due & _COMPARING and re.match(_COMPARISON, text[at:]):
        return "`A between B and C`, or two comparisons joined with `and`"
    return ""


def _word_at(text: str, start: int) -> str:
    match = re.compile(r"\w+|.|$", re.DOTALL).match(text, start)
    return match[0] if match else ""


def _in_words(terminals: set[str]) -> str:
    for name in _DUE:
        if name in terminals:
            return listing([_WORDS[name]] + ([_WORDS["WHERE"]] if "WHERE" in terminals else []))
    words: list[str] = []
    if terminals >= _COMPARING:
        words.append("a comparison (`at or below`, `between` ...)")
        terminals = terminals - _COMPARING
    if terminals >= {"NUMBER", "NAME", "LPAR"}:
        words.append("a value or a name")
        terminals = terminals - _VALUES - _OPENING
    if terminals >= _ARITHMETIC:
        words.append("`+ - * /`")
        terminals = terminals - _ARITHMETIC
    rest = terminals - _CONTINUING if words or "$END" in terminals else terminals
    words += sorted(_WORDS[name] for name in rest if name in _WORDS)
    return listing(words, most=12)
