"""The stock account as a sheet and as plain values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any

from ledger.stock import Account
from ledger.values.rounding import exact_text
from reports.sheet import Column, Kind, Note, Sheet, number

_NUMBERS = (
    "bought", "moved_in", "moved_out", "used", "disposed", "unexplained", "on_hand",
)  # fmt: skip
_COLUMNS = (
    Column("Product"),
    Column("Registration"),
    Column("Place", "store, a vehicle (named like its driver), a tool"),
    Column("Lot"),
    *(Column(name.replace("_", " ").capitalize(), kind=Kind.NUMBER) for name in _NUMBERS),
    Column("Unit"),
    Column("Remark"),
)


def stock_sheet(
    rows: Sequence[Account],
    names: Mapping[str, str],
    tolerance: Fraction,
    about: tuple[tuple[str, str], ...] = (),
) -> Sheet:
    """Return the account; ``names`` gives a product's name by its key."""
    share = exact_text(tolerance * 100)
    notes = (
        Note("Bought + moved in - moved out - used - disposed + unexplained = on hand, exactly."),
        Note(
            f"A count agrees within {share} % of what passed through since the last count "
            "(common practice, no source). Unexplained is what counts found over the account."
        ),
        Note(
            "A count that names no lot is of all lots at its place. What names no lot, and what "
            "such a count did not explain, stands in a row of its own beside the lots."
        ),
        Note(
            "Use is drawn from the tool named on the line if it was loaded with the product, else "
            "from the place named like the applicator, else from the store."
        ),
    )
    return Sheet(
        "stock", "Stock account", about, _COLUMNS,
        tuple(
            (names.get(row.product, row.product), row.product, row.place,
             NAMELESS if row.nameless else row.lot,
             *(number(getattr(row, name), 4) for name in _NUMBERS), row.unit,
             "; ".join((*wrong_with(row), *said_of(row))))
            for row in rows
        ),
        statement="" if rows else "Nothing is recorded of any product.", notes=notes, wide=True,
    )  # fmt: skip


NAMELESS = "not named"
"""The lot of what names none, beside rows of lots."""


def wrong_with(row: Account) -> list[str]:
    """Return what does not add up in an account."""
    found = []
    if not row.known:
        found.append("no receipt, move or count of it is recorded")
    if row.short_on is not None:
        found.append(f"more went out than was there from {row.short_on} on")
    wrong = [count for count in row.counts if not count.agrees]
    if wrong:
        days = ", ".join(
            f"{count.day} (lot {count.lot})" if count.lot and not row.lot else str(count.day)
            for count in wrong
        )
        what = "count of all lots" if row.nameless else "count"
        found.append(f"the {what} does not agree: {days}")
    if row.untold:
        found.append(f"{row.untold} uses cannot be told")
    return found


def said_of(row: Account) -> list[str]:
    """Return what a reader must know of an account that adds up."""
    found = []
    if row.together is not None:
        found.append(f"not counted by lot (all lots together on {row.together})")
    if row.nameless and row.on_hand:
        found.append("of which lot is not known: it belongs to the others here")
    return found


def stock_values(rows: Sequence[Account], tolerance: Fraction) -> dict[str, Any]:
    """Return the account as plain values for JSON, amounts as exact text."""
    return {
        "tolerance": exact_text(tolerance),
        "accounts": [
            {
                "product": row.product, "place": row.place, "lot": row.lot, "unit": row.unit,
                **{name: exact_text(getattr(row, name)) for name in _NUMBERS},
                "untold": row.untold, "lot_named": not row.nameless,
                "counted_together": row.together.isoformat() if row.together else None,
                "adds_up": not wrong_with(row),
                "remark": "; ".join((*wrong_with(row), *said_of(row))),
                "counts": [
                    {
                        "entry": count.seq, "date": count.day.isoformat(), "lot": count.lot,
                        "expected": exact_text(count.expected),
                        "counted": exact_text(count.counted),
                        "difference": exact_text(count.difference), "agrees": count.agrees,
                    }
                    for count in row.counts
                ],
            }
            for row in rows
        ],
    }  # fmt: skip
