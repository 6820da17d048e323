"""The sample sheets give exactly what is expected of them, line by line, to the closed day."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from fractions import Fraction
from pathlib import Path

import pytest

from ledger.flow.booking import Recorded
from ledger.flow.closing import close_day
from ledger.flow.correcting import amend
from ledger.flow.holding import drop_held, fix_by_sheet, fix_held, held_lines
from ledger.flow.inspecting import prove_whole
from ledger.flow.listing import list_entries
from ledger.flow.periods import summarise_period
from ledger.flow.workspace import Workspace
from ledger.values.finding import Kind
from ledger.values.period import Period
from ledger.values.rounding import exact_text
from tests.workspaces import record, sample_workspace

FOURTEENTH = "day-2026-01-14.csv"
WORKBOOK = "day-2026-01-14.xlsx"
MESSY = "day-2026-01-15-messy.csv"
JANUARY = Period(2026, 1)

BOOKED = {
    "1": {("unknown", "crack-rate"), ("breach", "ten-days")},
    "4": {
        ("breach", "void-rate"), ("breach", "appliance-fan"), ("missing", "moving-air"),
        ("unknown", "kitchen-food"),
    },
    "6": {
        ("breach", "no-rain"), ("breach", "wind"), ("breach", "mix-rate"), ("breach", "seven-days"),
    },
    "10": {("breach", "certified-only")},
    "14": {("breach", "seven-days")},
    "15": {("breach", "anticoagulants-2025")},
}  # fmt: skip
"""Every breach, missing and unknown of the booked lines of the messy sheet, none more."""

HELD = {
    "2": ["AMOUNT-"], "3": ["PRODUCT-"], "5": ["TIME-"], "7": ["AMOUNT-"], "8": ["AMOUNT-"],
    "9": ["DATE-"], "11": ["AMOUNT-"], "12": ["AMOUNT-", "ADDRESS-"], "13": ["DILUTION-"],
}  # fmt: skip
"""How many faults each held line has, and of which family."""


@pytest.fixture(scope="module")
def handed_in(
    tmp_path_factory: pytest.TempPathFactory, module_server: str
) -> Iterator[tuple[Workspace, list[Recorded]]]:
    """The three sheets handed in one after the other, on each engine."""
    workspace = sample_workspace(tmp_path_factory.mktemp("samples") / "firm", module_server)
    yield workspace, [record(workspace, name) for name in (FOURTEENTH, WORKBOOK, MESSY)]
    workspace.store.close()


def by_line(result: Recorded) -> dict[str, object]:
    return {outcome.line.draft.text("line"): outcome for outcome in result.outcomes}


def found(outcome: object) -> set[tuple[str, str]]:
    return {
        (str(finding.kind), finding.name)
        for finding in outcome.findings
        if finding.kind is not Kind.ADVICE
    }


def test_the_fourteenth_is_booked_whole(handed_in):
    first = handed_in[1][0]
    assert first.count("booked") == 9
    assert first.count("held") == 0
    for line, outcome in by_line(first).items():
        assert found(outcome) == set(), line


def test_an_average_is_said_as_an_average(handed_in):
    third = by_line(handed_in[1][0])["3"]
    assert any("average" in finding.text for finding in third.findings)


def test_the_workbook_of_the_same_day_books_nothing_but_observations(handed_in):
    second = handed_in[1][1]
    assert second.count("booked") == 0
    assert second.count("held") == 0
    assert second.count("taken") == 9
    assert second.observations == 4


def test_the_messy_sheet_books_six_and_holds_nine(handed_in):
    lines = by_line(handed_in[1][2])
    states = {line: outcome.line.state for line, outcome in lines.items()}
    assert {line for line, state in states.items() if state == "booked"} == set(BOOKED)
    assert {line for line, state in states.items() if state == "held"} == set(HELD)
    assert len(lines) == 15


@pytest.mark.parametrize("line", BOOKED)
def test_a_booked_line_has_exactly_its_findings(handed_in, line):
    outcome = by_line(handed_in[1][2])[line]
    assert found(outcome) == BOOKED[line]
    counted = [finding for finding in outcome.findings if finding.kind is not Kind.ADVICE]
    assert len(counted) == len(BOOKED[line])


@pytest.mark.parametrize("line", HELD)
def test_a_held_line_has_exactly_its_faults(handed_in, line):
    outcome = by_line(handed_in[1][2])[line]
    codes = [fault.code for fault in outcome.line.faults]
    assert len(codes) == len(HELD[line]), codes
    for code, family in zip(sorted(codes), sorted(HELD[line]), strict=True):
        assert code.startswith(family), codes
    for fault in outcome.line.faults:
        assert fault.origin.row
        assert fault.what
        assert fault.way_out


def test_messages_say_what_they_should(handed_in):
    lines = by_line(handed_in[1][2])
    faults = {
        line: " ".join(f"{f.what} {f.way_out}" for f in o.line.faults) for line, o in lines.items()
    }
    assert "99999-" in faults["3"].replace("99999-77", "")  # the nearest known product
    assert "00:15 +1" in faults["5"]
    assert "0.5" in faults["8"]
    assert "% ai" in faults["13"]
    prohibition = " ".join(finding.text for finding in lines["15"].findings)
    assert "12978.7" in prohibition or any(
        "12978.7" in rule.source for f in lines["15"].findings for rule in f.rules
    )
    assert "(g)" in prohibition
    assert any("24 fl oz" in finding.text for finding in lines["14"].findings)


def totals(workspace: Workspace) -> dict[tuple[str, str], tuple[Fraction, str, int]]:
    summary, _, _, _ = summarise_period(workspace, JANUARY)
    return {
        (line.county, line.product_key): (line.total, line.unit, line.applications)
        for line in summary.lines
    }


def in_unit(workspace: Workspace, value: tuple[Fraction, str, int], unit: str) -> tuple[str, int]:
    from ledger.values.amount import Quantity

    total = workspace.book.units.convert(Quantity(value[0], value[1]), unit).value
    return str(round(float(total), 9)), value[2]


@pytest.fixture
def fresh(tmp_path: Path, server: str) -> Iterator[Workspace]:
    workspace = sample_workspace(tmp_path / "firm", server)
    yield workspace
    workspace.store.close()


def test_the_month_after_the_fourteenth(fresh):
    record(fresh, FOURTEENTH)
    summed = totals(fresh)
    grams = Fraction(45359237, 1600000)  # an ounce by weight, 1/16 of 453.59237 g
    expected = {
        ("Placer", "99999-11"): (1 + Fraction(41, 2) / grams, "oz", 3),
        ("Placer", "99999-12"): (Fraction(1, 2), "oz", 1),
        ("Placer", "99999-31"): (6 / grams, "oz", 1),
        ("Placer", "99999-51"): (Fraction(36), "oz", 1),
        ("Nevada", "99999-21"): (Fraction(9, 10), "fl oz", 1),
        ("Nevada", "99999-61"): (Fraction(3, 2), "oz", 1),
    }
    from ledger.values.amount import Quantity

    assert set(summed) == set(expected)
    for key, (total, unit, count) in expected.items():
        stated = fresh.book.units.convert(Quantity(summed[key][0], summed[key][1]), unit)
        assert stated.value == total, key
        assert summed[key][2] == count, key


def test_the_month_after_both_days(handed_in):
    from ledger.values.amount import Quantity

    workspace, _ = handed_in
    summed = totals(workspace)

    def ounces(key: tuple[str, str], unit: str) -> Fraction:
        return workspace.book.units.convert(Quantity(*summed[key][:2]), unit).value

    assert str(float(ounces(("Placer", "99999-11"), "oz")))[:12] == "3.4731162199"
    assert summed["Placer", "99999-11"][2] == 5
    # 0.9 + 1.5 x 1.1572364951... + 0.1875 = 2.8233547427..., the middle one kept to a billionth
    strength = 128 * Fraction(6, 10_000) / (Fraction(65, 1000) * Fraction(1021, 1000))
    kept = Fraction(round(Fraction(3, 2) * strength * 10**9), 10**9)
    nevada = ounces(("Nevada", "99999-21"), "fl oz")
    assert nevada == Fraction(9, 10) + kept + Fraction(3, 16)
    assert abs(nevada - Fraction("2.8233547427")) < Fraction(1, 10**9)
    assert summed["Nevada", "99999-21"][2] == 3
    assert ounces(("Nevada", "99999-61"), "oz") == Fraction(5, 2)
    assert summed["Nevada", "99999-61"][2] == 2
    assert ounces(("Nevada", "99999-62"), "oz") == 1
    assert summed["Nevada", "99999-62"][2] == 1


def test_pounds_of_active_ingredient(fresh):
    record(fresh, FOURTEENTH)
    summary, _, _, _ = summarise_period(fresh, JANUARY)
    pounds = {use.ingredient: use.pounds for use in summary.ingredients}
    shown = {name: f"{float(value):.16f}" for name, value in pounds.items()}
    assert shown["cyfluthrin"].startswith("0.000107694763")
    assert exact_text(pounds["silicon dioxide"]) == "0.02875"
    assert shown["dinotefuran"].startswith("0.0000529109429")
    assert exact_text(pounds["lambda-cyhalothrin"]) == "0.0009"
    assert exact_text(pounds["zinc phosphide"]) == "0.0075"
    assert exact_text(pounds["bifenthrin"]) == "0.003887"


def test_minimum_risk_work_is_a_remark_and_not_a_line(fresh):
    record(fresh, FOURTEENTH)
    summary, _, _, _ = summarise_period(fresh, JANUARY)
    assert all(line.product_key != "hearth-mint" for line in summary.lines)
    assert any("Hearth Mint" in remark.text for remark in summary.remarks)


def test_february_without_work_owes_nil_reports_by_the_tenth_of_march(fresh):
    from ledger.filing import due

    record(fresh, FOURTEENTH)
    summary, _, place, duty = summarise_period(fresh, Period(2026, 2))
    assert summary.lines == ()
    assert {nil.county for nil in summary.nil} == {"Placer", "Nevada"}
    assert due(duty, Period(2026, 2), place.state).day == date(2026, 3, 10)


def test_the_same_sheet_again_changes_nothing(fresh):
    record(fresh, FOURTEENTH)
    record(fresh, MESSY)
    before = totals(fresh)
    held = [line.seq for line in held_lines(fresh)]
    for name in (FOURTEENTH, MESSY, WORKBOOK, MESSY):
        again = record(fresh, name)
        assert again.count("booked") == 0
        assert again.count("held") == 0
    assert totals(fresh) == before
    assert [line.seq for line in held_lines(fresh)] == held


CORRECTED = {
    "2": {"amount": "0.25 oz"}, "3": {"product": "alder-dust", "extent": "4 voids; 900 sq ft"},
    "5": {"start": "9:00", "dilution": "1.2 fl oz/gal", "extent": "3 ft high; 800 sq ft"},
    "7": {"amount": "6 g"}, "8": {"amount": "0.5 oz"}, "9": {"date": "2026-01-15"},
    "11": {"basis": "mix", "dilution": "1 fl oz/gal"},
}  # fmt: skip


def test_the_day_closes_when_what_is_held_and_owed_is_cleared(fresh):
    record(fresh, FOURTEENTH)
    record(fresh, MESSY)
    day = date(2026, 1, 15)
    waiting = close_day(fresh, day, None, "calloway")
    assert waiting.entry is None
    assert len(waiting.obstacles) == 10  # nine held lines and one answer
    held = {line.cells["line"]: line.seq for line in held_lines(fresh)}
    assert set(held) == set(HELD)
    for line, changes in CORRECTED.items():
        fixed = fix_held(fresh, held[line], changes, second=False, by="renner")
        assert fixed.still == (), (line, fixed.still)
    for line in ("12", "13"):
        drop_held(fresh, held[line], "entered by mistake", "renner")
    assert held_lines(fresh) == ()
    still = close_day(fresh, day, None, "calloway")
    assert [item.what for item in still.obstacles] == [
        item.what for item in waiting.obstacles if "owes an answer" in item.what
    ]
    fourth = next(
        row for row in list_entries(fresh, {"date_from": day, "date_to": day})
        if row.use.line == "4"
    )  # fmt: skip
    answered = amend(fresh, fourth.sealed.seq, {"prepared": "fans off"}, "asked Renner", "calloway")
    assert answered.faults == ()
    closed = close_day(fresh, day, None, "calloway")
    assert closed.obstacles == ()
    assert closed.code
    assert prove_whole(fresh, (closed.code,)).ok


def test_a_corrected_sheet_clears_what_is_held(fresh, tmp_path):
    record(fresh, FOURTEENTH)
    record(fresh, MESSY)
    rows = (Path(__file__).parents[1] / "fixtures" / "samples" / MESSY).read_text("utf-8-sig")
    mended = (
        rows.replace("1/2 pt", "0.25 oz").replace("12 each", "6 g").replace('"0,5 oz"', "0.5 oz")
        .replace("2026-02-30", "2026-01-15").replace("11:00,10:10", "9:00,10:10")
        .replace("1.5 fl oz/gal", "1.2 fl oz/gal")
    )  # fmt: skip
    fixed = fix_by_sheet(fresh, "corrected.csv", mended.encode(), "renner")
    assert fixed.recorded is not None
    cleared = {outcome.line.draft.text("line") for outcome in fixed.recorded.outcomes}
    assert cleared == {"2", "5", "7", "8", "9"}
    left = {line.cells["line"] for line in held_lines(fresh)}
    assert left == {"3", "11", "12", "13"}
    assert prove_whole(fresh).ok
