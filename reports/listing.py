"""A report of single applications, groups or people as a sheet, and as the regulator's file."""

from __future__ import annotations

import unicodedata
from fractions import Fraction

from ledger.listing import exact_of, places_of, text_of
from ledger.rulebook.form_model import Form, FormColumn
from ledger.rulebook.form_words import NUMBERS
from ledger.values.finding import Fault
from ledger.values.origin import Origin
from ledger.values.summary import Summary
from ledger.values.use_row import UseRow
from reports.sheet import Column, Kind, Number, Value, plain


def columns_of(form: Form) -> tuple[Column, ...]:
    """Return the columns of the printed list, as the form names them."""
    return tuple(
        Column(
            column.heading,
            column.meaning,
            Kind.NUMBER if column.value in NUMBERS else Kind.TEXT,
            column.unit or ("lb" if column.value == "pounds" else ""),
        )
        for column in form.columns
    )


def rows_of(part: Summary, form: Form) -> tuple[tuple[Value, ...], ...]:
    """Return the lines of the printed list, each with its number in front."""
    return tuple(
        (Number(Fraction(row.number)), *(_value(column, row, form) for column in form.columns))
        for row in part.rows
    )


def _value(column: FormColumn, row: UseRow, form: Form) -> Value:
    if column.value in NUMBERS:
        exact, _ = exact_of(column, row)
        if exact is not None:
            return Number(exact, places_of(column, form))
    return text_of(column, row, form, coded=False) or None


# ------------------------------------------------------------------ the regulator's file


def pipe_file(part: Summary, form: Form) -> bytes:
    """Return the file for the regulator: ASCII, ``|`` between fields, CR LF after each line.

    Every field stands in every line, empty ones too. Letters with marks lose them; what is no
    ASCII letter after that, and a ``|`` inside a text, is a fault of :func:`pipe_faults`.
    """
    lines = [
        "|".join(_plain(text_of(column, row, form, coded=True)) for column in form.columns)
        for row in part.rows
    ]
    return "".join(f"{line}\r\n" for line in lines).encode("ascii", "strict")


def pipe_faults(part: Summary, form: Form) -> tuple[Fault, ...]:
    """Return what cannot be written to such a file, with the line it stands in."""
    return tuple(
        Fault(
            "REPORT-REFUSED", Origin(f"line {row.number}", None, column.heading),
            f'"{text}" has a letter that the regulator\'s file cannot hold',
            "write it in plain letters, without | between them",
        )
        for row in part.rows
        for column in form.columns
        for text in (text_of(column, row, form, coded=True),)
        if "|" in text or not _plain(text).isascii()
    )  # fmt: skip


def _plain(text: str) -> str:
    bare = unicodedata.normalize("NFKD", " ".join(plain(text).split()))
    return "".join(mark for mark in bare if not unicodedata.combining(mark))


def pipe_name(form: Form, part: Summary) -> str:
    """Return the file's name: it begins with the form's prefix and ends in ``.txt``."""
    return f"{form.prefix or form.id}-{part.period.key}.txt"
