"""Step 8: what is owed, by when, whether it came late, and what a filed report no longer says.

The fixed day is always the one to be warned of, also where general law would move it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from ledger.deadlines import NEXT_BUSINESS_DAY, long_day, next_open_day
from ledger.rulebook.model import ReportDuty
from ledger.seal import canonical
from ledger.values.firm import Registration
from ledger.values.lexicon import fold
from ledger.values.period import Period


@dataclass(frozen=True, slots=True)
class Due:
    """When a report is due.

    ``day`` is the fixed day and the one to go by; ``extended_day`` the next open day where the
    duty says that a closed day moves it, else None. ``why`` says how the days came about,
    ``source`` the law. ``read`` is false where the due day was not read: ``day`` is then the first
    day after the period, from when on it is worth asking, and nothing is late. ``postmark`` says
    that the law counts the day of the postmark as the day of delivery.
    """

    day: date
    extended_day: date | None
    why: str
    source: str
    read: bool = True
    postmark: bool = False


@dataclass(frozen=True, slots=True)
class Lateness:
    """How a filing stands to its due day: days after the fixed day, and whether that is excused.

    ``days`` is negative for a filing before the due day. ``extended`` says that a filing after
    the fixed day came by the extended one, which rests on general law. ``known`` is false where
    the due day was not read; ``posted`` is the postmark where that is the day that counts.
    """

    days: int
    extended: bool
    known: bool = True
    posted: date | None = None

    @property
    def late(self) -> bool:
        """Whether the filing came after the fixed day and no extension covers it."""
        return self.known and self.days > 0 and not self.extended

    @property
    def text(self) -> str:
        """The same in words."""
        if not self.known:
            return "the due day was not read, so whether it is in time cannot be told"
        by = f" by its postmark of {long_day(self.posted)}" if self.posted else ""
        if self.days <= 0:
            return f"in time{by}"
        plural = "s" if self.days > 1 else ""
        after = f"{self.days} day{plural} after the due day"
        return f"{after}{by}, by the next open day" if self.extended else f"late: {after}{by}"


@dataclass(frozen=True, slots=True)
class Owed:
    """One report that is owed and not filed: for which period and county, and due when.

    ``county`` is empty where the duty is not by county. ``overdue`` is whether the fixed day has
    passed.
    """

    duty: str
    period: Period
    county: str
    due: Due
    overdue: bool
    jurisdiction: str = ""


@dataclass(frozen=True, slots=True)
class Change:
    """One line of a filed report that would be filed differently now.

    ``kind`` is ``added``, ``gone`` or ``changed``; ``columns`` maps what changed to the filed and
    the present text. ``line`` holds the columns that name the line.
    """

    kind: str
    line: Mapping[str, str]
    columns: Mapping[str, tuple[str, str]]

    @property
    def text(self) -> str:
        """The change in one sentence."""
        name = " ".join(value for value in self.line.values() if value)
        if self.kind == "changed":
            what = "; ".join(f"{c} {old} -> {new}" for c, (old, new) in self.columns.items())
            return f"changed: {name}: {what}"
        side = 1 if self.kind == "added" else 0
        return f"{self.kind}: {name}: " + "; ".join(
            f"{column} {pair[side]}" for column, pair in self.columns.items()
        )


# ------------------------------------------------------------------ due days


def due(duty: ReportDuty, period: Period, state: str = "") -> Due:
    """Return when the report of ``period`` is due.

    A monthly report is due on the duty's day of the next month; a yearly one on its day and
    month of the next year. A day past the end of a month is that month's last day. ``state`` is
    the two-letter code whose holidays count (beside Saturdays and Sundays) where the duty moves
    to the next open day. A due day that was not read is no day: the first day after the period
    stands in its place and decides nothing.
    """
    source = duty.ref.source
    if not duty.due_read:
        why = "the due day was not read: ask the agency when it wants it"
        return Due(period.next.first, None, why, source, read=False)
    found = _due(duty, period, state)
    if not duty.postmark:
        return found
    return replace(found, why=f"{found.why}; a mailed one counts by its postmark", postmark=True)


def _due(duty: ReportDuty, period: Period, state: str) -> Due:
    day = _fixed_day(duty, period)
    source = duty.ref.source
    if fold(duty.due_rule.replace("_", " ")) != NEXT_BUSINESS_DAY:
        return Due(day, None, f"due {long_day(day)}; closed days do not move it", source)
    extended, reasons = next_open_day(day, state)
    if not reasons:
        return Due(day, None, f"due {long_day(day)}", source)
    why = (
        f"due {long_day(day)}; {', '.join(reasons)}, so general law moves it to "
        f"{long_day(extended)}. Go by the earlier day"
    )
    return Due(day, extended, why, source)


def late(filed_on: date, when: Due, posted: date | None = None) -> Lateness:
    """Return how a filing stands to its due day.

    ``filed_on`` is the day it was delivered, ``posted`` the day of its postmark if it was mailed.
    The postmark is the day that counts where the law says so, else the day of delivery does.
    """
    if not when.read:
        return Lateness(0, extended=False, known=False)
    by_post = posted if posted is not None and when.postmark else None
    counted = by_post or filed_on
    days = (counted - when.day).days
    extended = when.extended_day is not None and when.day < counted <= when.extended_day
    return Lateness(days, extended, posted=by_post)


def _fixed_day(duty: ReportDuty, period: Period) -> date:
    if duty.every == "year":
        return _day(Period(period.year + 1, duty.due_month or 1), duty.due_day)
    return _day(period.next, duty.due_day)


def _day(month: Period, day: int) -> date:
    return date(month.year, month.month, min(day, month.last.day))


# ------------------------------------------------------------------ what is owed


def periods_owed(duty: ReportDuty, since: date, today: date) -> tuple[Period, ...]:
    """Return the periods that have ended before ``today`` and belong to a report.

    The first is the one ``since`` lies in (the firm's first day of work or registration). A
    period counts when the duty is in force on its last day.
    """
    period = Period(since.year) if duty.every == "year" else Period(since.year, since.month)
    owed = []
    while period.last < today:
        if duty.span.holds(period.last):
            owed.append(period)
        period = period.next
    return tuple(owed)


def counties_owed(
    registrations: Iterable[Registration],
    duty: ReportDuty,
    jurisdiction: str,
    year: int,
    worked: Collection[str] = (),
) -> tuple[str, ...]:
    """Return the counties of a jurisdiction to which a report is owed, by name.

    ``worked`` are the counties with use in the period: they are owed a report in any case. Where
    the duty asks for nil reports, every county registered for that year is. A duty that is not
    by county is owed once, said as one empty name.
    """
    registered = {
        fold(item.county): item.county
        for item in registrations
        if item.jurisdiction == jurisdiction and item.year == year
    }
    counties = {fold(county): county for county in worked}
    if duty.nil:
        counties = {**counties, **registered}
    if duty.per != "county":
        return ("",) if counties else ()
    return tuple(counties[name] for name in sorted(counties))


def owed(
    duty: ReportDuty,
    periods: Iterable[tuple[Period, Sequence[str]]],
    filed: Collection[tuple[str, str]],
    today: date,
    state: str = "",
) -> tuple[Owed, ...]:
    """Return the reports not filed, oldest first.

    ``periods`` pairs each period with the counties it is owed to; ``filed`` holds (period key,
    county) of the filings that stand.
    """
    done = {(period, fold(county)) for period, county in filed}
    return tuple(
        Owed(duty.name, period, county, when, when.read and today > when.day)
        for period, counties in sorted(periods, key=lambda item: item[0])
        for when in (due(duty, period, state),)
        for county in counties
        if (period.key, fold(county)) not in done
    )


# ------------------------------------------------------------------ what was filed

_NAMES = (
    "jurisdiction", "county", "year", "month", "site_code", "registration", "product",
    "ingredient", "cas", "site_kind", "licence", "city",
)  # fmt: skip
"""Columns that name a line; a product with a registration is named by that, not by its name."""


def report_bytes(head: Mapping[str, str], rows: Iterable[Mapping[str, str]]) -> bytes:
    """Return the canonical bytes of a report: what a filing's digest is made of.

    ``head`` says what the rows do not (form, its digest, period, jurisdiction, county, nil).
    """
    return canonical({"head": dict(head), "rows": [dict(row) for row in rows]})


def difference(
    old: Iterable[Mapping[str, str]], new: Iterable[Mapping[str, str]]
) -> tuple[Change, ...]:
    """Return line by line how the present rows differ from the filed ones, in a stable order."""
    before, after = _by_name(old), _by_name(new)
    changes = []
    for name in sorted({*before, *after}):
        gone, come = before.get(name), after.get(name)
        line = _name_of(come or gone or {})
        columns = [c for c in {**(gone or {}), **(come or {})} if c not in line]
        pairs = {c: ((gone or {}).get(c, ""), (come or {}).get(c, "")) for c in columns}
        if gone is None or come is None:
            changes.append(Change("added" if gone is None else "gone", line, pairs))
            continue
        differing = {column: pair for column, pair in pairs.items() if pair[0] != pair[1]}
        if differing:
            changes.append(Change("changed", line, differing))
    return tuple(changes)


def _name_of(row: Mapping[str, str]) -> dict[str, str]:
    if "record" in row:  # one application, named through all its versions
        return {"record": row["record"]}
    names = {column: row[column] for column in _NAMES if column in row}
    if names.get("registration"):
        names.pop("product", None)
    return names


def _by_name(rows: Iterable[Mapping[str, str]]) -> dict[tuple[str, ...], Mapping[str, str]]:
    """Sort rows by what names them; two of one name (weighed and measured) are told apart."""
    found: dict[tuple[str, ...], Mapping[str, str]] = {}
    for row in rows:
        name = tuple(_name_of(row).values())
        twin = 0
        while (*name, str(twin)) in found:
            twin += 1
        found[*name, str(twin)] = row
    return found
