"""The one seam between the journal and its engines: what a connection answers.

An SQLite file is asked through the driver of the standard library and nothing else, for SQLAlchemy
takes longer to load than a line takes to be booked. A server, and whatever changes a schema, is
asked through a connection of SQLAlchemy. Both take a statement as text by ``exec_driver_sql``; a
value stands in it as ``?``, which ``marked`` turns into the mark of the driver at hand.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any, NamedTuple, Union

from ledger.journal.file_modes import prepare_file

if TYPE_CHECKING:
    from sqlalchemy import Connection

CHUNK = 1000
"""How many rows are fetched, or values asked for, at once."""

Row = Sequence[Any]


class Answer(sqlite3.Cursor):
    """What a statement gave; its rows are taken by the names that SQLAlchemy has for them."""

    def all(self) -> list[Row]:
        """Return every row."""
        return self.fetchall()

    def close(self) -> None:
        """Let go of the statement, which a closed connection has done already."""
        with suppress(sqlite3.ProgrammingError):
            super().close()

    def first(self) -> Row | None:
        """Return the first row, None where there is none."""
        row: Row | None = self.fetchone()
        self.close()
        return row

    def scalar(self) -> object:
        """Return the first value of the first row, None where there is none."""
        row = self.first()
        return row[0] if row else None


class Dialect(NamedTuple):
    """What the journal asks about an engine."""

    name: str = "sqlite"
    driver: str = "sqlite3"
    paramstyle: str = "qmark"
    loaded_dbapi: ModuleType = sqlite3


class FileConnection:
    """A connection to an SQLite file, used as the journal uses one of SQLAlchemy."""

    dialect = Dialect()

    def __init__(self, file: Path) -> None:
        self.file = file.absolute()
        self.connection = sqlite3.connect(self.file, isolation_level=None, check_same_thread=False)
        try:
            prepare_file(self.connection)
        except BaseException:
            self.connection.close()
            raise

    def exec_driver_sql(
        self,
        statement: str,
        values: Sequence[Any] | None = None,
        execution_options: object = None,  # noqa: ARG002 - rows come one by one anyhow
    ) -> Answer:
        """Run a statement, once, or for each of a list of rows."""
        cursor = self.connection.cursor(Answer)
        if isinstance(values, list):
            return cursor.executemany(statement, values)
        return cursor.execute(statement, values or ())

    def begin(self, *, write: bool) -> None:
        """Begin as the transaction is meant: a writer takes its lock before it reads the head."""
        self.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")

    def commit(self) -> None:
        """Keep what was written."""
        self.connection.commit()

    def rollback(self) -> None:
        """Take back what was written."""
        self.connection.rollback()

    def close(self) -> None:
        """Close the connection; what was not committed is taken back."""
        self.connection.close()


Link = Union["Connection", FileConnection]
"""A connection of either kind."""


class LedgerFile:
    """An SQLite file with the connections to it that are not in use."""

    def __init__(self, file: Path) -> None:
        self._file = file
        self._idle: list[FileConnection] = []

    @contextmanager
    def begun(self, *, write: bool) -> Iterator[FileConnection]:
        """Give a connection inside a transaction, which is taken back by any exception."""
        connection = self._idle.pop() if self._idle else FileConnection(self._file)
        try:
            connection.begin(write=write)
            yield connection
            # A reader has nothing to keep, and a damaged file can still be read to its end.
            (connection.commit if write else connection.rollback)()
        except BaseException:
            connection.close()
            raise
        self._idle.append(connection)

    def close(self) -> None:
        """Close every connection that is not in use."""
        while self._idle:
            self._idle.pop().close()


def url_of(link: Link) -> str:
    """Return the URL of the database that a connection is to, whole, for another process."""
    if isinstance(link, FileConnection):
        return f"sqlite:///{link.file}"
    return link.engine.url.render_as_string(hide_password=False)


def errors_of(link: Link) -> type[Exception]:
    """Return what a connection raises where the database refuses."""
    if isinstance(link, FileConnection):
        return sqlite3.Error
    from sqlalchemy.exc import DBAPIError  # noqa: PLC0415 - loaded already where it is asked for

    return DBAPIError


def said_by(error: Exception) -> str:
    """Return the database's own words in such an exception."""
    return str(getattr(error, "orig", error))


def marked(link: Link, statement: str) -> str:
    """Return a statement with the driver's own mark for each value."""
    return statement if link.dialect.paramstyle == "qmark" else statement.replace("?", "%s")


def rows_of(link: Link, statement: str, values: Sequence[Any] = ()) -> Sequence[Row]:
    """Return every row of a statement, its values in the order of their marks."""
    return link.exec_driver_sql(marked(link, statement), tuple(values)).all()


def stream_of(link: Link, statement: str, values: Sequence[Any] = ()) -> Iterator[Row]:
    """Yield the rows of a statement without holding them all in memory."""
    result = link.exec_driver_sql(
        marked(link, statement), tuple(values), execution_options={"stream_results": True}
    )
    try:
        while rows := result.fetchmany(CHUNK):
            yield from rows
    finally:
        result.close()
