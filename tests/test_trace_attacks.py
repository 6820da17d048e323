"""Somebody who owns the file changes it: the story of an entry says at which step it shows."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from ledger.flow.correcting import amend
from ledger.flow.inspecting import prove_whole
from ledger.flow.recording import record_sheet
from ledger.flow.tracing import Trace, trace
from ledger.flow.workspace import Workspace
from ledger.journal import open_store
from tests.day_sheets import sheet
from tests.workspaces import SetClock, counted_salts, sample_workspace

LINES: tuple[Mapping[str, str], ...] = (
    {"line": "1", "amount": "2 oz"},  # more than the label's rate for 100 ft
    {"line": "2", "product": "slate-powder", "amount": "0.5 oz", "method": "void",
     "setting": "indoor", "extent": "2 voids", "pests": "mice"},  # broke the law of 2025
)  # fmt: skip


@pytest.fixture(scope="module")
def honest(tmp_path_factory: pytest.TempPathFactory) -> tuple[Workspace, list[int]]:
    """A ledger with a finding of the label, a finding of the law, and an amendment."""
    firm = sample_workspace(tmp_path_factory.mktemp("trace") / "firm")
    done = record_sheet(firm, "day.csv", sheet(*LINES), "renner")
    seqs = [outcome.seq for outcome in done.outcomes]
    assert None not in seqs
    amended = amend(firm, seqs[0], {"amount": "0.3 oz"}, "read the scale wrongly", "calloway")
    assert amended.entry is not None
    firm.store.close()
    return firm, [*seqs, amended.entry.seq]


@pytest.fixture
def attacked(
    honest: tuple[Workspace, list[int]], tmp_path: Path
) -> Callable[[Callable[[sqlite3.Connection], object]], Workspace]:
    """Change a copy of the ledger with its guard dropped and put back, and open it."""

    def change(attack: Callable[[sqlite3.Connection], object]) -> Workspace:
        copied = tmp_path / "ledger.db"
        shutil.copyfile(honest[0].root / "ledger.db", copied)
        database = sqlite3.connect(copied)
        guard = database.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall()
        assert guard
        for name, _ in guard:
            database.execute(f'DROP TRIGGER "{name}"')
        attack(database)
        for _, statement in guard:
            database.execute(statement)
        database.commit()
        database.close()
        # The guard stands again: the store opens as if nothing had happened.
        clock = SetClock(honest[0].clock.moment)
        store = open_store(f"sqlite:///{copied}", clock=clock, salts=counted_salts())
        return Workspace(honest[0].root, honest[0].book, store, clock, "tester")

    return change


def steps(told: Trace) -> dict[int, set[str]]:
    """Return what differs, by the number of the step that shows it."""
    return {
        step.number: {item.what for item in step.differences}
        for step in told.steps
        if step.differences
    }


def private_of(database: sqlite3.Connection, seq: int) -> dict[str, object]:
    (text,) = database.execute("SELECT text FROM private WHERE seq = ?", (seq,)).fetchone()
    return json.loads(text)


def set_cell(seq: int, heading: str, value: str) -> Callable[[sqlite3.Connection], object]:
    def attack(database: sqlite3.Connection) -> object:
        private = private_of(database, seq)
        private["cells"][heading] = value
        text = json.dumps(private, ensure_ascii=True, sort_keys=True)
        return database.execute("UPDATE private SET text = ? WHERE seq = ?", (text, seq))

    return attack


def replace_text(where: str, old: str, new: str) -> Callable[[sqlite3.Connection], object]:
    """Return an attack on the sealed lines themselves; it must change exactly one of them."""

    def attack(database: sqlite3.Connection) -> object:
        done = database.execute(
            f"UPDATE journal SET text = replace(text, ?, ?) WHERE {where} AND instr(text, ?)",
            (old, new, old),
        )
        assert done.rowcount == 1
        return done

    return attack


def test_an_untouched_copy_differs_nowhere(honest, attacked):
    firm = attacked(lambda database: None)
    for seq in honest[1]:
        assert steps(trace(firm, seq)) == {}
    assert prove_whole(firm).ok


def test_the_honest_entries_have_findings_at_both_steps(honest, attacked):
    firm = attacked(lambda database: None)
    shown = {step.number: " ".join(step.lines) for step in trace(firm, honest[1][1]).steps}
    assert "breach" in shown[4]
    assert "12978.7" in shown[4]
    much = {step.number: " ".join(step.lines) for step in trace(firm, honest[1][0]).steps}
    assert "breach" in much[3]
    assert "labels/ridgeline-dust.toml" in much[3]


def test_a_changed_cell_shows_where_it_was_read_understood_and_sealed(honest, attacked):
    seq = honest[1][0]
    firm = attacked(set_cell(seq, "amount", "0.1 oz"))
    found = steps(trace(firm, seq))
    assert set(found) == {1, 2, 5}
    assert found[1] == {"cell amount"}
    assert found[2] == {"amount", "used"}
    assert found[5] == {"digest of the private text"}
    assert not prove_whole(firm).ok


def test_a_changed_customer_shows_too(honest, attacked):
    seq = honest[1][0]
    found = steps(trace(attacked(set_cell(seq, "customer", "Somebody Else")), seq))
    assert found == {
        1: {"cell customer"}, 2: {"customer"}, 5: {"digest of the private text"},
    }  # fmt: skip


def test_a_changed_cell_of_an_amendment_shows_where_it_was_understood_and_sealed(honest, attacked):
    seq = honest[1][2]
    found = steps(trace(attacked(set_cell(seq, "amount", "0.1 oz")), seq))
    assert found == {2: {"amount", "used"}, 5: {"digest of the private text"}}


def test_a_softened_finding_of_the_label_shows_at_the_third_step(honest, attacked):
    seq = honest[1][0]
    softened = replace_text(
        f"kind = 'judgement' AND first_seq = {seq} AND last_seq > {seq}",
        '"name":"crack-rate"', '"name":"crack-note"',
    )  # fmt: skip
    firm = attacked(softened)
    found = steps(trace(firm, seq))
    assert set(found) == {3, 5}
    assert any(what.startswith("breach") for what in found[3])
    assert any(what.startswith("seal of judgement") for what in found[5])
    assert not prove_whole(firm).ok


def test_a_softened_finding_of_the_law_shows_at_the_fourth_step(honest, attacked):
    seq = honest[1][1]
    softened = replace_text(f"kind = 'judgement' AND first_seq <= {seq} AND last_seq >= {seq}",
                            '"name":"anticoagulants-2025"', '"name":"paperwork"')  # fmt: skip
    found = steps(trace(attacked(softened), seq))
    assert set(found) == {4, 5}


def test_a_changed_record_shows_where_it_was_understood_and_sealed(honest, attacked):
    seq = honest[1][0]
    firm = attacked(replace_text(f"seq = {seq}", '"county":"Placer"', '"county":"Nevada"'))
    found = steps(trace(firm, seq))
    assert "county" in found[2]
    assert found[5] == {"seal"}


def test_a_seal_made_to_fit_a_changed_record_breaks_the_next_one(honest, attacked):
    seq = honest[1][0]

    def attack(database: sqlite3.Connection) -> object:
        from ledger.seal import seal_of

        replace_text(f"seq = {seq}", '"county":"Placer"', '"county":"Nevada"')(database)
        (text,) = database.execute("SELECT text FROM journal WHERE seq = ?", (seq,)).fetchone()
        again = seal_of(text.encode())
        return database.execute("UPDATE journal SET seal = ? WHERE seq = ?", (again, seq))

    found = steps(trace(attacked(attack), seq))
    assert "county" in found[2]
    assert found[5] == {"seal that the next entry holds"}


def test_a_changed_sheet_shows_where_it_was_read(honest, attacked):
    seq = honest[1][0]

    def attack(database: sqlite3.Connection) -> object:
        (data,) = database.execute("SELECT data FROM blob WHERE kind = 'sheet'").fetchone()
        changed = bytes(data).replace(b",2 oz,", b",3 oz,")
        return database.execute("UPDATE blob SET data = ? WHERE kind = 'sheet'", (changed,))

    firm = attacked(attack)
    assert steps(trace(firm, seq))[1] >= {"cell amount"}
    assert not prove_whole(firm).ok
