"""What is due: found everywhere, overdue first, each with its source and what settles it."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime

import pytest
from click.testing import CliRunner

from ledger.cli import main
from ledger.deadlines import Owing, Sort
from ledger.flow.closing import close_day
from ledger.flow.due import what_is_due
from ledger.flow.filing_register import FilingWish, file_report, unregistered
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import Workspace
from ledger.values.period import Period
from tests.day_sheets import sheet
from tests.workspaces import SetClock, sample_workspace

MONDAY = date(2026, 2, 9)


@pytest.fixture
def firm(tmp_path) -> Workspace:
    clock = SetClock(datetime(2026, 1, 16, 2, 30, tzinfo=UTC))
    return sample_workspace(tmp_path / "firm", clock=clock)


def book(firm: Workspace, *lines: dict[str, str]) -> list[int | None]:
    done = record_sheet(firm, "day.csv", sheet(*lines), "renner")
    return [outcome.seq for outcome in done.outcomes]


def due(firm: Workspace, on: date = MONDAY, ahead: int = 30) -> tuple[Owing, ...]:
    return what_is_due(firm, on, ahead)


def of(found: tuple[Owing, ...], sort: Sort) -> list[Owing]:
    return [item for item in found if item.sort is sort]


def test_reports_are_due_on_the_tenth_and_named_before_they_are_over(firm: Workspace) -> None:
    book(firm, {})
    reports = of(due(firm), Sort.REPORT)
    # 3 CCR 6627, by the state's study guide: the 10th of the month after, each registered county.
    assert [(item.day, item.late) for item in reports] == [
        (date(2026, 2, 10), False), (date(2026, 2, 10), False),
        (date(2026, 3, 10), False), (date(2026, 3, 10), False),
    ]  # fmt: skip
    assert all("3 CCR 6627" in item.source for item in reports)
    assert reports[0].command.startswith('useledger file 2026-01 --county "Nevada"')
    assert "not over until 2026-02-28" in reports[-1].what
    assert [item.late for item in of(due(firm, date(2026, 2, 11), 0), Sort.REPORT)] == [True, True]


def test_a_filed_report_is_due_no_more(firm: Workspace) -> None:
    book(firm, {})
    firm.clock.moment = datetime(2026, 2, 9, 20, tzinfo=UTC)
    wish = FilingWish(MONDAY, "by hand", "calloway", True)
    file_report(firm, Period(2026, 1), wish, {})
    assert {item.day for item in of(due(firm), Sort.REPORT)} == {date(2026, 3, 10)}


def test_a_closed_due_day_shows_the_earlier_and_the_later(firm: Workspace) -> None:
    book(firm, {})
    # 10 May 2026 is a Sunday; Code of Civil Procedure 12a would move it, inferred.
    april = [i for i in of(due(firm, date(2026, 5, 1)), Sort.REPORT) if "April" in i.what]
    assert {(item.day, item.extended) for item in april} == {(date(2026, 5, 10), date(2026, 5, 11))}


def test_held_lines_open_days_and_questions(firm: Workspace) -> None:
    book(firm, {}, {"amount": "a handful", "line": "2"}, {"address": "118 Tolhouse Lane"})
    found = due(firm)
    assert [item.command for item in of(found, Sort.OPEN_DAY)] == [
        "useledger close 2026-01-14 --by PERSON"
    ]
    (held,) = of(found, Sort.HELD)
    assert held.late
    assert held.command.startswith("useledger held show")
    (question,) = of(found, Sort.QUESTION)
    assert "same place" in question.what


def test_a_closed_day_is_settled(firm: Workspace) -> None:
    book(firm, {})
    close_day(firm, date(2026, 1, 14), None, "calloway")
    assert of(due(firm), Sort.OPEN_DAY) == []


def test_a_record_that_lacks_something_has_its_clock(firm: Workspace) -> None:
    # 7 CFR 110.3(c): 14 days for a restricted-use product; zinc phosphide dust is one here.
    restricted = {"product": "granite-powder", "extent": "2 voids", "method": "void",
                  "pests": "mice", "amount": "1 oz", "notice": "before"}  # fmt: skip
    (seq, *_) = book(firm, {**restricted, "customer": ""})
    records = of(due(firm, date(2026, 1, 20)), Sort.RECORD)
    mine = [item for item in records if "7 CFR 110.3" in item.source]
    assert [item.day for item in mine] == [date(2026, 1, 28)]
    assert mine[0].command.startswith(f"useledger amend {seq} ")
    papers = of(due(firm, date(2026, 1, 20)), Sort.PAPER)
    assert date(2026, 2, 13) in {item.day for item in papers}  # 7 U.S.C. 136i-1(a)(2): 30 days
    assert all(item.late for item in of(due(firm, date(2026, 3, 1)), Sort.PAPER))


def test_licences_registrations_and_rule_files_run_out(firm: Workspace) -> None:
    book(firm, {})
    found = due(firm, date(2026, 1, 5))
    assert [(item.day, item.late) for item in of(found, Sort.LICENCE)] == [
        (date(2026, 1, 31), False)
    ]
    december = due(firm, date(2026, 12, 7))
    assert [item.day for item in of(december, Sort.REGISTRATION)] == [date(2026, 12, 31)] * 2
    stale = of(due(firm, date(2027, 11, 26), 0), Sort.RULES)
    assert any("us-ca.toml" in item.what for item in stale)


def test_records_may_go_after_the_longest_rule(firm: Workspace) -> None:
    book(firm, {})
    # 16 CCR 1970, Business and Professions Code 8652: three years.
    (kept,) = of(due(firm, date(2029, 1, 2)), Sort.RETENTION)
    assert (kept.day, kept.late) == (date(2029, 1, 14), False)
    assert of(due(firm, date(2028, 12, 2)), Sort.RETENTION) == []


def test_work_without_a_registration_is_told(firm: Workspace) -> None:
    book(firm, {"county": "Sierra", "city": "Loyalton", "zip": "96118"})
    (said,) = unregistered(firm)
    assert "work in Sierra in 2026" in said


def test_overdue_comes_first_and_the_exit_code_tells(firm: Workspace) -> None:
    book(firm, {})
    found = due(firm, date(2026, 2, 11))
    assert [item.late for item in found] == sorted((item.late for item in found), reverse=True)
    said = CliRunner().invoke(
        main, ["due", "--workspace", str(firm.root), "--on", "2026-02-11", "--json"]
    )
    assert said.exit_code == 1
    assert json.loads(said.stdout)[0]["overdue"] is True
    bad = CliRunner().invoke(main, ["due", "--workspace", str(firm.root), "--ahead", "soon"])
    assert bad.exit_code == 2


def test_work_of_long_ago_is_not_read_again(
    firm: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is whole, closed and run out costs no line: no paper is owed, nothing lacks there."""
    from ledger.journal import listing, read

    day, on = date(2025, 1, 10), date(2026, 11, 20)
    firm.clock.moment = datetime(2025, 1, 11, 2, 30, tzinfo=UTC)

    def lines_read() -> int:
        plain = read.sealed_from
        seen: list[str] = []

        def noted(row):
            made = plain(row)
            seen.append(made.kind)
            return made

        for module in (read, listing):
            monkeypatch.setattr(module, "sealed_from", noted)
        what_is_due(firm, on)
        monkeypatch.undo()
        return sum(kind in {"application", "amendment"} for kind in seen)

    def worked(count: int, name: str, start: int) -> None:
        cells = [
            {
                "date": str(day),
                "line": str(start + n),
                "start": f"{start:02}:{n:02}",
                "end": f"{start:02}:50",
            }
            for n in range(count)
        ]
        done = record_sheet(firm, name, sheet(*cells), "renner")
        assert done.count("booked") == count
        close_day(firm, day, None, "calloway")

    worked(1, "a.csv", 8)
    before = lines_read()
    worked(12, "b.csv", 10)
    assert lines_read() == before
    found = of(due(firm, on), Sort.OPEN_DAY)
    assert found == []
