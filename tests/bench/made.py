"""Ledgers of any size for measuring, made from a pool of really judged entries.

The pool is a small firm's year: generated weekly sheets, recorded as a person would (read,
normalised, judged, sealed), with its corrections. A larger ledger repeats the pool's entries with
new sites, visits and identities, a year later each time, through the journal's own writer: guard,
chain, canonical form and index are as in life and ``verify`` proves them. Only the judging is
copied. So years pile up and a month stays as large as it was, which is what "flat" is about.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from itertools import groupby
from pathlib import Path
from typing import Any

from ledger.flow.correcting import amend
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import Workspace, make_workspace, open_workspace
from ledger.journal import Writer
from ledger.values.draft import APPLICATION_HEADINGS
from ledger.values.sealed import EntryKind, NewEntry, Sealed
from tests.bench.firm import Row, amended, firm_text, lines
from tests.bench.products import label_texts

BATCH = 10_000
OF_THE_FIRM = {EntryKind.LEDGER, EntryKind.RULES}
"""What stands once in a ledger, however large."""

END = datetime(3100, 1, 1, tzinfo=UTC)


class MovingClock:
    """A clock that is set to the evening of the work."""

    def __init__(self) -> None:
        self.now = datetime(2026, 1, 2, 17, tzinfo=UTC)

    def __call__(self) -> datetime:
        """Return the moment it was set to."""
        return self.now

    def evening(self, day: date) -> None:
        """Set it to an evening."""
        self.now = datetime(day.year, day.month, day.day, 23, 30, tzinfo=UTC)


def new_workspace(root: Path, count: int, clock: MovingClock, database: str = "") -> Workspace:
    """Return an empty workspace of a firm of that many lines, with its sixty labels."""
    text = firm_text(count)
    if database:
        text = f'database = "{database}"\n{text}'
    make_workspace(root, text, clock=clock).store.close()
    for name, label in label_texts().items():
        (root / "rules" / "labels" / name).write_text(label, encoding="utf-8")
    return open_workspace(str(root), clock=clock)


def weekly_sheets(count: int, seed: int = 1) -> Iterator[tuple[str, date, bytes]]:
    """Yield that many lines as weekly sheets: name, last day of work, bytes."""
    dated: list[tuple[date, Row]] = []
    day = date.min
    for row in lines(count, seed):
        day = date.fromisoformat(row["date"]) if "date" in row else day
        dated.append((day, row))
    for (year, week), rows in groupby(dated, key=lambda item: item[0].isocalendar()[:2]):
        out = io.StringIO()
        writer = csv.DictWriter(out, APPLICATION_HEADINGS, restval="", lineterminator="\n")
        writer.writeheader()
        days = []
        for worked, row in rows:
            writer.writerow(row)
            days.append(worked)
        yield f"{year}-week-{week:02}.csv", days[-1], out.getvalue().encode("utf-8")


def make_pool(root: Path, count: int, seed: int = 1, database: str = "") -> Workspace:
    """Record a firm's year of that many lines in a new workspace, and correct a few of them."""
    clock = MovingClock()
    workspace = new_workspace(root, count, clock, database)
    for name, last, data in weekly_sheets(count, seed):
        clock.evening(last)
        done = record_sheet(workspace, name, data)
        if done.faults or not done.count("booked"):
            raise RuntimeError(f"the generated sheet {name} was not booked")
    wanted = dict(amended(count, seed))
    clock.now += timedelta(days=1)
    with workspace.store.reading() as reader:
        found = [
            (entry.seq, wanted[entry.body["line"]])
            for entry in reader.entries(kinds=(EntryKind.APPLICATION,))
            if entry.body["line"] in wanted
        ]
    for seq, note in found:
        amend(workspace, seq, {"note": note}, "a slip of the pen", "calloway")
    return workspace


def grow(pool: Workspace, root: Path, entries: int) -> Workspace:
    """Return a ledger of at least that many entries in a new folder, made from the pool's.

    On SQLite the pool's own file is copied first; the pool itself is not touched.
    """
    pool.store.close()
    shutil.copytree(pool.root, root)
    clock = MovingClock()
    grown = open_workspace(str(root), clock=clock)
    with grown.store.reading() as reader:
        originals = [entry for entry in reader.entries() if entry.kind not in OF_THE_FIRM]
        head = reader.head.seq
    again = 0
    while head < entries:
        again += 1
        year = _Year(originals, again, head)
        for start in range(0, len(originals), BATCH):
            with grown.store.writing() as writer:
                for entry in originals[start : start + BATCH]:
                    year.append(writer, entry, clock)
        head += len(originals)
    clock.now = END
    return grown


class _Year:
    """The pool once more, some years later: new sites, visits, identities; the rest as it was."""

    def __init__(self, originals: list[Sealed], again: int, head: int) -> None:
        self.again = again
        self.first = originals[0].seq
        self.seqs = {old.seq: head + n for n, old in enumerate(originals, 1)}
        self.sites = sum(entry.kind is EntryKind.SITE for entry in originals)

    def append(self, writer: Writer, old: Sealed, clock: MovingClock) -> None:
        """Append one entry of the pool, moved."""
        clock.now = datetime.fromisoformat(self._day(old.at))
        body = dict(old.body)
        for name, change in _CHANGES.items():
            if body.get(name) is not None:
                body[name] = change(self, body[name])
        new = NewEntry(
            old.kind, body, self._private(old), old.by, self._seq(old.replaces),
            self._seq(old.refers),
        )  # fmt: skip
        sealed = writer.append(new)
        if sealed.seq != self.seqs[old.seq]:
            raise RuntimeError(f"entry {old.seq} of the pool became {sealed.seq}")

    def _private(self, old: Sealed) -> str | None:
        if old.kind is not EntryKind.SITE or old.private is None:
            return old.private
        address = json.loads(old.private)
        number, _, street = address["street"].partition(" ")
        address["street"] = f"{int(number) + 40_000 * self.again} {street}"
        return json.dumps(address)

    def _seq(self, old: int | None) -> int | None:
        return None if old is None else self.seqs.get(old, old)

    def _day(self, text: str) -> str:
        return f"{int(text[:4]) + self.again:04}{text[4:]}"

    def _site(self, key: str) -> str:
        return f"S{int(key[1:]) + self.sites * self.again:04}"

    def _digest(self, text: str) -> str:
        return hashlib.sha256(f"{self.again} {text}".encode()).hexdigest()[: len(text)]

    def _own(self, text: str) -> str:
        who, day, line = text.split("|", 2)
        return f"{who}|{self._day(day)}|{line}"

    def _findings(self, found: list[dict[str, Any]]) -> list[dict[str, Any]]:
        return [item | {"seq": self._seq(item["seq"])} for item in found]

    def _days(self, days: list[str]) -> list[str]:
        return [self._day(day) for day in days]

    def _sites(self, keys: list[str]) -> list[str]:
        return [self._site(key) for key in keys]

    def _head(self, head: dict[str, Any]) -> dict[str, Any]:
        return head | {"seq": self._seq(head["seq"])}


_CHANGES = {
    "date": _Year._day, "days": _Year._days, "site": _Year._site, "same_as": _Year._site,
    "doubt": _Year._site, "apart_from": _Year._sites, "visit": _Year._digest,
    "identity": _Year._digest, "own": _Year._own, "clears": _Year._seq,
    "late": _Year._seq, "first": _Year._seq, "last": _Year._seq, "findings": _Year._findings,
    "head": _Year._head,
}  # fmt: skip
"""What is changed in a body, by its key."""
