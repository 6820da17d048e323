"""Conditions on the journal's columns: text with a mark for each value, and the values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any, NamedTuple

from ledger.values.sealed import EntryKind

EQUAL = ("site", "product_key", "applicator", "county", "jurisdiction")
"""The filters of ``entries`` that ask for one value of a column."""


class Where(NamedTuple):
    """A condition; ``values`` stand for the marks in its text, in their order."""

    text: str
    values: tuple[Any, ...] = ()


def one_of(column: str, values: Iterable[Any]) -> Where:
    """Return the condition that a column has one of these values; of none, that nothing has."""
    wanted = tuple(values)
    marks = ", ".join("?" * len(wanted))
    return Where(f"{column} IN ({marks})", wanted) if wanted else Where("1 = 0")


def both(conditions: Iterable[Where]) -> Where:
    """Return the condition that all of these hold; of none, what always does."""
    all_of = list(conditions)
    text = " AND ".join(condition.text for condition in all_of)
    return Where(text or "1 = 1", tuple(value for one in all_of for value in one.values))


def is_one_of(kinds: Iterable[EntryKind], *, by_index: bool) -> Where:
    """Return the condition that an entry is of these kinds.

    Without ``by_index`` the index of kinds is kept out of it: SQLite takes an equal kind to be
    rarer than a stretch of days, and would walk through every application there is.
    """
    return one_of(
        "journal.kind" if by_index else "journal.kind || ''", sorted(str(one) for one in kinds)
    )


def conditions_of(
    kinds: Iterable[EntryKind] | None, filters: Mapping[str, str | date | None]
) -> list[Where]:
    """Return the conditions that filters of ``Reader.entries`` mean; TypeError for others."""
    conditions: list[Where] = []
    if kinds is not None:
        dated = any(filters.get(name) is not None for name in ("date_from", "date_to"))
        conditions.append(is_one_of(kinds, by_index=not dated))
    for name, value in filters.items():
        if name not in EQUAL and name not in {"date_from", "date_to"}:
            raise TypeError(f"entries() has no filter {name!r}")
        if value is None:
            continue
        if name == "date_from":
            conditions.append(Where("journal.applied_on >= ?", (str(value),)))
        elif name == "date_to":
            conditions.append(Where("journal.applied_on <= ?", (str(value),)))
        else:
            conditions.append(Where(f"journal.{name} = ?", (str(value),)))
    return conditions
