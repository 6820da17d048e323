"""The demonstration's month: that it says what it claims, before any of it is handed in."""

from __future__ import annotations

import csv
import io
import tomllib
from collections import Counter, defaultdict
from datetime import date, time
from fractions import Fraction
from itertools import pairwise

import pytest

from ledger.demo import DemoSheet, firm_file, label_files, sheets, story
from ledger.intake import read_sheet
from ledger.values.draft import APPLICATION_HEADINGS, VISIT_COLUMNS

FIRM = tomllib.loads(firm_file())


def rows_of(sheet: DemoSheet) -> list[dict[str, str]]:
    """Read a sheet's lines with the visit's cells repeated, by this test's own reading."""
    full: list[dict[str, str]] = []
    for row in csv.DictReader(io.StringIO(sheet.text), strict=True):
        assert None not in row
        if not row["date"]:
            row |= {heading: full[-1][heading] for heading in VISIT_COLUMNS}
        full.append(row)
    return full


SHEETS = sheets()
LINES = [(sheet, row) for sheet in SHEETS for row in rows_of(sheet)]


def test_the_month_has_twenty_days_four_people_and_two_counties() -> None:
    january = [(sheet, row) for sheet, row in LINES if sheet.day.month == 1]
    assert len({sheet.day for sheet, _ in january}) == 20
    assert all(sheet.day.weekday() < 5 for sheet in SHEETS)
    assert {row["applicator"] for _, row in january} == {"calloway", "renner", "marsh", "aster"}
    assert {row["county"] for _, row in january} == {"Placer", "Nevada"}
    assert {row["city"] for _, row in january} >= {
        "Auburn", "Colfax", "Penryn", "Loomis", "Grass Valley", "Nevada City",
    }  # fmt: skip


def test_one_county_is_idle_in_february() -> None:
    month, county = story().idle
    february = [row for sheet, row in LINES if sheet.day.isoformat().startswith(month)]
    assert len({row["date"] for row in february}) == 3
    assert county == "Nevada"
    assert {row["county"] for row in february} == {"Placer"}
    january = [row for sheet, row in LINES if sheet.day.isoformat().startswith(story().period)]
    assert county in {row["county"] for row in january}


def test_sheets_are_small_named_alike_and_always_the_same() -> None:
    assert sheets() == SHEETS
    assert len({sheet.name for sheet in SHEETS}) == len(SHEETS) >= 40
    assert [sheet.day for sheet in SHEETS] == sorted(sheet.day for sheet in SHEETS)
    for sheet in SHEETS:
        lines = rows_of(sheet)
        assert sheet.name == f"day-{sheet.day}-{sheet.applicator}.csv"
        assert 1 < len(lines) <= 6, sheet.name
        assert {row["date"] for row in lines} == {sheet.day.isoformat()}
        assert [row["line"] for row in lines] == [str(n + 1) for n in range(len(lines))]
        assert sheet.applicator in {row["applicator"] for row in lines}
        assert sheet.text.splitlines()[0].split(",") == list(APPLICATION_HEADINGS)


def test_the_reader_reads_every_sheet_without_a_fault() -> None:
    month_first = FIRM["firm"]["date_order"] == "month first"
    for sheet in SHEETS:
        read = read_sheet(sheet.name, sheet.text.encode("utf-8"), month_first)
        assert not read.faults
        assert not [fault for draft in read.drafts for fault in draft.faults]
        told = [
            {heading: draft.text(heading) for heading in APPLICATION_HEADINGS}
            for draft in read.drafts
        ]
        assert told == rows_of(sheet), sheet.name


def test_about_25_customers_and_several_are_seen_again() -> None:
    visits = Counter({(row["address"], row["date"], row["start"]) for _, row in LINES})
    again = Counter(address for address, _, _ in visits)
    assert 20 <= len(again) <= 30
    assert sum(1 for count in again.values() if count > 1) >= 15


def test_nobody_is_at_two_places_at_once() -> None:
    trips: dict[tuple[str, str], set[tuple[time, time]]] = defaultdict(set)
    for _, row in LINES:
        start, end = time.fromisoformat(row["start"]), time.fromisoformat(row["end"])
        assert start < end
        trips[row["date"], row["applicator"]].add((start, end))
    for day in trips.values():
        assert all(before[1] < after[0] for before, after in pairwise(sorted(day)))


def test_the_supervised_applicator_works_under_renner_and_within_her_licence() -> None:
    people = {person["key"]: person for person in FIRM["person"]}
    until = people["marsh"]["licence"][0]["to"]
    renner_in = {(row["date"], row["county"]) for _, row in LINES if row["applicator"] == "renner"}
    hers = [row for _, row in LINES if row["applicator"] == "marsh"]
    assert hers
    for row in hers:
        assert row["supervisor"] == "renner"
        assert date.fromisoformat(row["date"]) <= until
        assert (row["date"], row["county"]) in renner_in


def test_the_trainee_was_trained_first_and_works_beside_the_trainer() -> None:
    plot = story().teach
    people = {person["key"]: person for person in FIRM["person"]}
    assert "licence" not in people[plot.person]
    assert people[plot.person]["supervisor"] == plot.trainer
    lines = [row for _, row in LINES if row["applicator"] == plot.person]
    assert {row["date"] for row in lines} == {plot.work.isoformat()}
    assert plot.on < plot.work
    visits = ("date", "start", "end", "address")
    beside = {tuple(row[name] for name in visits) for _, row in LINES
              if row["applicator"] == plot.trainer}  # fmt: skip
    for row in lines:
        assert row["supervisor"] == plot.trainer
        assert tuple(row[name] for name in visits) in beside
        assert row["product"] == "marsh-gel"  # a bait of general use, placed by hand


def test_the_products_and_tools_are_the_firm_s() -> None:
    labels = {name.removesuffix(".toml") for name in label_files()}
    tools = {tool["key"] for tool in FIRM["tool"]}
    used = {row["product"] for _, row in LINES}
    assert len(label_files()) == 9
    assert used == labels - {"slate-powder"}, "the prohibited powder is on the shelf, not in use"
    assert {row["equipment"] for _, row in LINES} - {""} <= tools
    restricted = [row for _, row in LINES if row["product"] == "granite-powder"]
    assert [row["applicator"] for row in restricted] == ["renner"]


def test_the_firm_file_registers_both_counties_and_ranks_the_people() -> None:
    assert {(r["jurisdiction"], r["county"], r["year"]) for r in FIRM["registration"]} == {
        ("us-ca", "Placer", 2026),
        ("us-ca", "Nevada", 2026),
    }
    ranks = {
        person["key"]: [(licence["level"], licence["restricted"]) for licence in person["licence"]]
        for person in FIRM["person"]
        if "licence" in person
    }
    assert ranks == {
        "calloway": [("certified", True)],
        "renner": [("certified", True)],
        "marsh": [("supervised", False)],
    }


def test_the_story_names_lines_that_exist_and_values_that_change() -> None:
    by_place = {(sheet.name, row["line"]): row for sheet, row in LINES}
    told = story()
    for mending in (told.fix, told.amend):
        row = by_place[mending.sheet, mending.line]
        assert mending.because
        assert mending.by
        assert all(row[heading] != value for heading, value in mending.changes.items())
    assert by_place[told.fix.sheet, told.fix.line]["amount"] == "1/4 pt"
    assert by_place[told.amend.sheet, told.amend.line]["amount"] == "2.5 oz"
    assert all((finding.sheet, finding.line) in by_place for finding in told.intended)


def test_numbers_of_the_firm_belong_to_nobody() -> None:
    # 555-0100 to 555-0199 are kept for fiction: North American Numbering Plan, 555 line numbers
    # (from memory, not verified).
    assert FIRM["firm"]["telephone"].split("-", 1)[1].startswith("555-01")
    # The licence numbers are those of the invented people, and nobody else's stand in the file.
    numbers = {lic["number"] for person in FIRM["person"] for lic in person.get("licence", ())}
    assert numbers == {"OPR 90311", "FR 90427", "RA 90588"}
    assert FIRM["firm"]["licence"] == "PR 99031"


def measure(extent: str, unit: str) -> Fraction | None:
    """Return the number before ``unit`` in an extent, by this test's own reading."""
    for part in extent.split(";"):
        number, _, rest = part.strip().partition(" ")
        if rest == unit:
            return Fraction(number.replace(",", ""))
    return None


@pytest.mark.parametrize(
    ("product", "method", "unit", "most"),
    [  # limits of the invented labels: per 100 ft, 10 voids, placement, 1,000 sq ft
        ("ridgeline-dust", "crack and crevice", "ft", Fraction("0.005")),
        ("ridgeline-dust", "void", "voids", Fraction("0.1")),
        ("marsh-gel", "bait", "placements", Fraction("0.5")),
        ("alder-dust", "", "sq ft", Fraction("0.004")),
    ],
)
def test_plain_rates_keep_the_label_but_where_the_story_says(
    product: str, method: str, unit: str, most: Fraction
) -> None:
    told = story()
    excepted = {(f.sheet, f.line) for f in told.intended} | {(told.fix.sheet, told.fix.line)}
    judged = 0
    for sheet, row in LINES:
        if row["product"] != product or (method and row["method"] != method):
            continue
        if (sheet.name, row["line"]) in excepted or " - " in row["amount"]:
            continue
        number = Fraction(row["amount"].split()[0])
        treated = measure(row["extent"], unit)
        assert treated is not None, (sheet.name, row["line"])
        assert number <= most * treated, (sheet.name, row["line"])
        judged += 1
    assert judged > 5
