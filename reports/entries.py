"""A list of entries as a sheet and as plain values: an inspector's first question."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, replace
from datetime import date
from fractions import Fraction
from typing import Any

from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.rounding import exact_text
from reports.sheet import Column, Kind, LongSheet, Note, Number, Sheet, Value, number

CURRENT, AMENDED, STRUCK = "current", "amended", "struck"
"""The states of a version; only a current one counts in totals."""

CARRIED = "carried over"
"""The mark of a record that was kept elsewhere at the time."""


@dataclass(frozen=True, slots=True)
class EntryRow:
    """One version of one application, as it is listed.

    ``amount`` is as typed; ``used`` the exact amount of undiluted product in ``unit`` (None where
    it could not be told). ``recorded_at`` is UTC as sealed; ``late`` says that the day was closed
    before. ``findings`` counts the findings of the newest judgement. ``carried`` says that it was
    kept elsewhere at the time and carried over since: it counts, and is not judged here.
    """

    seq: int
    date: date
    start: str
    applicator: str
    licence: str
    customer: str
    address: str
    county: str
    product: str
    registration: str
    amount: str
    used: Fraction | None
    unit: str
    method: str
    places: str
    findings: int
    state: str
    recorded_at: str
    late: bool
    carried: bool = False


@dataclass(frozen=True, slots=True)
class ProductTotal:
    """The current lines of one product together, exact; ``untold`` ones add no amount."""

    product: str
    registration: str
    used: Fraction
    unit: str
    lines: int
    untold: int


_COLUMNS = (
    Column("Entry", "number in the ledger", Kind.NUMBER),
    Column("Date", "day of the work", Kind.DATE),
    Column("Start"),
    Column("Applicator"),
    Column("Licence"),
    Column("Customer"),
    Column("Address"),
    Column("County"),
    Column("Product"),
    Column("Registration"),
    Column("Amount", "as written on the day sheet"),
    Column("Used", "undiluted product", Kind.NUMBER),
    Column("Unit"),
    Column("Method"),
    Column("Places"),
    Column("Findings", "how many the newest judgement holds", Kind.NUMBER),
    Column("State", "current, amended (a newer version stands) or struck"),
    Column("Recorded", "UTC"),
    Column("Late", "recorded after the day was closed"),
    Column("Carried", "carried over from before the ledger began: counted, not judged here"),
)


def entries_sheet(
    rows: Iterable[EntryRow],
    units: Units,
    title: str = "Entries",
    about: tuple[tuple[str, str], ...] = (),
) -> Sheet:
    """Return the entries as a sheet with a total for each product.

    Amounts show the places they need, nine at most. Totals count current versions only.
    """
    listed = tuple(rows)
    totals = Totals(units)
    totals.add(listed)
    sheet = _sheet(title, about, totals)
    return replace(sheet, rows=tuple(_row(row) for row in listed))


def long_entries(
    rows: Iterable[EntryRow], units: Units, about: tuple[tuple[str, str], ...] = ()
) -> tuple[LongSheet, Totals]:
    """Return the same sheet for any number of entries, and the totals once it was written."""
    totals = Totals(units)

    def passing() -> Iterator[tuple[Value, ...]]:
        for row in rows:
            totals.add((row,))
            yield _row(row)

    head = _sheet("Entries", about, totals)
    return LongSheet(head, passing(), lambda: _sheet("Entries", about, totals)), totals


def _sheet(title: str, about: tuple[tuple[str, str], ...], totals: Totals) -> Sheet:
    """Return the sheet without its rows, with the totals so far."""
    return Sheet(
        name="entries",
        title=title,
        about=about,
        columns=_COLUMNS,
        rows=(),
        totals=tuple(_total(total) for total in totals.of_products()),
        statement="" if totals.count else "No entry answers this question.",
        notes=(Note("Totals count current versions; amended and struck ones are listed only."),),
        wide=True,
    )


def product_totals(rows: Iterable[EntryRow], units: Units) -> tuple[ProductTotal, ...]:
    """Return the total of each product, by name; weighed and measured amounts stay apart.

    The unit is the one that the first line of the product was written in.
    """
    totals = Totals(units)
    totals.add(rows)
    return totals.of_products()


class Totals:
    """The totals of the products in rows that pass by."""

    def __init__(self, units: Units) -> None:
        self._units = units
        self._found: dict[tuple[str, str, str], ProductTotal] = {}
        self.count = 0

    def of_products(self) -> tuple[ProductTotal, ...]:
        """Return the total of each product so far, by name."""
        return tuple(self._found[key] for key in sorted(self._found))

    def add(self, rows: Iterable[EntryRow]) -> None:
        """Count rows; only current versions add to a total."""
        units = self._units
        for row in rows:
            self.count += 1
            if row.state != CURRENT:
                continue
            told = row.used is not None
            known = told and units.comparable(row.unit, row.unit)
            dimension = units.dimension(row.unit) if known else row.unit
            key = (row.product, row.registration, dimension)
            before = self._found.get(
                key, ProductTotal(row.product, row.registration, Fraction(), row.unit, 0, 0)
            )
            used = Fraction() if row.used is None else row.used
            if told and row.unit != before.unit:
                used = units.convert(Quantity(used, row.unit), before.unit).value
            self._found[key] = ProductTotal(
                before.product, before.registration, before.used + used, before.unit,
                before.lines + 1, before.untold + (not told),
            )  # fmt: skip


def entries_values(rows: Iterable[EntryRow], units: Units) -> dict[str, Any]:
    """Return entries and totals as plain values for JSON; amounts as exact text."""
    listed = tuple(rows)
    return {
        "entries": [
            {
                **asdict(row),
                "date": row.date.isoformat(),
                "used": None if row.used is None else exact_text(row.used),
            }
            for row in listed
        ],
        "totals": [
            {**asdict(total), "used": exact_text(total.used) if total.unit else None}
            for total in product_totals(listed, units)
        ],
    }


def _row(row: EntryRow) -> tuple[Value, ...]:
    return (
        Number(Fraction(row.seq)), row.date, row.start, row.applicator, row.licence,
        row.customer, row.address, row.county, row.product, row.registration, row.amount,
        "cannot tell" if row.used is None else number(row.used), row.unit, row.method, row.places,
        None if row.carried else Number(Fraction(row.findings)), row.state,
        row.recorded_at.replace("T", " "), "late" if row.late else "",
        CARRIED if row.carried else "",
    )  # fmt: skip


def _total(total: ProductTotal) -> tuple[Value, ...]:
    lines = f"{total.lines} line" + ("s" if total.lines != 1 else "")
    used: Value = number(total.used) if total.lines > total.untold else "cannot tell"
    cells: dict[str, Value] = {
        "Product": total.product, "Registration": total.registration, "Amount": lines,
        "Used": used, "Unit": total.unit,
    }  # fmt: skip
    return tuple(cells.get(column.name) for column in _COLUMNS)
