"""Run the races and print their ratios: ``python -m tests.bench [--lines N] [--write]``."""

from __future__ import annotations

import argparse
import platform
import sqlite3
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.bench import races
from tests.bench.firm import day_sheet
from tests.bench.races import Result

PAPER = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"
START, END = "<!-- bench -->", "<!-- /bench -->"


def measure(folder: Path, lines: int, turns: int) -> Iterator[Result]:
    """Yield the result of each race as it ends."""
    sheet = folder / "year.csv"
    sheet.write_text(day_sheet(lines), encoding="utf-8")
    yield races.race_help(turns * 3)
    yield races.race_record(folder, sheet, turns * 3)
    imported, workspace = races.race_import(folder, sheet, turns)
    yield imported
    yield races.race_summary(workspace, turns * 5)
    yield races.race_verify(workspace, turns)
    large = races.grow(workspace, folder / "large", 10)
    yield races.race_sizes(workspace, large, turns * 5)
    large.store.close()
    workspace.store.close()


def table(results: list[Result], lines: int) -> str:
    """Return the results as a table, with what they were measured on."""
    rows = [
        f"| {result.name} | {result.floor_name} | {result.ratio:.2f} | {result.aim} "
        f"| {result.ours:.4f} | {result.floor:.4f} | {result.turns} |"
        for result in results
    ]
    where = (
        f"{lines:,} generated lines, Python {platform.python_version()}, SQLite "
        f"{sqlite3.sqlite_version}, {platform.machine()}; medians, by turns, in one run. Only the "
        "ratios carry over to another machine."
    )
    head = [
        "| what | against | ratio | aim | seconds | floor, s | turns |",
        "| --- | --- | ---: | ---: | ---: | ---: | ---: |",
    ]
    return "\n".join([*head, *rows, "", where])


def write(text: str) -> None:
    """Put the figures between their markers in DEVELOPERS.md."""
    page = PAPER.read_text(encoding="utf-8")
    before, marker, rest = page.partition(START)
    _, other, after = rest.partition(END)
    if not (marker and other):
        sys.exit(f"{PAPER.name} has no place for the figures: put {START} and {END} into it")
    PAPER.write_text(f"{before}{START}\n{text}\n{END}{after}", encoding="utf-8")


def main() -> None:
    """Read the options, run everything, print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("--lines", type=int, default=20_000, help="lines of the generated sheet")
    parser.add_argument("--turns", type=int, default=3, help="turns of the slowest race")
    parser.add_argument("--write", action="store_true", help="write the table into DEVELOPERS.md")
    given = parser.parse_args()
    results = []
    with TemporaryDirectory(prefix="useledger-bench-") as folder:
        for result in measure(Path(folder), given.lines, given.turns):
            print(f"{result.ratio:8.2f} x  {result.name}, against {result.floor_name}", flush=True)
            results.append(result)
    text = table(results, given.lines)
    print(f"\n{text}")
    if given.write:
        write(text)


if __name__ == "__main__":
    main()
