"""What holds for any sheet and any order of work: nothing raises, is lost, or is taken twice."""

from __future__ import annotations

import csv
import io
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from ledger.flow.booking import Recorded
from ledger.flow.closing import close_day
from ledger.flow.correcting import amend, amend_by_held, strike
from ledger.flow.filing_register import FilingWish, file_report
from ledger.flow.holding import drop_held, fix_by_sheet, fix_held, held_lines
from ledger.flow.inspecting import prove_whole
from ledger.flow.listing import list_entries
from ledger.flow.periods import summarise_period
from ledger.flow.recording import check_sheet, record_sheet
from ledger.flow.site_questions import answer_apart, answer_same
from ledger.flow.tracing import trace
from ledger.flow.workspace import Workspace, WorkspaceProblem
from ledger.seal import seal_code
from ledger.values.draft import APPLICATION_HEADINGS, VISIT_COLUMNS
from ledger.values.period import Period
from ledger.values.sealed import EntryKind
from tests.day_sheets import GOOD, sheet
from tests.workspaces import Stamp

Row = dict[str, str]


def few(examples: int) -> Callable[[Any], Any]:
    """Bound a property's examples; the machine's speed decides nothing."""
    return settings(max_examples=examples, deadline=None, suppress_health_check=list(HealthCheck))


@pytest.fixture(scope="module")
def stamp(tmp_path_factory: pytest.TempPathFactory) -> Stamp:
    return Stamp(tmp_path_factory.mktemp("properties"))


# --- sheets, however broken -----------------------------------------------------------------------

HOSTILE = [
    "", " ", "\u00a0", "0", "-1", "1e309", "1/0", "½", "٣", "½ ½", "0,5 oz", "1 oz 2 oz", "oz",
    "12 each", "999999999999999999999 oz", "1/99999999999999999 oz", "0.00000000000000000001 oz",
    "2026-02-30", "0000-01-01", "9999-12-31", "1/2/2026", "13/13/2026", "24:00", "00:15 +1",
    "25:61", "00:15 +99999999999", "=1+1", "#REF!", "1:100", "0.06%", "1 fl oz/gal", "1 gal/0 gal",
    "none", "none present", ";;;", "a; b; (c", "creek (water, 60 ft)", "creek (water, -1 ft)",
    "S0001", "S9999", "nobody", "renner; marsh", "NaN", "inf", "\ufeff", "\x00", "\x07", "a\nb",
    '"', "'", ",", "\u202e", "e\u0301", "\U0001f40d", "\U000e0001", "x" * 5000, "120 ft; 120 ft",
    "1 ft by 0 ft", "-40 F", "300 mph", "perhaps", "both", "99999-11", "00099999-11", "ridgline",
    "212.4 g - 198.1 g", "1 g - 2 g", "95603-", "1234", "Ünited Straße", "118 Tolhouse Ln", "us-ca",
]  # fmt: skip
"""Cells as a tired person, a spreadsheet or somebody hostile would leave them."""

CELLS = st.sampled_from(HOSTILE) | st.text(
    st.characters(codec="utf-8", exclude_characters="\r\n"), max_size=12
)

KINDS_OF_LINE: tuple[Mapping[str, str], ...] = (
    {},
    {"product": "ridgeline-sc", "amount": "1/2 gal", "basis": "mix", "dilution": "1 fl oz/gal",
     "method": "band", "extent": "100 ft; 2 ft high; 200 sq ft"},
    {"product": "marsh-gel", "amount": "6 g", "method": "bait", "extent": "12 placements"},
    {"product": "99999-51", "amount": "2 lb 4 oz", "method": "broadcast", "setting": "outdoor",
     "extent": "750 sq ft", "prepared": "hard surfaces swept"},
    {"product": "hearth-mint", "amount": "4 fl oz", "method": "spot", "extent": "3 spots"},
    {"amount": "a handful"},
)  # fmt: skip

ADDRESSES = ("118 Tollhouse Lane", "7 Sluice Court", "2451 Auburn Ravine Road")


@st.composite
def lines(draw: st.DrawFn, least: int = 1, most: int = 6) -> list[Row]:
    """Return lines of which some are good, some are wrong on purpose, and some stand twice."""
    rows: list[Row] = []
    for _ in range(draw(st.integers(least, most))):
        row = {**GOOD, **draw(st.sampled_from(KINDS_OF_LINE))}
        row["address"] = draw(st.sampled_from(ADDRESSES))
        row["date"] = f"2026-01-{draw(st.integers(5, 20)):02d}"
        row["places"] = draw(st.sampled_from(("door frame", "siding seam", "wall void")))
        row["line"] = draw(st.sampled_from(("", "", "1", "2", "3")))
        rows.append(row)
    for row in draw(st.lists(st.sampled_from(rows), max_size=2)):
        rows.append(dict(row))
    return rows


@st.composite
def broken(draw: st.DrawFn) -> list[Row]:
    """Return lines with cells changed to something hostile; none becomes blank."""
    rows = draw(lines())
    for _ in range(draw(st.integers(0, 8))):
        row = rows[draw(st.integers(0, len(rows) - 1))]
        heading = draw(st.sampled_from([name for name in APPLICATION_HEADINGS if name != "pests"]))
        row[heading] = draw(CELLS)
    return rows


@st.composite
def written(draw: st.DrawFn, rows: Sequence[Row]) -> tuple[bytes, int]:
    """Write lines as a file: headings in any order and case, blank rows anywhere."""
    headings = draw(st.permutations(APPLICATION_HEADINGS))
    shown = [draw(st.sampled_from((name, name.upper(), f" {name.title()} "))) for name in headings]
    out = io.StringIO()
    ending = draw(st.sampled_from(("\n", "\r\n")))
    writer = csv.writer(out, lineterminator=ending)
    writer.writerow(shown)
    for row in rows:
        if draw(st.integers(0, 4)) == 0:
            blank = draw(st.sampled_from(("", " ", "\u00a0", "\t")))
            writer.writerow([blank] * len(headings))
        writer.writerow([row.get(name, "") for name in headings])
    encoding = draw(st.sampled_from(("utf-8", "utf-8-sig")))
    return out.getvalue().encode(encoding), len(rows)


def accounted(done: Recorded) -> int:
    """Return how many lines are booked, held or known, which every line must be."""
    return sum(done.count(state) for state in ("booked", "held", "taken"))


def kept_lines(workspace: Workspace) -> int:
    with workspace.store.reading() as reader:
        kinds = (EntryKind.APPLICATION, EntryKind.HELD)
        return sum(1 for _ in reader.entries(kinds=kinds))


@few(40)
@given(data=st.data())
def test_any_sheet_books_or_holds_every_line_or_is_refused_whole(stamp, data):
    rows = data.draw(broken())
    text, count = data.draw(written(rows))
    with stamp.new() as firm:
        checked = check_sheet(firm, "day.csv", text)
        done = record_sheet(firm, "day.csv", text, "renner")
        assert checked.faults == done.faults
        if done.faults:
            assert kept_lines(firm) == 0
            return
        states = [outcome.line.state for outcome in done.outcomes]
        assert [outcome.line.state for outcome in checked.outcomes] == states
        assert accounted(done) == count
        assert kept_lines(firm) == done.count("booked") + done.count("held") == count
        for outcome in done.outcomes:
            assert (outcome.line.state == "held") == bool(outcome.line.faults)
        assert prove_whole(firm).ok


@few(50)
@given(data=st.data())
def test_bytes_that_are_no_sheet_never_raise(stamp, data):
    good, _ = data.draw(written(data.draw(lines(most=3))))
    mangled = bytearray(good)
    for _ in range(data.draw(st.integers(0, 6))):
        place = data.draw(st.integers(0, len(mangled)))
        if data.draw(st.booleans()):
            mangled[place:place] = data.draw(st.binary(max_size=8))
        else:
            del mangled[place : place + data.draw(st.integers(0, 300))]
    text = data.draw(st.sampled_from((bytes(mangled), data.draw(st.binary(max_size=60)))))
    name = data.draw(st.sampled_from(("day.csv", "day.xlsx", "", "\x00", "../day.csv")))
    with stamp.new() as firm:
        done = record_sheet(firm, name, text, "renner")
        assert done.faults or accounted(done) == len(done.sheet.drafts) == kept_lines(firm)
        assert prove_whole(firm).ok


@few(30)
@given(data=st.data())
def test_a_sheet_again_in_any_order_changes_nothing(stamp, data):
    rows = [row for row in data.draw(broken()) if visit_of(row) == visit_of(GOOD)]
    assume(rows)
    first, _ = data.draw(written(rows))
    second, _ = data.draw(written(data.draw(st.permutations(rows))))
    with stamp.new() as firm:
        if record_sheet(firm, "day.csv", first, "renner").faults:
            return
        before = what_stands(firm)
        for name, text in (("day.csv", first), ("day again.csv", second), ("day.csv", second)):
            again = record_sheet(firm, name, text, "renner")
            assert again.faults == ()
            assert (again.count("booked"), again.count("held")) == (0, 0)
            assert what_stands(firm) == before
        assert prove_whole(firm).ok


def visit_of(row: Row) -> set[str]:
    """Return the visit columns that a row fills.

    A blank one repeats the line above, so the place of such a row is part of what it says: only
    rows that fill what a good line fills mean the same in any order.
    """
    return {name for name in VISIT_COLUMNS if any(sign.isalnum() for sign in row.get(name, ""))}


def what_stands(workspace: Workspace) -> tuple[object, ...]:
    """Return the entries, their findings, the held lines: what a person would call the ledger."""
    rows = [(row.sealed.seal, row.state, row.findings) for row in list_entries(workspace, {})]
    return tuple(rows), tuple(held.seq for held in held_lines(workspace))


@few(30)
@given(data=st.data())
def test_judgements_do_not_depend_on_the_order_of_lines(stamp, data):
    rows = [{**row, "line": str(n)} for n, row in enumerate(data.draw(lines(least=2)), 1)]
    orders = (rows, data.draw(st.permutations(rows)))
    found = []
    for order in orders:
        with stamp.new() as firm:
            done = record_sheet(firm, "day.csv", sheet(*order), "renner")
            found.append({
                outcome.line.draft.text("line"): (
                    outcome.line.state,
                    sorted((str(item.kind), item.name) for item in outcome.findings),
                    sorted(fault.code for fault in outcome.line.faults),
                )
                for outcome in done.outcomes
            })  # fmt: skip
    assert found[0] == found[1]
    assert len(found[0]) == len(rows)


# --- work in any order ----------------------------------------------------------------------------

ENTRY = st.integers(1, 40)
WHY = st.sampled_from(("the scale was read wrongly", "another house", " ", ""))
PERSON = st.sampled_from(("renner", "calloway"))
DAY = st.sampled_from([date(2026, 1, day) for day in (5, 6, 14, 15, 16, 20)] + [date(2026, 6, 1)])
CHANGE = st.sampled_from((
    {"amount": "0.5 oz"}, {"amount": "7 g"}, {"amount": "1/2 pt"}, {"date": "2026-01-06"},
    {"address": "7 Sluice Court"}, {"address": "7 Sluise Court"}, {"county": "Nevada"},
    {"places": "eave"}, {"site": "S0001", "address": "", "city": "", "state": "", "zip": ""},
    {"site": "S0404"}, {"product": "marsh-gel"}, {"product": "no such"}, {"line": "3"},
    {"applicator": "calloway"}, {"date": "2031-01-06"}, {"basis": "mix"}, {},
))  # fmt: skip

OPERATIONS = st.one_of(
    st.tuples(st.just("record"), lines(most=3)),
    st.tuples(st.just("amend"), ENTRY, CHANGE, WHY, PERSON),
    st.tuples(st.just("strike"), ENTRY, WHY, PERSON),
    st.tuples(st.just("fix"), ENTRY, CHANGE, st.booleans(), PERSON),
    st.tuples(st.just("drop"), ENTRY, WHY, PERSON),
    st.tuples(st.just("amend by held"), ENTRY, ENTRY, WHY, PERSON),
    st.tuples(st.just("fix by sheet"), lines(most=3), PERSON),
    st.tuples(st.just("close"), DAY, st.sampled_from((None, "renner", "calloway")), PERSON),
    st.tuples(st.just("file"), st.sampled_from((1, 2)), st.booleans(), PERSON),
    st.tuples(st.just("same"), st.integers(1, 5), PERSON),
    st.tuples(st.just("apart"), st.integers(1, 5), PERSON),
)


def carry_out(firm: Workspace, operation: tuple[Any, ...]) -> Iterator[str]:
    """Do one thing as a command would; yield every seal code it gives a person to keep."""
    name, *said = operation
    match name:
        case "record":
            record_sheet(firm, "day.csv", sheet(*said[0]), "renner")
        case "amend":
            amend(firm, *said)
        case "strike":
            strike(firm, *said)
        case "fix":
            fix_held(firm, said[0], said[1], second=said[2], by=said[3])
        case "drop":
            drop_held(firm, *said)
        case "amend by held":
            amend_by_held(firm, *said)
        case "fix by sheet":
            fix_by_sheet(firm, "corrected.csv", sheet(*said[0]), said[1])
        case "close":
            closed = close_day(firm, *said)
            if closed.code:
                yield closed.code
        case "file":
            wish = FilingWish(date(2026, 2, 9), "by mail", said[2], with_open=said[1])
            for filed in file_report(firm, Period(2026, said[0]), wish, {}):
                yield seal_code(filed.entry.seal)
        case "same":
            answer_same(firm, f"S{said[0]:04d}", said[1])
        case "apart":
            answer_apart(firm, f"S{said[0]:04d}", said[1])


def seals(firm: Workspace) -> list[str]:
    with firm.store.reading() as reader:
        return [entry.seal for entry in reader.entries()]


@few(40)
@given(work=st.lists(OPERATIONS, min_size=2, max_size=14), first=lines(least=2, most=4))
def test_any_sequence_of_work_leaves_a_ledger_that_verifies(stamp, work, first):
    codes: list[str] = []
    with stamp.new() as firm:
        record_sheet(firm, "day.csv", sheet(*first), "renner")
        before = seals(firm)
        for operation in work:
            refused = False
            try:
                codes += list(carry_out(firm, operation))
            except WorkspaceProblem:
                refused = True
            after = seals(firm)
            assert after[: len(before)] == before, "what was sealed stays as it was"
            assert not refused or after == before, "a refusal changes nothing"
            before = after
        proof = prove_whole(firm, codes)
        assert proof.ok, proof.problems
        assert len({witness.given for witness in proof.witnesses}) == len(set(codes))
        assert reported(firm) == added_up(firm)
        for row in list_entries(firm, {}, versions=True):
            told = trace(firm, row.sealed.seq)
            assert told.differences == (), (row.sealed.seq, told.differences)


# --- sums -----------------------------------------------------------------------------------------

OUNCE = Fraction(45359237, 1600000)
"""Grams in an ounce by weight: a pound is 453.59237 g exactly (NIST Handbook 44, appendix C)."""

GRAMS = {
    "g": Fraction(1), "kg": Fraction(1000), "mg": Fraction(1, 1000), "oz": OUNCE, "lb": 16 * OUNCE,
}  # fmt: skip
FLUID_OUNCES = {
    "fl oz": Fraction(1), "pt": Fraction(16), "qt": Fraction(32), "gal": Fraction(128),
    "cup": Fraction(8), "tbsp": Fraction(1, 2), "tsp": Fraction(1, 6),
}  # fmt: skip
"""Fluid ounces in each measure (NIST Handbook 44, appendix C)."""


def measured(value: Fraction, unit: str) -> tuple[str, Fraction]:
    """Return a total in grams or in fluid ounces, by this test's own table."""
    if unit in GRAMS:
        return "g", value * GRAMS[unit]
    return "fl oz", value * FLUID_OUNCES[unit]


Sums = dict[tuple[str, str, str, str], tuple[Fraction, int]]


def added_up(firm: Workspace) -> Sums:
    """Add up January's current entries one by one; minimum-risk work is a remark, not a line."""
    totals: dict[tuple[str, str, str, str], Fraction] = defaultdict(Fraction)
    counts: Counter[tuple[str, str, str, str]] = Counter()
    for row in list_entries(firm, {"date_from": "2026-01-01", "date_to": "2026-01-31"}):
        use = row.use
        if use.product_key == "hearth-mint":
            continue
        unit, value = measured(Fraction(use.used.numerator, use.used.denominator), use.used.unit)
        key = (use.county, use.site_code, use.product_key, unit)
        totals[key] += value
        counts[key] += 1
    return {key: (total, counts[key]) for key, total in totals.items()}


def reported(firm: Workspace) -> Sums:
    summary, _, _, _ = summarise_period(firm, Period(2026, 1))
    found: Sums = {}
    for line in summary.lines:
        unit, value = measured(line.total, line.unit)
        found[line.county, line.site_code, line.product_key, unit] = (value, line.lines)
    return found


AMOUNTS = st.tuples(
    st.fractions(Fraction(1, 16), 40, max_denominator=16), st.sampled_from(("oz", "g", "lb", "kg"))
)
LIQUIDS = st.tuples(
    st.fractions(Fraction(1, 16), 40, max_denominator=16),
    st.sampled_from(("fl oz", "pt", "qt", "gal", "tbsp", "tsp", "cup")),
)


@st.composite
def dosed(draw: st.DrawFn) -> Row:
    """Return a line with an amount in any unit, written as a fraction, weighed or mixed."""
    row = dict(draw(st.sampled_from(KINDS_OF_LINE[:5])))
    liquid = row.get("product") in {"ridgeline-sc", "hearth-mint"}
    value, unit = draw(LIQUIDS if liquid else AMOUNTS)
    row["amount"] = f"{value} {unit}"
    if row.get("basis"):
        row["dilution"] = draw(st.sampled_from(("1 fl oz/gal", "0.06 % ai", "1 % product", "1:99")))
    row["line"] = ""
    row["address"], row["county"], row["zip"], row["city"] = draw(st.sampled_from((
        ("118 Tollhouse Lane", "Placer", "95603", "Auburn"),
        ("64 Idaho Bar Road", "Nevada", "95945", "Grass Valley"),
    )))  # fmt: skip
    row["date"] = f"2026-0{draw(st.integers(1, 2))}-{draw(st.integers(1, 19)):02d}"
    return row


@few(30)
@given(rows=st.lists(dosed(), min_size=1, max_size=12))
def test_a_month_s_summary_is_the_sum_of_its_entries(stamp, rows):
    with stamp.new() as firm:
        done = record_sheet(firm, "day.csv", sheet(*rows), "renner")
        assert done.count("booked") == len(rows), [o.line.faults for o in done.outcomes]
        expected = added_up(firm)
        assert reported(firm) == expected
        january = [row for row in rows if row["date"] < "2026-02"]
        remarked = sum(row.get("product") == "hearth-mint" for row in january)
        assert sum(count for _, count in expected.values()) == len(january) - remarked
