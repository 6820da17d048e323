"""Numbers and quantities as people write them."""

from __future__ import annotations

import unicodedata
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.numbers import GREATEST, VULGAR, keeps, read_number, read_quantity
from ledger.values.origin import Origin
from tests.test_units import UNITS

AT = Origin("day.csv", 3, "amount")


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0.5", "1/2"), (".5", "1/2"), ("5.", "5"), ("0", "0"), ("12", "12"), ("007", "7"),
        ("1/2", "1/2"), ("1 / 2", "1/2"), ("5/4", "5/4"), ("1-1/2", "3/2"), ("1\u20131/2", "3/2"),
        ("1 1/2", "3/2"), ("3 1/4", "13/4"), ("1,000", "1000"), ("12,345.5", "12345.5"),
        ("1,234,567", "1234567"), ("1,000 1/2", "2001/2"), ("\u00bd", "1/2"),
        ("1\u00bd", "3/2"), ("1 \u00bd", "3/2"), ("1-\u00bd", "3/2"), ("2\u215e", "23/8"),
        ("1\u20442", "1/2"), ("\u215f8", "1/8"), ("1\u00a01/2", "3/2"), ("  0.5 ", "1/2"),
        ("0.1", "1/10"), ("9007199254740992", "9007199254740992"),
    ],
)  # fmt: skip
def test_a_number_is_read_exactly(text: str, value: str) -> None:
    reading = read_number(text, AT)
    assert reading.faults == ()
    assert reading.value == Fraction(value)


def test_every_fraction_character_is_read() -> None:
    known = {
        char for char in map(chr, range(0x110000))
        if unicodedata.decomposition(char).startswith("<fraction>") and char != "\u215f"
    }  # fmt: skip
    assert known <= set(VULGAR) | {"\u215f"}
    assert len(known) == 19
    for char in known:
        value = unicodedata.numeric(char)
        assert abs(float(read_number(char, AT).value or 0) - value) < 1e-7
        whole = read_number(f"3{char}", AT).value
        assert whole is not None
        assert abs(float(whole) - 3 - value) < 1e-6


REFUSED = [
    ("", "BLANK"), ("  ", "BLANK"), ("0,5", "COMMA"), ("1,5", "COMMA"), ("1,00", "COMMA"),
    ("0,500", "COMMA"), ("1.000,5", "COMMA"), ("1,2,3", "COMMA"), ("1,0000", "COMMA"),
    ("1e3", "EXPONENT"), ("1E-3", "EXPONENT"), ("1.5e+3", "EXPONENT"), ("1e999999999", "EXPONENT"),
    ("2 x 10^3", "EXPONENT"), ("-1", "NEGATIVE"), ("\u22121", "NEGATIVE"), ("- 1/2", "NEGATIVE"),
    ("-\u00bd", "NEGATIVE"), ("1-2", "RANGE"), ("1 to 2", "RANGE"), ("1 - 1/2", "RANGE"),
    ("1\u22121/2", "RANGE"), ("1 or 2", "RANGE"), ("9007199254740993", "TOO-LARGE"),
    ("0.12345678901234567890", "TOO-LARGE"), ("9" * 5000, "TOO-LARGE"),
    ("1/9007199254740993", "TOO-LARGE"),
    ("abc", "NUMBER"), (".", "NUMBER"), ("1/0", "NUMBER"), ("1 5/4", "NUMBER"),
    ("1 4/4", "NUMBER"), ("1/2/3", "NUMBER"), ("1.5 1/2", "NUMBER"), ("1.0.0", "NUMBER"),
    ("1 000", "NUMBER"), ("10\u00b2", "NUMBER"), ("\u0663", "NUMBER"), ("\u00bd\u00bd", "NUMBER"),
    ("+5", "NUMBER"), ("0x10", "NUMBER"), ("1_000", "NUMBER"), ("inf", "NUMBER"), ("nan", "NUMBER"),
    ("\uff15", "NUMBER"), ("1/\u00bd", "NUMBER"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "code"), REFUSED)
def test_what_is_not_one_number_is_one_fault(text: str, code: str) -> None:
    reading = read_number(text, AT)
    assert reading.value is None
    assert [(fault.code, fault.origin) for fault in reading.faults] == [(f"AMOUNT-{code}", AT)]
    assert reading.faults[0].what
    assert reading.faults[0].way_out


def test_a_decimal_comma_says_what_to_write() -> None:
    fault = read_number("0,5", AT).faults[0]
    assert "two ways" in fault.what
    assert fault.way_out == "write 0.5"


parts = st.integers(0, 10**6)
below = st.integers(2, 10**4)


@st.composite
def written(draw: st.DrawFn) -> tuple[str, Fraction]:
    """A number in one of the accepted forms, and its value."""
    whole, under = draw(parts), draw(below)
    over = draw(st.integers(1, under - 1))
    digits = draw(st.integers(0, 6))
    grouped = draw(st.booleans())
    shown = f"{whole:,}" if grouped else str(whole)
    char = draw(st.sampled_from(sorted(set(VULGAR) - {"\u215f"})))
    vulgar = Fraction(*map(int, unicodedata.normalize("NFKC", char).split("\u2044")))
    tail = draw(st.integers(0, 10**digits - 1)) if digits else 0
    return draw(st.sampled_from([
        (shown, Fraction(whole)),
        (f"{shown}.{tail:0{digits}d}" if digits else f"{shown}.",
         whole + Fraction(tail, 10**digits)),
        (f"{over}/{under}", Fraction(over, under)),
        (f"{shown} {over}/{under}", whole + Fraction(over, under)),
        (f"{shown}-{over}/{under}", whole + Fraction(over, under)),
        (char, vulgar),
        (f"{shown}{char}", whole + vulgar),
        (f"{shown} {char}", whole + vulgar),
    ]))  # fmt: skip


@given(written())
def test_every_accepted_form_reads_back_to_its_value(pair: tuple[str, Fraction]) -> None:
    text, value = pair
    assert read_number(text, AT).value == value


@given(st.text(max_size=30) | st.text("0123456789.,/ -\u2013\u00bdeE+", max_size=12))
def test_any_text_is_a_number_or_exactly_one_fault(text: str) -> None:
    reading = read_number(text, AT)
    assert (reading.value is None) == (len(reading.faults) == 1)
    if reading.value is not None:
        assert reading.value >= 0
        assert keeps(reading.value)


def test_the_greatest_number_is_a_safe_integer() -> None:
    assert GREATEST == 2**53
    assert keeps(Fraction(GREATEST))
    assert keeps(Fraction(1, GREATEST))
    assert not keeps(Fraction(GREATEST + 1))
    assert not keeps(Fraction(1, GREATEST + 1))


# --- quantities --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("10 mph", "10", "mph"), ("3ft", "3", "ft"), ("1,000 sq ft", "1000", "sq ft"),
        ("3 1/4 fl. oz.", "13/4", "fl oz"), ("\u00bdoz", "1/2", "oz"), ("28 F", "28", "F"),
        ("-5 F", "-5", "F"), ("\u22125 \u00b0C", "-5", "C"), ("1-1/2 pt", "3/2", "pt"),
        ("0.06 %", "3/50", "%"), ("0 mph", "0", "mph"), ("10'", "10", "ft"), ("3 T", "3", "tbsp"),
        ("1 year", "1", "year"), ("12.5\u00a0g", "12.5", "g"), ("0.5 Oz.", "0.5", "oz"),
    ],
)  # fmt: skip
def test_a_quantity_is_read_exactly(text: str, value: str, unit: str) -> None:
    found = read_quantity(text, UNITS, AT).value
    assert found is not None
    assert (found.value, found.unit) == (Fraction(value), unit)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("10 voids", "UNIT"), ("5", "UNIT"), ("2 c", "UNIT"), ("1 M", "UNIT"), ("6 mph NW", "UNIT"),
        ("oz", "NUMBER"), ("", "BLANK"), ("0,5 oz", "COMMA"), ("1e3 oz", "EXPONENT"),
        ("-5 ft", "NEGATIVE"), ("1 - 2 ft", "RANGE"), ("9007199254740993 ft", "TOO-LARGE"),
        ("1.5e3 g", "EXPONENT"), ("1 x10^3 g", "EXPONENT"),
    ],
)  # fmt: skip
def test_what_is_no_quantity_is_one_fault(text: str, code: str) -> None:
    reading = read_quantity(text, UNITS, AT)
    assert reading.value is None
    assert [fault.code for fault in reading.faults] == [f"AMOUNT-{code}"]


def test_a_wanted_dimension() -> None:
    assert read_quantity("10 mph", UNITS, AT, "speed").value is not None
    reading = read_quantity("10 ft", UNITS, AT, "speed")
    assert [fault.code for fault in reading.faults] == ["AMOUNT-DIMENSION"]


def test_an_unknown_unit_names_the_nearest() -> None:
    assert read_quantity("5 galon", UNITS, AT).faults[0].way_out == 'did you mean "gal"?'
    assert read_quantity("2 c", UNITS, AT).faults[0].way_out == 'write "cup"'


@given(written(), st.sampled_from([(s, u) for u in UNITS.units for s in (u.code, *u.also)]))
def test_any_number_before_any_unit_is_that_quantity(
    pair: tuple[str, Fraction], named: tuple[str, object]
) -> None:
    text, value = pair
    found = read_quantity(f"{text} {named[0]}", UNITS, AT).value
    assert found is not None
    assert found.value == value
    assert UNITS.unit(found.unit) == named[1]
