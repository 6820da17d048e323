"""How long a treatment lasts, and when to come back.

A label's own figure wins. Where it has none, a dust is taken to last six to eight months and a
liquid two to three: common practice, no source. For other products nothing is known.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from ledger.rulebook.book import Book
from ledger.rulebook.model import RuleFile
from ledger.values.entry import Application
from ledger.values.product import Formulation

PRACTICE = "common practice, no source"
_USUAL: Mapping[Formulation, str] = {
    Formulation.DUST: "6 to 8 months",
    Formulation.LIQUID: "2 to 3 months",
}
_LASTS = re.compile(
    r"(?P<least>\d+)(?:\s*(?:to|-|\u2013)\s*(?P<most>\d+))?\s*(?P<unit>day|week|month|year)s?\b"
)


@dataclass(frozen=True, slots=True)
class Lasts:
    """How long a treatment lasts: least and most, in days or months, and who says so."""

    text: str
    least: int
    most: int
    unit: str
    source: str

    def window(self, day: date) -> tuple[date, date]:
        """Return the first and the last day on which to come back after work on that day."""
        return _later(day, self.least, self.unit), _later(day, self.most, self.unit)


def _later(day: date, number: int, unit: str) -> date:
    if unit in {"day", "week"}:
        return day + timedelta(days=number * (7 if unit == "week" else 1))
    year, month = divmod(day.year * 12 + day.month - 1 + number * (12 if unit == "year" else 1), 12)
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(day.day, last))


def read_lasts(text: str, source: str) -> Lasts | None:
    """Return a lasting time as written, ``6 to 8 months``; None where it is no such time."""
    found = _LASTS.match(text.strip())
    if found is None:
        return None
    least = int(found["least"])
    most = int(found["most"] or least)
    words = text.strip()[: found.end()]
    return Lasts(words, min(least, most), max(least, most), found["unit"], source)


def lasts_of(use: Application, book: Book) -> Lasts | None:
    """Return how long this application lasts; None where neither label nor habit says it."""
    file = book.label_for(use.product, use.date, use.lot) if use.label else None
    return _of_label(file) if file else None


def longest_of(book: Book) -> timedelta:
    """Return a time that nothing on file outlasts: months and years count as the longest are."""
    found = (lasts for file in book.labels if (lasts := _of_label(file)))
    days = max((lasts.most * _MOST_DAYS[lasts.unit] for lasts in found), default=0)
    return timedelta(days=min(days, date.max.toordinal()))


_MOST_DAYS = {"day": 1, "week": 7, "month": 31, "year": 366}


def _of_label(file: RuleFile) -> Lasts | None:
    if file.product is None:
        return None
    if file.lasts:
        text, _, read = file.lasts.partition(" (")
        found = read_lasts(text, f"{file.path}, {read.rstrip(')')}" if read else file.path)
        if found is not None:
            return found
    usual = _USUAL.get(file.product.formulation)
    return read_lasts(usual, PRACTICE) if usual else None


@dataclass(frozen=True, slots=True)
class Revisit:
    """A treatment that will have run out: where, with what, when, and from when to come back.

    ``due_from`` and ``due_to`` bound the days; ``source`` says who says how long it lasts.
    """

    site: str
    customer: str
    product_key: str
    product_name: str
    setting: str
    done_on: date
    due_from: date
    due_to: date
    lasts: str
    source: str
    applicator: str = ""

    def state(self, on: date) -> str:
        """Return ``not yet``, ``due`` or ``overdue`` on a day."""
        if on < self.due_from:
            return "not yet"
        return "due" if on <= self.due_to else "overdue"


def revisits_of(
    uses: Iterable[Application], book: Book, on: date, ahead: timedelta
) -> tuple[Revisit, ...]:
    """Return the revisits that are due by ``on`` or within ``ahead`` of it, soonest first.

    The last work with a product at a site and setting replaces earlier work with it there; work
    after ``on`` does not count. What does not last has no revisit. A revisit stays in the list
    until the work is done again.
    """
    last: dict[tuple[str, str, str], Application] = {}
    for use in uses:
        key = (use.site, use.product_key, use.setting)
        if use.date <= on and (key not in last or use.date >= last[key].date):
            last[key] = use
    found = []
    for use in last.values():
        lasts = lasts_of(use, book)
        if lasts is None:
            continue
        first, until = lasts.window(use.date)
        if first <= on + ahead:
            found.append(Revisit(
                use.site, use.customer, use.product_key, use.product_name, use.setting, use.date,
                first, until, lasts.text, lasts.source, use.applicator,
            ))  # fmt: skip
    return tuple(sorted(found, key=lambda r: (r.due_from, r.site, r.product_key, r.setting)))
