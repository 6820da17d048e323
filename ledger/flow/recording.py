"""Sheets handed in: read and booked whole, or, where they are long, batch by batch.

A sheet up to ``BATCH`` lines is one transaction. A longer one is an import run: sealed as started,
booked in batches that each stand for themselves, sealed as finished. Handing the same sheet in
again continues a run that was interrupted.
"""

from __future__ import annotations

import gc
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import islice

from ledger.flow.booking import (
    Outcome,
    Recorded,
    book_lines,
    judge_lines,
    normalise_all,
    sheet_entry,
    understand,
    uses_before,
)  # fmt: skip
from ledger.flow.disposals import disposed_before
from ledger.flow.file_names import file_of
from ledger.flow.lines import (
    content_of,
    content_of_identities,
    known_of,
    same_sheets,
    sort_out,
)
from ledger.flow.observing import observation_entries
from ledger.flow.places import SiteBook
from ledger.flow.workspace import Workspace, fresh_salt
from ledger.intake import OpenSheet, open_sheet
from ledger.journal import Reader
from ledger.normalise.line import Normalised
from ledger.values.draft import Draft, Sheet
from ledger.values.progress import Progress
from ledger.values.sealed import EntryKind

BATCH = 5000
"""Lines of one transaction; a longer sheet is an import run of several."""


def check_sheet(
    workspace: Workspace, name: str, data: bytes, progress: Progress | None = None
) -> Recorded:
    """Read and judge one sheet as ``record`` would, and book nothing.

    A long one is recorded in a copy of the ledger that is thrown away: so its later lines are
    judged with its earlier ones, and of neither more is kept in memory than ``record`` keeps.
    """
    opened, sheet = _opened(workspace, name, data)
    if sheet.faults:
        return Recorded(sheet, faults=sheet.faults, sealed=False)
    if len(sheet.drafts) > BATCH:
        del sheet
        return _check_in_batches(workspace, opened, data, progress)
    with workspace.store.reading() as reader:
        if faults := disposed_before(reader, sheet):
            return Recorded(sheet, faults=faults, sealed=False)
        sites = SiteBook(reader)
        lines = understand(workspace, reader, sites, sheet)
        new = len(observation_entries(reader, sheet, sites, workspace))
        found = judge_lines(workspace, sites, lines, uses_before(reader, lines))
        outcomes = tuple(
            Outcome(line, line.same_as, found.get(index, ())) for index, line in enumerate(lines)
        )
    return Recorded(sheet, outcomes, new, len(sheet.observations) - new, sealed=False)


def _opened(workspace: Workspace, name: str, data: bytes) -> tuple[OpenSheet, Sheet]:
    """Return a sheet opened, and read as far as one transaction goes; a line more says it is long.

    Of a sheet with faults no line is read.
    """
    opened = open_sheet(name, data, workspace.book.firm.month_first)
    drafts = () if opened.faults else tuple(islice(opened.drafts(), BATCH + 1))
    seen, wrong, said = opened.observations, opened.faults, opened.remarks
    return opened, Sheet(name, opened.digest, drafts, seen, wrong, said)


def _check_in_batches(
    workspace: Workspace, opened: OpenSheet, data: bytes, progress: Progress | None
) -> Recorded:
    """Record a long sheet in a copy of the ledger; entries that only the copy has are not told."""
    # Loaded only here, so that booking one line starts fast.
    from ledger.journal.scratch import scratch_copy  # noqa: PLC0415

    with workspace.store.reading() as reader:
        newest = reader.head.seq
    with scratch_copy(workspace.store, clock=workspace.clock, salts=fresh_salt) as store:
        tried = replace(workspace, store=store)
        done = record_in_batches(tried, opened, data, "", progress)
    outcomes = tuple(
        item if item.seq is None or item.seq <= newest else replace(item, seq=None)
        for item in done.outcomes
    )
    return replace(done, outcomes=outcomes, sealed=False)


def record_sheet(
    workspace: Workspace,
    name: str,
    data: bytes,
    by: str = "",
    progress: Progress | None = None,
) -> Recorded:
    """Book one sheet: every line becomes an entry, a held line, or was taken before.

    ``progress`` is told after each batch of a long sheet how many lines are done.
    """
    opened, sheet = _opened(workspace, name, data)
    if sheet.faults:
        return Recorded(sheet, faults=sheet.faults, sealed=False)
    if len(sheet.drafts) > BATCH:
        del sheet
        return record_in_batches(workspace, opened, data, by, progress)
    with workspace.store.writing() as writer:
        if faults := disposed_before(writer, sheet):
            return Recorded(sheet, faults=faults, sealed=False)
        sites = SiteBook(writer)
        lines = understand(workspace, writer, sites, sheet)
        content = content_of([line.normalised for line in lines])
        writer.append(sheet_entry(writer, (sheet, len(sheet.drafts)), data, content, ("whole", by)))
        return book_lines(workspace, writer, sites, sheet, (lines, by))


def record_in_batches(
    workspace: Workspace, opened: OpenSheet, data: bytes, by: str, progress: Progress | None
) -> Recorded:
    """Book a long sheet; what is booked before an interruption stays, the rest follows later.

    It is read line by line and never held whole: each batch is sorted out, judged and sealed by
    itself, and of its lines only those are told that were held or found wanting.
    """
    total = opened.count()
    sheet = Sheet(opened.file, opened.digest, (), opened.observations, (), opened.remarks)
    content = _content_if_it_came_before(workspace, opened, total)
    with workspace.store.writing() as writer:
        if faults := disposed_before(writer, sheet):
            return Recorded(sheet, faults=faults, sealed=False)
        if sheet.digest not in open_runs(writer):
            said = sheet_entry(writer, (sheet, total), data, content, ("started", by))
            writer.append(said)
    run, drafts = Run(content), opened.drafts()
    sites: SiteBook | None = None
    head = 0
    for part in _batches(drafts):
        run.done += len(part)
        last = run.done >= total
        piece = replace(sheet, drafts=part, observations=sheet.observations if last else ())
        with collector_at_rest(), workspace.store.writing() as writer:
            if sites is None or writer.head.seq != head:  # somebody else has written, too
                sites = SiteBook(writer)
            sites.read_with(writer)
            understood = normalise_all(workspace, sites, part)
            same = same_sheets(writer, sheet.digest, content)
            known = known_of(writer, understood, same)
            lines = sort_out(known, understood, workspace.today(), run.copies)
            done = book_lines(workspace, writer, sites, piece, (lines, by))
            run.take(understood, done)
            if last:
                writer.append(
                    sheet_entry(writer, (sheet, total), data, run.content(), ("finished", by))
                )
            head = writer.head.seq
        if progress is not None:
            progress(run.done, total)
    return run.recorded(sheet)


def _batches(drafts: Iterator[Draft]) -> Iterator[tuple[Draft, ...]]:
    while True:
        with collector_at_rest():
            part = tuple(islice(drafts, BATCH))
        if not part:
            return
        yield part


@contextmanager
def collector_at_rest() -> Iterator[None]:
    """Keep Python from looking for cycles while a batch is in memory: there are none worth it.

    It would go through the batch's values again and again, for a sixth of the whole time.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


@dataclass
class Run:
    """What is known of a long sheet while it is booked.

    ``copies`` counts equal lines, ``identities`` holds 16 bytes of each line for the digest of
    the whole, where that was not worked out before.
    """

    before: str
    done: int = 0
    copies: Counter[str] = field(default_factory=Counter)
    identities: bytearray = field(default_factory=bytearray)
    outcomes: list[Outcome] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    observations: int = 0
    observations_taken: int = 0
    judged_again: int = 0

    def take(self, understood: Iterable[Normalised], done: Recorded) -> None:
        """Add a batch: its lines' identities, what is worth telling of it, and its counts."""
        if not self.before:
            for item in understood:
                self.identities += bytes.fromhex(item.identity)
        self.counts.update(outcome.line.state for outcome in done.outcomes)
        self.outcomes += (item for item in done.outcomes if item.findings or item.line.faults)
        self.observations += done.observations
        self.observations_taken += done.observations_taken
        self.judged_again += done.judged_again

    def content(self) -> str:
        """Return the digest of the whole sheet's lines, in any order."""
        if self.before:
            return self.before
        ids = (self.identities[at : at + 16].hex() for at in range(0, len(self.identities), 16))
        return content_of_identities(ids)

    def recorded(self, sheet: Sheet) -> Recorded:
        """Return what became of the sheet."""
        return Recorded(
            sheet, tuple(self.outcomes), self.observations, self.observations_taken,
            judged_again=self.judged_again, counts=self.counts,
        )  # fmt: skip


def _content_if_it_came_before(workspace: Workspace, opened: OpenSheet, total: int) -> str:
    """Return what would show that this sheet came before, saved otherwise; mostly nothing.

    Only a sheet of as many lines can be the same one, and most long sheets have no such twin;
    then the lines need not be understood twice.
    """
    with workspace.store.reading() as reader:
        sheets = reader.entries(kinds=(EntryKind.SHEET,))
        if not any(
            entry.body["lines"] == total and entry.body["digest"] != opened.digest
            for entry in sheets
        ):
            return ""
        sites, drafts = SiteBook(reader), opened.drafts()
        parts = iter(lambda: tuple(islice(drafts, BATCH)), ())
        return content_of_identities(
            item.identity for part in parts for item in normalise_all(workspace, sites, part)
        )


def open_runs(reader: Reader) -> dict[str, str]:
    """Return the import runs that were started and not finished: digest to file name."""
    runs: dict[str, str] = {}
    for entry in reader.entries(kinds=(EntryKind.SHEET,)):
        if entry.body["state"] == "started":
            runs[entry.body["digest"]] = file_of(entry)
        elif entry.body["state"] == "finished":
            runs.pop(entry.body["digest"], None)
    return runs
