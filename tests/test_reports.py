"""Reports on paper: the same numbers in the workbook, the CSV file and the PDF; text stays text."""

from __future__ import annotations

import csv
import io
import re
import subprocess
import sys
import time
import zipfile
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import Any

import openpyxl
import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.rulebook.book import Book
from ledger.summarise import Scope, summarise
from ledger.values.summary import Summary
from ledger.values.summary_rows import LINE_COLUMNS, line_rows
from reports.csv_file import guarded, rows_csv, sheet_csv, unguarded
from reports.entries import EntryRow, entries_sheet, entries_values, product_totals
from reports.pdf import document
from reports.sheet import CAUTION, Column, Kind, Note, Number, Sheet, number, plain
from reports.summary import Printing, summary_sheets
from reports.xlsx import workbook
from tests.use_samples import FIRM, JANUARY, PLACE, PRODUCTS, ROOT, SECOND_DAY, book

NASTY = (
    "=1+1", "+1", "-1+2", "@SUM(A1)", "#let x = 1", "$x^2$", "\\#", "*bold* _it_ `raw`",
    "<label> @ref", "// comment", "/* c */", "[x](y)", 'quo"te', "line one\nline two", "\ttab",
    "= Heading", "- item", "a & b < c", "#eval(1)", "{{x}}", "x" * 90, "½ oz µ É ß",
    "\x01control", "\ud800",
)  # fmt: skip


@cache
def rules() -> Book:
    return book()


@cache
def january() -> Summary:
    form = rules().form("us-ca-monthly")
    assert form is not None
    scope = Scope(PLACE, JANUARY, ("Placer", "Nevada", "Sierra"))
    return summarise(SECOND_DAY, PRODUCTS, form, scope, rules().units)


@cache
def sheets() -> tuple[Sheet, ...]:
    form = rules().form("us-ca-monthly")
    assert form is not None
    return summary_sheets(january(), form, Printing(FIRM, date(2026, 2, 3)))


# A day in a workbook has no zone.
A_DAY = datetime(2026, 1, 14)  # noqa: DTZ001


def sheet(**changes: Any) -> Sheet:
    values: dict[str, Any] = {
        "name": "s", "title": "Title", "about": (("Firm", "F"),),
        "columns": (
            Column("Text"), Column("Number", kind=Kind.NUMBER), Column("Day", kind=Kind.DATE),
        ),
        "rows": (("a", Number(Fraction(1, 3), 4), date(2026, 1, 14)),),
    }  # fmt: skip
    return Sheet(**{**values, **changes})


def opened(data: bytes) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(data))


def pages(data: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages]


def table_rows(page: Any, first: str) -> list[list[Any]]:
    """Return the rows below the header line of a worksheet, down to the first blank one."""
    values = [list(row) for row in page.iter_rows(values_only=True)]
    start = next(n for n, row in enumerate(values) if row[0] == first)
    rows = []
    for row in values[start + 1 :]:
        if all(value is None for value in row):
            break
        rows.append(row)
    return rows


# ------------------------------------------------------------------ the same numbers


def test_the_same_numbers_in_workbook_csv_and_pdf() -> None:
    made = sheets()
    book_ = opened(workbook(made))
    text = pages(document(made))
    data = rows_csv(LINE_COLUMNS, line_rows(january()))
    machine = list(csv.DictReader(io.StringIO(data.decode())))
    assert len(machine) == 7
    seen = 0
    for part in made:
        if not part.name.endswith("use report"):
            continue
        printed = next(page for page in text if part.title in page and part.name in page)
        for row in table_rows(book_[part.name], "Line"):
            line, site, registration, product, total, unit, applications = row
            csv_row = machine[line - 1]
            assert (site, registration, product, unit) == (
                csv_row["site_code"], csv_row["registration"], csv_row["product"], csv_row["unit"],
            )  # fmt: skip
            # The workbook holds a binary number; the nearest one to the printed decimal.
            assert total == float(csv_row["total_used"])  # the test alone needs the float
            assert applications == int(csv_row["applications"])
            pattern = rf"{registration}\s+{re.escape(product)}\s+{csv_row['total_used']}\s+{unit}"
            assert re.search(rf"{pattern}\s+{applications}\b", printed), (pattern, printed)
            seen += 1
    assert seen == 7


def test_the_workbook_writes_the_decimal_as_printed() -> None:
    data = workbook(sheets())
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        xml = b"".join(archive.read(n) for n in archive.namelist() if "worksheets/" in n).decode()
    numbers = {Decimal(text) for text in re.findall(r"<v>([0-9.]+)</v>", xml)}
    for row in line_rows(january()):
        assert Decimal(row["total_used"]) in numbers


def test_pounds_of_ingredients_are_the_same_too() -> None:
    made = sheets()
    book_ = opened(workbook(made))
    for part in made:
        if part.name.endswith("ingredients"):
            rows = table_rows(book_[part.name], "Active ingredient")
            printed = "\n".join(pages(document([part])))
            shown = list(csv.reader(io.StringIO(sheet_csv(part).decode())))[1:]
            assert len(rows) == len(shown) == len(part.rows) > 0
            for row, csv_row in zip(rows, shown, strict=True):
                assert Decimal(csv_row[2]) == Decimal(str(row[2])) or row[2] == float(csv_row[2])
                assert csv_row[2] in printed


# ------------------------------------------------------------------ what a licensee signs


def test_a_report_says_who_where_when_and_is_to_be_signed() -> None:
    placer = next(s for s in sheets() if s.name == "Placer 2026-01 use report")
    about = dict(placer.about)
    assert about["Firm"] == "Calloway Home Pest Care"
    assert about["Licence"] == "PR 99031"
    assert about["County"] == "Placer, number 31"
    assert about["Period"] == "January 2026"
    assert about["Prepared on"] == "2026-02-03"
    assert any("Signature" in field for field in placer.signature)
    text = "\n".join(pages(document([placer])))
    for wanted in ("PR 99031", "Placer, number 31", "January 2026", "Page 1 of", "Signature"):
        assert wanted in text
    assert "tamper-evident" in text
    assert "tamper-proof" not in text.casefold()
    assert "3 CCR 6627" in text
    assert "inferred, not verified" in text
    assert "Hearth Mint Spray" in text


def test_a_county_without_use_has_its_own_nil_report() -> None:
    (nil,) = [s for s in sheets() if s.name == "Sierra 2026-01 nil report"]
    assert nil.statement == "No pesticide use to report in Sierra county for January 2026."
    assert nil.rows == ()
    assert dict(nil.about)["County"] == "Sierra, number 46"
    assert nil.statement in "\n".join(pages(document([nil]))).replace("\n", " ")
    cells = [row[0] for row in opened(workbook([nil])).worksheets[0].iter_rows(values_only=True)]
    assert nil.statement in cells


def test_each_county_is_a_sheet_of_its_own() -> None:
    assert [s.name for s in sheets()] == [
        "Nevada 2026-01 use report", "Nevada 2026-01 ingredients", "Placer 2026-01 use report",
        "Placer 2026-01 ingredients", "Sierra 2026-01 nil report",
    ]  # fmt: skip
    assert opened(workbook(sheets())).sheetnames == [s.name for s in sheets()]


# ------------------------------------------------------------------ the workbook


def test_numbers_and_days_are_real() -> None:
    page = opened(workbook([sheet()])).worksheets[0]
    text, num, day = next(page.iter_rows(min_row=5, max_row=5))
    assert (text.data_type, num.data_type, day.data_type) == ("s", "n", "d")
    assert num.value == float("0.3333")
    assert num.number_format == "0.0000"
    assert day.value == A_DAY
    assert day.number_format == "yyyy-mm-dd"


@pytest.mark.parametrize("text", NASTY)
def test_text_is_never_a_formula_in_a_workbook(text: str) -> None:
    made = sheet(
        title=text, about=((text, text),), rows=((text, None, None),), statement=text,
        notes=(Note(text, (text,)),), name=text,
    )  # fmt: skip
    page = opened(workbook([made])).worksheets[0]
    cells = [cell for row in page.iter_rows() for cell in row if cell.value is not None]
    assert all(cell.data_type in {"s", "n", "d"} for cell in cells)
    assert plain(text) in [cell.value for cell in cells]
    with zipfile.ZipFile(io.BytesIO(workbook([made]))) as archive:
        assert b"<f>" not in archive.read("xl/worksheets/sheet1.xml")


def test_the_workbook_is_set_up_for_print() -> None:
    page = opened(workbook([sheet(wide=True)])).worksheets[0]
    assert page.freeze_panes == "A5"
    assert page.print_title_rows == "$4:$4"
    assert [cell.value for cell in page[4]] == ["Text", "Number", "Day"]
    assert page.page_setup.orientation == "landscape"
    assert (page.page_setup.fitToWidth, page.page_setup.fitToHeight) == (1, 0)
    assert page.sheet_properties.pageSetUpPr.fitToPage
    assert page.oddFooter.right.text == "Page &P of &N"


def test_worksheet_names_are_short_plain_and_different() -> None:
    names = opened(workbook([sheet(name="a/b:c*?[d]" + "x" * 40)] * 3)).sheetnames
    assert len(set(names)) == 3
    assert all(len(name) <= 31 and not set(name) & set("[]:*?/\\") for name in names)


def test_a_number_longer_than_a_spreadsheet_keeps_is_written_as_text() -> None:
    long = Number(Fraction("1234567890123.123456789"), 9)
    page = opened(workbook([sheet(rows=(("a", long, None),))])).worksheets[0]
    assert page["B5"].value == "1234567890123.123456789"


def test_an_ampersand_is_no_code_in_a_footer() -> None:
    page = opened(workbook([sheet(title="R&D &P")])).worksheets[0]
    assert page.oddFooter.left.text == "R&&D &&P"


def test_the_same_sheets_give_the_same_bytes() -> None:
    first = (workbook(sheets()), document(sheets()), sheet_csv(sheets()[0]))
    time.sleep(1.1)  # past the second in which a clock would show
    assert (workbook(sheets()), document(sheets()), sheet_csv(sheets()[0])) == first


# ------------------------------------------------------------------ CSV


@given(st.text(max_size=30))
def test_a_guarded_text_runs_nowhere_and_comes_back(text: str) -> None:
    safe = guarded(text)
    assert unguarded(safe) == text
    assert not re.match(r"[=+@\t\n]", safe)
    assert not safe.startswith("-") or re.fullmatch(r"-[0-9]+(\.[0-9]+)?", safe)


def test_csv_is_read_back_as_written() -> None:
    rows = tuple((text, Number(Fraction(1, 4), 2), None) for text in NASTY)
    data = sheet_csv(sheet(rows=rows))
    assert data.count(b"\r\n") == len(NASTY) + 1
    read = list(csv.reader(io.StringIO(data.decode(), newline="")))
    assert read[0] == ["Text", "Number", "Day"]
    assert [unguarded(row[0]) for row in read[1:]] == [plain(text) for text in NASTY]
    assert {row[1] for row in read[1:]} == {"0.25"}


# ------------------------------------------------------------------ the PDF


@pytest.mark.parametrize("text", NASTY)
def test_what_people_write_is_set_as_text(text: str) -> None:
    made = sheet(
        title=f"T {text}", about=(("Firm", text),), rows=((text, Number(Fraction(7), 0), None),),
        notes=(Note(text),),
        columns=(Column("A", text), Column("B", kind=Kind.NUMBER), Column(text)),
    )  # fmt: skip
    got = "".join("".join(pages(document([made], text))).split())
    wanted = "".join(plain(text).split()).replace("\u200b", "")
    assert got.replace("\u200b", "").count(wanted) >= 4


def test_the_pdf_is_tagged_titled_and_repeats_its_header() -> None:
    rows = tuple((f"row {n}", Number(Fraction(n), 2), None) for n in range(200))
    data = document([sheet(rows=rows)], "Calloway Home Pest Care")
    reader = pypdf.PdfReader(io.BytesIO(data))
    root: Any = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert b"pdfuaid:part" in data
    assert reader.metadata is not None
    assert reader.metadata.title == "Title"
    assert reader.metadata.author == "Calloway Home Pest Care"
    text = pages(data)
    assert len(text) > 3
    with_rows = [page for page in text if "row " in page]
    assert all("Number" in page and "Day" in page for page in with_rows)
    assert all(f"Page {n} of {len(text)}" in page for n, page in enumerate(text, 1))


def test_a_letter_that_the_built_in_faces_lack_still_gives_a_pdf() -> None:
    data = document([sheet(rows=(("犬 🐜", None, None),))])
    assert data.startswith(b"%PDF")


def test_every_sheet_carries_the_caution() -> None:
    assert all(made.caution == CAUTION for made in sheets())
    assert "come first" in CAUTION


# ------------------------------------------------------------------ values


def test_a_number_shows_the_places_it_needs() -> None:
    assert [number(Fraction(n)).text for n in ("3/4", "20.5", "2", "1/3")] == [
        "0.75", "20.5", "2", "0.333333333",
    ]  # fmt: skip
    assert number(Fraction("0.12345678901")).text == "0.123456789"


def test_a_row_of_another_length_is_refused() -> None:
    with pytest.raises(ValueError, match="2 of 3 cells"):
        sheet(rows=(("a", None),))


def test_the_libraries_are_loaded_when_a_report_is_written() -> None:
    code = (
        "import sys, reports.summary, reports.entries, reports.csv_file, reports.pdf;"
        "sys.exit(bool({'openpyxl', 'typst', 'pandas'} & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


# ------------------------------------------------------------------ entries


def entry(seq: int, used: str | None, unit: str, **changes: Any) -> EntryRow:
    values: dict[str, Any] = {
        "seq": seq, "date": date(2026, 1, 14), "start": "08:30", "applicator": "Tobias Renner",
        "licence": "FR 90427", "customer": "=cmd", "address": "118 TOLLHOUSE LN, AUBURN, CA 95603",
        "county": "Placer", "product": "Ridgeline Crevice Dust", "registration": "99999-11",
        "amount": f"{used} {unit}", "used": None if used is None else Fraction(used), "unit": unit,
        "method": "void", "places": "door frame; sill plate", "findings": 0, "state": "current",
        "recorded_at": "2026-01-14T18:00:00Z", "late": False,
    }  # fmt: skip
    return EntryRow(**{**values, **changes})


ENTRIES = (
    entry(5, "3/4", "oz"),
    entry(6, "1/4", "oz", state="amended"),
    entry(7, "16", "oz", state="struck"),
    entry(8, "1/16", "lb", late=True),
    entry(9, "1", "fl oz", product="Ridgeline Residual Concentrate", registration="99999-21"),
    entry(10, None, "", product="Tarn Space Aerosol", registration="99999-41"),
)


def test_entries_total_what_stands() -> None:
    units = rules().units
    dust, spray, aerosol = product_totals(ENTRIES, units)
    assert (dust.used, dust.unit, dust.lines) == (Fraction("1.75"), "oz", 2)
    assert (spray.used, spray.unit) == (Fraction(1), "fl oz")
    assert (aerosol.lines, aerosol.untold) == (1, 1)
    made = entries_sheet(ENTRIES, units)
    used = [column.name for column in made.columns].index("Used")
    assert [row[used] for row in made.totals] == [
        Number(Fraction("1.75"), 2), Number(Fraction(1), 0), "cannot tell",
    ]  # fmt: skip


def test_entries_as_csv_workbook_and_values() -> None:
    made = entries_sheet(ENTRIES, rules().units, "Entries of January 2026")
    read = list(csv.DictReader(io.StringIO(sheet_csv(made).decode())))
    assert [row["Entry"] for row in read] == ["5", "6", "7", "8", "9", "10"]
    assert read[0]["Customer"] == "'=cmd"
    assert [row["Used"] for row in read][:4] == ["0.75", "0.25", "16", "0.0625"]
    assert [row["Late"] for row in read][3] == "late"
    page = opened(workbook([made])).worksheets[0]
    rows = table_rows(page, "Entry")
    assert rows[0][1] == A_DAY
    assert rows[0][5] == "=cmd"
    assert [row[11] for row in rows[:4]] == [0.75, 0.25, 16, 0.0625]
    values = entries_values(ENTRIES, rules().units)
    assert values["entries"][3]["used"] == "0.0625"
    assert values["entries"][5]["used"] is None
    assert values["totals"][0] == {
        "product": "Ridgeline Crevice Dust", "registration": "99999-11", "used": "1.75",
        "unit": "oz", "lines": 2, "untold": 0,
    }  # fmt: skip


def test_no_entries_is_said() -> None:
    made = entries_sheet((), rules().units)
    assert made.statement == "No entry answers this question."
    assert "No entry answers this question." in pages(document([made]))[0]


@settings(max_examples=25, deadline=None)
@given(st.text(max_size=60), st.fractions(max_denominator=10**4))
def test_any_text_and_number_goes_into_every_file(text: str, exact: Fraction) -> None:
    made = sheet(rows=((text, number(exact), None),), title=text, name=text)
    page = opened(workbook([made])).worksheets[0]
    assert (page["A5"].value or "") == plain(text)
    assert document([made]).startswith(b"%PDF")
    assert number(exact).text in sheet_csv(made).decode()


def test_a_long_list_of_entries_stays_small_in_memory() -> None:
    rows = tuple(replace(ENTRIES[0], seq=n) for n in range(3000))
    data = workbook([entries_sheet(rows, rules().units)])
    page = openpyxl.load_workbook(io.BytesIO(data), read_only=True).worksheets[0]
    assert page["A3003"].value == 2999
