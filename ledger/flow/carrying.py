"""Years kept elsewhere, carried over: counted in limits and reports, never late, never judged.

Only days before the ledger began can be carried over; what happened since is recorded. A line
that cannot be read is left out and named with its faults: once the sheet is put right and handed
in again, only what was left out is added.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

from ledger.flow.booking import sheet_entry, understand, use_entry
from ledger.flow.disposals import disposed_before
from ledger.flow.judging import earliest, rejudge
from ledger.flow.lines import Line, content_of
from ledger.flow.observing import observation_entries
from ledger.flow.places import SiteBook, site_entry
from ledger.flow.workspace import Workspace, seal_rules
from ledger.intake import read_sheet
from ledger.journal import Reader, Writer
from ledger.values.draft import Sheet
from ledger.values.finding import Fault
from ledger.values.sealed import EntryKind

CARRIED = "carried"
"""The key of a body that says: kept elsewhere at the time, carried over since."""


@dataclass(frozen=True)
class CarriedOver:
    """What became of a sheet of past years. With ``faults`` the whole sheet was refused.

    ``seqs`` are the entries made, ``taken`` how many lines were carried over before, ``left``
    the lines left out with their faults.
    """

    sheet: Sheet
    seqs: tuple[int, ...] = ()
    taken: int = 0
    left: tuple[Line, ...] = ()
    observations: int = 0
    judged_again: int = 0
    faults: tuple[Fault, ...] = ()


def began_on(workspace: Workspace, reader: Reader) -> date:
    """Return the day at the firm's home on which the ledger was made."""
    moment = datetime.fromisoformat(reader.entry(1).at)
    return moment.astimezone(ZoneInfo(workspace.book.firm.time_zone)).date()


def carry_over(workspace: Workspace, name: str, data: bytes, by: str) -> CarriedOver:
    """Seal the lines of a sheet of past years as carried over."""
    sheet = read_sheet(name, data, workspace.book.firm.month_first)
    if sheet.faults:
        return CarriedOver(sheet, faults=sheet.faults)
    with workspace.store.writing() as writer:
        if faults := disposed_before(writer, sheet):
            return CarriedOver(sheet, faults=faults)
        sites = SiteBook(writer)
        start = began_on(workspace, writer)
        lines = [_dated(line, start) for line in understand(workspace, writer, sites, sheet)]
        wanted = [line for line in lines if line.state == "booked"]
        left = tuple(line for line in lines if line.state == "held")
        taken = sum(line.state == "taken" for line in lines)
        observations = observation_entries(writer, sheet, sites, workspace)
        if not wanted and not observations:
            return CarriedOver(sheet, (), taken, left)
        seal_rules(writer, workspace.book)
        content = content_of([line.normalised for line in lines])
        writer.append(
            sheet_entry(writer, (sheet, len(sheet.drafts)), data, content, ("carried over", by))
        )
        for site in sites.pending:
            writer.append(site_entry(site, by=by))
        sites.pending.clear()
        first_new = writer.head.seq + 1
        seqs = tuple(_append(writer, sheet, line, by) for line in wanted)
        for entry in observations:
            writer.append(replace(entry, by=by))
        days = earliest(line.use for line in wanted if line.use is not None)
        touched = sites.with_questions(days)
        because = "years kept elsewhere were carried over"
        again = rejudge(workspace, writer, touched, first_new, because)
    return CarriedOver(sheet, seqs, taken, left, len(observations), again)


def _dated(line: Line, start: date) -> Line:
    """Return the line, left out where its day is one that the ledger itself was kept."""
    if line.state != "booked" or line.use is None or line.use.date < start:
        return line
    fault = Fault(
        "CARRY-DAY", line.draft.at("date"),
        f"{line.use.date} is not before {start}, the day on which this ledger began",
        "record it: useledger record SHEET",
    )  # fmt: skip
    return replace(line, state="held", faults=(*line.faults, fault))


def _append(writer: Writer, sheet: Sheet, line: Line, by: str) -> int:
    entry = use_entry(EntryKind.APPLICATION, line, sheet.digest, None)
    body = {**entry.body, CARRIED: 1}
    return writer.append(replace(entry, body=body, by=by)).seq
