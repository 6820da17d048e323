"""CSV: UTF-8 without a mark, CR LF, a header line, quoted where needed (RFC 4180).

A text that a spreadsheet would run as a formula (it begins with ``= + - @``, a tab or a line
break, after any apostrophes) is written with one apostrophe in front. That can be undone: take one
apostrophe away from every text that begins with apostrophes followed by one of those characters
(:func:`unguarded`). Numbers and days are never touched.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence

from reports.sheet import Sheet, Value, plain, shown

_RUNS = re.compile(r"'*[=+\-@\t\n]")
_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?")


def guarded(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula. A plain number is no formula."""
    return f"'{text}" if _RUNS.match(text) and not _NUMBER.fullmatch(text) else text


def unguarded(text: str) -> str:
    """Return the text that :func:`guarded` was given."""
    return text[1:] if text.startswith("'") and _RUNS.match(text) else text


def rows_csv(columns: Sequence[str], rows: Iterable[Mapping[str, str]]) -> bytes:
    """Return machine rows (text by column) as CSV; a column that a row lacks is a fault of ours."""
    return _csv([list(columns), *([guarded(plain(row[c])) for c in columns] for row in rows)])


def sheet_csv(sheet: Sheet) -> bytes:
    """Return the table of a sheet as CSV: headings, rows; without totals, remarks and title."""
    headings = [guarded(column.heading) for column in sheet.columns]
    return _csv([headings, *([_cell(value) for value in row] for row in sheet.rows)])


def _cell(value: Value) -> str:
    return guarded(shown(value)) if isinstance(value, str) else shown(value)


def _csv(rows: Iterable[Sequence[str]]) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerows(rows)
    return out.getvalue().encode("utf-8")
