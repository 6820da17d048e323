"""What stands beside the records and holds texts as well: until when it is kept.

Notices, incidents, filed reports, ended orders, answers about no single record, sheets and
addresses that no record came from. Each is kept by the longest rule of its place from its own day
on, and never shorter than the records it is about.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date

from ledger.checks.retention import keep_until, rules_about
from ledger.flow.keep_orders import holds_back, open_orders
from ledger.flow.lines import BOOKED
from ledger.flow.retaining import Record, around_of, has_text
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.rulebook.model import Retention
from ledger.values.period import read_period
from ledger.values.sealed import EntryKind, Sealed

FROM_SHEETS = (*BOOKED, EntryKind.OBSERVATION, EntryKind.HELD)
"""What comes from a line of a sheet and names the sheet's digest."""


def papers(workspace: Workspace, reader: Reader, of: Sequence[Record]) -> tuple[Record, ...]:
    """Return what is kept beside the records ``of``, oldest first."""
    known = {seq for record in of for seq in record.seqs}
    make = _Maker(workspace, reader)
    found = [
        *_notices(reader, make), *_incidents(reader, make), *_filings(reader, make),
        *_orders(reader, make),
    ]  # fmt: skip
    known |= {seq for record in found for seq in record.seqs}
    found += _answers(reader, make, known)
    found += _sheets(reader, make)
    found += _sites(reader, make, {record.site for record in (*of, *found)})
    return tuple(sorted(found, key=lambda item: item.first))


class _Maker:
    """Makes the record of an entry beside the records; the rules of each place are asked once."""

    def __init__(self, workspace: Workspace, reader: Reader) -> None:
        self._workspace = workspace
        self._reader = reader
        self._orders = tuple(open_orders(reader))
        self._places = {str(entry.body["jurisdiction"]) for entry in reader.sites()}
        self._places.add(workspace.book.firm.home)

    def _rules(self, place: str) -> list[Retention]:
        """Return the rules of a place; without one, of every place the firm worked at."""
        files = {
            file.id: file
            for name in ([place] if place else sorted(self._places))
            for file in self._workspace.book.laws_of(name)
        }
        return [rule for file in files.values() for rule in file.retentions]

    def record(
        self, entry: Sealed, what: str, day: date, files: Iterable[str] = (),
        needed: Iterable[int] = (),
    ) -> Record:  # fmt: skip
        """Return the record of an entry that is kept from ``day`` on.

        What is no training is kept by the rules of its own sort and by those of applications: no
        paper beside a record goes sooner than such a record of the same day.
        """
        made = date.fromisoformat(entry.at[:10])
        counts: Mapping[str, date | None] = {
            "application": day, "completion of the work": day, "record made": made,
            "record made or amended": made, "report filed": max(day, made),
        }  # fmt: skip
        place = str(entry.body.get("jurisdiction") or "")
        sort = _SORTS.get(what, "application")
        sorts = {sort} if sort == "training" else {sort, "application"}
        until = keep_until(counts, rules_about(self._rules(place), *sorts))
        seqs = around_of(self._reader, (entry,))
        site = str(entry.body.get("site") or "")
        orders = tuple(order.seq for order in self._orders if holds_back(order, seqs, site, (day,)))
        kept = tuple(digest for digest in files if self._reader.blob(digest) is not None)
        lost = not has_text(entry) or entry.private is None
        return Record(
            entry.seq, seqs, day, site, until, orders, lost and not kept, what, place,
            kept, tuple(needed),
        )  # fmt: skip


_SORTS = {
    "notice": "notice", "incident": "incident", "filing": "report", "training": "training",
}  # fmt: skip
"""The sort of record, as a rule on keeping says it, of what stands beside the records."""


def trainings(workspace: Workspace, reader: Reader) -> tuple[Record, ...]:
    """Return the trainings with the day until which the law of the firm's places keeps them.

    They are about the firm and no disposal takes them; the day is told.
    """
    make = _Maker(workspace, reader)
    return tuple(
        make.record(entry, "training", date.fromisoformat(entry.body["date"]))
        for entry in reader.entries(kinds=(EntryKind.TRAINING,))
    )


def _notices(reader: Reader, make: _Maker) -> Iterator[Record]:
    for entry in reader.entries(kinds=(EntryKind.NOTICE,)):
        page, about = entry.body.get("page", ""), entry.body.get("entries", ())
        yield make.record(entry, "notice", date.fromisoformat(entry.body["date"]), (page,), about)


def _incidents(reader: Reader, make: _Maker) -> Iterator[Record]:
    for entry in reader.entries(kinds=(EntryKind.INCIDENT,)):
        yield make.record(entry, "incident", date.fromisoformat(entry.body["date"]))


def _filings(reader: Reader, make: _Maker) -> Iterator[Record]:
    """Yield each filed report: kept while a record of its period and place is."""
    for entry in reader.filings():
        body = entry.body
        period = read_period(body["period"])
        about = () if period is None else tuple(
            use.seq for use in reader.entries(
                kinds=BOOKED, jurisdiction=body["jurisdiction"], county=body["county"] or None,
                date_from=period.first, date_to=period.last,
            )
        )  # fmt: skip
        files = (body["report"], *body["copies"].values())
        yield make.record(entry, "filing", date.fromisoformat(body["filed_on"]), files, about)


def _orders(reader: Reader, make: _Maker) -> Iterator[Record]:
    """Yield the orders that were ended; one in force is kept."""
    entries = {entry.seq: entry for entry in reader.entries(kinds=(EntryKind.KEEP,))}
    for entry in entries.values():
        if "releases" in entry.body:
            order = entries[int(entry.body["releases"])]
            yield make.record(order, "order", date.fromisoformat(entry.at[:10]))


def _answers(reader: Reader, make: _Maker, known: set[int]) -> Iterator[Record]:
    """Yield the answers about a day, a report or a site: those that no record takes along."""
    for entry in reader.entries(kinds=(EntryKind.ANSWER,)):
        if entry.seq not in known:
            yield make.record(entry, "answer", date.fromisoformat(entry.at[:10]))


def sheet_groups(reader: Reader) -> Mapping[str, tuple[Sealed, ...]]:
    """Return the received sheets, those of one content (saved in whatever format) together."""
    groups: dict[str, list[Sealed]] = {}
    for entry in reader.entries(kinds=(EntryKind.SHEET,)):
        content = entry.body["identity"] or entry.body["digest"]  # told at the end of a long one
        groups.setdefault(content, []).append(entry)
    return {content: tuple(found) for content, found in groups.items()}


def _sheets(reader: Reader, make: _Maker) -> Iterator[Record]:
    """Yield the sheets that nothing was booked from: every line was on record already."""
    named = {str(entry.body.get("sheet") or "") for entry in reader.entries(kinds=FROM_SHEETS)}
    for group in sheet_groups(reader).values():
        if not any(entry.body["digest"] in named for entry in group):
            for entry in group:
                day = date.fromisoformat(entry.at[:10])
                yield make.record(entry, "sheet", day, (entry.body["digest"],))


def _sites(reader: Reader, make: _Maker, used: set[str]) -> Iterator[Record]:
    """Yield the addresses at which nothing is on record."""
    for entry in reader.entries(kinds=(EntryKind.SITE,)):
        keys = {entry.body["site"], entry.body["same_as"]}
        if not keys & used:
            yield make.record(entry, "address", date.fromisoformat(entry.at[:10]))
