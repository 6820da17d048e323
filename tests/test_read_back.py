"""What the commands write, read back by other programs' readers and held against each other.

Each paper is opened as its reader would open it (openpyxl, csv, pypdf) and compared, to the last
digit, with the other kinds of the same paper and with what the command says as JSON.
"""

from __future__ import annotations

import csv
import hashlib
import html
import re
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import openpyxl
import pypdf
import pytest

from ledger.values.draft import APPLICATION_HEADINGS
from tests.cli_use import copied, made_workspace, use
from tests.day_sheets import GOOD, sheet
from tests.workspaces import sample_workspace

KINDS = ("xlsx", "csv", "pdf")
FORMULA = "=1+1"
ASKED = {
    "summary": ("summary", "2026-01", "--county", "Placer"),
    "entries": ("entries", "--versions"),
    "audit": ("audit", "2026-01"),
    "stock": ("stock",),
    "lots": ("stock", "--lots"),
}
"""The commands that write a paper with --out, by the name of the files they are asked for."""

Rows = list[list[str]]


@pytest.fixture(scope="module")
def firm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The firm's workspace with stock, a third of an ounce, and a customer named like a formula."""
    root = made_workspace(tmp_path_factory.mktemp("read-back"))
    more = root.parent / "more.csv"
    visit = {"date": "2026-01-15", "address": "9 Quarry Road", "customer": "P. Vance-Holm"}
    more.write_bytes(sheet({**visit, "amount": "1/3 oz"}, {**visit, "note": 'a, b; "c"'}))
    assert use("record", more, "--by", "renner", root=root).code == 0
    with pytest.MonkeyPatch.context() as patch:
        # A day sheet with such a name is held. A ledger may have it all the same: from another
        # program, or from a version that reads more kindly. What is written must be safe then too.
        patch.setattr("ledger.normalise.line.text_faults", lambda _: ())
        more.write_bytes(sheet({**visit, "customer": FORMULA, "lot": FORMULA, "start": "11:00",
                                "end": "11:30"}))  # fmt: skip
        assert use("record", more, "--by", "renner", root=root).code == 0
    for words in (
        ("receive", "ridgeline-dust", "5 lb", "--lot", FORMULA, "--on", "2026-01-02"),
        ("move", "ridgeline-dust", "8 oz", "--to", "renner", "--on", "2026-01-03"),
        ("count", "ridgeline-dust", "4 lb 2 oz", "--on", "2026-01-16"),
    ):
        assert use("stock", *words, "--by", "calloway", root=root).code == 0
    assert use("amend", "8", "amount=0.7 oz", "--because", "read again", "--by", "renner",
               root=root).code == 0  # fmt: skip
    return root


@pytest.fixture(scope="module")
def papers(firm: Path) -> dict[str, dict[str, Path]]:
    """Every paper of :data:`ASKED` in each kind, by name and kind."""
    made: dict[str, dict[str, Path]] = {}
    for name, words in ASKED.items():
        made[name] = {kind: firm.parent / "out" / f"{name}.{kind}" for kind in KINDS}
        for path in made[name].values():
            assert use(*words, "--out", path, root=firm).code in {0, 1}
            assert path.stat().st_size > 100
    return made


def asked(firm: Path, name: str) -> Any:
    """Return what the command of a paper says as JSON."""
    return use(*ASKED[name], "--json", root=firm).json


def csv_rows(path: Path) -> Rows:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file, strict=True))


def meant(text: str) -> str:
    """Return a CSV cell without the apostrophe that keeps a spreadsheet from running it."""
    return text[1:] if re.match(r"'+[=+\-@\t\n]", text) else text


def cell_text(value: object) -> str:
    """Return a worksheet's cell as a CSV file writes it; numbers by their shortest decimal."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.date().isoformat()
    return str(value)


def xlsx_tables(path: Path) -> dict[str, Rows]:
    """Return the table of each worksheet, heading first, down to where the rows end."""
    found: dict[str, Rows] = {}
    for page in openpyxl.load_workbook(path):
        rows = [[cell_text(cell) for cell in row] for row in page.iter_rows(values_only=True)]
        blank = next(n for n, row in enumerate(rows) if not any(row))
        found[page.title] = rows[blank + 1 :]
    return found


def same(one: str, other: str) -> bool:
    """Say whether two cells say the same; 3.50000 and 3.5 are the same number."""
    if one == other:
        return True
    number = re.compile(r"-?[0-9]+(\.[0-9]+)?(e-[0-9]+)?")
    both = number.fullmatch(one) and number.fullmatch(other)
    return bool(both) and Decimal(one) == Decimal(other)


def assert_same(xlsx: Rows, machine: Rows) -> None:
    """Hold the rows of a worksheet against those of a CSV file, cell by cell."""
    assert len(machine) > 0
    for row, other in zip(xlsx, machine, strict=False):
        for one, two in zip(row, other, strict=True):
            assert same(one, meant(two)), (row, other)
    assert len(xlsx) >= len(machine)


def squeezed(text: str) -> str:
    """Return a text without any white space, as lines of a PDF break anywhere."""
    return re.sub(r"[\s\u200b\u00ad]+", "", text)


def pdf_text(path: Path) -> str:
    return squeezed("".join(page.extract_text() for page in pypdf.PdfReader(path).pages))


def assert_printed(path: Path, rows: Rows) -> None:
    """Hold a PDF against rows: each stands in it, cell after cell."""
    text = pdf_text(path)
    for row in rows:
        assert squeezed("".join(meant(cell) for cell in row)) in text, row


def half_even(exact: str, places: int) -> Fraction:
    """Round exact text as the reports say they do; Python's own rounding of fractions."""
    return Fraction(round(Fraction(exact) * 10**places), 10**places)


# ------------------------------------------------------------------ numbers


def test_the_summary_says_the_same_in_every_kind(
    firm: Path, papers: dict[str, dict[str, Path]]
) -> None:
    (said,) = asked(firm, "summary")
    lines = csv_rows(papers["summary"]["csv"])
    ingredients = csv_rows(papers["summary"]["csv"].with_name("summary-ingredients.csv"))
    for rows, values, number, exact, places in (
        (lines, said["lines"], "total_used", "total_exact", 5),
        (ingredients, said["ingredients"], "pounds", "pounds_exact", 9),
    ):
        headings, *machine = rows
        assert [dict(zip(headings, row, strict=True)) for row in machine] == [
            {heading: item[heading] for heading in headings} for item in values
        ]
        for item in values:
            assert Fraction(item[number]) == half_even(item[exact], places)
            assert len(item[number].partition(".")[2]) == places
    report, behind = xlsx_tables(papers["summary"]["xlsx"]).values()
    wanted = ("site_code", "registration", "product", "total_used", "unit", "applications")
    listed = [[line[name] for name in wanted] for line in said["lines"]]
    assert_same([row[1:] for row in report[1:]], listed)
    pounds = [[use_[name] for name in ("ingredient", "cas", "pounds", "applications")]
              for use_ in said["ingredients"]]  # fmt: skip
    assert_same([row[:4] for row in behind[1:]], pounds)
    assert_printed(papers["summary"]["pdf"], [*listed, *pounds])


def test_the_entries_say_the_same_in_every_kind(
    firm: Path, papers: dict[str, dict[str, Path]]
) -> None:
    said = asked(firm, "entries")
    machine = csv_rows(papers["entries"]["csv"])
    by_name = {"Entry": "seq", "Recorded": "recorded_at"}
    assert len(machine) - 1 == len(said["entries"]) > 15
    for row, item in zip(machine[1:], said["entries"], strict=True):
        for heading, cell in zip(machine[0], row, strict=True):
            value = item[by_name.get(heading, heading.casefold())]
            if heading == "Used":
                assert Fraction(cell) == half_even(value, 9)
            elif heading in {"Late", "Carried"}:
                assert bool(cell) is value
            else:
                assert meant(cell).replace(" ", "T" if heading == "Recorded" else " ") == str(value)
    assert "0.333333333" in {row[machine[0].index("Used")] for row in machine}
    (table,) = xlsx_tables(papers["entries"]["xlsx"]).values()
    assert_same(table, machine)
    assert_printed(papers["entries"]["pdf"], machine)
    totals = [[total["product"], total["registration"],
               f"{total['lines']} line{'s' if total['lines'] > 1 else ''}",
               str(Decimal(half_even(total["used"], 9).numerator)
                   / Decimal(half_even(total["used"], 9).denominator)), total["unit"]]
              for total in said["totals"]]  # fmt: skip
    below = [[cell for cell in row if cell] for row in table[len(machine) :]][: len(totals)]
    assert_same(below, totals)
    assert_printed(papers["entries"]["pdf"], totals)


def test_the_summary_is_the_sum_of_the_entries(firm: Path) -> None:
    entries = asked(firm, "entries")["entries"]
    (said,) = asked(firm, "summary")
    # A pound is 453.59237 g (NIST Handbook 44, appendix C) and has 16 ounces.
    ounces = {"oz": Fraction(1), "lb": Fraction(16), "g": 16 / Fraction("453.59237")}
    for line in said["lines"]:
        mine = [item for item in entries if item["registration"] == line["registration"]
                and item["county"] == "Placer" and item["state"] == "current"]  # fmt: skip
        total = sum((Fraction(item["used"]) * ounces[item["unit"]] for item in mine), Fraction())
        assert Fraction(line["total_exact"]) * ounces[line["unit"]] == total, line
        assert line["lines"] == len(mine)


@pytest.mark.parametrize("name", ["stock", "lots"])
def test_the_stock_account_says_the_same_in_every_kind(
    firm: Path, papers: dict[str, dict[str, Path]], name: str
) -> None:
    said = asked(firm, name)["accounts"]
    headings, *machine = csv_rows(papers[name]["csv"])
    figures = {"Bought": "bought", "Moved in": "moved_in", "Moved out": "moved_out",
               "Used": "used", "Disposed": "disposed", "Unexplained": "unexplained",
               "On hand": "on_hand"}  # fmt: skip
    assert len(machine) == len(said) > 5
    for row, account in zip(machine, said, strict=True):
        cells = dict(zip(headings, row, strict=True))
        for heading, key in figures.items():
            assert Fraction(cells[heading]) == half_even(account[key], 4), (heading, account)
        exact = {key: Fraction(account[key]) for key in figures.values()}
        gone = exact["moved_out"] + exact["used"] + exact["disposed"]
        came = exact["bought"] + exact["moved_in"] + exact["unexplained"]
        assert came - gone == exact["on_hand"]
        lot = "" if cells["Lot"] == "not named" else meant(cells["Lot"])
        assert [cells["Registration"], cells["Place"], lot, cells["Unit"],
                cells["Remark"]] == [account[key] for key in
                                     ("product", "place", "lot", "unit", "remark")]  # fmt: skip
    (table,) = xlsx_tables(papers[name]["xlsx"]).values()
    assert_same(table, [headings, *machine])
    assert_printed(papers[name]["pdf"], machine)


def test_the_audit_says_the_same_in_every_kind(
    firm: Path, papers: dict[str, dict[str, Path]]
) -> None:
    said = asked(firm, "audit")
    headings, *machine = csv_rows(papers["audit"]["csv"])
    keys = {"Finding": "finding", "Weight": "weight", "Checked": "checked", "Entry": "entry",
            "Day": "day", "Record": "record", "Way out": "way_out", "State": "state"}  # fmt: skip
    at = headings.index("Finding")
    told = {row[at]: dict(zip(headings, row, strict=True)) for row in machine}
    assert len(told) == len(machine) == len(said["findings"]) > 20
    for item in said["findings"]:
        row = told[item["finding"]]
        for heading, key in keys.items():
            assert meant(row[heading]) == ("" if item[key] is None else str(item[key])), item
        assert meant(row["Found"]).startswith(item["text"])
        for rule in item["rules"]:
            assert f"{rule['file']}:{rule['line']}" in row["Rule"]
    tables = xlsx_tables(papers["audit"]["xlsx"])
    opened = [row[1:10] for row in machine if row[0] == "open"]
    assert_same(tables["findings"][1:], opened)
    assert_printed(papers["audit"]["pdf"], opened)
    figures = {row[0]: row[1] for row in tables["figures"][1:] if row[0]}
    assert figures["records"] == str(said["figures"]["records"])
    assert figures["owed"] == str(said["figures"]["owed"])
    assert int(figures["owed"]) == sum(item["owed"] for item in said["findings"])
    share = half_even(said["figures"]["share_complete"], 3) * 100
    assert figures["records complete"] == (
        f"{said['figures']['complete']} ({Decimal(share.numerator) / share.denominator:.1f} %)"
    )


# ------------------------------------------------------------------ text is no formula


def test_nothing_that_was_written_runs_as_a_formula(papers: dict[str, dict[str, Path]]) -> None:
    seen = 0
    for kinds in papers.values():
        for page in openpyxl.load_workbook(kinds["xlsx"]):
            for row in page.iter_rows():
                for cell in row:
                    assert cell.data_type != "f", (page.title, cell.coordinate)
                    seen += cell.value == FORMULA
        for row in csv_rows(kinds["csv"]):
            for text in row:
                plain_number = re.fullmatch(r"-?[0-9]+(\.[0-9]+)?", text)
                assert plain_number or text[:1] not in {"=", "+", "-", "@", "\t"}, row
                seen += text == f"'{FORMULA}"
    assert seen == 6  # in either kind the customer once, the lot at the store and in the vehicle


def test_a_day_sheet_with_such_a_name_is_held(firm: Path, tmp_path: Path) -> None:
    more = tmp_path / "formula.csv"
    more.write_bytes(sheet({"customer": FORMULA}))
    done = use("check", more, root=firm)
    assert (done.code, "TEXT-FORMULA" in done.out) == (1, True)


# ------------------------------------------------------------------ what is owed and filed


def test_what_is_due_is_what_is_owed(firm: Path) -> None:
    due = use("due", "--json", root=firm).json
    told = squeezed(use("due", root=firm).out)
    for item in due:
        for key in ("day", "what", "why", "source", "command"):
            assert squeezed(item[key]) in told, item
    owed = use("filings", "--json", root=firm).json["owed"]
    overdue = [item for item in owed if item["overdue"]]
    reports = [item for item in due if item["sort"] == "report" and item["overdue"]]
    assert len(overdue) > 10
    assert sorted(item["due"] for item in overdue) == sorted(item["day"] for item in reports)
    waiting = use("held", "--json", root=firm).json
    held = [item["command"].split()[-1] for item in due if item["sort"] == "held"]
    assert sorted(map(int, held)) == sorted(item["held"] for item in waiting)


def test_what_was_filed_is_what_the_summary_says(firm: Path, tmp_path: Path) -> None:
    root, folder = copied(firm, tmp_path), tmp_path / "filed"
    done = use("file", "2026-01", "--by", "calloway", "--with-open", "--out", folder, root=root)
    assert done.code == 1  # it is late, and says so
    filings = use("filings", "--json", root=root).json["filings"]
    assert {item["county"] for item in filings} == {"Placer", "Nevada"}
    for item in filings:
        for name, digest in item["copies"].items():
            assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest
    use("summary", "2026-01", "--out", tmp_path / "s.csv", root=root)
    for county in ("placer", "nevada"):
        for end in ("", "-ingredients"):
            filed = folder / f"us-ca-monthly-2026-01-{county}{end}.csv"
            assert filed.read_bytes() == (tmp_path / f"s-{county}{end}.csv").read_bytes()


def test_the_customers_paper_says_the_same_in_every_kind(firm: Path, tmp_path: Path) -> None:
    for kind in ("pdf", "html", "txt"):
        path = tmp_path / f"notice.{kind}"
        assert use("notice", "--after", "11", "--out", path, root=firm).code in {0, 1}
    words = (tmp_path / "notice.txt").read_text("utf-8").split()
    page = re.sub(r"<[^>]*>", " ", (tmp_path / "notice.html").read_text("utf-8"))
    assert len(words) > 50
    numbers = {word.strip(".,;:()") for word in words if any(sign.isdigit() for sign in word)}
    assert {"20.5", "1/2", "0.1", "92"} <= numbers  # what a weighing comes to, and the ingredients
    printed, shown = pdf_text(tmp_path / "notice.pdf"), squeezed(html.unescape(page))
    for number in numbers:
        assert number in printed, number
        assert number in shown, number


# ------------------------------------------------------------------ the empty sheet, filled in

VISIT = {name: GOOD[name] for name in (
    "date", "start", "end", "applicator", "customer", "address", "city", "state", "zip", "county",
    "site kind", "temperature", "wind", "rain", "notice")}  # fmt: skip
TYPED = (
    {**VISIT, "line": "1", "product": "ridgeline-dust", "amount": "1/3 oz", "lot": "0042",
     "method": "crack and crevice", "setting": "at structure",
     "places": "door frame; siding seam", "avoided": "none present", "pests": "ants; spiders",
     "extent": "180 ft", "equipment": "duster-a"},
    {"line": "2", "product": "99999-31", "amount": "6 g", "method": "bait", "setting": "indoor",
     "places": "kitchen pipe entry", "avoided": "counter (food)", "pests": "ants",
     "extent": "12 placements"},
    {**VISIT, "line": "3", "start": "11:40", "end": "12:55", "address": "64 Idaho Bar Road",
     "city": "Grass Valley", "zip": "95945", "county": "Nevada", "customer": "Zoë Harlan-Voß",
     "product": "ridgeline-sc", "amount": "3/4 gal", "basis": "mix", "dilution": "1.2 fl oz/gal",
     "method": "band", "setting": "at structure", "places": "foundation", "avoided": "none present",
     "pests": "ants", "extent": "200 ft; 3 ft high; 600 sq ft", "equipment": "tank-1"},
)  # fmt: skip
USED = ((Fraction(1, 3), "oz"), (Fraction(6), "g"), (Fraction(9, 10), "fl oz"))


def fill_xlsx(path: Path) -> None:
    """Fill the workbook in by its own heading line, as a person would by looking at it."""
    book = openpyxl.load_workbook(path)
    page = book["applications"]
    columns = {cell.value: cell.column for cell in page[1]}
    for row, line in enumerate(TYPED, 2):
        for heading, text in line.items():
            page.cell(row, columns[heading]).value = text
    book.save(path)


def fill_csv(path: Path) -> None:
    """Add lines below the headings that the file came with."""
    with path.open(encoding="utf-8", newline="") as file:
        headings = next(csv.reader(file))
    assert tuple(headings) == APPLICATION_HEADINGS
    with path.open("a", encoding="utf-8", newline="") as file:
        csv.DictWriter(file, headings, restval="").writerows(TYPED)


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("template") / "firm"
    sample_workspace(root).store.close()
    return root


@pytest.mark.parametrize(("kind", "fill"), [("xlsx", fill_xlsx), ("csv", fill_csv)])
def test_a_filled_in_template_gives_what_was_typed(
    empty: Path, tmp_path: Path, kind: str, fill: Any
) -> None:
    root, path = copied(empty, tmp_path), tmp_path / f"day.{kind}"
    assert use("template", path, root=root).code == 0
    assert use("template", path, root=root).code == 2  # never written over
    fill(path)
    done = use("record", path, "--by", "renner", root=root)
    assert done.code == 0, done.out
    said = use("entries", "--json", root=root).json["entries"]
    assert len(said) == len(TYPED)
    visit: dict[str, str] = {}
    for item, line, (used, unit) in zip(said, TYPED, USED, strict=True):
        visit = {**visit, **{name: line[name] for name in VISIT if name in line}}
        for key in ("date", "start", "customer", "county"):
            assert item[key] == visit[key]
        assert item["address"].startswith(visit["address"].split()[0])
        for key in ("amount", "method", "places"):
            assert item[key] == line[key]
        assert line["product"] in {item["registration"], "ridgeline-dust", "ridgeline-sc"}
        assert (Fraction(item["used"]), item["unit"]) == (used, unit)
        assert (item["state"], item["applicator"]) == ("current", "Tobias Renner")
    told = use("trace", str(said[0]["seq"]), root=root).out
    assert "0042" in told  # a lot is no number
