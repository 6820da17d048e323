"""Copies, and ledgers of older and newer versions."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import pytest

from ledger.journal import Store, StoreProblem, open_store
from ledger.journal.backup import backup, copy
from ledger.journal.founding import make_schema, prepare
from ledger.journal.tables import REVISIONS
from ledger.journal.upgrade import upgrade
from ledger.journal.upgrade.migrate import migrations_folder
from ledger.journal.verify import verify
from ledger.values.sealed import EntryKind, NewEntry
from tests.journal_data import FIRM, TickingClock, amended, counted_salts, small_ledger, use

GOLDEN = Path(__file__).parents[1] / "fixtures" / "golden"
TOOLS: dict[str, Any] = {"clock": TickingClock(), "salts": counted_salts()}


def export(store: Store) -> bytes:
    with store.reading() as reader:
        return b"".join(text + b"\n" for text in reader.texts_since(0))


def everything(store: Store) -> list[Any]:
    with store.reading() as reader:
        return [*reader.rows(), *reader.blobs(), *sorted(reader.places().values())]


def test_a_backup_is_the_same_ledger(store: Store, tmp_path: Path) -> None:
    entries = small_ledger(store)
    target = tmp_path / "copies" / "monday.db"
    target.parent.mkdir()
    head = backup(store, target)
    assert (head.seq, head.seal) == (17, entries[-1].seal)
    assert [path.name for path in target.parent.iterdir()] == ["monday.db"]
    copied = open_store(f"sqlite:///{target}", **TOOLS)
    assert everything(copied) == everything(store)
    with copied.writing() as writer:
        writer.append(amended(entries[6]))
    with copied.reading() as reader:
        assert verify(reader, [head.seal]).ok
    copied.close()
    with pytest.raises(StoreProblem, match="exists already"):
        backup(store, target)
    with pytest.raises(StoreProblem, match="no folder"):
        backup(store, tmp_path / "nowhere" / "x.db")


def test_a_backup_is_taken_while_the_ledger_is_in_use(sqlite_store: Store, tmp_path: Path) -> None:
    small_ledger(sqlite_store)
    with sqlite_store.writing() as writer:
        writer.append(use(8))
        writer.flush()
        head = backup(sqlite_store, tmp_path / "copy.db")
    assert head.seq == 17
    with sqlite_store.reading() as reader:
        assert reader.head.seq == 18


def test_a_ledger_moves_between_the_engines_with_its_seals(store: Store, tmp_path: Path) -> None:
    small_ledger(store)
    there = f"sqlite:///{tmp_path / 'moved.db'}"
    assert copy(store, there).seq == 17
    moved = open_store(there, **TOOLS)
    assert export(moved) == (GOLDEN / "ledger.jsonl").read_bytes()
    assert everything(moved) == everything(store)
    moved.close()
    with pytest.raises(StoreProblem, match="exists already"):
        copy(store, there)


@pytest.mark.postgres
@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_a_ledger_moves_to_a_server(sqlite_store: Store, database: str) -> None:
    small_ledger(sqlite_store)
    copy(sqlite_store, database)
    moved = open_store(database, **TOOLS)
    assert everything(moved) == everything(sqlite_store)
    moved.close()
    with pytest.raises(StoreProblem, match="holds a ledger already"):
        copy(sqlite_store, database)


def test_a_damaged_ledger_gives_no_backup_and_leaves_no_file(
    sqlite_store: Store, tmp_path: Path
) -> None:
    small_ledger(sqlite_store)
    with sqlite_store.engine.begin() as connection:
        connection.exec_driver_sql("DROP TRIGGER private_no_update")
        connection.exec_driver_sql("UPDATE private SET text = 'forged' WHERE seq = 7")
        from ledger.journal import guard

        guard.install(connection)
    folder = tmp_path / "copies"
    folder.mkdir()
    for make in (backup, lambda store, path: copy(store, f"sqlite:///{path}")):
        with pytest.raises(StoreProblem, match="private text of entry 7 was changed"):
            make(sqlite_store, folder / "copy.db")
        assert list(folder.iterdir()) == []


def older(url: str) -> None:
    """Make a ledger as the first version made it, with entries."""
    store = prepare(url, TickingClock(), counted_salts(), "tester")
    with store.begun_for_schema() as connection:
        make_schema(connection, store.name, REVISIONS[0])
        writer = store.writer_on(connection)
        writer.found("0f" * 16)
        writer.append(NewEntry(EntryKind.LEDGER, {"firm": FIRM}))
        writer.finish()
    small_ledger(store)
    store.close()


def indexes(store: Store) -> set[str]:
    from sqlalchemy import inspect

    with store.engine.connect() as connection:
        return {str(index["name"]) for index in inspect(connection).get_indexes("journal")}


def test_an_older_ledger_is_upgraded_after_a_backup(database: str, tmp_path: Path) -> None:
    older(database)
    with pytest.raises(StoreProblem, match="older version") as problem:
        open_store(database, **TOOLS)
    assert "useledger upgrade" in problem.value.way_out
    before = prepare_open(database)
    lines, found = export(before), everything(before)
    assert "ix_journal_applied_on" not in indexes(before)
    before.close()
    done = upgrade(database, tmp_path / "backups", **TOOLS)
    assert (done.before, done.after, done.mended) == ("0001", REVISIONS[-1], ())
    store = open_store(database, **TOOLS)
    assert "ix_journal_applied_on" in indexes(store)
    assert export(store) == lines
    assert everything(store) == found
    with store.writing() as writer:
        writer.append(use(9))
    with store.reading() as reader:
        assert verify(reader).ok
    store.close()
    assert done.backup is not None
    kept = prepare_open(f"sqlite:///{done.backup}")
    assert export(kept) == lines
    kept.close()
    again = upgrade(database, tmp_path / "backups", **TOOLS)
    assert (again.before, again.after, again.backup) == (REVISIONS[-1], REVISIONS[-1], None)
    assert len(list((tmp_path / "backups").iterdir())) == 1


def prepare_open(url: str) -> Store:
    """Open a ledger whatever its schema."""
    from ledger.journal.address import parse_url

    return Store(parse_url(url), TickingClock(), counted_salts(), "tester")


def test_a_newer_ledger_is_refused(store: Store, database: str, tmp_path: Path) -> None:
    with store.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '0999'")
    for attempt in (
        lambda: open_store(database, **TOOLS),
        lambda: upgrade(database, tmp_path / "backups", **TOOLS),
    ):
        with pytest.raises(StoreProblem, match="newer version") as problem:
            attempt()
        assert "install the newest version" in problem.value.way_out
    assert not (tmp_path / "backups").exists()


def test_an_upgrade_puts_the_guard_back_and_says_so(
    store: Store, database: str, tmp_path: Path
) -> None:
    small_ledger(store)
    on = "" if store.engine.dialect.name == "sqlite" else " ON journal"
    with store.engine.begin() as connection:
        connection.exec_driver_sql(f"DROP TRIGGER journal_next{on}")
    done = upgrade(database, tmp_path / "backups", **TOOLS)
    assert done.mended == ("the trigger journal_next is missing",)
    assert done.backup is not None
    assert done.backup.exists()
    open_store(database, **TOOLS).close()


def test_a_failing_upgrade_changes_nothing(
    database: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    older(database)

    def broken(*_: Any) -> None:
        raise StoreProblem("the migration broke off", "try again")

    with monkeypatch.context() as patch:
        patch.setattr("ledger.journal.upgrade.verify", broken)
        with pytest.raises(StoreProblem, match="broke off"):
            upgrade(database, tmp_path / "backups", **TOOLS)
    store = prepare_open(database)
    assert "ix_journal_applied_on" not in indexes(store)
    with store.reading() as reader:
        assert verify(reader).ok
    store.close()
    done = upgrade(database, tmp_path / "again", **TOOLS)
    assert done.after == REVISIONS[-1]


def test_a_damaged_ledger_is_not_upgraded(sqlite_database: str, tmp_path: Path) -> None:
    older(sqlite_database)
    raw = sqlite3.connect(sqlite_database.removeprefix("sqlite:///"))
    raw.execute("DROP TRIGGER journal_no_update")
    raw.execute("UPDATE journal SET text = replace(text, 'door', 'dour') WHERE seq = 6")
    raw.commit()
    raw.close()
    with pytest.raises(StoreProblem, match="entry 6 was changed"):
        upgrade(sqlite_database, tmp_path / "backups", **TOOLS)
    assert list((tmp_path / "backups").iterdir()) == []


def test_the_migrations_are_found_beside_the_package() -> None:
    folder = migrations_folder()
    names = sorted(path.name.split("_")[0] for path in (folder / "versions").glob("*.py"))
    assert names == list(REVISIONS)
