"""A year filed in one go: every county and nil month, once, or nothing."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest
from click.testing import CliRunner

from ledger.cli import main
from ledger.flow import workspace as workspaces
from ledger.flow.closing import close_day
from ledger.flow.filing_register import list_filings
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import Workspace
from tests.day_sheets import sheet
from tests.workspaces import SetClock, sample_workspace


@pytest.fixture
def firm(tmp_path, monkeypatch) -> Workspace:
    clock = SetClock(datetime(2026, 4, 6, 18, tzinfo=UTC))
    found = sample_workspace(tmp_path / "firm", clock=clock)
    monkeypatch.setattr(
        workspaces.open_workspace, "__defaults__", (None, clock, workspaces.fresh_salt)
    )
    record_sheet(found, "day.csv", sheet({}, {"date": "2026-02-20", "line": "2"}), "renner")
    for day in ("2026-01-14", "2026-02-20"):
        close_day(found, datetime.fromisoformat(day).date(), None, "calloway")
    return found


def run(firm: Workspace, *words: str):
    return CliRunner().invoke(main, [*words, "--workspace", str(firm.root)])


def test_every_month_and_county_still_owed_is_filed(firm: Workspace) -> None:
    assert run(firm, "file", "2026-01", "--county", "Placer", "--by", "calloway").exit_code in {
        0,
        1,
    }
    done = run(firm, "file", "2026", "--by", "calloway", "--json")
    assert done.exit_code == 1  # January and February came late
    filed, owed = list_filings(firm)
    kept = {(item.entry.body["period"], item.entry.body["county"]) for item in filed}
    assert kept == {
        (f"2026-{month:02}", county) for month in (1, 2, 3) for county in ("Nevada", "Placer")
    }
    assert owed == ()
    nil = {
        (item.entry.body["period"], item.entry.body["county"])
        for item in filed if item.entry.body["nil"]
    }  # fmt: skip
    assert ("2026-03", "Placer") in nil
    assert ("2026-01", "Placer") not in nil
    assert len(json.loads(done.stdout)) == 5  # Placer in January was filed
    again = run(firm, "file", "2026", "--by", "calloway")
    assert again.exit_code == 2
    assert "nothing of 2026 is owed" in again.stderr


def test_an_open_day_anywhere_in_the_year_refuses_all_of_it(firm: Workspace) -> None:
    record_sheet(firm, "more.csv", sheet({"date": "2026-03-04", "line": "3"}), "renner")
    done = run(firm, "file", "2026", "--by", "calloway")
    assert done.exit_code == 2
    assert "2026-03-04" in done.stderr
    assert list_filings(firm)[0] == ()
    assert run(firm, "file", "2026", "--by", "calloway", "--with-open").exit_code == 1
    assert len(list_filings(firm)[0]) == 6


def test_the_postmark_of_a_mailed_report_is_what_counts(firm: Workspace) -> None:
    # 3 CCR 6627 by the state's study guide; 3 CCR 6626(e): the postmark is the day of delivery.
    posted = ("--posted", "2026-02-10", "--on", "2026-02-13")
    done = run(firm, "file", "2026-01", "--county", "Placer", *posted, "--by", "calloway")
    assert done.exit_code == 0
    assert "in time by its postmark of 10 February 2026" in " ".join(done.output.split())
    late = run(firm, "file", "2026-01", "--county", "Nevada", "--on", "2026-02-13", "--by", "x")
    assert late.exit_code == 2  # nobody of the workspace
    late = run(
        firm, "file", "2026-01", "--county", "Nevada", "--on", "2026-02-13", "--by", "calloway"
    )
    assert late.exit_code == 1
    told = json.loads(run(firm, "filings", "--json").stdout)["filings"]
    assert [(item["county"], item["posted"], item["how"], item["late"]) for item in told] == [
        ("Placer", "2026-02-10", "by mail", 0), ("Nevada", None, "by hand", 1),
    ]  # fmt: skip
    assert "postmark 2026-02-10" in " ".join(run(firm, "filings").stdout.split())


@pytest.mark.parametrize(
    ("said", "why"),
    [
        (("--posted", "2026-04-07"), "has not come yet"),
        (("--posted", "2026-02-10", "--on", "2026-02-09"), "before the postmark"),
    ],
)
def test_a_postmark_ahead_or_after_the_delivery_is_refused(
    firm: Workspace, said: tuple[str, ...], why: str
) -> None:
    done = run(firm, "file", "2026-01", *said, "--by", "calloway")
    assert done.exit_code == 2
    assert why in " ".join(done.stderr.split())
    assert list_filings(firm)[0] == ()


YORK = {
    "address": "14 Canal Row", "customer": "R. Stile", "city": "Albany", "state": "NY",
    "zip": "12207", "county": "Albany", "line": "7",
}  # fmt: skip


def test_the_state_is_named_where_several_owe(firm: Workspace) -> None:
    assert "California" not in run(firm, "filings").stdout  # the firm's home alone needs no name
    record_sheet(firm, "ny.csv", sheet({**YORK, "date": "2025-12-03"}), "renner")
    told = run(firm, "filings")
    owed = json.loads(run(firm, "filings", "--json").stdout)["owed"]
    assert {item["jurisdiction"] for item in owed} == {"us-ca", "us-ny"}
    lines = [line for line in told.stdout.splitlines() if line.startswith(("OVERDUE:", "owed:"))]
    home = [line for line in lines if ", California for Nevada, Placer: due" in line]
    other = [line for line in lines if ", New York" in line]
    assert (len(home) + len(other), len(home)) == (len(lines), 3)
    assert len(other) >= 1
    first = owed[0]
    whose = "" if first["jurisdiction"] == "us-ca" else f" --jurisdiction {first['jurisdiction']}"
    command = f"useledger file {first['period']}{whose} --by PERSON"
    assert command in told.stdout
    assert run(firm, *command.replace("PERSON", "calloway").split()[1:], "--with-open",
               "--out", str(firm.root / "filed")).exit_code in {0, 1}  # fmt: skip
    left = json.loads(run(firm, "filings", "--json").stdout)["owed"]
    assert first not in left
