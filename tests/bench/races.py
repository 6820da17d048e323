"""The races: what the ledger does, against the plainest program that does the same work.

Both run by turns in one run, so that a noisy machine slows both. A race gives two medians; only
their ratio means anything.
"""

from __future__ import annotations

import csv
import os
import shutil
import sqlite3
import statistics
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from time import perf_counter

from ledger.flow.periods import summarise_period
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import Workspace, make_workspace, open_workspace
from ledger.values.period import Period
from ledger.values.sealed import EntryKind, NewEntry
from tests.bench.firm import FIRST_DAY, firm_text
from tests.bench.products import label_texts

MONTH = Period(FIRST_DAY.year, FIRST_DAY.month)

# The same question as the ledger's month, written by hand for the table as it is.
MONTH_SQL = """
    SELECT county, product_key, site_code, unit, denominator, sum(numerator), count(*)
    FROM journal
    WHERE jurisdiction = 'us-ca' AND ym = ? AND numerator IS NOT NULL
      AND NOT EXISTS (SELECT 1 FROM journal AS later WHERE later.replaces = journal.seq)
    GROUP BY county, product_key, label, site_code, unit, denominator
"""


@dataclass(frozen=True, slots=True)
class Result:
    """One race: the seconds of every turn on both sides, and what was aimed at."""

    name: str
    floor_name: str
    aim: str
    mine: tuple[float, ...]
    theirs: tuple[float, ...]

    @property
    def ours(self) -> float:
        """The median of the ledger's turns."""
        return statistics.median(self.mine)

    @property
    def floor(self) -> float:
        """The median of the floor's turns."""
        return statistics.median(self.theirs)

    @property
    def ratio(self) -> float:
        """How many times the floor the ledger takes."""
        return self.ours / self.floor

    @property
    def noise(self) -> float:
        """How far the floor's turns lie from their median, in the median, as a share of it."""
        return statistics.median(abs(one - self.floor) for one in self.theirs) / self.floor


Task = Callable[[], object]


def seconds(task: Task) -> float:
    """Return how long one run of the task takes."""
    start = perf_counter()
    task()
    return perf_counter() - start


def race(names: tuple[str, str, str], ours: Task, floor: Task, turns: int) -> Result:
    """Run both by turns, each first as often as not; ``names``: ours, the floor's, the aim."""
    mine: list[float] = []
    theirs: list[float] = []
    for turn in range(turns):
        order = ((mine, ours), (theirs, floor))
        for times, task in order if turn % 2 else reversed(order):
            times.append(seconds(task))
    return Result(*names, tuple(mine), tuple(theirs))


def clock() -> datetime:
    """Return a moment after all generated work, whatever the machine's calendar says."""
    return datetime(2030, 1, 15, 12, tzinfo=UTC)


def new_workspace(root: Path, count: int) -> Workspace:
    """Return an empty workspace of the firm that writes ``count`` lines, with its labels."""
    make_workspace(root, firm_text(count), clock=clock).store.close()
    for name, text in label_texts().items():
        (root / "rules" / "labels" / name).write_text(text, encoding="utf-8")
    return open_workspace(str(root), clock=clock)


def bare_import(source: Path, target: Path) -> None:
    """Read the sheet with the csv module and put its cells into one SQLite table."""
    target.unlink(missing_ok=True)
    with closing(sqlite3.connect(target)) as connection, source.open(newline="") as file:
        reader = csv.reader(file)
        headings = next(reader)
        columns = ", ".join(f'"{heading}" TEXT' for heading in headings)
        connection.execute(f"CREATE TABLE line ({columns})")
        marks = ", ".join("?" * len(headings))
        connection.executemany(f"INSERT INTO line VALUES ({marks})", reader)
        connection.commit()


def race_import(folder: Path, sheet: Path, turns: int) -> tuple[Result, Workspace]:
    """Race a whole import against the bare one; return the last ledger made as well."""
    made: list[Workspace] = []
    count = sheet.read_bytes().count(b"\n") - 1

    def ours() -> None:
        workspace = made[-1]
        done = record_sheet(workspace, sheet.name, sheet.read_bytes())
        if done.faults or done.count("booked") < 0.9 * count:
            raise RuntimeError("the generated sheet was not booked")

    def fresh() -> float:
        if made:
            made[-1].store.close()
        made.append(new_workspace(folder / f"firm-{len(made)}", count))
        return seconds(ours)

    mine, theirs = [], []
    for _ in range(turns):
        theirs.append(seconds(lambda: bare_import(sheet, folder / "bare.db")))
        mine.append(fresh())
    names = ("import a sheet, end to end", "csv.reader into executemany", "4 x")
    return Result(*names, tuple(mine), tuple(theirs)), made[-1]


def ledger_file(workspace: Workspace) -> Path:
    """Return the database file of a workspace."""
    return workspace.root / "ledger.db"


def race_summary(workspace: Workspace, turns: int) -> Result:
    """Race one month's summary against the hand-written question on the same file."""
    with closing(sqlite3.connect(ledger_file(workspace))) as connection:
        ym = MONTH.year * 100 + (MONTH.month or 0)
        return race(
            ("summary of a month", "hand-written SQL", "2.5 x"),
            lambda: summarise_period(workspace, MONTH),
            lambda: connection.execute(MONTH_SQL, (ym,)).fetchall(),
            turns,
        )


def grow(workspace: Workspace, root: Path, times: int) -> Workspace:
    """Return a copy of a ledger with ``times`` as many applications, the rest in earlier years.

    The copies go through the journal's own writer, so index, guard and chain are as in life; they
    are not judged, which a summary does not ask about.
    """
    shutil.copytree(workspace.root, root)
    grown = open_workspace(str(root), clock=clock)
    kinds = (EntryKind.APPLICATION,)
    with grown.store.reading() as reader:
        bodies = [dict(entry.body) for entry in reader.entries(kinds=kinds)]
    for back in range(1, times):
        for start in range(0, len(bodies), 5000):
            with grown.store.writing() as writer:
                for body in bodies[start : start + 5000]:
                    year = int(body["date"][:4]) - back
                    earlier = body | {"date": f"{year}{body['date'][4:]}", "own": None}
                    writer.append(NewEntry(EntryKind.APPLICATION, earlier, private="{}"))
    return grown


def race_sizes(small: Workspace, large: Workspace, turns: int) -> Result:
    """Race the same month's summary on a large ledger against the small one."""
    return race(
        ("the summary, ledger 10 times larger", "the summary, ledger as it was", "1.2 x"),
        lambda: summarise_period(large, MONTH),
        lambda: summarise_period(small, MONTH),
        turns,
    )


AS_INSTALLED = {
    name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"
}
"""The surroundings of a command: its modules are kept compiled, as an installation has them."""


def run(*command: str | Path) -> None:
    """Run a command quietly; exit 1 means done with something found."""
    done = subprocess.run(
        [str(word) for word in command], capture_output=True, check=False, env=AS_INSTALLED
    )
    if done.returncode not in {0, 1}:
        raise RuntimeError(done.stderr.decode(errors="replace"))


def race_help(turns: int) -> Result:
    """Race the start of ``--help`` against an interpreter that does nothing."""
    useledger = Path(sys.executable).with_name("useledger")
    run(useledger, "--help")
    return race(
        ("useledger --help", "python -c pass", "5 x"),
        lambda: run(useledger, "--help"),
        lambda: run(sys.executable, "-c", "pass"),
        turns,
    )


def race_record(folder: Path, sheet: Path, turns: int) -> Result:
    """Race the booking of one new line against an interpreter that does nothing."""
    useledger = Path(sys.executable).with_name("useledger")
    root = folder / "one-line"
    new_workspace(root, sheet.read_bytes().count(b"\n") - 1).store.close()
    heading, *rest = sheet.read_text(encoding="utf-8").splitlines()
    whole = [line for line in rest if line.split(",", 2)[1]][: turns + 1]  # lines with their visit
    names = iter(range(len(whole)))

    def ours() -> None:
        number = next(names)
        path = folder / f"one-{number}.csv"
        path.write_text(f"{heading}\n{whole[number]}\n", encoding="utf-8")
        run(useledger, "record", path, "--workspace", root)

    ours()  # the first one compiles the modules
    return race(
        ("useledger record, one line", "python -c pass", "25 x"),
        ours,
        lambda: run(sys.executable, "-c", "pass"),
        turns,
    )
