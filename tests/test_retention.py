"""Retention: the longest rule counts, orders hold, disposal destroys, and the chain verifies."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner
from sqlalchemy.exc import DBAPIError

from ledger.checks.retention import keep_until, rules_about, years_after
from ledger.cli import main
from ledger.flow.correcting import amend
from ledger.flow.disposing import attach, dispose_due, plan_disposal
from ledger.flow.holding import drop_held
from ledger.flow.inspecting import prove_whole
from ledger.flow.keep_orders import order_keep, release
from ledger.flow.listing import list_entries
from ledger.flow.recording import record_sheet
from ledger.flow.retaining import records
from ledger.flow.tracing import trace
from ledger.flow.workspace import Workspace, WorkspaceProblem
from ledger.journal import Store, StoreProblem
from ledger.journal.backup import backup, copy
from ledger.journal.dispose import dispose
from ledger.journal.verify import verify
from ledger.rulebook.model import Read, Retention
from ledger.values.dated import Span
from ledger.values.finding import RuleRef
from ledger.values.sealed import EntryKind, NewEntry
from tests.day_sheets import sheet
from tests.journal_data import small_ledger
from tests.workspaces import SetClock, sample_workspace

LATER = datetime(2029, 6, 1, 12, tzinfo=UTC)


def rule(years: int, counted: str, read: Read = Read.REGULATION) -> Retention:
    ref = RuleRef("jurisdictions/x.toml", 1, "retention[1]", "invented", "")
    return Retention(f"{years}-{counted}", years, counted, ref, read, Span())


def test_the_longest_rule_decides_by_its_own_count() -> None:
    days = {
        "application": date(2026, 1, 14), "completion of the work": date(2026, 1, 14),
        "record made": date(2026, 1, 15), "record made or amended": date(2027, 5, 1),
        "report filed": None,
    }  # fmt: skip
    two, three = rule(2, "application"), rule(3, "completion of the work")
    assert keep_until(days, [two, three]).day == date(2029, 1, 14)
    assert keep_until(days, [three, rule(2, "record made or amended")]).day == date(2029, 5, 1)
    assert keep_until(days, [rule(3, "end of the year")]).day == date(2029, 12, 31)
    assert keep_until(days, [two, rule(1, "report filed")]).day is None
    assert keep_until(days, [two, rule(1, "contract end")]).day is None
    of_people = replace(rule(9, "employment end"), about=("training",))
    assert rules_about([two, of_people], "application") == [two]
    assert rules_about([two, of_people], "training", "notice") == [of_people]
    assert keep_until(days, []).day is None
    memory = keep_until(days, [two, rule(5, "application", Read.MEMORY)])
    assert (memory.day, memory.note) == (date(2031, 1, 14), "from memory, not verified")
    assert years_after(date(2024, 2, 29), 1) == date(2025, 2, 28)


@pytest.fixture
def firm(tmp_path: Path, database: str) -> Workspace:
    """Two addresses on two sheets, one line amended, a dropped line, an attached file."""
    url = "" if database.startswith("sqlite") else database
    clock = SetClock(datetime(2026, 1, 16, 2, 30, tzinfo=UTC))
    made = sample_workspace(tmp_path / "firm", url, clock)
    done = record_sheet(made, "a.csv", sheet({"note": "zebra gate"}, {"amount": "some"}), "renner")
    amend(made, done.outcomes[0].seq or 0, {"amount": "0.3 oz"}, "zebra scale", "renner")
    drop_held(made, done.outcomes[1].seq or 0, "zebra said no", "renner")
    attach(made, "photo.jpg", b"zebra photograph", done.outcomes[0].seq or 0, "renner")
    other = {"address": "9 Quarry Road", "customer": "P. Vance-Holm", "note": "tapir dog"}
    record_sheet(made, "b.csv", sheet({**other, "date": "2026-01-15"}), "renner")
    return made


def private_words(workspace: Workspace) -> str:
    with workspace.store.reading() as reader:
        texts = [text for _, _, text in reader.privates()]
        blobs = [
            d.decode("utf-8", "replace") for _, kind, d in reader.blobs() if "rule" not in kind
        ]
    return "\n".join([*texts, *blobs])


def test_nothing_goes_before_its_day(firm: Workspace) -> None:
    with firm.store.reading() as reader:
        assert {item.until.day for item in records(firm, reader)} >= {date(2029, 1, 14)}
        assert plan_disposal(firm, reader, date(2029, 1, 13)).records == ()
        assert len(plan_disposal(firm, reader, date(2029, 1, 14)).records) == 2
    plan, done = dispose_due(firm, "too early", "calloway")
    assert (plan.entries, done) == ((), ())
    assert "zebra" in private_words(firm)


def test_disposal_destroys_the_texts_everywhere_and_the_chain_verifies(
    firm: Workspace, tmp_path: Path
) -> None:
    order = order_keep(firm, {"site": "S0002"}, "a claim", "calloway")
    backup(firm.store, tmp_path / "old.db")
    firm.clock.moment = LATER  # type: ignore[attr-defined]
    with pytest.raises(WorkspaceProblem, match="reason"):
        dispose_due(firm, " ", "calloway")
    plan, done = dispose_due(firm, "yearly disposal", "calloway")
    assert (len(plan.records), len(plan.held_back), len(done)) == (2, 1, 1)
    assert (done[0].kind, done[0].by) == (EntryKind.DISPOSAL, "calloway")
    assert done[0].body["rules"][0]["rule"]
    words = private_words(firm)
    assert "Okafor" not in words
    assert "tapir" in words
    if firm.store.engine.dialect.name == "sqlite":
        for path in firm.root.glob("ledger.db*"):
            for word in (b"zebra", b"Okafor", b"TOLLHOUSE"):
                assert word not in path.read_bytes()
        assert b"zebra" in (tmp_path / "old.db").read_bytes()
    proof = prove_whole(firm)
    assert proof.ok, proof.problems
    assert proof.disposed >= 5
    first = plan.records[0].first
    assert trace(firm, first).differences == ()
    assert "disposed of" in str(trace(firm, first).steps)
    shown = {row.sealed.seq: row.use.customer for row in list_entries(firm, {})}
    assert sorted(shown.values()) == ["", "P. Vance-Holm"]
    release(firm, order.seq, "claim settled", "calloway")
    plan, done = dispose_due(firm, "yearly disposal", "calloway")
    assert (len(plan.records), len(done)) == (1, 1)
    assert "tapir" not in private_words(firm)
    assert prove_whole(firm).ok
    copy(firm.store, f"sqlite:///{tmp_path / 'moved.db'}")


def test_an_order_holds_one_entry_or_a_stretch_of_days(firm: Workspace) -> None:
    with firm.store.reading() as reader:
        one, held, two = (item.first for item in records(firm, reader))
    seq = order_keep(firm, {"entry": one}, "a claim", "calloway").seq
    days = order_keep(firm, {"from": "2026-01-15", "to": "2026-01-15"}, "a claim", "calloway").seq
    with firm.store.reading() as reader:
        assert {item.first: item.orders for item in records(firm, reader)} == {
            one: (seq,), held: (), two: (days,),
        }  # fmt: skip
    with pytest.raises(WorkspaceProblem, match="what it keeps"):
        order_keep(firm, {}, "a claim", "calloway")
    with pytest.raises(WorkspaceProblem, match="not an order in force"):
        release(firm, one, "no", "calloway")


DELETES = (
    "DELETE FROM private WHERE seq = 6",
    "DELETE FROM private",
    "DELETE FROM place WHERE seq = 5",
    "DELETE FROM blob WHERE kind = 'sheet'",
    "DELETE FROM journal WHERE seq = 6",
    "UPDATE private SET text = '' WHERE seq = 7",
)


def test_the_guard_lets_go_only_what_the_newest_entry_disposes_of(store: Store) -> None:
    small_ledger(store)

    def refused(statement: str) -> bool:
        try:
            with store.engine.begin() as connection:
                connection.exec_driver_sql(statement)
        except DBAPIError as error:
            return "append-only" in str(error.orig)
        return False

    assert all(refused(statement) for statement in DELETES)
    body = {"entries": [4], "blobs": [], "rules": [], "because": "a test", "records": []}
    with store.writing() as writer:
        dispose(writer, NewEntry(EntryKind.DISPOSAL, body, by="M. Licensee"))
        with pytest.raises(ValueError, match="only a disposal"):
            dispose(writer, NewEntry(EntryKind.NOTE, body))
    assert all(refused(statement) for statement in DELETES)
    with store.reading() as reader:
        proof = verify(reader)
    assert (proof.ok, proof.disposed) == (True, 1)
    with store.writing() as writer:
        writer.append(NewEntry(EntryKind.NOTE, {"body": {"entries": [6]}, "entries": [6]}))
    assert all(refused(statement) for statement in DELETES), "a note is no disposal"
    with store.writing() as writer:  # sealed, and not carried out: what it names may go later
        writer.append(NewEntry(EntryKind.DISPOSAL, {**body, "entries": [6]}))
    with store.reading() as reader:
        assert [fault.code for fault in verify(reader).problems] == ["VERIFY-PRIVATE"]
    assert not refused(DELETES[0])
    assert all(refused(statement) for statement in DELETES[1:])
    with store.reading() as reader:
        assert verify(reader).ok


def test_a_text_that_goes_without_a_disposal_is_missing(sqlite_store: Store) -> None:
    from tests.test_verify_attacks import Attacker

    small_ledger(sqlite_store)
    Attacker(sqlite_store).run("DELETE FROM private WHERE seq = 6")
    with sqlite_store.reading() as reader:
        problems = verify(reader).problems
    assert ["no disposal accounts for it" in fault.what for fault in problems] == [True]


def test_the_commands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "160")  # wide enough for two words in one cell
    made = sample_workspace(tmp_path / "firm")
    seq = record_sheet(made, "old.csv", sheet({"date": "2020-01-14"}), "renner").outcomes[0].seq
    run, where = CliRunner().invoke, ["--workspace", str(made.root)]
    (tmp_path / "letter.txt").write_text("a letter")
    letter = str(tmp_path / "letter.txt")
    assert run(main, ["attach", letter, "--to", "999", "--by", "renner", *where]).exit_code == 2
    done = run(main, ["attach", letter, "--to", str(seq), "--by", "renner", *where])
    assert done.exit_code == 0, done.output
    kept = json.loads(run(main, ["keep", "--json", *where]).output)
    assert [(row["record"], row["until"]) for row in kept] == [(seq, "2023-01-14")]
    assert run(main, ["keep", "--entry", str(seq), *where]).exit_code == 2
    order = run(main, ["keep", "--entry", str(seq), "--because", "x", "--by", "calloway", *where])
    number = order.output.split()[1].strip(":")
    assert run(main, ["dispose", *where]).exit_code == 0
    ended = run(main, ["keep", "--end", number, "--because", "x", "--by", "calloway", *where])
    assert ended.exit_code == 0, ended.output
    listed = run(main, ["dispose", *where])
    assert (listed.exit_code, "1 records past their day" in listed.output) == (1, True)
    assert run(main, ["dispose", "--destroy", "--because", "x", *where]).exit_code == 2
    gone = run(main, ["dispose", "--destroy", "--because", "x", "--by", "calloway", *where])
    assert gone.exit_code == 0, gone.output
    assert "Backups, exports and packets made before" in gone.output
    assert run(main, ["verify", *where]).exit_code == 0
    assert "disposed of" in run(main, ["keep", *where]).output
    shutil.rmtree(made.root)


def test_disposal_is_refused_to_a_moved_ledger(tmp_path: Path) -> None:
    made = sample_workspace(tmp_path / "firm")
    with made.store.writing() as writer:
        writer.append(NewEntry(EntryKind.MOVED, {"to": "x"}, by="calloway"))
    with pytest.raises(StoreProblem, match="was moved"):
        dispose_due(made, "x", "calloway")
