"""A reader for work that goes through many entries: it asks for a thousand at once and remembers.

It answers what a plain reader answers. What it was not told to expect it asks for like any other.
What it remembers is bounded, so that a long ledger needs no more memory than a short one.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator, Sequence
from itertools import chain
from typing import Any, TypeVar

from ledger.journal.listing import (
    entries_of,
    newest_judgements,
    said_by_entry,
    site_forms_of,
    widest_judgement,
)
from ledger.journal.read import EVER, Reader
from ledger.values.sealed import Head, Sealed

T = TypeVar("T")

SITES, JUDGEMENTS, BLOBS, MADE = 10_000, 8, 4, 50_000
"""How much is remembered: sites with all that ever happened there, judgements (each may be of
thousands of entries), kept bytes, and values that were made of entries."""


class _Bounded(OrderedDict[Any, Any]):
    """What was learned last; the oldest is forgotten."""

    def __init__(self, most: int) -> None:
        super().__init__()
        self._most = most

    def keep(self, key: Hashable, value: T) -> T:
        self[key] = value
        if len(self) > self._most:
            self.popitem(last=False)
        return value


class ManyReader(Reader):
    """A reader of the same moment as another, to be told which entries come next."""

    def __init__(self, reader: Reader) -> None:
        super().__init__(reader.connection, reader.name)
        self._head_here = reader.head
        self._span = widest_judgement(reader)
        self._expected: dict[int, Sealed] = {}
        self._judged: dict[int, tuple[Sealed, list[Any]]] = {}
        self._judgements = _Bounded(JUDGEMENTS)
        self._sites = _Bounded(SITES)
        self._ever = _Bounded(SITES)
        self._blobs = _Bounded(BLOBS)
        self._made = _Bounded(MADE)

    def expect(self, entries: Sequence[Sealed]) -> None:
        """Ask for what stands beside these current applications and amendments."""
        self._expected = {entry.seq: entry for entry in entries}
        self._judged = dict(self._newest_judgements())
        keys = {entry.body["site"] for entry in entries}
        for key, forms in site_forms_of(self, keys - self._sites.keys()).items():
            self._sites.keep(key, forms)
        for key, there in self._grouped("site", keys - self._ever.keys(), EVER).items():
            self._ever.keep(key, there)

    def _newest_judgements(self) -> Iterator[tuple[int, tuple[Sealed, list[Any]]]]:
        """Yield for each expected entry its newest judgement and what that says of it."""
        wanted: dict[int, list[int]] = {}
        for seq, number in newest_judgements(self, self._expected, self._span or 0).items():
            wanted.setdefault(number, []).append(seq)
        known = {
            number: self._judgements[number] for number in wanted.keys() & self._judgements.keys()
        }
        fresh = (
            (entry.seq, self._judgements.keep(entry.seq, (entry, said_by_entry(entry))))
            for entry in entries_of(self, wanted.keys() - known.keys())
        )
        for number, (judgement, said) in chain(known.items(), fresh):
            for seq in wanted[number]:
                yield seq, (judgement, said.get(seq, []))

    # ------------------------------------------------------------------ as a reader answers

    @property
    def head(self) -> Head:
        """The newest entry of this moment."""
        return self._head_here

    def newest_judgement(self, seq: int) -> tuple[Sealed, list[Any]] | None:
        """Return the newest judgement of an entry, and what it says of that entry."""
        if seq not in self._expected:
            return super().newest_judgement(seq)
        return self._judged.get(seq)

    def versions(self, seq: int) -> tuple[Sealed, ...]:
        """Return every version of a record, oldest first."""
        entry = self._expected.get(seq)
        if entry is None:
            return super().versions(seq)
        found = [entry]
        while (before := found[0].replaces) is not None:
            found.insert(0, self.entry(before))
        return tuple(found)

    def ever_at_site(self, site: str) -> tuple[Sealed, ...]:
        """Return all applications and amendments at a site, and what struck any, in order."""
        if site not in self._ever:
            return super().ever_at_site(site)
        there: tuple[Sealed, ...] = self._ever[site]
        return there

    def site(self, key: str) -> Sealed | None:
        """Return the newest entry of a site, None for an unknown key."""
        forms = self.site_forms(key)
        return forms[-1] if forms else None

    def site_forms(self, key: str) -> tuple[Sealed, ...]:
        """Return every entry of a site, oldest first."""
        if key not in self._sites:
            return super().site_forms(key)
        forms: tuple[Sealed, ...] = self._sites[key]
        return forms

    def blob(self, digest: str) -> bytes | None:
        """Return kept bytes by their SHA-256, None if they are not here."""
        if digest not in self._blobs:
            self._blobs.keep(digest, super().blob(digest))
        found: bytes | None = self._blobs[digest]
        return found

    def recall(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return what was made under this key before, or make it."""
        if key not in self._made:
            self._made.keep(key, make())
        found: T = self._made[key]
        return found
