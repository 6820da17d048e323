"""What the filters of a list of entries mean as conditions on the journal's columns."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from sqlalchemy.sql import ColumnElement

from ledger.journal.tables import journal
from ledger.values.sealed import EntryKind

j = journal.c

EQUAL = ("site", "product_key", "applicator", "county", "jurisdiction")
"""The filters of ``entries`` that ask for one value of a column."""


def is_one_of(kinds: Iterable[EntryKind], *, by_index: bool) -> ColumnElement[bool]:
    """Return the condition that an entry is of these kinds.

    Without ``by_index`` the index of kinds is kept out of it: SQLite takes an equal kind to be
    rarer than a stretch of days, and would walk through every application there is.
    """
    kind = j.kind if by_index else j.kind.concat("")
    return kind.in_(sorted(str(one) for one in kinds))


def conditions_of(
    kinds: Iterable[EntryKind] | None, filters: Mapping[str, str | date | None]
) -> list[ColumnElement[bool]]:
    """Return the conditions that filters of ``Reader.entries`` mean; TypeError for others."""
    conditions: list[ColumnElement[bool]] = []
    if kinds is not None:
        dated = any(filters.get(name) is not None for name in ("date_from", "date_to"))
        conditions.append(is_one_of(kinds, by_index=not dated))
    for name, value in filters.items():
        if name not in EQUAL and name not in {"date_from", "date_to"}:
            raise TypeError(f"entries() has no filter {name!r}")
        if value is None:
            continue
        if name == "date_from":
            conditions.append(j.applied_on >= str(value))
        elif name == "date_to":
            conditions.append(j.applied_on <= str(value))
        else:
            conditions.append(j[name] == value)
    return conditions
