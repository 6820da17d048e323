"""The rows of a worksheet as text, a string a row: many times as fast as a cell object each.

openpyxl writes everything around them (styles, header, print set-up, notes); what a row looks
like in a file is ECMA-376 part 1, 18.3.1 (``row``, ``c``, ``is``, ``v``).
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable, Iterable
from datetime import date
from typing import IO, Protocol
from xml.sax.saxutils import escape

from openpyxl.utils import get_column_letter

from reports.sheet import Number, Value, plain

LONGEST = 32_767  # characters in one cell of a workbook
DIGITS = 15  # digits that a spreadsheet keeps of a number
_FIRST_DAY = date(1899, 12, 30).toordinal()  # day 0 of a workbook's calendar, from March 1900 on
_PIECE = 1 << 16

StyleOf = Callable[[Value], int]
"""Gives the number of the style that a value of this kind has in the workbook."""


class Height(Protocol):
    """Gives the height of a row of values, in points."""

    def __call__(self, row: Iterable[Value], /) -> float:
        """Return the height."""


class RowWriter:
    """Writes rows as text, one below the other, to a file of its own."""

    def __init__(self, out: IO[bytes], first: int, style_of: StyleOf, height: Height) -> None:
        self._out = out
        self._first = self._next = first
        self._style_of = style_of
        self._height = height
        self._letters: list[str] = []
        self._styles: dict[object, int] = {}

    @property
    def count(self) -> int:
        """How many rows were written."""
        return self._next - self._first

    def write(self, row: tuple[Value, ...]) -> None:
        """Write the next row."""
        number = self._next
        self._next += 1
        while len(self._letters) < len(row):
            self._letters.append(get_column_letter(len(self._letters) + 1))
        cells = "".join([
            f'<c r="{letter}{number}"{self._cell(value)}'
            for letter, value in zip(self._letters, row, strict=False)
        ])  # fmt: skip
        height = f"{self._height(row):g}"
        text = f'<row r="{number}" ht="{height}" customHeight="1">{cells}</row>'
        self._out.write(text.encode("utf-8"))

    def _cell(self, value: Value) -> str:
        """Return the style and the content of a cell, up to its end."""
        if isinstance(value, str):
            style, content = self._style(str, value), _text(value)
        elif value is None:
            style, content = self._style(None, value), "/>"
        elif isinstance(value, Number):
            figure = is_figure(value)
            style = self._style(value.places if figure else Number, value)
            content = f"><v>{value.text}</v></c>" if figure else _text(value.text)
        else:
            style = self._style(date, value)
            content = f"><v>{value.toordinal() - _FIRST_DAY}</v></c>"
        return f' s="{style}"{content}'

    def _style(self, key: object, value: Value) -> int:
        style = self._styles.get(key)
        if style is None:
            style = self._styles[key] = self._style_of(value)
        return style


def is_figure(value: Number) -> bool:
    """Say whether a workbook can hold this as a number with all its digits."""
    return len(value.text.lstrip("-0.").replace(".", "")) <= DIGITS


def cell_text(text: str) -> str:
    """Return a text as a cell can hold it."""
    text = plain(text)
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "…"


def _text(value: str) -> str:
    text = cell_text(value)
    if not text:
        return "/>"
    space = "" if text.isprintable() and text == text.strip() else ' xml:space="preserve"'
    if "&" in text or "<" in text or ">" in text:
        text = escape(text)
    return f' t="inlineStr"><is><t{space}>{text}</t></is></c>'


def splice(sheet: bytes, marker: int, rows: IO[bytes], count: int, out: IO[bytes]) -> None:
    """Write a worksheet's XML with ``count`` rows in place of the empty row ``marker``.

    The rows below it move down.
    """
    found = re.search(rb'<row r="%d"[^>]*?(/>|></row>)' % marker, sheet)
    if found is None:
        raise ValueError(f"row {marker} does not stand in the sheet")
    out.write(sheet[: found.start()])
    rows.seek(0)
    while piece := rows.read(_PIECE):
        out.write(piece)
    below = count - 1
    data, end, rest = sheet[found.end() :].partition(b"</sheetData>")
    out.write(re.sub(rb'(<row r="|<c r="[A-Z]+)(\d+)', lambda m: _moved(m, below), data))
    out.write(end + rest)


def _moved(found: re.Match[bytes], below: int) -> bytes:
    return found[1] + b"%d" % (int(found[2]) + below)


def copy_member(
    old: zipfile.ZipFile, new: zipfile.ZipFile, name: str, write: Callable[[bytes, IO[bytes]], None]
) -> None:
    """Write one file of a workbook anew, without the time of its making."""
    info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
    info.compress_type = zipfile.ZIP_DEFLATED
    info.external_attr = 0o644 << 16
    with new.open(info, "w", force_zip64=True) as out:
        write(old.read(name), out)
