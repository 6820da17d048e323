"""The measurements' own ground: the generated firm, and that every race can be run."""

from __future__ import annotations

import csv
import io
import subprocess
import sys
import tomllib
from collections import Counter
from datetime import date
from itertools import islice
from pathlib import Path

import pytest

from ledger.journal.verify import verify
from ledger.values.sealed import EntryKind
from tests.bench.firm import (
    AMENDED,
    FEWEST,
    LINES_A_YEAR,
    MOST,
    REST,
    amended,
    day_sheet,
    firm_text,
    lines,
    write_day_sheet,
)  # fmt: skip
from tests.bench.growth import COMMANDS, ledgers, measure, table
from tests.bench.made import grow, make_pool
from tests.bench.products import label_texts

ROOT = Path(__file__).resolve().parents[1]
COUNT = 3000


def test_the_generated_firm_is_the_same_for_the_same_seed() -> None:
    assert day_sheet(COUNT, seed=4) == day_sheet(COUNT, seed=4)
    assert day_sheet(COUNT, seed=4) != day_sheet(COUNT, seed=5)
    assert sum(1 for _ in csv.DictReader(io.StringIO(day_sheet(COUNT)))) == COUNT


def test_a_million_lines_are_a_national_firm() -> None:
    told = tomllib.loads(firm_text(1_000_000))
    people = [person for person in told["person"] if person["key"][1:].isdigit()]
    assert len(people) == MOST
    assert len({person["licence"][0]["jurisdiction"] for person in people}) == 6
    home = Counter((row["state"], row["county"]) for row in _first_visits(1_000_000))
    assert len(home) == 200
    assert max(home.values()) > 2 * sorted(home.values())[100]
    small = tomllib.loads(firm_text(FEWEST * LINES_A_YEAR // 2))
    assert sum(person["key"][1:].isdigit() for person in small["person"]) == FEWEST


def _first_visits(count: int) -> list[dict[str, str]]:
    """Return where the first days' visits of a firm of that many lines are."""
    return [row for row in islice(lines(count), 20_000) if "date" in row]


def test_the_sixty_labels_are_sixty_products() -> None:
    labels = [tomllib.loads(text) for text in label_texts().values()]
    assert len({label["id"] for label in labels}) == len(labels) == 60
    assert len({label["product"]["name"] for label in labels}) == 60
    doses = {limit["most"] for label in labels for limit in label["limit"] if "most" in limit}
    assert len(doses) > 30


def test_its_sheet_is_written_a_line_at_a_time(tmp_path: Path) -> None:
    write_day_sheet(tmp_path / "year.csv", 500)
    assert (tmp_path / "year.csv").read_text(encoding="utf-8") == day_sheet(500)


def test_its_work_is_spread_as_firms_spread_it() -> None:
    products = Counter(row["product"].strip().casefold() for row in lines(COUNT))
    assert len(products) > 50
    assert products["ridgeline-dust"] > COUNT / 6 > 20 * products["jasper-crevice"] / 10
    assert 0 < products["99999-77"] < COUNT / 100
    amounts = [row["amount"] for row in lines(COUNT)]
    messy = sum("," in a or "½" in a or "each" in a or "\u00a0" in a for a in amounts)
    assert COUNT / 500 < messy < COUNT / 50
    mended = [number for number, _ in amended(COUNT)]
    assert len(set(mended)) == COUNT // AMENDED
    assert all(1 <= int(number) <= COUNT for number in mended)


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
def test_a_made_ledger_is_a_ledger(tmp_path: Path) -> None:
    pool = make_pool(tmp_path / "pool", 300)
    with pool.store.reading() as reader:
        size = reader.head.seq
        once = Counter(str(entry.kind) for entry in reader.entries())
        month = reader.month("us-ca", 202601)
    large = grow(pool, tmp_path / "large", 3 * size)
    with large.store.reading() as reader:
        found = verify(reader)
        assert found.ok, found.problems
        assert found.checked == reader.head.seq >= 3 * size
        again = Counter(str(entry.kind) for entry in reader.entries())
        assert again["application"] == 4 * once["application"]
        assert once["amendment"] == 1
        assert again["amendment"] == 4
        assert reader.month("us-ca", 202601) == month
        later = reader.month("us-ca", 202701)
        assert sum(group.lines for group in later) == sum(group.lines for group in month)
        newest = [*reader.entries(kinds=(EntryKind.APPLICATION,))][-1]
        assert len(reader.judgements(newest.seq)) >= 1


@pytest.mark.slow
def test_every_race_runs() -> None:
    sizes = ["--lines", "150", "--records", "250", "--turns", "1"]
    command = [sys.executable, "-m", "tests.bench", *sizes]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    rows = [line for line in done.stdout.splitlines() if line.startswith("| ")]
    without_server = "PostgreSQL was not measured" in done.stdout
    assert len(rows) == 2 + (14 if without_server else 16), done.stdout
    assert "Disk, SQLite: " in done.stdout


@pytest.mark.slow
def test_growth_is_measured_and_told(tmp_path: Path) -> None:
    made = list(ledgers(tmp_path, 0, 150))
    costs = measure(made, 1)
    assert costs.keys() == COMMANDS.keys()
    assert all(cost.seconds for of_sizes in costs.values() for cost in of_sizes)
    rows = [row for row in table(made, costs).splitlines() if row.startswith("| ")]
    assert [row.split("|")[1].strip() for row in rows[2:]] == list(COMMANDS)
