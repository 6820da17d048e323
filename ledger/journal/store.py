"""The store: making a ledger, opening one, and the transactions in which it is used."""

from __future__ import annotations

import getpass
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, Engine, inspect
from sqlalchemy.exc import DBAPIError

from ledger.journal import guard
from ledger.journal.append import Clock, Salts, Writer
from ledger.journal.engine import make_store_engine, options, parse_url, sqlite_file
from ledger.journal.problem import StoreProblem
from ledger.journal.read import Reader
from ledger.journal.tables import REVISIONS
from ledger.values.sealed import EntryKind


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
        with self.begun(write=False) as connection:
            yield Reader(connection, self.name)

    @contextmanager
    def writing(self, *, even_moved: bool = False) -> Iterator[Writer]:
        """Give a writer that alone may append; its entries are proved and kept at the end.

        Any exception takes the whole transaction back. An error at the end means that nothing
        was recorded. A ledger that was moved elsewhere is refused (its schema may still be
        brought up to date: ``even_moved``).
        """
        with self.begun(write=True) as connection:
            writer = self.writer_on(connection)
            if not even_moved:
                refuse_moved(writer)
            yield writer
            writer.finish()

    def writer_on(self, connection: Connection) -> Writer:
        """Return a writer inside a transaction that somebody else ends."""
        return Writer(
            connection, name=self.name, clock=self._clock, salts=self._salts, os_user=self._os_user
        )

    @contextmanager
    def begun(self, *, write: bool) -> Iterator[Connection]:
        """Give a connection inside a transaction; for the modules of the journal only."""
        try:
            with self.engine.connect() as plain_connection:
                connection = plain_connection.execution_options(**options(self.engine, write=write))
                with connection.begin() as transaction:
                    yield connection
                    if not write:
                        # Nothing to keep; and a damaged file can still be read to its end.
                        transaction.rollback()
        except DBAPIError as error:
            raise _from_database(error, self.name, write=write) from error

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def refuse_moved(reader: Reader) -> None:
    """Raise ``StoreProblem`` where the ledger goes on elsewhere: one ledger, one head."""
    marks = list(reader.entries(kinds=(EntryKind.MOVED, EntryKind.CONTINUED)))
    if marks and marks[-1].kind is EntryKind.MOVED:
        raise StoreProblem(
            f"{reader.name} was moved by {marks[-1].by} on {marks[-1].at[:10]} (entry "
            f"{marks[-1].seq}) and is kept for reading only; nothing was recorded",
            "record in the workspace that it was moved to, or make that workspace from the export "
            "that the move wrote: `useledger import EXPORT DIR`",
        )


def _name(engine: Engine) -> str:
    database = engine.url.database or ""
    return Path(database).name if engine.dialect.name == "sqlite" else database


def _from_database(error: DBAPIError, name: str, *, write: bool) -> StoreProblem:
    said = str(error.orig).strip().splitlines()[0] if str(error.orig).strip() else "no reason given"
    done = "nothing was recorded" if write else "nothing was read"
    if "not a database" in said:
        return StoreProblem(f"{name} is not a ledger ({said})", "name another file")
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


def open_store(
    url: str, *, clock: Clock, salts: Salts, os_user: str | None = None, proving: bool = False
) -> Store:
    """Open a ledger after checking its schema and its guard; ``StoreProblem`` says the way out.

    ``proving`` opens one whose guard is broken as well, for reading what became of it.
    """
    parsed = parse_url(url)
    file = sqlite_file(parsed)
    if file is not None and not file.is_file():
        raise StoreProblem(f"there is no ledger at {file}", "restore a backup of it there")
    engine = make_store_engine(parsed)
    store = Store(engine, clock, salts, os_user or system_user())
    try:
        with store.begun(write=False) as connection:
            check_schema(connection, store.name)
            wrong = () if proving else guard.missing(connection)
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


def refuse_unknown(revision: str | None, name: str) -> str:
    """Return the revision; ``StoreProblem`` where there is none or this version is too old."""
    if revision is None:
        raise StoreProblem(f"{name} is not a ledger", "make one with `useledger init DIR`")
    if revision not in REVISIONS:
        raise StoreProblem(
            f"{name} was made by a newer version (schema {revision}, here {REVISIONS[-1]})",
            "install the newest version of useledger; this one would not understand it",
        )
    return revision


def check_schema(connection: Connection, name: str) -> None:
    """Raise ``StoreProblem`` unless the schema is the one this version works with."""
    revision = refuse_unknown(read_revision(connection), name)
    if revision != REVISIONS[-1]:
        raise StoreProblem(
            f"{name} was made by an older version (schema {revision}, here {REVISIONS[-1]})",
            "run `useledger upgrade`; it makes a backup first",
        )
