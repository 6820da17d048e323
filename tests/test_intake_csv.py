"""A CSV day sheet is read line by line, and one bad line never hides its neighbours."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

import ledger.intake
from ledger.intake import read_sheet
from ledger.intake.restore import MAX_CELL_CHARACTERS
from ledger.intake.rows import MAX_ROWS
from ledger.values.draft import APPLICATION_HEADINGS, VISIT_COLUMNS, VISIT_IDENTITY, Draft, Sheet

FIXTURES = Path(__file__).parent.parent / "fixtures"
SHORT = "line,date,start,applicator,supervisor,address,unit,product,amount,temperature,note"


def sheet(text: str | bytes, name: str = "day.csv", *, month_first: bool = True) -> Sheet:
    return read_sheet(name, text.encode() if isinstance(text, str) else text, month_first)


def rows(*lines: str, head: str = SHORT) -> Sheet:
    return sheet("\n".join([head, *lines]) + "\n")


def codes(read: Sheet) -> list[str]:
    return [fault.code for fault in read.faults]


def draft_codes(draft: Draft) -> list[str]:
    return [fault.code for fault in draft.faults]


# --- the samples ---


def test_the_clean_sample_gives_nine_lines_and_repeats_the_visit():
    data = (FIXTURES / "samples" / "day-2026-01-14.csv").read_bytes()
    read = sheet(data, "day-2026-01-14.csv")
    assert read.faults == ()
    assert read.remarks == ()
    assert read.digest == hashlib.sha256(data).hexdigest()
    assert [draft.text("line") for draft in read.drafts] == list("123456789")
    assert [draft.origin.row for draft in read.drafts] == list(range(2, 11))
    assert all(draft.faults == () for draft in read.drafts)
    second = read.drafts[1]
    assert second.text("address") == "118 Tollhouse Lane"
    assert second.at("address").row == 2
    assert second.at("amount").row == 3
    assert second.at("lot").row == 3
    assert "address" not in second.typed
    assert second.typed["amount"] == "0.25 oz"
    assert second.text("temperature") == "31 F"
    assert read.drafts[8].text("supervisor") == "renner"


def test_the_messy_sample_gives_its_fifteen_lines_by_their_physical_rows():
    read = sheet((FIXTURES / "samples" / "day-2026-01-15-messy.csv").read_bytes())
    assert read.faults == ()
    assert [draft.origin.row for draft in read.drafts] == [2, *range(4, 18)]
    assert all(draft.faults == () for draft in read.drafts)
    first = read.drafts[0]
    assert first.cells["product"].text == "Ridgeline-Dust"
    assert first.typed["product"] == "Ridgeline-Dust "
    assert first.text("amount") == "½ oz"
    assert first.text("date") == "1/15/2026", "dates stay as typed; normalising reads them"
    assert read.drafts[4].text("temperature") == "39 F"


# --- headings ---


def test_headings_come_in_any_order_case_and_spacing():
    read = rows(
        "0.5 oz,x,ridgeline-dust,renner,2026-01-14",
        head="\u00a0AMOUNT , Customer\u00a0 Address,Pro duct,ApplicATOR,date,,site"[:-5] + ",Site",
    )
    assert codes(read) == []
    assert read.drafts[0].text("customer address") == "x"
    assert read.drafts[0].text("product") == "ridgeline-dust"


def test_all_faults_of_the_header_line_come_out_at_once():
    read = rows("1", head="line,dtae,applicator,applicator,prodct,amount,county")
    assert codes(read) == [
        "SHEET-HEADING", "SHEET-HEADING-TWICE", "SHEET-HEADING", "SHEET-HEADING-MISSING",
    ]  # fmt: skip
    assert "'date'" in read.faults[0].way_out
    assert read.faults[0].origin.column == "dtae"
    assert "'product'" in read.faults[2].way_out
    assert read.faults[3].what == "the header line lacks: date, product, address (or site)"
    assert read.drafts == ()


def test_a_site_key_stands_in_for_an_address():
    assert (
        codes(rows("2026-01-14,renner,a,1 oz,S1", head="date,applicator,product,amount,site")) == []
    )


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "SHEET-EMPTY"),
        ("\ufeff\n \n,,,\n", "SHEET-EMPTY"),
        (SHORT, "SHEET-NO-LINES"),
        (SHORT + "\n,,,,\n \u00a0,,\n", "SHEET-NO-LINES"),
        (
            "1,2026-01-14,08:05,renner,,118 Tollhouse Lane,,ridgeline-dust,0.5 oz\n",
            "SHEET-NO-HEADER",
        ),
        ("Calloway Home Pest Care\n" + SHORT + "\n1\n", "SHEET-NO-HEADER"),
        ('line,"date,applicator\n1\n', "ROW-QUOTE"),
    ],
)
def test_a_file_without_what_a_sheet_needs_is_refused(text: str, code: str):
    read = sheet(text)
    assert codes(read) == [code]
    assert read.drafts == ()
    assert read.faults[0].way_out


def test_lines_before_the_header_may_be_blank_and_rows_stay_physical():
    read = sheet("\n,,\n" + SHORT + "\n\n1,2026-01-14,,renner,,a,,b,c\n")
    assert [draft.origin.row for draft in read.drafts] == [5]


# --- the visit ---


def test_a_filled_cell_equal_to_the_one_above_keeps_the_visit_and_its_own_origin():
    read = rows(
        "1,2026-01-14,08:00,renner,marsh,118 Tollhouse Lane,4,a,1 oz,31 F,",
        "2,2026-01-14,,RENNER ,, 118 tollhouse lane,,b,1 oz,,",
    )
    second = read.drafts[1]
    assert second.text("supervisor") == "marsh"
    assert second.text("temperature") == "31 F"
    assert second.at("applicator").row == 3
    assert second.text("applicator") == "RENNER"
    assert second.at("supervisor").row == 2


@pytest.mark.parametrize("heading", VISIT_IDENTITY)
def test_another_identity_cell_begins_a_visit_and_blanks_stay_blank(heading: str):
    head = ",".join(APPLICATION_HEADINGS)
    first = ",".join("x" if h in VISIT_COLUMNS else "1 oz" for h in APPLICATION_HEADINGS)
    second = ",".join(
        "y" if h == heading else "" if h in VISIT_COLUMNS else "1 oz" for h in APPLICATION_HEADINGS
    )
    read = rows(first, second, head=head)
    repeated = [h for h in VISIT_COLUMNS if h != heading and read.drafts[1].text(h)]
    assert repeated == []


def test_weather_may_change_within_a_visit_and_note_is_never_repeated():
    read = rows(
        "1,2026-01-14,08:00,renner,,a,,b,1 oz,31 F,gate stuck",
        "2,,,,,,,b,1 oz,35 F,",
        "3,,,,,,,b,1 oz,,",
    )
    assert [draft.text("temperature") for draft in read.drafts] == ["31 F", "35 F", "35 F"]
    assert read.drafts[2].at("temperature").row == 3
    assert read.drafts[2].text("note") == ""


def test_a_unit_where_the_line_above_has_none_is_another_visit():
    read = rows("1,2026-01-14,08:00,renner,,a,,b,1 oz,,", "2,,,,,,4,b,1 oz,,")
    assert read.drafts[1].text("address") == ""


def test_a_blank_row_does_not_end_the_visit():
    read = rows(
        "1,2026-01-14,08:00,renner,,a,,b,1 oz,,", ",,,,,,,,,,", " \u00a0", "2,,,,,,,b,1 oz,,"
    )
    assert read.drafts[1].text("address") == "a"
    assert read.drafts[1].origin.row == 5


def test_the_first_line_has_nothing_to_repeat():
    assert rows("1,,,,,,,b,1 oz,,").drafts[0].text("date") == ""


# --- bad lines and their neighbours ---


def test_quotes_gone_astray_hold_their_own_line_only():
    read = sheet((FIXTURES / "messy" / "astray.csv").read_bytes(), "astray.csv")
    by_line = {draft.origin.row: draft for draft in read.drafts}
    assert list(by_line) == [2, 3, 4, 5, 6, 7, 9]
    assert draft_codes(by_line[2]) == []
    assert draft_codes(by_line[3]) == ["ROW-QUOTE"]
    assert by_line[3].faults[0].origin.column == "places"
    assert by_line[3].text("amount") == "0.25 oz", "what stands before the quote is certain"
    # Line 4 says its visit by repeating a line that cannot be trusted.
    assert draft_codes(by_line[4]) == ["CELL-REPEATED"]
    assert by_line[4].text("extent") == "6 voids; 1,000 sq ft"
    # The comma of 1,000 shifts no text past the last heading here, and is seen all the same.
    assert draft_codes(by_line[5]) == ["ROW-SPLIT"]
    assert by_line[5].faults[0].origin.column == "extent"
    assert draft_codes(by_line[6]) == ["CELL-REPEATED"]
    assert draft_codes(by_line[7]) == []
    assert by_line[7].text("note") == "asked twice about the attic, and the cellar"
    assert by_line[7].typed["note"] == "asked twice\nabout the attic, and the cellar"
    assert draft_codes(by_line[9]) == []
    assert by_line[9].text("places") == '5" pipe', "a sign for inches is not a quote"


def test_text_beyond_the_headings_is_named_and_its_line_held():
    read = rows(
        "1,2026-01-14,08:00,renner,,a,,b,1 oz,31 F,x,left, over ,",
        "2,2026-01-14,09:00,renner,,c,,b,1 oz,,",
    )
    assert draft_codes(read.drafts[0]) == ["ROW-TOO-WIDE"]
    assert "left | over" in read.drafts[0].faults[0].what
    assert draft_codes(read.drafts[1]) == []


def test_cells_too_many_but_blank_and_cells_too_few_are_no_fault():
    read = rows(
        "1,2026-01-14,08:00,renner,,a,,b,1 oz,31 F,x,,,, ,", "2,2026-01-14,09:00,renner,,c,,b,1 oz"
    )
    assert [draft_codes(draft) for draft in read.drafts] == [[], []]
    assert read.drafts[1].text("note") == ""


def test_a_column_without_a_heading_may_only_be_blank():
    read = rows("1,,renner,a,b,1 oz,2026-01-14", "2,?,renner,a,b,1 oz,2026-01-14",
                head="line,,applicator,address,product,amount,date")  # fmt: skip
    assert [draft_codes(draft) for draft in read.drafts] == [[], ["ROW-TOO-WIDE"]]


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        ('"a ""b"" c"', 'a "b" c'),
        (' "a, b" ', "a, b"),
        ('""', ""),
        ('"a\n\nb"', "a  b"),
        ('a "b" c', 'a "b" c'),
    ],
)
def test_quoted_cells(cell: str, text: str):
    read = rows(f"1,2026-01-14,08:00,renner,,a,,b,1 oz,,{cell}", "2,,,,,,,b,2 oz,,")
    assert draft_codes(read.drafts[0]) == []
    assert read.drafts[0].text("note") == text
    assert read.drafts[1].text("amount") == "2 oz"
    assert read.drafts[1].origin.row == 3 + cell.count("\n")


def test_text_after_a_closed_quote_is_a_fault_of_its_line():
    read = rows(
        '1,2026-01-14,08:00,renner,,"a" b,,b,1 oz,,', "2,2026-01-14,09:00,renner,,a,,b,2 oz,,"
    )
    assert [draft_codes(draft) for draft in read.drafts] == [["ROW-QUOTE"], []]


def test_a_quote_open_to_the_end_of_a_long_file_swallows_nothing():
    lines = [f"{n},2026-01-14,08:00,renner,,a{n},,b,1 oz,," for n in range(1, 500)]
    lines[2] = '3,2026-01-14,08:00,renner,,"a3,,b,1 oz,,'
    read = rows(*lines)
    assert len(read.drafts) == 499
    assert [d.text("line") for d in read.drafts if d.faults] == ["3"]


def test_a_quote_that_another_line_closes_is_seen():
    lines = [f"{n},2026-01-14,08:00,renner,,a{n},,b,1 oz,31 F," for n in range(1, 9)]
    lines[2] = '3,2026-01-14,08:00,renner,,a3,,b,1 oz,31 F,"the gate'
    lines[5] = '6,2026-01-14,08:00,renner,,a6,,b,1 oz,31 F",'
    read = rows(*lines)
    assert len(read.drafts) == 8
    assert [d.text("line") for d in read.drafts if d.faults] == ["3"]


# --- signs, separators, sizes ---


@pytest.mark.parametrize(
    ("coding", "remark"),
    [("utf-8", ""), ("utf-8-sig", ""), ("utf-16", "UTF-16"), ("cp1252", "Windows-1252")],
)
def test_encodings(coding: str, remark: str):
    read = sheet(f"{SHORT}\r\n1,2026-01-14,08:00,renner,,a,,b,½ oz,,café\r\n".encode(coding))
    assert read.drafts[0].text("amount") == "½ oz"
    assert read.drafts[0].text("note") == "café"
    assert bool(read.remarks) == bool(remark)
    assert remark in "".join(read.remarks)


def test_accents_written_in_two_signs_become_one():
    read = rows("1,2026-01-14,08:00,renner,,a,,b,1 oz,,cafe\u0301")
    assert read.drafts[0].text("note") == "café"
    assert read.drafts[0].typed["note"] == "cafe\u0301"


@pytest.mark.parametrize(
    "data",
    [
        b"line,date\n1,\x81\x8d",
        "line,date".encode("utf-16") + b"\x00",
        f"{SHORT}\n1".encode("utf-16-le"),
        b"line\x00,date",
        b"\xff\xfe\x00",
        b"\x01\x02\x03\x04" * 50,
    ],
)
def test_what_is_not_text_is_refused(data: bytes):
    assert codes(sheet(data)) == ["SHEET-ENCODING"]


@pytest.mark.parametrize(("sign", "word"), [(";", "semicolon"), ("\t", "tab")])
def test_other_separators_are_recognised_by_the_header(sign: str, word: str):
    read = sheet(SHORT.replace(",", sign) + f"\n1{sign}2026-01-14{sign * 2}renner{sign * 2}a, b\n")
    assert read.drafts[0].text("address") == "a, b"
    assert word in read.remarks[0]


def test_windows_file_with_semicolons():
    read = sheet((FIXTURES / "messy" / "windows.csv").read_bytes())
    assert read.drafts[0].text("amount") == "½ oz"
    assert len(read.remarks) == 2


def test_a_separator_line_of_a_spreadsheet_is_taken():
    read = sheet("sep=;\n" + SHORT.replace(",", ";") + "\n1;2026-01-14\n")
    assert read.drafts[0].text("date") == "2026-01-14"
    assert read.drafts[0].origin.row == 3


def test_lines_may_end_with_a_carriage_return_alone():
    assert len(sheet(SHORT + "\r1,2026-01-14\r2\r").drafts) == 2


def test_an_endless_cell_holds_its_line_only():
    read = rows(
        f"1,2026-01-14,08:00,renner,,a,,b,1 oz,,{'x' * (MAX_CELL_CHARACTERS + 1)}",
        "2,,,,,,,b,2 oz,,",
    )
    assert [draft_codes(draft) for draft in read.drafts] == [["CELL-TOO-LONG"], []]
    assert len(read.drafts[0].text("note")) < 100


def test_a_giant_file_is_refused_by_its_size(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(ledger.intake, "MAX_SHEET_BYTES", 100)
    assert codes(rows("1" * 100)) == ["SHEET-TOO-LARGE"]


def test_too_many_lines_are_refused():
    read = sheet(SHORT + "\n1" * (MAX_ROWS + 1))
    assert codes(read) == ["SHEET-TOO-LARGE"]
    assert read.drafts == ()


def test_a_control_character_holds_its_line():
    read = rows("1,2026-01-14,08:00,renner,,a\x07b,,b,1 oz,,", "2,,,,,,,b,1 oz,,")
    assert draft_codes(read.drafts[0]) == ["CELL-CONTROL"]
    assert draft_codes(read.drafts[1]) == ["CELL-REPEATED"]
    assert read.drafts[1].faults[0].origin.column == "address"


@pytest.mark.parametrize(
    "start",
    [
        b"%PDF-1.7",
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
        b"{\\rtf1",
        b"<html>",
        b"\x89PNG",
        b" <?xml version",
    ],
)
def test_other_files_are_named(start: bytes):
    read = sheet(start + b" rest", "day.xls")
    assert codes(read) == ["SHEET-FORMAT"]
    assert ".xlsx" in read.faults[0].way_out
