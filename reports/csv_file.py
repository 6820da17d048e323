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
from typing import IO

from reports.sheet import LongSheet, Number, Sheet, Value, as_long, plain, shown

_RUNS = re.compile(r"'*[=+\-@\t\n]")
_SUSPECT = frozenset("'=+-@\t\n")
_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?")


def guarded(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula. A plain number is no formula."""
    return f"'{text}" if _RUNS.match(text) and not _NUMBER.fullmatch(text) else text


def unguarded(text: str) -> str:
    """Return the text that :func:`guarded` was given."""
    return text[1:] if text.startswith("'") and _RUNS.match(text) else text


def rows_csv(columns: Sequence[str], rows: Iterable[Mapping[str, str]]) -> bytes:
    """Return machine rows (text by column) as CSV; a column that a row lacks is a fault of ours."""
    out = io.BytesIO()
    _write(out, columns, ([guarded(plain(row[c])) for c in columns] for row in rows))
    return out.getvalue()


def sheet_csv(sheet: Sheet | LongSheet) -> bytes:
    """Return the table of a sheet as CSV: headings, rows; without totals, remarks and title."""
    out = io.BytesIO()
    write_csv(sheet, out)
    return out.getvalue()


def write_csv(sheet: Sheet | LongSheet, out: IO[bytes]) -> None:
    """Write the table of a sheet as CSV, a row at a time."""
    long = as_long(sheet)
    headings = [guarded(column.heading) for column in long.head.columns]
    _write(out, headings, map(_cells, long.rows))


def _cells(row: Sequence[Value]) -> list[str]:
    """Return the cells of a row as text; most rows hold nothing that must be looked at twice."""
    texts = [
        value if type(value) is str else value.text if type(value) is Number else shown(value)
        for value in row
    ]
    if "".join(texts).isprintable() and _SUSPECT.isdisjoint([text[:1] for text in texts]):
        return texts
    return [
        guarded(plain(value)) if isinstance(value, str) else text
        for value, text in zip(row, texts, strict=True)
    ]


def _write(out: IO[bytes], headings: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    text = io.TextIOWrapper(out, encoding="utf-8", newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(headings)
    writer.writerows(rows)
    text.flush()
    text.detach()  # the file is the caller's to close
