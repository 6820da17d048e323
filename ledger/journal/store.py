"""The store: making a ledger, opening one, and the transactions in which it is used."""

from __future__ import annotations

import getpass
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.journal import guard
from ledger.journal.address import Address, parse_url, sqlite_file
from ledger.journal.append import Clock, Salts, Writer
from ledger.journal.link import LedgerFile, rows_of, said_by
from ledger.journal.problem import StoreProblem
from ledger.journal.read import Reader
from ledger.journal.tables import REVISIONS
from ledger.values.sealed import EntryKind

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine

    from ledger.journal.link import Link


def system_user() -> str:
    """Return the operating system's user, stored beside each author."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a container without a user entry
        return f"uid {os.getuid()}" if hasattr(os, "getuid") else "unknown"


class Store:
    """An opened ledger. Transactions do not nest: finish one before the next."""

    even_moved = False
    """Whether it is written to although it was moved elsewhere."""

    def __init__(self, address: Address, clock: Clock, salts: Salts, os_user: str) -> None:
        self.address = address
        self.name = address.name
        self._file = LedgerFile(Path(address.database)) if address.direct else None
        self._clock = clock
        self._salts = salts
        self._os_user = os_user

    @cached_property
    def engine(self) -> Engine:
        """The engine of SQLAlchemy, made when it is first asked for."""
        from ledger.journal.engine import make_store_engine  # noqa: PLC0415 - slow to load

        return make_store_engine(self.address)

    @contextmanager
    def reading(self) -> Iterator[Reader]:
        """Give a reader of one moment of the ledger."""
        with self.begun(write=False) as connection:
            yield Reader(connection, self.name)

    @contextmanager
    def writing(self) -> Iterator[Writer]:
        """Give a writer that alone may append; its entries are proved and kept at the end.

        Any exception takes the whole transaction back. An error at the end means that nothing
        was recorded. A ledger that was moved elsewhere is refused.
        """
        with self.begun(write=True) as connection:
            writer = self.writer_on(connection)
            if not self.even_moved:
                refuse_moved(writer)
            yield writer
            writer.finish()

    def writer_on(self, connection: Link) -> Writer:
        """Return a writer inside a transaction that somebody else ends."""
        return Writer(
            connection, name=self.name, clock=self._clock, salts=self._salts, os_user=self._os_user
        )

    @contextmanager
    def begun(self, *, write: bool) -> Iterator[Link]:
        """Give a connection inside a transaction; for the modules of the journal only."""
        if self._file is None:
            with self._begun_by_engine(write=write) as connection:
                yield connection
            return
        try:
            with self._file.begun(write=write) as direct:
                yield direct
        except sqlite3.Error as error:
            raise _from_database(error, self.name, write=write) from error

    @contextmanager
    def begun_for_schema(self) -> Iterator[Connection]:
        """Give a connection inside a transaction that writes, fit for migrations."""
        with self._begun_by_engine(write=True) as connection:
            yield connection

    @contextmanager
    def _begun_by_engine(self, *, write: bool) -> Iterator[Connection]:
        from sqlalchemy.exc import DBAPIError  # noqa: PLC0415 - slow to load

        from ledger.journal.engine import options  # noqa: PLC0415

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
        if "engine" in self.__dict__:  # it was asked for
            self.engine.dispose()
        if self._file is not None:
            self._file.close()


def no_clock() -> datetime:
    """Stand for the clock of a store that is only read."""
    raise AssertionError("nothing is written here")


def only_read(url: str) -> Store:
    """Return the store of a ledger that is only read, with whatever schema and guard it has."""
    return Store(parse_url(url), no_clock, bytes, "")


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


def _from_database(error: Exception, name: str, *, write: bool) -> StoreProblem:
    words = said_by(error).strip()
    said = words.splitlines()[0] if words else "no reason given"
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
    store = Store(parsed, clock, salts, os_user or system_user())
    try:
        with store.begun(write=False) as connection:
            check_schema(connection, store.name)
            wrong = () if proving else guard.missing(connection)
    except BaseException:
        store.close()
        raise
    if wrong:
        store.close()
        raise StoreProblem(
            f"the guard of {store.name} is not whole: {'; '.join(wrong)}",
            "somebody changed the database itself: `useledger verify` shows what became of the "
            "entries, `useledger upgrade` puts the guard back",
        )
    return store


def read_revision(connection: Link) -> str | None:
    """Return the schema revision of a database, None where there is no ledger."""
    there = _IS_THERE["sqlite" if connection.dialect.name == "sqlite" else "postgresql"]
    if not rows_of(connection, there):
        return None
    rows = rows_of(connection, "SELECT version_num FROM alembic_version")
    return str(rows[0][0]) if rows else None


_IS_THERE = {
    "sqlite": "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'alembic_version'",
    "postgresql": "SELECT 1 FROM pg_class WHERE oid = to_regclass('alembic_version')",
}
"""The question whether a database has been set up, by engine."""


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


def check_schema(connection: Link, name: str) -> None:
    """Raise ``StoreProblem`` unless the schema is the one this version works with."""
    revision = refuse_unknown(read_revision(connection), name)
    if revision != REVISIONS[-1]:
        raise StoreProblem(
            f"{name} was made by an older version (schema {revision}, here {REVISIONS[-1]})",
            "run `useledger upgrade`; it makes a backup first",
        )
