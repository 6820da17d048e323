"""Held lines: shown, put right with a value or a corrected sheet, or dropped with a reason."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import Any

from ledger.flow.booking import Recorded, book_lines, normalise_all, sheet_entry
from ledger.flow.file_names import file_of
from ledger.flow.lines import Line, content_of, known_of, sort_out
from ledger.flow.places import SiteBook
from ledger.flow.workspace import Workspace, WorkspaceProblem, sealed_entry
from ledger.intake import read_sheet
from ledger.journal import Reader, Writer
from ledger.normalise.line import Normalised
from ledger.seal import read_json
from ledger.values.draft import APPLICATION_HEADINGS, Draft, Sheet
from ledger.values.finding import Fault
from ledger.values.lexicon import fold
from ledger.values.origin import Cell, Origin
from ledger.values.sealed import EntryKind, NewEntry, Sealed


@dataclass(frozen=True, slots=True)
class Held:
    """One held line as shown: its entry, where it came from, its faults and its cells."""

    seq: int
    origin: Origin
    faults: tuple[Fault, ...]
    cells: Mapping[str, str]
    days: tuple[str, ...]


@dataclass(frozen=True)
class Fixed:
    """What came of mending held lines: booked, still faulty, or not matched by the sheet."""

    recorded: Recorded | None
    still: tuple[tuple[int, tuple[Fault, ...]], ...] = ()
    unmatched: tuple[int, ...] = ()


def held_lines(workspace: Workspace) -> tuple[Held, ...]:
    """Return every open held line, oldest first."""
    with workspace.store.reading() as reader:
        return tuple(_held(entry) for entry in reader.held_open())


def _held(entry: Sealed) -> Held:
    file = file_of(entry)
    faults = tuple(
        Fault(
            fault["code"],
            Origin(file, fault["row"], fault["column"], fault["cell"], fault["page"]),
            fault["what"], fault["way_out"],
        )
        for fault in entry.body["faults"]
    )  # fmt: skip
    origin = entry.body["origin"]
    return Held(
        entry.seq, Origin(file, origin["row"], None, None, origin["page"]), faults,
        _cells(entry), tuple(entry.body["days"]),
    )  # fmt: skip


def _cells(entry: Sealed) -> dict[str, str]:
    return dict(read_json(entry.private)["cells"]) if entry.private else {}


def open_held(reader: Reader, seq: int) -> Sealed:
    """Return the open held line with this number, or raise with what it is instead."""
    entry = sealed_entry(reader, seq)
    open_ones = {held.seq: held for held in reader.held_open()}
    if entry.kind is not EntryKind.HELD:
        known = ", ".join(str(number) for number in open_ones) or "none"
        raise WorkspaceProblem(f"{seq} is not a held line", f"held lines now: {known}")
    if seq not in open_ones:
        raise WorkspaceProblem(
            f"held line {seq} was cleared already", f"see what became of it: useledger trace {seq}"
        )
    return open_ones[seq]


def draft_of(entry: Sealed, changes: Mapping[str, str]) -> Draft:
    """Return the kept line as a draft again, with these cells changed."""
    origin = entry.body["origin"]
    file, row, page = file_of(entry), origin["row"], origin["page"]
    cells = {**_cells(entry), **changes}
    return Draft(
        Origin(file, row, None, None, page),
        {name: Cell(text, Origin(file, row, name, None, page)) for name, text in cells.items()},
        dict(changes),
    )


def read_changes(texts: Sequence[str]) -> dict[str, str]:
    """Read ``column=value`` texts; raise naming the nearest heading for an unknown one."""
    changes: dict[str, str] = {}
    for text in texts:
        name, equals, value = text.partition("=")
        heading = fold(name.replace("_", " ").replace("-", " "))
        if not equals:
            raise WorkspaceProblem(
                f'"{text}" is not column=value', 'write for example amount="0.5 oz"'
            )
        if heading not in APPLICATION_HEADINGS:
            near = get_close_matches(heading, APPLICATION_HEADINGS, n=1)
            hint = f'did you mean "{near[0]}"?' if near else "see useledger template for all"
            raise WorkspaceProblem(f'"{name.strip()}" is not a column of the day sheet', hint)
        changes[heading] = value.strip()
    return changes


def fix_held(
    workspace: Workspace, seq: int, changes: Mapping[str, str], *, second: bool, by: str
) -> Fixed:
    """Book a held line with these cells put right; if faults remain, nothing is changed."""
    with workspace.store.writing() as writer:
        entry = open_held(writer, seq)
        sites = SiteBook(writer)
        normalised = normalise_all(workspace, sites, [draft_of(entry, changes)])[0]
        line = _fixed_line(workspace, writer, entry, normalised, second=second)
        if line.state != "booked":
            return Fixed(None, ((seq, line.faults),))
        sheet = _sheet_of(entry, (normalised.draft,))
        return Fixed(book_lines(workspace, writer, sites, sheet, ([line], by)))


def _sheet_of(entry: Sealed, drafts: tuple[Draft, ...]) -> Sheet:
    return Sheet(file_of(entry), entry.body["sheet"], drafts)


def _fixed_line(
    workspace: Workspace, reader: Reader, entry: Sealed, normalised: Normalised, *, second: bool
) -> Line:
    """Return the mended line with its fate; ``second`` answers the question of an equal line."""
    own = normalised.own
    if second and normalised.application is not None and not normalised.faults:
        return Line(1, normalised, "booked", normalised.identity, own, 1, clears=entry.seq)
    known = known_of(reader, [normalised], frozenset())
    line = sort_out(known, [normalised], workspace.today())[0]
    if line.state == "booked":
        return replace(line, clears=entry.seq)
    if line.state == "taken":
        fault = Fault(
            "LINE-AGAIN", line.draft.origin,
            f"with these values the line equals entry {line.same_as}, which is booked already",
            f'drop it: useledger held drop {entry.seq} --because "the same as {line.same_as}"; if '
            "it is a second application: --second",
        )  # fmt: skip
        return replace(line, state="held", faults=(fault,))
    return line


def fix_by_sheet(workspace: Workspace, name: str, data: bytes, by: str) -> Fixed:
    """Book the open held lines that a corrected sheet puts right.

    A held line is matched by applicator, date and own number, else by own number alone, else by
    its row in a sheet of the same name. Lines of the sheet that match nothing held are left to
    ``record``.
    """
    sheet = read_sheet(name, data, workspace.book.firm.month_first)
    if sheet.faults:
        return Fixed(Recorded(sheet, faults=sheet.faults, sealed=False))
    with workspace.store.writing() as writer:
        sites = SiteBook(writer)
        open_ones = list(writer.held_open())
        pairs = _match(open_ones, normalise_all(workspace, sites, sheet.drafts))
        lines: list[Line] = []
        still: list[tuple[int, tuple[Fault, ...]]] = []
        for entry, normalised in pairs:
            line = _fixed_line(workspace, writer, entry, normalised, second=False)
            if line.state == "booked":
                lines.append(line)
            else:
                still.append((entry.seq, line.faults))
        matched = {entry.seq for entry, _ in pairs}
        unmatched = tuple(entry.seq for entry in open_ones if entry.seq not in matched)
        if not lines:
            return Fixed(None, tuple(still), unmatched)
        recorded = _book_fixed(workspace, writer, sites, (sheet, data), (lines, by))
    return Fixed(recorded, tuple(still), unmatched)


def _book_fixed(
    workspace: Workspace,
    writer: Writer,
    sites: SiteBook,
    source: tuple[Sheet, bytes],
    what: tuple[list[Line], str],
) -> Recorded:
    sheet, data = source
    lines, by = what
    content = content_of([line.normalised for line in lines])
    writer.append(sheet_entry(writer, (sheet, len(sheet.drafts)), data, content, ("corrected", by)))
    only_lines = replace(sheet, observations=())
    return book_lines(workspace, writer, sites, only_lines, (lines, by))


def _match(
    held: Sequence[Sealed], normalised: Sequence[Normalised]
) -> list[tuple[Sealed, Normalised]]:
    """Pair each held line with the corrected sheet's line for it, each used once."""
    free = list(normalised)
    pairs: list[tuple[Sealed, Normalised]] = []
    for test in (_same_own, _same_number, _same_row):
        for entry in held:
            if any(entry is done for done, _ in pairs):
                continue
            found = [item for item in free if test(entry, item)]
            if len(found) == 1:
                pairs.append((entry, found[0]))
                free.remove(found[0])
    return pairs


def _same_own(entry: Sealed, item: Normalised) -> bool:
    return item.own is not None and item.own == entry.body["own"]


def _same_number(entry: Sealed, item: Normalised) -> bool:
    number = _cells(entry).get("line", "").strip()
    return bool(number) and number == item.draft.text("line") and entry.body["own"] is None


def _same_row(entry: Sealed, item: Normalised) -> bool:
    origin = entry.body["origin"]
    return (
        origin["row"] == item.draft.origin.row
        and not item.draft.text("line")
        and file_of(entry) == item.draft.origin.file
    )


def drop_held(workspace: Workspace, seq: int, because: str, by: str) -> Sealed:
    """Drop a held line with a reason; its cells stay kept and its number stays taken."""
    if not because.strip():
        raise WorkspaceProblem("a held line is dropped with a reason", 'add --because "..."')
    with workspace.store.writing() as writer:
        entry = open_held(writer, seq)
        body: dict[str, Any] = {"clears": entry.seq, "because_given": 1}
        private = json.dumps({"because": because}, ensure_ascii=True)
        return writer.append(
            NewEntry(EntryKind.DROPPED, body, private=private, by=by, refers=entry.seq)
        )
