"""Run the races and print their ratios: ``python -m tests.bench [--lines N] [--write]``.

The defaults take minutes. ``--lines 1000000`` is the year of a national firm, ``10000000`` ten.
"""

from __future__ import annotations

import argparse
import platform
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.bench import races
from tests.bench.disk import room_of
from tests.bench.firm import write_day_sheet
from tests.bench.page import write_between
from tests.bench.paper_races import memory_of_rows, race_csv, race_habit, race_workbook, records
from tests.bench.proof_races import proof_races, race_audit, race_query, race_since
from tests.bench.races import Result
from tests.bench.server_races import races_on_server
from tests.postgres import NoServer

MARKS = ("<!-- bench -->", "<!-- /bench -->")


@dataclass(frozen=True, slots=True)
class Sizes:
    """How much is measured: lines of the sheet, records on paper, rows into the server."""

    lines: int
    records: int
    turns: int


def measure(folder: Path, sizes: Sizes, notes: list[str]) -> Iterator[Result]:
    """Yield the result of each race as it ends; ``notes`` gets what is no race."""
    turns = sizes.turns
    sheet = folder / "year.csv"
    write_day_sheet(sheet, sizes.lines)
    yield races.race_help(turns * 3)
    yield races.race_record(folder, sheet, turns * 3)
    imported, workspace = races.race_import(folder, sheet, turns)
    yield imported
    yield races.race_summary(workspace, turns * 5)
    yield from race_habit(folder, workspace, sizes.records, turns)
    yield race_query(workspace, turns * 5)
    yield from proof_races(workspace, turns)
    yield race_audit(workspace, turns)
    large = races.grow(workspace, folder / "large", 10)
    yield races.race_sizes(workspace, large, turns * 5)
    yield race_since(workspace, large, turns)
    large.store.close()
    head, rows = records(workspace, sizes.records)
    yield race_workbook(folder, head, rows, turns)
    yield race_csv(folder, head, rows, turns)
    del rows
    notes.append(_memory(sizes.records))
    try:
        yield from races_on_server(workspace, sizes.records // 5, turns)
    except NoServer as reason:
        notes.append(f"PostgreSQL was not measured: {reason}.")
    workspace.store.close()
    notes.append(room_of(races.ledger_file(workspace)).text)


def _memory(records: int) -> str:
    """Return what memory writing takes, at a tenth of the records and at all of them."""
    few = max(1, records // 10)
    parts = [
        f"{kind} {memory_of_rows(kind, few):.0f} MB for {few:,} rows and "
        f"{memory_of_rows(kind, records):.0f} MB for {records:,}"
        for kind in ("xlsx", "csv")
    ]
    return f"Memory of a process that writes rows as they come: {'; '.join(parts)}."


def figure(ratio: float) -> str:
    """Return a ratio with as many digits as mean something."""
    return f"{ratio:.2f}" if ratio >= 0.1 else f"{ratio:.5f}"


def table(results: list[Result], lines: int, notes: list[str]) -> str:
    """Return the results as a table, with what they were measured on."""
    rows = [
        f"| {result.name} | {result.floor_name} | {figure(result.ratio)} | {result.aim} "
        f"| {result.ours:.4f} | {result.floor:.4f} | {result.noise:.0%} | {len(result.mine)} |"
        for result in results
    ]
    where = (
        f"{lines:,} generated lines, Python {platform.python_version()}, SQLite "
        f"{sqlite3.sqlite_version}, {platform.machine()}; medians, by turns, in one run; noise is "
        "the median distance of the floor's turns from their median. Only the ratios carry over "
        "to another machine."
    )
    head = [
        "| what | against | ratio | aim | seconds | floor, s | noise | turns |",
        "| --- | --- | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    return "\n".join([*head, *rows, "", where, *notes])


def main() -> None:
    """Read the options, run everything, print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("--lines", type=int, default=20_000, help="lines of the generated sheet")
    parser.add_argument("--records", type=int, default=100_000, help="records on paper")
    parser.add_argument("--turns", type=int, default=3, help="turns of the slowest race")
    parser.add_argument("--write", action="store_true", help="write the table into DEVELOPERS.md")
    given = parser.parse_args()
    sizes = Sizes(given.lines, given.records, given.turns)
    results: list[Result] = []
    notes: list[str] = []
    with TemporaryDirectory(prefix="useledger-bench-") as folder:
        for result in measure(Path(folder), sizes, notes):
            print(
                f"{figure(result.ratio):>9} x  {result.name}, against {result.floor_name}",
                flush=True,
            )
            results.append(result)
    text = table(results, given.lines, notes)
    print(f"\n{text}")
    if given.write:
        write_between(*MARKS, text)


if __name__ == "__main__":
    main()
