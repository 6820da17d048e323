"""Beyond one machine: the statements of DEVELOPERS.md, run on a real server as they stand there."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.exc import DBAPIError

from ledger.journal import Store, StoreProblem, guard, open_store
from ledger.journal.month import month_statement
from ledger.journal.verify import verify
from tests.journal_data import TickingClock, counted_salts, small_ledger, use, with_values
from tests.test_bulk import COUNT, STRANGE, write

pytestmark = [
    pytest.mark.postgres,
    pytest.mark.parametrize("database", ["postgres"], indirect=True),
]
TOOLS: dict[str, Any] = {"clock": TickingClock(), "salts": counted_salts()}
PAGE = Path(__file__).resolve().parents[1] / "DEVELOPERS.md"


def statements(title: str) -> str:
    """Return the SQL under a heading of DEVELOPERS.md."""
    _, _, rest = PAGE.read_text(encoding="utf-8").partition(f"### {title}\n")
    found = re.search(r"```sql\n(.*?)```", rest, re.DOTALL)
    assert found, title
    return found[1]


def run(store: Store, sql: str) -> None:
    with store.engine.begin() as connection:
        raw = connection.connection.dbapi_connection
        assert raw is not None
        raw.cursor().execute(sql)


def partitioned(store: Store) -> int:
    """Cut the journal of a small ledger after its last entry; return the number of the next."""
    small_ledger(store)
    with store.reading() as reader:
        cut = reader.head.seq + 1
    run(store, statements("A partition a year").replace(":cut", str(cut)))
    with store.engine.begin() as connection:
        guard.install(connection)
    return cut


def test_a_partitioned_journal_is_the_same_ledger(store: Store, database: str) -> None:
    with store.reading() as reader:
        before = [*reader.rows()]
    cut = partitioned(store)
    write(store, COUNT, STRANGE)
    with open_store(database, **TOOLS).reading() as reader:
        found = verify(reader)
        assert found.ok, found.problems
        assert found.checked == cut - 1 + COUNT
        assert [*reader.rows()][: len(before)] == before
        sizes = [
            reader.connection.exec_driver_sql(f"SELECT count(*) FROM {name}").scalar()
            for name in ("journal_before", "journal_open")
        ]
    assert sizes == [cut - 1, COUNT]


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE journal SET county = 'x' WHERE seq = 3",
        "UPDATE journal_before SET county = 'x' WHERE seq = 3",
        "DELETE FROM journal WHERE seq = 3",
        "DELETE FROM journal_before WHERE seq = 3",
        "TRUNCATE journal CASCADE",
        "TRUNCATE journal_before CASCADE",
        "TRUNCATE journal_open CASCADE",
    ],
)
def test_the_guard_stands_on_every_partition(store: Store, statement: str) -> None:
    partitioned(store)
    with (
        pytest.raises(DBAPIError, match="the ledger is append-only"),
        store.engine.begin() as connection,
    ):
        connection.exec_driver_sql(statement)


def test_a_month_is_asked_of_the_index_of_each_partition(store: Store) -> None:
    first = partitioned(store)
    for year in range(2026, 2029):
        write(store, COUNT, STRANGE)
        with store.reading() as reader:
            cut = reader.head.seq + 1
        sql = statements("The next year").replace(":cut", str(cut)).replace(":year", str(year))
        run(store, sql.replace(":first", str(first)))
        first = cut
    alone = store.engine.execution_options(isolation_level="AUTOCOMMIT")
    text = with_values(month_statement(one_county=False), "us-ca", 202601)
    with alone.connect() as connection:
        connection.exec_driver_sql("VACUUM journal")
        connection.exec_driver_sql("ANALYZE journal")
        connection.exec_driver_sql("SET enable_seqscan = off")  # these tables are tiny
        plan = "\n".join(row[0] for row in connection.exec_driver_sql(f"EXPLAIN {text}"))
    assert plan.count("Index Only Scan") >= 4, plan
    with store.reading() as reader:
        assert verify(reader).ok


def test_a_gap_and_a_row_of_nobody_are_refused(store: Store) -> None:
    cut = partitioned(store)
    with pytest.raises(DBAPIError, match="does not follow"), store.engine.begin() as connection:
        connection.exec_driver_sql(
            "INSERT INTO journal (seq, form, kind, at, by_person, os_user, prev, seal, text)"
            f" SELECT {cut + 1}, form, kind, at, by_person, os_user, prev, seal, text"
            " FROM journal WHERE seq = 2"
        )


def test_an_auditor_reads_where_nothing_can_be_written(store: Store, database: str) -> None:
    small_ledger(store)
    run(store, statements("A replica for whoever only reads"))
    reading = open_store(database.replace("//ledger@", "//useledger_auditor@"), **TOOLS)

    with reading.reading() as reader:
        assert verify(reader).ok
    refused = pytest.raises(StoreProblem, match=r"read-only|permission denied")
    with refused, reading.writing() as writer:
        writer.append(use(1))
    reading.close()
