"""The walk through the journal that explains: every entry by itself, every fault at its place.

It is the judge of what is wrong. The quick proof (``quick.py``) may only say that a stretch of
entries is as it was sealed; whatever it does not say is looked at here again.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from ledger.journal import guard
from ledger.journal.columns import COLUMNS, columns_of, place_of
from ledger.journal.quick import Stretch, digests_in
from ledger.journal.read import Reader
from ledger.merkle import Tree
from ledger.seal import encode, read_seal, salted, seal_of
from ledger.values.finding import Fault
from ledger.values.origin import Origin
from ledger.values.sealed import EntryKind

_SEQ, _SEAL, _TEXT = (COLUMNS.index(name) for name in ("seq", "seal", "text"))


@dataclass(frozen=True, slots=True)
class Witness:
    """A kept seal that is here: as it was given, the entry it seals and when that was sealed."""

    given: str
    seq: int
    at: str


@dataclass(frozen=True, slots=True)
class Mark:
    """How far a ledger was proved: everything up to entry ``seq``, which has this ``seal``.

    ``peaks`` are those of the Merkle tree over these entries, from which the proof goes on. ``at``
    is when all was last proved from the beginning (UTC).
    """

    ledger: str
    seq: int
    seal: str
    peaks: tuple[str, ...]
    at: str = ""

    def tree(self) -> Tree:
        """Return the tree over the marked entries; ValueError where the peaks do not fit."""
        return Tree(self.seq, self.peaks)


RESTORE = "keep this file as it is, restore the newest backup that verifies, and compare the two"


class Walk:
    """The state of one walk through the journal, entry by entry or by whole proved stretches."""

    def __init__(self, reader: Reader, since: Mark | None = None) -> None:
        self._reader = reader
        self.problems: list[Fault] = []
        self.witnesses: list[Witness] = []
        self.since = since.seq if since else 0
        self.expected = self.since + 1
        self.prev = since.seal if since else ""
        self.checked = self.privates = self.closes = 0
        self.tree = since.tree() if since else Tree()
        self.ledger = since.ledger if since else ""
        self._replaced: dict[int, int] = {}
        self._wanted: dict[str, int] = {}
        self._earlier: list[tuple[int, int, dict[str, Any]]] = []
        self._here: tuple[int, str, str] = (0, "", "")
        self._orphans: list[int] = []
        self.disposed = 0
        self.gone: dict[int | str, int] = {}

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
                    self.gone.setdefault(item, seq)

    def prove_mark(self, since: Mark, kept: dict[str, list[str]]) -> None:
        """Prove that the marked entry is here as it was when everything up to it was proved."""
        try:
            entry = self._reader.entry(since.seq)
        except (KeyError, ValueError):
            entry = None
        here = entry is not None and entry.seal == since.seal and (
            seal_of(entry.text.encode("utf-8", "surrogatepass")) == since.seal
        )  # fmt: skip
        if entry is None or not here or self._reader.ledger_id != since.ledger:
            what = f"entry {since.seq} is not the one that was proved before"
            way_out = "prove the whole ledger: `useledger verify` without --since"
            self.problems.append(self.fault("VERIFY-SINCE", since.seq, what, way_out))
        else:
            self._here = (since.seq, since.seal, entry.at)
            self.witness(kept)

    # ------------------------------------------------------------------ whole stretches

    def join(self, stretch: Stretch | None, kept: dict[str, list[str]]) -> bool:
        """Take a proved stretch on; False where it does not follow, so that it is walked through.

        Nothing is taken on then.
        """
        if stretch is None or self.tree.size != stretch.first - 1:
            return False
        if (self.expected, self.prev) != (stretch.first, stretch.prev):
            return False
        if self.ledger not in {"", stretch.ledger}:
            return False
        replaced = dict(stretch.replaced)
        if len(replaced) < len(stretch.replaced) or not self._replaced.keys().isdisjoint(replaced):
            return False
        self._replaced |= replaced
        for digest, seq in stretch.wanted:
            self._wanted.setdefault(digest, seq)
        for seq, body, blocks in stretch.closes:
            tree = self.tree.copy()
            tree.add_blocks(blocks)
            self.closes += 1
            self._prove_close(seq, body, tree)
        self.tree.add_blocks(stretch.blocks)
        for seq, seal, at in stretch.seen:
            self._here = (seq, seal, at)
            self.witness(kept)
        self.ledger, self.prev, self.expected = stretch.ledger, stretch.seal, stretch.last + 1
        self.checked += stretch.last - stretch.first + 1
        self.privates += stretch.privates
        self.disposed += stretch.disposed
        return True

    # ------------------------------------------------------------------ entry by entry

    def walk(self, first: int | None, last: int | None, kept: dict[str, list[str]]) -> None:
        """Prove the entries of a stretch one by one; None leaves an end open."""
        places = self._reader.places(first, last)
        for row, salt, text in self._reader.rows(first, last):
            self.prove(row, (salt, text), places)
            self.witness(kept)
        self._orphans += places

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
        self.tree.add(data)
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
        self.ledger = self.ledger or line["ledger"]
        if line["ledger"] != self.ledger:
            self._say("VERIFY-LEDGER", seq, f"entry {seq} is of another ledger")
        if (line["kind"] == EntryKind.LEDGER) != (seq == 1):
            self._say("VERIFY-LEDGER", seq, "a ledger begins with one entry that names the firm")
        replaces = line["replaces"]
        if replaces is not None:
            before = self._replaced.setdefault(replaces, seq)
            if before != seq:
                self._say("VERIFY-FORK", seq, f"entry {replaces} was replaced by {before} already")
        body = line["body"]
        for digest in digests_in(line["kind"], body):
            self._wanted.setdefault(digest, seq)
        if line["kind"] == EntryKind.CLOSE:
            self.closes += 1
            self._prove_close(seq, body, self.tree)

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
        elif seq in self.gone and text is None:
            self.disposed += 1
        elif salt is None or text is None:
            what = f"the private text of entry {seq} is missing and no disposal accounts for it"
            self._say("VERIFY-PRIVATE", seq, what)
        else:
            self.privates += 1
            if seq in self.gone:
                what = f"entry {self.gone[seq]} disposed of the text of entry {seq}; it is here"
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
        if self.since:
            what = f'no entry after {self.since} has the kept seal "{code.strip()}"'
            way_out = "older entries were not read: `useledger verify` without --since looks at all"
            return self.fault("VERIFY-WITNESS", None, what, way_out)
        return self.fault(
            "VERIFY-WITNESS", None,
            f'no entry has the kept seal "{code.strip()}": the ledger was cut off before it or '
            "rewritten since, or the seal is of another ledger",
            "compare the paper with the date and number beside the seal; restore the backup that "
            "has this seal",
        )  # fmt: skip

    def finish(self) -> None:
        """Prove what needs the whole walk: closes over earlier sizes, rows that nobody owns."""
        for seq in sorted(self._orphans):
            self._say("VERIFY-PLACE", seq, "a place is kept for an entry that is not there")
        tree = Tree()
        texts = self._reader.texts_since(0) if self._earlier else iter(())
        for size, seq, body in sorted(self._earlier, key=lambda item: item[:2]):
            while tree.size < size and (text := next(texts, None)) is not None:
                tree.add(text)
            self._compare_root(seq, body, tree)
        if self.since:
            for seq, before in self._reader.replaced_before(self._replaced, self.since):
                later = self._replaced[seq]
                self._say("VERIFY-FORK", later, f"entry {seq} was replaced by {before} already")

    def _prove_close(self, seq: int, body: dict[str, Any], tree: Tree) -> None:
        """Prove a close's root: of all before it at once, of fewer when the walk is over."""
        size = body.get("size")
        if not isinstance(size, int) or not 0 <= size <= tree.size:
            self._say("VERIFY-CLOSE", seq, f"the close {seq} seals {size} entries, not all here")
        elif size == tree.size:
            self._compare_root(seq, body, tree)
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
        blobs = self._reader.blobs_of(missing) if self.since else self._reader.blobs()
        for digest, kind, data in blobs:
            count += 1
            seq = missing.pop(digest, None)
            if hashlib.sha256(data).hexdigest() != digest:
                what = f"the kept {kind} {digest[:16]} was changed"
                self.problems.append(self.fault("VERIFY-BLOB", self._wanted.get(digest, seq), what))
        self.disposed += sum(digest in self.gone for digest in missing)
        missing = {digest: seq for digest, seq in missing.items() if digest not in self.gone}
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
        for said in guard.structure_of(self._reader.connection):
            yield self.fault("VERIFY-DAMAGED", None, f"the database file: {said}")


def _line_of(text: str) -> dict[str, Any] | None:
    try:
        line = json.loads(text)
    except (ValueError, RecursionError):
        return None
    return line if isinstance(line, dict) else None


def _is_canonical(line: dict[str, Any], data: bytes) -> bool:
    try:
        return encode(line) == data and isinstance(line["body"], dict)
    except ValueError:
        return False
