"""Lines into entries: normalised, sorted out, judged, appended and sealed, all or nothing."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from ledger.flow.file_names import FILE, named_file
from ledger.flow.judging import (
    REMARK,
    earliest,
    find,
    first_touched,
    judgement_entry,
    rejudge,
    site_uses,
)
from ledger.flow.lines import Line, content_of, known_of, same_sheets, sort_out
from ledger.flow.observing import observation_entries
from ledger.flow.places import SiteBook, site_entry
from ledger.flow.workspace import Workspace, seal_rules
from ledger.journal import Reader, Writer
from ledger.normalise.line import Normalised, normalise_line
from ledger.values.body import application_body
from ledger.values.draft import Draft, Sheet
from ledger.values.entry import Application
from ledger.values.finding import Fault, Finding
from ledger.values.sealed import EntryKind, NewEntry, Sealed


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one line: its fate, its entry if sealed, its findings."""

    line: Line
    seq: int | None = None
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Recorded:
    """What became of one sheet. With ``faults`` the whole sheet was refused.

    Of a long sheet ``outcomes`` are only the lines that were held or have findings; ``counts``
    then says how many lines there are of each state.
    """

    sheet: Sheet
    outcomes: tuple[Outcome, ...] = ()
    observations: int = 0
    observations_taken: int = 0
    faults: tuple[Fault, ...] = ()
    judged_again: int = 0
    sealed: bool = True
    counts: Counter[str] | None = None

    def count(self, state: str) -> int:
        """Return how many lines are in that state."""
        if self.counts is not None:
            return self.counts[state]
        return sum(outcome.line.state == state for outcome in self.outcomes)


def sheet_entry(
    writer: Writer, what: tuple[Sheet, int], data: bytes, content: str, said: tuple[str, str]
) -> NewEntry:
    """Return the entry that says a sheet was received; its bytes are kept beside the chain.

    ``what`` is the sheet and how many lines it has, ``said`` how far it is booked and by whom.
    """
    (sheet, lines), (state, by) = what, said
    digest = writer.keep("sheet", data)
    body = {
        "digest": digest, "bytes": len(data), "state": state,
        "identity": content or None, "lines": lines, "observations": len(sheet.observations),
    }  # fmt: skip
    return NewEntry(EntryKind.SHEET, body, private=named_file(sheet.file), by=by)


def understand(workspace: Workspace, reader: Reader, sites: SiteBook, sheet: Sheet) -> list[Line]:
    """Return every line of the sheet, normalised and sorted out."""
    normalised = normalise_all(workspace, sites, sheet.drafts)
    files = same_sheets(reader, sheet.digest, content_of(normalised))
    return sort_out(known_of(reader, normalised, files), normalised, workspace.today())


def normalise_all(
    workspace: Workspace, sites: SiteBook, drafts: Iterable[Draft]
) -> list[Normalised]:
    """Return each draft as understood by the rulebook in use."""
    book = workspace.book
    lexicon = book.lexicon()
    return [normalise_line(draft, lexicon, book.units, sites.find) for draft in drafts]


def uses_before(reader: Reader, lines: Iterable[Line]) -> dict[str, list[Application]]:
    """Return the current applications at the sites of the lines to be booked, by site."""
    keys = {line.use.site for line in lines if line.state == "booked" and line.use is not None}
    return {key: [item.use for item in items] for key, items in site_uses(reader, keys).items()}


def judge_lines(
    workspace: Workspace,
    sites: SiteBook,
    lines: Sequence[Line],
    before: Mapping[str, Sequence[Application]],
) -> dict[int, tuple[Finding, ...]]:
    """Return the findings of every line to be booked, by its index, judged all together.

    A line is judged with all bookable lines of its sheet, whatever their order, and with every
    current application at its site: ``before`` are those of the ledger, by site.
    """
    new = {
        index: line.use
        for index, line in enumerate(lines)
        if line.state == "booked" and line.use is not None
    }
    there: dict[str, list[tuple[int | None, Application]]] = {
        key: [(None, use) for use in uses] for key, uses in before.items()
    }
    for index, use in new.items():
        there.setdefault(use.site, []).append((index, use))
    found: dict[int, tuple[Finding, ...]] = {}
    for index, use in new.items():
        site = sites.get(use.site)
        assert site is not None  # normalising found it
        others = [other for place, other in there[use.site] if place != index]
        found[index] = remarks_of(lines[index]) + find(workspace.book, use, site, others)
    return found


def remarks_of(line: Line) -> tuple[Finding, ...]:
    """Return what reading said of a line, marked so that a new judgement keeps it."""
    return tuple(
        Finding(item.kind, REMARK, item.code, item.text, item.column, item.way_out)
        for item in line.normalised.remarks
    )


def book_lines(
    workspace: Workspace,
    writer: Writer,
    sites: SiteBook,
    sheet: Sheet,
    what: tuple[Sequence[Line], str],
) -> Recorded:
    """Seal the lines of one transaction: sites, applications, held lines, their judgement."""
    lines, by = what
    seal_rules(writer, workspace.book)
    before = uses_before(writer, lines)
    observations = observation_entries(writer, sheet, sites, workspace)  # may put a site in doubt
    found = judge_lines(workspace, sites, lines, before)
    for site in sites.pending:
        writer.append(site_entry(site, by=by))
    sites.pending.clear()
    first_new = writer.head.seq + 1
    head = writer.head
    seqs = _append_uses(writer, sheet, lines, by)
    if seqs:
        judged = {seq: found[index] for index, seq in seqs.items()}
        judges = (workspace.book.digest, workspace.program)
        writer.append(judgement_entry(judges, head, judged, "recorded"))
    days = sorted({line.use.date for line in lines if line.use is not None})
    for index, line in enumerate(lines):
        if line.state == "held":
            sealed = writer.append(held_entry(sheet, line, days, by))
            seqs[index] = sealed.seq
    for entry in observations:
        writer.append(entry)
    firsts = earliest(line.use for line in lines if line.state == "booked" and line.use)
    touched = {
        site: day
        for site, day in sites.with_questions(firsts).items()
        if site not in firsts or _touches(workspace, day, before.get(site, ()))
    }
    because = "another application at this site was booked"
    again = rejudge(workspace, writer, touched, first_new, because)
    outcomes = tuple(
        Outcome(line, seqs.get(index, line.same_as), found.get(index, ()))
        for index, line in enumerate(lines)
    )
    taken = len(sheet.observations) - len(observations)
    return Recorded(sheet, outcomes, len(observations), taken, judged_again=again)


def _touches(workspace: Workspace, day: date, before: Sequence[Application]) -> bool:
    """Whether work on that day at a site changes what may be said of work that was booked."""
    first = first_touched(workspace.book, day, before)
    return any(use.date >= first for use in before)


def _append_uses(writer: Writer, sheet: Sheet, lines: Sequence[Line], by: str) -> dict[int, int]:
    booked = [line.use for line in lines if line.state == "booked" and line.use is not None]
    closes = {day: writer.closes(day) for day in {use.date for use in booked}}
    seqs: dict[int, int] = {}
    for index, line in enumerate(lines):
        if line.state == "booked" and line.use is not None:
            late = covering(closes[line.use.date], line.use)
            entry = use_entry(EntryKind.APPLICATION, line, sheet.digest, late)
            seqs[index] = writer.append(replace(entry, by=by)).seq
    return seqs


def use_entry(kind: EntryKind, line: Line, digest: str, late: int | None) -> NewEntry:
    """Return the entry of an application or amendment, with the cells it was read from."""
    assert line.use is not None
    body, private = application_body(line.use)
    origin = line.draft.origin
    body.update(
        identity=line.identity, copy=line.copy, own=line.own, sheet=digest,
        origin={"row": origin.row, "page": origin.page}, late=late, clears=line.clears,
    )  # fmt: skip
    private[FILE] = origin.file
    private["cells"] = cells_of(line.draft)
    text = json.dumps(private, ensure_ascii=True, sort_keys=True)
    return NewEntry(kind, body, private=text, refers=line.clears)


def cells_of(draft: Draft) -> dict[str, str]:
    """Return the line's cells as they were understood to stand, repeated visit columns included."""
    return {heading: cell.text for heading, cell in draft.cells.items() if cell.text}


def covering(closes: Sequence[Sealed], use: Application) -> int | None:
    """Return the newest of a day's closes that covers this person, or None."""
    found = [close.seq for close in closes if close.body["applicator"] in {None, use.applicator}]
    return found[-1] if found else None


def held_entry(sheet: Sheet, line: Line, days: Sequence[date], by: str) -> NewEntry:
    """Return the entry of a held line: its cells verbatim, its faults, the days it blocks."""
    use = line.use
    body: dict[str, Any] = {
        "identity": line.identity, "own": line.own, "copy": line.copy,
        "sheet": sheet.digest,
        "origin": {"row": line.draft.origin.row, "page": line.draft.origin.page},
        "faults": [fault_body(_told_apart(fault, line.draft)) for fault in line.faults],
        "days": [use.date.isoformat()] if use is not None else _days_of(line, days),
    }  # fmt: skip
    private = {
        FILE: line.draft.origin.file, "cells": cells_of(line.draft), "typed": dict(line.draft.typed)
    }  # fmt: skip
    text = json.dumps(private, ensure_ascii=True, sort_keys=True)
    return NewEntry(EntryKind.HELD, body, private=text, by=by)


def _days_of(line: Line, days: Sequence[date]) -> list[str]:
    """Return the days a held line blocks: its own if it can be read, else all of its sheet."""
    if line.normalised.day is not None:
        return [line.normalised.day.isoformat()]
    return [day.isoformat() for day in days]


OF_THE_CUSTOMER = ("customer", "customer address", "address", "unit", "city", "zip", "note")
"""The headings whose cells stand in the private text alone, which may be disposed of one day."""


def _told_apart(fault: Fault, draft: Draft) -> Fault:
    """Return a fault that quotes nothing of the customer: what is sealed in the body stays."""
    what = fault.what
    for heading in OF_THE_CUSTOMER:
        cell = draft.cells.get(heading)
        if cell is not None and cell.text:
            what = what.replace(f'"{cell.text}"', f"{heading} as typed")
    return replace(fault, what=what)


def fault_body(fault: Fault) -> dict[str, Any]:
    """Return a fault as it is sealed; the name of its file stands with the held line's own."""
    origin = fault.origin
    return {
        "code": fault.code, "what": fault.what, "way_out": fault.way_out, "row": origin.row,
        "column": origin.column, "cell": origin.cell, "page": origin.page,
    }  # fmt: skip
