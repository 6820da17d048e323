"""The use of one month: one walk along one index, whose cost does not grow with the ledger."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from itertools import groupby
from operator import itemgetter
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
) -> tuple[tuple[UseGroup, ...], tuple[VisitCount, ...]]:
    """Return the groups of a month, one county's or all, in the order of their keys, and the
    distinct visits by county, product and site code, whatever the unit; from one question."""
    values: dict[str, Any] = {"jurisdiction": jurisdiction, "ym": ym}
    if county is not None:
        values["county"] = county
    rows = run(_statement(county is not None), **values)
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


@cache
def _statement(one_county: bool) -> Select[*tuple[Any, ...]]:
    return month_statement("one" if one_county else None)
