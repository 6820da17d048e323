"""Reading the journal: entries by what they are about, always as their own lines say.

An entry is *current* when no later entry replaces it: an amendment replaces with the corrected
record, a strike with nothing.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from datetime import date
from typing import Any, TypeVar

from sqlalchemy import Connection, Executable, and_, exists, func, literal, or_, select
from sqlalchemy.sql import ColumnElement

from ledger.journal.columns import USES
from ledger.journal.filters import conditions_of
from ledger.journal.month import read_month
from ledger.journal.tables import blob, journal, place, private
from ledger.values.sealed import EntryKind, Head, Sealed
from ledger.values.use_group import UseGroup, VisitCount

Rows = Sequence[Any]
"""Rows as a statement gave them, each a tuple of its columns."""

j = journal.c

_later = journal.alias("later")
CURRENT = ~exists(select(literal(1)).where(_later.c.replaces == j.seq))
"""The condition that nothing replaces an entry."""

ENTRY = (
    select(j.seq, j.seal, j.text, private.c.text)
    .select_from(journal.outerjoin(private, private.c.seq == j.seq))
    .order_by(j.seq)
)
"""What a sealed entry is made from, in the order of the journal."""

CHUNK = 1000

EVER = j.kind.in_((*USES, EntryKind.STRIKE))
"""The condition that an entry says what was done somewhere, or that it was not."""

T = TypeVar("T")


def sealed_from(row: Sequence[Any]) -> Sealed:
    """Return the entry of a row, by its line; the columns beside it are not asked."""
    seq, seal, text, private_text = row
    line = json.loads(text)
    return Sealed(
        seq, EntryKind(line["kind"]), line["at"], line["by"], line["os_user"], line["prev"], seal,
        text, line["body"], private_text, line["replaces"], line["refers"],
    )  # fmt: skip


class Reader:
    """A view of the journal inside one transaction. Sealed entries come in sequence order."""

    def __init__(self, connection: Connection, name: str = "") -> None:
        self._connection = connection
        self._span: int | None = None
        self.name = name

    def _run(self, statement: Executable, **values: object) -> Rows:
        """Return the rows of a statement; the only way in which questions are asked."""
        return self._connection.execute(statement, values).all()

    def _entries(self, *conditions: ColumnElement[bool]) -> tuple[Sealed, ...]:
        return tuple(sealed_from(row) for row in self._run(ENTRY.where(*conditions)))

    # The journal itself

    @property
    def connection(self) -> Connection:
        """The connection, for the modules of the journal only."""
        return self._connection

    @property
    def ledger_id(self) -> str:
        """The ledger's own id, 32 hex digits, that stands in each line (empty: no entry yet)."""
        rows = self._run(select(j.text).where(j.seq == 1))
        return str(json.loads(rows[0][0])["ledger"]) if rows else ""

    @property
    def head(self) -> Head:
        """The newest entry's number and seal; number 0 and no seal in an empty journal."""
        rows = self._run(select(j.seq, j.seal).order_by(j.seq.desc()).limit(1))
        return Head(rows[0][0], rows[0][1]) if rows else Head(0, "")

    def entry(self, seq: int) -> Sealed:
        """Return the entry with this number; KeyError if there is none."""
        found = self._entries(j.seq == seq)
        if not found:
            raise KeyError(seq)
        return found[0]

    def texts_since(self, seq: int) -> Iterator[bytes]:
        """Return the canonical line of every entry after ``seq``, in order."""
        for (text,) in self._stream(select(j.text).where(j.seq > seq).order_by(j.seq)):
            yield text.encode("utf-8")

    def _stream(self, statement: Executable) -> Iterator[Any]:
        """Yield rows without holding them all in memory."""
        streaming = {"stream_results": True}
        result = self._connection.execute(statement, execution_options=streaming)
        try:
            for rows in result.partitions(CHUNK):
                yield from rows
        finally:
            result.close()

    def entries(
        self,
        kinds: Iterable[EntryKind] | None = None,
        *,
        current_only: bool = False,
        since_seq: int = 0,
        **filters: str | date | None,
    ) -> Iterator[Sealed]:
        """Return entries that meet all filters, in order, up to the head of this moment.

        Filters: ``date_from`` and ``date_to`` (days or their ISO text, both included), and
        ``site``, ``product_key``, ``applicator``, ``county``, ``jurisdiction``; None asks nothing.
        ``since_seq`` leaves out that entry and those before it. TypeError for other filters.
        """
        conditions = [j.seq <= self.head.seq, *conditions_of(kinds, filters)]
        if since_seq:
            conditions.append(j.seq > since_seq)
        if current_only:
            conditions.append(CURRENT)
        for row in self._stream(ENTRY.where(*conditions)):
            yield sealed_from(row)

    def count(self, since_seq: int = 0) -> int:
        """Return how many entries there are, or how many after one."""
        after = (j.seq > since_seq,) if since_seq else ()
        return int(self._run(select(func.count()).select_from(journal).where(*after))[0][0])

    # Versions of a record and what was said of it

    def newest_version(self, seq: int) -> Sealed:
        """Return the entry that now stands for ``seq``: itself, an amendment, or its strike."""
        return self.versions(seq)[-1]

    def versions(self, seq: int) -> tuple[Sealed, ...]:
        """Return every version of a record, oldest first, whichever of them ``seq`` names."""
        found = [self.entry(seq)]
        while (before := found[0].replaces) is not None:
            found.insert(0, self.entry(before))
        while later := self._entries(j.replaces == found[-1].seq):
            found.append(later[0])
        return tuple(found)

    def judgements(self, seq: int) -> tuple[Sealed, ...]:
        """Return every judgement that covers this entry (``first`` to ``last`` of its body)."""
        if self._span is None:
            widest = select(func.max(j.last_seq - j.first_seq)).where(j.last_seq.is_not(None))
            self._span = self._run(widest)[0][0] or 0
        return self._entries(j.first_seq.between(seq - self._span, seq), j.last_seq >= seq)

    def newest_judgement(self, seq: int) -> tuple[Sealed, list[Any]] | None:
        """Return the newest judgement of an entry, and what it says of that entry as sealed."""
        judgements = self.judgements(seq)
        if not judgements:
            return None
        said = (item for item in judgements[-1].body["findings"] if item["seq"] == seq)
        return judgements[-1], next((item["findings"] for item in said), [])

    def referring(self, seq: int) -> tuple[Sealed, ...]:
        """Return every entry that names this one in ``refers``."""
        return self._entries(j.refers == seq)

    # Lines of sheets

    def by_identity(self, identity: str) -> tuple[Sealed, ...]:
        """Return every entry whose body has this identity, replaced and struck ones too."""
        return self._entries(j.identity == identity)

    def by_own(self, own: str) -> tuple[Sealed, ...]:
        """Return every entry of the line that an applicator numbered so."""
        return self._entries(j.own == own)

    def by_identities(self, identities: Iterable[str]) -> dict[str, tuple[Sealed, ...]]:
        """Return the entries of many identities at once; one that nothing has is left out."""
        return self._grouped("identity", identities)

    def by_owns(self, owns: Iterable[str]) -> dict[str, tuple[Sealed, ...]]:
        """Return the entries of many numbered lines at once; unknown ones are left out."""
        return self._grouped("own", owns)

    def at_sites(self, sites: Iterable[str]) -> dict[str, tuple[Sealed, ...]]:
        """Return the current applications and amendments at many sites at once."""
        return self._grouped("site", sites, j.kind.in_(USES), CURRENT)

    def _grouped(
        self, column: str, values: Iterable[str], *conditions: ColumnElement[bool]
    ) -> dict[str, tuple[Sealed, ...]]:
        """Return the entries by the value of a column, asked for in chunks."""
        wanted = sorted(set(values))
        found: dict[str, list[Sealed]] = {}
        for start in range(0, len(wanted), CHUNK):
            chunk = wanted[start : start + CHUNK]
            for entry in self._entries(j[column].in_(chunk), *conditions):
                found.setdefault(entry.body[column], []).append(entry)
        return {value: tuple(entries) for value, entries in found.items()}

    def held_open(self) -> tuple[Sealed, ...]:
        """Return held lines that nothing cleared, dropped or replaced."""
        other = journal.alias("other")
        done = or_(
            exists().where(other.c.clears == j.seq),
            exists().where(and_(other.c.refers == j.seq, other.c.kind == EntryKind.DROPPED)),
        )
        return self._entries(j.kind == EntryKind.HELD, CURRENT, ~done)

    # Work, days and periods

    def at_site(self, site: str) -> tuple[Sealed, ...]:
        """Return the current applications and amendments at a site."""
        return self._entries(j.site == site, j.kind.in_(USES), CURRENT)

    def ever_at_site(self, site: str) -> tuple[Sealed, ...]:
        """Return all applications and amendments at a site, and what struck any, in order."""
        return self._entries(j.site == site, EVER)

    def recall(self, key: Hashable, make: Callable[[], T]) -> T:  # noqa: ARG002 - others remember
        """Return what is made of entries under this key; this reader remembers nothing."""
        return make()

    def month(self, jurisdiction: str, ym: int, county: str | None = None) -> tuple[UseGroup, ...]:
        """Return the use of a month (``ym`` is 202601) by county, product, label, code, unit."""
        return read_month(self._run, jurisdiction, ym, county)[0]

    def month_use(
        self, jurisdiction: str, ym: int
    ) -> tuple[tuple[UseGroup, ...], tuple[VisitCount, ...]]:
        """Return the use of a month, and on how many visits each product was used, by county."""
        return read_month(self._run, jurisdiction, ym, None)

    def first_day(self, jurisdiction: str) -> date | None:
        """Return the day of the earliest current application in a jurisdiction.

        What was carried over from elsewhere is left out: it was reported by whoever kept it.
        """
        # Inside a line's text a quotation mark is escaped: only the body's own key reads so.
        own = ~j.text.contains('"carried":1', autoescape=True)
        months = select(j.ym).where(j.jurisdiction == jurisdiction, j.numerator.is_not(None))
        for (ym,) in self._stream(months.distinct().order_by(j.ym)):
            first = select(func.min(j.applied_on)).where(
                j.jurisdiction == jurisdiction, j.ym == ym, j.numerator.is_not(None), CURRENT, own
            )
            day = self._run(first)[0][0]
            if day is not None:
                return date.fromisoformat(day)
        return None

    def closes(self, day: str | date | None = None) -> tuple[Sealed, ...]:
        """Return the day closes, of one day (the body's ``date``) or of all."""
        conditions = [j.kind == EntryKind.CLOSE]
        if day is not None:
            conditions.append(j.applied_on == str(day))
        return self._entries(*conditions)

    def filings(self) -> tuple[Sealed, ...]:
        """Return every filing."""
        return self._entries(j.kind == EntryKind.FILING)

    # Sites

    def sites(self) -> Iterator[Sealed]:
        """Return the newest entry of each site, in the order of those entries."""
        for row in self._stream(ENTRY.where(j.kind == EntryKind.SITE, self._newest_site())):
            yield sealed_from(row)

    def site(self, key: str) -> Sealed | None:
        """Return the newest entry of a site, None for an unknown key."""
        found = self._entries(j.kind == EntryKind.SITE, j.site == key, self._newest_site())
        return found[0] if found else None

    def sites_in(self, zip5: str) -> tuple[Sealed, ...]:
        """Return the sites that now lie in a postal code; empty text asks for those without."""
        later = place.alias("later_place")
        moved = exists().where(later.c.site == place.c.site, later.c.seq > place.c.seq)
        there = select(place.c.seq).where(place.c.zip == zip5, ~moved)
        return self._entries(j.seq.in_(there))

    def count_sites(self) -> int:
        """Return how many sites there are."""
        keys = select(func.count(j.site.distinct())).where(j.kind == EntryKind.SITE)
        return int(self._run(keys)[0][0])

    @staticmethod
    def _newest_site() -> ColumnElement[bool]:
        later = journal.alias("later_site")
        return ~exists().where(
            later.c.site == j.site, later.c.kind == EntryKind.SITE, later.c.seq > j.seq
        )

    # Bytes kept as they came

    def blob(self, digest: str) -> bytes | None:
        """Return kept bytes by their SHA-256, None if they are not here."""
        rows = self._run(select(blob.c.data).where(blob.c.digest == digest))
        return bytes(rows[0][0]) if rows else None

    def blobs(self) -> Iterator[tuple[str, str, bytes]]:
        """Return every kept blob: digest, kind, bytes; in the order of the digests."""
        for row in self._stream(select(blob).order_by(blob.c.digest)):
            yield row.digest, row.kind, bytes(row.data)

    def blobs_of(self, digests: Iterable[str]) -> Iterator[tuple[str, str, bytes]]:
        """Return the kept blobs with these digests, one after the other."""
        for digest in sorted(digests):
            for row in self._run(select(blob).where(blob.c.digest == digest)):
                yield row.digest, row.kind, bytes(row.data)

    def privates(self, since_seq: int = 0) -> Iterator[tuple[int, bytes, str]]:
        """Return every private text after an entry: its number, its salt, the text."""
        statement = select(private).where(private.c.seq > since_seq).order_by(private.c.seq)
        for row in self._stream(statement):
            yield row.seq, bytes(row.salt), row.text

    def rows(
        self, first: int | None = None, last: int | None = None
    ) -> Iterator[tuple[tuple[Any, ...], bytes | None, str | None]]:
        """Return the stored rows as they are, with the salt and private text of each.

        ``first`` and ``last`` are numbers of entries, both included; None leaves an end open.
        """
        stored = select(journal, private.c.salt, private.c.text).select_from(
            journal.outerjoin(private, private.c.seq == j.seq)
        )
        for row in self._stream(stored.where(*_between(j.seq, first, last)).order_by(j.seq)):
            salt = None if row[-2] is None else bytes(row[-2])
            yield tuple(row[:-2]), salt, row[-1]

    def lines(self) -> Iterator[tuple[int, str, bytes | None, str | None]]:
        """Return each entry's number, line, salt and private text, for copying."""
        stored = select(j.seq, j.text, private.c.salt, private.c.text).select_from(
            journal.outerjoin(private, private.c.seq == j.seq)
        )
        for seq, text, salt, private_text in self._stream(stored.order_by(j.seq)):
            yield seq, text, None if salt is None else bytes(salt), private_text

    def disposals(self) -> Iterator[tuple[int, dict[str, Any]]]:
        """Return number and body of every disposal; a line that cannot be read is left out."""
        rows = self._run(select(j.seq, j.text).where(j.kind == EntryKind.DISPOSAL).order_by(j.seq))
        for seq, text in rows:
            try:
                body = json.loads(text)["body"]
            except (ValueError, KeyError, TypeError):
                continue
            if isinstance(body, dict):
                yield seq, body

    def places(
        self, first: int | None = None, last: int | None = None
    ) -> dict[int, tuple[int, str, str]]:
        """Return the rows of ``place`` by their number, as stored, of a stretch or all."""
        there = select(place).where(*_between(place.c.seq, first, last))
        return {row[0]: tuple(row) for row in self._run(there)}

    def replaced_before(self, seqs: Iterable[int], until: int) -> Iterator[tuple[int, int]]:
        """Return which of these entries an entry up to ``until`` replaces, with that entry."""
        wanted = sorted(seqs)
        for start in range(0, len(wanted), CHUNK):
            there = j.replaces.in_(wanted[start : start + CHUNK])
            yield from self._run(select(j.replaces, j.seq).where(there, j.seq <= until))


def _between(
    column: ColumnElement[int], first: int | None, last: int | None
) -> Iterator[ColumnElement[bool]]:
    if first is not None:
        yield column >= first
    if last is not None:
        yield column <= last
