"""The use of one month: one walk along one index, whose cost does not grow with the ledger."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import groupby
from typing import Any

from sqlalchemy import Select, bindparam, exists, func, literal, select

from ledger.journal.tables import journal
from ledger.values.use_group import UseGroup, VisitCount

_j = journal.c
_replacing = journal.alias("replacing")

GROUP = (_j.county, _j.product_key, _j.label, _j.site_code, _j.unit, _j.denominator)


def month_statement(county: str | None) -> Select[*tuple[Any, ...]]:
    """Return the question: sums and lines by visit within each group, in the index's order.

    The visit is the innermost group: so the database needs no sort, neither for the groups nor
    for counting different visits, and adding up over the visits in Python has no overflow. (Within
    a visit SQLite fails loudly past 2^63; PostgreSQL has no limit.) The amount not being null
    stands for "application or amendment" because it stands in the index.
    """
    # Said outright, or PostgreSQL takes the few that replace something for the whole journal.
    replaced = select(literal(1)).where(
        _replacing.c.replaces == _j.seq, _replacing.c.replaces.is_not(None)
    )
    statement = (
        select(*GROUP, _j.visit, func.sum(_j.numerator), func.count())
        .where(_j.jurisdiction == bindparam("jurisdiction"), _j.ym == bindparam("ym"))
        .where(_j.numerator.is_not(None))
        .where(~exists(replaced))
        .group_by(*GROUP, _j.visit)
        .order_by(*GROUP, _j.visit)
    )
    return statement if county is None else statement.where(_j.county == bindparam("county"))


def read_month(
    run: Callable[..., Sequence[Any]], jurisdiction: str, ym: int, county: str | None
) -> tuple[UseGroup, ...]:
    """Return the groups of a month, one county's or all, in the order of their keys."""
    values: dict[str, Any] = {"jurisdiction": jurisdiction, "ym": ym}
    if county is not None:
        values["county"] = county
    rows = run(month_statement(county), **values)
    groups: list[UseGroup] = []
    for key, visits in groupby(rows, key=lambda row: tuple(row[:6])):
        numerator = lines = count = 0
        for visit in visits:
            numerator += int(visit[7])
            lines += int(visit[8])
            count += 1
        place, product_key, label, site_code, unit, denominator = key
        groups.append(
            UseGroup(
                jurisdiction, place or "", product_key or "", label or "", site_code or "", unit,
                denominator, numerator, lines, count,
            )
        )  # fmt: skip
    return tuple(groups)


def read_visits(
    run: Callable[..., Sequence[Any]], jurisdiction: str, ym: int
) -> tuple[VisitCount, ...]:
    """Return the distinct visits of a month by county, product and site code, whatever the unit."""
    visits: dict[tuple[str, str, str], set[str]] = {}
    for row in run(month_statement(None), jurisdiction=jurisdiction, ym=ym):
        county, product_key, _label, site_code = (part or "" for part in row[:4])
        visits.setdefault((county, product_key, site_code), set()).add(row[6])
    return tuple(
        VisitCount(jurisdiction, *key, len(found)) for key, found in sorted(visits.items())
    )
