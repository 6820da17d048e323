"""Connections: how each engine is opened so that what is acknowledged stays."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError

from ledger.journal.problem import StoreProblem

BUSY_SECONDS = 20
"""How long a writer waits for another before it gives up."""

PAGE_BYTES = 16_384
"""The page of a new SQLite ledger. Of pages of 4,096 bytes, SQLite's own choice, a record of about
two thousand fills one and leaves half of it empty."""

WRITE = "useledger_write"

LOCK = 7_304_771_905_281_126
"""The number of the PostgreSQL advisory lock that writers of a ledger take in turn."""

_FIXED = ((3, 44, 6), (3, 50, 7))
_FIXED_FROM = (3, 51, 3)


def wal_is_safe(version: str) -> bool:
    """Say whether an SQLite of this version is free of the WAL-reset fault.

    With it, two connections in WAL mode can lose committed transactions. Versions 3.7.0 to
    3.51.2 have it; mended in 3.51.3, and in 3.44.6 and 3.50.7 of the older lines
    (https://www.sqlite.org/wal.html#the_wal_reset_bug).
    """
    numbers = tuple(int(part) for part in version.split(".")[:3])
    if numbers >= _FIXED_FROM:
        return True
    return any(numbers[:2] == fixed[:2] and numbers >= fixed for fixed in _FIXED)


def journal_mode(version: str) -> tuple[str, str]:
    """Return the journal mode and the synchronous setting for an SQLite of this version."""
    return ("wal", "FULL") if wal_is_safe(version) else ("delete", "EXTRA")


def parse_url(url: str) -> URL:
    """Return the parsed database URL; raise ``StoreProblem`` where it is none of ours."""
    try:
        parsed = make_url(url)
    except ArgumentError:
        parsed = None
    if parsed is None or parsed.get_backend_name() not in {"sqlite", "postgresql"}:
        raise StoreProblem(
            f'"{url}" is not a database of a ledger',
            'write "sqlite:///FILE" or "postgresql+psycopg://USER@HOST/NAME"',
        )
    return parsed


def sqlite_file(url: URL) -> Path | None:
    """Return the file of an SQLite URL, None for another engine."""
    if url.get_backend_name() != "sqlite":
        return None
    if not url.database or url.database == ":memory:":
        raise StoreProblem("a ledger in memory keeps nothing", "name a file: sqlite:///FILE")
    return Path(url.database)


def make_store_engine(url: URL) -> Engine:
    """Return the engine of a store; connections are made when they are asked for."""
    try:
        if url.get_backend_name() == "sqlite":
            engine = create_engine(url, connect_args={"timeout": BUSY_SECONDS})
            event.listen(engine, "connect", _prepare_sqlite)
            event.listen(engine, "begin", _begin_sqlite)
        else:
            engine = create_engine(url)
            event.listen(engine, "begin", _begin_postgres)
    except (ModuleNotFoundError, NoSuchModuleError) as error:
        raise StoreProblem(
            f"the driver for {url.drivername} is not installed ({error})",
            'install it: pip install "useledger[postgres]"; the URL begins postgresql+psycopg://',
        ) from error
    return engine


def _prepare_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    """Set a new connection up; the driver's own transactions are switched off."""
    connection.isolation_level = None
    mode, synchronous = journal_mode(sqlite3.sqlite_version)
    run = connection.execute
    run(f"PRAGMA busy_timeout = {BUSY_SECONDS * 1000}")
    run(f"PRAGMA page_size = {PAGE_BYTES}")  # a file that is there keeps its own
    (now,) = run("PRAGMA journal_mode").fetchone()
    if now != mode:
        (now,) = run(f"PRAGMA journal_mode = {mode}").fetchone()
    if now == "wal" and mode != "wal":
        raise StoreProblem(
            f"the ledger is open elsewhere in WAL mode, which SQLite {sqlite3.sqlite_version} "
            "here cannot share safely",
            "close the other program, or run this one with SQLite 3.51.3 or later",
        )
    for pragma in (
        f"synchronous = {synchronous}", "foreign_keys = ON", "recursive_triggers = ON",
        "trusted_schema = OFF", "cell_size_check = ON",
    ):  # fmt: skip
        run(f"PRAGMA {pragma}")


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
