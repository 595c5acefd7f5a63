"""Quantities as people write them, `96 A ± 1.5 %`, read into exact numbers in SI."""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache

from attrs import field, frozen

from limitrules.foundation.dimension import NUMBER, Dimension
from limitrules.foundation.exact import parse_decimal, plain_decimal
from limitrules.foundation.units import UNITS, Unit, UnknownUnit, parse_unit, unit_for

ONE = unit_for(NUMBER)
PERCENT = UNITS["%"]
_LONGEST_NUMBER = 40

_NUMBER = r"[+\-\N{MINUS SIGN}]?(?:\d+(?:\.\d+)?|\.\d+)(?:[eE][+-]?\d{1,2}(?!\d))?"
_UNIT = "(?:1/)?[A-Za-z%°℃Ω\N{OHM SIGN}\N{MICRO SIGN}\N{GREEK SMALL LETTER MU}][^\\s\xa0\u202f±+,;().]*?"
_BLANKS = "[ \xa0\u202f]*"
_ONE_QUANTITY = rf"({_NUMBER}){_BLANKS}({_UNIT}|)"
_SIMPLE = re.compile(rf"{_ONE_QUANTITY}\Z", re.ASCII)
_FORM = re.compile(rf"{_ONE_QUANTITY}(?:{_BLANKS}(±|\+-|\.\.){_BLANKS}{_ONE_QUANTITY})?\Z", re.ASCII)

# What explains a mistake is compiled when there is one.
_NOT_FINITE = r"[+\-\N{MINUS SIGN}]?(\.?(nan|inf|infinity)\b|∞)"
_COMMA = r"([+\-\N{MINUS SIGN}]?\d+),(\d+)(?![\d.,])"
_SEPARATED = r"[+\-\N{MINUS SIGN}]?\d{1,3}([ _'\N{RIGHT SINGLE QUOTATION MARK}\xa0\u202f,]\d{3})+(?!\d)"
_DASHES = "\N{EN DASH}\N{EM DASH}-"
_DASHED = rf"({_NUMBER}) *([^\s\d{_DASHES}]*) *(?:[{_DASHES}]|to|…|\.\.\.) *({_NUMBER}) *(\S+)\Z"


@frozen(weakref_slot=False)
class Uncertain:
    """A number known within bounds: exact, in SI. ``unit`` is the one it was written in.

    ``is_relative``: its tolerance was written as a share of it.
    """

    nominal: Fraction
    low: Fraction
    high: Fraction
    unit: Unit = field(eq=False)
    is_relative: bool = field(default=False, eq=False)

    @property
    def is_exact(self) -> bool:
        return self.low == self.high

    def __str__(self) -> str:
        """Reads back as exactly the same quantity."""
        tolerance = (self.high - self.low) / 2
        text = _written(self.unit.from_si(self.nominal), self.unit)
        if not tolerance:
            return text
        if self.unit.symbol == PERCENT.symbol and tolerance > 1:
            # A tolerance of more than the whole is refused, since it is a mistake nearly always.
            low, high = (_written(self.unit.from_si(end), self.unit) for end in (self.low, self.high))
            return f"{low} .. {high}"
        step = difference_unit(self.unit)
        return f"{text} ± {_written(tolerance / step.factor, step)}"


class QuantityError(ValueError):
    """What is wrong with a text; ``start`` and ``end`` are positions in it."""

    def __init__(self, code: str, message: str, start: int, end: int, expected: str = "", advice: str = "") -> None:
        self.code = code
        self.message = message
        self.start = start
        self.end = end
        self.expected = expected
        self.advice = advice
        super().__init__(message)


def difference_unit(unit: Unit) -> Unit:
    """The unit of differences: K for degC, else the same."""
    return UNITS["K"] if unit.is_temperature else unit


def parse_quantity(text: str, expected: Unit) -> Uncertain:
    """A quantity of the dimension of ``expected``. Raises QuantityError.

    The forms are `96 A`, `96 A ± 1.5 %`, `96 A +- 1.5 A` and `94 A .. 98 A`, whose nominal value is the middle.
    """
    # Remembered by the symbol, which says what the unit is: hashing its exact factor would take longer than reading.
    known = _known.get(expected.symbol)
    if known is None:
        known = _known[expected.symbol] = {}
    found = known.get(text)
    if found is None:
        if len(known) >= _MOST_KNOWN:
            known.clear()
        found = known[text] = _parsed(text, expected)
    return found


_known: dict[str, dict[str, Uncertain]] = {}
_MOST_KNOWN = 4096


def _parsed(text: str, expected: Unit) -> Uncertain:
    simple = _SIMPLE.match(text)
    if simple:
        value, unit = _one(simple, 1, expected)
        return Uncertain(value, value, value, unit)
    match = _FORM.match(text)
    if match is None:
        raise _explain(text, expected)
    value, unit = _one(match, 1, expected)
    if match[3] != "..":
        return _spread(value, unit, _tolerance(match, 4, unit))
    other, _ = _one(match, 4, expected)
    if other < value:
        advice = f"write `{_joined(match, 4)} .. {_joined(match, 1)}`"
        raise QuantityError("reversed-range", "The range begins above its end.", 0, len(text), advice=advice)
    return Uncertain((value + other) / 2, value, other, unit)


def with_tolerance(value: Uncertain, tolerance: str) -> Uncertain:
    """An exact value with a tolerance that stands on its own, `1.5 %` or `1.5 A`. Raises QuantityError."""
    return _spread(value.nominal, value.unit, parse_tolerance(tolerance, value.unit))


def parse_tolerance(text: str, unit: Unit) -> tuple[Fraction, bool]:
    """A tolerance of values in a unit: (share, True) or (amount in SI, False). Raises QuantityError."""
    match = _SIMPLE.match(text)
    if match is None:
        raise _explain(text, PERCENT)
    return _tolerance(match, 1, unit)


def _spread(nominal: Fraction, unit: Unit, tolerance: tuple[Fraction, bool]) -> Uncertain:
    amount, relative = tolerance
    half = abs(nominal) * amount if relative else amount
    return Uncertain(nominal, nominal - half, nominal + half, unit, relative)


def parse_count(text: str) -> Uncertain:
    """A whole number, zero or more. Raises QuantityError."""
    if text.isascii() and text.isdigit() and len(text) <= _LONGEST_NUMBER:
        value = Fraction(int(text))
        return Uncertain(value, value, value, ONE)
    if re.match(_NOT_FINITE, text, re.IGNORECASE):
        raise _not_finite(text)
    match = _SIMPLE.match(text)
    if match and match[2] and _is_unit(match[2]):
        message = f"A count has no unit; `{match[2]}` stands here."
        raise QuantityError("count-with-unit", message, match.start(2), match.end(2), advice=f"write `{match[1]}`")
    message = f"`{text}` is not a count."
    raise QuantityError("not-a-count", message, 0, len(text), expected="a whole number such as 24")


def _is_unit(symbol: str) -> bool:
    try:
        return bool(cached_unit(symbol))
    except UnknownUnit:
        return False


def _one(match: re.Match[str], group: int, expected: Unit) -> tuple[Fraction, Unit]:
    """One number with its unit, in SI; it must have the dimension that is due."""
    number, symbol = match[group], match[group + 1]
    value = _number(match, group)
    if not symbol:
        if expected.dimension == NUMBER and expected.symbol == ONE.symbol:
            return value, ONE
        shown = number + " " + expected.symbol
        message = f"A unit is missing after `{number}`: {due_in(expected)} is due here."
        raise QuantityError(
            "unit-missing",
            message,
            *match.span(group),
            expected=_example(expected),
            advice=f"write `{shown}`" if expected.symbol != "%" else _meant_share(number, value),
        )
    unit = _unit(match, group + 1, expected)
    if unit is not expected and (unit.dimension, unit.is_temperature) != (expected.dimension, expected.is_temperature):
        raise _clash(match, group, unit, expected)
    value = unit.to_si(value)
    if unit.is_temperature and value < 0:
        raise QuantityError(
            "below-absolute-zero",
            f"`{number} {symbol}` is below absolute zero (-273.15 degC).",
            match.start(group),
            match.end(group + 1),
        )
    return value, unit


def _joined(match: re.Match[str], group: int) -> str:
    return f"{match[group]} {match[group + 1]}".rstrip()


def _number(match: re.Match[str], group: int) -> Fraction:
    text = match[group]
    if text.isascii() and text.isdigit() and len(text) <= _LONGEST_NUMBER:
        return Fraction(int(text))
    value = parse_decimal(text) if len(text) <= _LONGEST_NUMBER else None
    if value is None:
        message = f"A number may have {_LONGEST_NUMBER} characters; this one has {len(text)}."
        raise QuantityError("number-too-long", message, *match.span(group))
    return value


def _unit(match: re.Match[str], group: int, expected: Unit) -> Unit:
    symbol = match[group]
    try:
        return cached_unit(symbol)
    except UnknownUnit as error:
        advice = f"write `{error.suggestion}`" if error.suggestion else ""
        message = f"`{symbol}` is not a unit that is known here."
        raise QuantityError("unknown-unit", message, *match.span(group), _example(expected), advice) from None


@lru_cache(maxsize=512)
def cached_unit(symbol: str) -> Unit:
    """As `parse_unit`, remembered. Raises UnknownUnit."""
    return parse_unit(symbol)


def _tolerance(match: re.Match[str], group: int, unit: Unit) -> tuple[Fraction, bool]:
    """(share of the size of the value, True) or (amount in SI, False); `50 % ± 2 %` is 48 % to 52 %."""
    number, symbol = match[group], match[group + 1]
    place = match.start(group), match.end(group + 1)
    amount = _number(match, group)
    step = difference_unit(unit)
    if amount < 0:
        raise QuantityError(
            "negative-tolerance",
            f"The tolerance `{_joined(match, group)}` is negative.",
            *place,
            advice="write it without the minus sign",
        )
    if not symbol:
        if unit.symbol == ONE.symbol:
            return amount, False
        message = f"A unit is missing after the tolerance `{number}`."
        share = f" or `{number} %`" if not unit.is_temperature and step.symbol != "%" else ""
        raise QuantityError("unit-missing", message, *place, advice=f"write `{number} {step.symbol}`{share}")
    given = _unit(match, group + 1, step)
    if given.is_temperature and unit.is_temperature:
        message = "The tolerance of a temperature is a difference, in K."
        raise QuantityError("tolerance-unit", message, *place, advice=f"write `{number} K`")
    if given.symbol == "%" and amount > 100:
        message = f"A tolerance of {number} % is more than the whole."
        raise QuantityError("tolerance-too-large", message, *place, expected="0 % to 100 %")
    if given.symbol == "%" and unit.symbol != "%" and not unit.is_temperature:
        return amount / 100, True
    if given.dimension != unit.dimension or given.is_temperature:
        message = f"The tolerance is {due_in(given)}; the value is {due_in(unit)}."
        share = "" if unit.is_temperature else " or %"
        raise QuantityError("tolerance-unit", message, *place, expected=f"a tolerance in {step.symbol}{share}")
    return amount * given.factor, False


def _clash(match: re.Match[str], group: int, unit: Unit, expected: Unit) -> QuantityError:
    place = match.start(group), match.end(group + 1)
    number, symbol = match[group], match[group + 1]
    if unit.dimension == expected.dimension:
        if expected.is_temperature:
            celsius = plain_decimal(expected.from_si(unit.to_si(_number(match, group))))
            message = f"`{number} {symbol}` is a temperature difference; an absolute temperature in degC is due here."
            return QuantityError(
                "difference-not-temperature",
                message,
                *place,
                advice=f"write `{number} degC`, or `{celsius} degC` if it counts from absolute zero",
            )
        message = f"`{number} {symbol}` is an absolute temperature; a difference in K is due here."
        return QuantityError("temperature-not-difference", message, *place, advice=f"write `{number} K`")
    message = f"`{number} {symbol}` is {_named(unit)} in {symbol}; {due_in(expected)} is due here."
    return QuantityError("dimension-clash", message, *place, expected=_example(expected))


def _meant_share(number: str, value: Fraction) -> str:
    """A bare number up to 1 is more often a whole share than a part of a per cent; the writer has to say."""
    if 0 < abs(value) <= 1:
        return f"write `{plain_decimal(100 * value)} %`, or `{number} %` if a part of one per cent is meant"
    return f"write `{number} %` if that is what is meant"


def _explain(text: str, expected: Unit) -> QuantityError:
    """The most helpful thing that can be said of a text that has none of the forms."""
    whole = 0, max(len(text), 1)
    if re.match(_NOT_FINITE, text, re.IGNORECASE):
        return _not_finite(text)
    comma = re.match(_COMMA, text)
    if comma:
        rest = text[comma.end() :]
        point = f"`{comma[1]}.{comma[2]}{rest}`"
        joined = f" or `{comma[1]}{comma[2]}{rest}`, whichever is meant" if len(comma[2]) == 3 else ""
        message = "A comma stands inside a number."
        return QuantityError("decimal-comma", message, *comma.span(), advice=f"write {point}{joined}")
    separated = re.match(_SEPARATED, text)
    if separated:
        joined = re.sub(r"[^\d+-]", "", separated.group()) + text[separated.end() :]
        message = "The thousands of a number are separated."
        return QuantityError("thousands-separator", message, *separated.span(), advice=f"write `{joined}`")
    dashed = re.match(_DASHED, text)
    if dashed:
        unit = dashed[4]
        advice = f"write `{dashed[1]} {dashed[2] or unit} .. {dashed[3]} {unit}`"
        return QuantityError("not-a-quantity", "A range is written with two dots.", *whole, advice=advice)
    if "+/-" in text or "+-" in text or "±" in text:
        plain = text.replace("+/-", "±")
        advice = f"write `{plain}`" if _FORM.match(plain) else ""
        message = f"`{text}` is not a quantity with its tolerance."
        return QuantityError("not-a-quantity", message, *whole, _example(expected, " ± 1.5 %"), advice)
    message = f"`{text}` is not a quantity." if text else "An empty text is not a quantity."
    return QuantityError("not-a-quantity", message, *whole, _example(expected))


def _not_finite(text: str) -> QuantityError:
    message = f"`{text}` is not a number."
    return QuantityError("not-finite", message, 0, len(text), advice="write `unknown` where the value is not known")


def due_in(unit: Unit) -> str:
    """What is due, in words: ``a current, in A``."""
    return _named(unit) + ("" if unit.symbol == ONE.symbol else f" in {unit.symbol}")


def _named(unit: Unit) -> str:
    """The dimension in words: ``a current``."""
    if unit.is_temperature:
        return "an absolute temperature"
    return named_dimension(unit.dimension)


def named_dimension(dimension: Dimension) -> str:
    """``a current``, ``a plain number or share``."""
    words = str(dimension)
    if words.endswith(")"):
        words = words.rpartition(" (")[0]
    if words.startswith("a "):
        return words
    return ("an " if words[0] in "aeiou" else "a ") + words


def _example(unit: Unit, more: str = "") -> str:
    if unit.symbol == ONE.symbol:
        return f"a plain number or share such as 0.95{more}"
    return f"{_named(unit)} such as {'35' if unit.is_temperature else '96'} {unit.symbol}{more}"


def _written(value: Fraction, unit: Unit) -> str:
    number = plain_decimal(value)
    return number if unit.symbol == ONE.symbol else f"{number} {unit.symbol}"
