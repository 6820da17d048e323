"""Step 5, append: entries are sealed in the order they come and proved before they are kept."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from ledger.journal.bulk import WORTH_IT, can_copy, copy_rows
from ledger.journal.columns import COLUMNS, columns_of, place_of
from ledger.journal.link import Row, marked
from ledger.journal.problem import StoreProblem
from ledger.journal.read import Reader
from ledger.journal.tables import TABLES
from ledger.seal import FORM, encode, plain, plain_text, salted, seal_of
from ledger.values.sealed import Head, NewEntry, Sealed

if TYPE_CHECKING:
    from ledger.journal.link import Link

Clock = Callable[[], datetime]
Salts = Callable[[], bytes]

ROWS_AT_ONCE = 500
"""How many rows wait before they are sent to the database together."""


def utc_text(moment: datetime) -> str:
    """Return a moment as it is sealed: ``2026-01-14T16:05:09.000000Z``; ValueError if zoneless."""
    if moment.tzinfo is None:
        raise ValueError("the clock must say its time zone")
    return moment.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


class Writer(Reader):
    """A reader that can also append; used by one transaction that holds the ledger's lock."""

    def __init__(
        self, connection: Link, *, name: str, clock: Clock, salts: Salts, os_user: str
    ) -> None:
        super().__init__(connection, name)
        self._clock = clock
        self._salts = salts
        self._os_user = plain_text(os_user)
        self._rows: list[tuple[Any, ...]] = []
        self._waiting: dict[str, list[tuple[Any, ...]]] = {
            "journal": [], "private": [], "place": [],
        }  # fmt: skip
        self._kept: dict[str, str] = {}
        self._head = super().head
        self._ledger_id = super().ledger_id

    @property
    def head(self) -> Head:
        """The newest entry, those of this transaction included."""
        return self._head

    @property
    def ledger_id(self) -> str:
        """The ledger's own id."""
        return self._ledger_id

    def found(self, ledger_id: str) -> None:
        """Give a new ledger its id, before its first entry."""
        if self._head.seq:
            raise ValueError("this ledger has its id already")
        self._ledger_id = ledger_id

    def append(self, new: NewEntry) -> Sealed:
        """Seal an entry after the last one and return it.

        Text is made plain (``ledger.seal.plain``) first. ValueError for what cannot be sealed,
        for a reference to an entry that is not there, and for replacing an entry that already
        has a newer version.
        """
        seq = self._head.seq + 1
        self._refuse_bad_references(new, seq)
        body = dict(new.body)
        text = None if new.private is None else plain_text(new.private)
        salt = b"" if text is None else self._salts()
        line = {
            "at": utc_text(self._clock()), "body": body, "by": plain_text(new.by), "form": FORM,
            "kind": str(new.kind), "ledger": self._ledger_id, "os_user": self._os_user,
            "prev": self._head.seal, "private": None if text is None else salted(text, salt),
            "refers": new.refers, "replaces": new.replaces, "seq": seq,
        }  # fmt: skip
        try:
            data = encode(line)
        except ValueError:  # a strange text, most likely; what cannot be helped raises again
            line["body"] = body = plain(body)
            data = encode(line)
        seal = seal_of(data)
        canonical_text = data.decode("utf-8")
        self._waiting["journal"].append(columns_of(line, seal, canonical_text))
        if text is not None:
            self._waiting["private"].append((seq, salt, text))
        where = place_of(line, text)
        if where is not None:
            self._waiting["place"].append(where)
        self._head = Head(seq, seal)
        self._span = None
        if len(self._waiting["journal"]) >= ROWS_AT_ONCE:
            self.flush()
        return Sealed(
            seq, new.kind, str(line["at"]), str(line["by"]), self._os_user, str(line["prev"]),
            seal, canonical_text, body, text, new.replaces, new.refers,
        )  # fmt: skip

    def _refuse_bad_references(self, new: NewEntry, seq: int) -> None:
        for name, value in (("replaces", new.replaces), ("refers", new.refers)):
            if value is not None and not 0 < value < seq:
                raise ValueError(f"{name} names entry {value}, which is not there")
        if new.replaces is not None:
            asked = "SELECT seq FROM journal WHERE replaces = ?"
            newer = self.rows_of(asked, (new.replaces,))
            if newer:
                raise ValueError(f"entry {new.replaces} was replaced by {newer[0][0]} already")

    def keep(self, kind: str, data: bytes) -> str:
        """Keep bytes as they came, once, and return their SHA-256 (hex)."""
        digest = hashlib.sha256(data).hexdigest()
        there = "SELECT 1 FROM blob WHERE digest = ?"
        if digest not in self._kept and not self.rows_of(there, (digest,)):
            insert_rows(self._connection, {"blob": [(digest, plain_text(kind), data)]})
            self._kept[digest] = kind
        return digest

    def rows_of(self, statement: str, values: Sequence[Any] = ()) -> Sequence[Row]:
        """Return the rows of a statement, what waits to be written included."""
        self.flush()
        return super().rows_of(statement, values)

    def stream(self, statement: str, values: Sequence[Any] = ()) -> Iterator[Row]:
        """Yield the rows of a statement, what waits to be written included."""
        self.flush()
        return super().stream(statement, values)

    def flush(self) -> None:
        """Send the waiting rows to the database; the guard judges each of them."""
        self._rows += self._waiting["journal"]
        insert_rows(self._connection, self._waiting)

    def finish(self) -> None:
        """Read back what this transaction wrote and prove it; ``StoreProblem`` if it differs.

        Whatever stands between here and the disk (a driver, a trigger, a column type) shows
        before anything is acknowledged, not years later.
        """
        self.flush()
        if self._rows:
            self._prove_rows()
        for digest in self._kept:
            data = self.blob(digest)
            if data is None or hashlib.sha256(data).hexdigest() != digest:
                raise _unlike(f"kept bytes {digest[:16]}")

    def _prove_rows(self) -> None:
        first = self._rows[0][0]
        seal_at, text_at, digest_at = (COLUMNS.index(name) for name in ("seal", "text", "private"))
        asked = f"SELECT {', '.join(COLUMNS)} FROM journal WHERE seq >= ? ORDER BY seq"  # noqa: S608 - our own names
        stored = self.rows_of(asked, (first,))
        if len(stored) != len(self._rows):
            raise _unlike(f"{len(stored)} entries instead of {len(self._rows)}")
        digests: dict[int, str] = {}
        for row, sent in zip(stored, self._rows, strict=True):
            if tuple(row) != sent or seal_of(row[text_at].encode("utf-8")) != row[seal_at]:
                raise _unlike(f"entry {sent[0]}")
            if row[digest_at] is not None:
                digests[sent[0]] = row[digest_at]
        found = {seq: salted(text, salt) for seq, salt, text in self.privates(first - 1)}
        if found != digests:
            raise _unlike("a private text")


def insert_rows(connection: Link, rows: dict[str, list[tuple[Any, ...]]]) -> None:
    """Insert whole rows by table, in the order of ``TABLES``, and empty the lists.

    They go to the driver as tuples, which costs no more than the bare driver does.
    """
    for table, names in TABLES.items():
        waiting = rows.get(table)
        if not waiting:
            continue
        if len(waiting) >= WORTH_IT and can_copy(connection):
            copy_rows(connection, table, names, waiting)
        else:
            marks = ", ".join("?" * len(names))
            into = f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks})"  # noqa: S608 - our own names
            connection.exec_driver_sql(marked(connection, into), waiting)
        rows[table] = []


def _unlike(what: str) -> StoreProblem:
    return StoreProblem(
        f"the database gave back {what} unlike what was sent, so nothing was recorded",
        "check the disk and the guard with `useledger verify`, then hand the work in again",
    )
