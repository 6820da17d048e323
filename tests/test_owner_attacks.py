"""What the owner of a database can do and nothing prevents, and how each of it shows.

A trigger stops everybody but who may drop it. So these are carried out, by the owner, and what is
asserted is that opening the ledger or proving it against a seal kept elsewhere says so.
"""

from __future__ import annotations

import psycopg
import pytest
from sqlalchemy import Connection

from ledger.journal import Store, StoreProblem, guard
from tests.journal_data import small_ledger, use, what_is_seen

BLUNTED = "UPDATE sqlite_master SET sql = replace(sql, 'RAISE(ABORT', 'nullif(1')"
QUIET = (
    "PRAGMA writable_schema = ON",
    f"{BLUNTED} WHERE name = 'journal_no_update'",
    "PRAGMA writable_schema = RESET",
)
EMPTY = (
    "PRAGMA foreign_keys = OFF",
    "PRAGMA legacy_alter_table = ON",
    "ALTER TABLE journal RENAME TO put_away",
    "CREATE TABLE journal AS SELECT * FROM put_away WHERE 0",
)

OF_SQLITE: dict[str, tuple[str, ...]] = {
    "the guard's text blunted through the schema table": (
        *QUIET, "UPDATE journal SET county = 'Plumas' WHERE seq = 6",
    ),
    "a trigger dropped and left away": ("DROP TRIGGER journal_no_update",),
    "the journal put away for an empty one": EMPTY,
    "a column dropped": (
        "DROP TRIGGER journal_next", "ALTER TABLE journal DROP COLUMN os_user",
    ),
    "a column renamed": ("ALTER TABLE journal RENAME COLUMN county TO parish",),
    "a table dropped": ("PRAGMA foreign_keys = OFF", "DROP TABLE blob"),
}  # fmt: skip

OF_POSTGRES: dict[str, tuple[str, ...]] = {
    "a column rewritten in passing": (
        "ALTER TABLE journal ALTER COLUMN os_user TYPE text USING 'nobody'",
    ),
    "the triggers disabled": ("ALTER TABLE journal DISABLE TRIGGER USER",),
    "the triggers disabled for the act alone": (
        "ALTER TABLE journal DISABLE TRIGGER USER",
        "UPDATE journal SET county = 'Plumas' WHERE seq = 6",
        *(f"ALTER TABLE journal ENABLE ALWAYS TRIGGER journal_{name}"
          for name in ("no_change", "no_truncate", "next")),
    ),
    "the triggers asleep under replication": (
        "ALTER TABLE journal ENABLE REPLICA TRIGGER journal_no_change",
    ),
    "the journal put away for an empty one": (
        "ALTER TABLE journal RENAME TO put_away",
        "CREATE TABLE journal (LIKE put_away INCLUDING ALL)",
    ),
    "a table dropped": ("DROP TABLE blob",),
}  # fmt: skip


@pytest.mark.parametrize("what", OF_SQLITE)
def test_what_the_owner_of_a_file_does_shows(
    sqlite_store: Store, sqlite_database: str, what: str
) -> None:
    entries = small_ledger(sqlite_store)
    assert what_is_seen(sqlite_database, entries[-1].seal) == []
    with sqlite_store.engine.connect() as plain:
        for statement in OF_SQLITE[what]:
            plain.connection.cursor().execute(statement)
        plain.connection.commit()
    sqlite_store.close()
    assert what_is_seen(sqlite_database, entries[-1].seal), what


def as_owner(store: Store) -> psycopg.Connection[tuple[object, ...]]:
    url = store.engine.url
    return psycopg.connect(
        autocommit=True, user=url.username, host=str(url.query["host"]), dbname=url.database
    )


@pytest.mark.postgres
@pytest.mark.parametrize("database", ["postgres"], indirect=True)
@pytest.mark.parametrize("what", OF_POSTGRES)
def test_what_the_owner_of_a_server_does_shows(store: Store, database: str, what: str) -> None:
    entries = small_ledger(store)
    assert what_is_seen(database, entries[-1].seal) == []
    store.close()
    with as_owner(store) as owner:
        for statement in OF_POSTGRES[what]:
            owner.execute(statement)
    assert what_is_seen(database, entries[-1].seal), what


@pytest.mark.postgres
@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_an_entry_that_a_rule_swallows_is_never_acknowledged(store: Store, database: str) -> None:
    """Before a commit everything is read back: what is not there was not recorded."""
    entries = small_ledger(store)
    with as_owner(store) as owner:
        owner.execute("CREATE RULE swallow AS ON INSERT TO journal DO INSTEAD NOTHING")
    with pytest.raises(StoreProblem, match="nothing was recorded"), store.writing() as writer:
        writer.append(use(9))
    with as_owner(store) as owner:
        owner.execute("DROP RULE swallow ON journal")
    assert what_is_seen(database, entries[-1].seal) == []


def test_the_guard_is_as_it_was_made(store: Store) -> None:
    """The control of the above: a ledger that nobody touched has nothing said against its guard."""
    small_ledger(store)

    def against(connection: Connection) -> list[str]:
        return list(guard.missing(connection))

    with store.engine.connect() as connection:
        assert against(connection) == []
