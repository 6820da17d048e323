"""What spreadsheets do to a day sheet: restored where certain, else held with the cell named.

The workbooks here are written part by part, as a spreadsheet writes them, because what matters
is the stored number, its format and the stored result of a formula. Which number a spreadsheet
makes of a typed text is from memory, except where a source stands beside the check.
"""

from __future__ import annotations

import io
import zipfile
from decimal import Decimal
from functools import cache
from pathlib import Path
from xml.sax.saxutils import escape

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger.intake import read_sheet
from ledger.intake.restore import restore_zip
from ledger.intake.stored import moment_of, plain
from ledger.intake.workbook import column_letters
from ledger.values.draft import APPLICATION_HEADINGS, Draft, Sheet

FIXTURES = Path(__file__).parent.parent / "fixtures"
MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
LINKS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
FORMATS = {
    "General": 0, "0": 1, "0%": 9, "0.00%": 10, "0.00E+00": 11,
    "m/d/yy": 14, "d-mmm": 16, "mmm-yy": 17,
    "h:mm AM/PM": 18, "h:mm": 20, "[h]:mm:ss": 46, "@": 49,
    "00000": 164, "00000-0000": 165, '0.0" oz"': 166, "[$-409]h:mm;@": 167, "[h]:mm": 168,
    '0" days"': 169, "yyyy-mm-dd hh:mm:ss": 170, "[Red]0.00": 171,
}  # fmt: skip


def number(value: str, format_: str = "General") -> str:
    return f's="{list(FORMATS).index(format_)}"><v>{value}</v>'


def formula(text: str, result: str | None, kind: str = "n", format_: str = "General") -> str:
    value = "<v/>" if result is None else f"<v>{escape(result)}</v>"
    style = list(FORMATS).index(format_)
    return f's="{style}" t="{kind}"><f>{escape(text)}</f>{value}'


def text(value: str) -> str:
    return f't="inlineStr"><is><t xml:space="preserve">{escape(value)}</t></is>'


LINE = {
    "date": text("2026-01-14"), "start": text("08:05"), "applicator": text("renner"),
    "address": text("118 Tollhouse Lane"), "state": text("CA"), "product": text("ridgeline-dust"),
    "amount": text("0.5 oz"),
}  # fmt: skip


def workbook(*lines: dict[str, str], strings: str = "") -> bytes:
    rows = [{h: text(h) for h in APPLICATION_HEADINGS}, *lines]
    data = "".join(
        f'<row r="{n}">'
        + "".join(
            f'<c r="{column_letters(APPLICATION_HEADINGS.index(h))}{n}" {cell}</c>'
            for h, cell in sorted(row.items(), key=lambda pair: APPLICATION_HEADINGS.index(pair[0]))
        )
        + "</row>"
        for n, row in enumerate(rows, 1)
    )
    own = "".join(
        f'<numFmt numFmtId="{key}" formatCode="{escape(code, {chr(34): "&quot;"})}"/>'
        for code, key in FORMATS.items()
        if key >= 164
    )
    styles = "".join(f'<xf numFmtId="{key}"/>' for key in FORMATS.values())
    parts = {
        "_rels/.rels": f'<Relationships><Relationship Id="a" Type="{LINKS}/officeDocument"'
        ' Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook {MAIN} xmlns:r="{LINKS}"><sheets><sheet name="applications"'
        ' sheetId="1" r:id="b"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": '<Relationships><Relationship Id="b"'
        f' Type="{LINKS}/worksheet" Target="/xl/worksheets/sheet1.xml"/></Relationships>',
        "xl/styles.xml": f"<styleSheet {MAIN}><numFmts>{own}</numFmts><cellXfs>{styles}</cellXfs>"
        "</styleSheet>",
        "xl/sharedStrings.xml": f"<sst {MAIN}>{strings}</sst>",
        "xl/worksheets/sheet1.xml": f"<worksheet {MAIN}><sheetData>{data}</sheetData></worksheet>",
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, part in parts.items():
            file.writestr(name, part)
    return out.getvalue()


def read(*lines: dict[str, str], month_first: bool = True, strings: str = "") -> Sheet:
    sheet = read_sheet("day.xlsx", workbook(*lines, strings=strings), month_first)
    assert sheet.faults == ()
    return sheet


def one(month_first: bool = True, **cells: str) -> Draft:
    line = {**LINE, **{h.replace("_", " "): cell for h, cell in cells.items()}}
    return read(line, month_first=month_first).drafts[0]


def held(draft: Draft, heading: str, code: str) -> str:
    """Check that the line is held for that cell alone, by its address; return what is said."""
    (fault,) = draft.faults
    assert (fault.code, fault.origin.column) == (code, heading)
    address = f"{column_letters(APPLICATION_HEADINGS.index(heading))}2"
    assert fault.origin.cell == address
    assert fault.what.startswith(f"cell {address}: ")
    assert fault.way_out
    return fault.what


# --- dates and times ---


@pytest.mark.parametrize(
    ("heading", "cell", "expected"),
    [
        ("date", number("46036", "m/d/yy"), "2026-01-14"),
        ("date", number("46036"), "2026-01-14"),
        ("date", number("46036.336805555555", "yyyy-mm-dd hh:mm:ss"), "2026-01-14"),
        ("date", number("20260114"), "20260114"),
        ("date", text("14.1.2026"), "14.1.2026"),
        ("date", text("1/14/2026"), "1/14/2026"),
        ("date", 't="d"><v>2026-01-14T00:00:00Z</v>', "2026-01-14"),
        ("start", number("0.33680555555555558", "h:mm"), "08:05"),
        ("start", number("0.33680555555555558", "[$-409]h:mm;@"), "08:05"),
        ("start", number("0.33680555555555558", "h:mm AM/PM"), "08:05"),
        ("start", number("0.33680555555555558"), "08:05"),
        ("start", number("0.99999999", "h:mm"), "24:00+"),
        ("start", number("0", "h:mm"), "00:00"),
        ("start", number("0.5001", "h:mm"), "12:00:09"),
        ("start", number("8"), "8"),
        ("start", number("805"), "805"),
        ("start", number("46036.336805555555", "m/d/yy"), "08:05"),
        ("end", number("46036.336805555555", "m/d/yy"), "08:05"),
        ("end", number("46037.010416666664", "m/d/yy"), "00:15 +1"),
        ("end", number("1.0104166666666667", "[h]:mm:ss"), "00:15 +1"),
        ("end", number("1.0104166666666667", "h:mm"), "00:15 +1"),
        ("end", text("00:15 +1"), "00:15 +1"),
        ("end", 't="d"><v>T09:20:00</v>', "09:20"),
    ],
)
def test_dates_and_times(heading: str, cell: str, expected: str):
    cells = (
        {heading: cell} if heading == "date" else {"date": number("46036", "m/d/yy"), heading: cell}
    )
    draft = one(**cells)
    if expected == "24:00+":
        # A time a hair before midnight rounds to the next day, which a start cannot be.
        held(draft, heading, "CELL-MANGLED")
        return
    assert draft.faults == ()
    assert draft.text(heading) == expected


@pytest.mark.parametrize(
    ("heading", "cell"),
    [
        ("date", number("0.336805555", "h:mm")),
        ("start", number("46040.336805555555", "m/d/yy")),
        ("start", number("1.0104166666666667", "[h]:mm")),
        ("end", number("46039.01", "m/d/yy")),
        ("temperature", number("46036", "m/d/yy")),
        ("unit", number("46024", "d-mmm")),
        ("lot", number("46024", "d-mmm")),
        ("product", number("46024", "d-mmm")),
        ("zip", number("0.5", "h:mm")),
        ("amount", number("0.0625", "h:mm")),
    ],
)
def test_dates_and_times_that_do_not_belong_hold_the_line(heading: str, cell: str):
    draft = one(**{"date": number("46036", "m/d/yy"), heading: cell})
    held(draft, heading, "CELL-MANGLED")


def test_a_date_in_free_text_is_written_out():
    assert one(note=number("46036", "m/d/yy")).text("note") == "2026-01-14"


def test_the_serial_numbers_of_the_standard():
    # ECMA-376 part 1, 18.17.4.1 and .3: day 1 is 1900-01-01 with the 1900 base, day 0 is
    # 1904-01-01 with the other; 2003-12-31 is 37986 and 36524.
    shown = {
        (1, False): "1900-01-01", (59, False): "1900-02-28", (61, False): "1900-03-01",
        (37986, False): "2003-12-31", (36524, True): "2003-12-31",
    }  # fmt: skip
    for (serial, epoch_1904), day in shown.items():
        moment = moment_of(Decimal(serial), epoch_1904=epoch_1904)
        assert moment is not None
        assert str(moment.date) == day
    assert moment_of(Decimal(-1), epoch_1904=False) is None
    assert moment_of(Decimal(3_000_000), epoch_1904=False) is None


# --- fractions and ratios ---


@pytest.mark.parametrize("heading", ["amount", "extent", "dilution"])
@pytest.mark.parametrize(
    ("month_first", "cell", "guess"),
    [
        (True, number("46024", "d-mmm"), "1/2"),
        (False, number("46054", "d-mmm"), "1/2"),
        (True, number("11689", "mmm-yy"), "1/32"),
        (True, text("2-Jan"), "1/2"),
        (True, text("Mar 4"), "3/4"),
        (False, text("03. April"), "3/4"),
    ],
)
def test_a_fraction_that_became_a_date(heading: str, month_first: bool, cell: str, guess: str):
    said = held(one(month_first, **{heading: cell}), heading, "CELL-MANGLED")
    assert f"probably the fraction {guess}," in said


@pytest.mark.parametrize(
    ("typed", "minutes"), [("1:20", 80), ("1:50", 110), ("1:4", 64), ("1:59", 119), ("1:1", 61)]
)
def test_a_ratio_that_only_one_text_can_have_made(typed: str, minutes: int):
    one_part, parts = map(int, typed.split(":"))
    assert one_part * 60 + parts == minutes, "hours and minutes, as a spreadsheet reads a:b"
    cell = number(plain(Decimal(minutes) / 1440), "h:mm")
    draft = one(dilution=cell)
    assert draft.faults == ()
    assert draft.text("dilution") == typed
    assert draft.cells["dilution"].restored


@pytest.mark.parametrize(
    ("minutes", "one_way", "other"),
    [
        (160, "1:100", "2:40"),
        (260, "1:200", "4:20"),
        (120, "1:60", "2:00"),
        (1439, "1:1379", "23:59"),
    ],
)
@pytest.mark.parametrize("format_", ["h:mm", "[h]:mm", "h:mm AM/PM"])
def test_a_ratio_that_two_texts_can_have_made(minutes: int, one_way: str, other: str, format_: str):
    cell = number(str(Decimal(minutes) / 1440), format_)
    said = held(one(dilution=cell), "dilution", "CELL-MANGLED")
    assert f"of {one_way} as well as of {other}" in said


@pytest.mark.parametrize("value", ["0.0277777777777778", "1.0833333333333333", "0.0417", "0.0558"])
def test_a_time_that_no_ratio_makes(value: str):
    # 0:40, 26:00, one o'clock and a time with seconds.
    held(one(dilution=number(value, "[h]:mm:ss")), "dilution", "CELL-MANGLED")


@pytest.mark.parametrize(
    ("shown", "expected"),
    [("1:50", "1:50"), ("1:99", "1:99"), ("1:60", "1:60"), ("1:100", "1:100"), ("01:50", "1:50"),
     ("1:50:00", "1:50"), ("none", "none"), ("2:40", None), ("2:40:00 AM", None),
     ("02:40", None), ("1:50 PM", None), ("0:40", None)],
)  # fmt: skip
def test_a_ratio_in_a_csv_that_a_spreadsheet_saved(shown: str, expected: str | None):
    data = f"date,applicator,product,amount,address,dilution\n2026-01-14,r,p,1 gal,a,{shown}\n"
    (draft,) = read_sheet("day.csv", data.encode(), month_first=True).drafts
    assert [fault.code for fault in draft.faults] == ([] if expected else ["CELL-MANGLED"])
    assert draft.text("dilution") == (expected or shown)


# --- numbers ---


@pytest.mark.parametrize(
    ("cell", "expected", "typed"),
    [
        (number("5.9999999999999995E-4", "0.00%"), "0.06 %", "0.06%"),
        (number("0.0006", "0.00%"), "0.06 %", "0.06%"),
        (number("0.01", "0%"), "1 %", "1%"),
        (text("0.06% ai"), "0.06% ai", "0.06% ai"),
        (number("0.30000000000000004"), "0.3", "0.3"),
        (number("3"), "3", "3"),
        (number("3.0"), "3", "3"),
        (number("1E3"), "1000", "1000"),
        (number("-1"), "-1", "-1"),
        (number("-0.0"), "0", "0"),
        (number("0.1"), "0.1", "0.1"),
        (number("1.5", "[Red]0.00"), "1.5", "1.5"),
        (number("12.5", "@"), "12.5", "12.5"),
        (text("'1/2 oz"), "1/2 oz", "'1/2 oz"),
        ('t="b"><v>1</v>', "yes", "TRUE"),
        ('t="b"><v>0</v>', "no", "FALSE"),
    ],
)
def test_numbers_stand_as_the_spreadsheet_shows_them(cell: str, expected: str, typed: str):
    draft = one(dilution=cell)
    assert draft.faults == ()
    assert draft.text("dilution") == expected
    assert draft.typed["dilution"] == typed


def test_a_unit_that_is_only_a_number_format_is_no_unit():
    assert "shows 'oz'" in held(one(amount=number("0.5", '0.0" oz"')), "amount", "CELL-MANGLED")
    assert one(note=number("3", '0" days"')).text("note") == "3"


@pytest.mark.parametrize("value", ["1e400", "nan", "inf", "12a", "1e999999999"])
def test_a_number_that_is_none_holds_the_line(value: str):
    held(one(amount=number(value)), "amount", "CELL-ERROR")


def test_digits_that_a_spreadsheet_dropped_hold_the_line():
    held(one(lot=number("12345678901234567890")), "lot", "CELL-MANGLED")
    held(one(lot=text("1.23457E+19")), "lot", "CELL-MANGLED")
    assert one(lot=number("123456")).text("lot") == "123456"
    # A lot 12E4 is taken for a number and shown as 1.20E+05.
    held(one(lot=number("120000", "0.00E+00")), "lot", "CELL-MANGLED")
    held(one(lot=text("1.20E+05")), "lot", "CELL-MANGLED")
    assert one(lot=text("12E4")).text("lot") == "12E4"


def test_an_apostrophe_stays_where_it_belongs_to_a_name():
    assert one(customer=text("'t Hoen")).text("customer") == "'t Hoen"


@given(st.decimals(min_value=-(10**12), max_value=10**12, places=6))
def test_plain_gives_the_number_back(value: Decimal):
    assert Decimal(plain(value)) == Decimal(f"{value:.15g}")
    assert "E" not in plain(value)


# --- ZIP codes ---


@pytest.mark.parametrize(
    ("cell", "state", "expected"),
    [
        (number("95603"), "CA", "95603"),
        (number("1234"), "MA", "01234"),
        (text("7030"), "nj", "07030"),
        (number("601"), "PR", "00601"),
        (number("1234", "00000"), "CA", "01234"),
        (number("956031234", "00000-0000"), "CA", "95603-1234"),
        (text("95603-1234"), "CA", "95603-1234"),
        (number("95603", "00000"), "CA", "95603"),
    ],
)
def test_a_zip_gets_its_zero_back_where_the_state_or_the_format_proves_it(
    cell: str, state: str, expected: str
):
    draft = one(zip=cell, state=text(state))
    assert draft.faults == ()
    assert draft.text("zip") == expected


@pytest.mark.parametrize(
    ("value", "state"),
    [("9560", "CA"), ("9560", "NH"), ("1234", ""), ("6010", "PR"), ("123", "MA")],
)
def test_a_zip_too_short_holds_the_line(value: str, state: str):
    held(one(zip=number(value), state=text(state)), "zip", "CELL-ZIP")


def test_a_zip_takes_the_state_of_its_visit_and_repeats_restored():
    first = {**LINE, "state": text("NJ"), "zip": number("7030")}
    second = {"zip": number("7030"), "amount": text("1 oz")}
    third = {"amount": text("1 oz")}
    drafts = read(first, second, third).drafts
    assert [draft.text("zip") for draft in drafts] == ["07030"] * 3
    assert [draft.text("address") for draft in drafts] == ["118 Tollhouse Lane"] * 3
    assert drafts[2].at("zip").cell == drafts[1].at("zip").cell


def test_a_zip_of_a_csv_is_treated_alike():
    assert restore_zip("1234", "MA").text == "01234"
    assert restore_zip("1234", "CA").code == "CELL-ZIP"
    assert restore_zip("95603", "CA").doubt == restore_zip("", "").doubt == ""


# --- formulas and errors ---


def test_a_formula_is_read_by_its_stored_result_and_remarked():
    sheet = read(
        {
            **LINE,
            "amount": formula('A1&" oz"', "0.5 oz", "str"),
            "date": formula("TODAY()", "46036", "n", "m/d/yy"),
        }
    )
    (draft,) = sheet.drafts
    assert draft.faults == ()
    assert draft.text("amount") == "0.5 oz"
    assert draft.text("date") == "2026-01-14"
    assert draft.typed["amount"] == '=A1&" oz"'
    assert draft.cells["amount"].restored == "stored result of a formula"
    assert sheet.remarks == (
        "worksheet 'applications': formulas were read by their stored result: B2, S2",
    )


def test_a_formula_without_a_stored_result_holds_the_line():
    draft = one(amount=formula("A1+1", None))
    held(draft, "amount", "CELL-FORMULA")
    assert draft.typed["amount"] == "=A1+1"


def test_a_formula_that_says_nothing_is_a_blank_cell():
    sheet = read(LINE, {"lot": formula('IF(A3="","","x")', "", "str")})
    assert len(sheet.drafts) == 1
    assert sheet.remarks == ()


@pytest.mark.parametrize("error", ["#REF!", "#N/A", "#DIV/0!", "#NAME?", "#VALUE!"])
def test_an_error_value_holds_the_line(error: str):
    held(one(amount=f't="e"><v>{error}</v>'), "amount", "CELL-ERROR")
    held(one(amount=formula("B1", error, "e")), "amount", "CELL-ERROR")
    held(one(amount=text(error)), "amount", "CELL-ERROR")


def test_hashes_of_a_narrow_column_hold_the_line():
    held(one(date=text("########")), "date", "CELL-ERROR")


def test_a_visit_cell_in_doubt_holds_the_lines_that_repeat_it():
    sheet = read({**LINE, "date": formula("B1", "#REF!", "e")}, {"amount": text("1 oz")},
                 {**LINE, "start": text("10:00")})  # fmt: skip
    _, second, third = sheet.drafts
    (fault,) = second.faults
    assert (fault.code, fault.origin.column, fault.origin.row) == ("CELL-REPEATED", "date", 3)
    assert "repeats B2" in fault.what
    assert third.faults == ()


# --- shared strings ---


def test_shared_strings_rich_runs_and_reading_aids():
    strings = (
        "<si><t>118 Tollhouse Lane</t></si><si><r><t>0.</t></r><r><rPr><b/></rPr><t>5 oz</t></r>"
        "<rPh><t>aside</t></rPh></si>"
    )
    shared = {"address": 't="s"><v>0</v>', "amount": 't="s"><v>1</v>'}
    (draft,) = read({**LINE, **shared}, strings=strings).drafts
    assert draft.text("address") == "118 Tollhouse Lane"
    assert draft.text("amount") == "0.5 oz"


@pytest.mark.parametrize("index", ["5", "-1", "x", "99999999999"])
def test_a_shared_string_that_is_not_there_is_damage(index: str):
    data = workbook({**LINE, "amount": f't="s"><v>{index}</v>'}, strings="<si><t>a</t></si>")
    assert [f.code for f in read_sheet("d.xlsx", data, month_first=True).faults] == [
        "SHEET-DAMAGED"
    ]


# --- whatever comes in ---


@cache
def samples() -> tuple[bytes, ...]:
    folder = FIXTURES / "samples"
    names = ("day-2026-01-14.csv", "day-2026-01-15-messy.csv", "day-2026-01-14.xlsx")
    return (*((folder / name).read_bytes() for name in names), workbook(LINE))


def whole(sheet: Sheet) -> None:
    """Check what holds of any sheet: refused whole, or drafts with rows of their own."""
    assert isinstance(sheet, Sheet)
    assert len(sheet.digest) == 64
    assert bool(sheet.faults) != bool(sheet.drafts or sheet.observations)
    rows = [draft.origin.row for draft in sheet.drafts]
    assert len(set(rows)) == len(rows)
    for draft in sheet.drafts:
        assert draft.typed or draft.faults
        assert set(draft.typed) <= set(draft.cells)


@given(st.binary(max_size=400))
def test_any_bytes_give_a_sheet(data: bytes):
    whole(read_sheet("any", data, month_first=True))


@given(st.text(alphabet=st.sampled_from('",;\n\r\t x1\u00a0é'), max_size=200))
def test_any_text_below_a_header_gives_a_sheet(data: str):
    head = "date,applicator,address,product,amount,note\n"
    whole(read_sheet("any.csv", (head + data).encode(), month_first=False))


@given(st.data())
@settings(max_examples=300, suppress_health_check=[HealthCheck.too_slow], deadline=None)
def test_samples_with_bytes_changed_give_a_sheet(data: st.DataObject):
    changed = bytearray(data.draw(st.sampled_from(samples())))
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(changed) - 1))
        changed[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
    whole(read_sheet("changed", bytes(changed), month_first=True))


@given(st.data())
@settings(max_examples=300, suppress_health_check=[HealthCheck.too_slow], deadline=None)
def test_workbooks_with_parts_changed_give_a_sheet(data: st.DataObject):
    """Changes the unpacked XML, which a change of packed bytes seldom reaches."""
    source = data.draw(st.sampled_from(samples()[2:]))
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(source)) as old, zipfile.ZipFile(out, "w") as new:
        target = data.draw(st.sampled_from(old.namelist()))
        for name in old.namelist():
            part = bytearray(old.read(name))
            if name == target:
                for _ in range(data.draw(st.integers(1, 4))):
                    at = data.draw(st.integers(0, max(0, len(part) - 1)))
                    junk = st.sampled_from(
                        [b"9", b"<", b">", b'"', b"-1", b"\x00", b"e9", b"s", b""]
                    )
                    part[at : at + 1] = data.draw(junk)
            new.writestr(name, bytes(part))
    whole(read_sheet("changed.xlsx", out.getvalue(), month_first=True))


@given(
    st.sampled_from(APPLICATION_HEADINGS),
    st.decimals(allow_nan=False, allow_infinity=False),
    st.sampled_from(list(FORMATS)),
)
@settings(deadline=None)
def test_any_number_under_any_format_gives_a_line(heading: str, value: Decimal, format_: str):
    draft = one(**{heading: number(str(value), format_)})
    assert draft.cells[heading].text
