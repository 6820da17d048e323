"""Answers to findings: entries of their own, open and answered apart, kept by a new judgement."""

from __future__ import annotations

import csv
import json
from datetime import UTC, datetime

import pytest
from click.testing import CliRunner
from openpyxl import load_workbook
from pypdf import PdfReader

from ledger.cli import main
from ledger.flow.answering import Reply, answer
from ledger.flow.audit_scope import Scope
from ledger.flow.auditing import audit
from ledger.flow.correcting import amend
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import WorkspaceProblem
from ledger.values.sealed import EntryKind
from tests.day_sheets import sheet
from tests.workspaces import SetClock, sample_workspace

AGAIN = {"date": "2026-01-20", "start": "08:00", "end": "08:30", "line": "2"}
REPLY = Reply("M. Okafor called us back early", "the plan now counts ten days", "calloway")


@pytest.fixture
def firm(tmp_path):
    clock = SetClock(datetime(2026, 1, 22, 3, tzinfo=UTC))
    made = sample_workspace(tmp_path / "firm", clock=clock)
    record_sheet(made, "day.csv", sheet({}, AGAIN), "renner")
    return made


def breach(firm):
    return next(item for item in audit(firm, Scope()).items if item.name == "ten-days")


def test_an_answer_settles_a_breach_and_is_kept_apart(firm):
    open_one = breach(firm)
    assert open_one.owed
    done = answer(firm, str(open_one.entry), REPLY)
    assert [item.id for item, _ in done] == [open_one.id]
    after = breach(firm)
    assert not after.owed
    assert after.answer is not None
    assert (after.answer.because, after.answer.action) == (REPLY.because, REPLY.action)
    assert after.answer.by == "calloway"
    assert audit(firm, Scope()).figures.answered == 1


def test_what_people_say_stands_in_the_private_part_only(firm):
    sealed = answer(firm, breach(firm).id, REPLY)[0][1]
    assert sealed.kind is EntryKind.ANSWER
    assert "Okafor" not in sealed.text
    assert "Okafor" in (sealed.private or "")


def test_the_same_finding_of_a_newer_judgement_keeps_its_answer(firm):
    before = breach(firm)
    answer(firm, before.id, REPLY)
    # Another line two days before the answered one: the interval is now counted from there.
    line = {"date": "2026-01-18", "start": "08:00", "end": "08:30", "line": "3"}
    record_sheet(firm, "found.csv", sheet(line), "renner")
    found = [item for item in audit(firm, Scope()).items if item.name == "ten-days"]
    again = next(item for item in found if item.entry == before.entry)
    assert again.text != before.text, "it was judged anew"
    assert again.answer is not None
    assert any(item.owed for item in found), "the new line's own breach is open"


def test_a_corrected_record_has_to_be_answered_again(firm):
    before = breach(firm)
    answer(firm, before.id, REPLY)
    amend(firm, before.entry, {"amount": "0.3 oz"}, "weighed again", "renner")
    after = breach(firm)
    assert after.owed
    assert f"version {before.entry}" in after.note


def test_what_only_an_act_settles_stays_owed(firm):
    answer(firm, "day:2026-01-14/missing/open-day", REPLY)
    item = next(item for item in audit(firm, Scope()).items if item.subject == "day:2026-01-14")
    assert item.answer is not None
    assert item.owed


@pytest.mark.parametrize("what", ["1", "99999", "7/breach/ten-dayz", "day:2026-01-15", ""])
def test_what_is_not_there_cannot_be_answered(firm, what):
    with firm.store.reading() as reader:
        head = reader.head
    with pytest.raises(WorkspaceProblem):
        answer(firm, what, REPLY)
    with firm.store.reading() as reader:
        assert reader.head == head


def test_an_answer_needs_reason_and_action(firm):
    with pytest.raises(WorkspaceProblem, match="reason"):
        answer(firm, breach(firm).id, Reply(" ", "done", "calloway"))


def test_the_command(firm):
    name = breach(firm).id
    given = ["--because", "called back", "--action", "plan checked", "--workspace", str(firm.root)]
    done = CliRunner().invoke(main, ["answer", name, *given, "--by", "calloway", "--json"])
    assert done.exit_code == 0, done.output
    assert [one["finding"] for one in json.loads(done.output)] == [name]
    assert CliRunner().invoke(main, ["answer", name, *given, "--by", "x"]).exit_code == 2
    assert CliRunner().invoke(main, ["answer", name, *given]).exit_code == 2


def rows_of(page) -> list[dict[str, str]]:
    """Return a worksheet's table as rows by heading."""
    lines = [[str(cell.value or "") for cell in row] for row in page.iter_rows()]
    head = next(number for number, line in enumerate(lines) if "Weight" in line)
    return [dict(zip(lines[head], line, strict=False)) for line in lines[head + 1 :]]


def test_open_and_answered_stand_apart_in_every_form(firm, tmp_path):
    """In the table, in JSON, in workbook, PDF and CSV; nothing stands in both or in neither."""
    answered = breach(firm).id
    answer(firm, answered, REPLY)
    run, where = CliRunner().invoke, ["--workspace", str(firm.root)]
    told = json.loads(run(main, ["audit", "--json", *where]).output)["findings"]
    by_state = {state: {one["finding"] for one in told if one["state"] == state}
                for state in ("open", "answered")}  # fmt: skip
    assert by_state["answered"] == {answered}
    assert len(by_state["open"]) == len(told) - 1 > 0
    table, _, below = run(main, ["audit", *where]).output.partition("Answered by the firm")
    assert answered not in table
    assert answered in below
    assert REPLY.because in below
    for name in ("audit.xlsx", "audit.pdf", "audit.csv"):
        assert run(main, ["audit", "--out", str(tmp_path / name), *where]).exit_code == 1
    book = load_workbook(tmp_path / "audit.xlsx")
    found = {page: {row["Finding"] for row in rows_of(book[page])} - {""}
             for page in ("findings", "answered")}  # fmt: skip
    assert answered in found["answered"]
    assert found["findings"] >= by_state["open"]
    assert not found["findings"] & found["answered"]
    rows = list(csv.DictReader((tmp_path / "audit.csv").open(encoding="utf-8-sig")))
    states = {row["Finding"]: row["State"] for row in rows if row["Finding"]}
    assert {name for name, state in states.items() if state == "answered"} == {answered}
    assert next(row for row in rows if row["Finding"] == answered)["Reason"] == REPLY.because
    paper = PdfReader(tmp_path / "audit.pdf")
    text = " ".join(" ".join(page.extract_text().split()) for page in paper.pages)
    assert text.index("Audit: open") < text.index("Audit: answered")
    assert "the plan now counts ten days" in text[text.index("Audit: answered") :]
