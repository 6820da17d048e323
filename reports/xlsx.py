"""A workbook of sheets: real numbers and days, text never a formula, ready to print and sign.

Written row by row, so a long list of entries does not fill the memory. The same sheets give the
same bytes: the time of making stands nowhere in the file.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from textwrap import wrap
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import Cell, WriteOnlyCell
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.utils import get_column_letter

from reports.sheet import Kind, Number, Sheet, Value, plain, shown

_FACE = "Calibri"
_BODY = Font(name=_FACE, size=11)
_BOLD = Font(name=_FACE, size=11, bold=True)
_TITLE = Font(name=_FACE, size=15, bold=True)
_SMALL = Font(name=_FACE, size=9)
_THIN, _HAIR = Side("thin"), Side("hair")
_LINE_HEIGHT = 15
_SMALL_HEIGHT = 12.5
_LONGEST = 32_767  # characters in one cell of a workbook
_DIGITS = 15  # digits that a spreadsheet keeps of a number
_WIDEST, _NARROWEST = 44, 9
_EPOCH = (1980, 1, 1, 0, 0, 0)


def workbook(sheets: Sequence[Sheet]) -> bytes:
    """Return the sheets as one XLSX file, one worksheet each."""
    book = Workbook(write_only=True)
    names: set[str] = set()
    for sheet in sheets:
        _Page(book, sheet, _tab(sheet.name, names)).write()
    out = io.BytesIO()
    book.save(out)
    return _settled(out.getvalue())


def _tab(name: str, taken: set[str]) -> str:
    """Return a name that a worksheet may have, not yet taken (31 characters, case ignored)."""
    clean = re.sub(r"[\[\]:*?/\\']", " ", plain(name)).strip()[:31] or "sheet"
    tab, number = clean, 1
    while tab.casefold() in taken:
        number += 1
        tab = f"{clean[: 30 - len(str(number))]} {number}"
    taken.add(tab.casefold())
    return tab


class _Page:
    """One worksheet while it is written, from the title down to the caution."""

    def __init__(self, book: Workbook, sheet: Sheet, tab: str) -> None:
        self.sheet = sheet
        self.page: Any = book.create_sheet(tab)
        self.row = 0
        self.widths = _widths(sheet)

    def write(self) -> None:
        """Write everything; what stands above the rows must be set up before the first row."""
        sheet = self.sheet
        self._set_up(header=3 + len(sheet.about))
        self._wide([(plain(sheet.title), _TITLE)], height=21)
        for what, value in sheet.about:
            self._wide([(f"{what}: {value}", _BODY)])
        self._wide([])
        self._header()
        for row in sheet.rows:
            self._cells(row, _BODY, Border(bottom=_HAIR))
        for row in sheet.totals:
            self._cells(row, _BOLD, Border(top=_THIN))
        if sheet.statement:
            self._wide([(sheet.statement, _BOLD)])
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
        # An ampersand begins a code in a footer; two stand for one.
        page.oddFooter.left.text = plain(self.sheet.title).replace("&", "&&")[:120]
        page.oddFooter.right.text = "Page &P of &N"
        for number, width in enumerate(self.widths, 1):
            page.column_dimensions[get_column_letter(number)].width = width

    def _header(self) -> None:
        cells = [
            self._cell(column.heading, _BOLD, Border(top=_THIN, bottom=_THIN))
            for column in self.sheet.columns
        ]
        for cell, column in zip(cells, self.sheet.columns, strict=True):
            side = "right" if column.kind is Kind.NUMBER else "left"
            indent = 0 if side == "right" else 1
            cell.alignment = Alignment(
                horizontal=side, vertical="bottom", wrap_text=True, indent=indent
            )
        longest = max(
            (_lines(c.heading, w) for c, w in zip(self.sheet.columns, self.widths, strict=True)),
            default=1,
        )
        self._append(cells, _LINE_HEIGHT * longest + 3)

    def _cells(self, row: Sequence[Value], font: Font, border: Border) -> None:
        cells = [self._cell(value, font, border) for value in row]
        for cell, value in zip(cells, row, strict=True):
            if not isinstance(value, Number):  # air between a number and the text beside it
                cell.alignment = Alignment(
                    horizontal="left", vertical="top", wrap_text=True, indent=1
                )
        lines = [
            _lines(shown(value), width)
            for value, width in zip(row, self.widths, strict=True)
            if isinstance(value, str)
        ]
        self._append(cells, _LINE_HEIGHT * max(lines, default=1))

    def _below(self) -> None:
        sheet = self.sheet
        self._wide([])
        meanings = [f"{c.name}: {c.meaning}." for c in sheet.columns if c.meaning]
        blocks = (
            ("Columns", [" ".join(meanings)] if meanings else []),
            ("Remarks", [f"{n}. {note.whole}" for n, note in enumerate(sheet.notes, 1)]),
            ("Sources", list(sheet.sources)),
        )
        for title, texts in blocks:
            if texts:
                self._wide([(title, _BOLD)])
            for text in texts:
                self._wide([(text, _SMALL)])
        for field in sheet.signature:
            self._wide([], height=24)
            self._wide([(f"{field}: {'_' * 40}", _BODY)])
        self._wide([])
        self._wide([(sheet.caution, _SMALL)])

    def _wide(self, texts: Iterable[tuple[str, Font]], height: float | None = None) -> None:
        """Append one row that spans the table: text in the first cell, the others merged."""
        cells = [self._cell(text, font, None) for text, font in texts]
        if cells:
            small = cells[0].font.size == _SMALL.size
            lines = _lines(str(cells[0].value), sum(self.widths) * (1.15 if small else 0.95))
            height = height or (_SMALL_HEIGHT if small else _LINE_HEIGHT) * lines
            if len(self.widths) > 1:
                last = get_column_letter(len(self.widths))
                self.page.merged_cells.ranges.add(f"A{self.row + 1}:{last}{self.row + 1}")
        self._append(cells, height)

    def _append(self, cells: list[Cell], height: float | None) -> None:
        self.row += 1
        if height:
            self.page.row_dimensions[self.row].height = height
        self.page.append(cells)

    def _cell(self, value: Value, font: Font, border: Border | None) -> Cell:
        cell = WriteOnlyCell(self.page)
        self._fill(cell, value)
        cell.font = font
        if border is not None:
            cell.border = border
        return cell

    @staticmethod
    def _fill(cell: Cell, value: Value) -> None:
        """Put a value into a cell as what it is; text stays text whatever it begins with."""
        cell.alignment = Alignment(vertical="top", wrap_text=isinstance(value, str))
        if value is None:
            return
        if isinstance(value, Number) and len(value.rounded.as_tuple().digits) <= _DIGITS:
            cell.value = value.rounded
            cell.number_format = "0" + ("." + "0" * value.places if value.places else "")
            return
        if isinstance(value, date):
            cell.value = datetime(value.year, value.month, value.day)  # noqa: DTZ001 a day has no zone
            cell.number_format = "yyyy-mm-dd"
            return
        text = shown(value)
        cell.value = text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"
        cell.data_type = "s"
        cell.quotePrefix = True  # stays text when a person opens and leaves the cell


def _lines(text: str, width: float) -> int:
    """Return how many lines a text takes in a cell that wide, about."""
    room = max(1, int(width) - 1)
    return sum(max(1, len(wrap(part, room))) for part in text.split("\n"))


def _widths(sheet: Sheet) -> list[float]:
    """Return a width for every column that holds its longest text, within reason."""
    longest = [max(map(len, column.heading.split()), default=0) for column in sheet.columns]
    for row in (*sheet.rows, *sheet.totals):
        for number, value in enumerate(row):
            longest[number] = max(longest[number], len(shown(value)))
    return [float(min(_WIDEST, max(_NARROWEST, length + 3))) for length in longest]


def _settled(data: bytes) -> bytes:
    """Return the same workbook without the times of its making."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "docProps/core.xml":
                content = re.sub(
                    rb"<dcterms:(created|modified)[^>]*>[^<]*</dcterms:\1>", b"", content
                )
                content = re.sub(rb"<dc:creator>[^<]*</dc:creator>", b"", content)
            info = zipfile.ZipInfo(name, _EPOCH)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            new.writestr(info, content)
    return out.getvalue()
