"""Years kept elsewhere: counted in limits and reports, never late, never judged, never owed."""

from __future__ import annotations

import csv
import json
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner
from openpyxl import load_workbook

from ledger.cli import main
from ledger.flow.carrying import carry_over
from ledger.flow.correcting import amend
from ledger.flow.filing_register import list_filings, open_in
from ledger.flow.inspecting import prove_whole
from ledger.flow.judging import latest_findings
from ledger.flow.listing import list_entries
from ledger.flow.periods import summarise_period
from ledger.flow.recording import record_sheet
from ledger.flow.tracing import trace
from ledger.flow.workspace import Workspace
from ledger.values.finding import Kind
from ledger.values.period import Period
from ledger.values.sealed import EntryKind
from tests.day_sheets import sheet
from tests.workspaces import sample_workspace

OLD = {"date": "2026-01-08", "line": ""}
"""A week before the ledger of the samples was made, on the evening of 2026-01-15."""


@pytest.fixture
def firm(tmp_path: Path) -> Workspace:
    return sample_workspace(tmp_path / "firm")


def test_carried_lines_are_sealed_without_judgement_and_counted(firm: Workspace) -> None:
    done = carry_over(firm, "old.csv", sheet(OLD, {**OLD, "amount": "9 oz"}), "calloway")
    assert (len(done.seqs), done.left) == (2, ())
    with firm.store.reading() as reader:
        entry = reader.entry(done.seqs[0])
        assert (entry.body["carried"], entry.body["late"], entry.by) == (1, None, "calloway")
        assert list(reader.entries(kinds=(EntryKind.JUDGEMENT,))) == []
        assert open_in(reader, Period(2026, 1)).days == ()
        assert reader.first_day("us-ca") is None
        kinds = [item.body["state"] for item in reader.entries(kinds=(EntryKind.SHEET,))]
    assert kinds == ["carried over"]
    assert len(list_entries(firm, {})) == 2
    assert summarise_period(firm, Period(2026, 1))[0].lines[0].lines == 2
    assert "not judged here" in str(trace(firm, done.seqs[0]).steps)
    assert trace(firm, done.seqs[0]).differences == ()
    assert prove_whole(firm).ok


def test_a_carried_line_counts_in_the_interval_of_a_later_one(firm: Workspace) -> None:
    before = record_sheet(firm, "day.csv", sheet({}), "renner").outcomes[0]
    assert not [f for f in before.findings if f.kind is Kind.BREACH]
    done = carry_over(firm, "old.csv", sheet(OLD), "calloway")
    assert done.judged_again == 1
    with firm.store.reading() as reader:
        again = [f for f in latest_findings(reader, before.seq or 0) if f.kind is Kind.BREACH]
        assert again, "eight days are less than the ten days of the label"
        assert reader.judgements(done.seqs[0]) == ()


def test_handing_the_sheet_in_again_takes_only_what_was_left_out(firm: Workspace) -> None:
    bad = sheet(OLD, {**OLD, "places": "siding seam", "amount": "some"})
    first = carry_over(firm, "old.csv", bad, "calloway")
    assert (len(first.seqs), len(first.left), first.left[0].faults[0].origin.row) == (1, 1, 3)
    with firm.store.reading() as reader:
        assert reader.held_open() == ()
    again = carry_over(firm, "old.csv", bad, "calloway")
    assert (again.seqs, again.taken, len(again.left)) == ((), 1, 1)


def test_days_that_the_ledger_was_kept_cannot_be_carried_over(firm: Workspace) -> None:
    done = carry_over(firm, "old.csv", sheet({"date": "2026-01-15"}), "calloway")
    assert done.seqs == ()
    assert [fault.code for fault in done.left[0].faults] == ["CARRY-DAY"]
    assert "useledger record" in done.left[0].faults[0].way_out
    assert list_entries(firm, {}) == []


def test_an_amended_carried_line_stays_carried(firm: Workspace) -> None:
    (seq,) = carry_over(firm, "old.csv", sheet(OLD), "calloway").seqs
    done = amend(firm, seq, {"amount": "0.25 oz"}, "misread", "calloway")
    assert done.entry is not None
    assert (done.entry.body["carried"], done.findings) == (1, ())
    with firm.store.reading() as reader:
        assert open_in(reader, Period(2026, 1)).days == ()


def test_past_years_owe_no_reports(firm: Workspace) -> None:
    before = [(item.period, item.county) for item in list_filings(firm)[1]]
    carry_over(firm, "old.csv", sheet({**OLD, "date": "2023-03-01"}), "calloway")
    assert [(item.period, item.county) for item in list_filings(firm)[1]] == before
    assert min(row.use.date for row in list_entries(firm, {})) == date(2023, 3, 1)


def test_the_command(firm: Workspace, tmp_path: Path) -> None:
    path = tmp_path / "old.csv"
    path.write_bytes(sheet(OLD, {**OLD, "places": "siding seam", "amount": "some"}))
    where = ["--workspace", str(firm.root)]
    run = CliRunner().invoke
    assert run(main, ["carry-over", str(path), *where]).exit_code == 2
    done = run(main, ["carry-over", str(path), "--by", "calloway", *where])
    assert (done.exit_code, "old.csv:3: " in done.output) == (1, True)
    assert "1 carried over, 0 were before, 1 left out" in done.output
    path.write_bytes(b"not,a,sheet\n1,2,3\n")
    assert run(main, ["carry-over", str(path), "--by", "calloway", *where]).exit_code == 2


def test_a_list_of_entries_says_which_were_carried_over(
    firm: Workspace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "160")  # wide enough for two words in one cell
    (seq,) = carry_over(firm, "old.csv", sheet(OLD), "calloway").seqs
    own = record_sheet(firm, "day.csv", sheet({}), "renner").outcomes[0].seq
    where = ["--workspace", str(firm.root)]
    run = CliRunner().invoke
    told = json.loads(run(main, ["entries", "--json", *where]).output)["entries"]
    assert {row["seq"]: row["carried"] for row in told} == {seq: True, own: False}
    lines = run(main, ["entries", *where]).output.splitlines()
    marked = [line.split()[0] for line in lines if "carried over" in line]
    assert marked == [str(seq)]
    for name in ("list.csv", "list.xlsx"):
        assert run(main, ["entries", "--out", str(tmp_path / name), *where]).exit_code == 0
    rows = list(csv.DictReader((tmp_path / "list.csv").open(encoding="utf-8-sig")))
    by_entry = {row["Entry"]: row for row in rows if row["Entry"]}
    assert by_entry[str(seq)]["Carried"] == "carried over"
    assert by_entry[str(seq)]["Findings"] == "", "it was not judged here"
    assert by_entry[str(own)]["Carried"] == ""
    cells = [
        str(c.value) for r in load_workbook(tmp_path / "list.xlsx").active.iter_rows() for c in r
    ]
    assert cells.count("carried over") == 1
