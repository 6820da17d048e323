"""Long lists of entries in the order of their days, read once and never held whole.

What stands beside each entry (its site, its newest judgement, what replaced it) is asked for many
entries at once: a question for each costs more than the entry itself.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import Any, TypeVar

from ledger.journal.filters import Where, both, conditions_of, is_one_of, one_of
from ledger.journal.link import CHUNK
from ledger.journal.read import CURRENT, WIDEST, Reader, asking_entries, sealed_from
from ledger.values.sealed import EntryKind, Sealed

T = TypeVar("T", int, str)


def entries_by_day(
    reader: Reader,
    kinds: Iterable[EntryKind],
    *,
    current_only: bool,
    filters: Mapping[str, str | date | None],
) -> Iterator[Sealed]:
    """Yield the entries that meet all filters by day of work, then number (see ``entries``)."""
    conditions = [
        Where("journal.applied_on IS NOT NULL"), is_one_of(kinds, by_index=False),
        *conditions_of(None, filters),
    ]  # fmt: skip
    if current_only:
        conditions.append(CURRENT)
    asked = asking_entries(conditions, "journal.applied_on, journal.seq")
    for row in reader.stream(*asked):
        yield sealed_from(row)


def numbers_of(
    reader: Reader,
    kinds: Iterable[EntryKind],
    *,
    current_only: bool,
    filters: Mapping[str, str | date | None],
) -> Iterator[tuple[int, str]]:
    """Yield number and site of the entries that ``entries`` would return, in order."""
    conditions = [Where("journal.seq <= ?", (reader.head.seq,)), *conditions_of(kinds, filters)]
    if current_only:
        conditions.append(CURRENT)
    where = both(conditions)
    asked = f"SELECT seq, site FROM journal WHERE {where.text} ORDER BY seq"  # noqa: S608 - our own names
    yield from reader.stream(asked, where.values)  # type: ignore[misc] # rows of these two


def site_forms_of(reader: Reader, keys: Iterable[str]) -> dict[str, tuple[Sealed, ...]]:
    """Return every entry of each of these sites, oldest first; an unknown key is left out."""
    found: dict[str, tuple[Sealed, ...]] = {}
    for some in _chunks(keys):
        those = (one_of("journal.kind", (str(EntryKind.SITE),)), one_of("journal.site", some))
        for row in reader.rows_of(*asking_entries(those)):
            entry = sealed_from(row)
            key = entry.body["site"]
            found[key] = (*found.get(key, ()), entry)
    return found


def sites_of(reader: Reader, keys: Iterable[str]) -> dict[str, Sealed]:
    """Return the newest entry of each of these sites; an unknown key is left out."""
    return {key: forms[-1] for key, forms in site_forms_of(reader, keys).items()}


def kinds_of_newest(reader: Reader, seqs: Iterable[int]) -> dict[int, EntryKind]:
    """Return for each replaced entry of these the kind of its newest version; others left out."""
    newest: dict[int, EntryKind] = {}
    standing = {seq: seq for seq in seqs}  # the newest version known so far -> the entry asked of
    while standing:
        later: dict[int, int] = {}
        for some in _chunks(standing):
            those = one_of("replaces", some)
            asked = f"SELECT replaces, seq, kind FROM journal WHERE {those.text}"  # noqa: S608 - marks
            for before, seq, kind in reader.rows_of(asked, those.values):
                later[seq] = standing[before]
                newest[standing[before]] = EntryKind(kind)
        standing = later
    return newest


def newest_judgements(reader: Reader, seqs: Iterable[int], span: int) -> dict[int, int]:
    """Return the number of the newest judgement that covers each entry; unjudged are left out.

    ``span`` is at least ``widest_judgement``. Only the numbers are read, not what was judged.
    """
    wanted = sorted(seqs)
    found: dict[int, int] = {}
    for run in _runs(wanted, span):
        asked = (
            "SELECT seq, first_seq, last_seq FROM journal"
            " WHERE first_seq BETWEEN ? AND ? AND last_seq >= ? ORDER BY seq"
        )
        for seq, first, last in reader.rows_of(asked, (run[0] - span, run[-1], run[0])):
            for entry in run[bisect_left(run, first) : bisect_right(run, last)]:
                found[entry] = seq
    return found


def widest_judgement(reader: Reader) -> int:
    """Return how many entries lie between the first and the last of the widest judgement."""
    return reader.rows_of(WIDEST)[0][0] or 0


def said_by_entry(judgement: Sealed) -> dict[int, list[Any]]:
    """Return what a judgement says of each entry; of one named twice the first counts."""
    said: dict[int, list[Any]] = {}
    for item in judgement.body["findings"]:
        said.setdefault(item["seq"], item["findings"])
    return said


def entries_of(reader: Reader, seqs: Iterable[int]) -> Iterator[Sealed]:
    """Yield these entries; an unknown number is left out."""
    for some in _chunks(seqs):
        for row in reader.rows_of(*asking_entries([one_of("journal.seq", some)])):
            yield sealed_from(row)


def _chunks(values: Iterable[T]) -> Iterator[list[T]]:
    wanted = sorted(values)
    for start in range(0, len(wanted), CHUNK):
        yield wanted[start : start + CHUNK]


def _runs(seqs: list[int], gap: int) -> Iterator[list[int]]:
    """Yield stretches of sorted numbers without a hole wider than ``gap`` or a thousand."""
    run: list[int] = []
    for seq in seqs:
        if run and seq - run[-1] > max(gap, CHUNK):
            yield run
            run = []
        run.append(seq)
    if run:
        yield run
