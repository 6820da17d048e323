"""Dates and times as people and spreadsheets write them."""

from __future__ import annotations

from datetime import date, time
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.normalise.dates import (
    Clock,
    Hours,
    Slip,
    changes_of_clock,
    clock_change,
    parse_clock,
    parse_date,
    read_date,
    read_hours,
)
from ledger.values.origin import Origin

HERE = Origin("day.csv", 2, "date")
DAY = date(2026, 1, 14)
PACIFIC = "America/Los_Angeles"


@pytest.mark.parametrize(
    "text",
    [
        "2026-01-14", "2026-1-14", "2026/01/14", "20260114", "1/14/2026", "01-14-2026",
        "1/14/26", "14 Jan 2026", "Jan 14, 2026", "January 14 2026", "14-Jan-26", "14-Jan-2026",
        "Jan. 14th, 2026", "Wed 14 Jan 2026", "Wednesday, January 14, 2026",
        "2026-01-14 00:00:00", "2026-01-14T00:00",
    ],
)  # fmt: skip
def test_the_ways_to_write_one_day(text: str) -> None:
    assert parse_date(text, month_first=True) == DAY


def test_the_firm_says_which_number_is_the_month() -> None:
    assert parse_date("14/1/2026", month_first=False) == DAY
    assert parse_date("4/1/2026", month_first=False) == date(2026, 1, 4)
    assert parse_date("4/1/2026", month_first=True) == date(2026, 4, 1)


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        ("2026-02-30", "DATE-IMPOSSIBLE", "30 February 2026"),
        ("2/29/2026", "DATE-IMPOSSIBLE", "29 February 2026"),
        ("2026-13-01", "DATE-IMPOSSIBLE", "month 13"),
        ("2026-00-10", "DATE-IMPOSSIBLE", "month 0"),
        ("14/1/2026", "DATE-ORDER", "month first"),
        ("1/14/85", "DATE-YEAR", "two ways"),
        ("1926-01-14", "DATE-YEAR", "1926"),
        ("9999-12-31", "DATE-YEAR", "9999"),
        ("Thu 14 Jan 2026", "DATE-WEEKDAY", "Wednesday"),
        ("yesterday", "DATE-UNREADABLE", "yesterday"),
        ("14 Janvier 2026", "DATE-UNREADABLE", "Janvier"),
        ("1/14", "DATE-UNREADABLE", "1/14"),
    ],
)
def test_a_day_that_cannot_be_right_is_named(text: str, code: str, said: str) -> None:
    found = parse_date(text, month_first=True)
    assert isinstance(found, Slip)
    assert found.code == code
    assert said in found.what
    assert found.way_out


def test_a_leap_day_is_a_day() -> None:
    assert parse_date("2/29/2024", month_first=True) == date(2024, 2, 29)


def test_a_blank_date_holds_and_a_short_year_is_remarked() -> None:
    blank = read_date("", True, HERE)
    assert [fault.code for fault in blank.faults] == ["DATE-MISSING"]
    assert blank.faults[0].origin == HERE
    assert read_date("1/14/26", True, HERE).remarks == ('"1/14/26" is read as 2026-01-14',)
    assert read_date("2026-1-14", True, HERE).remarks == ()


@given(st.dates(date(1970, 1, 1), date(2200, 12, 31)), st.booleans())
def test_every_day_reads_back(day: date, month_first: bool) -> None:
    numbers = (day.month, day.day) if month_first else (day.day, day.month)
    for text in (
        day.isoformat(), f"{numbers[0]}/{numbers[1]}/{day.year}",
        f"{day.day} {day:%b} {day.year}", f"{day:%B} {day.day}, {day.year}",
    ):  # fmt: skip
        assert parse_date(text, month_first) == day


@given(st.text(max_size=20), st.booleans())
def test_no_text_raises(text: str, month_first: bool) -> None:
    assert isinstance(parse_date(text, month_first), date | Slip)
    assert isinstance(parse_clock(text), Clock | Slip)


@pytest.mark.parametrize(
    ("text", "hour", "minute", "days"),
    [
        ("08:05", 8, 5, 0), ("8:05", 8, 5, 0), ("8:05 am", 8, 5, 0), ("8:05 A.M.", 8, 5, 0),
        ("0805", 8, 5, 0), ("805", 8, 5, 0), ("8 am", 8, 0, 0), ("8:05pm", 20, 5, 0),
        ("12:15 am", 0, 15, 0), ("12:15 pm", 12, 15, 0), ("08:05:00", 8, 5, 0),
        ("23:59", 23, 59, 0),
        ("00:15 +1", 0, 15, 1), ("00:15+1", 0, 15, 1), ("0:15 (+1)", 0, 15, 1),
        ("12:15 am +1", 0, 15, 1), ("00:15 +1 day", 0, 15, 1),
    ],
)  # fmt: skip
def test_the_ways_to_write_a_time(text: str, hour: int, minute: int, days: int) -> None:
    assert parse_clock(text) == Clock(time(hour, minute), days)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("25:00", "TIME-IMPOSSIBLE"), ("08:61", "TIME-IMPOSSIBLE"), ("24:00", "TIME-IMPOSSIBLE"),
        ("13:05 pm", "TIME-UNREADABLE"), ("0:05 am", "TIME-UNREADABLE"),
        ("late", "TIME-UNREADABLE"), ("8", "TIME-UNREADABLE"), ("8:5", "TIME-UNREADABLE"),
    ],
)  # fmt: skip
def test_a_time_that_is_none(text: str, code: str) -> None:
    found = parse_clock(text)
    assert isinstance(found, Slip)
    assert found.code == code


def hours(start: str, end: str) -> Any:
    return read_hours(start, end, Origin("d", 2, "start"), Origin("d", 2, "end"))


def test_hours_may_be_blank_or_equal_but_not_turned_round() -> None:
    assert hours("", "").value == Hours()
    assert hours("10:00", "10:00").value == Hours(time(10), time(10))
    assert hours("22:40", "00:15 +1").value == Hours(time(22, 40), time(0, 15), 1)
    turned = hours("11:00", "10:10")
    assert turned.value is None
    assert [(fault.code, fault.origin.column) for fault in turned.faults] == [("TIME-ORDER", "end")]
    assert "00:15 +1" in turned.faults[0].way_out


def test_both_unreadable_times_are_named_at_once() -> None:
    both = hours("early", "late")
    assert [fault.origin.column for fault in both.faults] == ["start", "end"]
    assert [fault.code for fault in hours("00:15 +1", "").faults] == ["TIME-ORDER"]


def test_the_hours_that_daylight_saving_takes_and_gives() -> None:
    # United States since 2007 (15 U.S.C. 260a): forward at 2:00 on the second Sunday of March,
    # back at 2:00 on the first Sunday of November; in 2026 these are 8 March and 1 November.
    assert "does not exist" in clock_change(date(2026, 3, 8), time(2, 30), PACIFIC)
    assert "happens twice" in clock_change(date(2026, 11, 1), time(1, 30), PACIFIC)
    assert clock_change(date(2026, 3, 8), time(3, 0), PACIFIC) == ""
    assert clock_change(date(2026, 3, 8), time(2, 30), "America/Phoenix") == ""


def test_a_night_that_ends_in_the_missing_hour() -> None:
    night = Hours(time(22, 0), time(2, 30), 1)
    assert [column for column, _ in changes_of_clock(date(2026, 3, 7), night, PACIFIC)] == ["end"]
    assert changes_of_clock(date(2026, 3, 6), night, PACIFIC) == ()
