"""The quick proof: a stretch of entries is as it was sealed, or this does not say.

It recomputes the same things as the walk that explains (``walk.py``): seal, canonical form, chain,
every column, private texts, places, the leaves of the tree. But it makes no value for an entry,
asks the database for whole stretches at once, and stops at the first thing that is not as usual. It
finds no fault: whatever it does not call the same is walked through again.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from hashlib import sha256
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from ledger.journal.columns import (
    COLUMNS,
    LABEL_DIGITS,
    columns_of,
    day_and_month,
    place_in,
)
from ledger.journal.shapes import PLAIN_COLUMNS, Shapes
from ledger.merkle import blocks_of
from ledger.seal import FORM, SALT_BYTES, read_json, read_line
from ledger.values.sealed import EntryKind

if TYPE_CHECKING:
    from sqlite3 import Cursor

    from sqlalchemy.engine.interfaces import DBAPICursor

    from ledger.journal.link import Link

_FIRST_COLUMNS = ("seal", "label", "applied_on", "ym")
_ASKED = ", ".join(("{text}", *_FIRST_COLUMNS, *PLAIN_COLUMNS))
_BYTES = {"sqlite": "CAST(text AS BLOB)", "postgresql": "convert_to(text, 'UTF8')"}
"""How a database gives a text as its bytes: nothing is decoded that is only hashed."""

AT_ONCE = 128
"""Rows taken from the database together; few enough to stay at hand while they are looked at."""

_ROW = ("text", *_FIRST_COLUMNS, *PLAIN_COLUMNS)
_DATA, _SEAL, _LABEL, _DAY, _MONTH, _PLAIN = range(6)
_KIND, _SEQ, _FORM, _AT, _, _, _PREV, _PRIVATE, _REPLACES = range(_PLAIN, _PLAIN + 9)
_in_order = itemgetter(*(_ROW.index(column) for column in COLUMNS))

Row = tuple[Any, ...]
Rows = Sequence[Any]
"""Rows as the driver gives them: plain tuples."""


@dataclass(frozen=True, slots=True)
class Ask:
    """What every stretch is asked: ``gone`` are disposed entries, ``kept`` starts of kept seals."""

    gone: Collection[int | str] = frozenset()
    kept: Collection[str] = frozenset()


@dataclass(slots=True)
class Stretch:
    """What a stretch of entries comes to, all of them as they were sealed.

    ``prev`` is the seal that the first one follows, ``seal`` that of the last. ``blocks`` are the
    stretch's subtrees. ``closes`` hold number, body and the subtrees before each; ``wanted`` the
    digests named and by whom, ``replaced`` what was replaced and by what, ``seen`` the entries
    whose seal begins like a kept one: number, seal, time.
    """

    first: int
    last: int
    prev: str = ""
    seal: str = ""
    at: str = ""
    ledger: str = ""
    privates: int = 0
    disposed: int = 0
    blocks: tuple[tuple[int, bytes], ...] = ()
    closes: list[tuple[int, dict[str, Any], tuple[tuple[int, bytes], ...]]] = field(
        default_factory=list
    )
    wanted: list[tuple[str, int]] = field(default_factory=list)
    replaced: list[tuple[int, int]] = field(default_factory=list)
    seen: list[tuple[int, str, str]] = field(default_factory=list)


class _NotTheSame(Exception):  # noqa: N818 - no error: the walk that explains has the word
    """Something is not as usual."""


def prove_stretch(connection: Link, first: int, last: int, ask: Ask) -> Stretch | None:
    """Return what entries ``first`` to ``last`` come to if all are as sealed, else None.

    The first stretch of a ledger (``first`` is 1) takes in whatever stands before entry 1.
    """
    between = (first if first > 1 else -(2**63), last)
    text = _BYTES[connection.dialect.name]
    try:
        with (
            _asked(connection, f"seq, salt, {text}", "private", between) as texts,
            _asked(connection, "seq, site, zip", "place", between) as places,
            _asked(connection, _ASKED.format(text=text), "journal", between) as rows,
        ):
            proof = _Proof(ask, Stretch(first, last), texts.fetchall(), places.fetchall())
            return proof.of(_some(rows))
    except connection.dialect.loaded_dbapi.Error:
        return None
    except (_NotTheSame, ValueError, TypeError, LookupError, AttributeError, RecursionError):
        return None


@contextmanager
def _asked(
    connection: Link, what: str, table: str, between: tuple[int, int]
) -> Iterator[Cursor | DBAPICursor]:
    """Give the rows of a stretch as the driver gives them: plain tuples, in order."""
    cursor = connection.connection.cursor()
    try:
        cursor.execute(
            f"SELECT {what} FROM {table}"  # noqa: S608 - our own names and numbers
            f" WHERE seq BETWEEN {between[0]:d} AND {between[1]:d} ORDER BY seq"
        )
        yield cursor
    finally:
        cursor.close()


def _some(cursor: Cursor | DBAPICursor) -> Iterator[Rows]:
    while rows := cursor.fetchmany(AT_ONCE):
        yield rows


@cache
def _shapes() -> Shapes:
    """Return the shapes that this process has learned."""
    return Shapes()


class _Proof:
    """The proof of one stretch, whole columns at a time where it can."""

    def __init__(self, ask: Ask, done: Stretch, privates: Rows, places: Rows) -> None:
        self._ask = ask
        self._done = done
        self._privates = {row[0]: row for row in privates}
        self._there = {row[0]: row for row in places}
        self._named: dict[int, str] = {}
        self._placed: dict[int, Row] = {}
        self._leaves: list[bytes] = []
        self._shapes = _shapes()

    def of(self, rows: Iterable[Rows]) -> Stretch:
        """Return what the rows come to; raise where one is not as usual."""
        done, read = self._done, self._shapes.read
        for some in rows:
            self._chain(some)
            for row in some:
                known = read(row[_KIND], row[_DATA])
                if known is None or not _fits(row, *known):
                    self._look(row)
                    continue
                line = known[0]
                if line.k_ledger != done.ledger:
                    self._of_ledger(line.k_ledger)
                if row[_KIND] == _SITE:
                    self._place(row[_SEQ], line.k_body.k_site)
        self._prove_privates()
        if self._placed != self._there or len(self._leaves) != done.last - done.first + 1:
            raise _NotTheSame
        done.blocks = blocks_of(done.first - 1, self._leaves)
        return done

    def _chain(self, rows: Rows) -> None:
        """Prove seals, numbers and order of some rows, and take on what their columns say."""
        done, columns = self._done, list(zip(*rows, strict=True))
        lines, seals, seqs, kinds = (columns[n] for n in (_DATA, _SEAL, _SEQ, _KIND))
        first = done.first + len(self._leaves)
        if not self._leaves:
            done.prev = done.seal = columns[_PREV][0]
        if (
            [sha256(line).hexdigest() for line in lines] != list(seals)
            or columns[_PREV] != (done.seal, *seals[:-1])
            or seqs != tuple(range(first, first + len(rows)))
            or columns[_FORM].count(FORM) != len(rows)
            or kinds.count(_FIRST) != (first == 1)
            or (first == 1 and kinds[0] != _FIRST)
        ):
            raise _NotTheSame
        self._leaves += [sha256(b"\x00" + line).digest() for line in lines]
        done.seal, done.at = seals[-1], columns[_AT][-1]
        replaced = zip(columns[_REPLACES], seqs, strict=True)
        done.replaced += [(before, seq) for before, seq in replaced if before is not None]
        named = zip(seqs, columns[_PRIVATE], strict=True)
        self._named.update((seq, digest) for seq, digest in named if digest is not None)
        if kept := self._ask.kept:
            seen = zip(seqs, seals, columns[_AT], strict=True)
            done.seen += [(seq, seal, at) for seq, seal, at in seen if seal[:32] in kept]

    def _look(self, row: Row) -> None:
        """Prove a row of which no shape could tell, and learn its shape."""
        data = row[_DATA]
        text = str(data, "utf-8")
        line = read_line(text, data)
        if columns_of(line, row[_SEAL], text) != _in_order((text, *row[1:])):
            raise _NotTheSame
        self._of_ledger(line["ledger"])
        if line["kind"] == _SITE:
            self._place(row[_SEQ], line["body"].get("site"))
        elif line["kind"] in _TELLING:
            _note(line, self._done, self._leaves[: row[_SEQ] - self._done.first])
        self._shapes.learn(line["kind"], line)

    def _of_ledger(self, ledger: str) -> None:
        if self._done.ledger not in {"", ledger}:
            raise _NotTheSame
        self._done.ledger = ledger

    def _place(self, seq: int, site: object) -> None:
        """Work out the row of ``place`` of a site entry by its private text."""
        if seq in self._privates:
            there = place_in(seq, site, self._privates[seq][2], read_json)
            if there is not None:
                self._placed[seq] = there

    def _prove_privates(self) -> None:
        """Prove that every private text named is there unchanged, or was disposed of; no others."""
        gone, named = self._ask.gone, self._named
        for seq, salt, text in self._privates.values():
            digest = named.pop(seq, None)
            if sha256(salt + text).hexdigest() != digest or len(salt) != SALT_BYTES:
                raise _NotTheSame
            if not text.isascii():
                str(text, "utf-8")  # raises where it is no text
            if seq in gone:
                raise _NotTheSame
        if any(seq not in gone for seq in named):
            raise _NotTheSame
        self._done.privates, self._done.disposed = len(self._privates), len(named)


def _fits(row: Row, line: Any, columns: Row) -> bool:  # noqa: ANN401 - a line by its shape
    """Say whether the columns of a row hold what its line says, in the form of this version."""
    label = line.k_body.k_label
    return (
        row[_PLAIN:] == columns
        and row[_LABEL] == (None if label is None else label[:LABEL_DIGITS])
        and (row[_DAY], row[_MONTH]) == day_and_month(line.k_body.k_date)
    )


_FIRST, _SITE = str(EntryKind.LEDGER), str(EntryKind.SITE)
_CLOSE = str(EntryKind.CLOSE)
_TELLING = frozenset(
    str(kind)
    for kind in (
        EntryKind.SHEET, EntryKind.ATTACHMENT, EntryKind.RULES, EntryKind.FILING, EntryKind.AUDIT,
        EntryKind.CLOSE,
    )
)  # fmt: skip
"""The kinds that name kept bytes or seal a root."""


def _note(line: dict[str, Any], done: Stretch, leaves: list[bytes]) -> None:
    """Note what is to be compared with entries outside of the stretch."""
    seq, body = line["seq"], line["body"]
    done.wanted += ((digest, seq) for digest in digests_in(line["kind"], body))
    if line["kind"] == _CLOSE:
        sealed = {name: body.get(name) for name in ("size", "root", "peaks")}
        done.closes.append((seq, sealed, blocks_of(done.first - 1, leaves)))


def digests_in(kind: str, body: dict[str, Any]) -> Iterator[str]:
    """Yield the digests of kept bytes that an entry of this kind names."""
    if kind in {EntryKind.SHEET, EntryKind.ATTACHMENT}:
        named: list[Any] = [body.get("digest")]
    elif kind == EntryKind.RULES:
        files = body.get("files")
        named = [item.get("digest") for item in files or () if isinstance(item, dict)]
    elif kind == EntryKind.FILING:
        copies = body.get("copies")
        named = [body.get("report"), *(copies.values() if isinstance(copies, dict) else ())]
    elif kind == EntryKind.AUDIT:
        named = [body.get("list")]
    else:
        named = []
    yield from (digest for digest in named if isinstance(digest, str))
