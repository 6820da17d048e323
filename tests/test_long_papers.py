"""Papers of any length: rows that come one by one make the same file, in the same memory."""

from __future__ import annotations

import io
import tracemalloc
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime
from fractions import Fraction

import pytest
from openpyxl import load_workbook

from reports.csv_file import sheet_csv, write_csv
from reports.sheet import Column, Kind, LongSheet, Note, Number, Sheet, Value
from reports.xlsx import workbook, write_workbook

HEAD = Sheet(
    name="entries", title="Entries", about=(("Firm", "Calloway Home Pest Care"),),
    columns=(Column("Entry", kind=Kind.NUMBER), Column("Day", kind=Kind.DATE), Column("Place"),
             Column("Used", kind=Kind.NUMBER), Column("Said", "as written")),
    rows=(), notes=(Note("A remark below."),), signature=("Licensee",),
)  # fmt: skip
SAID = ('=1+1 & "so" <b>', "", " two spaces  ", "two\nlines", "x" * 300, "+1", "@x", "\x01")


def coming(count: int) -> Iterator[tuple[Value, ...]]:
    """Yield rows with everything that a cell can be."""
    for n in range(count):
        used = None if n % 7 == 0 else Number(Fraction(n, 8), 3)
        yield (
            Number(Fraction(n)), date(2026, 1, 1 + n % 28), f"wall void {n}", used,
            SAID[n % len(SAID)],
        )  # fmt: skip


def ending() -> Sheet:
    return replace(HEAD, totals=((None, None, "all", Number(Fraction(7, 2), 1), "total"),))


def long(count: int) -> LongSheet:
    return LongSheet(HEAD, coming(count), ending)


@pytest.mark.parametrize("count", [0, 1, 2500])
def test_a_long_workbook_holds_every_row_and_what_stands_around_them(count: int) -> None:
    page = load_workbook(io.BytesIO(workbook([long(count)])))["entries"]
    rows = list(page.iter_rows(values_only=True))
    assert [row[0] for row in rows[:2]] == ["Entries", "Firm: Calloway Home Pest Care"]
    assert rows[3] == ("Entry", "Day", "Place", "Used", "Said")
    shown = (SAID[0], None, *SAID[2:7], "\ufffd")
    for n, row in enumerate(rows[4 : 4 + count]):
        used = None if n % 7 == 0 else pytest.approx(n / 8, abs=0.0006)
        day = datetime(2026, 1, 1 + n % 28)  # noqa: DTZ001 - a workbook has no zones
        assert row == (n, day, f"wall void {n}", used, shown[n % len(shown)])
    assert rows[4 + count] == (None, None, "all", 3.5, "total")
    below = [row[0] for row in rows[5 + count :] if row[0]]
    assert below[0].startswith("Licensee: ___")
    assert "1. A remark below." in below
    assert ("Columns" in below) == (count > 0)
    assert page.max_row == len(rows)
    texts = [merged.coord for merged in page.merged_cells.ranges]
    assert f"A{page.max_row}:E{page.max_row}" in texts


def test_a_row_looks_as_its_kind_says_and_is_as_high_as_its_text() -> None:
    page = load_workbook(io.BytesIO(workbook([long(8)])))["entries"]
    row = page[6]
    assert [cell.number_format for cell in row] == ["0", "yyyy-mm-dd", "@", "0.000", "@"]
    assert [cell.data_type for cell in row] == ["n", "d", "s", "n", "n"]
    assert row[2].quotePrefix
    assert row[3].alignment.horizontal == "right"
    assert page[5][4].value == SAID[0]
    assert page[5][4].data_type == "s"
    heights = [page.row_dimensions[n].height for n in range(5, 13)]
    assert heights[0] == 15
    assert heights[3] == 30
    assert heights[4] > 100


def test_the_rows_of_a_sheet_and_rows_that_come_make_the_same_file() -> None:
    held = replace(ending(), rows=tuple(coming(1200)))
    assert workbook([held]) == workbook([long(1200)])
    out = io.BytesIO()
    write_csv(long(1200), out)
    assert out.getvalue() == sheet_csv(held)


@pytest.mark.parametrize("kind", ["xlsx", "csv"])
def test_memory_does_not_grow_with_the_rows(kind: str) -> None:
    class Nowhere(io.RawIOBase):
        def writable(self) -> bool:
            return True

        def write(self, data: object) -> int:
            return len(memoryview(data))  # type: ignore[arg-type]

    def peak(count: int) -> int:
        tracemalloc.start()
        if kind == "xlsx":
            write_workbook([long(count)], Nowhere())  # type: ignore[arg-type]
        else:
            write_csv(long(count), Nowhere())  # type: ignore[arg-type]
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return most

    peak(10)  # what is loaded once
    assert peak(9000) < 1.5 * peak(3000) + 200_000
