"""How each engine is opened, what a month costs, and what many writers and sudden deaths do."""

from __future__ import annotations

import multiprocessing
import random
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time
from pathlib import Path
from typing import Any

import pytest

from ledger.journal import Store, StoreProblem, create, file_modes, open_store
from ledger.journal.file_modes import journal_mode, wal_is_safe
from ledger.journal.link import FileConnection
from ledger.journal.listing import entries_by_day
from ledger.journal.month import month_statement
from ledger.journal.verify import verify
from ledger.values.sealed import EntryKind, NewEntry
from tests.journal_data import FIRM, TickingClock, amended, counted_salts, use, with_values

TOOLS: dict[str, Any] = {"clock": TickingClock(), "salts": counted_salts()}


@pytest.mark.parametrize(
    ("version", "safe"),
    [
        ("3.7.0", False), ("3.40.1", False), ("3.44.5", False), ("3.44.6", True),
        ("3.44.12", True), ("3.45.0", False), ("3.45.6", False), ("3.49.9", False),
        ("3.50.6", False), ("3.50.7", True), ("3.51.0", False), ("3.51.2", False),
        ("3.51.3", True), ("3.52.0", True), ("3.53.4", True), ("4.0.0", True),
    ],
)  # fmt: skip
def test_which_sqlite_may_use_a_write_ahead_log(version: str, safe: bool) -> None:
    """Source: https://www.sqlite.org/wal.html#the_wal_reset_bug (fixed in 3.51.3, backported)."""
    assert wal_is_safe(version) is safe
    assert journal_mode(version) == (("wal", "FULL") if safe else ("delete", "EXTRA"))


def pragmas(store: Store) -> dict[str, Any]:
    names = ("journal_mode", "synchronous", "foreign_keys", "recursive_triggers", "busy_timeout",
             "trusted_schema", "cell_size_check")  # fmt: skip
    with store.reading() as reader:
        run = reader.connection.exec_driver_sql
        return {name: run(f"PRAGMA {name}").scalar() for name in names}


@pytest.mark.parametrize(
    ("version", "mode", "level"), [("3.40.1", "delete", 3), ("3.51.3", "wal", 2)]
)
def test_each_connection_is_set_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, version: str, mode: str, level: int
) -> None:
    """The numbers of ``synchronous`` are FULL 2 and EXTRA 3 (sqlite.org/pragma.html)."""
    monkeypatch.setattr(file_modes.sqlite3, "sqlite_version", version)
    store = create(f"sqlite:///{tmp_path / 'x.db'}", firm=FIRM, **TOOLS)
    assert pragmas(store) == {
        "journal_mode": mode, "synchronous": level, "foreign_keys": 1, "recursive_triggers": 1,
        "busy_timeout": 20_000, "trusted_schema": 0, "cell_size_check": 1,
    }  # fmt: skip
    with store.writing() as writer:
        writer.append(use(1))
    with store.reading() as reader:
        assert verify(reader).ok
    store.close()


def test_an_unsafe_sqlite_takes_a_ledger_out_of_the_log_or_refuses(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "x.db"
    create(f"sqlite:///{file}", firm=FIRM, **TOOLS).close()
    other = sqlite3.connect(file)
    other.execute("PRAGMA journal_mode = wal")
    other.execute("SELECT count(*) FROM journal").fetchone()
    monkeypatch.setattr(file_modes.sqlite3, "sqlite_version", "3.40.1")
    monkeypatch.setattr(file_modes, "BUSY_SECONDS", 0)
    with pytest.raises(StoreProblem, match=r"in use|WAL"):
        open_store(f"sqlite:///{file}", **TOOLS)
    other.close()
    store = open_store(f"sqlite:///{file}", **TOOLS)
    assert pragmas(store)["journal_mode"] == "delete"
    store.close()


def test_a_writer_waits_for_its_turn_and_then_says_who_is_in_the_way(
    sqlite_database: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(file_modes, "BUSY_SECONDS", 0)
    one = create(sqlite_database, firm=FIRM, **TOOLS)
    other = open_store(sqlite_database, **TOOLS)
    with one.writing() as writer:
        writer.append(use(1))
        in_use = pytest.raises(StoreProblem, match="in use by another program")
        with in_use as problem, other.writing():
            raise AssertionError("two writers at once")
        assert "try again" in problem.value.way_out
    with other.writing() as writer:
        assert writer.head.seq == 2
    one.close()
    other.close()


# --- the cost of a month ------------------------------------------------------------------------

MONTHS = 12
LINES = 20_000


def fill(store: Store) -> None:
    """Write some 20,000 applications over a year and amend one in a hundred."""
    chance = random.Random(1)
    sealed = []
    with store.writing() as writer:
        for number in range(LINES):
            day = f"2025-{1 + number * MONTHS // LINES:02d}-{1 + number % 28:02d}"
            entry = use(number, date=day)
            sealed.append(writer.append(NewEntry(entry.kind, entry.body)))
        for entry in chance.sample(sealed, LINES // 100):
            new = amended(entry, county="Plumas")
            writer.append(NewEntry(new.kind, new.body, replaces=new.replaces))


def month_sql(county: str | None) -> str:
    values = ("us-ca", 202506) if county is None else ("us-ca", 202506, county)
    return with_values(month_statement(one_county=county is not None), *values)


def test_a_month_is_one_walk_along_one_index(store: Store) -> None:
    fill(store)
    if store.engine.dialect.name == "sqlite":
        with store.reading() as reader:
            for county in (None, "Placer"):
                sql = month_sql(county)
                rows = reader.connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {sql}").all()
                plan = [row[3] for row in rows]
                place = " AND county=?" if county else ""
                assert plan[0] == (
                    "SEARCH journal USING COVERING INDEX ix_journal_use"
                    f" (jurisdiction=? AND ym=?{place})"
                )
                assert plan[2].endswith("USING COVERING INDEX ux_journal_replaces (replaces=?)")
                assert not any("SCAN" in step or "TEMP B-TREE" in step for step in plan), plan
    else:
        alone = store.engine.execution_options(isolation_level="AUTOCOMMIT")
        with alone.connect() as connection:
            # Apart, for the two in one leave the size of a partial index unknown.
            connection.exec_driver_sql("VACUUM journal")
            connection.exec_driver_sql("ANALYZE journal")
            for county in (None, "Placer"):
                sql = month_sql(county)
                plan = [row[0] for row in connection.exec_driver_sql(f"EXPLAIN {sql}").all()]
                text = "\n".join(plan)
                assert "Index Only Scan using ix_journal_use on journal" in text, text
                assert "Seq Scan" not in text, text
                assert "jurisdiction = 'us-ca'::text) AND (ym = 202506)" in text, text
    with store.reading() as reader:
        groups = reader.month("us-ca", 202506)
    june = [n for n in range(LINES) if 1 + n * MONTHS // LINES == 6]
    assert sum(group.lines for group in groups) == len(june)
    assert sum(group.amount for group in groups) * 10 == sum(5 + n for n in june)


def test_other_questions_use_their_index(
    sqlite_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(sqlite_store)
    asked: dict[str, str] = {}
    with sqlite_store.reading() as reader:
        plain = FileConnection.exec_driver_sql

        def noted(self: FileConnection, statement: str, values: Any = None, **kw: Any) -> Any:
            seen = plain(self, f"EXPLAIN QUERY PLAN {statement}", values)
            asked[statement] = "\n".join(row[3] for row in seen.all())
            return plain(self, statement, values, **kw)

        monkeypatch.setattr(FileConnection, "exec_driver_sql", noted)
        reader.by_identity("x")
        reader.by_own("x")
        reader.at_site("S0001")
        reader.judgements(5)
        reader.versions(5)
        reader.site("S0001")
        reader.sites_in("95602")
        reader.referring(5)
        reader.held_open()
        reader.closes("2025-06-01")
        list(reader.entries(date_from="2025-06-01", date_to="2025-06-02", current_only=True))
        days = {"date_from": "2025-06-01", "date_to": "2025-06-02"}
        list(reader.entries((EntryKind.APPLICATION,), **days))
        list(entries_by_day(reader, (EntryKind.APPLICATION,), current_only=True, filters=days))
        list(reader.entries((EntryKind.RULES,)))
        monkeypatch.undo()
    assert len(asked) > 10
    dated = [plan for sql, plan in asked.items() if "applied_on >=" in sql]
    assert len(dated) == 3
    assert all("USING INDEX ix_journal_applied_on" in plan for plan in dated), dated
    assert "TEMP B-TREE" not in dated[-1]
    scans = {sql: plan for sql, plan in asked.items() if "SCAN journal" in plan}
    # The head is the last row alone.
    assert [sql for sql in scans if "ORDER BY seq DESC LIMIT 1" not in sql] == []


# --- many writers, and sudden deaths --------------------------------------------------------------


def append_many(url: str, count: int, worker: int) -> None:
    store = open_store(url, **TOOLS)
    for number in range(count):
        with store.writing() as writer:
            first = writer.append(NewEntry(EntryKind.NOTE, {"worker": worker, "number": number}))
            writer.append(NewEntry(EntryKind.NOTE, {"worker": worker}, refers=first.seq))
    store.close()


def test_four_processes_append_without_fork_or_gap(store: Store, database: str) -> None:
    each = 20
    store.close()
    context = multiprocessing.get_context("spawn")
    workers = [
        context.Process(target=append_many, args=(database, each, number)) for number in range(4)
    ]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(180)
        assert worker.exitcode == 0
    with store.reading() as reader:
        proof = verify(reader)
        entries = list(reader.entries((EntryKind.NOTE,)))
    assert proof.ok, proof.problems
    assert proof.checked == 1 + 4 * each * 2
    for worker in range(4):
        mine = [e for e in entries if e.body["worker"] == worker and e.refers is None]
        assert [entry.body["number"] for entry in mine] == list(range(each))
    seqs = {entry.seq for entry in entries if entry.refers is None}
    assert {entry.refers for entry in entries if entry.refers} == seqs


CHILD = textwrap.dedent(
    """
    import os, secrets, sys
    from datetime import UTC, datetime
    from ledger.journal import open_store
    from ledger.values.sealed import EntryKind, NewEntry
    store = open_store(
        sys.argv[1], clock=lambda: datetime.now(UTC), salts=lambda: secrets.token_bytes(16)
    )
    while True:
        with store.writing() as writer:
            last = [writer.append(NewEntry(EntryKind.NOTE, {"n": n}, "text")) for n in range(3)][-1]
        os.write(1, f"{last.seq} {last.seal}\\n".encode())
    """
)

ROUNDS = 20


@pytest.mark.slow
def test_nothing_acknowledged_is_lost_when_the_program_is_killed(sqlite_database: str) -> None:
    create(sqlite_database, firm=FIRM, **TOOLS).close()
    chance = random.Random(9)
    acknowledged: list[tuple[int, str]] = []
    for _ in range(ROUNDS):
        child = subprocess.Popen(
            [sys.executable, "-c", CHILD, sqlite_database], stdout=subprocess.PIPE, text=True
        )
        assert child.stdout is not None
        said = [child.stdout.readline()]  # it is under way
        time.sleep(chance.random() * 0.2)
        child.send_signal(signal.SIGKILL)
        rest, _ = child.communicate(timeout=30)
        said += rest.splitlines(keepends=True)
        acknowledged += [
            (int(line.split()[0]), line.split()[1]) for line in said if line.endswith("\n")
        ]
        store = open_store(sqlite_database, **TOOLS)
        with store.reading() as reader:
            assert reader.head.seq >= acknowledged[-1][0]
            assert (reader.head.seq - 1) % 3 == 0, "a transaction is whole or not there"
        store.close()
    store = open_store(sqlite_database, **TOOLS)
    with store.reading() as reader:
        proof = verify(reader, [seal for _, seal in acknowledged])
        assert proof.ok, proof.problems
        assert [(w.seq, w.given) for w in proof.witnesses] == acknowledged
    store.close()
    assert len(acknowledged) >= ROUNDS


def test_opening_the_journal_loads_nothing_it_does_not_need() -> None:
    code = (
        "import sys, ledger.journal; "
        "print(*(m for m in ('alembic', 'psycopg', 'sqlalchemy', 'pandas', 'pint', 'openpyxl')"
        " if m in sys.modules))"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == ""
