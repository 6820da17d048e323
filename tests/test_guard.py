"""The database itself refuses what must not happen, and the program sees when it no longer does."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.exc import DBAPIError

from ledger.journal import Store, StoreProblem, guard, open_store
from ledger.journal.columns import COLUMNS
from ledger.journal.tables import REVISIONS
from ledger.values.sealed import NewEntry
from tests.journal_data import TickingClock, amended, counted_salts, small_ledger, use

MIGRATIONS = Path(__file__).parents[1] / "migrations"
TOOLS: dict[str, Any] = {"clock": TickingClock(), "salts": counted_salts()}

ON_BOTH = [
    "UPDATE journal SET text = text",
    "UPDATE journal SET county = 'Plumas' WHERE seq = 6",
    "DELETE FROM journal",
    "DELETE FROM journal WHERE seq = (SELECT max(seq) FROM journal)",
    "UPDATE private SET text = ''",
    "DELETE FROM private WHERE seq = 4",
    "UPDATE blob SET data = data",
    "DELETE FROM blob",
    "UPDATE place SET zip = ''",
    "DELETE FROM place",
]

COPIED = (
    "SELECT {seq}, form, kind, at, by_person, os_user, {prev}, seal, text, private, NULL, NULL"
    " FROM journal WHERE seq = 6"
)
INTO = (
    "INTO journal (seq, form, kind, at, by_person, os_user, prev, seal, text, private, replaces,"
    " refers) "
)
HEAD = "(SELECT seal FROM journal ORDER BY seq DESC LIMIT 1)"
NEXT = "(SELECT max(seq) + 1 FROM journal)"

INSERTIONS = [
    ("a gap", COPIED.format(seq="(SELECT max(seq) + 2 FROM journal)", prev=HEAD)),
    ("a fork", COPIED.format(seq=NEXT, prev="prev")),
    ("no predecessor", COPIED.format(seq=NEXT, prev="''")),
    ("a second one of a number", COPIED.format(seq="6", prev=HEAD)),
    ("before the first", COPIED.format(seq="0", prev="''")),
]

UPSERT = (
    "INSERT INTO journal SELECT * FROM journal WHERE seq = 6 ON CONFLICT (seq)"
    " DO UPDATE SET county = 'Plumas'"
)

ON_SQLITE = [
    "UPDATE OR REPLACE journal SET seq = 1 WHERE seq = 2",
    UPSERT,
    "REPLACE INTO journal SELECT * FROM journal WHERE seq = 6",
    "INSERT OR IGNORE INTO journal SELECT * FROM journal WHERE seq = 6",
    "REPLACE INTO private SELECT seq, salt, 'forged' FROM private WHERE seq = 6",
    "REPLACE INTO blob SELECT digest, kind, x'00' FROM blob",
    "REPLACE INTO place SELECT seq, site, '00000' FROM place",
]

ON_POSTGRES = [
    "TRUNCATE journal CASCADE",
    "TRUNCATE blob",
    UPSERT,
    "SET session_replication_role = replica; DELETE FROM journal",
    "WITH gone AS (DELETE FROM journal RETURNING 1) SELECT count(*) FROM gone",
]


def contents(store: Store) -> list[Any]:
    with store.reading() as reader:
        return [*reader.rows(), *reader.blobs(), *sorted(reader.places().values())]


def refused(store: Store, statement: str) -> None:
    """Try a statement on a filled ledger; it must fail by the guard and change nothing."""
    small_ledger(store)
    before = contents(store)
    with store.engine.connect() as connection:
        # A bare connection of somebody else: none of the program's own settings count.
        raw = connection.connection.dbapi_connection
        assert raw is not None
        cursor = raw.cursor()
        if store.engine.dialect.name == "sqlite":
            cursor.execute("PRAGMA recursive_triggers = OFF")
            cursor.execute("PRAGMA foreign_keys = OFF")
        # PostgreSQL stops a second row of a number by the key, before the guard is asked.
        with pytest.raises(Exception, match=r"the ledger is append-only|pk_journal"):
            cursor.execute(statement)
        raw.rollback()
    assert contents(store) == before


@pytest.mark.parametrize("statement", ON_BOTH)
def test_changes_and_deletions_are_refused(store: Store, statement: str) -> None:
    refused(store, statement)


@pytest.mark.parametrize(("what", "selection"), INSERTIONS)
def test_gaps_and_forks_are_refused(store: Store, what: str, selection: str) -> None:
    refused(store, f"INSERT {INTO}{selection}")


@pytest.mark.parametrize("statement", ON_SQLITE)
def test_replacing_is_refused_on_sqlite(sqlite_store: Store, statement: str) -> None:
    refused(sqlite_store, statement)


@pytest.mark.postgres
@pytest.mark.parametrize("database", ["postgres"], indirect=True)
@pytest.mark.parametrize("statement", ON_POSTGRES)
def test_the_ways_of_postgres_are_refused(store: Store, statement: str) -> None:
    refused(store, statement)


@pytest.mark.parametrize(
    ("column", "value", "constraint"),
    [
        ("ym", "202512", "ck_journal_month"), ("ym", "NULL", "ck_journal_month"),
        ("denominator", "0", "ck_journal_denominator"), ("unit", "NULL", "ck_journal_amount"),
        ("replaces", "99", "ck_journal_replaces"), ("seal", "'short'", "ck_journal_seal"),
        ("clears", "0", "ck_journal_clears"),
    ],
)  # fmt: skip
def test_columns_that_contradict_each_other_are_refused(
    store: Store, column: str, value: str, constraint: str
) -> None:
    small_ledger(store)
    with store.reading() as reader:
        assert reader.head.seq == 17
    new = {"seq": NEXT, "prev": HEAD, column: value}
    values = ", ".join(new.get(name, name) for name in COLUMNS)
    statement = f"INSERT INTO journal SELECT {values} FROM journal WHERE seq = 6"
    with pytest.raises(DBAPIError, match=constraint), store.engine.begin() as connection:
        connection.exec_driver_sql(statement)


def test_an_entry_is_replaced_once_whoever_writes(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    entries = small_ledger(store)
    monkeypatch.setattr("ledger.journal.append.Writer._refuse_bad_references", lambda *_: None)
    twice = pytest.raises(StoreProblem, match=r"ux_journal_replaces|UNIQUE")
    with twice, store.writing() as writer:
        writer.append(amended(entries[4]))


def triggers(store: Store) -> list[tuple[str, str]]:
    tables = guard.KEYS
    if store.engine.dialect.name == "sqlite":
        query = "SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger'"
    else:
        query = (
            "SELECT tgname, relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid"
            " WHERE NOT tgisinternal"
        )
    with store.reading() as reader:
        found = [tuple(row) for row in reader.connection.exec_driver_sql(query).all()]
    return [(name, table) for name, table in found if table in tables]


def drop(store: Store, name: str, table: str) -> None:
    where = "" if store.engine.dialect.name == "sqlite" else f" ON {table}"
    with store.engine.begin() as connection:
        connection.exec_driver_sql(f"DROP TRIGGER {name}{where}")


def test_the_program_sees_every_dropped_trigger_when_it_opens(store: Store, database: str) -> None:
    names = triggers(store)
    assert len(names) == (12 if store.engine.dialect.name == "sqlite" else 9)
    for name, table in names:
        drop(store, name, table)
        with pytest.raises(StoreProblem, match=f"{name} is missing") as problem:
            open_store(database, **TOOLS)
        assert "useledger upgrade" in problem.value.way_out
        with store.engine.begin() as connection:
            guard.install(connection)
    open_store(database, **TOOLS).close()


SQLITE_CHANGES = [
    (
        (
            "DROP TRIGGER journal_no_delete",
            "CREATE TRIGGER journal_no_delete BEFORE DELETE ON journal WHEN 0 BEGIN SELECT 1; END",
        ),
        "was changed",
    ),
    (("CREATE TRIGGER helper AFTER INSERT ON journal BEGIN SELECT 1; END",), "not the ledger's"),
]
POSTGRES_CHANGES = [
    (("ALTER TABLE journal DISABLE TRIGGER journal_no_change",), "switched off"),
    (("ALTER TABLE journal ENABLE TRIGGER journal_next",), "switched off"),
    (
        (
            (
                "CREATE OR REPLACE FUNCTION ledger_refuse() RETURNS trigger LANGUAGE plpgsql AS"
                " 'BEGIN RETURN OLD; END'"
            ),
        ),
        "function ledger_refuse",
    ),
    (
        (
            (
                "CREATE TRIGGER helper BEFORE INSERT ON blob FOR EACH ROW"
                " EXECUTE FUNCTION ledger_next()"
            ),
        ),
        "not the ledger's",
    ),
]


def test_the_program_sees_a_changed_or_a_strange_trigger(store: Store, database: str) -> None:
    sqlite = store.engine.dialect.name == "sqlite"
    for statements, said in SQLITE_CHANGES if sqlite else POSTGRES_CHANGES:
        with store.engine.begin() as connection:
            for statement in statements:
                connection.exec_driver_sql(statement)
        with pytest.raises(StoreProblem, match=said):
            open_store(database, **TOOLS)
        with store.engine.begin() as connection:
            connection.exec_driver_sql(
                "DROP TRIGGER IF EXISTS helper" + ("" if sqlite else " ON blob")
            )
            guard.install(connection)


def test_appending_goes_on_under_the_guard(store: Store) -> None:
    for number in range(3):
        with store.writing() as writer:
            writer.append(use(number))
            writer.append(NewEntry(use(0).kind, {"number": number}))
    with store.reading() as reader:
        assert reader.head.seq == 7


def sources() -> dict[str, str]:
    return {p.name: p.read_text("utf-8") for p in sorted((MIGRATIONS / "versions").glob("*.py"))}


def rebuilds(text: str) -> bool:
    """Say whether a migration could rebuild or empty the journal, which would drop its guard."""
    forbidden = (
        r"batch_alter_table", r"recreate", r"drop_table", r"rename_table", r"drop_column",
        r"alter_column", r"DROP\s+TABLE", r"RENAME\s+TO", r"DROP\s+COLUMN", r"writable_schema",
        r"DELETE\s+FROM", r"UPDATE\s+journal", r"DROP\s+TRIGGER", r"DISABLE\s+TRIGGER",
    )  # fmt: skip
    return any(re.search(pattern, text, re.IGNORECASE) for pattern in forbidden)


def test_no_migration_rebuilds_the_journal() -> None:
    found = sources()
    assert len(found) == len(REVISIONS)
    assert [name for name, text in found.items() if rebuilds(text)] == []
    assert rebuilds("with op.batch_alter_table('journal') as batch:")
    assert rebuilds("op.execute('ALTER TABLE journal RENAME TO old')")


def test_the_program_works_with_the_newest_migration() -> None:
    heads = re.compile(r'^revision = "(\w+)"', re.MULTILINE)
    revisions = [heads.findall(text) for text in sources().values()]
    assert [one for found in revisions for one in found] == list(REVISIONS)


def test_every_constraint_and_index_has_a_name_of_our_own(sqlite_store: Store) -> None:
    with sqlite_store.reading() as reader:
        found = reader.connection.exec_driver_sql(
            "SELECT type, name, sql FROM sqlite_master WHERE tbl_name IN"
            " ('journal', 'private', 'blob', 'place')"
        ).all()
    for kind, name, sql in found:
        if kind == "table":
            assert sql.rstrip().endswith("STRICT")
            for constraint in re.findall(r"(?:(\w+)\s+)?(?:CHECK \(|PRIMARY KEY|REFERENCES)", sql):
                assert re.match(r"(pk|ck|fk|ux)_", constraint), sql
        elif kind == "index" and not name.startswith("sqlite_autoindex_blob"):
            assert re.match(r"(ix|ux)_(journal|place)_", name)
