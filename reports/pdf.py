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
    return {
        "title": _soft(sheet.title),
        "running": _soft(sheet.name),
        "about": [[_soft(what), _soft(value)] for what, value in sheet.about],
        "columns": [_column(sheet, number) for number in range(len(sheet.columns))],
        "meanings": [[_soft(c.name), _soft(c.meaning)] for c in sheet.columns if c.meaning],
        "rows": [[_text(value) for value in row] for row in sheet.rows],
        "totals": [[_text(value) for value in row] for row in sheet.totals],
        "statement": _soft(sheet.statement),
        "notes": [_soft(note.whole) for note in sheet.notes],
        "sources": [_soft(source) for source in sheet.sources],
        "signature": [_soft(field) for field in sheet.signature],
        "caution": _soft(sheet.caution),
        "wide": sheet.wide,
    }


def _column(sheet: Sheet, number: int) -> dict[str, Any]:
    column: Column = sheet.columns[number]
    return {
        "heading": _soft(column.heading),
        "right": column.kind is Kind.NUMBER,
        "share": _share(sheet, number) if column.kind is Kind.TEXT else 0,
    }


def _share(sheet: Sheet, number: int) -> int:
    """Return the share of the width of a text column: by its longest text, within reason."""
    texts = [shown(row[number]) for row in (*sheet.rows, *sheet.totals)]
    longest = max([len(text) for text in texts] + [len(sheet.columns[number].heading) // 2])
    return min(40, max(5, longest))


def _text(value: Value) -> str:
    return _soft(value) if isinstance(value, str) else shown(value)


def _soft(text: str) -> str:
    """Return a text whose very long words may break, so that they stay inside their column."""
    return _LONG_WORD.sub(
        lambda word: _BREAK.join(re.findall(".{1,16}", word[0])), plain(text)
    )
