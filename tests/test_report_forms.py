"""Every shipped form built from entries: recorded sheets in, the regulator's lines out."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, date, datetime
from fractions import Fraction

import pytest

from ledger.cli.papers import county_papers
from ledger.flow.correcting import amend
from ledger.flow.filing_register import (
    FilingWish,
    file_report,
    list_filings,
    plan_filing,
)
from ledger.flow.periods import entries_behind, summarise_period
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import Workspace, WorkspaceProblem, read_rules
from ledger.listing import text_of
from ledger.refusals import refused
from ledger.values.amount import Quantity
from ledger.values.period import Period
from ledger.values.summary import Summary
from reports.listing import pipe_faults, pipe_file
from tests.day_sheets import sheet
from tests.workspaces import SetClock, sample_workspace

YEAR = Period(2026)
NEW_YORK = {
    "address": "14 Alder Street", "city": "Albany", "state": "NY", "zip": "12207",
    "county": "Albany", "customer": "R. Teller",
}  # fmt: skip
"""A site of the second invented firm."""

NY_FIRM = """
[[person.licence]]
number = "T1234567"
title = "technician"
jurisdiction = "us-ny"
work = ["structural"]
level = "certified"
restricted = true
from = 2025-01-01
to = 2027-12-31
"""
IDLE = NY_FIRM.replace("T1234567", "C7654321")


@pytest.fixture
def firm(tmp_path) -> Workspace:
    """The invented firm in New York: one technician who works, one applicator who does not."""
    found = sample_workspace(
        tmp_path / "firm", clock=SetClock(datetime(2027, 1, 12, 20, tzinfo=UTC))
    )
    path = found.root / "useledger.toml"
    text = path.read_text(encoding="utf-8").replace('licence = "PR 99031"', 'licence = "90031"')
    before, after = text.split('key = "renner"')
    owner = before.replace("[[person.licence]]", f"{IDLE}\n[[person.licence]]", 1)
    worker = after.replace("[[person.licence]]", f"{NY_FIRM}\n[[person.licence]]", 1)
    path.write_text(f'{owner}key = "renner"{worker}', encoding="utf-8")
    found.book = read_rules(found.root)
    assert found.book.faults == ()
    return found


def booked(firm: Workspace, *lines: dict[str, str], name: str = "day.csv") -> list[int]:
    done = record_sheet(firm, name, sheet(*lines), "renner")
    assert done.count("booked") == len(lines), [o.line.faults for o in done.outcomes]
    return [outcome.seq or 0 for outcome in done.outcomes]


def made(firm: Workspace, form: str, period: Period = YEAR) -> Summary:
    place = "us-ca" if form in {"plain-year", "ingredients-year"} else form[:5]
    return summarise_period(firm, period, place, form)[0]


def lines_of(firm: Workspace, form: str, period: Period = YEAR) -> list[list[str]]:
    """Return the report's lines as a reader of the file sees them."""
    found = firm.book.form(form)
    assert found is not None
    return [
        [text_of(column, row, found, coded=False) for column in found.columns]
        for row in made(firm, form, period).rows
    ]


# ------------------------------------------------------------------ New York


def test_new_york_is_a_file_of_single_applications(firm: Workspace) -> None:
    booked(
        firm, {**NEW_YORK, "amount": "0.25 oz"},
        {**NEW_YORK, "product": "ridgeline-sc", "amount": "1 gal", "basis": "mix",
         "dilution": "1 fl oz/gal", "places": "foundation wall", "method": "band",
         "setting": "outdoor", "extent": "120 ft"},
        {**NEW_YORK, "amount": "0.25 oz", "line": "9", "unit": "Apt 4"},
    )  # fmt: skip
    form = firm.book.form("us-ny-yearly")
    assert form is not None
    data = pipe_file(made(firm, "us-ny-yearly"), form)
    rows = [row.split("|") for row in data.decode("ascii").split("\r\n")]
    # Text file specification: every delimiter present, one record a line, CR LF.
    assert rows.pop() == [""]
    assert {len(row) for row in rows} == {16}
    assert rows[0] == [
        "T1234567", "90031", "99999-11", "Ridgeline Crevice Dust", "0.2500", "OZ", "01/14/2026",
        "", "01", "14 ALDER ST", "ALBANY", "12207", "", "", "", "",
    ]  # fmt: skip
    # Equal work at another unit of the house stays a line of its own: no sums.
    assert [row[9] for row in rows].count("14 ALDER ST APT 4") == 1
    liquid = next(row for row in rows if row[2] == "99999-21")
    assert (liquid[4], liquid[5], liquid[12]) == ("1.0000", "FL", "1 FL/GL")


def test_new_york_lists_people_who_applied_nothing(firm: Workspace) -> None:
    booked(firm, NEW_YORK)
    form = firm.book.form("us-ny-people")
    assert form is not None
    data = pipe_file(made(firm, "us-ny-people"), form)
    # Form 26A: indicator 0 made applications, 3 none, and then the names are empty.
    assert data.decode("ascii") == ("C7654321|90031|||3\r\nT1234567|90031|Tobias|Renner|0\r\n")


def test_a_year_without_work_in_new_york_is_nil_and_owed_all_the_same(firm: Workspace) -> None:
    assert made(firm, "us-ny-yearly").nil
    people = made(firm, "us-ny-people")
    assert [row.texts["applied"] for row in people.rows] == ["no", "no"]


@pytest.mark.parametrize(
    ("value", "text", "says"),
    [
        # Report dictionary of the bureau: each, block and station are refused.
        ("unit", "each", "weight or a volume"),
        ("unit", "block", "weight or a volume"),
        ("unit", "station", "weight or a volume"),
        ("address", "PO Box 12", "post office box"),
        ("address", "P.O. Box 12", "post office box"),
        ("address", "Post Office Box 12", "post office box"),
        ("address", "x" * 51, "50 characters"),
        ("registration", "99999-NY-1", "establishment number"),
        ("registration", "99999", "two or three groups"),
        ("registration", "1-2-3-4", "two or three groups"),
        ("zip", "1220", "five digits"),
        ("business", "PR 99031", "five digits"),
        ("licence", "", "names the applicator"),
        ("county_number", "", "county code"),
    ],
)
def test_what_new_york_refuses(firm: Workspace, value: str, text: str, says: str) -> None:
    form = firm.book.form("us-ny-yearly")
    assert form is not None
    found = [
        f for f in refused({value: text}, 17, form, firm.book.units) if "no code" not in f.what
    ]
    assert len(found) == 1
    assert says in found[0].what
    assert (found[0].origin.file, found[0].origin.column) == ("entry 17", value)
    assert found[0].way_out


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("unit", "oz"), ("unit", "g"), ("unit", "fl oz"), ("address", "x" * 50),
        ("address", "12 Boxwood Lane"), ("address", "4 Post Office Road"),
        ("registration", "99999-11"), ("registration", "99999-11-12345"), ("zip", "12207"),
    ],
)  # fmt: skip
def test_what_new_york_takes(firm: Workspace, value: str, text: str) -> None:
    form = firm.book.form("us-ny-yearly")
    assert form is not None
    assert list(refused({value: text}, 17, form, firm.book.units)) == []


def test_a_unit_without_a_code_is_refused(firm: Workspace) -> None:
    form = firm.book.form("us-ny-yearly")
    assert form is not None
    (fault,) = refused({"unit": "lb"}, 17, form, firm.book.units)
    assert "no code" in fault.what


def test_a_refused_value_stops_the_filing_and_names_the_entry(firm: Workspace) -> None:
    (seq,) = booked(firm, {**NEW_YORK, "address": f"14 {'Long' * 13} Street"})
    wish = FilingWish(date(2027, 1, 12), "on line", "calloway", True, "us-ny", None, None)
    with pytest.raises(WorkspaceProblem, match=f"entry {seq}: REPORT-REFUSED address"):
        plan_filing(firm, YEAR, wish)
    amend(firm, seq, {"address": "14 Long Street"}, "shortened", "calloway")
    summary, form, _, duty, counties = plan_filing(firm, YEAR, wish)
    assert duty is not None
    copies = county_papers(firm, summary, form, counties)
    assert {"26-2026.txt", "26a-2026.txt"} <= set(copies[""])
    (done,) = file_report(firm, YEAR, wish, copies)
    # ECL 33-1205(1): on or before 1 February.
    assert done.due is not None
    assert done.due.day == date(2027, 2, 1)
    assert done.lateness is not None
    assert not done.lateness.late


def test_a_letter_that_ascii_has_not_is_bared_or_refused(firm: Workspace) -> None:
    form = firm.book.form("us-ny-people")
    assert form is not None
    summary = made(firm, "us-ny-people")
    row = replace(
        summary.rows[0], texts={**summary.rows[0].texts, "first_name": "Zoë", "applied": "yes"}
    )
    assert b"|Zoe|" in pipe_file(replace(summary, rows=(row,)), form)
    bad = replace(row, texts={**row.texts, "first_name": "李"})
    (fault,) = pipe_faults(replace(summary, rows=(bad,)), form)
    assert "plain letters" in fault.way_out


def test_an_amended_application_is_the_same_line_of_the_filed_report(firm: Workspace) -> None:
    seqs = booked(
        firm, {**NEW_YORK, "amount": "0.25 oz"}, {**NEW_YORK, "line": "2", "amount": "1 oz"}
    )
    wish = FilingWish(date(2027, 1, 12), "on line", "calloway", True, "us-ny", None, None)
    file_report(firm, YEAR, wish, {})
    amend(firm, seqs[0], {"amount": "0.5 oz"}, "weighed again", "calloway")
    (row,) = list_filings(firm)[0]
    (change,) = row.changes
    assert (change.kind, change.columns) == ("changed", {"total_used": ("0.2500", "0.5000")})
    file_report(firm, YEAR, wish, {})
    first, second = list_filings(firm)[0]
    assert (first.standing, second.standing, second.changes) == (False, True, ())
    with firm.store.reading() as reader:  # both versions are kept
        kept = [reader.blob(item.entry.body["report"]) for item in (first, second)]
    assert None not in kept
    assert kept[0] != kept[1]


# ------------------------------------------------------------------ the others


def test_california_schools_are_listed_and_nothing_else(firm: Workspace) -> None:
    seqs = booked(
        firm, {},
        {"site kind": "school", "address": "9 Tolland Road", "customer": "Gold Hill School"},
        {"site kind": "child day care", "address": "2 Quartz Way", "customer": "Quartz Day Care"},
    )  # fmt: skip
    assert lines_of(firm, "us-ca-school") == [
        ["Placer", "2026-01-14", "08:05", "Gold Hill School", "9 TOLLAND RD", "AUBURN",
         "door frame", "Ridgeline Crevice Dust", "99999-11", "0.25000", "oz"],
        ["Placer", "2026-01-14", "08:05", "Quartz Day Care", "2 QUARTZ WAY", "AUBURN",
         "door frame", "Ridgeline Crevice Dust", "99999-11", "0.25000", "oz"],
    ]  # fmt: skip
    summary = made(firm, "us-ca-school")
    behind = [entry.seq for row in summary.rows for entry in entries_behind(firm, summary, row)]
    assert sorted(behind) == seqs[1:]


def test_california_schools_want_the_time(firm: Workspace) -> None:
    booked(firm, {"site kind": "school", "start": "", "end": ""})
    (fault,) = made(firm, "us-ca-school").refused
    assert "the time of each use" in fault.what


MAINE = {
    "address": "3 Mill Street", "city": "Orono", "state": "ME", "zip": "04473",
    "county": "Penobscot",
}  # fmt: skip


def test_maine_adds_by_kind_of_site_with_the_area(firm: Workspace) -> None:
    booked(
        firm, {**MAINE, "amount": "4 oz", "extent": "100 sq ft"},
        {**MAINE, "amount": "12 oz", "extent": "50 sq ft", "line": "2"},
        {**MAINE, "amount": "1 oz", "extent": "10 ft", "line": "3"},
        {**MAINE, "amount": "2 oz", "site kind": "school", "address": "5 Mill Street"},
    )  # fmt: skip
    assert lines_of(firm, "us-me-yearly") == [
        ["dwelling", "99999-11", "Ridgeline Crevice Dust", "1.062500", "lb", "150.00", "3"],
        ["school", "99999-11", "Ridgeline Crevice Dust", "0.125000", "lb", "", "1"],
    ]
    remarks = [note.text for note in made(firm, "us-me-yearly").remarks]
    assert any("told by 2 of 3" in text for text in remarks)


@pytest.mark.parametrize("state", ["MA", "CT"])
def test_names_and_total_amounts_of_a_state(firm: Workspace, state: str) -> None:
    jurisdiction = f"us-{state.lower()}"
    where = {"state": state, "city": "Salem", "zip": "01970" if state == "MA" else "06420"}
    booked(
        firm, {**where, "county": "", "amount": "1 lb"},
        {**where, "county": "", "line": "2", "amount": "8 oz"},
    )  # fmt: skip
    summary = made(firm, f"{jurisdiction}-yearly")
    (line,) = summary.lines
    assert (line.registration, line.total, line.unit, line.applications) == (
        "99999-11", Fraction(3, 2), "lb", 2,
    )  # fmt: skip
    assert len(entries_behind(firm, summary, line)) == 2


def test_arkansas_lists_the_work_of_a_month(firm: Workspace) -> None:
    where = {"state": "AR", "city": "Conway", "zip": "72032", "county": ""}
    booked(firm, where, {**where, "date": "2026-02-02", "line": "2"})
    (line,) = lines_of(firm, "us-ar-monthly", Period(2026, 1))
    assert line[:3] == ["2026-01-14", "M. Okafor", "118 TOLLHOUSE LN"]
    _, _, place, duty = summarise_period(firm, Period(2026, 1), "us-ar")
    assert duty is not None
    assert duty.due_day == 15  # Ark. Code 17-37-221
    assert place.state == "AR"


def test_a_states_pounds_of_active_ingredient(firm: Workspace) -> None:
    booked(firm, {"amount": "1 lb"}, {"amount": "8 oz", "line": "2", "address": "9 Tolland Road"})
    (use,) = made(firm, "ingredients-year").ingredients
    assert (use.ingredient, use.county, use.pounds) == ("cyfluthrin", "", Fraction("0.0015"))


def test_a_plain_form_by_a_file_alone(firm: Workspace) -> None:
    booked(firm, {"amount": "1 lb"}, {"amount": "8 oz", "line": "2"})
    assert lines_of(firm, "plain-year") == [
        ["Placer", "dwelling", "Ridgeline Crevice Dust", "99999-11", "1.50000", "lb",
         "1.500000000", "2", "1"],
    ]  # fmt: skip
    text = firm.root / "rules" / "forms" / "mine.toml"
    shipped = next(
        data for path, data in firm.book.texts.items() if path.endswith("plain-year.toml")
    )
    text.write_bytes(
        shipped.replace(b'id = "plain-year"', b'id = "mine"').replace(
            b'value = "county"\n', b'value = "pests"\n'
        )
    )
    firm.book = read_rules(firm.root)
    assert firm.book.faults == ()
    summary, form, _, _ = summarise_period(firm, YEAR, "us-ca", "mine")
    assert [text_of(form.columns[0], row, form, coded=False) for row in summary.rows] == ["ants"]


def test_printed_and_machine_forms_say_the_same(firm: Workspace) -> None:
    booked(firm, NEW_YORK, {**NEW_YORK, "line": "2", "amount": "1.5 g"})
    summary, form, _, _ = summarise_period(firm, YEAR, "us-ny", "us-ny-yearly")
    papers = county_papers(firm, summary, form, [""])[""]
    table = next(
        data for name, data in papers.items() if name.endswith(".csv") and "people" not in name
    )
    printed = [row[1:] for row in csv.reader(io.StringIO(table.decode()))][1:]
    sent = [row.split("|") for row in papers["26-2026.txt"].decode().split("\r\n")[:-1]]
    assert [(row[2], row[4]) for row in printed] == [(row[2], row[4]) for row in sent]
    assert sum(name.endswith(".pdf") for name in papers) == 2
    amounts = [Quantity(row.total or Fraction(), row.unit) for row in summary.rows]
    assert {(q.value, q.unit) for q in amounts} == {(Fraction(1, 4), "oz"), (Fraction(3, 2), "g")}
