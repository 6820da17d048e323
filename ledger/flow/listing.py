"""Lists of entries as an inspector wants them: each with its site, its state and its findings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ledger.flow.judging import booked, finding_from
from ledger.flow.lines import BOOKED
from ledger.flow.places import site_from
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.journal.listing import (
    entries_by_day,
    entries_of,
    kinds_of_newest,
    newest_judgements,
    sites_of,
    widest_judgement,
)  # fmt: skip
from ledger.values.entry import Application
from ledger.values.finding import Finding
from ledger.values.sealed import EntryKind, Sealed
from ledger.values.site import Site

TOGETHER = 500
"""About how many entries are completed at once: the days of so many, or the day with more."""

KEPT = 20_000
"""How many sites, and how many entries' findings, are remembered before they are let go."""


@dataclass(frozen=True)
class Listed:
    """One entry as an inspector lists it: the record, its site, its state, its findings."""

    sealed: Sealed
    use: Application
    site: Site | None
    state: str
    findings: tuple[Finding, ...]


def stream_entries(
    reader: Reader, filters: Mapping[str, Any], *, versions: bool = False
) -> Iterator[Listed]:
    """Yield the applications that match, in order of their day; with ``versions`` old ones too.

    However many there are, no more than those of some days are in memory.
    """
    around = _Around(reader)
    found = entries_by_day(reader, BOOKED, current_only=not versions, filters=filters)
    for entries in _by_days(found):
        rows = around.complete(entries, current=not versions)
        yield from sorted(
            rows, key=lambda row: (row.use.date, row.use.start is None, row.use.start or 0,
                                   row.sealed.seq)
        )  # fmt: skip


def list_entries(
    workspace: Workspace, filters: Mapping[str, Any], *, versions: bool = False
) -> list[Listed]:
    """Return the applications that match, in order of their day; with ``versions`` old ones too."""
    with workspace.store.reading() as reader:
        return list(stream_entries(reader, filters, versions=versions))


def listed_of(workspace: Workspace, entries: Sequence[Sealed]) -> list[Listed]:
    """Return sealed applications as an inspector lists them, in the order given."""
    with workspace.store.reading() as reader:
        around = _Around(reader)
        return [
            row
            for start in range(0, len(entries), TOGETHER)
            for row in around.complete(entries[start : start + TOGETHER], current=False)
        ]


def sites_at(reader: Reader, entries: Iterable[Sealed]) -> dict[str, Site]:
    """Return the sites of these entries by their keys, in their newest form."""
    found = sites_of(reader, {entry.body["site"] for entry in entries})
    return {key: site_from(sealed) for key, sealed in found.items()}


def _by_days(entries: Iterable[Sealed]) -> Iterator[list[Sealed]]:
    """Yield whole days of entries, short ones together."""
    together: list[Sealed] = []
    for entry in entries:
        new_day = together and entry.body["date"] != together[-1].body["date"]
        if new_day and len(together) >= TOGETHER:
            yield together
            together = []
        together.append(entry)
    if together:
        yield together


class _Around:
    """What stands beside entries, asked for many at once and remembered for a while."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self._span = widest_judgement(reader)
        self._sites: dict[str, Site] = {}
        self._judged: dict[int, dict[int, list[Any]]] = {}

    def complete(self, entries: Sequence[Sealed], *, current: bool) -> list[Listed]:
        """Return the entries with all that is listed; ``current`` ones were replaced by nothing."""
        seqs = [entry.seq for entry in entries]
        newest = {} if current else kinds_of_newest(self._reader, seqs)
        judged_by = newest_judgements(self._reader, seqs, self._span)
        self._read_judgements(set(judged_by.values()))
        self._read_sites({entry.body["site"] for entry in entries})
        rows = []
        for entry in entries:
            use = booked(entry).use
            found = self._judged[judged_by[entry.seq]] if entry.seq in judged_by else {}
            findings = tuple(finding_from(body) for body in found.get(entry.seq, ()))
            state = _state(newest.get(entry.seq))
            rows.append(Listed(entry, use, self._sites.get(use.site), state, findings))
        return rows

    def _read_sites(self, keys: set[str]) -> None:
        if len(self._sites) > KEPT:
            self._sites.clear()
        for key, sealed in sites_of(self._reader, keys - self._sites.keys()).items():
            self._sites[key] = site_from(sealed)

    def _read_judgements(self, seqs: set[int]) -> None:
        if sum(map(len, self._judged.values())) > KEPT:
            self._judged = {seq: found for seq, found in self._judged.items() if seq in seqs}
        for judgement in entries_of(self._reader, seqs - self._judged.keys()):
            self._judged[judgement.seq] = {
                item["seq"]: item["findings"] for item in judgement.body["findings"]
            }


def _state(newest: EntryKind | None) -> str:
    if newest is None:
        return "current"
    return "struck" if newest is EntryKind.STRIKE else "amended"
