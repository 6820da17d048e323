"""The store: making a ledger, opening one, and the transactions in which it is used."""

from __future__ import annotations

import getpass
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from sqlalchemy import Connection, Engine, inspect
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from ledger.journal import guard
from ledger.journal.append import Clock, Salts, Writer
from ledger.journal.engine import make_store_engine, options, parse_url, sqlite_file
from ledger.journal.problem import StoreProblem
from ledger.journal.read import Reader
from ledger.journal.tables import REVISIONS
from ledger.values.sealed import EntryKind, NewEntry


def system_user() -> str:
    """Return the operating system's user, stored beside each author."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a container without a user entry
        return f"uid {os.getuid()}" if hasattr(os, "getuid") else "unknown"


class Store:
    """An opened ledger. Transactions do not nest: finish one before the next."""

    def __init__(self, engine: Engine, clock: Clock, salts: Salts, os_user: str) -> None:
        self.engine = engine
        self.name = _name(engine)
        self._clock = clock
        self._salts = salts
        self._os_user = os_user

    @contextmanager
    def reading(self) -> Iterator[Reader]:
        """Give a reader of one moment of the ledger."""
        with self._begun(write=False) as connection:
            yield Reader(connection, self.name)

    @contextmanager
    def writing(self) -> Iterator[Writer]:
        """Give a writer that alone may append; its entries are proved and kept at the end.

        Any exception takes the whole transaction back. An error at the end means that nothing
        was recorded.
        """
        with self._begun(write=True) as connection:
            writer = self.writer_on(connection)
            yield writer
            writer.finish()

    def writer_on(self, connection: Connection) -> Writer:
        """Return a writer inside a transaction that somebody else ends."""
        return Writer(
            connection, name=self.name, clock=self._clock, salts=self._salts, os_user=self._os_user
        )

    @contextmanager
    def _begun(self, *, write: bool) -> Iterator[Connection]:
        try:
            with self.engine.connect() as plain_connection:
                connection = plain_connection.execution_options(
                    **options(self.engine, write=write)
                )
                with connection.begin():
                    yield connection
        except DBAPIError as error:
            raise _from_database(error, self.name, write=write) from error

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def _name(engine: Engine) -> str:
    database = engine.url.database or ""
    return Path(database).name if engine.dialect.name == "sqlite" else database


def _from_database(error: DBAPIError, name: str, *, write: bool) -> StoreProblem:
    said = str(error.orig).strip().splitlines()[0] if str(error.orig).strip() else "no reason given"
    done = "nothing was recorded" if write else "nothing was read"
    if "lock" in said:
        return StoreProblem(
            f"{name} is in use by another program ({said}); {done}",
            "try again when the other one has finished",
        )
    return StoreProblem(
        f"the database refused ({said}); {done}",
        f"check that {name} can be read and written and that the disk is not full; "
        "`useledger verify` proves the ledger",
    )


def create(
    url: str, *, firm: str, clock: Clock, salts: Salts, os_user: str | None = None
) -> Store:
    """Make a new ledger with its first entry (which names the firm) and open it.

    ``salts`` also gives the ledger's id. Raises ``StoreProblem`` where a ledger exists already.
    """
    from ledger.journal.migrate import run_migrations  # noqa: PLC0415 - alembic is slow to load

    parsed = parse_url(url)
    file = sqlite_file(parsed)
    if file is not None and file.exists():
        raise StoreProblem(f"{file} exists already", "open it, or name another file")
    engine = make_store_engine(parsed)
    store = Store(engine, clock, salts, os_user or system_user())
    try:
        with store._begun(write=True) as connection:
            _refuse_existing(connection, store.name)
            run_migrations(connection)
            writer = store.writer_on(connection)
            writer.found(salts().hex())
            writer.append(NewEntry(EntryKind.LEDGER, {"firm": firm}))
            writer.finish()
    except BaseException:
        engine.dispose()
        if file is not None:
            with suppress(OSError):
                file.unlink(missing_ok=True)
        raise
    return store


def _refuse_existing(connection: Connection, name: str) -> None:
    if inspect(connection).has_table("journal"):
        raise StoreProblem(
            f"the database {name} holds a ledger already", "open it, or name another database"
        )


def open_store(url: str, *, clock: Clock, salts: Salts, os_user: str | None = None) -> Store:
    """Open a ledger after checking its schema and its guard; ``StoreProblem`` says the way out."""
    parsed = parse_url(url)
    file = sqlite_file(parsed)
    if file is not None and not file.is_file():
        raise StoreProblem(f"there is no ledger at {file}", "restore a backup of it there")
    engine = make_store_engine(parsed)
    store = Store(engine, clock, salts, os_user or system_user())
    try:
        with store._begun(write=False) as connection:
            check_schema(connection, store.name)
            wrong = guard.missing(connection)
    except BaseException:
        engine.dispose()
        raise
    if wrong:
        engine.dispose()
        raise StoreProblem(
            f"the guard of {store.name} is not whole: {'; '.join(wrong)}",
            "somebody changed the database itself: `useledger verify` shows what became of the "
            "entries, `useledger upgrade` puts the guard back",
        )
    return store


def read_revision(connection: Connection) -> str | None:
    """Return the schema revision of a database, None where there is no ledger."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    row = connection.exec_driver_sql("SELECT version_num FROM alembic_version").first()
    return str(row[0]) if row else None


def check_schema(connection: Connection, name: str) -> None:
    """Raise ``StoreProblem`` unless the schema is the one this version works with."""
    try:
        revision = read_revision(connection)
    except SQLAlchemyError as error:
        if isinstance(getattr(error, "orig", None), sqlite3.DatabaseError):
            raise StoreProblem(f"{name} is not a ledger ({error})", "name another file") from error
        raise
    if revision is None:
        raise StoreProblem(f"{name} is not a ledger", "make one with `useledger init DIR`")
    if revision == REVISIONS[-1]:
        return
    if revision in REVISIONS:
        raise StoreProblem(
            f"{name} was made by an older version (schema {revision}, here {REVISIONS[-1]})",
            "run `useledger upgrade`; it makes a backup first",
        )
    raise StoreProblem(
        f"{name} was made by a newer version (schema {revision}, here {REVISIONS[-1]})",
        "install the newest version of useledger; this one would not understand it",
    )
