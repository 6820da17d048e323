"""Races of what is written for people: a workbook and a CSV file of many records, a month's sum.

Each against the habit: openpyxl's write-only mode and csv.writer on the same cells, and pandas
summing the same month from a workbook. Memory is that of a process of its own.
"""

from __future__ import annotations

import csv
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from datetime import date
from itertools import cycle, islice
from pathlib import Path
from typing import Any

from ledger.cli.entries import entries_sheet_of, entry_rows
from ledger.flow.listing import list_entries
from ledger.flow.periods import summarise_period
from ledger.flow.workspace import Workspace
from reports.csv_file import write_csv
from reports.sheet import LongSheet, Number, Sheet, Value
from reports.xlsx import write_workbook
from tests.bench.races import MONTH, Result, race, run

Cells = list[tuple[Value, ...]]


def records(workspace: Workspace, count: int) -> tuple[Sheet, Cells]:
    """Return the sheet of the ledger's entries without rows, and that many rows of them."""
    listed = entry_rows(workspace, list_entries(workspace, {}))
    sheet = entries_sheet_of(workspace, listed)
    head = entries_sheet_of(workspace, listed[:1])
    return head, list(islice(cycle(sheet.rows), count))


def race_workbook(folder: Path, head: Sheet, rows: Cells, turns: int) -> Result:
    """Race a workbook of the rows against openpyxl writing the same cells and nothing else."""
    from openpyxl import Workbook

    def ours() -> None:
        with (folder / "ours.xlsx").open("wb") as out:
            write_workbook([LongSheet(head, rows, lambda: head)], out)

    def floor() -> None:
        book = Workbook(write_only=True)
        page = book.create_sheet("entries")
        for row in rows:
            page.append([_bare(value) for value in row])
        book.save(folder / "floor.xlsx")

    what = (f"workbook of {len(rows):,} records", "openpyxl write-only, the same cells", "1.2 x")
    return race(what, ours, floor, turns)


def _bare(value: Value) -> Any:
    return value.rounded if isinstance(value, Number) else value


def race_csv(folder: Path, head: Sheet, rows: Cells, turns: int) -> Result:
    """Race a CSV file of the rows against csv.writer writing the same cells and nothing else."""
    cells = [[_bare(value) for value in row] for row in rows]

    def ours() -> None:
        with (folder / "ours.csv").open("wb") as out:
            write_csv(LongSheet(head, rows, lambda: head), out)

    def floor() -> None:
        with (folder / "floor.csv").open("w", encoding="utf-8", newline="") as out:
            csv.writer(out).writerows(cells)

    what = (f"CSV of {len(rows):,} records", "csv.writer, the same cells", "2 x")
    return race(what, ours, floor, turns)


def memory_of_rows(kind: str, count: int) -> float:
    """Return the most memory, in MB, of a process that writes that many rows which come one by one.

    The process says itself what it had (VmHWM of /proc): what its parent is told includes the
    parent's own.
    """
    command = [sys.executable, "-m", "tests.bench.paper_races", kind, str(count)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return int(done.stdout) / 1024


def _coming(count: int) -> Iterator[tuple[Value, ...]]:
    from fractions import Fraction

    for number in range(count):
        yield (
            Number(Fraction(number)), date(2026, 1, 1 + number % 28), f"Person {number % 1000}",
            f"{number} Amber Anvil Road", "Ridgeline Crevice Dust", Number(Fraction(number, 8), 3),
            "oz", "door frame; siding seam; window frame",
        )  # fmt: skip


def _write_rows(kind: str, count: int) -> None:
    from reports.sheet import Column

    names = ("Entry", "Date", "Applicator", "Address", "Product", "Used", "Unit", "Places")
    head = Sheet("entries", "Entries", (), tuple(Column(name) for name in names), ())
    long = LongSheet(head, _coming(count), lambda: head)
    with Path(os.devnull).open("wb") as nowhere:
        if kind == "xlsx":
            write_workbook([long], nowhere)
        else:
            write_csv(long, nowhere)
    (most,) = re.findall(r"VmHWM:\s+(\d+) kB", Path("/proc/self/status").read_text("utf-8"))
    print(most)


def habit_workbook(path: Path, workspace: Workspace, count: int) -> None:
    """Write the workbook that a firm without a ledger keeps: that many lines, one a row."""
    from openpyxl import Workbook

    listed = list_entries(workspace, {})
    book = Workbook(write_only=True)
    page = book.create_sheet("applications")
    page.append(["date", "jurisdiction", "county", "product", "method", "used", "unit", "places",
                 "applicator", "address", "customer"])  # fmt: skip
    for row in islice(cycle(listed), count):
        use = row.use
        address = row.site.address.street if row.site else ""
        page.append([use.date, use.jurisdiction, use.county, use.product_key, use.method,
                     float(use.used.fraction), use.used.unit, "; ".join(use.places),
                     use.applicator, address, use.customer])  # fmt: skip
    book.save(path)


HABIT = """
import sys, pandas
rows = pandas.read_excel(sys.argv[1])
month = rows[(rows["jurisdiction"] == "us-ca") & (rows["date"].astype(str).str[:7] == sys.argv[2])]
print(month.groupby(["county", "product", "unit"])["used"].agg(["sum", "count"]))
"""


def race_habit(folder: Path, workspace: Workspace, count: int, turns: int) -> Iterator[Result]:
    """Race the month's sum against pandas on a workbook of that many lines: twice."""
    import pandas as pd

    path = folder / "habit.xlsx"
    habit_workbook(path, workspace, count)

    def by_pandas() -> None:
        rows = pd.read_excel(path)
        inside = rows["date"].astype(str).str[:7] == MONTH.key
        month = rows[inside & (rows["jurisdiction"] == "us-ca")]
        month.groupby(["county", "product", "unit"])["used"].agg(["sum", "count"])

    name = f"pandas, a workbook of {count:,} lines"
    yield race(
        ("the month, in process", name, "0.001 x"),
        lambda: summarise_period(workspace, MONTH), by_pandas, turns,
    )  # fmt: skip
    useledger = Path(sys.executable).with_name("useledger")
    yield race(
        ("useledger summary, whole command", f"{name}, whole command", "0.0125 x"),
        lambda: run(useledger, "summary", MONTH.key, "--workspace", workspace.root),
        lambda: subprocess.run(
            [sys.executable, "-c", HABIT, str(path), MONTH.key], check=True, capture_output=True
        ),
        turns,
    )


if __name__ == "__main__":
    _write_rows(sys.argv[1], int(sys.argv[2]))
