"""Proving the ledger: everything is recomputed from the canonical lines and from nothing else.

What only the ledger itself says cannot show that its tail was cut off or that it was rewritten
as a whole. Seals kept elsewhere (on notices, filed reports, packets) show that: each must be the
seal of an entry here.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy.exc import DBAPIError

from ledger.journal import guard
from ledger.journal.columns import COLUMNS, columns_of, place_of
from ledger.journal.read import Reader
from ledger.merkle import Tree
from ledger.seal import encode, read_seal, salted, seal_of
from ledger.values.finding import Fault
from ledger.values.origin import Origin
from ledger.values.progress import Progress
from ledger.values.sealed import EntryKind, Head

_SEQ, _SEAL, _TEXT, _PRIVATE = (COLUMNS.index(n) for n in ("seq", "seal", "text", "private"))

TOLD_EVERY = 1000
"""Entries between two words to whoever watches a proof."""

RESTORE = "keep this file as it is, restore the newest backup that verifies, and compare the two"


@dataclass(frozen=True, slots=True)
class Witness:
    """A kept seal that is here: as it was given, the entry it seals and when that was sealed."""

    given: str
    seq: int
    at: str


@dataclass(frozen=True, slots=True)
class Verification:
    """What proving found.

    ``checked`` entries, ``privates`` private texts, ``blobs`` kept files and ``closes`` were
    recomputed. ``witnesses`` are the kept seals that were found, oldest first; what lies after
    the newest is vouched for by the ledger alone. ``disposed`` texts and files are gone by a sealed
    disposal; gone without one they are missing. ``ok`` needs at least one entry.
    """

    checked: int
    privates: int
    blobs: int
    closes: int
    head: Head
    problems: tuple[Fault, ...]
    witnesses: tuple[Witness, ...] = ()
    disposed: int = 0

    @property
    def ok(self) -> bool:
        """Whether everything was as it was sealed."""
        return self.checked > 0 and not self.problems

    @property
    def newest_witness(self) -> Witness | None:
        """The newest kept seal that was found, or None."""
        return self.witnesses[-1] if self.witnesses else None


def verify(
    reader: Reader,
    codes: Sequence[str] = (),
    *,
    with_guard: bool = True,
    progress: Progress | None = None,
) -> Verification:
    """Recompute the whole ledger and look for every kept seal (seal codes or 64 hex digits).

    Problems come in the order of the entries, each with the database as file and the entry's
    number as row. ``progress`` is told every ``TOLD_EVERY`` entries how many are done.
    """
    walk = _Walk(reader)
    total = reader.head.seq
    kept, unreadable = _read_codes(codes)
    problems = walk.problems
    problems += unreadable
    try:
        walk.read_disposals()
        places = reader.places()
        for row, salt, text in reader.rows():
            walk.prove(row, (salt, text), places)
            walk.witness(kept)
            if progress is not None and walk.checked % TOLD_EVERY == 0:
                progress(walk.checked, total)
        walk.finish(places)
        blobs = walk.prove_blobs()
        if with_guard:
            problems += walk.guard_faults()
        problems += walk.structure_faults()
    except DBAPIError as error:
        blobs = 0
        problems.append(
            walk.fault(
                "VERIFY-DAMAGED", walk.expected - 1,
                f"the database cannot be read beyond entry {walk.expected - 1} ({error.orig})",
            )
        )  # fmt: skip
    if not walk.checked:
        problems.append(walk.fault("VERIFY-EMPTY", None, "there is no entry to prove"))
    found = sorted(walk.witnesses, key=lambda item: item.seq)
    seen = {item.given for item in found}
    for given in kept.values():
        problems += [walk.unseen(code) for code in given if code not in seen]
    return Verification(
        walk.checked, walk.privates, blobs, walk.closes, Head(walk.expected - 1, walk.prev),
        tuple(problems), tuple(found), walk.disposed,
    )  # fmt: skip


def _read_codes(codes: Sequence[str]) -> tuple[dict[str, list[str]], list[Fault]]:
    """Return the kept seals by their first 32 hex digits, and what could not be read."""
    kept: dict[str, list[str]] = {}
    faults: list[Fault] = []
    for code in codes:
        reading = read_seal(code)
        faults += reading.faults
        if reading.value is not None:
            kept.setdefault(reading.value[:32], []).append(code)
    return kept, faults


class _Walk:
    """The state of one walk through the journal, entry by entry."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self.problems: list[Fault] = []
        self.witnesses: list[Witness] = []
        self.expected = 1
        self.prev = ""
        self.checked = self.privates = self.closes = 0
        self._tree = Tree()
        self._ledger = ""
        self._replaced: dict[int, int] = {}
        self._wanted: dict[str, int] = {}
        self._earlier: list[tuple[int, int, dict[str, Any]]] = []
        self._here: tuple[int, str, str] = (0, "", "")
        self.disposed = 0
        self._gone: dict[int | str, int] = {}

    def fault(self, code: str, seq: int | None, what: str, way_out: str = RESTORE) -> Fault:
        """Return a fault of this ledger at an entry."""
        return Fault(code, Origin(self._reader.name, seq), what, way_out)

    def _say(self, code: str, seq: int, what: str) -> None:
        self.problems.append(self.fault(code, seq, what))

    def read_disposals(self) -> None:
        """Note what disposals name; the walk proves their lines like any other."""
        for seq, body in self._reader.disposals():
            for named in (body.get("entries"), body.get("blobs")):
                for item in named if isinstance(named, list) else ():
                    self._gone.setdefault(item, seq)

    def prove(
        self,
        row: tuple[Any, ...],
        private: tuple[bytes | None, str | None],
        places: dict[int, tuple[int, str, str]],
    ) -> None:
        """Prove one stored row against its own line and its place in the chain."""
        seq, seal, text = row[_SEQ], row[_SEAL], row[_TEXT]
        data = text.encode("utf-8", "surrogatepass")
        self.checked += 1
        self._prove_order(seq)
        line = _line_of(text)
        self._here = (seq, seal, "")
        if seal_of(data) != seal:
            self._say("VERIFY-CHANGED", seq, f"the line or the seal of entry {seq} was changed")
        if line is None or not _is_canonical(line, data):
            what = f"entry {seq} is not a canonical line of a known form"
            self._say("VERIFY-CHANGED", seq, what)
        else:
            self._here = (seq, seal, line["at"])
            self._prove_line(seq, line)
            self._prove_columns(seq, line, row)
            self._prove_private(seq, line, private)
            if places.get(seq) != place_of(line, private[1]):
                self._say("VERIFY-PLACE", seq, f"the place kept for site entry {seq} differs")
        places.pop(seq, None)
        self._tree.add(data)
        self.prev = seal

    def _prove_order(self, seq: int) -> None:
        if seq != self.expected:
            last = seq - 1
            what = f"entry {last} is" if last == self.expected else (
                f"entries {self.expected} to {last} are"
            )  # fmt: skip
            self._say("VERIFY-MISSING", seq, f"{what} missing before entry {seq}")
            self.prev = "?"  # what stood before is gone: the chain goes on from here
        self.expected = seq + 1

    def _prove_line(self, seq: int, line: dict[str, Any]) -> None:
        if line["seq"] != seq:
            self._say(
                "VERIFY-ORDER", seq, f"the line at place {seq} is of entry {line['seq']}: reordered"
            )
        if self.prev not in {"?", line["prev"]}:
            what = f"entry {seq} does not follow entry {seq - 1}: one of the two was rewritten"
            self._say("VERIFY-CHAIN", seq, what)
        self._ledger = self._ledger or line["ledger"]
        if line["ledger"] != self._ledger:
            self._say("VERIFY-LEDGER", seq, f"entry {seq} is of another ledger")
        if (line["kind"] == EntryKind.LEDGER) != (seq == 1):
            self._say("VERIFY-LEDGER", seq, "a ledger begins with one entry that names the firm")
        replaces = line["replaces"]
        if replaces is not None:
            before = self._replaced.setdefault(replaces, seq)
            if before != seq:
                self._say("VERIFY-FORK", seq, f"entry {replaces} was replaced by {before} already")
        body = line["body"]
        for digest in _digests_in(line["kind"], body):
            self._wanted.setdefault(digest, seq)
        if line["kind"] == EntryKind.CLOSE:
            self.closes += 1
            self._prove_close(seq, body)

    def _prove_columns(self, seq: int, line: dict[str, Any], row: tuple[Any, ...]) -> None:
        wanted = columns_of(line, row[_SEAL], row[_TEXT])
        for name, there, said in zip(COLUMNS, row, wanted, strict=True):
            if there != said and name != "seq":
                what = f"the column {name} of entry {seq} is {there!r} but its line says {said!r}"
                self._say("VERIFY-COLUMN", seq, what)

    def _prove_private(
        self, seq: int, line: dict[str, Any], private: tuple[bytes | None, str | None]
    ) -> None:
        salt, text = private
        if line["private"] is None:
            if text is not None:
                self._say("VERIFY-PRIVATE", seq, f"entry {seq} was sealed without a private text")
        elif seq in self._gone and text is None:
            self.disposed += 1
        elif salt is None or text is None:
            what = f"the private text of entry {seq} is missing and no disposal accounts for it"
            self._say("VERIFY-PRIVATE", seq, what)
        else:
            self.privates += 1
            if seq in self._gone:
                what = f"entry {self._gone[seq]} disposed of the text of entry {seq}; it is here"
                self._say("VERIFY-PRIVATE", seq, what)
            if len(salt) != 16 or salted(text, salt) != line["private"]:
                self._say("VERIFY-PRIVATE", seq, f"the private text of entry {seq} was changed")

    def witness(self, kept: dict[str, list[str]]) -> None:
        """Note the kept seals that are of the entry just proved."""
        seq, seal, at = self._here
        for given in kept.get(seal[:32], ()):
            whole = read_seal(given).value or ""
            if seal.startswith(whole):
                self.witnesses.append(Witness(given, seq, at))

    def unseen(self, code: str) -> Fault:
        """Return the fault of a kept seal that no entry here has."""
        return self.fault(
            "VERIFY-WITNESS", None,
            f'no entry has the kept seal "{code.strip()}": the ledger was cut off before it or '
            "rewritten since, or the seal is of another ledger",
            "compare the paper with the date and number beside the seal; restore the backup that "
            "has this seal",
        )  # fmt: skip

    def finish(self, places: dict[int, tuple[int, str, str]]) -> None:
        """Prove what needs the whole walk: closes over earlier sizes, rows that nobody owns."""
        for seq in sorted(places):
            self._say("VERIFY-PLACE", seq, "a place is kept for an entry that is not there")
        tree = Tree()
        texts = self._reader.texts_since(0)
        for size, seq, body in sorted(self._earlier, key=lambda item: item[:2]):
            while tree.size < size and (text := next(texts, None)) is not None:
                tree.add(text)
            self._compare_root(seq, body, tree)

    def _prove_close(self, seq: int, body: dict[str, Any]) -> None:
        """Prove a close's root: of all before it at once, of fewer when the walk is over."""
        size = body.get("size")
        if not isinstance(size, int) or not 0 <= size <= self._tree.size:
            self._say("VERIFY-CLOSE", seq, f"the close {seq} seals {size} entries, not all here")
        elif size == self._tree.size:
            self._compare_root(seq, body, self._tree)
        else:
            self._earlier.append((size, seq, body))

    def _compare_root(self, seq: int, body: dict[str, Any], tree: Tree) -> None:
        if (tree.root, list(tree.peaks)) != (body.get("root"), body.get("peaks")):
            what = f"the close {seq} seals another root of the first {tree.size} entries"
            self._say("VERIFY-CLOSE", seq, what)

    def prove_blobs(self) -> int:
        """Prove the kept bytes and that what entries name is kept; return how many there are."""
        count = 0
        missing = dict(self._wanted)
        for digest, kind, data in self._reader.blobs():
            count += 1
            seq = missing.pop(digest, None)
            if hashlib.sha256(data).hexdigest() != digest:
                what = f"the kept {kind} {digest[:16]} was changed"
                self.problems.append(self.fault("VERIFY-BLOB", self._wanted.get(digest, seq), what))
        self.disposed += sum(digest in self._gone for digest in missing)
        missing = {digest: seq for digest, seq in missing.items() if digest not in self._gone}
        for digest, seq in sorted(missing.items(), key=lambda item: item[1]):
            what = f"the bytes {digest[:16]} that entry {seq} names are gone"
            self._say("VERIFY-BLOB", seq, what)
        return count

    def guard_faults(self) -> Iterable[Fault]:
        """Return what is wrong with the database's own guard."""
        way_out = "`useledger upgrade` puts it back; ask who works on the database by hand"
        for what in guard.missing(self._reader.connection):
            yield self.fault("VERIFY-GUARD", None, f"the guard is not whole: {what}", way_out)

    def structure_faults(self) -> Iterator[Fault]:
        """Return what SQLite finds wrong with its own file, indexes included."""
        connection = self._reader.connection
        if connection.dialect.name == "sqlite":
            for (said,) in connection.exec_driver_sql("PRAGMA integrity_check(20)").all():
                if said != "ok":
                    yield self.fault("VERIFY-DAMAGED", None, f"the database file: {said}")


def _line_of(text: str) -> dict[str, Any] | None:
    try:
        line = json.loads(text)
    except ValueError:
        return None
    return line if isinstance(line, dict) else None


def _is_canonical(line: dict[str, Any], data: bytes) -> bool:
    try:
        return encode(line) == data and isinstance(line["body"], dict)
    except ValueError:
        return False


def _digests_in(kind: str, body: dict[str, Any]) -> Iterator[str]:
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
