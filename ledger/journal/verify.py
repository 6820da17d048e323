"""Proving the ledger: everything is recomputed from the canonical lines and from nothing else.

What only the ledger itself says cannot show that its tail was cut off or that it was rewritten
as a whole. Seals kept elsewhere (on notices, filed reports, packets) show that: each must be the
seal of an entry here.

Stretches of entries are proved quickly, on several cores if wanted, and joined where they meet.
A stretch that is not whole in every respect is walked through once more, entry by entry.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import repeat

from ledger.journal.crew import Crew, jobs_for
from ledger.journal.link import errors_of, said_by
from ledger.journal.quick import Ask
from ledger.journal.read import Reader
from ledger.journal.walk import Mark, Walk, Witness
from ledger.seal import read_seal
from ledger.values.finding import Fault
from ledger.values.progress import Progress
from ledger.values.sealed import Head

__all__ = ["How", "Mark", "Verification", "Witness", "jobs_for", "verify"]

TOLD_EVERY = 1024
"""Entries in a stretch, and between two words to whoever watches a proof."""


@dataclass(frozen=True, slots=True)
class Verification:
    """What proving found.

    ``checked`` entries, ``privates`` private texts, ``blobs`` kept files and ``closes`` were
    recomputed. ``witnesses`` are the kept seals that were found, oldest first; what lies after
    the newest is vouched for by the ledger alone. ``disposed`` texts and files are gone by a sealed
    disposal; gone without one they are missing. ``since`` is the mark from which a proof went
    on, None when it began at the beginning; ``mark`` is where the next may go on, None where
    something was wrong. ``ok`` needs at least one entry.
    """

    checked: int
    privates: int
    blobs: int
    closes: int
    head: Head
    problems: tuple[Fault, ...]
    witnesses: tuple[Witness, ...] = ()
    disposed: int = 0
    since: Mark | None = None
    mark: Mark | None = None

    @property
    def ok(self) -> bool:
        """Whether everything was as it was sealed."""
        return (self.checked > 0 or self.since is not None) and not self.problems

    @property
    def newest_witness(self) -> Witness | None:
        """The newest kept seal that was found, or None."""
        return self.witnesses[-1] if self.witnesses else None


@dataclass(frozen=True, slots=True)
class How:
    """How to prove: ``jobs`` processes, from which ``since`` on, whether to look at the guard.

    ``quick`` off walks through every entry; it finds the same, and takes longer.
    """

    jobs: int = 1
    since: Mark | None = None
    with_guard: bool = True
    quick: bool = True


def verify(
    reader: Reader,
    codes: Sequence[str] = (),
    how: How | None = None,
    *,
    progress: Progress | None = None,
) -> Verification:
    """Recompute the ledger and look for every kept seal (seal codes or 64 hex digits).

    Problems come in the order of the entries, each with the database as file and the entry's
    number as row. ``progress`` is told every ``TOLD_EVERY`` entries how many are done.

    A proof that goes on from a mark reads what was sealed after it, and the marked entry itself.
    Neither older entries nor the file's own structure are looked at again.
    """
    how = how or How()
    told = progress or (lambda _done, _total: None)
    walk = Walk(reader, how.since)
    kept, unreadable = _read_codes(codes)
    problems = walk.problems
    problems += unreadable
    blobs = 0
    try:
        if how.since is not None:
            walk.prove_mark(how.since, kept)
        walk.read_disposals()
        crew = Crew(reader.connection, Ask(frozenset(walk.gone), frozenset(kept)), how.jobs)
        _prove_entries(walk, reader, crew if how.quick else None, kept, told)
        walk.finish()
        blobs = walk.prove_blobs()
        if how.with_guard:
            problems += walk.guard_faults()
        if how.since is None and not crew.found_sound():
            problems += walk.structure_faults()
    except errors_of(reader.connection) as error:
        blobs = 0
        problems.append(
            walk.fault(
                "VERIFY-DAMAGED", walk.expected - 1,
                f"the database cannot be read beyond entry {walk.expected - 1} ({said_by(error)})",
            )
        )  # fmt: skip
    if not walk.checked and how.since is None:
        problems.append(walk.fault("VERIFY-EMPTY", None, "there is no entry to prove"))
    return _conclusion(walk, kept, how, blobs)


def _conclusion(walk: Walk, kept: dict[str, list[str]], how: How, blobs: int) -> Verification:
    """Return what a finished walk found, with the kept seals that no entry has."""
    problems = walk.problems
    found = sorted(walk.witnesses, key=lambda item: item.seq)
    seen = {item.given for item in found}
    for given in kept.values():
        problems += [walk.unseen(code) for code in given if code not in seen]
    head = Head(walk.expected - 1, walk.prev)
    mark = None if problems else Mark(walk.ledger, head.seq, head.seal, walk.tree.peaks)
    return Verification(
        walk.checked, walk.privates, blobs, walk.closes, head,
        tuple(problems), tuple(found), walk.disposed, how.since, mark,
    )  # fmt: skip


def _prove_entries(
    walk: Walk,
    reader: Reader,
    crew: Crew | None,
    kept: dict[str, list[str]],
    progress: Progress,
) -> None:
    """Take every stretch on as proved, or walk through it."""
    total = reader.head.seq
    if reader.count(walk.since) != total - walk.since:  # some are missing, or too many
        walk.walk(walk.since + 1 if walk.since else None, None, kept)
        return
    ranges = list(_ranges(walk.since, total))
    proved = crew.stretches(ranges) if crew is not None else repeat(None)
    for stretch, (first, last) in zip(proved, ranges, strict=False):
        if not walk.join(stretch, kept):
            # Whatever stands before entry 1 or after the last belongs to somebody's attack.
            walk.walk(first if first > 1 else None, last if last < total else None, kept)
        progress(walk.checked, total - walk.since)


def _ranges(after: int, total: int) -> Iterator[tuple[int, int]]:
    """Yield the first and last number of each stretch."""
    first = after + 1
    while first <= total:
        last = min(first + TOLD_EVERY - 1 - (first - 1) % TOLD_EVERY, total)
        yield first, last
        first = last + 1


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
