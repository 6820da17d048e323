"""The quick proof: a stretch of entries is as it was sealed, or this does not say.

It recomputes the same things as the walk that explains (``walk.py``): seal, canonical form, chain,
every column, private texts, places, the leaves of the tree. But it makes no value for an entry,
asks the database for whole stretches at once, and stops at the first thing that is not as usual. It
finds no fault: whatever it does not call the same is walked through again.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from ledger.journal.columns import COLUMNS, columns_of, place_of
from ledger.merkle import Blocks
from ledger.seal import FORM, SALT_BYTES, read_line
from ledger.values.sealed import EntryKind

if TYPE_CHECKING:
    from ledger.journal.link import Link

_SEAL, _TEXT = COLUMNS.index("seal"), COLUMNS.index("text")
_PRIVATE = ("seq", "salt", "text")
_PLACE = ("seq", "site", "zip")

Row = tuple[Any, ...]


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
    prev: str
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
    low = first if first > 1 else -(2**63)
    try:
        rows = _rows(connection, "journal", COLUMNS, (low, last))
        privates = {
            seq: (bytes(salt), text)
            for seq, salt, text in _rows(
                connection, "private", ("seq", "salt", "text"), (low, last)
            )
        }
        places = {row[0]: row for row in _rows(connection, "place", _PLACE, (low, last))}
        if len(rows) != last - first + 1 or rows[0][0] != first:
            return None
        return _Proof(ask, privates, places).of(rows)
    except connection.dialect.loaded_dbapi.Error:
        return None
    except (_NotTheSame, ValueError, TypeError, LookupError, AttributeError, RecursionError):
        return None


def _rows(
    connection: Link, table: str, columns: tuple[str, ...], between: tuple[int, int]
) -> list[Row]:
    """Return the rows of a stretch as the driver gives them, plain tuples."""
    cursor = connection.connection.cursor()
    try:
        cursor.execute(
            f"SELECT {', '.join(columns)} FROM {table}"  # noqa: S608 - our own names and numbers
            f" WHERE seq BETWEEN {between[0]:d} AND {between[1]:d} ORDER BY seq"
        )
        return cursor.fetchall()  # type: ignore[return-value] # the driver's tuples
    finally:
        cursor.close()


class _Proof:
    """The proof of one stretch."""

    def __init__(
        self, ask: Ask, privates: dict[int, tuple[bytes, str]], places: dict[int, Row]
    ) -> None:
        self._ask = ask
        self._privates = privates
        self._places = places

    def of(self, rows: list[Row]) -> Stretch:
        """Return what the rows come to; raise where one is not as usual."""
        prev = rows[0][COLUMNS.index("prev")]
        done = Stretch(rows[0][0], rows[-1][0], prev)
        tree = Blocks(done.first - 1)
        places = 0
        for row in rows:
            text, seal = row[_TEXT], row[_SEAL]
            data = text.encode()
            line = read_line(text, data)
            if sha256(data).hexdigest() != seal or line["form"] != FORM:
                raise _NotTheSame
            seq, at, kind = line["seq"], line["at"], line["kind"]
            if columns_of(line, seal, text) != row or line["prev"] != prev:
                raise _NotTheSame
            if line["ledger"] != (done.ledger or line["ledger"]) or (kind == _FIRST) != (seq == 1):
                raise _NotTheSame
            done.ledger = line["ledger"]
            private = self._private(seq, line["private"], done)
            if kind == EntryKind.SITE:
                if place_of(line, private) != self._places.get(seq):
                    raise _NotTheSame
                places += seq in self._places
            elif kind in _TELLING or line["replaces"] is not None:
                _note(line, done, tree)
            if self._ask.kept and seal[:32] in self._ask.kept:
                done.seen.append((seq, seal, at))
            tree.add_leaf(sha256(b"\x00" + data).digest())
            prev = seal
        if places != len(self._places):
            raise _NotTheSame
        done.seal, done.at, done.blocks = prev, at, tree.blocks
        return done

    def _private(self, seq: int, digest: str | None, done: Stretch) -> str | None:
        """Return the private text of an entry after proving it; count it."""
        there = self._privates.get(seq)
        if digest is None:
            if there is not None:
                raise _NotTheSame
            return None
        if there is None:
            if seq not in self._ask.gone:
                raise _NotTheSame
            done.disposed += 1
            return None
        salt, text = there
        if seq in self._ask.gone or len(salt) != SALT_BYTES:
            raise _NotTheSame
        if sha256(salt + text.encode()).hexdigest() != digest:
            raise _NotTheSame
        done.privates += 1
        return text


_FIRST = str(EntryKind.LEDGER)
_CLOSE = str(EntryKind.CLOSE)
_TELLING = frozenset(
    str(kind)
    for kind in (
        EntryKind.SHEET, EntryKind.ATTACHMENT, EntryKind.RULES, EntryKind.FILING, EntryKind.AUDIT,
        EntryKind.CLOSE,
    )
)  # fmt: skip
"""The kinds that name kept bytes or seal a root."""


def _note(line: dict[str, Any], done: Stretch, tree: Blocks) -> None:
    """Note what is to be compared with entries outside of the stretch."""
    seq, body, replaces = line["seq"], line["body"], line["replaces"]
    if replaces is not None:
        done.replaced.append((replaces, seq))
    done.wanted += ((digest, seq) for digest in digests_in(line["kind"], body))
    if line["kind"] == _CLOSE:
        sealed = {name: body.get(name) for name in ("size", "root", "peaks")}
        done.closes.append((seq, sealed, tree.blocks))


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
