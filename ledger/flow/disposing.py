"""Lawful disposal: what is past its day goes, texts and kept files with it, and is accounted for.

A record's texts go together, with the sheet it came from once nothing on that sheet is kept any
more, with the papers about it, and with the address of its site once nothing there is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from ledger.flow.file_names import named_file
from ledger.flow.kept_papers import FROM_SHEETS, papers, sheet_groups
from ledger.flow.retaining import Record, records
from ledger.flow.workspace import Workspace, WorkspaceProblem, sealed_entry
from ledger.journal import Reader, Writer
from ledger.journal.dispose import dispose, scrub
from ledger.values.sealed import EntryKind, NewEntry, Sealed

AT_ONCE = 500
"""Entries that one disposal names: the guard reads the list for each text that goes."""

OLD_BACKUPS = (
    "Backups, exports and packets made before still hold these texts: destroy them, or take new "
    "ones and keep no older. A disk may keep what was overwritten; paper copies are yours to find."
)
STAYS = (
    "What stays: the facts of each entry with their seals; stock, training and licences, which are "
    "about the firm; lines that are still held; and of files handed in to an earlier version of "
    "this program their names, which it sealed in the chain. A sheet that went is known again by "
    "its very bytes. Saved anew (in another format, or once more by a spreadsheet) it is not: its "
    "lines are then asked about one by one, where day, times, person, product and amount are those "
    "of a record that went. Destroy the firm's own copies of it as well."
)


@dataclass(frozen=True)
class Plan:
    """What may go today: the records, the private texts, kept bytes; and what orders hold back."""

    records: tuple[Record, ...]
    entries: tuple[int, ...]
    blobs: tuple[str, ...]
    held_back: tuple[Record, ...]


def kept_all(workspace: Workspace, reader: Reader) -> tuple[Record, ...]:
    """Return everything that has a day until which it is kept: records, and papers beside them."""
    found = records(workspace, reader)
    return tuple(sorted((*found, *papers(workspace, reader, found)), key=lambda item: item.first))


def plan_disposal(workspace: Workspace, reader: Reader, today: date) -> Plan:
    """Return what may be disposed of today, and what only an order keeps."""
    all_of = kept_all(workspace, reader)
    kept = {seq for item in all_of if not item.due(today) and not item.disposed
            for seq in item.seqs}  # fmt: skip
    kept |= {entry.seq for entry in reader.held_open()}
    due = [item for item in all_of if item.due(today) and not kept.intersection(item.needed)]
    back = [
        item for item in all_of
        if item.orders and not item.disposed and item.until.day is not None
        and item.until.day <= today
    ]  # fmt: skip
    gone = {seq for item in due for seq in item.seqs} - kept
    gone |= set(_addresses(reader, all_of, due)) if due else set()
    texts = {seq for seq, _, _ in reader.privates()}
    done = {seq for item in all_of if item.disposed for seq in item.seqs}
    going = {item.first for item in due}
    named, needed = _files(reader, gone | done, kept)
    named |= {digest for item in due for digest in item.files}
    needed |= {digest for item in all_of if item.first not in going for digest in item.files}
    going_files = named - needed
    blobs = tuple(digest for digest in sorted(going_files) if reader.blob(digest) is not None)
    gone |= {entry.seq for entry in reader.entries(kinds=(EntryKind.SHEET,))
             if entry.body["digest"] in going_files} - kept  # fmt: skip
    return Plan(tuple(due), tuple(sorted(gone & texts)), blobs, tuple(back))


def _addresses(reader: Reader, all_of: Sequence[Record], due: Sequence[Record]) -> Iterator[int]:
    """Yield the site entries whose every record is gone or goes now."""
    going = {item.first for item in due}
    needed = {item.site for item in all_of if item.first not in going and not item.disposed}
    ever = {item.site for item in all_of}
    for entry in reader.entries(kinds=(EntryKind.SITE,)):
        key = entry.body["same_as"] or entry.body["site"]
        if key in ever and key not in needed and entry.body["site"] not in needed:
            yield entry.seq


def _files(reader: Reader, gone: set[int], kept: set[int]) -> tuple[set[str], set[str]]:
    """Return the sheets and attached files that what is gone names, and those still needed."""
    needed: set[str] = set()
    named: set[str] = set()
    for entry in reader.entries(kinds=FROM_SHEETS):
        digest = str(entry.body.get("sheet") or "")
        (named if entry.seq in gone and entry.seq not in kept else needed).add(digest)
    for entry in reader.entries(kinds=(EntryKind.ATTACHMENT,)):
        digest = entry.body["digest"]
        (named if entry.refers in gone or entry.seq in gone else needed).add(digest)
    for group in sheet_groups(reader).values():  # the same sheet, saved in another format
        digests = {entry.body["digest"] for entry in group}
        if digests & named and not digests & needed:
            named |= digests
    return named, needed


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
        body = {"digest": digest, "bytes": len(data)}
        text = named_file(name)
        kept = NewEntry(EntryKind.ATTACHMENT, body, private=text, by=by, refers=seq)
        return writer.append(kept)
