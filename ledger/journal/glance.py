"""What the journal's columns say of the work without any line being read: days, years, numbers.

A long ledger is looked over so; the lines themselves are read where something is found.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from itertools import groupby
from operator import itemgetter
from typing import Any, NamedTuple

from ledger.journal.columns import USES
from ledger.journal.filters import Where, both, conditions_of, is_one_of, one_of
from ledger.journal.listing import (
    entries_by_day,
    entries_of,
    newest_judgements,
    widest_judgement,
)
from ledger.journal.read import CURRENT, Reader, asking_entries, sealed_from
from ledger.values.sealed import EntryKind, Sealed

_USED = is_one_of(USES, by_index=True)


def unclosed_days(reader: Reader, first: date, last: date) -> Iterator[date]:
    """Yield the days of a stretch with current lines that no close of that day names.

    Lines that were carried over are left out: whoever kept them then closed their days.
    """
    stretch = {"date_from": first, "date_to": last}
    where = both((is_one_of(USES, by_index=False), CURRENT, *conditions_of(None, stretch)))
    asked = f"SELECT applied_on, seq FROM journal WHERE {where.text} ORDER BY applied_on, seq"  # noqa: S608 - our own names
    closes = groupby(
        entries_by_day(reader, (EntryKind.CLOSE,), current_only=False, filters=stretch),
        key=lambda entry: str(entry.body["date"]),
    )
    day, entries = next(closes, ("", iter(())))
    for worked, rows in groupby(reader.stream(asked, where.values), key=itemgetter(0)):
        while day and day < worked:
            day, entries = next(closes, ("", iter(())))
        closed = (
            {seq for close in entries for seq in close.body["entries"]} if day == worked else ()
        )
        left = [row[1] for row in rows if row[1] not in closed]
        if any(not entry.body.get("carried") for entry in entries_of(reader, left)):
            yield date.fromisoformat(worked)


def years_worked(reader: Reader) -> dict[str, set[int]]:
    """Return the years with current lines, by jurisdiction."""
    asked = (
        "SELECT DISTINCT jurisdiction, ym FROM journal WHERE jurisdiction IS NOT NULL"  # noqa: S608 - our own names
        f" AND ym IS NOT NULL AND numerator IS NOT NULL AND {CURRENT.text}"
    )
    years: dict[str, set[int]] = {}
    for jurisdiction, ym in reader.rows_of(asked):
        years.setdefault(jurisdiction, set()).add(ym // 100)
    return years


class ProductUsed(NamedTuple):
    """A product used in a jurisdiction: by its key, since which month, always with its label."""

    jurisdiction: str
    product_key: str
    since: date
    with_label: bool


def products_used(reader: Reader) -> tuple[ProductUsed, ...]:
    """Return the products of all current lines."""
    asked = (
        "SELECT jurisdiction, product_key, min(ym), count(*) - count(label) FROM journal"  # noqa: S608 - our own names
        " WHERE jurisdiction IS NOT NULL AND product_key IS NOT NULL AND ym IS NOT NULL"
        f" AND numerator IS NOT NULL AND {CURRENT.text} GROUP BY jurisdiction, product_key"
    )
    return tuple(
        ProductUsed(place, key, date(ym // 100, ym % 100, 1), not without)
        for place, key, ym, without in reader.rows_of(asked)
    )


def uses_of(reader: Reader, products: Iterable[str]) -> Iterator[Sealed]:
    """Yield the current lines with these products, by their keys."""
    where = (_USED, CURRENT, one_of("journal.product_key", sorted(products)))
    for row in reader.stream(*asking_entries(where)):
        yield sealed_from(row)


def uses_saying(
    reader: Reader, key: str, words: Iterable[str], filters: Mapping[str, str | date | None]
) -> Iterator[Sealed]:
    """Yield the current lines that meet filters and have one of these texts under a key.

    The database looks for the text in whole lines and takes small letters for capital ones, so
    what it finds is looked at again.
    """
    wanted = set(words)
    likes = [f'%"{key}":"{word}"%' for word in sorted(wanted)]
    said = Where(" OR ".join(["journal.text LIKE ?"] * len(likes)) or "1 = 0", tuple(likes))
    where = (
        is_one_of(USES, by_index=False), CURRENT, Where(f"({said.text})", said.values),
        *conditions_of(None, filters),
    )  # fmt: skip
    for row in reader.stream(*asking_entries(where)):
        entry = sealed_from(row)
        if entry.body[key] in wanted:
            yield entry


def found_of_kind(reader: Reader, kind: str) -> dict[int, list[dict[str, Any]]]:
    """Return the entries of whose newest judgement a finding of this kind is told, with all of it.

    Inside a line's text a quotation mark is escaped: only a finding's own key reads so.
    """
    asked = "SELECT seq FROM journal WHERE kind = ? AND text LIKE ? ORDER BY seq"
    rows = reader.rows_of(asked, (str(EntryKind.JUDGEMENT), f'%"kind":"{kind}"%'))
    said: dict[int, tuple[int, list[dict[str, Any]]]] = {}
    for judgement in entries_of(reader, [row[0] for row in rows]):
        for item in judgement.body["findings"]:
            if any(finding["kind"] == kind for finding in item["findings"]):
                said[item["seq"]] = (judgement.seq, item["findings"])
    newest = newest_judgements(reader, said, widest_judgement(reader))
    return {seq: found for seq, (by, found) in said.items() if newest.get(seq) == by}
