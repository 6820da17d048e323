"""Reading the journal: entries by what they are about, always as their own lines say.

An entry is *current* when no later entry replaces it: an amendment replaces with the corrected
record, a strike with nothing.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any, TypeVar

from ledger.journal.columns import COLUMNS, USES
from ledger.journal.filters import Where, both, conditions_of, is_one_of, one_of
from ledger.journal.link import CHUNK, Row, rows_of, stream_of
from ledger.journal.month import read_month
from ledger.seal import read_json
from ledger.values.sealed import EntryKind, Head, Sealed
from ledger.values.use_group import UseGroup, VisitCount

if TYPE_CHECKING:
    from ledger.journal.link import Link

CURRENT = Where("NOT EXISTS (SELECT 1 FROM journal AS later WHERE later.replaces = journal.seq)")
"""The condition that nothing replaces an entry."""

_ENTRY = "journal.seq, journal.seal, journal.text, private.text"
_WITH_PRIVATE = "journal LEFT JOIN private ON private.seq = journal.seq"

_HELD_OPEN = Where(
    "NOT EXISTS (SELECT 1 FROM journal AS other WHERE other.clears = journal.seq)"
    " AND NOT EXISTS (SELECT 1 FROM journal AS other WHERE other.refers = journal.seq"
    " AND other.kind = ?)",
    (str(EntryKind.DROPPED),),
)
_NEWEST_SITE = Where(
    "journal.kind = ? AND NOT EXISTS (SELECT 1 FROM journal AS newer WHERE newer.site ="
    " journal.site AND newer.kind = ? AND newer.seq > journal.seq)",
    (str(EntryKind.SITE), str(EntryKind.SITE)),
)
_LIES_IN = (
    "journal.seq IN (SELECT place.seq FROM place WHERE place.zip = ? AND NOT EXISTS (SELECT 1"
    " FROM place AS moved WHERE moved.site = place.site AND moved.seq > place.seq))"
)

# Inside a line's text a quotation mark is escaped: only the body's own key reads so.
_OWN = Where("journal.text NOT LIKE ?", ('%"carried":1%',))

WIDEST = "SELECT max(last_seq - first_seq) FROM journal WHERE last_seq IS NOT NULL"
"""The question of how many entries lie between the first and the last of the widest judgement."""

_USED = is_one_of(USES, by_index=True)
EVER = is_one_of((*USES, EntryKind.STRIKE), by_index=True)
"""The condition that an entry says what was done somewhere, or that it was not."""

T = TypeVar("T")


def asking_entries(
    conditions: Iterable[Where], order: str = "journal.seq"
) -> tuple[str, tuple[Any, ...]]:
    """Return the question for what ``sealed_from`` reads of the entries that meet conditions."""
    where = both(conditions)
    text = f"SELECT {_ENTRY} FROM {_WITH_PRIVATE} WHERE {where.text} ORDER BY {order}"  # noqa: S608 - our own names
    return text, where.values


def sealed_from(row: Sequence[Any]) -> Sealed:
    """Return the entry of a row, by its line; the columns beside it are not asked."""
    seq, seal, text, private_text = row
    line = read_json(text)
    return Sealed(
        seq, EntryKind(line["kind"]), line["at"], line["by"], line["os_user"], line["prev"], seal,
        text, line["body"], private_text, line["replaces"], line["refers"],
    )  # fmt: skip


class Reader:
    """A view of the journal inside one transaction. Sealed entries come in sequence order."""

    def __init__(self, connection: Link, name: str = "") -> None:
        self._connection = connection
        self._span: int | None = None
        self.name = name

    def rows_of(self, statement: str, values: Sequence[Any] = ()) -> Sequence[Row]:
        """Return the rows of a statement; for the modules of the journal only, as is ``stream``."""
        return rows_of(self._connection, statement, values)

    def stream(self, statement: str, values: Sequence[Any] = ()) -> Iterator[Row]:
        """Yield the rows of a statement without holding them all in memory."""
        return stream_of(self._connection, statement, values)

    def _entries(self, *conditions: Where) -> tuple[Sealed, ...]:
        return tuple(sealed_from(row) for row in self.rows_of(*asking_entries(conditions)))

    def _those(self, column: str, value: object) -> tuple[Sealed, ...]:
        return self._entries(Where(f"journal.{column} = ?", (value,)))

    # The journal itself

    @property
    def connection(self) -> Link:
        """The connection, for the modules of the journal only."""
        return self._connection

    @property
    def ledger_id(self) -> str:
        """The ledger's own id, 32 hex digits, that stands in each line (empty: no entry yet)."""
        rows = self.rows_of("SELECT text FROM journal WHERE seq = 1")
        return str(json.loads(rows[0][0])["ledger"]) if rows else ""

    @property
    def head(self) -> Head:
        """The newest entry's number and seal; number 0 and no seal in an empty journal."""
        rows = self.rows_of("SELECT seq, seal FROM journal ORDER BY seq DESC LIMIT 1")
        return Head(rows[0][0], rows[0][1]) if rows else Head(0, "")

    def entry(self, seq: int) -> Sealed:
        """Return the entry with this number; KeyError if there is none."""
        found = self._those("seq", seq)
        if not found:
            raise KeyError(seq)
        return found[0]

    def texts_since(self, seq: int) -> Iterator[bytes]:
        """Return the canonical line of every entry after ``seq``, in order."""
        asked = "SELECT text FROM journal WHERE seq > ? ORDER BY seq"
        for (text,) in self.stream(asked, (seq,)):
            yield text.encode("utf-8")

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
        conditions = [Where("journal.seq <= ?", (self.head.seq,)), *conditions_of(kinds, filters)]
        if since_seq:
            conditions.append(Where("journal.seq > ?", (since_seq,)))
        if current_only:
            conditions.append(CURRENT)
        for row in self.stream(*asking_entries(conditions)):
            yield sealed_from(row)

    def count(self, since_seq: int = 0) -> int:
        """Return how many entries there are, or how many after one."""
        asked = "SELECT count(*) FROM journal"
        rows = self.rows_of(*((f"{asked} WHERE seq > ?", (since_seq,)) if since_seq else (asked,)))
        return int(rows[0][0])

    # Versions of a record and what was said of it

    def newest_version(self, seq: int) -> Sealed:
        """Return the entry that now stands for ``seq``: itself, an amendment, or its strike."""
        return self.versions(seq)[-1]

    def versions(self, seq: int) -> tuple[Sealed, ...]:
        """Return every version of a record, oldest first, whichever of them ``seq`` names."""
        found = [self.entry(seq)]
        while (before := found[0].replaces) is not None:
            found.insert(0, self.entry(before))
        while later := self._those("replaces", found[-1].seq):
            found.append(later[0])
        return tuple(found)

    def judgements(self, seq: int) -> tuple[Sealed, ...]:
        """Return every judgement that covers this entry (``first`` to ``last`` of its body)."""
        if self._span is None:
            self._span = self.rows_of(WIDEST)[0][0] or 0
        covers = "journal.first_seq BETWEEN ? AND ? AND journal.last_seq >= ?"
        return self._entries(Where(covers, (seq - self._span, seq, seq)))

    def newest_judgement(self, seq: int) -> tuple[Sealed, list[Any]] | None:
        """Return the newest judgement of an entry, and what it says of that entry as sealed."""
        judgements = self.judgements(seq)
        if not judgements:
            return None
        said = (item for item in judgements[-1].body["findings"] if item["seq"] == seq)
        return judgements[-1], next((item["findings"] for item in said), [])

    def referring(self, seq: int) -> tuple[Sealed, ...]:
        """Return every entry that names this one in ``refers``."""
        return self._those("refers", seq)

    # Lines of sheets

    def by_identity(self, identity: str) -> tuple[Sealed, ...]:
        """Return every entry whose body has this identity, replaced and struck ones too."""
        return self._those("identity", identity)

    def by_own(self, own: str) -> tuple[Sealed, ...]:
        """Return every entry of the line that an applicator numbered so."""
        return self._those("own", own)

    def by_identities(self, identities: Iterable[str]) -> dict[str, tuple[Sealed, ...]]:
        """Return the entries of many identities at once; one that nothing has is left out."""
        return self._grouped("identity", identities)

    def by_owns(self, owns: Iterable[str]) -> dict[str, tuple[Sealed, ...]]:
        """Return the entries of many numbered lines at once; unknown ones are left out."""
        return self._grouped("own", owns)

    def at_sites(self, sites: Iterable[str]) -> dict[str, tuple[Sealed, ...]]:
        """Return the current applications and amendments at many sites at once."""
        return self._grouped("site", sites, _USED, CURRENT)

    def _grouped(
        self, column: str, values: Iterable[str], *conditions: Where
    ) -> dict[str, tuple[Sealed, ...]]:
        """Return the entries by the value of a column, asked for in chunks."""
        wanted = sorted(set(values))
        found: dict[str, list[Sealed]] = {}
        for start in range(0, len(wanted), CHUNK):
            chunk = wanted[start : start + CHUNK]
            for entry in self._entries(one_of(f"journal.{column}", chunk), *conditions):
                found.setdefault(entry.body[column], []).append(entry)
        return {value: tuple(entries) for value, entries in found.items()}

    def held_open(self) -> tuple[Sealed, ...]:
        """Return held lines that nothing cleared, dropped or replaced."""
        return self._entries(is_one_of((EntryKind.HELD,), by_index=True), CURRENT, _HELD_OPEN)

    # Work, days and periods

    def at_site(self, site: str) -> tuple[Sealed, ...]:
        """Return the current applications and amendments at a site."""
        return self._entries(Where("journal.site = ?", (site,)), _USED, CURRENT)

    def ever_at_site(self, site: str) -> tuple[Sealed, ...]:
        """Return all applications and amendments at a site, and what struck any, in order."""
        return self._entries(Where("journal.site = ?", (site,)), EVER)

    def recall(self, key: Hashable, make: Callable[[], T]) -> T:  # noqa: ARG002 - others remember
        """Return what is made of entries under this key; this reader remembers nothing."""
        return make()

    def month(self, jurisdiction: str, ym: int, county: str | None = None) -> tuple[UseGroup, ...]:
        """Return the use of a month (``ym`` is 202601) by county, product, label, code, unit."""
        return read_month(self.rows_of, jurisdiction, ym, county)[0]

    def month_use(
        self, jurisdiction: str, ym: int
    ) -> tuple[tuple[UseGroup, ...], tuple[VisitCount, ...]]:
        """Return the use of a month, and on how many visits each product was used, by county."""
        return read_month(self.rows_of, jurisdiction, ym, None)

    def first_day(self, jurisdiction: str) -> date | None:
        """Return the day of the earliest current application in a jurisdiction.

        What was carried over from elsewhere is left out: it was reported by whoever kept it.
        """
        where = "jurisdiction = ? AND numerator IS NOT NULL"
        months = f"SELECT DISTINCT ym FROM journal WHERE {where} ORDER BY ym"  # noqa: S608 - fixed
        rest = both((CURRENT, _OWN))
        first = f"SELECT min(applied_on) FROM journal WHERE {where} AND ym = ? AND {rest.text}"  # noqa: S608 - fixed
        for (ym,) in self.stream(months, (jurisdiction,)):
            day = self.rows_of(first, (jurisdiction, ym, *rest.values))[0][0]
            if day is not None:
                return date.fromisoformat(day)
        return None

    def closes(self, day: str | date | None = None) -> tuple[Sealed, ...]:
        """Return the day closes, of one day (the body's ``date``) or of all."""
        conditions = [is_one_of((EntryKind.CLOSE,), by_index=True)]
        if day is not None:
            conditions.append(Where("journal.applied_on = ?", (str(day),)))
        return self._entries(*conditions)

    def filings(self) -> tuple[Sealed, ...]:
        """Return every filing."""
        return self._those("kind", str(EntryKind.FILING))

    # Sites

    def sites(self) -> Iterator[Sealed]:
        """Return the newest entry of each site, in the order of those entries."""
        for row in self.stream(*asking_entries((_NEWEST_SITE,))):
            yield sealed_from(row)

    def site(self, key: str) -> Sealed | None:
        """Return the newest entry of a site, None for an unknown key."""
        found = self._entries(Where("journal.site = ?", (key,)), _NEWEST_SITE)
        return found[0] if found else None

    def site_forms(self, key: str) -> tuple[Sealed, ...]:
        """Return every entry of a site, oldest first."""
        return self._entries(
            one_of("journal.kind", (str(EntryKind.SITE),)), Where("journal.site = ?", (key,))
        )

    def sites_in(self, zip5: str) -> tuple[Sealed, ...]:
        """Return the sites that now lie in a postal code; empty text asks for those without."""
        return self._entries(Where(_LIES_IN, (zip5,)))

    def count_sites(self) -> int:
        """Return how many sites there are."""
        asked = "SELECT count(DISTINCT site) FROM journal WHERE kind = ?"
        return int(self.rows_of(asked, (str(EntryKind.SITE),))[0][0])

    # Bytes kept as they came

    def blob(self, digest: str) -> bytes | None:
        """Return kept bytes by their SHA-256, None if they are not here."""
        rows = self.rows_of("SELECT data FROM blob WHERE digest = ?", (digest,))
        return bytes(rows[0][0]) if rows else None

    def blobs(self) -> Iterator[tuple[str, str, bytes]]:
        """Return every kept blob: digest, kind, bytes; in the order of the digests."""
        for digest, kind, data in self.stream(
            "SELECT digest, kind, data FROM blob ORDER BY digest"
        ):
            yield digest, kind, bytes(data)

    def blobs_of(self, digests: Iterable[str]) -> Iterator[tuple[str, str, bytes]]:
        """Return the kept blobs with these digests, one after the other."""
        for digest in sorted(digests):
            for kind, data in self.rows_of(
                "SELECT kind, data FROM blob WHERE digest = ?", (digest,)
            ):
                yield digest, kind, bytes(data)

    def privates(self, since_seq: int = 0) -> Iterator[tuple[int, bytes, str]]:
        """Return every private text after an entry: its number, its salt, the text."""
        asked = "SELECT seq, salt, text FROM private WHERE seq > ? ORDER BY seq"
        for seq, salt, text in self.stream(asked, (since_seq,)):
            yield seq, bytes(salt), text

    def rows(
        self, first: int | None = None, last: int | None = None
    ) -> Iterator[tuple[tuple[Any, ...], bytes | None, str | None]]:
        """Return the stored rows as they are, with the salt and private text of each.

        ``first`` and ``last`` are numbers of entries, both included; None leaves an end open.
        """
        columns = ", ".join(f"journal.{name}" for name in COLUMNS)
        where = _between("journal.seq", first, last)
        stored = (
            f"SELECT {columns}, private.salt, private.text FROM {_WITH_PRIVATE}"  # noqa: S608 - our own names
            f" WHERE {where.text} ORDER BY journal.seq"
        )
        for row in self.stream(stored, where.values):
            salt = None if row[-2] is None else bytes(row[-2])
            yield tuple(row[:-2]), salt, row[-1]

    def lines(self) -> Iterator[tuple[int, str, bytes | None, str | None]]:
        """Return each entry's number, line, salt and private text, for copying."""
        stored = (
            "SELECT journal.seq, journal.text, private.salt, private.text"  # noqa: S608 - our own names
            f" FROM {_WITH_PRIVATE} ORDER BY journal.seq"
        )
        for seq, text, salt, private_text in self.stream(stored):
            yield seq, text, None if salt is None else bytes(salt), private_text

    def disposals(self) -> Iterator[tuple[int, dict[str, Any]]]:
        """Return number and body of every disposal; a line that cannot be read is left out."""
        asked = "SELECT seq, text FROM journal WHERE kind = ? ORDER BY seq"
        for seq, text in self.rows_of(asked, (str(EntryKind.DISPOSAL),)):
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
        where = _between("seq", first, last)
        asked = f"SELECT seq, site, zip FROM place WHERE {where.text}"  # noqa: S608 - our own names
        return {row[0]: tuple(row) for row in self.rows_of(asked, where.values)}

    def replaced_before(self, seqs: Iterable[int], until: int) -> Iterator[tuple[int, int]]:
        """Return which of these entries an entry up to ``until`` replaces, with that entry."""
        wanted = sorted(seqs)
        for start in range(0, len(wanted), CHUNK):
            there = one_of("replaces", wanted[start : start + CHUNK])
            asked = f"SELECT replaces, seq FROM journal WHERE {there.text} AND seq <= ?"  # noqa: S608 - marks
            yield from ((row[0], row[1]) for row in self.rows_of(asked, (*there.values, until)))


def _between(column: str, first: int | None, last: int | None) -> Where:
    ends = ((">=", first), ("<=", last))
    return both(Where(f"{column} {sign} ?", (end,)) for sign, end in ends if end is not None)
