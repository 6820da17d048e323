"""Races of what reads the past: the proof, the proof since the last one, the audit, the query.

The floors are the plainest program that reads the same: one hash over the lines, the rows alone,
the month's question by hand.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import date

from ledger.flow.audit_crew import see
from ledger.flow.audit_scope import Scope
from ledger.flow.lines import BOOKED
from ledger.flow.workspace import Workspace
from ledger.journal.verify import How, Mark, verify
from ledger.merkle import Tree
from tests.bench.races import MONTH, MONTH_SQL, Result, Task, ledger_file, race

COUNTY = "Placer"
BEHIND = 200
"""How many of the newest entries are proved since a mark."""


def proof_races(workspace: Workspace, turns: int) -> Iterator[Result]:
    """Race the whole proof, on one core and on two, against one plain hash of the same lines."""
    texts = _lines(workspace)

    def plain() -> None:
        whole = hashlib.sha256()
        for text in texts:
            whole.update(text)
        whole.hexdigest()

    floor = "sha256 of the same lines"
    for jobs, aim in ((1, "8 x"), (2, "4.5 x")):
        name = f"verify a ledger, {jobs} process{'es' if jobs > 1 else ''}"
        yield race((name, floor, aim), _proof(workspace, How(jobs)), plain, turns)


def race_since(small: Workspace, large: Workspace, turns: int) -> Result:
    """Race the proof of the newest entries of a large ledger against those of a small one."""
    names = (
        f"verify --since, newest {BEHIND} entries, ledger 10 times larger",
        "the same, ledger as it was", "1.2 x",
    )  # fmt: skip
    ours, floor = (_proof(each, How(since=_mark(each))) for each in (large, small))
    return race(names, ours, floor, turns)


def race_audit(workspace: Workspace, turns: int) -> Result:
    """Race judging a month's records again against reading and parsing their entries."""
    scope = Scope(date(MONTH.year, MONTH.month or 1, 1), date(MONTH.year, MONTH.month or 1, 31))

    def ours() -> None:
        with workspace.store.reading() as reader:
            see(workspace, reader, scope)

    def floor() -> None:
        with workspace.store.reading() as reader:
            for _ in reader.entries(kinds=BOOKED, current_only=True, **scope.filters()):
                pass

    with workspace.store.reading() as reader:
        count = sum(1 for _ in reader.entries(kinds=BOOKED, current_only=True, **scope.filters()))
    name = f"audit, the {count:,} records of a month judged again"
    return race((name, "reading their entries", "50,000 a second"), ours, floor, turns)


def race_query(workspace: Workspace, turns: int) -> Result:
    """Race the query of one month and county alone against the same question by hand.

    The ledger's query counts visits as well, so the one by hand does too.
    """
    ym = MONTH.year * 100 + (MONTH.month or 0)
    asked = MONTH_SQL.replace("AND ym = ?", "AND ym = ? AND county = ?")
    asked = asked.replace("count(*)", "count(*), count(DISTINCT visit)")
    with (
        closing(sqlite3.connect(ledger_file(workspace))) as connection,
        workspace.store.reading() as reader,
    ):
        place = workspace.book.firm.home
        return race(
            ("one month, one county: the query", "hand-written SQL", "1.5 x"),
            lambda: reader.month(place, ym, COUNTY),
            lambda: connection.execute(asked, (ym, COUNTY)).fetchall(),
            turns,
        )


def _lines(workspace: Workspace) -> list[bytes]:
    with workspace.store.reading() as reader:
        return list(reader.texts_since(0))


def _proof(workspace: Workspace, how: How) -> Task:
    def run() -> None:
        with workspace.store.reading() as reader:
            if not verify(reader, (), how).ok:
                raise RuntimeError("the generated ledger does not verify")

    return run


def _mark(workspace: Workspace) -> Mark:
    """Return the mark that a proof left before the newest entries were recorded."""
    lines = _lines(workspace)
    tree = Tree()
    for line in lines[:-BEHIND]:
        tree.add(line)
    with workspace.store.reading() as reader:
        return Mark(reader.ledger_id, tree.size, reader.entry(tree.size).seal, tree.peaks)
