"""Races on a PostgreSQL server of the bench's own: many rows at once, and many people at once.

The floor of copying is COPY of the same rows into a table without key, check, index or guard.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import closing
from datetime import UTC, datetime
from itertools import islice
from time import perf_counter
from typing import Any

from ledger.flow.workspace import Workspace
from ledger.journal import append, create, open_store
from ledger.journal.verify import verify
from ledger.values.sealed import EntryKind, NewEntry, Sealed
from tests.bench.races import Result
from tests.postgres import USER, Server

FIRM = "Calloway Home Pest Care"
PEOPLE = 8
EACH = 40  # records of a person, one commit each


def clock() -> datetime:
    """Return a moment; the time of sealing is not what is measured."""
    return datetime(2030, 1, 15, 12, tzinfo=UTC)


def salts() -> bytes:
    """Return a fresh salt."""
    return os.urandom(16)


def copies(pool: list[Sealed], count: int) -> list[NewEntry]:
    """Return that many new applications with the bodies of the pool's."""
    return [
        NewEntry(
            EntryKind.APPLICATION, dict(old.body) | {"late": None, "clears": None}, old.private
        )
        for number in range(count)
        for old in (pool[number % len(pool)],)
    ]


def races_on_server(workspace: Workspace, rows: int, turns: int) -> Iterator[Result]:
    """Yield the races on a server that is started for them; ``NoServer`` where there is none."""
    with workspace.store.reading() as reader:
        pool = list(islice(reader.entries(kinds=(EntryKind.APPLICATION,)), 5000))
    server = Server()
    try:
        yield race_copy(server, pool, rows, turns)
        yield race_people(server, pool, turns)
    finally:
        server.stop()


def race_copy(server: Server, pool: list[Sealed], count: int, turns: int) -> Result:
    """Race rows through guard, checks, key and indexes against a bare table, both by COPY."""
    import psycopg

    rows = _ready_rows(server, copies(pool, count))
    names = ", ".join(append.COLUMNS)
    where = {"host": str(server.folder), "user": USER}

    def into(table: str, database: str) -> None:
        with psycopg.connect(dbname=database, **where) as connection:
            with connection.cursor().copy(f"COPY {table} ({names}) FROM STDIN") as copying:
                for row in rows:
                    copying.write_row(row)
            connection.commit()

    mine, theirs = [], []
    for turn in range(turns):
        for guarded in (True, False) if turn % 2 else (False, True):
            database = _database_before(server, rows[0])
            if not guarded:
                with psycopg.connect(dbname=database, autocommit=True, **where) as connection:
                    connection.execute("CREATE TABLE bare AS SELECT * FROM journal WHERE false")
            start = perf_counter()
            into("journal" if guarded else "bare", database)
            (mine if guarded else theirs).append(perf_counter() - start)
            server.drop_database(database)
    names_of = (f"PostgreSQL: {count:,} rows with guard, checks, indexes", "bare COPY", "2.5 x")
    return Result(*names_of, tuple(mine), tuple(theirs))


def _ready_rows(server: Server, entries: list[NewEntry]) -> list[tuple[Any, ...]]:
    """Return the rows the journal would store for these entries, after its first one."""
    url = server.url(server.new_database())
    with closing(create(url, firm=FIRM, clock=clock, salts=salts)) as store:
        with store.writing() as writer:
            for entry in entries:
                writer.append(entry)
        with store.reading() as reader:
            return [row for row, _, _ in reader.rows()]


def _database_before(server: Server, first: tuple[Any, ...]) -> str:
    """Return a database with an empty journal, its guard in place."""
    from sqlalchemy import create_engine

    from ledger.journal.founding import make_schema

    assert first[0] == 1
    name = server.new_database()
    engine = create_engine(server.url(name))
    with engine.begin() as connection:
        make_schema(connection, name)
    engine.dispose()
    return name


def _record_one_by_one(url: str, entries: list[NewEntry]) -> int:
    """Append each entry in a transaction of its own, as a person's command does."""
    with closing(open_store(url, clock=clock, salts=salts)) as store:
        for entry in entries:
            with store.writing() as writer:
                writer.append(entry)
    return len(entries)


def race_people(server: Server, pool: list[Sealed], turns: int) -> Result:
    """Race eight people who record at once against one who records as much alone."""
    entries = copies(pool, PEOPLE * EACH)
    parts = [entries[start::PEOPLE] for start in range(PEOPLE)]
    with ProcessPoolExecutor(PEOPLE) as people:
        list(people.map(_record_one_by_one, [_fresh(server)] * PEOPLE, [[]] * PEOPLE))  # started

        def timed(shares: list[list[NewEntry]]) -> float:
            url = _fresh(server)
            start = perf_counter()
            list(people.map(_record_one_by_one, [url] * len(shares), shares))
            took = perf_counter() - start
            _prove(url, len(entries))
            return took

        mine, theirs = [], []
        for turn in range(turns):
            for many in (True, False) if turn % 2 else (False, True):
                (mine if many else theirs).append(timed(parts if many else [entries]))
    names = (f"PostgreSQL: {PEOPLE} people record at once", "one person, as much alone", "1 x")
    return Result(*names, tuple(mine), tuple(theirs))


def _fresh(server: Server) -> str:
    url = server.url(server.new_database())
    create(url, firm=FIRM, clock=clock, salts=salts).close()
    return url


def _prove(url: str, count: int) -> None:
    """Stop where the chain has a fork, a gap or a loss."""
    with closing(open_store(url, clock=clock, salts=salts)) as store, store.reading() as reader:
        found = verify(reader)
        if not found.ok or found.checked != count + 1:
            raise RuntimeError(f"{found.checked} of {count + 1} entries, {found.problems[:3]}")
