"""Engines of SQLAlchemy, for servers and for whatever changes a schema or copies a file whole."""

from __future__ import annotations

import sqlite3
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import NoSuchModuleError

from ledger.journal.address import Address
from ledger.journal.file_modes import BUSY_SECONDS, prepare_file
from ledger.journal.problem import StoreProblem

WRITE = "useledger_write"

LOCK = 7_304_771_905_281_126
"""The number of the PostgreSQL advisory lock that writers of a ledger take in turn."""


def make_store_engine(address: Address) -> Engine:
    """Return the engine of a store; connections are made when they are asked for."""
    try:
        if address.is_file:
            engine = create_engine(address.url, connect_args={"timeout": BUSY_SECONDS})
            event.listen(engine, "connect", _prepare_sqlite)
            event.listen(engine, "begin", _begin_sqlite)
        else:
            engine = create_engine(address.url)
            event.listen(engine, "begin", _begin_postgres)
    except (ModuleNotFoundError, NoSuchModuleError) as error:
        raise StoreProblem(
            f"the driver for {address.url.partition(':')[0]} is not installed ({error})",
            'install it: pip install "useledger[postgres]"; the URL begins postgresql+psycopg://',
        ) from error
    return engine


def _prepare_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    prepare_file(connection)


def _begin_sqlite(connection: Connection) -> None:
    """Begin as the transaction is meant: a writer takes its lock before it reads the head."""
    write = connection.get_execution_options().get(WRITE)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")


def _begin_postgres(connection: Connection) -> None:
    """Take turns with other writers; the lock ends with the transaction."""
    if connection.get_execution_options().get(WRITE):
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{BUSY_SECONDS}s'")
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({LOCK})")


def options(engine: Engine, *, write: bool) -> dict[str, Any]:
    """Return the execution options of a connection that writes, or that reads one moment."""
    found: dict[str, Any] = {WRITE: write}
    if engine.dialect.name == "postgresql":
        # A writer must see what was committed while it waited; a reader wants one moment.
        found["isolation_level"] = "READ COMMITTED" if write else "REPEATABLE READ"
        found["postgresql_readonly"] = not write
    return found
