"""A sheet: what a report says, before it becomes a workbook, a CSV file or a PDF.

Cells are text, exact numbers, days, or nothing. A number carries the places it is shown with and
is rounded here, once, so that every writer shows the same digits.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from ledger.values.rounding import exact_text, fixed, half_even

MOST_PLACES = 9
"""Decimal places of a number that nothing else settles: amounts are kept to a billionth."""

CAUTION = (
    "Made from a tamper-evident ledger: changes show, they are not impossible. The label, the law "
    "of the place and the regulator's own form come first; check them before signing."
)


class Kind(StrEnum):
    """What a column holds."""

    TEXT = "text"
    NUMBER = "number"
    DATE = "date"


@dataclass(frozen=True, slots=True)
class Number:
    """An exact number and the decimal places it is shown with."""

    exact: Fraction
    places: int = 0

    @property
    def rounded(self) -> Decimal:
        """The number as shown, rounded half to even."""
        return half_even(self.exact, self.places)

    @property
    def text(self) -> str:
        """The number as shown, without an exponent or separators."""
        if not self.places and self.exact.denominator == 1:  # by far most numbers
            return str(self.exact.numerator)
        return fixed(self.exact, self.places)


def number(exact: Fraction, most: int = MOST_PLACES) -> Number:
    """Return a number with the places it needs, and no more than ``most``."""
    text = exact_text(exact)
    if "/" in text:
        return Number(exact, most)
    return Number(exact, min(len(text.partition(".")[2]), most))


Value = str | Number | date | None
"""One cell. None is nothing to say; it is never used for zero or for "cannot tell"."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its heading, its unit if all of it is in one, what it means, what it holds."""

    name: str
    meaning: str = ""
    kind: Kind = Kind.TEXT
    unit: str = ""

    @property
    def heading(self) -> str:
        """The heading with the unit, as printed."""
        return f"{self.name}, {self.unit}" if self.unit else self.name


@dataclass(frozen=True, slots=True)
class Note:
    """A remark under the table, with the sources it rests on."""

    text: str
    sources: tuple[str, ...] = ()

    @property
    def whole(self) -> str:
        """The remark with its sources in brackets."""
        return f"{self.text} [{'; '.join(self.sources)}]" if self.sources else self.text


@dataclass(frozen=True, slots=True)
class Sheet:
    """One table with everything a reader needs around it.

    ``name`` is short (the worksheet's tab). ``about`` are pairs of what and value under the
    title. ``totals`` are rows of the same columns, set apart. ``statement`` stands in place of a
    table without rows ("no use"). ``signature`` are the things to be filled in by hand.
    """

    name: str
    title: str
    about: tuple[tuple[str, str], ...]
    columns: tuple[Column, ...]
    rows: Sequence[tuple[Value, ...]]
    totals: tuple[tuple[Value, ...], ...] = ()
    statement: str = ""
    notes: tuple[Note, ...] = ()
    sources: tuple[str, ...] = ()
    signature: tuple[str, ...] = ()
    caution: str = CAUTION
    wide: bool = False

    def __post_init__(self) -> None:
        for row in (*self.rows, *self.totals):
            if len(row) != len(self.columns):
                raise ValueError(f"{self.name}: a row has {len(row)} of {len(self.columns)} cells")


@dataclass(frozen=True, slots=True)
class LongSheet:
    """A sheet whose rows come one by one and are never held together.

    ``head`` is the sheet without rows. ``rows`` is read once; after that ``ending`` gives the
    sheet again with the totals and the statement that go below them.
    """

    head: Sheet
    rows: Iterable[tuple[Value, ...]]
    ending: Callable[[], Sheet]


def as_long(sheet: Sheet | LongSheet) -> LongSheet:
    """Return a sheet as one whose rows come one by one."""
    return sheet if isinstance(sheet, LongSheet) else LongSheet(sheet, sheet.rows, lambda: sheet)


_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


def plain(text: str) -> str:
    """Return ``text`` with what no file can hold (control characters) as a visible mark."""
    if text.isprintable():  # by far most texts
        return text
    return _CONTROL.sub("\ufffd", text.replace("\r\n", "\n").replace("\r", "\n"))


def shown(value: Value) -> str:
    """Return a cell as text: numbers as rounded, days as YYYY-MM-DD, nothing as nothing."""
    if value is None:
        return ""
    if isinstance(value, Number):
        return value.text
    return value.isoformat() if isinstance(value, date) else plain(value)
