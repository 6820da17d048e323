"""The day sheets of the invented month, made from two plain tables beside this module.

``customers.csv`` says who lives where. ``lines.csv`` holds one application a line under the day
sheet's own headings, with two differences: ``sheet`` names the person who hands the sheet in,
and ``customer`` is a key of the first table. As on a day sheet, blank visit columns repeat the
line above.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import date
from importlib.resources import files

from ledger.values.draft import APPLICATION_HEADINGS

Row = dict[str, str]


@dataclass(frozen=True, slots=True)
class DemoSheet:
    """One day sheet as handed in: its file name, day, who hands it in, its text.

    ``format`` is ``csv``, the only one the demonstration uses. A sheet may hold lines of more
    than one person; ``applicator`` is the key of the one whose sheet it is.
    """

    name: str
    day: date
    applicator: str
    text: str
    format: str = "csv"


def sheets() -> tuple[DemoSheet, ...]:
    """Return every day sheet, by day and then by person, in the order they are handed in."""
    grouped: dict[tuple[str, str], list[Row]] = {}
    day = who = ""
    for row in _table("lines.csv"):
        day, who = row.pop("date") or day, row.pop("sheet") or who
        grouped.setdefault((day, who), []).append(row)
    customers = {row.pop("key"): row for row in _table("customers.csv")}
    return tuple(
        DemoSheet(
            name=f"day-{day}-{who}.csv",
            day=date.fromisoformat(day),
            applicator=who,
            text=_sheet_text(day, rows, customers),
        )
        for (day, who), rows in sorted(grouped.items())
    )


def _table(name: str) -> list[Row]:
    """Return the rows of a table of this package, by heading."""
    text = (files(__package__) / name).read_text(encoding="utf-8")
    return list(csv.DictReader(io.StringIO(text), strict=True))


def _sheet_text(day: str, rows: list[Row], customers: dict[str, Row]) -> str:
    """Return a day sheet in CSV: all headings, lines numbered from 1, the visit said once."""
    out = io.StringIO()
    writer = csv.DictWriter(out, APPLICATION_HEADINGS, restval="", lineterminator="\n")
    writer.writeheader()
    for number, row in enumerate(rows, start=1):
        visit = {"date": day, **customers[row["customer"]]} if row["customer"] else {}
        writer.writerow({**row, **visit, "line": str(number)})
    return out.getvalue()
