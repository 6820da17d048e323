"""The measurements' own ground: the generated firm, and that every race can be run."""

from __future__ import annotations

import csv
import io
import subprocess
import sys
import tomllib
from collections import Counter
from datetime import date
from pathlib import Path

import pytest

from tests.bench.firm import PEOPLE, REST, day_sheet, firm_text, lines

ROOT = Path(__file__).resolve().parents[1]
COUNT = 3000


def test_the_generated_firm_is_the_same_for_the_same_seed() -> None:
    assert day_sheet(COUNT, seed=4) == day_sheet(COUNT, seed=4)
    assert day_sheet(COUNT, seed=4) != day_sheet(COUNT, seed=5)
    assert sum(1 for _ in csv.DictReader(io.StringIO(day_sheet(COUNT)))) == COUNT
    people = {person["key"] for person in tomllib.loads(firm_text())["person"]}
    assert len([key for key in people if key.startswith("p")]) == PEOPLE


def test_its_work_is_spread_as_firms_spread_it() -> None:
    products = Counter(row["product"].strip().casefold() for row in lines(COUNT))
    assert products["ridgeline-dust"] > COUNT / 4
    assert 0 < products["99999-77"] < COUNT / 100
    amounts = [row["amount"] for row in lines(COUNT)]
    messy = sum("," in a or "½" in a or "each" in a or "\u00a0" in a for a in amounts)
    assert COUNT / 500 < messy < COUNT / 50


def test_no_site_is_seen_again_within_an_interval_of_a_label() -> None:
    last: dict[str, date] = {}
    again = 0
    for row in lines(4 * COUNT):
        if "date" not in row:
            continue
        day = date.fromisoformat(row["date"])
        if row["address"] in last:
            again += 1
            assert (day - last[row["address"]]).days >= REST
        last[row["address"]] = day
    assert again > 0


@pytest.mark.slow
def test_every_race_runs() -> None:
    command = [sys.executable, "-m", "tests.bench", "--lines", "150", "--turns", "1"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    rows = [line for line in done.stdout.splitlines() if line.startswith("| ")]
    assert len(rows) == 2 + 6, done.stdout
