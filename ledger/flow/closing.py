"""Close a day: refuse while something is held or owed, else seal it and give its seal code."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from ledger.close import DayLine, HeldLine, Obstacle, counts, obstacles
from ledger.flow.day_stock import DayStock, day_stock, places_of
from ledger.flow.file_names import row_of
from ledger.flow.judging import booked, latest_findings_of
from ledger.flow.lines import BOOKED
from ledger.flow.recording import open_runs
from ledger.flow.workspace import Workspace, WorkspaceProblem, seal_rules
from ledger.journal import Reader
from ledger.merkle import Tree
from ledger.seal import seal_code
from ledger.values.lexicon import fold
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
    stock: DayStock | None = None


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
        stock = _stock_of(workspace, writer, day, applicator)
        said = {
            "day": day.isoformat(), "date": day.isoformat(), "applicator": applicator,
            "counts": counts(lines), "entries": [line.seq for line in lines],
            **({"stock": stock.body()} if stock.checked else {}),
        }  # fmt: skip
        entry = _standing_close(writer, said)
        again = entry is not None
        if entry is None:
            seal_rules(writer, workspace.book)
            tree = grown_tree(writer)
            body = {**said, "size": tree.size, "root": tree.root, "peaks": list(tree.peaks)}
            entry = writer.append(NewEntry(EntryKind.CLOSE, body, by=by))
    code, told = seal_code(entry.seal), dict(entry.body["counts"])
    return Closed(day, applicator, (), entry, code, told, again, stock)


def _stock_of(workspace: Workspace, reader: Reader, day: date, applicator: str | None) -> DayStock:
    """Return how the day's weighings, loads and counts agree with its lines.

    Of one person's day the own lines are looked at first; where they do not agree, all lines of
    the day are, for a tool may have gone from hand to hand.
    """
    if applicator is None:
        return day_stock(workspace, reader, day)
    found = reader.entries(
        kinds=BOOKED, current_only=True, applicator=applicator, date_from=day, date_to=day
    )
    own = [booked(entry) for entry in found]
    places = places_of(own) | {fold(applicator)}
    first = day_stock(workspace, reader, day, own).of(places)
    return day_stock(workspace, reader, day).of(places) if first.gaps else first


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
    entries = [e for e in reader.entries(kinds=kinds, **filters) if not e.body.get("carried")]
    found = latest_findings_of(reader, [entry.seq for entry in entries])
    return [
        DayLine(
            entry.seq, entry.body["applicator"], found[entry.seq], entry.body["late"] is not None
        )
        for entry in entries
    ]


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
        what = "; ".join(fault["what"] for fault in entry.body["faults"])
        found.append(HeldLine(entry.seq, row_of(entry), what))
    return found


def _standing_close(reader: Reader, said: Mapping[str, Any]) -> Sealed | None:
    """Return the newest close of this day if it still covers exactly these entries.

    What was said of the stock counts too: a load recorded since is worth a new close.
    """
    closes = [
        close for close in reader.closes(said["day"])
        if close.body["applicator"] == said["applicator"]
    ]  # fmt: skip
    same = closes and all(closes[-1].body.get(key) == said.get(key) for key in ("entries", "stock"))
    return closes[-1] if same else None
