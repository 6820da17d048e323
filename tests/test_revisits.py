"""When to come back: lasting times, the newest work at a place, days on the boundary."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from ledger.deadlines import Sort
from ledger.flow.correcting import strike
from ledger.flow.due import what_is_due
from ledger.flow.recording import record_sheet
from ledger.flow.revisits import FORGOTTEN, revisits
from ledger.preparing.lasting import PRACTICE, lasts_of, read_lasts, revisits_of
from tests.cases import amount, book, measures, use
from tests.day_sheets import sheet
from tests.workspaces import sample_workspace

NO_DAYS = timedelta(0)


def test_a_dust_lasts_six_to_eight_months_and_a_liquid_two_to_three():
    # common practice, no source (samples/products.md)
    dust, liquid = lasts_of(use(), book()), lasts_of(use("hearth-mint"), book())
    assert dust is not None
    assert dust.window(date(2026, 1, 14)) == (date(2026, 7, 14), date(2026, 9, 14))
    assert liquid is not None
    assert liquid.window(date(2026, 1, 14)) == (date(2026, 3, 14), date(2026, 4, 14))
    assert liquid.source == PRACTICE
    assert lasts_of(use("marsh-gel"), book()) is None


def test_a_labels_own_figure_wins():
    def longer(file):
        return replace(file, lasts="10 weeks (label in hand)") if file.product else file

    rules = replace(book(), labels=tuple(map(longer, book().labels)))
    lasts = lasts_of(use(), rules)
    assert lasts is not None
    assert lasts.window(date(2026, 1, 14)) == (date(2026, 3, 25), date(2026, 3, 25))
    assert "label in hand" in lasts.source


def test_months_end_on_the_last_day_there_is():
    lasts = read_lasts("6 to 8 months", "made")
    assert lasts is not None
    assert lasts.window(date(2025, 8, 31)) == (date(2026, 2, 28), date(2026, 4, 30))


@pytest.mark.parametrize("text", ["", "long", "months", "until it rains"])
def test_what_is_no_lasting_time_is_none(text):
    assert read_lasts(text, "made") is None


@pytest.mark.parametrize(
    ("text", "least", "most", "unit"),
    [("90 days", 90, 90, "day"), ("2-3 months", 2, 3, "month"), ("1 year", 1, 1, "year")],
)
def test_lasting_times_as_written(text, least, most, unit):
    lasts = read_lasts(text, "made")
    assert lasts is not None
    assert (lasts.least, lasts.most, lasts.unit) == (least, most, unit)


def test_a_revisit_is_due_on_its_first_day_and_overdue_after_its_last():
    day = use(date=date(2026, 1, 14))
    assert revisits_of([day], book(), date(2026, 7, 13), NO_DAYS) == ()
    (found,) = revisits_of([day], book(), date(2026, 7, 13), timedelta(days=1))
    assert found.state(date(2026, 7, 13)) == "not yet"
    assert found.state(date(2026, 7, 14)) == "due"
    assert found.state(date(2026, 9, 14)) == "due"
    assert found.state(date(2026, 9, 15)) == "overdue"
    assert (found.site, found.customer, found.product_key) == ("S0001", "M. Okafor", "99999-11")


def test_newer_work_with_the_product_there_replaces_older_work():
    older, newer = use(date=date(2026, 1, 14)), use(date=date(2026, 5, 1))
    assert revisits_of([newer, older], book(), date(2026, 8, 1), NO_DAYS) == ()
    outside = use(date=date(2026, 1, 14), setting="at structure", method="crack and crevice")
    (found,) = revisits_of([newer, older, outside], book(), date(2026, 8, 1), NO_DAYS)
    assert found.setting == "at structure"


def test_work_still_to_come_does_not_count():
    past, future = use(date=date(2026, 1, 14)), use(date=date(2026, 12, 1))
    (found,) = revisits_of([past, future], book(), date(2026, 8, 1), NO_DAYS)
    assert found.done_on == date(2026, 1, 14)


def test_soonest_first():
    spray = use("hearth-mint", method="spot", amount=amount(4, "fl oz"), extent=measures(spots=3))
    found = revisits_of([use(), spray], book(), date(2027, 1, 1), NO_DAYS)
    assert [item.product_name for item in found] == ["Hearth Mint Spray", "Ridgeline Crevice Dust"]


def test_the_ledger_lists_current_lines_only(tmp_path):
    firm = sample_workspace(tmp_path / "firm")
    lines = ({}, {"product": "ridgeline-sc", "method": "band", "places": "foundation",
                  "amount": "1/2 gal", "basis": "mix", "dilution": "1 fl oz/gal",
                  "extent": "3 ft high; 600 sq ft"})  # fmt: skip
    done = record_sheet(firm, "day.csv", sheet(*lines), "renner")
    on = date(2026, 8, 1)
    with firm.store.reading() as reader:
        found = revisits(reader, firm.book, on)
    assert [item.state(on) for item in found] == ["overdue", "due"]
    assert found[0].due_to == date(2026, 4, 14)
    seq = done.outcomes[1].seq
    assert seq is not None
    strike(firm, seq, "written twice", "renner")
    with firm.store.reading() as reader:
        assert [item.product_key for item in revisits(reader, firm.book, on)] == ["99999-11"]
        assert revisits(reader, firm.book, date(2026, 9, 14) + FORGOTTEN) != ()
        assert revisits(reader, firm.book, date(2026, 9, 15) + FORGOTTEN) == ()


def test_due_lists_revisits_with_their_days_and_never_as_overdue(tmp_path):
    firm = sample_workspace(tmp_path / "firm")
    record_sheet(firm, "day.csv", sheet({}), "renner")

    def listed(on):
        return [item for item in what_is_due(firm, on, 0) if item.sort is Sort.REVISIT]

    assert listed(date(2026, 7, 13)) == []
    (due,) = listed(date(2026, 7, 14))  # six months after, common practice, no source
    assert (due.day, due.late) == (date(2026, 7, 14), False)
    assert "S0001, at structure" in due.what
    assert PRACTICE in due.source
    (passed,) = listed(date(2026, 9, 15))
    assert "that day has passed" in passed.why
    assert not passed.late
