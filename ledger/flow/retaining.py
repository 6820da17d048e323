"""Retention: until when each record is kept, orders that keep it longer, and lawful disposal.

A record is all its versions, its strike and what refers to it. Its texts go together, with the
sheet it came from once nothing on that sheet is kept any more, and with the address of its site
once nothing there is.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from ledger.checks.retention import Until, keep_until
from ledger.flow.governing import case_of, retentions_of
from ledger.flow.judging import booked
from ledger.flow.lines import BOOKED
from ledger.flow.places import site_from
from ledger.flow.workspace import Workspace, WorkspaceProblem, sealed_entry
from ledger.journal import Reader, Writer
from ledger.journal.dispose import dispose, scrub
from ledger.rulebook.model import Retention
from ledger.values.sealed import EntryKind, NewEntry, Sealed

AT_ONCE = 500
"""Entries that one disposal names: the guard reads the list for each text that goes."""

OLD_BACKUPS = (
    "Backups, exports and packets made before still hold these texts: destroy them, or take new "
    "ones and keep no older. A disk may keep what was overwritten; paper copies are yours to find."
)


@dataclass(frozen=True)
class Record:
    """One record: every entry of it, its day, until when it is kept, the orders that hold it."""

    first: int
    seqs: tuple[int, ...]
    day: date
    site: str
    until: Until
    orders: tuple[int, ...]
    disposed: bool
    jurisdiction: str = ""

    def due(self, today: date) -> bool:
        """Whether it may be disposed of: past its day, and no order keeps it."""
        past = self.until.day is not None and self.until.day <= today
        return past and not self.orders and not self.disposed


@dataclass(frozen=True)
class Plan:
    """What may go today: the records, the private texts, kept bytes; and what orders hold back."""

    records: tuple[Record, ...]
    entries: tuple[int, ...]
    blobs: tuple[str, ...]
    held_back: tuple[Record, ...]


def records(workspace: Workspace, reader: Reader) -> tuple[Record, ...]:
    """Return every record of an application, observation or dropped line, oldest first.

    A line that is still held is not among them: it is kept until somebody clears it.
    """
    orders = tuple(open_orders(reader))
    found = [
        _record(workspace, reader, reader.versions(entry.seq), orders)
        for entry in reader.entries(kinds=(EntryKind.APPLICATION,))
    ]
    found += [
        _record(workspace, reader, (entry,), orders)
        for entry in reader.entries(kinds=(EntryKind.OBSERVATION,))
    ]
    found += [
        _record(workspace, reader, (reader.entry(entry.refers),), orders)
        for entry in reader.entries(kinds=(EntryKind.DROPPED,))
        if entry.refers
    ]
    return tuple(sorted(found, key=lambda item: item.first))


def _record(
    workspace: Workspace, reader: Reader, versions: Sequence[Sealed], orders: Sequence[Sealed]
) -> Record:
    first = versions[0]
    uses = [entry for entry in versions if entry.kind in BOOKED] or [first]
    made = date.fromisoformat(first.at[:10])
    days = [date.fromisoformat(_day_of(entry)) for entry in uses]
    day = max(days)
    counts: dict[str, date | None] = {
        "application": day, "completion of the work": day, "record made": made,
        "record made or amended": date.fromisoformat(versions[-1].at[:10]),
        "report filed": _filed(reader, uses[-1]),
        "contract end": contract_end(reader, str(uses[-1].body.get("site") or ""), day),
    }  # fmt: skip
    place = uses[-1].body.get("jurisdiction") or _jurisdiction(workspace, reader, first)
    rules = _rules(workspace, reader, uses[-1], place)
    around = {entry.seq: entry for entry in versions}
    for entry in versions:
        around.update({late.seq: late for late in reader.referring(entry.seq)
                       if late.kind is not EntryKind.JUDGEMENT})  # fmt: skip
        cleared = entry.body.get("clears")
        if cleared:
            around[int(cleared)] = reader.entry(int(cleared))
    site = str(uses[-1].body.get("site") or "")
    holding = tuple(order.seq for order in orders if _holds(order, around, site, days))
    texts = [entry for entry in versions if '"private":null' not in entry.text]
    gone = bool(texts) and all(entry.private is None for entry in texts)
    seqs = tuple(sorted(around))
    return Record(first.seq, seqs, day, site, keep_until(counts, rules), holding, gone, place)


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


def _rules(workspace: Workspace, reader: Reader, entry: Sealed, place: str) -> Sequence[Retention]:
    """Return the rules that may govern a record; one that cannot be told counts: longer is safe."""
    book = workspace.book
    site = reader.site(str(entry.body.get("site") or ""))
    if entry.kind in BOOKED and site is not None:
        case = case_of(book, booked(entry).use, site_from(site))
        return [rule for rule, _ in retentions_of(book, case)]
    return [rule for file in book.laws_of(place) for rule in file.retentions]


def _day_of(entry: Sealed) -> str:
    """Return the day an entry is about: its own, the last of a held line, else that of its seal."""
    days = [entry.body.get("date"), *(entry.body.get("days") or ())]
    return max((str(day) for day in days if day), default=entry.at[:10])


def _jurisdiction(workspace: Workspace, reader: Reader, entry: Sealed) -> str:
    site = reader.site(entry.body["site"]) if entry.body.get("site") else None
    return str(site.body["jurisdiction"]) if site else workspace.book.firm.home


def _filed(reader: Reader, entry: Sealed) -> date | None:
    month = str(entry.body.get("date", ""))[:7]
    found = [
        item.body["filed_on"]
        for item in reader.filings()
        if item.body["jurisdiction"] == entry.body.get("jurisdiction")
        and item.body["county"] in {entry.body.get("county"), ""}
        and month.startswith(item.body["period"])
    ]
    return date.fromisoformat(max(found)) if found else None


# Contracts


def contract_ended(workspace: Workspace, site: str, day: date, by: str) -> Sealed:
    """Seal that the contract (or its warranty) at a site ended on a day."""
    with workspace.store.writing() as writer:
        if writer.site(site) is None:
            raise WorkspaceProblem(f'there is no site "{site}"', "see useledger sites")
        body = {"contract_end": day.isoformat(), "site": site}
        return writer.append(NewEntry(EntryKind.KEEP, body, by=by))


def contract_end(reader: Reader, site: str, day: date) -> date | None:
    """Return the end of the contract that work of that day stood under; None while it runs."""
    ends = [
        date.fromisoformat(entry.body["contract_end"])
        for entry in reader.entries(kinds=(EntryKind.KEEP,))
        if entry.body.get("contract_end") and entry.body["site"] == site
    ]
    return min((end for end in ends if end >= day), default=None)


# Orders


def order_keep(workspace: Workspace, scope: Mapping[str, Any], because: str, by: str) -> Sealed:
    """Seal an order that stops disposal of what its scope names (entry, site, from, to)."""
    if not because.strip():
        raise WorkspaceProblem("an order to keep has its reason", 'add --because "..."')
    if not any(scope.values()):
        raise WorkspaceProblem(
            "an order names what it keeps", "add --entry, --site, --from or --to"
        )
    private = json.dumps({"because": because}, ensure_ascii=True)
    with workspace.store.writing() as writer:
        if scope.get("entry"):
            sealed_entry(writer, int(scope["entry"]))
        if scope.get("site") and writer.site(scope["site"]) is None:
            raise WorkspaceProblem(f"there is no site {scope['site']}", "see useledger sites")
        body = {"keeps": {key: value for key, value in scope.items() if value}}
        return writer.append(NewEntry(EntryKind.KEEP, body, private, by))


def release(workspace: Workspace, seq: int, because: str, by: str) -> Sealed:
    """End an order to keep."""
    if not because.strip():
        raise WorkspaceProblem("an order is ended with a reason", 'add --because "..."')
    private = json.dumps({"because": because}, ensure_ascii=True)
    with workspace.store.writing() as writer:
        known = [order.seq for order in open_orders(writer)]
        if seq not in known:
            said = ", ".join(str(number) for number in known) or "none"
            raise WorkspaceProblem(f"{seq} is not an order in force", f"in force: {said}")
        body = {"releases": seq}
        return writer.append(NewEntry(EntryKind.KEEP, body, private, by, refers=seq))


def open_orders(reader: Reader) -> Iterator[Sealed]:
    """Yield the orders to keep that are in force."""
    entries = list(reader.entries(kinds=(EntryKind.KEEP,)))
    ended = {entry.refers for entry in entries if "releases" in entry.body}
    yield from (entry for entry in entries if "keeps" in entry.body and entry.seq not in ended)


def _holds(order: Sealed, around: Iterable[int], site: str, days: Iterable[date]) -> bool:
    keeps = order.body["keeps"]
    if keeps.get("entry") and keeps["entry"] not in set(around):
        return False
    if keeps.get("site") and keeps["site"] != site:
        return False
    first, last = keeps.get("from", ""), keeps.get("to", "9999-12-31")
    return any(first <= day.isoformat() <= last for day in days)


# Disposal


def plan_disposal(workspace: Workspace, reader: Reader, today: date) -> Plan:
    """Return what may be disposed of today, and what only an order keeps."""
    all_of = records(workspace, reader)
    due = [record for record in all_of if record.due(today)]
    back = [
        record for record in all_of
        if record.orders and not record.disposed and record.until.day is not None
        and record.until.day <= today
    ]  # fmt: skip
    kept = {seq for record in all_of if not record.due(today) and not record.disposed
            for seq in record.seqs}  # fmt: skip
    gone = {seq for record in due for seq in record.seqs} - kept
    gone |= set(_addresses(reader, all_of, today)) if due else set()
    texts = {seq for seq, _, _ in reader.privates()}
    done = {seq for record in all_of if record.disposed for seq in record.seqs}
    blobs = tuple(_blobs(reader, gone | done, kept))
    return Plan(tuple(due), tuple(sorted(gone & texts)), blobs, tuple(back))


def _addresses(reader: Reader, all_of: Sequence[Record], today: date) -> Iterator[int]:
    """Yield the site entries whose every record is gone or goes now."""
    needed = {r.site for r in all_of if not r.due(today) and not r.disposed}
    ever = {r.site for r in all_of}
    for entry in reader.entries(kinds=(EntryKind.SITE,)):
        key = entry.body["same_as"] or entry.body["site"]
        if key in ever and key not in needed and entry.body["site"] not in needed:
            yield entry.seq


def _blobs(reader: Reader, gone: set[int], kept: set[int]) -> Iterator[str]:
    """Yield the sheets and attached files of which nothing is kept any more."""
    needed: set[str] = set()
    named: set[str] = set()
    kinds = (*BOOKED, EntryKind.OBSERVATION, EntryKind.HELD)
    for entry in reader.entries(kinds=kinds):
        digest = str(entry.body.get("sheet") or "")
        (named if entry.seq in gone and entry.seq not in kept else needed).add(digest)
    for entry in reader.entries(kinds=(EntryKind.ATTACHMENT,)):
        digest = entry.body["digest"]
        (named if entry.refers in gone or entry.seq in gone else needed).add(digest)
    for digest in sorted(named - needed):
        if digest and reader.blob(digest) is not None:
            yield digest


def dispose_due(workspace: Workspace, because: str, by: str) -> tuple[Plan, tuple[Sealed, ...]]:
    """Destroy every text that is past its day, leaving sealed entries that say so."""
    if not because.strip():
        raise WorkspaceProblem("a disposal has its reason", 'add --because "..."')
    with workspace.store.writing() as writer:
        plan = plan_disposal(workspace, writer, workspace.today())
        if not plan.entries and not plan.blobs:
            return plan, ()
        done = tuple(_dispose(writer, plan, because, by))
    scrub(workspace.store)
    return plan, done


def _dispose(writer: Writer, plan: Plan, because: str, by: str) -> Iterator[Sealed]:
    rules = sorted({(r.until.rule, r.until.source, r.until.counted_from) for r in plan.records})
    said = [{"rule": name, "at": at, "counted_from": counted} for name, at, counted in rules]
    parts = [plan.entries[start : start + AT_ONCE]
             for start in range(0, len(plan.entries), AT_ONCE)] or [()]  # fmt: skip
    for number, part in enumerate(parts, start=1):
        body = {
            "entries": list(part), "blobs": list(plan.blobs) if number == len(parts) else [],
            "rules": said, "because": because,
            "records": [r.first for r in plan.records if set(r.seqs) & set(part)],
        }  # fmt: skip
        yield dispose(writer, NewEntry(EntryKind.DISPOSAL, body, by=by))


def attach(workspace: Workspace, name: str, data: bytes, seq: int, by: str) -> Sealed:
    """Keep a file's bytes and seal that they belong to an entry."""
    with workspace.store.writing() as writer:
        sealed_entry(writer, seq)
        digest = writer.keep("attachment", data)
        body = {"name": name, "digest": digest, "bytes": len(data)}
        return writer.append(NewEntry(EntryKind.ATTACHMENT, body, by=by, refers=seq))
