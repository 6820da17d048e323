"""Sheets handed in: read and booked whole, or, where they are long, batch by batch.

A sheet up to ``BATCH`` lines is one transaction. A longer one is an import run: sealed as started,
booked in batches that each stand for themselves, sealed as finished. Handing the same sheet in
again continues a run that was interrupted.
"""

from __future__ import annotations

from collections import Counter

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
from ledger.flow.lines import content_of, known_of, same_sheets, sort_out
from ledger.flow.observing import observation_entries
from ledger.flow.places import SiteBook
from ledger.flow.workspace import Workspace
from ledger.intake import read_sheet
from ledger.journal import Reader
from ledger.values.draft import Sheet
from ledger.values.progress import Progress
from ledger.values.sealed import EntryKind

BATCH = 5000
"""Lines of one transaction; a longer sheet is an import run of several."""


def check_sheet(workspace: Workspace, name: str, data: bytes) -> Recorded:
    """Read and judge one sheet as ``record`` would, and book nothing."""
    sheet = read_sheet(name, data, workspace.book.firm.month_first)
    if sheet.faults:
        return Recorded(sheet, faults=sheet.faults, sealed=False)
    with workspace.store.reading() as reader:
        sites = SiteBook(reader)
        lines = understand(workspace, reader, sites, sheet)
        new = len(observation_entries(reader, sheet, sites, workspace))
        found = judge_lines(workspace, sites, lines, uses_before(reader, lines))
        outcomes = tuple(
            Outcome(line, line.same_as, found.get(index, ())) for index, line in enumerate(lines)
        )
    return Recorded(sheet, outcomes, new, len(sheet.observations) - new, sealed=False)


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
    sheet = read_sheet(name, data, workspace.book.firm.month_first)
    if sheet.faults:
        return Recorded(sheet, faults=sheet.faults, sealed=False)
    if len(sheet.drafts) > BATCH:
        return record_in_batches(workspace, sheet, data, by, progress)
    with workspace.store.writing() as writer:
        sites = SiteBook(writer)
        lines = understand(workspace, writer, sites, sheet)
        content = content_of([line.normalised for line in lines])
        writer.append(sheet_entry(writer, sheet, data, content, "whole", by))
        return book_lines(workspace, writer, sites, sheet, (lines, by))


def record_in_batches(
    workspace: Workspace, sheet: Sheet, data: bytes, by: str, progress: Progress | None
) -> Recorded:
    """Book a long sheet; what is booked before an interruption stays, the rest follows later.

    The whole sheet is read and sorted out first, so that copies and questions are settled
    against the sheet as a whole; each batch is then judged and sealed by itself.
    """
    with workspace.store.reading() as reader:
        normalised = normalise_all(workspace, SiteBook(reader), sheet.drafts)
        content = content_of(normalised)
    with workspace.store.writing() as writer:
        if sheet.digest not in open_runs(writer):
            writer.append(sheet_entry(writer, sheet, data, content, "started", by))
    outcomes: list[Outcome] = []
    copies: Counter[str] = Counter()
    observations = taken = again = 0
    for start in range(0, len(sheet.drafts), BATCH):
        part = sheet.drafts[start : start + BATCH]
        last = start + BATCH >= len(sheet.drafts)
        piece = Sheet(sheet.file, sheet.digest, part, sheet.observations if last else ())
        with workspace.store.writing() as writer:
            sites = SiteBook(writer)
            understood = normalise_all(workspace, sites, part)
            known = known_of(writer, understood, same_sheets(writer, sheet.digest, content))
            lines = sort_out(known, understood, workspace.today(), copies)
            done = book_lines(workspace, writer, sites, piece, (lines, by))
            if last:
                writer.append(sheet_entry(writer, sheet, data, content, "finished", by))
        outcomes.extend(done.outcomes)
        observations += done.observations
        taken += done.observations_taken
        again += done.judged_again
        if progress is not None:
            progress(start + len(part), len(sheet.drafts))
    return Recorded(sheet, tuple(outcomes), observations, taken, judged_again=again)


def open_runs(reader: Reader) -> dict[str, str]:
    """Return the import runs that were started and not finished: digest to file name."""
    runs: dict[str, str] = {}
    for entry in reader.entries(kinds=(EntryKind.SHEET,)):
        if entry.body["state"] == "started":
            runs[entry.body["digest"]] = entry.body["name"]
        elif entry.body["state"] == "finished":
            runs.pop(entry.body["digest"], None)
    return runs
