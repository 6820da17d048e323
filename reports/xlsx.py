"""A workbook of sheets: real numbers and days, text never a formula, ready to print and sign.

Written row by row (``xlsx_rows``), so a long list of entries does not fill the memory. The same
sheets give the same bytes: the time of making stands nowhere in the file.
"""

from __future__ import annotations

import io
import re
import tempfile
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from copy import copy
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from itertools import chain, islice
from textwrap import wrap
from typing import IO, Any, cast

from openpyxl import Workbook
from openpyxl.cell import Cell, WriteOnlyCell
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.utils import get_column_letter

from reports.sheet import Kind, LongSheet, Number, Sheet, Value, as_long, plain, shown
from reports.xlsx_rows import RowWriter, cell_text, copy_member, is_figure, splice

_FACE = "Calibri"
_BODY = Font(name=_FACE, size=11)
_BOLD = Font(name=_FACE, size=11, bold=True)
_TITLE = Font(name=_FACE, size=15, bold=True)
_SMALL = Font(name=_FACE, size=9)
_THIN, _HAIR = Side("thin"), Side("hair")
_LINE_HEIGHT = 15
_NARROWEST, _PAGE = 7, 88.0
_WIDEST, _WIDEST_OF_MANY, _MANY = 44, 24, 10
_LOOKED_AT = 1000  # rows by which the widths are chosen
_IN_MEMORY = 1 << 20  # bytes of rows that wait in memory; more go to a file for the time being


def workbook(sheets: Sequence[Sheet | LongSheet]) -> bytes:
    """Return the sheets as one XLSX file, one worksheet each."""
    out = io.BytesIO()
    write_workbook(sheets, out)
    return out.getvalue()


def write_workbook(sheets: Sequence[Sheet | LongSheet], out: IO[bytes]) -> None:
    """Write the sheets as one XLSX file, one worksheet each; rows are not held in memory."""
    book = Workbook(write_only=True)
    names: set[str] = set()
    pages = []
    with ExitStack() as kept, tempfile.TemporaryFile() as around:
        for sheet in sheets:
            rows = kept.enter_context(tempfile.SpooledTemporaryFile(_IN_MEMORY))
            long = as_long(sheet)
            page = _Page(book, long, _tab(long.head.name, names), cast(IO[bytes], rows))
            page.write()
            pages.append(page)
        book.save(around)
        _settle(around, pages, out)


def _tab(name: str, taken: set[str]) -> str:
    """Return a name that a worksheet may have, not yet taken (31 characters, case ignored)."""
    clean = re.sub(r"[\[\]:*?/\\']", " ", plain(name)).strip()[:31] or "sheet"
    tab, number = clean, 1
    while tab.casefold() in taken:
        number += 1
        tab = f"{clean[: 30 - len(str(number))]} {number}"
    taken.add(tab.casefold())
    return tab


@dataclass(frozen=True)
class _Style:
    """How a cell looks; one object for each look, told apart by which it is."""

    font: Font
    alignment: Alignment
    border: Border

    __hash__ = object.__hash__

    def __eq__(self, other: object) -> bool:
        return self is other


_TOP_LEFT = Alignment(horizontal="left", vertical="top", wrap_text=True)
_INDENTED = Alignment(horizontal="left", vertical="top", wrap_text=True, indent=1)
_RIGHT = Alignment(horizontal="right", vertical="top")
_RULED = Border(top=_THIN, bottom=_THIN)
_HEAD_TEXT = _Style(
    _BOLD, Alignment(horizontal="left", vertical="bottom", wrap_text=True, indent=1), _RULED
)
_HEAD_NUMBER = _Style(
    _BOLD, Alignment(horizontal="right", vertical="bottom", wrap_text=True), _RULED
)
_ROW = (_Style(_BODY, _INDENTED, Border(bottom=_HAIR)), _Style(_BODY, _RIGHT, Border(bottom=_HAIR)))
_TOTAL = (_Style(_BOLD, _INDENTED, Border(top=_THIN)), _Style(_BOLD, _RIGHT, Border(top=_THIN)))
_PLAIN, _STRONG, _TOP, _FINE = (
    _Style(font, _TOP_LEFT, Border()) for font in (_BODY, _BOLD, _TITLE, _SMALL)
)


class _Page:
    """One worksheet while it is written, from the title down to the caution.

    An empty row stands for the sheet's rows, which are written as text beside and put in last.
    """

    def __init__(self, book: Workbook, long: LongSheet, tab: str, out: IO[bytes]) -> None:
        self.sheet = long.head
        self.long = long
        self.page: Any = book.create_sheet(tab)
        self.row = 0
        self.below = 0  # rows that are not in openpyxl's count
        self.first, self.coming = _first_of(long.rows)
        self.widths = _widths(self.sheet, self.first)
        self.styles: dict[tuple[_Style, str], Any] = {}
        self.marker = 4 + len(self.sheet.about)
        self.rows = RowWriter(out, self.marker, self._number_of, self._height)
        self.out = out

    def write(self) -> None:
        """Write everything; what stands above the rows must be set up before the first row."""
        sheet = self.sheet
        self._set_up(header=3 + len(sheet.about))
        self._wide(sheet.title, _TOP)
        for what, value in sheet.about:
            self._wide(f"{what}: {value}", _PLAIN)
        self._blank()
        self._header()
        self._blank()
        for row in chain(self.first, self.coming):
            self.rows.write(row)
        self.below = self.rows.count - 1
        self.row += self.below
        self.sheet = sheet = self.long.ending()
        for row in sheet.totals:
            self._cells(row, _TOTAL)
        if sheet.statement:
            self._wide(sheet.statement, _STRONG)
        self._below()

    def _set_up(self, header: int) -> None:
        page = self.page
        page.freeze_panes = f"A{header + 1}"
        page.print_title_rows = f"{header}:{header}"
        page.page_setup.orientation = "landscape" if self.sheet.wide else "portrait"
        page.page_setup.paperSize = 1  # US letter
        page.page_setup.fitToWidth, page.page_setup.fitToHeight = 1, 0
        page.sheet_properties.pageSetUpPr.fitToPage = True
        page.page_margins.left = page.page_margins.right = 0.6
        page.page_margins.top, page.page_margins.bottom = 0.6, 0.7
        # An ampersand begins a code in a footer; two stand for one.
        page.oddFooter.left.text = plain(self.sheet.title).replace("&", "&&")[:120]
        page.oddFooter.right.text = "Page &P of &N"
        for number, width in enumerate(self.widths, 1):
            page.column_dimensions[get_column_letter(number)].width = width

    def _header(self) -> None:
        columns = self.sheet.columns
        cells = [
            self._cell(c.heading, _HEAD_NUMBER if c.kind is Kind.NUMBER else _HEAD_TEXT)
            for c in columns
        ]
        lines = [_lines(c.heading, w) for c, w in zip(columns, self.widths, strict=True)]
        self._append(cells, _LINE_HEIGHT * max(lines, default=1) + 3)

    def _cells(self, row: Sequence[Value], styles: tuple[_Style, _Style]) -> None:
        cells = [self._cell(value, styles[isinstance(value, Number)]) for value in row]
        self._append(cells, self._height(row))

    def _height(self, row: Iterable[Value]) -> float:
        """Return how high a row must be for its longest text, in points."""
        lines = 1
        for value, width in zip(row, self.widths, strict=True):
            if isinstance(value, str) and (len(value) >= width - 1 or "\n" in value):
                lines = max(lines, _lines(shown(value), width))
        return _LINE_HEIGHT * lines

    def _number_of(self, value: Value) -> int:
        """Return the number of the style of a value in a row of the table."""
        return int(self._cell(value, _ROW[isinstance(value, Number)]).style_id)

    def _below(self) -> None:
        sheet = self.sheet
        for field in sheet.signature:
            self._blank(24)
            self._wide(f"{field}: {'_' * 40}", _PLAIN)
        meanings = [f"{c.name}: {c.meaning}." for c in sheet.columns if c.meaning]
        blocks = (
            ("Columns", [" ".join(meanings)] if meanings and self.rows.count else []),
            ("Remarks", [f"{n}. {note.whole}" for n, note in enumerate(sheet.notes, 1)]),
            ("Sources", list(sheet.sources)),
        )
        for title, texts in blocks:
            if texts:
                self._blank()
                self._wide(title, _STRONG)
            for text in texts:
                self._wide(text, _FINE)
        self._blank()
        self._wide(sheet.caution, _FINE)

    def _wide(self, text: str, style: _Style) -> None:
        """Append one row that spans the table: text in the first cell, the others merged.

        Merged cells do not grow by themselves, so the height is set by an estimate.
        """
        size = float(style.font.size or 11)
        lines = _lines(plain(text), sum(self.widths) * 12 / size)
        if len(self.widths) > 1:
            last = get_column_letter(len(self.widths))
            self.page.merged_cells.ranges.add(f"A{self.row + 1}:{last}{self.row + 1}")
        self._append([self._cell(text, style)], size * 1.36 * lines)

    def _blank(self, height: float | None = None) -> None:
        self._append([], height)

    def _append(self, cells: list[Cell], height: float | None) -> None:
        self.row += 1
        if height:
            self.page.row_dimensions[self.row - self.below].height = height
        self.page.append(cells)

    def _cell(self, value: Value, style: _Style) -> Cell:
        cell: Any = WriteOnlyCell(self.page)
        self._fill(cell, value)
        # Making a style anew for every cell takes longer than all the rest: each is made once.
        key = (style, cell.number_format)
        if key not in self.styles:
            cell.font, cell.border = style.font, style.border
            cell.alignment = style.alignment
            if cell.data_type == "s":
                # Stays text when a person opens the cell and leaves it again.
                cell.quotePrefix = True
            self.styles[key] = copy(cell._style)
        cell._style = self.styles[key]
        return cast(Cell, cell)

    @staticmethod
    def _fill(cell: Cell, value: Value) -> None:
        """Put a value into a cell as what it is; text stays text whatever it begins with."""
        if value is None:
            return
        if isinstance(value, Number) and is_figure(value):
            cell.value = value.rounded
            cell.number_format = "0" + ("." + "0" * value.places if value.places else "")
            return
        if isinstance(value, date):
            cell.value = datetime(value.year, value.month, value.day)  # noqa: DTZ001 a day has no zone
            cell.number_format = "yyyy-mm-dd"
            return
        cell.value = cell_text(shown(value))
        cell.number_format = "@"
        cell.data_type = "s"


def _lines(text: str, width: float) -> int:
    """Return how many lines a text takes in a cell that wide, about."""
    room = max(1, int(width) - 1)
    return sum(max(1, len(wrap(part, room))) for part in text.split("\n"))


def _first_of(
    rows: Iterable[tuple[Value, ...]],
) -> tuple[list[tuple[Value, ...]], Iterator[tuple[Value, ...]]]:
    """Return the first rows, by which widths are chosen, and the others as they come."""
    coming = iter(rows)
    return list(islice(coming, _LOOKED_AT)), coming


def _widths(sheet: Sheet, rows: Iterable[tuple[Value, ...]]) -> list[float]:
    """Return a width for every column that holds its longest text, within reason."""
    longest = [max(map(len, column.heading.split()), default=0) for column in sheet.columns]
    for row in (*rows, *sheet.totals):
        for number, value in enumerate(row):
            longest[number] = max(longest[number], len(shown(value)))
    widest = _WIDEST if len(sheet.columns) <= _MANY else _WIDEST_OF_MANY
    widths = [float(min(widest, max(_NARROWEST, length + 3))) for length in longest]
    texts = [n for n, column in enumerate(sheet.columns) if column.kind is Kind.TEXT]
    if texts and sum(widths) < _PAGE:  # a narrow table leaves remarks too little room
        widths[max(texts, key=lambda n: widths[n])] += _PAGE - sum(widths)
    return widths


def _settle(made: IO[bytes], pages: Sequence[_Page], out: IO[bytes]) -> None:
    """Write the same workbook with its rows, and without the times of its making."""
    by_name = {f"xl/worksheets/sheet{n}.xml": page for n, page in enumerate(pages, 1)}

    def write(name: str, content: bytes, target: IO[bytes]) -> None:
        page = by_name.get(name)
        if page is not None:
            splice(content, page.marker, page.out, page.rows.count, target)
            return
        if name == "docProps/core.xml":
            content = re.sub(rb"<dcterms:(created|modified)[^>]*>[^<]*</dcterms:\1>", b"", content)
            content = re.sub(rb"<dc:creator>[^<]*</dc:creator>", b"", content)
        target.write(content)

    with zipfile.ZipFile(made) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            copy_member(old, new, name, partial(write, name))
