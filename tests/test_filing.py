"""Due days, lateness, what is owed, and what a filed report no longer says."""

from __future__ import annotations

import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.filing import (
    Due,
    counties_owed,
    difference,
    due,
    late,
    owed,
    periods_owed,
    report_bytes,
)
from ledger.rulebook.model import Read, ReportDuty
from ledger.values.dated import Span
from ledger.values.finding import RuleRef
from ledger.values.firm import Registration
from ledger.values.period import Period, read_period

REF = RuleRef("jurisdictions/us-ca.toml", 1, "report[1]", "3 CCR 6627")


def duty(**changes: object) -> ReportDuty:
    values: dict[str, object] = {
        "name": "monthly", "form": "us-ca-monthly", "every": "month", "due_day": 10,
        "due_month": None, "due_rule": "next business day", "per": "county", "nil": True,
        "ref": REF, "read": Read.SUMMARY,
    }  # fmt: skip
    return ReportDuty(**{**values, **changes})  # type: ignore[arg-type]


YEARLY = duty(every="year", due_day=1, due_month=2, due_rule="fixed", per="state")


# 3 CCR 6627 as told by the state's study guide: by the 10th of the month after the work.
@pytest.mark.parametrize(
    ("period", "day"),
    [
        (Period(2026, 1), date(2026, 2, 10)),
        (Period(2026, 2), date(2026, 3, 10)),
        (Period(2025, 12), date(2026, 1, 10)),
        (Period(2026, 11), date(2026, 12, 10)),
    ],
)
def test_a_monthly_report_is_due_on_the_tenth_of_the_next_month(period: Period, day: date) -> None:
    assert due(duty(), period, "CA").day == day
    assert due(duty(), period, "CA").source == "3 CCR 6627"


# Code of Civil Procedure 12a (Saturday counts as closed); Government Code 6700 (Sundays, holidays).
@pytest.mark.parametrize(
    ("period", "day", "extended"),
    [
        (Period(2025, 12), date(2026, 1, 10), date(2026, 1, 12)),  # a Saturday
        (Period(2026, 4), date(2026, 5, 10), date(2026, 5, 11)),  # a Sunday
        (Period(2026, 1), date(2026, 2, 10), None),  # a Tuesday
        # 10 November 2029 is a Saturday; Veterans Day, a Sunday, is kept on Monday the 12th.
        (Period(2029, 10), date(2029, 11, 10), date(2029, 11, 13)),
    ],
)
def test_a_closed_day_extends_and_never_moves_the_day_to_be_warned_of(
    period: Period, day: date, extended: date | None
) -> None:
    found = due(duty(), period, "CA")
    assert (found.day, found.extended_day) == (day, extended)
    assert ("Go by the earlier day" in found.why) is (extended is not None)


def test_a_federal_holiday_that_the_state_does_not_keep_extends_nothing() -> None:
    # 10 October 2033 is Columbus Day, a federal holiday; California's offices are open
    # (Government Code 6700 does not list it).
    assert due(duty(), Period(2033, 9), "CA").extended_day is None
    assert due(duty(), Period(2033, 9), "NY").extended_day == date(2033, 10, 11)


def test_a_fixed_duty_is_never_extended() -> None:
    assert due(duty(due_rule="fixed"), Period(2025, 12), "CA").extended_day is None


def test_a_yearly_report_is_due_in_the_next_year() -> None:
    # ECL 33-1205 as told by the department's page: by 1 February, even if nothing was applied.
    found = due(YEARLY, Period(2026), "NY")
    assert (found.day, found.extended_day) == (date(2027, 2, 1), None)


def test_a_day_past_the_end_of_a_month_is_its_last_day() -> None:
    assert due(duty(due_day=31, due_rule="fixed"), Period(2026, 1)).day == date(2026, 2, 28)


def test_the_same_words_on_every_computer() -> None:
    assert due(duty(), Period(2025, 12), "CA").why == (
        "due 10 January 2026; 10 January 2026 is a Saturday, 11 January 2026 is a Sunday, so "
        "general law moves it to 12 January 2026. Go by the earlier day"
    )


@pytest.mark.parametrize(
    ("filed", "is_late", "text"),
    [
        (date(2026, 1, 9), False, "in time"),
        (date(2026, 1, 10), False, "in time"),
        (date(2026, 1, 12), False, "2 days after the due day, by the next open day"),
        (date(2026, 1, 13), True, "late: 3 days after the due day"),
    ],
)
def test_lateness(filed: date, is_late: bool, text: str) -> None:
    found = late(filed, due(duty(), Period(2025, 12), "CA"))
    assert (found.late, found.text) == (is_late, text)


def test_without_an_extension_one_day_is_late() -> None:
    assert late(date(2026, 2, 11), Due(date(2026, 2, 10), None, "", "")).text == (
        "late: 1 day after the due day"
    )


# California counts the postmark as the day of delivery: 3 CCR 6626(e), read in the regulation; for
# the monthly summary (3 CCR 6627) by the state's study guide.
@pytest.mark.parametrize(
    ("filed", "posted", "is_late", "text"),
    [
        ("2026-02-12", "2026-02-10", False, "in time by its postmark of 10 February 2026"),
        ("2026-02-12", "2026-02-11", True,
         "late: 1 day after the due day by its postmark of 11 February 2026"),
        ("2026-02-12", None, True, "late: 2 days after the due day"),
        ("2026-02-10", None, False, "in time"),
    ],
)  # fmt: skip
def test_the_postmark_counts_where_the_law_says_so(
    filed: str, posted: str | None, is_late: bool, text: str
) -> None:
    by_post = due(duty(postmark=True), Period(2026, 1), "CA")
    stamp = date.fromisoformat(posted) if posted else None
    found = late(date.fromisoformat(filed), by_post, stamp)
    assert (found.late, found.text) == (is_late, text)
    assert by_post.why.endswith("a mailed one counts by its postmark")
    # Without such a rule the day of delivery counts, whatever the postmark says.
    assert late(date(2026, 2, 12), due(duty(), Period(2026, 1), "CA"), stamp).late


def test_a_postmark_on_the_extended_day_is_excused_like_a_delivery() -> None:
    saturday = due(duty(postmark=True), Period(2025, 12), "CA")  # 10 January 2026
    assert late(date(2026, 1, 15), saturday, date(2026, 1, 12)).extended
    assert late(date(2026, 1, 15), saturday, date(2026, 1, 13)).late


def test_a_due_day_that_was_not_read_makes_nothing_late() -> None:
    unread = due(duty(due_read=False, every="year"), Period(2026), "MA")
    assert (unread.day, unread.read, unread.extended_day) == (date(2027, 1, 1), False, None)
    found = late(date(2029, 1, 1), unread, date(2028, 12, 30))
    assert (found.late, found.known) == (False, False)
    assert "was not read" in found.text
    (one,) = owed(duty(due_read=False), [(Period(2026, 1), ("Placer",))], [], date(2030, 1, 1))
    assert not one.overdue


@given(st.dates(date(2000, 1, 1), date(2060, 12, 31)))
def test_the_extended_day_is_the_next_open_day(day: date) -> None:
    found = due(duty(due_day=day.day), Period(day.year, day.month), "CA")
    if found.extended_day is not None:
        assert found.day < found.extended_day
        assert (found.extended_day - found.day).days <= 5
        assert found.extended_day.weekday() < 5
    else:
        assert found.day.weekday() < 5


def test_a_period_is_owed_once_it_has_ended() -> None:
    found = periods_owed(duty(), date(2025, 11, 20), date(2026, 1, 31))
    assert found == (Period(2025, 11), Period(2025, 12))
    assert periods_owed(duty(), date(2025, 11, 20), date(2026, 2, 1))[-1] == Period(2026, 1)
    assert periods_owed(YEARLY, date(2025, 11, 20), date(2026, 1, 1)) == (Period(2025),)


def test_a_period_before_the_duty_is_in_force_is_not_owed() -> None:
    young = duty(span=Span(start=date(2026, 1, 1)))
    assert periods_owed(young, date(2025, 11, 1), date(2026, 2, 1)) == (Period(2026, 1),)


REGISTERED = (
    Registration("us-ca", "Placer", 2026),
    Registration("us-ca", "Nevada", 2026),
    Registration("us-ca", "Sierra", 2025),
    Registration("us-ny", "Albany", 2026),
)


def test_every_registered_county_is_owed_a_report_used_or_not() -> None:
    assert counties_owed(REGISTERED, duty(), "us-ca", 2026) == ("Nevada", "Placer")
    assert counties_owed(REGISTERED, duty(), "us-ca", 2026, ["Yuba", "placer"]) == (
        "Nevada", "Placer", "Yuba",
    )  # fmt: skip
    assert counties_owed(REGISTERED, duty(nil=False), "us-ca", 2026, ["Placer"]) == ("Placer",)
    assert counties_owed(REGISTERED, duty(nil=False), "us-ca", 2026) == ()
    assert counties_owed(REGISTERED, duty(per="state"), "us-ny", 2026) == ("",)


def test_what_is_owed_and_overdue() -> None:
    both = [(Period(2026, 2), ("Nevada", "Placer")), (Period(2026, 1), ("Nevada", "Placer"))]
    found = owed(duty(), both, {("2026-01", "Placer")}, date(2026, 2, 11), "CA")
    assert [(o.period.key, o.county, o.overdue) for o in found] == [
        ("2026-01", "Nevada", True),
        ("2026-02", "Nevada", False),
        ("2026-02", "Placer", False),
    ]
    on_the_day = owed(duty(), both, set(), date(2026, 2, 10), "CA")
    assert not any(item.overdue for item in on_the_day)


ROW = {
    "jurisdiction": "us-ca", "county": "Placer", "county_number": "31", "year": "2026",
    "month": "1", "site_code": "10", "registration": "99999-11",
    "product": "Ridgeline Crevice Dust", "total_used": "1.72312", "unit": "oz",
    "applications": "3",
}  # fmt: skip


def test_an_overtaken_filing_is_told_line_by_line() -> None:
    other = {**ROW, "registration": "99999-12", "product": "Alder Desiccant Dust"}
    third = {**ROW, "registration": "99999-61", "product": "Granite Tracking Powder"}
    changed = {**ROW, "total_used": "1.09821", "unit": "lb", "applications": "4"}
    found = difference([ROW, other], [third, changed])
    assert [change.kind for change in found] == ["changed", "gone", "added"]
    assert found[0].columns == {
        "total_used": ("1.72312", "1.09821"), "unit": ("oz", "lb"), "applications": ("3", "4"),
    }  # fmt: skip
    assert found[0].text == (
        "changed: us-ca Placer 2026 1 10 99999-11: total_used 1.72312 -> 1.09821; "
        "unit oz -> lb; applications 3 -> 4"
    )
    assert found[2].columns["total_used"] == ("", "1.72312")
    assert "1.72312" in found[1].text
    assert difference([ROW, other], [other, ROW]) == ()


def test_a_renamed_product_is_the_same_line() -> None:
    found = difference([ROW], [{**ROW, "product": "Ridgeline Crevice Dust II"}])
    assert [change.kind for change in found] == ["changed"]
    assert found[0].columns == {"product": ("Ridgeline Crevice Dust", "Ridgeline Crevice Dust II")}


def test_a_product_weighed_and_measured_is_two_lines() -> None:
    measured = {**ROW, "unit": "pt", "total_used": "1.00000"}
    found = difference([ROW, measured], [ROW, {**measured, "total_used": "2.00000"}])
    assert [change.columns for change in found] == [{"total_used": ("1.00000", "2.00000")}]


def test_report_bytes_depend_on_what_is_said_only() -> None:
    head = {"form": "us-ca-monthly", "period": "2026-01", "county": "Placer", "nil": "no"}
    turned = dict(reversed(ROW.items()))
    assert report_bytes(head, [ROW]) == report_bytes(dict(reversed(head.items())), [turned])
    assert report_bytes(head, [ROW]) != report_bytes(head, [])
    assert report_bytes(head, []) == (
        b'{"head":{"county":"Placer","form":"us-ca-monthly","nil":"no","period":"2026-01"},'
        b'"rows":[]}'
    )


@pytest.mark.parametrize(
    ("text", "period"),
    [
        ("2026-01", Period(2026, 1)), ("2026-1", Period(2026, 1)), ("2026", Period(2026)),
        ("January 2026", Period(2026, 1)), (" jan  2026 ", Period(2026, 1)),
        ("Sept. 2026", Period(2026, 9)), ("2026-13", None), ("2026-00", None), ("26-01", None),
        ("Janus 2026", None), ("0000", None), ("", None), ("01-2026", None),
        ("٢٠٢٦", None),
    ],
)  # fmt: skip
def test_a_period_as_written(text: str, period: Period | None) -> None:
    assert read_period(text) == period


def test_a_period_and_its_days() -> None:
    assert (Period(2024, 2).first, Period(2024, 2).last) == (date(2024, 2, 1), date(2024, 2, 29))
    assert (Period(2026).first, Period(2026).last) == (date(2026, 1, 1), date(2026, 12, 31))
    assert (Period(2026, 12).next, Period(2026).next) == (Period(2027, 1), Period(2027))
    assert (Period(2026, 1).text, Period(2026).text) == ("January 2026", "2026")
    assert len(Period(2026).months) == 12
    assert Period(2026, 3).months == (Period(2026, 3),)


def test_holidays_are_loaded_only_when_a_day_is_asked() -> None:
    code = "import sys, ledger.filing; sys.exit('holidays' in sys.modules)"
    root = Path(__file__).resolve().parents[1]
    assert subprocess.run([sys.executable, "-c", code], cwd=root, check=False).returncode == 0
