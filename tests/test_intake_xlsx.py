"""A workbook is read worksheet by worksheet; what is no day sheet is refused with a way out."""

from __future__ import annotations

import datetime as dt
import io
import struct
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.comments import Comment

from ledger.intake import read_sheet
from ledger.intake import workbook as package
from ledger.intake.workbook import column_letters, column_number
from ledger.values.draft import Draft, Sheet

FIXTURES = Path(__file__).parent.parent / "fixtures"
HEAD = ("line", "date", "start", "applicator", "address", "state", "product", "amount", "note")
LINE = (
    1,
    "2026-01-14",
    "08:05",
    "renner",
    "118 Tollhouse Lane",
    "CA",
    "ridgeline-dust",
    "1 oz",
    "",
)


def saved(book: openpyxl.Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def book_of(*rows: Sequence[Any], head: Sequence[str] = HEAD) -> openpyxl.Workbook:
    book = openpyxl.Workbook()
    page = book.active
    page.title = "applications"
    page.append(list(head))
    for row in rows:
        page.append(list(row))
    return book


def sheet(data: bytes | openpyxl.Workbook, *, month_first: bool = True) -> Sheet:
    return read_sheet("day.xlsx", data if isinstance(data, bytes) else saved(data), month_first)


def repacked(data: bytes, change: Callable[[str, bytes], bytes | None]) -> bytes:
    """Return the workbook with each part passed through ``change`` (None leaves it out)."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            changed = change(name, old.read(name))
            if changed is not None:
                new.writestr(name, changed)
    return out.getvalue()


def with_page(data: bytes, old: str, new: str) -> bytes:
    """Return the workbook with text replaced in the XML of its first worksheet."""

    def change(name: str, part: bytes) -> bytes:
        if not name.endswith("sheet1.xml"):
            return part
        assert old.encode() in part
        return part.replace(old.encode(), new.encode())

    return repacked(data, change)


def codes(read: Sheet) -> list[str]:
    return [fault.code for fault in read.faults]


def draft_codes(draft: Draft) -> list[str]:
    return [fault.code for fault in draft.faults]


# --- the sample, against the CSV file of the same day ---


def test_the_workbook_of_the_day_says_what_its_csv_says():
    folder = FIXTURES / "samples"
    book = sheet((folder / "day-2026-01-14.xlsx").read_bytes())
    text = read_sheet("day.csv", (folder / "day-2026-01-14.csv").read_bytes(), month_first=True)
    assert book.faults == ()
    assert book.remarks == ()
    assert len(book.drafts) == len(text.drafts) == 9
    for one, other in zip(book.drafts, text.drafts, strict=True):
        assert one.faults == ()
        assert one.origin.row == other.origin.row
        assert {h: c.text for h, c in one.cells.items()} == {
            h: c.text for h, c in other.cells.items()
        }
    origin = book.drafts[1].at("date")
    assert (origin.row, origin.column, origin.cell, origin.page) == (
        2,
        "date",
        "B2",
        "applications",
    )
    assert book.drafts[1].cells["amount"].origin.cell == "Q3"
    assert [draft.text("condition") for draft in book.observations] == [
        "empties at the footing", "firewood stacked on the siding", "screen torn",
        "mulch above the sill",
    ]  # fmt: skip
    assert book.observations[3].text("date") == "2026-01-14"


@pytest.mark.parametrize(
    ("column", "letters"), [(0, "A"), (25, "Z"), (26, "AA"), (701, "ZZ"), (16383, "XFD")]
)
def test_column_letters(column: int, letters: str):
    assert column_letters(column) == letters
    assert column_number(letters) == column


# --- worksheets ---


@pytest.mark.parametrize("title", ["Applications", " APPLICATIONS", "Sheet1"])
def test_the_worksheet_of_the_lines_is_found(title: str):
    book = book_of(LINE)
    book.active.title = title
    book.create_sheet("lists").append(["renner"])
    book.create_sheet("Observations")
    assert len(sheet(book).drafts) == 1


def test_two_worksheets_that_may_be_meant_are_named():
    book = book_of(LINE)
    book.active.title = "Monday"
    book.create_sheet("Tuesday")
    read = sheet(book)
    assert codes(read) == ["SHEET-PAGE"]
    assert "'Monday', 'Tuesday'" in read.faults[0].what


def test_a_hidden_worksheet_and_hidden_rows_are_read_and_remarked():
    book = book_of(LINE, ("2",), ("3",))
    book.create_sheet("cover")
    book.active = 1
    book["applications"].sheet_state = "hidden"
    book["applications"].row_dimensions[3].hidden = True
    read = sheet(book)
    assert len(read.drafts) == 3
    assert any("hidden and was read" in remark for remark in read.remarks)
    assert any(remark.endswith("hidden rows were read as well: 3") for remark in read.remarks)


def test_observations_repeat_their_date_and_address():
    book = book_of(LINE)
    page = book.create_sheet("observations")
    page.append(["date", "address", "place", "condition", "advice"])
    page.append(["2026-01-14", "118 Tollhouse Lane", "north wall", "firewood", "move it"])
    page.append([None, None, "downspout", "empties at the footing", None])
    second = sheet(book).observations[1]
    assert second.text("address") == "118 Tollhouse Lane"
    assert second.at("address").row == 2
    assert second.text("advice") == ""


def test_a_wrong_heading_of_the_observations_names_its_cell():
    book = book_of(LINE)
    book.create_sheet("observations").append(["date", "address", "place", "conditon"])
    read = sheet(book)
    assert codes(read) == ["SHEET-HEADING", "SHEET-HEADING-MISSING"]
    assert (read.faults[0].origin.page, read.faults[0].origin.cell) == ("observations", "D1")


def test_observations_alone_are_a_sheet_and_headings_alone_are_not():
    book = book_of()
    page = book.create_sheet("observations")
    page.append(["date", "site", "condition"])
    assert codes(sheet(book)) == ["SHEET-NO-LINES"]
    page.append(["2026-01-14", "S1", "screen torn"])
    assert codes(sheet(book)) == []
    assert codes(sheet(book_of(head=()))) == ["SHEET-EMPTY"]


def test_rows_may_start_anywhere_and_blank_ones_do_not_end_the_visit():
    book = openpyxl.Workbook()
    page = book.active
    for column, heading in enumerate(HEAD):
        page.cell(4, column + 3, heading)
        page.cell(6, column + 3, LINE[column] or None)
    page.cell(8, 3, " \u00a0")
    page.cell(9, 3, 2)
    first, second = sheet(book).drafts
    assert (first.origin.row, first.at("date").cell) == (6, "D6")
    assert second.origin.row == 9
    assert second.text("address") == "118 Tollhouse Lane"


def test_text_outside_the_headings_names_its_cell():
    read = sheet(book_of((*LINE, "checked")))
    assert draft_codes(read.drafts[0]) == ["ROW-TOO-WIDE"]
    assert "cell J2" in read.drafts[0].faults[0].what


# --- cells ---


def test_rich_text_comments_and_written_escapes():
    rich = CellRichText("118 ", TextBlock(InlineFont(b=True), "Tollhouse"), " Lane")
    book = book_of((1, "2026-01-14", "08:05", "renner", rich, "CA", "a", "1 oz", "one_x000D_\ntwo"))
    book.active["G2"].comment = Comment("not part of the record", "x")
    draft = sheet(book).drafts[0]
    assert draft.text("address") == "118 Tollhouse Lane"
    assert draft.text("product") == "a"
    assert draft.text("note") == "one two"
    assert draft.faults == ()


def test_merged_visit_cells_say_the_same_downwards_even_for_another_visit():
    book = book_of(
        (1, "2026-01-14", "08:05", "renner", "a", "CA", "x", "1 oz", ""),
        (2, None, "10:00", None, "b", None, "x", "1 oz", ""),
        (3, "2026-01-15", "10:00", "renner", "b", "CA", "x", "1 oz", ""),
    )
    book.active.merge_cells("B2:B3")
    first, second, third = sheet(book).drafts
    assert (second.text("date"), second.at("date").cell) == ("2026-01-14", "B2")
    assert "date" not in second.typed
    assert (second.text("applicator"), second.faults) == ("", ())
    assert third.text("date") == "2026-01-15"
    assert first.faults == ()


def test_other_merged_cells_hold_the_rows_that_they_leave_open():
    book = book_of(LINE, (2, *[None] * 5, "y", None, None), (3, *[None] * 5, "y", "2 oz", None))
    book.active.merge_cells("H2:H3")
    book.active.merge_cells("G4:H4")
    first, second, third = sheet(book).drafts
    assert first.faults == ()
    assert draft_codes(second) == ["CELL-MERGED"]
    assert second.faults[0].what.startswith("cell H3: is merged with H2")
    assert second.faults[0].origin.column == "amount"
    assert draft_codes(third) == ["CELL-MERGED"]


def test_a_merge_over_blank_rows_makes_no_line():
    book = book_of(LINE)
    book.active.merge_cells("B2:B90")
    assert len(sheet(book).drafts) == 1


# --- files that are no workbook, or a hostile one ---


def test_other_packed_files_are_refused_with_their_way_out():
    def packed(**parts: bytes) -> bytes:
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as file:
            for name, part in parts.items():
                file.writestr(name, part)
        return out.getvalue()

    whole = saved(book_of(LINE))
    assert codes(sheet(packed())) == ["SHEET-FORMAT"]
    assert codes(sheet(packed(mimetype=b"application/vnd.oasis"))) == ["SHEET-FORMAT"]
    assert codes(sheet(packed(**{"xl/workbook.bin": b""}))) == ["SHEET-FORMAT"]
    assert codes(sheet(packed(**{"xl/workbook.xml": b"<a/>"}))) == ["SHEET-DAMAGED"]
    with_macros = io.BytesIO(whole)
    with zipfile.ZipFile(with_macros, "a") as file:
        file.writestr("xl/vbaProject.bin", b"x")
    read = sheet(with_macros.getvalue())
    assert codes(read) == ["SHEET-MACROS"]
    assert ".xlsx" in read.faults[0].way_out


def test_protected_files_are_refused():
    old = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + "EncryptedPackage".encode("utf-16-le")
    assert codes(sheet(old)) == ["SHEET-LOCKED"]
    data = bytearray(saved(book_of(LINE)))
    at = data.find(b"PK\x01\x02")
    data[at + 8 : at + 10] = struct.pack("<H", 1)
    assert codes(sheet(bytes(data))) == ["SHEET-LOCKED"]


@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.9, 0.999])
def test_a_workbook_cut_off_is_damaged(share: float):
    data = saved(book_of(LINE))
    assert codes(sheet(data[: int(len(data) * share)])) == ["SHEET-DAMAGED"]


def test_a_bomb_is_refused_before_it_is_unpacked(monkeypatch: pytest.MonkeyPatch):
    whole = io.BytesIO(saved(book_of(LINE)))
    with zipfile.ZipFile(whole, "a", zipfile.ZIP_DEFLATED) as file, file.open("xl/x", "w") as part:
        for _ in range(80):
            part.write(bytes(1024 * 1024))
    data = whole.getvalue()
    assert len(data) < 200_000
    monkeypatch.setattr(zipfile.ZipFile, "read", lambda *_: pytest.fail("unpacked"))
    assert codes(sheet(data)) == ["SHEET-TOO-LARGE"]


def test_a_part_that_lies_about_its_size_is_damaged():
    data = bytearray(saved(book_of(LINE)))
    at = data.find(b"xl/worksheets/sheet1.xml", data.find(b"PK\x01\x02")) - 46
    assert data[at : at + 4] == b"PK\x01\x02"
    data[at + 24 : at + 28] = struct.pack("<I", 10)
    assert codes(sheet(bytes(data))) == ["SHEET-DAMAGED"]


def test_too_many_parts(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(package, "MAX_PARTS", 3)
    assert codes(sheet(book_of(LINE))) == ["SHEET-TOO-LARGE"]


@pytest.mark.parametrize("name", ["MAX_CELLS", "MAX_CHARACTERS"])
def test_too_much_text(monkeypatch: pytest.MonkeyPatch, name: str):
    monkeypatch.setattr(package, name, 5)
    assert codes(sheet(book_of(LINE))) == ["SHEET-TOO-LARGE"]


def test_too_many_merged_cells(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(package, "MAX_MERGES", 1)
    book = book_of(LINE)
    book.active.merge_cells("B2:B3")
    book.active.merge_cells("C2:C3")
    assert codes(sheet(book)) == ["SHEET-TOO-LARGE"]


def test_a_document_type_is_refused():
    entities = '<!DOCTYPE a [<!ENTITY b "bomb">]><worksheet'
    data = with_page(saved(book_of(LINE)), "<worksheet", entities)
    assert codes(sheet(data)) == ["SHEET-DAMAGED"]


def test_a_huge_dimension_costs_nothing():
    data = with_page(saved(book_of(LINE)), 'ref="A1:I2"', 'ref="A1:XFD1048576"')
    assert len(sheet(data).drafts) == 1


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ('<row r="2"', '<row r="99999999999"', "SHEET-DAMAGED"),
        ('<row r="2"', '<row r="1048577"', "SHEET-DAMAGED"),
        ('<row r="2"', '<row r="-1"', "SHEET-DAMAGED"),
        ('r="B2"', 'r="ZZZ2"', "SHEET-TOO-LARGE"),
        ('r="B2" t="inlineStr"', 'r="B2" t="inlineStr" s="x"', "SHEET-DAMAGED"),
        ("</sheetData>", "</sheetDat>", "SHEET-DAMAGED"),
    ],
)
def test_wrong_references(old: str, new: str, code: str):
    data = with_page(saved(book_of(LINE)), old, new)
    assert codes(sheet(data)) == [code]


@pytest.mark.parametrize(
    "part", ["xl/workbook.xml", "xl/_rels/workbook.xml.rels", "xl/worksheets/sheet1.xml"]
)
def test_a_missing_part_is_damage(part: str):
    data = repacked(saved(book_of(LINE)), lambda name, data: None if name == part else data)
    assert codes(sheet(data))[0] in {"SHEET-DAMAGED", "SHEET-FORMAT"}


def test_a_last_row_far_down_is_read_at_once():
    book = book_of(LINE)
    book.active.cell(1_048_576, 1, 2)
    assert [draft.origin.row for draft in sheet(book).drafts] == [2, 1_048_576]


def test_a_date_with_the_calendar_of_1904():
    book = book_of((1, dt.date(2026, 1, 14), dt.time(8, 5), "renner", "a", "CA", "x", "1 oz", ""))
    book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    draft = sheet(book).drafts[0]
    assert (draft.text("date"), draft.text("start")) == ("2026-01-14", "08:05")
