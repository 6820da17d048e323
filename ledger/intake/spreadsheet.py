"""An XLSX day sheet -> drafts: worksheets, merged and hidden cells, formulas."""

from __future__ import annotations

import lzma
import struct
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from xml.etree.ElementTree import ParseError

from ledger.intake.restore import Restored, tidy
from ledger.intake.rows import (
    APPLICATIONS,
    MAX_ROWS,
    OBSERVATIONS,
    Layout,
    Row,
    as_fault,
    no_lines,
    read_headings,
    settle,
    too_many_rows,
)
from ledger.intake.stored import Setting, restore_stored
from ledger.intake.workbook import (
    Grid,
    Merge,
    Page,
    RawCell,
    RawRow,
    Unreadable,
    Workbook,
    column_letters,
)
from ledger.values.draft import Draft
from ledger.values.finding import Fault
from ledger.values.origin import Cell, Origin

NAMED_IN_A_REMARK = 12
"""So many cells or rows are named in one remark; more are counted."""

_IGNORED_PAGES = frozenset({"lists", "observations"})
_DAMAGE = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, lzma.LZMAError, struct.error, ParseError,
    EOFError, OSError, ValueError, LookupError, RuntimeError, OverflowError,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class WorkbookRead:
    """What a workbook gave: drafts, observations, faults of the file, remarks."""

    drafts: tuple[Draft, ...] = ()
    observations: tuple[Draft, ...] = ()
    faults: tuple[Fault, ...] = ()
    remarks: tuple[str, ...] = ()


def read_workbook(name: str, data: bytes, *, month_first: bool) -> WorkbookRead:
    """Read the bytes of an .xlsx file; what cannot be read comes back as faults."""
    try:
        return _read(name, Workbook(data), month_first=month_first)
    except Unreadable as reason:
        fault = Fault(reason.code, Origin(name), reason.what, reason.way_out)
    except _DAMAGE:
        fault = Fault(
            "SHEET-DAMAGED", Origin(name), "the workbook is damaged or was cut off",
            "open it in the spreadsheet, save it anew and hand that in",
        )  # fmt: skip
    return WorkbookRead(faults=(fault,))


def _read(name: str, book: Workbook, *, month_first: bool) -> WorkbookRead:
    page = _applications_page(name, book.pages)
    if isinstance(page, Fault):
        return WorkbookRead(faults=(page,))
    setting = Setting(month_first, book.epoch_1904)
    lines = _PageReader(name, page, APPLICATIONS, setting).read(book.grid(page))
    second = next((p for p in book.pages if _folded(p) == "observations" and p != page), None)
    seen = _Lines()
    if second is not None:
        seen = _PageReader(name, second, OBSERVATIONS, setting).read(book.grid(second))
    faults = [*lines.faults, *seen.faults]
    if not faults and not lines.rows and not seen.rows:
        faults.append(no_lines(name))
    if faults:
        return WorkbookRead(faults=tuple(faults), remarks=(*lines.remarks, *seen.remarks))
    return WorkbookRead(
        settle(lines.rows, APPLICATIONS),
        settle(seen.rows, OBSERVATIONS),
        (),
        (*lines.remarks, *seen.remarks),
    )


def _folded(page: Page) -> str:
    return tidy(page.name).casefold()


def _applications_page(name: str, pages: Sequence[Page]) -> Page | Fault:
    """Return the worksheet ``applications``, else the only one that can be meant."""
    named = [page for page in pages if _folded(page) == "applications"]
    others = [page for page in pages if _folded(page) not in _IGNORED_PAGES]
    if named or len(others) == 1:
        return (named or others)[0]
    names = ", ".join(repr(page.name[:31]) for page in pages[:NAMED_IN_A_REMARK]) or "none"
    return Fault(
        "SHEET-PAGE", Origin(name), f"no worksheet is called 'applications'; there are: {names}",
        "call the worksheet with the day's lines 'applications'",
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Lines:
    """What one worksheet gave."""

    rows: tuple[Row, ...] = ()
    faults: tuple[Fault, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(slots=True)
class _PageReader:
    """Reads one worksheet; gathers what is to be remarked on the way."""

    name: str
    page: Page
    layout: Layout
    setting: Setting
    columns: dict[int, str] = field(default_factory=dict)
    hidden: list[str] = field(default_factory=list)
    formulas: list[str] = field(default_factory=list)

    def read(self, grid: Grid) -> _Lines:
        """Return the rows under the headings, or the faults of the header line."""
        filled = (row for row in grid.rows if any(_says(cell) for cell in row.cells))
        header = next(filled, None)
        if header is None:
            if self.layout is OBSERVATIONS:
                return _Lines()
            origin = Origin(self.name, page=self.page.name)
            return _Lines(
                faults=(Fault("SHEET-EMPTY", origin, "the worksheet is empty", "fill it in"),)
            )
        faults = self._headings(header)
        if faults:
            return _Lines(faults=faults)
        rows: list[Row] = []
        firsts: dict[tuple[int, int], Cell] = {}
        for raw, merges in _with_merges(filled, grid.merges):
            if len(rows) == MAX_ROWS:
                return _Lines(faults=(too_many_rows(self.name),))
            row = self._row(raw)
            for cell in raw.cells:
                heading = self.columns.get(cell.column, "")
                if merges and heading in row.cells:
                    firsts[raw.number, cell.column] = row.cells[heading]
            rows.append(self._merged(raw.number, row, merges, firsts) if merges else row)
        return _Lines(tuple(rows), (), self._remarks())

    def _headings(self, header: RawRow) -> tuple[Fault, ...]:
        texts = [""] * (max(cell.column for cell in header.cells) + 1)
        for cell in header.cells:
            texts[cell.column] = cell.value

        def place(column: int) -> Origin:
            address = f"{column_letters(column)}{header.number}"
            text = tidy(texts[column])[:60] or None
            return Origin(self.name, header.number, text, address, self.page.name)

        self.columns, faults = read_headings(texts, self.layout, place)
        return faults

    def _origin(self, row: int, heading: str | None, address: str | None) -> Origin:
        return Origin(self.name, row, heading, address, self.page.name)

    def _row(self, raw: RawRow) -> Row:
        cells: dict[str, Cell] = {}
        typed: dict[str, str] = {}
        faults: list[Fault] = []
        setting = self._with_day(raw)
        for cell in raw.cells:
            if not _says(cell):
                continue
            heading = self.columns.get(cell.column)
            origin = self._origin(raw.number, heading, cell.address)
            if heading is None:
                faults.append(_homeless(cell, origin))
                continue
            typed[heading], restored = restore_stored(heading, cell, setting)
            cells[heading] = Cell(restored.text, origin, restored.how)
            if fault := as_fault(restored, origin):
                faults.append(fault)
            elif cell.formula is not None:
                self.formulas.append(cell.address)
        if raw.hidden:
            self.hidden.append(str(raw.number))
        return Row(self._origin(raw.number, None, None), cells, typed, tuple(faults))

    def _with_day(self, raw: RawRow) -> Setting:
        """Return the setting with the row's own date, against which stored times are held."""
        for cell in raw.cells:
            if self.columns.get(cell.column) == "date":
                _, restored = restore_stored("date", cell, self.setting)
                return Setting(
                    self.setting.month_first, self.setting.epoch_1904, _date(restored.text)
                )
        return self.setting

    def _merged(
        self, number: int, row: Row, merges: Sequence[Merge], firsts: dict[tuple[int, int], Cell]
    ) -> Row:
        """Return the row with what its merged cells mean.

        A visit column merged downwards says the same on each of its rows. Any other merged cell
        leaves open what was meant beside or below its first.
        """
        cells, faults = dict(row.cells), list(row.faults)
        for merge in merges:
            first = f"{column_letters(merge.left)}{merge.top}"
            for column in (c for c in self.columns if merge.left <= c <= merge.right):
                if (number, column) == (merge.top, merge.left):
                    continue
                heading = self.columns[column]
                if column == merge.left and heading in self.layout.repeats:
                    if (above := firsts.get((merge.top, column))) is not None:
                        cells.setdefault(heading, above)
                    continue
                origin = self._origin(number, heading, f"{column_letters(column)}{number}")
                doubt = Restored(
                    "", code="CELL-MERGED", doubt=f"is merged with {first}; what it says is open",
                    way_out="unmerge the cells and fill in each",
                )  # fmt: skip
                if fault := as_fault(doubt, origin):
                    faults.append(fault)
        return Row(row.origin, cells, row.typed, tuple(faults), row.shifted)

    def _remarks(self) -> tuple[str, ...]:
        where = f"worksheet {self.page.name!r}: "
        said = []
        if self.page.hidden:
            said.append(f"{where}it is hidden and was read")
        if self.hidden:
            said.append(f"{where}hidden rows were read as well: {_some(self.hidden)}")
        if self.formulas:
            said.append(f"{where}formulas were read by their stored result: {_some(self.formulas)}")
        return tuple(said)


def _says(cell: RawCell) -> bool:
    return bool(tidy(cell.value)) or cell.formula is not None


def _homeless(cell: RawCell, origin: Origin) -> Fault:
    text = tidy(cell.value or f"={cell.formula}")[:200]
    return Fault(
        "ROW-TOO-WIDE", origin, f"cell {cell.address}: text without a heading: {text}",
        "move it under a heading, or give its column one",
    )  # fmt: skip


def _date(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _some(names: Sequence[str]) -> str:
    more = len(names) - NAMED_IN_A_REMARK
    listed = ", ".join(names[:NAMED_IN_A_REMARK])
    return f"{listed} and {more} more" if more > 0 else listed


def _with_merges(
    rows: Iterator[RawRow], merges: Sequence[Merge]
) -> Iterator[tuple[RawRow, tuple[Merge, ...]]]:
    """Yield each row with the merged ranges that cross it; both run downwards once."""
    waiting = sorted(merges, key=lambda merge: merge.top, reverse=True)
    active: list[Merge] = []
    for row in rows:
        while waiting and waiting[-1].top <= row.number:
            active.append(waiting.pop())
        active = [merge for merge in active if merge.bottom >= row.number]
        yield row, tuple(active)
