"""The records of an audit, gone through once, some at a time, by one process or several."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import islice

from ledger.audit import Item, Made
from ledger.flow.audit_items import beside_in
from ledger.flow.audit_records import Looked, look_at
from ledger.flow.audit_scope import Scope
from ledger.flow.judging import Booked
from ledger.flow.lines import BOOKED
from ledger.flow.places import SiteBook
from ledger.flow.supervision import was_certified
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.journal.listing import entries_of, numbers_of
from ledger.journal.many import ManyReader
from ledger.values.sealed import Sealed

AT_ONCE = 500
"""Records of which everything beside them is asked for together."""


@dataclass
class Seen:
    """What is kept of the records that were looked at; the records themselves are let go.

    ``days`` are the numbers of the records by day, ``versions`` those of corrected records;
    ``learners`` the records of people who were not certified, ``aside`` those that are not judged
    again: carried over (closed by whoever kept them then), or without their texts.
    """

    items: list[Item] = field(default_factory=list)
    made: list[Made] = field(default_factory=list)
    days: dict[date, list[int]] = field(default_factory=dict)
    versions: dict[int, tuple[int, ...]] = field(default_factory=dict)
    places: set[str] = field(default_factory=set)
    learners: list[Looked] = field(default_factory=list)
    aside: list[Booked] = field(default_factory=list)

    def take(self, looked: Looked, *, learner: bool) -> None:
        """Keep what is wanted of a record."""
        if learner:
            self.learners.append(looked)
        seq, use = looked.record.sealed.seq, looked.record.use
        self.items += looked.items
        self.made.append(looked.made)
        carried = looked.record.sealed.body.get("carried")
        if carried or looked.record.sealed.private is None:
            self.aside.append(looked.record)
        if not carried:
            self.days.setdefault(use.date, []).append(seq)
        if len(looked.earlier) > 1:
            self.versions[seq] = looked.earlier
        self.places.add(use.jurisdiction)

    def add(self, other: Seen) -> None:
        """Keep what was kept of later records as well."""
        self.items += other.items
        self.made += other.made
        for day, seqs in other.days.items():
            self.days.setdefault(day, []).extend(seqs)
        self.versions.update(other.versions)
        self.places |= other.places
        self.learners += other.learners
        self.aside += other.aside

    def sort(self) -> None:
        """Put what was kept into the order of the records."""
        self.items.sort(key=lambda item: item.entry or 0)
        self.made.sort(key=lambda made: made.entry)
        self.learners.sort(key=lambda looked: looked.record.sealed.seq)
        self.aside.sort(key=lambda record: record.sealed.seq)
        for seqs in self.days.values():
            seqs.sort()


class Looking:
    """Looks at records in one moment of a ledger, and remembers what stands beside many of them."""

    def __init__(self, workspace: Workspace, reader: Reader) -> None:
        self._workspace = workspace
        self._many = ManyReader(reader)
        self._sites = SiteBook(self._many)
        self._beside = beside_in(reader)

    def at(self, entries: Sequence[Sealed]) -> Iterator[Looked]:
        """Yield each of some current records, judged again."""
        self._many.expect(entries)
        for entry in entries:
            yield look_at(self._workspace, self._many, self._sites, entry, self._beside)

    def see(self, numbers: Sequence[int]) -> Seen:
        """Return what is kept of the records with these numbers."""
        seen = Seen()
        for looked in self.at(list(entries_of(self._many, numbers))):
            seen.take(looked, learner=not was_certified(self._workspace, looked))
        return seen


def records_of(reader: Reader, scope: Scope) -> Iterator[tuple[int, str]]:
    """Yield number and site of every current record of a scope, in order."""
    return numbers_of(reader, BOOKED, current_only=True, filters=scope.filters())


def looked_at(workspace: Workspace, reader: Reader, scope: Scope) -> Iterator[Looked]:
    """Yield every current record of a scope, judged again."""
    looking, records = Looking(workspace, reader), records_of(reader, scope)
    while some := [seq for seq, _ in islice(records, AT_ONCE)]:
        yield from looking.at(list(entries_of(reader, some)))
