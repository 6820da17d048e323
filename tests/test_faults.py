"""Faults carried out: a full disk, a disk for reading only, torn files, writers, poor roles."""

from __future__ import annotations

import hashlib
import os
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import textwrap
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import psycopg
import pytest

from ledger.flow.closing import close_day
from ledger.flow.inspecting import prove_whole
from ledger.flow.listing import list_entries
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import open_workspace
from ledger.journal import Store, StoreProblem, create, open_store
from ledger.journal.address import parse_url
from ledger.journal.roles import role_statements
from ledger.journal.verify import verify
from tests.day_sheets import sheet
from tests.journal_data import (
    FIRM,
    TickingClock,
    counted_salts,
    small_ledger,
    use,
    what_is_seen,
)  # fmt: skip
from tests.workspaces import ROOT, SetClock, sample_workspace

TOOLS = {"clock": TickingClock(), "salts": counted_salts()}


def child(code: str, *arguments: str, **more: object) -> subprocess.Popen[str]:
    """Start a program that imports the ledger, with these arguments."""
    return subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code), *arguments], cwd=ROOT, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, **more,
    )  # type: ignore[call-overload, no-any-return] # fmt: skip


FILL = """
    import sys
    from ledger.flow.workspace import open_workspace
    from ledger.flow.recording import record_sheet
    from ledger.journal import StoreProblem
    from tests.day_sheets import sheet
    workspace = open_workspace(sys.argv[1])
    booked = 0
    try:
        for number in range(400):
            lines = [{"line": "", "note": f"{number} {at} " * 40, "places": f"seam {number} {at}",
                      "start": f"{number // 60:02}:{number % 60:02}", "end": "23:59"}
                     for at in range(20)]
            done = record_sheet(workspace, f"{number}.csv", sheet(*lines), "renner")
            booked += done.count("booked")
            print(booked, flush=True)
    except (StoreProblem, OSError) as problem:
        print("STOP", problem, flush=True)
"""


def test_a_full_disk_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    made = sample_workspace(tmp_path / "firm")
    record_sheet(made, "first.csv", sheet({}), "renner")
    made.store.close()
    most = (made.root / "ledger.db").stat().st_size + 400_000

    def limit() -> None:
        signal.signal(
            signal.SIGXFSZ, signal.SIG_IGN
        )  # a write past the end fails as on a full disk
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))

    done = child(FILL, str(made.root), preexec_fn=limit)
    said, error = done.communicate(timeout=120)
    lines = said.splitlines()
    assert lines, error
    assert lines[-1].startswith("STOP"), said + error
    assert "nothing was recorded" in lines[-1]
    acknowledged = int(lines[-2]) if len(lines) > 1 else 0
    again = open_workspace(str(made.root))
    assert len(list_entries(again, {})) == acknowledged + 1
    assert prove_whole(again).ok
    assert (
        record_sheet(again, "after.csv", sheet({"start": "17:05", "end": "17:20"}), "renner").count(
            "booked"
        )
        == 1
    )


def test_a_disk_for_reading_only_is_read_and_not_written(sqlite_store: Store) -> None:
    small_ledger(sqlite_store)
    file = Path(str(sqlite_store.engine.url.database))
    sqlite_store.close()
    # The tests may run as root, who may write anywhere; the file is opened as on such a disk.
    url = parse_url(f"sqlite:///file:{file}?mode=ro&uri=true")
    store = Store(url, TickingClock(), counted_salts(), "tester")
    with store.reading() as reader:
        assert verify(reader).ok
    before = file.read_bytes()
    with pytest.raises(StoreProblem, match="readonly") as refused, store.writing() as writer:
        writer.append(use(9))
    assert "nothing was recorded" in refused.value.what
    assert file.read_bytes() == before
    store.close()


WRITER = """
    import sys
    from ledger.journal import open_store
    from tests.journal_data import TickingClock, use
    import secrets
    store = open_store(sys.argv[1], clock=TickingClock(), salts=lambda: secrets.token_bytes(16))
    for number in range(int(sys.argv[3])):
        with store.writing() as writer:
            print(writer.append(use(int(sys.argv[2]) * 1000 + number)).seal, flush=True)
"""


@pytest.mark.parametrize("many", [2, 8])
def test_writers_at_once_make_one_chain(store: Store, database: str, many: int) -> None:
    each = 12
    running = [child(WRITER, database, str(number), str(each)) for number in range(many)]
    seals: set[str] = set()
    for writer in running:
        said, error = writer.communicate(timeout=180)
        assert writer.returncode == 0, error
        seals |= set(said.split())
    assert len(seals) == many * each
    with store.reading() as reader:
        assert verify(reader, tuple(seals)).ok
        assert reader.head.seq == 1 + many * each


def test_a_clock_set_back_is_sealed_as_it_is_and_nothing_breaks(sqlite_database: str) -> None:
    clock = TickingClock()
    store = create(sqlite_database, firm=FIRM, clock=clock, salts=counted_salts())
    small_ledger(store)
    clock.now -= timedelta(days=400)
    with store.writing() as writer:
        back = writer.append(use(9))
    with store.reading() as reader:
        assert verify(reader).ok
        assert back.at < reader.entry(back.seq - 1).at
        assert [entry.seq for entry in reader.entries()] == list(range(1, back.seq + 1))
    store.close()


def test_a_clock_set_back_refuses_the_close_of_a_day_to_come(tmp_path: Path) -> None:
    from ledger.flow.workspace import WorkspaceProblem

    clock = SetClock(datetime(2026, 1, 16, 2, 30, tzinfo=UTC))
    made = sample_workspace(tmp_path / "firm", clock=clock)
    record_sheet(made, "day.csv", sheet({}), "renner")
    clock.moment -= timedelta(days=9)
    with pytest.raises(WorkspaceProblem, match="has not come yet"):
        close_day(made, date(2026, 1, 14), None, "renner")
    assert prove_whole(made).ok


# Torn files


def killed_in_a_transaction(file: Path) -> None:
    """Leave a hot rollback journal behind, as a power failure in a transaction does."""
    code = """
        import os, signal, sqlite3, sys
        db = sqlite3.connect(sys.argv[1], isolation_level=None)
        db.execute("PRAGMA journal_mode = DELETE")
        db.execute("PRAGMA cache_size = 1")
        db.execute("BEGIN IMMEDIATE")
        for trigger in ("journal_no_update", "private_no_update"):
            db.execute(f"DROP TRIGGER {trigger}")
        db.execute("UPDATE private SET text = text || hex(zeroblob(20000))")
        db.execute("UPDATE journal SET text = text || hex(zeroblob(20000))")
        os.kill(os.getpid(), signal.SIGKILL)
    """
    done = child(code, str(file))
    done.communicate(timeout=60)
    assert done.returncode == -signal.SIGKILL


def test_a_transaction_cut_off_is_taken_back_when_the_ledger_is_opened(
    sqlite_store: Store, sqlite_database: str
) -> None:
    entries = small_ledger(sqlite_store)
    sqlite_store.close()
    file = Path(sqlite_database.removeprefix("sqlite:///"))
    killed_in_a_transaction(file)
    assert file.with_name("ledger.db-journal").stat().st_size > 0
    store = open_store(sqlite_database, **TOOLS)  # type: ignore[arg-type]
    with store.reading() as reader:
        assert verify(reader, [entries[-1].seal]).ok
    store.close()


@pytest.mark.parametrize("damage", ["none", "torn", "garbled", "gone"])
def test_a_damaged_rollback_journal_is_seen(
    sqlite_store: Store, sqlite_database: str, damage: str
) -> None:
    """Half a journal cannot bring the past back: that is said, and never passed as a whole ledger.

    The same death with its journal left alone is the control: there nothing may be said.
    """
    entries = small_ledger(sqlite_store)
    sqlite_store.close()
    file = Path(sqlite_database.removeprefix("sqlite:///"))
    before = file.read_bytes()
    killed_in_a_transaction(file)
    assert file.read_bytes() != before, "the transaction had begun to write into the ledger"
    journal = file.with_name("ledger.db-journal")
    data = bytearray(journal.read_bytes())
    if damage == "torn":
        journal.write_bytes(data[: len(data) // 3])
    elif damage == "garbled":
        data[600::7] = bytes(len(data[600::7]))
        journal.write_bytes(bytes(data))
    elif damage == "gone":
        journal.unlink()
    said = what_is_seen(sqlite_database, entries[-1].seal)
    assert bool(said) == (damage != "none"), (damage, said)


@pytest.mark.parametrize("damage", ["none", "torn", "garbled", "gone"])
def test_a_damaged_log_gives_an_older_state_or_is_refused(
    sqlite_store: Store, sqlite_database: str, damage: str
) -> None:
    """What a write-ahead log held is lost with it, never half there; a kept seal shows that.

    With the log left alone (the control) the newest text is there.
    """
    entries = small_ledger(sqlite_store)
    sqlite_store.close()
    file = Path(sqlite_database.removeprefix("sqlite:///"))
    raw = sqlite3.connect(file, isolation_level=None)
    raw.execute("PRAGMA journal_mode = WAL")
    raw.execute("PRAGMA wal_autocheckpoint = 0")
    digest = hashlib.sha256(b"\0").hexdigest()
    raw.execute("INSERT INTO blob VALUES (?, 'sheet', x'00')", (digest,))
    copied = file.with_name("copy.db")
    shutil.copy(file, copied)
    wal = bytearray(file.with_name("ledger.db-wal").read_bytes())
    raw.close()
    assert len(wal) > 4096
    if damage == "torn":
        del wal[len(wal) // 2 :]
    elif damage == "garbled":
        wal[40::11] = bytes(len(wal[40::11]))
    if damage != "gone":
        copied.with_name("copy.db-wal").write_bytes(bytes(wal))
    try:
        store = open_store(f"sqlite:///{copied}", **TOOLS)  # type: ignore[arg-type]
    except StoreProblem:
        store = None
    if store is None:  # refused with a way out: every such message has one
        assert damage != "none"
        return
    with store.reading() as reader:
        newest = reader.blob(digest)
        assert verify(reader, [entries[-1].seal]).ok
    store.close()
    assert (newest is not None) == (damage == "none")


# A role of PostgreSQL that can read and add, and nothing else

NO_GUARD = (
    "CREATE OR REPLACE FUNCTION ledger_next() RETURNS trigger LANGUAGE plpgsql AS "
    "$$BEGIN RETURN NEW; END$$"
)


@pytest.mark.postgres
@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_a_role_that_can_only_read_and_insert_records_and_changes_nothing(
    store: Store, database: str
) -> None:
    entries = small_ledger(store)
    role = f"clerk_{os.getpid()}"
    url = store.engine.url
    where = {"host": str(url.query["host"]), "dbname": url.database}
    with psycopg.connect(autocommit=True, user=url.username, **where) as owner:
        for statement in role_statements(role, str(url.database)):
            owner.execute(statement)
    try:
        poor = open_store(
            database.replace(f"://{url.username}@", f"://{role}@"),
            **TOOLS,  # type: ignore[arg-type]
        )
        with poor.writing() as writer:
            writer.append(use(20))
            writer.keep("sheet", b"by the clerk")
        with poor.reading() as reader:
            assert verify(reader, [entries[-1].seal]).ok
        poor.close()
        with psycopg.connect(autocommit=True, user=role, **where) as clerk:
            for statement in (
                "UPDATE journal SET at = ''", "DELETE FROM journal", "TRUNCATE journal CASCADE",
                "DROP TABLE journal CASCADE", "ALTER TABLE journal DISABLE TRIGGER ALL",
                "DROP TRIGGER journal_next ON journal", "DELETE FROM private",
                "UPDATE private SET text = ''", "DELETE FROM blob", "DELETE FROM place",
                "SET session_replication_role = replica", "CREATE TABLE mine (a int)",
                NO_GUARD, "UPDATE alembic_version SET version_num = '0'",
                "CREATE RULE r AS ON INSERT TO journal DO INSTEAD NOTHING",
            ):  # fmt: skip
                with pytest.raises((
                    psycopg.errors.InsufficientPrivilege, psycopg.errors.RaiseException,
                )):  # fmt: skip
                    clerk.execute(statement)
        with store.reading() as reader:
            assert verify(reader).ok
    finally:
        with psycopg.connect(autocommit=True, user=url.username, **where) as owner:
            owner.execute(f"DROP OWNED BY {role}")
            owner.execute(f"DROP ROLE {role}")


def test_the_statements_of_the_role_stand_in_the_page_for_developers() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text()
    for statement in role_statements("useledger_clerk", "ledger"):
        assert statement in page, statement
    assert len(role_statements("a", "b")) >= 4
    with pytest.raises(ValueError, match="plain name"):
        role_statements('a"; DROP', "ledger")
