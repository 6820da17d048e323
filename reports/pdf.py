"""A PDF of sheets, set by Typst: tagged for screen readers, headings repeated, pages numbered.

What people wrote goes to ``report.typ`` as JSON and is set as text, never read as markup. The same
sheets give the same bytes: no clock, no fonts of the computer.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from reports.sheet import Column, Kind, Sheet, Value, plain, shown

_TEMPLATE = Path(__file__).with_name("report.typ")
_FONTS = ("Libertinus Serif", "New Computer Modern", "DejaVu Sans Mono")
"""Faces inside the library itself."""

_LONG_WORD = re.compile(r"\S{25,}")
_BREAK = "\u200b"
_ACROSS, _ACROSS_WIDE = 504.0, 684.0  # points between the margins of a letter page
_LETTER = 0.52  # the width of a letter, about, in parts of its size
_MANY = 10


def document(sheets: Sequence[Sheet], author: str = "") -> bytes:
    """Return the sheets as one PDF (PDF/UA-1), each beginning on a new page.

    A text in a script that the built-in faces lack is set in the computer's own; such a file may
    fall short of PDF/UA-1 and is then an ordinary tagged PDF.
    """
    import typst  # noqa: PLC0415 - a large library, wanted only where a PDF is

    template = _TEMPLATE.read_bytes()
    inputs = {"report": json.dumps(_report(sheets, author))}
    try:
        return typst.compile(
            template, ignore_system_fonts=True, format="pdf", sys_inputs=inputs,
            pdf_standards=["ua-1"], timestamp=0,
        )  # fmt: skip
    except typst.TypstError:
        # A letter without a shape is refused by the standard; a report must come out all the same.
        return typst.compile(template, format="pdf", sys_inputs=inputs, timestamp=0)


def _report(sheets: Sequence[Sheet], author: str) -> dict[str, Any]:
    return {
        "title": plain(sheets[0].title) if sheets else "Report",
        "author": plain(author),
        "fonts": list(_FONTS),
        "sheets": [_sheet(sheet) for sheet in sheets],
    }


def _sheet(sheet: Sheet) -> dict[str, Any]:
    size, air = _size(sheet)
    meanings = [f"{_soft(c.name)}: {_soft(c.meaning)}." for c in sheet.columns if c.meaning]
    return {
        "title": _soft(sheet.title),
        "running": _soft(sheet.name),
        "about": [[_soft(what), _soft(value)] for what, value in sheet.about],
        "columns": [_column(sheet, number) for number in range(len(sheet.columns))],
        "meanings": " ".join(meanings) if sheet.rows else "",
        "rows": [[_text(value) for value in row] for row in sheet.rows],
        "totals": [[_text(value) for value in row] for row in sheet.totals],
        "statement": _soft(sheet.statement),
        "notes": [_soft(note.whole) for note in sheet.notes],
        "sources": [_soft(source) for source in sheet.sources],
        "signature": [_soft(field) for field in sheet.signature],
        "caution": _soft(sheet.caution),
        "wide": sheet.wide,
        "size": size,
        "air": air,
    }


def _column(sheet: Sheet, number: int) -> dict[str, Any]:
    column: Column = sheet.columns[number]
    size, air = _size(sheet)
    text = column.kind is Kind.TEXT
    return {
        "heading": _soft(column.heading),
        "right": column.kind is Kind.NUMBER,
        "share": round(_width(sheet, number) * size * _LETTER + 2 * air, 1) if text else 0,
    }


def _width(sheet: Sheet, number: int) -> int:
    """Return the width of a column in letters: its longest word, and more for a long text.

    Numbers and days are never broken; a word longer than 24 letters is (see :func:`_soft`).
    """
    column = sheet.columns[number]
    texts = [shown(row[number]) for row in (*sheet.rows, *sheet.totals)]
    longest = max((len(text) for text in texts), default=0)
    words = [min(24, len(word)) for text in texts for word in text.split()]
    words += [len(word) * 6 // 5 for word in column.heading.split()]  # bold is wider
    word = max(words, default=1)
    if column.kind is not Kind.TEXT:
        return max(word, longest)
    return max(4, word, min(40, word + (longest - word) // 3))


def _size(sheet: Sheet) -> tuple[float, float]:
    """Return the size of the table's letters and the air beside them, in points.

    A table of few columns is set in the size of the text; one of many in what fits the page.
    """
    many = len(sheet.columns) > _MANY
    air = 2.0 if many else 4.0
    room = (_ACROSS_WIDE if sheet.wide else _ACROSS) - 2 * air * len(sheet.columns)
    letters = sum(_width(sheet, number) for number in range(len(sheet.columns)))
    return min(9.5, max(5.0, room / (letters * _LETTER))), air


def _text(value: Value) -> str:
    return _soft(value) if isinstance(value, str) else shown(value)


def _soft(text: str) -> str:
    """Return a text whose very long words may break, so that they stay inside their column."""
    return _LONG_WORD.sub(lambda word: _BREAK.join(re.findall(".{1,16}", word[0])), plain(text))
