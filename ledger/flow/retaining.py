"""Retention: until when each record is kept, by which rule, and which orders keep it longer.

A record is all its versions, its strike and what refers to it. What stands beside the records
(papers, filings, incidents) is told in ``kept_papers.py``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from ledger.checks.retention import Until, keep_until, rules_about
from ledger.flow.governing import case_of, retentions_of
from ledger.flow.judging import booked
from ledger.flow.keep_orders import contract_end, holds_back, open_orders
from ledger.flow.lines import BOOKED
from ledger.flow.places import site_from
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.rulebook.model import Retention
from ledger.values.sealed import EntryKind, Sealed


@dataclass(frozen=True)
class Record:
    """One record: every entry of it, its day, until when it is kept, the orders that hold it.

    ``what`` says what sort of record it is, ``jurisdiction`` whose law it is kept by. ``files``
    are kept bytes that go with it; ``needed`` are entries that keep it as long as they are kept.
    """

    first: int
    seqs: tuple[int, ...]
    day: date
    site: str
    until: Until
    orders: tuple[int, ...]
    disposed: bool
    what: str = "application"
    jurisdiction: str = ""
    files: tuple[str, ...] = ()
    needed: tuple[int, ...] = ()

    def due(self, today: date) -> bool:
        """Whether it may be disposed of: past its day, and no order keeps it."""
        past = self.until.day is not None and self.until.day <= today
        return past and not self.orders and not self.disposed


def records(workspace: Workspace, reader: Reader) -> tuple[Record, ...]:
    """Return every record of an application, observation or dropped line, oldest first.

    A line that is still held is not among them: it is kept until somebody clears it.
    """
    orders = tuple(open_orders(reader))
    kinds = (EntryKind.APPLICATION, EntryKind.OBSERVATION, EntryKind.DROPPED)
    found: list[Record] = []
    for entry in reader.entries(kinds=kinds):
        if entry.kind is EntryKind.APPLICATION:
            versions = reader.versions(entry.seq)
        elif entry.kind is EntryKind.DROPPED and entry.refers:
            versions = (reader.entry(entry.refers),)
        else:
            versions = (entry,)
        found.append(_record(workspace, reader, versions, orders))
    return tuple(sorted(found, key=lambda item: item.first))


def records_of(
    workspace: Workspace, reader: Reader, jurisdiction: str, year: int
) -> tuple[Record, ...]:
    """Return the current records of applications of one jurisdiction and year."""
    orders = tuple(open_orders(reader))
    return tuple(
        _record(workspace, reader, reader.versions(entry.seq), orders)
        for entry in reader.entries(
            kinds=BOOKED, current_only=True, jurisdiction=jurisdiction,
            date_from=date(year, 1, 1), date_to=date(year, 12, 31),
        )
    )  # fmt: skip


def record_of(workspace: Workspace, reader: Reader, seq: int, before: int) -> Record:
    """Return the record of an application as it stood when entry ``before`` was sealed."""
    versions = tuple(entry for entry in reader.versions(seq) if entry.seq < before)
    orders = tuple(open_orders(reader, before))
    return _record(workspace, reader, versions or reader.versions(seq)[:1], orders, before)


def _record(
    workspace: Workspace,
    reader: Reader,
    versions: Sequence[Sealed],
    orders: Sequence[Sealed],
    before: int | None = None,
) -> Record:
    first = versions[0]
    uses = [entry for entry in versions if entry.kind in BOOKED] or [first]
    made = date.fromisoformat(first.at[:10])
    days = [date.fromisoformat(_day_of(entry)) for entry in uses]
    day = max(days)
    counts: dict[str, date | None] = {
        "application": day, "completion of the work": day, "record made": made,
        "record made or amended": date.fromisoformat(versions[-1].at[:10]),
        "report filed": _filed(reader, uses[-1], before),
        "contract end": contract_end(reader, str(uses[-1].body.get("site") or ""), day, before),
    }  # fmt: skip
    place = uses[-1].body.get("jurisdiction") or _jurisdiction(workspace, reader, first)
    rules = _rules(workspace, reader, uses[-1], place)
    around = around_of(reader, versions)
    site = str(uses[-1].body.get("site") or "")
    holding = tuple(order.seq for order in orders if holds_back(order, around, site, days))
    texts = [entry for entry in versions if has_text(entry)]
    gone = bool(texts) and all(entry.private is None for entry in texts)
    kind = "dropped line" if first.kind is EntryKind.HELD else str(first.kind)
    until = keep_until(counts, rules)
    return Record(first.seq, around, day, site, until, holding, gone, kind, place)


def _rules(workspace: Workspace, reader: Reader, entry: Sealed, place: str) -> Sequence[Retention]:
    """Return the rules that may govern a record; one that cannot be told counts: longer is safe."""
    book = workspace.book
    site = reader.site(str(entry.body.get("site") or ""))
    if entry.kind in BOOKED and site is not None:
        case = case_of(book, booked(entry).use, site_from(site))
        return [rule for rule, _ in retentions_of(book, case)]
    every = [rule for file in book.laws_of(place) for rule in file.retentions]
    sorts = ("inspection",) if entry.kind is EntryKind.OBSERVATION else ()
    return rules_about(every, "application", *sorts)


def has_text(entry: Sealed) -> bool:
    """Say whether an entry was sealed with a private text."""
    return '"private":null' not in entry.text


def around_of(reader: Reader, versions: Sequence[Sealed]) -> tuple[int, ...]:
    """Return the versions of a record with all that refers to them, and what they cleared."""
    around = {entry.seq for entry in versions}
    waiting = list(versions)
    while waiting:
        entry = waiting.pop()
        near = [late for late in reader.referring(entry.seq) if late.kind not in _JUDGED]
        cleared = entry.body.get("clears")
        near += [reader.entry(int(cleared))] if cleared else []
        waiting += [other for other in near if other.seq not in around]
        around |= {other.seq for other in near}
    return tuple(sorted(around))


_JUDGED = frozenset({EntryKind.JUDGEMENT, EntryKind.APPLICATION, EntryKind.AMENDMENT})
"""What refers to an entry and is no part of it: a judgement has no text, a use is a record."""


def _day_of(entry: Sealed) -> str:
    """Return the day an entry is about: its own, the last of a held line, else that of its seal."""
    days = [entry.body.get("date"), *(entry.body.get("days") or ())]
    return max((str(day) for day in days if day), default=entry.at[:10])


def _jurisdiction(workspace: Workspace, reader: Reader, entry: Sealed) -> str:
    site = reader.site(entry.body["site"]) if entry.body.get("site") else None
    return str(site.body["jurisdiction"]) if site else workspace.book.firm.home


def _filed(reader: Reader, entry: Sealed, before: int | None) -> date | None:
    month = str(entry.body.get("date", ""))[:7]
    found = [
        item.body["filed_on"]
        for item in reader.filings()
        if item.body["jurisdiction"] == entry.body.get("jurisdiction")
        and item.body["county"] in {entry.body.get("county"), ""}
        and month.startswith(item.body["period"])
        and (before is None or item.seq < before)
    ]
    return date.fromisoformat(max(found)) if found else None
