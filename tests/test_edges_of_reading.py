"""Edges that a changed sign or number would move unseen: each found by breaking the program."""

from __future__ import annotations

from datetime import date, time
from fractions import Fraction

import pytest

from ledger.normalise.addresses import Street, read_street, same_ordinals
from ledger.normalise.dates import Clock, Slip, parse_clock, read_date
from ledger.normalise.observation import read_observation
from ledger.normalise.terms import read_measured
from ledger.normalise.weather import read_weather
from ledger.numbers import read_number, read_quantity
from ledger.units import Unit, Units, units_from_table
from ledger.values.origin import Origin
from ledger.values.site import Address, Site
from tests.test_amounts import amount, dilution
from tests.test_dates import hours
from tests.test_sites import draft
from tests.test_units import UNITS

HERE = Origin("day.csv", 2, "amount")


@pytest.mark.parametrize(("digits", "read"), [(99, True), (100, True), (101, False)])
def test_a_number_of_a_hundred_signs_is_read_and_one_more_is_not(digits: int, read: bool) -> None:
    found = read_number("0." + "0" * (digits - 3) + "1", HERE)
    codes = [fault.code for fault in found.faults]
    assert all(code == "AMOUNT-TOO-LARGE" for code in codes)
    long = "is too long to be a number" in "".join(fault.what for fault in found.faults)
    assert long is (not read)


@pytest.mark.parametrize("of", ["lb", "gal"])
def test_a_unit_is_told_by_a_unit_of_worth_one(of: str) -> None:
    """Ounces told by the pound, whose factor is not 1, would be told by nothing."""
    table = {
        "format": 1, "id": "units", "title": "Units", "checked_on": "2026-11-25",
        "unit": [
            {"code": "g", "dimension": "mass", "of": "g", "factor": "1"},
            {"code": "lb", "dimension": "mass", "of": "g", "factor": "45359237/100000"},
            {"code": "oz", "dimension": "mass", "of": of, "factor": "1/16"},
        ],
    }  # fmt: skip
    units, faults = units_from_table(table, {}, "units.toml")
    said = [fault.what for fault in faults if fault.origin.column == "unit[3].of"]
    assert len(said) == 1
    assert "with the factor 1" in said[0]
    assert units.find("oz") is None
    assert units.find("lb") is not None


# --- what a person is told: a message that names the wrong half sends him to the wrong cell ---


def test_a_comma_is_told_with_both_of_its_readings() -> None:
    (fault,) = read_number("12,34", HERE).faults
    assert fault.what == '"12,34" could be read two ways, as 12.34 or 1234'
    assert fault.way_out == "write 12.34, or 1234 without the comma"
    assert read_quantity("12,34 oz", UNITS, HERE).faults == (fault,)


def test_a_number_without_unit_is_not_told_that_its_unit_is_unknown() -> None:
    (fault,) = read_quantity("5", UNITS, HERE).faults
    assert fault.what == "the number has no unit"


def test_of_a_number_far_too_long_the_first_twenty_signs_are_shown() -> None:
    (fault,) = read_number("1234567890" * 11, HERE).faults
    assert fault.what == '"12345678901234567890..." is too long to be a number'


@pytest.mark.parametrize("text", ["5.", "1,000.", ".5", "1,000.5"])
def test_a_point_at_either_end_is_a_number(text: str) -> None:
    plain = text.replace(",", "")
    said = {"5.": "5", "1000.": "1000", ".5": "1/2", "1000.5": "2001/2"}
    assert str(read_number(text, HERE).value) == said[plain]


def test_the_shortest_spelling_that_can_be_near_has_two_letters() -> None:
    """One letter is near to too much: "c" might be a cup, or a slip for "g"."""
    assert [UNITS.nearest(text) for text in ("kgg", "haa", "mmm")] == ["kg", "ha", "mm"]
    assert [UNITS.nearest(text) for text in ("x", "gx", "qq")] == [None, None, None]


def test_units_are_shown_by_their_list_alone() -> None:
    assert repr(Units(())) == "Units(units=())"


def test_a_unit_made_by_hand_has_no_shift() -> None:
    assert Unit("lb", "mass", Fraction(1)).shift == 0


def test_a_fault_of_a_list_without_lines_stands_at_its_first() -> None:
    _, faults = units_from_table({"colour": "red"}, {}, "units.toml")
    assert {fault.origin.row for fault in faults} == {1}


def test_a_ratio_not_settled_is_told_with_both_of_its_readings() -> None:
    (fault,) = dilution("1:100", ratio="").faults
    assert fault.what == '"1:100" may be 1 in 100 or 1 + 100'


# --- the clock ---


@pytest.mark.parametrize(
    ("text", "what", "way_out"),
    [
        ("24:00", '"24:00": a day ends at 23:59', "write 00:00 +1"),
        ("24:01", 'there is no time "24:01"', "write it as 08:05 or 14:30"),
        ("23:60", 'there is no time "23:60"', "write it as 08:05 or 14:30"),
        ("99:00", 'there is no time "99:00"', "write it as 08:05 or 14:30"),
        ("13:05 pm", '"13:05 pm" mixes two clocks', "write it as 14:30"),
    ],
)
def test_a_time_that_is_none_says_why(text: str, what: str, way_out: str) -> None:
    found = parse_clock(text)
    assert isinstance(found, Slip)
    assert (found.what, found.way_out) == (what, way_out)


def test_a_time_is_of_its_own_day_unless_it_says_so() -> None:
    assert Clock(time(8)).days == 0


@pytest.mark.parametrize(
    ("year", "read"), [(1969, False), (1970, True), (2200, True), (2201, False)]
)
def test_years_that_can_be_a_slip_only_are_no_dates(year: int, read: bool) -> None:
    """The bounds are a choice of our own: no work is older, and no clock will say so late."""
    assert (read_date(f"{year}-06-01", True, HERE).value is not None) is read


def test_september_has_a_short_form_of_four_letters() -> None:
    assert read_date("14 Sept 2026", True, HERE).value == date(2026, 9, 14)


def test_one_half_of_the_hours_is_never_out_of_order() -> None:
    for start, end in (("09:00", ""), ("", "09:00"), ("00:00", ""), ("", "00:00")):
        assert hours(start, end).faults == ()
        assert hours(start, end).value is not None
    assert hours("22:00", "23:00 +1").faults == ()
    assert hours("00:00", "00:00").faults == ()


def test_a_start_on_the_next_day_is_told_of_the_start_alone() -> None:
    (fault,) = hours("09:00 +1", "08:00").faults
    assert fault.what == 'the start "09:00 +1" lies on another day than the date'


# --- the weather ---


@pytest.mark.parametrize(
    ("word", "rained"),
    [
        *((word, False) for word in ("no", "n", "None", "dry", "No rain", "0")),
        *((word, True) for word in ("yes", "Y", "rain", "raining", "light rain", "drizzle")),
        ("showers", True), ("maybe", None),
    ],
)  # fmt: skip
def test_the_words_for_rain(word: str, rained: bool | None) -> None:
    weather, remarks = read_weather(draft(rain=word), UNITS)
    assert weather.rain is rained
    assert len(remarks) == (rained is None)


# --- addresses ---


def test_a_street_by_its_number_is_the_street_by_its_ordinal() -> None:
    words = "FIRST SECOND THIRD FOURTH FIFTH SIXTH SEVENTH EIGHTH NINTH TENTH ELEVENTH TWELFTH"
    digits = "1ST 2ND 3RD 4TH 5TH 6TH 7TH 8TH 9TH 10TH 11TH 12TH"
    assert same_ordinals(words) == digits
    assert same_ordinals("OLD SEVENTH MILL") == "OLD 7TH MILL"


def test_only_a_route_with_a_box_is_rural() -> None:
    street, route = read_street("118 Main St"), read_street("RR 2 Box 18")
    assert isinstance(street, Street)
    assert isinstance(route, Street)
    assert (street.rural, route.rural) == (False, True)


# --- what was only seen ---

AUBURN = ("AUBURN", "CA", "95603")
SEEN = (
    Site("S0001", Address("118 TOLLHOUSE LN", "", "AUBURN", "CA", "95603"), "Placer", "us-ca",
         "dwelling", "America/Los_Angeles"),
    Site("S0002", Address("64 IDAHO BAR RD", "", "AUBURN", "CA", "95603"), "Placer", "us-ca",
         "dwelling", "America/Los_Angeles"),
    *(
        Site(key, Address(street, unit, *AUBURN), "Placer", "us-ca", "dwelling", "", same_as=same)
        for key, street, unit, same in (
            ("S0003", "118 TOLLHOUSE LN", "REAR", "S0001"),
            ("S0004", "7 QUARTZ CT", "APT 1", None), ("S0005", "7 QUARTZ CT", "APT 2", None),
        )
    ),
)  # fmt: skip


@pytest.mark.parametrize(
    ("cells", "key", "where"),
    [
        ({"site": "s0002"}, "S0002", ""),
        ({"site": "S0003"}, "S0001", ""),  # found to be the same place
        ({"address": "7 Quartz Ct"}, None, "7 Quartz Ct"),  # two units: which is not said
        ({"address": "7 Quartz Ct Apt 2"}, "S0005", ""),
        ({"address": "7 Quartz Ct Apt 9"}, None, "7 Quartz Ct Apt 9"),
        ({"address": "118 Tollhouse Lane"}, "S0001", ""),
        ({"site": "S0002", "address": "118 Tollhouse Lane"}, "S0002", ""),  # the key decides
        ({"site": "S0009", "address": "118 Tollhouse Lane"}, None, "S0009"),
        ({"address": "9 Nowhere St"}, None, "9 Nowhere St"),
        ({}, None, "nothing"),
    ],
)
def test_an_observation_finds_its_site_or_says_what_was_written(
    cells: dict[str, str], key: str | None, where: str
) -> None:
    found = read_observation(draft(date="2026-01-14", **cells), True, SEEN)
    assert (found.day, found.site) == ("2026-01-14", key)
    said = f'the site ("{where}") is not one the ledger knows; kept as written'
    assert found.remarks == (() if key else (said,))


def test_an_observation_without_a_date_that_can_be_read_keeps_its_site() -> None:
    found = read_observation(draft(date="soon", site="S0001"), True, SEEN)
    assert (found.day, found.site) == (None, "S0001")
    assert len(found.remarks) == 1
    assert "soon" in found.remarks[0]


# --- amounts ---


@pytest.mark.parametrize(("signs", "code"), [(200, "AMOUNT-ORDER"), (201, "AMOUNT-NUMBER")])
def test_an_amount_of_two_hundred_signs_is_read_and_one_more_is_not(signs: int, code: str) -> None:
    text = ("1 oz " * 40).ljust(signs, "s")
    (fault,) = read_measured(text, UNITS, HERE, "oz").faults
    assert fault.code == code
    assert ("is too long to be an amount" in fault.what) is (signs > 200)


def test_each_reading_of_a_weighing_says_what_is_wrong_with_it() -> None:
    both = [fault.what for fault in amount("5 xyz - 3 abc").faults]
    assert both == ['"xyz" is not a known unit', '"abc" is not a known unit']
    assert len(amount("5 xyz - 3 xyz").faults) == 1
    assert [fault.what for fault in amount("5 g - 3 abc").faults] == ['"abc" is not a known unit']
