"""Quantities as people write them: exact, and read back as what they were."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limitrules.foundation.exact import plain_decimal
from limitrules.foundation.units import UNITS, Unit, parse_unit
from limitrules.model.quantity import (
    ONE,
    QuantityError,
    Uncertain,
    parse_count,
    parse_quantity,
    parse_tolerance,
    with_tolerance,
)

F = Fraction

AMPERE, CELSIUS, PERCENT, KELVIN = UNITS["A"], UNITS["degC"], UNITS["%"], UNITS["K"]


FORMS: list[tuple[str, str, F | int, F | int, F | int]] = [
    ("96 A", "A", 96, 96, 96),
    ("96A", "A", 96, 96, 96),
    ("96\N{NO-BREAK SPACE}A", "A", 96, 96, 96),
    ("0.096 kA", "A", 96, 96, 96),
    ("-3 mA", "A", F(-3, 1000), F(-3, 1000), F(-3, 1000)),
    ("\N{MINUS SIGN}3 A", "A", -3, -3, -3),
    ("+3 A", "A", 3, 3, 3),
    (".5 A", "A", F(1, 2), F(1, 2), F(1, 2)),
    ("1.5e2 A", "A", 150, 150, 150),
    ("0.1 A", "A", F(1, 10), F(1, 10), F(1, 10)),
    ("96 A ± 1.5 %", "A", 96, F("94.56"), F("97.44")),
    ("96 A +- 1.5 %", "A", 96, F("94.56"), F("97.44")),
    ("96 A±1.5%", "A", 96, F("94.56"), F("97.44")),
    ("96 A ± 500 mA", "A", 96, F("95.5"), F("96.5")),
    ("96 A ± 0 A", "A", 96, 96, 96),
    ("-96 A ± 100 %", "A", -96, -192, 0),
    ("1 A ± 2 A", "A", 1, -1, 3),
    ("94 A .. 98 A", "A", 96, 94, 98),
    ("94A..98A", "A", 96, 94, 98),
    ("94 A .. 0.1 kA", "A", 97, 94, 100),
    ("-2 A .. -1 A", "A", F(-3, 2), -2, -1),
    ("5 A .. 5 A", "A", 5, 5, 5),
    ("35 degC", "degC", F("308.15"), F("308.15"), F("308.15")),
    ("35 °C ± 1 K", "degC", F("308.15"), F("307.15"), F("309.15")),
    ("-14 degC .. 35 degC", "degC", F("283.65"), F("259.15"), F("308.15")),
    ("-273.15 degC", "degC", 0, 0, 0),
    ("5 K", "K", 5, 5, 5),
    ("25 %", "%", F(1, 4), F(1, 4), F(1, 4)),
    # A share with a tolerance in %: points, not a share of the share.
    ("50 % ± 2 %", "%", F(1, 2), F("0.48"), F("0.52")),
    ("50 % ± 10 ppm", "%", F(1, 2), F("0.49999"), F("0.50001")),
    ("-100 % .. 200 %", "%", F(1, 2), -1, 2),
    ("0.95", "1", F("0.95"), F("0.95"), F("0.95")),
    ("95 %", "1", F("0.95"), F("0.95"), F("0.95")),
    ("0.95 ± 0.01", "1", F("0.95"), F("0.94"), F("0.96")),
    ("0.95 ± 2 %", "1", F("0.95"), F("0.931"), F("0.969")),
    ("1 .. 2", "1", F(3, 2), 1, 2),
    ("1..2", "1", F(3, 2), 1, 2),
    ("0.5 1/h", "1/h", F(1, 7200), F(1, 7200), F(1, 7200)),
    ("90 min", "s", 5400, 5400, 5400),
    ("1 J/kg/K ± 10 %", "J/kg/K", 1, F("0.9"), F("1.1")),
    ("7.9 mΩ", "ohm", F("0.0079"), F("0.0079"), F("0.0079")),
    ("35 mm²", "mm2", F("0.000035"), F("0.000035"), F("0.000035")),
]


@pytest.mark.parametrize(("text", "unit", "nominal", "low", "high"), FORMS)
def test_forms(text: str, unit: str, nominal: F, low: F, high: F) -> None:
    expected = ONE if unit == "1" else parse_unit(unit)
    found = parse_quantity(text, expected)
    assert (found.nominal, found.low, found.high) == (nominal, low, high)
    assert parse_quantity(str(found), expected) == found
    assert found.is_exact is (low == high)


def refused(text: str, unit: str) -> QuantityError:
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, ONE if unit == "1" else parse_unit(unit))
    return caught.value


@pytest.mark.parametrize(
    ("text", "unit", "code", "marked", "message", "expected", "advice"),
    [
        ("96", "A", "unit-missing", "96", "A unit is missing after `96`: a current in A is due here.",
         "a current such as 96 A", "write `96 A`"),
        ("0.5", "%", "unit-missing", "0.5", "A unit is missing after `0.5`: a plain number or share in % is due here.",
         "a plain number or share such as 96 %", "write `50 %`, or `0.5 %` if a part of one per cent is meant"),
        ("96 V", "A", "dimension-clash", "96 V", "`96 V` is a voltage in V; a current in A is due here.",
         "a current such as 96 A", ""),
        ("96 %", "A", "dimension-clash", "96 %", "`96 %` is a plain number or share in %; a current in A is due here.",
         "a current such as 96 A", ""),
        ("3 A", "1", "dimension-clash", "3 A", "`3 A` is a current in A; a plain number or share is due here.",
         "a plain number or share such as 0.95", ""),
        ("3 kg*m", "A", "dimension-clash", "3 kg*m",
         "`3 kg*m` is a quantity in m*kg in kg*m; a current in A is due here.", "a current such as 96 A", ""),
        ("96 amps", "A", "unknown-unit", "amps", "`amps` is not a unit that is known here.",
         "a current such as 96 A", "write `A`"),
        ("96 zz", "A", "unknown-unit", "zz", "`zz` is not a unit that is known here.", "a current such as 96 A", ""),
        ("35 K", "degC", "difference-not-temperature", "35 K",
         "`35 K` is a temperature difference; an absolute temperature in degC is due here.", "",
         "write `35 degC`, or `-238.15 degC` if it counts from absolute zero"),
        ("5 degC", "K", "temperature-not-difference", "5 degC",
         "`5 degC` is an absolute temperature; a difference in K is due here.", "", "write `5 K`"),
        ("-300 degC", "degC", "below-absolute-zero", "-300 degC",
         "`-300 degC` is below absolute zero (-273.15 degC).", "", ""),
        ("98 A .. 94 A", "A", "reversed-range", "98 A .. 94 A", "The range begins above its end.", "",
         "write `94 A .. 98 A`"),
        ("2 .. 1", "1", "reversed-range", "2 .. 1", "The range begins above its end.", "", "write `1 .. 2`"),
        ("96 A ± -1 %", "A", "negative-tolerance", "-1 %", "The tolerance `-1 %` is negative.", "",
         "write it without the minus sign"),
        ("96 A ± 101 %", "A", "tolerance-too-large", "101 %", "A tolerance of 101 % is more than the whole.",
         "0 % to 100 %", ""),
        ("96 A ± 1 V", "A", "tolerance-unit", "1 V", "The tolerance is a voltage in V; the value is a current in A.",
         "a tolerance in A or %", ""),
        ("5 K ± 1 degC", "K", "tolerance-unit", "1 degC",
         "The tolerance is an absolute temperature in degC; the value is a temperature difference in K.",
         "a tolerance in K or %", ""),
        ("35 degC ± 1 degC", "degC", "tolerance-unit", "1 degC",
         "The tolerance of a temperature is a difference, in K.", "", "write `1 K`"),
        ("35 degC ± 1 %", "degC", "tolerance-unit", "1 %",
         "The tolerance is a plain number or share in %; the value is an absolute temperature in degC.",
         "a tolerance in K", ""),
        ("96 A ± 1", "A", "unit-missing", "1", "A unit is missing after the tolerance `1`.", "",
         "write `1 A` or `1 %`"),
        ("35 degC ± 1", "degC", "unit-missing", "1", "A unit is missing after the tolerance `1`.", "", "write `1 K`"),
        ("96,5 A", "A", "decimal-comma", "96,5", "A comma stands inside a number.", "", "write `96.5 A`"),
        ("1,234 A", "A", "decimal-comma", "1,234", "A comma stands inside a number.", "",
         "write `1.234 A` or `1234 A`, whichever is meant"),
        ("1,234,567 A", "A", "thousands-separator", "1,234,567", "The thousands of a number are separated.", "",
         "write `1234567 A`"),
        ("1 234.5 A", "A", "thousands-separator", "1 234", "The thousands of a number are separated.", "",
         "write `1234.5 A`"),
        ("1_000 A", "A", "thousands-separator", "1_000", "The thousands of a number are separated.", "",
         "write `1000 A`"),
        ("nan A", "A", "not-finite", "nan A", "`nan A` is not a number.", "",
         "write `unknown` where the value is not known"),
        ("-.Inf", "A", "not-finite", "-.Inf", "`-.Inf` is not a number.", "",
         "write `unknown` where the value is not known"),
        ("∞ A", "A", "not-finite", "∞ A", "`∞ A` is not a number.", "", "write `unknown` where the value is not known"),
        ("94 to 98 A", "A", "not-a-quantity", "94 to 98 A", "A range is written with two dots.", "",
         "write `94 A .. 98 A`"),
        ("94 A-98 A", "A", "not-a-quantity", "94 A-98 A", "A range is written with two dots.", "",
         "write `94 A .. 98 A`"),
        ("96 A +/- 1 A", "A", "not-a-quantity", "96 A +/- 1 A", "`96 A +/- 1 A` is not a quantity with its tolerance.",
         "a current such as 96 A ± 1.5 %", "write `96 A ± 1 A`"),
        ("", "A", "not-a-quantity", "", "An empty text is not a quantity.", "a current such as 96 A", ""),
        ("٣ A", "A", "not-a-quantity", "٣ A", "`٣ A` is not a quantity.", "a current such as 96 A", ""),
        ("1e100 A", "A", "not-a-quantity", "1e100 A", "`1e100 A` is not a quantity.", "a current such as 96 A", ""),
        ("9" * 41 + " A", "A", "number-too-long", "9" * 41,
         "A number may have 40 characters; this one has 41.", "", ""),
    ],
)  # fmt: skip
def test_what_is_said(text: str, unit: str, code: str, marked: str, message: str, expected: str, advice: str) -> None:
    error = refused(text, unit)
    assert (error.code, error.message, error.expected, error.advice) == (code, message, expected, advice)
    assert text[error.start : error.end] == marked


NUMBERS = st.decimals(allow_nan=False, allow_infinity=False, places=6, min_value=-(10**9), max_value=10**9)
SYMBOLS = [*UNITS, "A/s", "ohm*mm2/m", "1/h", "J/kg/K", "K/W", "kg*m2/s3"]


@st.composite
def quantities(draw: st.DrawFn) -> tuple[str, str]:
    """A text, and the unit that is due for it."""
    symbol = draw(st.sampled_from(SYMBOLS))
    unit = parse_unit(symbol)
    number = draw(NUMBERS)
    if unit.is_temperature:
        number = abs(number)
    text = f"{number:f} {symbol}"
    match draw(st.sampled_from(["plain", "absolute", "share", "range"])):
        case "absolute":
            return f"{text} ± {abs(draw(NUMBERS)):f} {'K' if unit.is_temperature else symbol}", symbol
        case "share" if not unit.is_temperature:
            return f"{text} +- {draw(st.decimals(0, 100, places=3)):f} %", symbol
        case "range":
            other = abs(draw(NUMBERS)) + abs(number)
            return f"{text} .. {other:f} {symbol}", symbol
    return text, symbol


@given(quantities())
def test_what_is_printed_reads_back_as_the_same(case: tuple[str, str]) -> None:
    text, symbol = case
    if symbol == "%" and "±" in text and float(text.split()[3]) > 100:
        return
    unit = parse_unit(symbol)
    found = parse_quantity(text, unit)
    assert found.low <= found.nominal <= found.high
    assert found.nominal - found.low == found.high - found.nominal
    assert parse_quantity(str(found), unit) == found


@given(NUMBERS, st.decimals(0, 100, places=4))
def test_a_share_counts_from_the_size_of_the_value(number: F, share: F) -> None:
    found = parse_quantity(f"{number:f} A ± {share:f} %", AMPERE)
    assert found.high - found.low == 2 * abs(F(number)) * F(share) / 100


def outcome(text: str, unit: Unit) -> Uncertain | QuantityError:
    try:
        return parse_quantity(text, unit)
    except QuantityError as error:
        return error


@given(st.text(max_size=25))
def test_any_text_is_read_or_refused(text: str) -> None:
    for unit in (AMPERE, CELSIUS, PERCENT, ONE):
        found = outcome(text, unit)
        if isinstance(found, QuantityError):
            assert 0 <= found.start <= found.end <= max(len(text), 1)
            assert found.message


LIKE_A_QUANTITY = r"[+-]?[0-9]{1,3}(\.[0-9]{1,3})? ?(A|V|K|degC|%|h)?( ?(±|\+-|\.\.) ?-?[0-9]{1,3} ?(A|V|K|%)?)?"


@given(st.from_regex(LIKE_A_QUANTITY, fullmatch=True))
def test_nothing_is_read_in_another_dimension(text: str) -> None:
    for unit in (AMPERE, CELSIUS, KELVIN, PERCENT):
        found = outcome(text, unit)
        if isinstance(found, Uncertain):
            assert found.unit.dimension == unit.dimension
            assert found.unit.is_temperature == unit.is_temperature
            assert found.low <= found.nominal <= found.high


def test_counts() -> None:
    assert parse_count("24") == Uncertain(F(24), F(24), F(24), ONE)
    assert parse_count("0").nominal == 0
    for text in ("24.5", "-1", "1e3", "24 A", "nan", "", "٣", "twelve", "9" * 41):
        with pytest.raises(QuantityError):
            parse_count(text)


def test_a_tolerance_on_its_own() -> None:
    exact = parse_quantity("96 A", AMPERE)
    assert with_tolerance(exact, "1.5 %") == parse_quantity("96 A ± 1.5 %", AMPERE)
    assert with_tolerance(exact, "1.5 A") == parse_quantity("96 A ± 1.5 A", AMPERE)
    assert parse_tolerance("5 mV", UNITS["V"]) == (F(5, 1000), False)
    assert parse_tolerance("5 %", UNITS["V"]) == (F(5, 100), True)
    with pytest.raises(QuantityError) as caught:
        with_tolerance(exact, "about 1 A")
    assert caught.value.message == "`about 1 A` is not a quantity."


def test_the_unit_it_was_written_in_is_kept_for_showing_only() -> None:
    assert str(parse_quantity("0.096 kA", AMPERE)) == "0.096 kA"
    assert parse_quantity("0.096 kA", AMPERE) == parse_quantity("96 A", AMPERE)


def test_what_is_remembered_is_bounded() -> None:
    for number in range(20_000):
        assert parse_quantity(f"{number} A", AMPERE).nominal == number
    from limitrules.model import quantity

    assert len(quantity._known["A"]) <= quantity._MOST_KNOWN


def test_plain_decimals_are_exact() -> None:
    assert plain_decimal(parse_quantity("0.1 mA", AMPERE).nominal) == "0.0001"
