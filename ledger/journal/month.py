"""The use of one month: one walk along one index, whose cost does not grow with the ledger."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import groupby
from operator import itemgetter
from typing import Any

from ledger.values.use_group import UseGroup, VisitCount

GROUP = "county, product_key, label, site_code, unit, denominator"


def month_statement(*, one_county: bool) -> str:
    """Return the question: sums and lines by visit within each group, in the index's order.

    Its values are the jurisdiction, the month (202601) and, for one county, that.

    The visit is the innermost group: so the database needs no sort, neither for the groups nor
    for counting different visits, and adding up over the visits in Python has no overflow. (Within
    a visit SQLite fails loudly past 2^63; PostgreSQL has no limit.) The amount not being null
    stands for "application or amendment" because it stands in the index. That what replaces is not
    null is said outright, or PostgreSQL takes the few that replace something for the whole journal.
    """
    county = " AND county = ?" if one_county else ""
    return (
        f"SELECT {GROUP}, visit, sum(numerator), count(*) FROM journal"  # noqa: S608 - fixed names
        f" WHERE jurisdiction = ? AND ym = ?{county} AND numerator IS NOT NULL"
        " AND NOT EXISTS (SELECT 1 FROM journal AS later"
        " WHERE later.replaces = journal.seq AND later.replaces IS NOT NULL)"
        f" GROUP BY {GROUP}, visit ORDER BY {GROUP}, visit"
    )


def read_month(
    run: Callable[..., Sequence[Any]], jurisdiction: str, ym: int, county: str | None
) -> tuple[tuple[UseGroup, ...], tuple[VisitCount, ...]]:
    """Return the groups of a month, one county's or all, in the order of their keys, and the
    distinct visits by county, product and site code, whatever the unit; from one question."""
    values = (jurisdiction, ym) if county is None else (jurisdiction, ym, county)
    rows = run(month_statement(one_county=county is not None), values)
    groups: list[UseGroup] = []
    visits: dict[tuple[str, str, str], set[str]] = {}
    for key, parts in groupby(rows, key=itemgetter(slice(6))):
        place, product_key, label, site_code = (part or "" for part in key[:4])
        unit, denominator = key[4:]
        seen = visits.setdefault((place, product_key, site_code), set())
        numerator = lines = count = 0
        for part in parts:
            seen.add(part[6])
            numerator += int(part[7])
            lines += int(part[8])
            count += 1
        groups.append(
            UseGroup(
                jurisdiction, place, product_key, label, site_code, unit,
                denominator, numerator, lines, count,
            )
        )  # fmt: skip
    counts = (VisitCount(jurisdiction, *key, len(found)) for key, found in sorted(visits.items()))
    return tuple(groups), tuple(counts)
