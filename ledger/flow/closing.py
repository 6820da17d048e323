"""Close a day: refuse while something is held or owed, else seal it and give its seal code."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from ledger.close import DayLine, HeldLine, Obstacle, counts, obstacles
from ledger.flow.judging import latest_findings
from ledger.flow.recording import open_runs
from ledger.flow.workspace import Workspace, WorkspaceProblem, seal_rules
from ledger.journal import Reader, Writer
from ledger.merkle import Tree
from ledger.seal import seal_code
from ledger.values.sealed import EntryKind, NewEntry, Sealed


@dataclass(frozen=True)
class Closed:
    """The outcome of a close: what it waits for, or what it sealed."""

    day: date
    applicator: str | None
    obstacles: tuple[Obstacle, ...] = ()
    entry: Sealed | None = None
    code: str = ""
    counts: dict[str, int] | None = None
    again: bool = False


def close_day(workspace: Workspace, day: date, applicator: str | None, by: str) -> Closed:
    """Close a day (of one applicator, or of all), or say everything it waits for."""
    if day > workspace.today():
        raise WorkspaceProblem(f"{day} has not come yet", "close a day after its work is done")
    with workspace.store.writing() as writer:
        lines = day_lines(writer, day, applicator)
        held = held_on(writer, day, applicator)
        if not lines and not held:
            who = f" for {applicator}" if applicator else ""
            raise WorkspaceProblem(
                f"nothing is recorded{who} on {day}: there is no day to close",
                f"record the day's sheet first, or look with useledger entries --from {day} "
                f"--to {day}",
            )
        waiting = obstacles(lines, held, sorted(open_runs(writer).values()))
        if waiting:
            return Closed(day, applicator, waiting)
        before = _standing_close(writer, day, applicator, lines)
        if before is not None:
            code = seal_code(before.seal)
            return Closed(day, applicator, (), before, code, dict(before.body["counts"]), True)
        seal_rules(writer, workspace.book)
        entry = writer.append(_close_entry(writer, day, applicator, lines, by))
    return Closed(day, applicator, (), entry, seal_code(entry.seal), dict(entry.body["counts"]))


def _close_entry(
    writer: Writer, day: date, applicator: str | None, lines: list[DayLine], by: str
) -> NewEntry:
    tree = grown_tree(writer)
    body: dict[str, Any] = {
        "day": day.isoformat(), "date": day.isoformat(), "applicator": applicator,
        "size": tree.size, "root": tree.root, "peaks": list(tree.peaks),
        "counts": counts(lines), "entries": [line.seq for line in lines],
    }  # fmt: skip
    return NewEntry(EntryKind.CLOSE, body, by=by)


def grown_tree(reader: Reader) -> Tree:
    """Return the Merkle tree over every entry so far, grown from the newest close's peaks."""
    closes = reader.closes()
    if closes:
        body = closes[-1].body
        tree = Tree(body["size"], body["peaks"])
    else:
        tree = Tree()
    for text in reader.texts_since(tree.size):
        tree.add(text)
    return tree


def day_lines(reader: Reader, day: date, applicator: str | None) -> list[DayLine]:
    """Return the day's current applications with their newest findings."""
    filters: dict[str, Any] = {"date_from": day, "date_to": day, "current_only": True}
    if applicator is not None:
        filters["applicator"] = applicator
    kinds = (EntryKind.APPLICATION, EntryKind.AMENDMENT)
    return [
        DayLine(
            entry.seq, entry.body["applicator"], latest_findings(reader, entry.seq),
            entry.body["late"] is not None,
        )
        for entry in reader.entries(kinds=kinds, **filters)
        if not entry.body.get("carried")
    ]  # fmt: skip


def held_on(reader: Reader, day: date, applicator: str | None) -> list[HeldLine]:
    """Return the open held lines that block this day.

    A held line without a readable date blocks every day of its sheet; with ``applicator``, lines
    that name another person do not block.
    """
    found: list[HeldLine] = []
    for entry in reader.held_open():
        if day.isoformat() not in entry.body["days"]:
            continue
        own = entry.body["own"]
        if applicator is not None and own is not None and not own.startswith(f"{applicator}|"):
            continue
        origin = entry.body["origin"]
        what = "; ".join(fault["what"] for fault in entry.body["faults"])
        found.append(HeldLine(entry.seq, f"{origin['file']}:{origin['row']}", what))
    return found


def _standing_close(
    reader: Reader, day: date, applicator: str | None, lines: list[DayLine]
) -> Sealed | None:
    """Return the newest close of this day if it still covers exactly these entries."""
    closes = [
        close for close in reader.closes(day.isoformat()) if close.body["applicator"] == applicator
    ]
    seqs = [line.seq for line in lines]
    return closes[-1] if closes and closes[-1].body["entries"] == seqs else None
