"""Headroom and counts in words: what is rounded is rounded away from an all-clear."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from limitrules.foundation.figures import difference, level, number
from limitrules.rules.findings import Headroom

SHARE_DIGITS = 3
_WORDS = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"]


def headroom_words(headroom: Headroom) -> str:
    """``headroom -4.2 A (-3.5 %), worst -6 A (-5 %)``; the worst is rounded down."""
    if headroom.nominal is not None and headroom.nominal == headroom.worst and headroom.tight:
        return f"headroom {_worst(headroom)}, nominal and worst"
    nominal = "not known" if headroom.nominal is None else _amount(headroom, headroom.nominal, 0)
    return f"headroom {nominal}, {worst_words(headroom)}"


def worst_words(headroom: Headroom) -> str:
    """``worst -6 A (-5 %)``, or that it has no bound or is only known from one side."""
    if headroom.worst is None:
        return "worst without bound"
    return f"worst {_worst(headroom)}{'' if headroom.tight else ' or better'}"


def limit_words(headroom: Headroom) -> str:
    """``limit 118 A``, empty where the rule has none."""
    return "" if headroom.limit is None else f"limit {level(headroom.limit, headroom.unit)}"


def figure_words(headroom: Headroom) -> str:
    """The figure held against the limit; empty where the rule compares none."""
    return "" if headroom.figure is None else level(headroom.figure, headroom.unit)


def count_words(count: int, one: str = "", many: str = "") -> str:
    """``two findings``, ``14 findings``; without a noun the number alone."""
    text = _WORDS[count] if 0 <= count < len(_WORDS) else str(count)
    noun = one if count == 1 else (many or one + "s" if one else "")
    return f"{text} {noun}".strip()


def joined(items: Iterable[str], last: str = "and") -> str:
    """``a, b and c``."""
    parts = list(items)
    return "".join(parts) if len(parts) < 2 else ", ".join(parts[:-1]) + f" {last} " + parts[-1]


def _worst(headroom: Headroom) -> str:
    assert headroom.worst is not None
    return _amount(headroom, headroom.worst, -1)


def _amount(headroom: Headroom, value: Fraction, towards: int) -> str:
    text = difference(value, headroom.unit, towards)
    # A share of an absolute temperature depends on where the scale begins, so it says nothing.
    if not headroom.limit or headroom.unit.is_temperature or text.startswith("just"):
        return text
    share = number(100 * value / abs(headroom.limit), SHARE_DIGITS, towards)
    # Beside a headroom in percent, a second percentage has to say of what.
    return f"{text} ({share} % of the limit)" if headroom.unit.symbol == "%" else f"{text} ({share} %)"
