"""Clocks of the law: hours through a change of time, days, open days, month ends, leap days."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.deadlines import (
    Began,
    Owing,
    Sort,
    business_days_after,
    clock_ends,
    in_order,
    read_ahead,
    why_closed,
    within_reach,
)
from ledger.values.amount import Quantity

PACIFIC = "America/Los_Angeles"


def length(value: str, unit: str) -> Quantity:
    return Quantity(Fraction(value), unit)


def ends(value: str, unit: str, day: str, at: str | None = None, zone: str = PACIFIC) -> datetime:
    when = None if at is None else time.fromisoformat(at)
    return clock_ends(length(value, unit), Began(date.fromisoformat(day), when, zone, "CA")).moment


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


# Daylight saving in California: 2026-03-08 02:00 -> 03:00 and 2026-11-01 02:00 -> 01:00
# (15 U.S.C. 260a: second Sunday of March to first Sunday of November).
@pytest.mark.parametrize(
    ("day", "at", "moment"),
    [
        ("2026-03-07", "10:00", "2026-03-08T18:00"),  # 11:00 on the clock of the next day
        ("2026-10-31", "10:00", "2026-11-01T17:00"),  # 09:00 on the clock of the next day
        ("2026-01-14", "10:00", "2026-01-15T18:00"),
        ("2026-07-14", "10:00", "2026-07-15T17:00"),
    ],
)
def test_hours_are_elapsed_time(day: str, at: str, moment: str) -> None:
    assert ends("24", "h", day, at) == utc(moment)


def test_the_local_hour_is_told() -> None:
    spring = clock_ends(length("24", "h"), Began(date(2026, 3, 7), time(10), PACIFIC))
    assert spring.day == date(2026, 3, 8)
    assert spring.why == "24 h from 7 March 2026 10:00: by 11:00 on 8 March 2026"
    autumn = clock_ends(length("24", "h"), Began(date(2026, 10, 31), time(10), PACIFIC))
    assert autumn.why == "24 h from 31 October 2026 10:00: by 09:00 on 1 November 2026"


def test_an_unknown_hour_is_taken_as_the_earliest() -> None:
    found = clock_ends(length("24", "h"), Began(date(2026, 1, 14), None, PACIFIC))
    assert found.moment == utc("2026-01-15T08:00")
    assert "not known" in found.why


def test_days_end_with_the_local_day_also_where_it_has_23_or_25_hours() -> None:
    assert ends("14", "day", "2026-02-22") == utc("2026-03-09T07:00") - timedelta(microseconds=1)
    assert ends("14", "day", "2026-01-14") == utc("2026-01-29T08:00") - timedelta(microseconds=1)
    assert ends("1", "day", "2026-10-31") == utc("2026-11-02T08:00") - timedelta(microseconds=1)
    # The same day ends three hours earlier in New York.
    east = ends("14", "day", "2026-01-14", zone="America/New_York")
    assert ends("14", "day", "2026-01-14") - east == timedelta(hours=3)


@pytest.mark.parametrize(
    ("value", "unit", "day", "last"),
    [
        ("1", "month", "2026-01-31", date(2026, 2, 28)),
        ("1", "month", "2024-01-31", date(2024, 2, 29)),
        ("3", "year", "2024-02-29", date(2027, 2, 28)),
        ("4", "year", "2024-02-29", date(2028, 2, 29)),
        ("14", "day", "2024-02-20", date(2024, 3, 5)),
        ("14", "day", "2025-12-20", date(2026, 1, 3)),
        ("0", "day", "2026-01-14", date(2026, 1, 14)),
    ],
)
def test_month_ends_and_leap_days(value: str, unit: str, day: str, last: date) -> None:
    began = Began(date.fromisoformat(day), None, PACIFIC)
    assert clock_ends(length(value, unit), began).day == last


# AAC R3-8-501 gives five business days; the days themselves from the calendar of 2026:
# Thursday 2 July, Friday 3 July is the holiday kept for Saturday the 4th (5 U.S.C. 6103).
@pytest.mark.parametrize(
    ("day", "count", "last"),
    [
        (date(2026, 7, 2), 1, date(2026, 7, 6)),
        (date(2026, 7, 2), 5, date(2026, 7, 10)),
        (date(2026, 1, 14), 5, date(2026, 1, 22)),  # Monday 19 January is a holiday
        (date(2026, 1, 17), 1, date(2026, 1, 20)),  # counted from a Saturday
    ],
)
def test_business_days(day: date, count: int, last: date) -> None:
    assert business_days_after(day, count, "AZ") == last
    began = Began(day, None, "America/Phoenix", "AZ")
    assert clock_ends(length(str(count), "business day"), began).day == last


@given(st.dates(date(2000, 1, 1), date(2060, 1, 1)), st.integers(0, 60))
def test_a_business_day_is_open_and_never_early(day: date, count: int) -> None:
    last = business_days_after(day, count, "NY")
    assert last >= day + timedelta(days=count)
    if count:
        assert why_closed(last, "NY") == ""
        assert business_days_after(last, 1, "NY") == business_days_after(day, count + 1, "NY")


@given(
    st.dates(date(2000, 1, 1), date(2060, 1, 1)), st.integers(0, 2000),
    st.sampled_from([PACIFIC, "America/New_York", "America/Phoenix", "Pacific/Honolulu"]),
)  # fmt: skip
def test_hours_end_when_so_many_hours_have_passed(day: date, hours: int, zone: str) -> None:
    begun = clock_ends(length("0", "h"), Began(day, time(12), zone)).moment
    end = clock_ends(length(str(hours), "h"), Began(day, time(12), zone)).moment
    assert end - begun == timedelta(hours=hours)


def test_a_part_of_a_day_is_hours() -> None:
    assert ends("1/2", "day", "2026-01-14", "10:00") == ends("12", "h", "2026-01-14", "10:00")


def test_what_is_no_length_of_time_is_refused() -> None:
    with pytest.raises(ValueError, match="lb"):
        ends("1", "lb", "2026-01-14")


def owing(day: date, sort: Sort = Sort.REPORT, *, late: bool = False) -> Owing:
    return Owing(sort, day, "what", "why", "source", "command", late)


def test_overdue_comes_first_then_the_day_then_the_sort() -> None:
    one, two, three = (
        owing(date(2026, 1, 5)), owing(date(2026, 1, 9), late=True),
        owing(date(2026, 1, 5), Sort.RULES),
    )  # fmt: skip
    assert in_order([three, one, two]) == (two, one, three)


def test_what_is_overdue_is_never_out_of_reach() -> None:
    far, late = owing(date(2026, 6, 1)), owing(date(2025, 1, 1), late=True)
    assert within_reach([far, late], date(2026, 2, 1)) == (late,)
    assert within_reach([far, late], date(2026, 6, 1)) == (late, far)


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("30d", 30), ("30", 30), ("30 days", 30), ("2w", 14), ("2 weeks", 14), ("0d", 0),
        ("", None), ("d", None), ("-3d", None), ("3 months", None), ("1.5d", None), ("٣d", None),
    ],
)  # fmt: skip
def test_how_far_ahead(text: str, days: int | None) -> None:
    assert read_ahead(text) == days
