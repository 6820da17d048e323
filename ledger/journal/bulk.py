"""Many ready rows at once into PostgreSQL: COPY, which is several times as fast as INSERT.

The rows pass the same guard as every other: its trigger judges each batch as it judges one row.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, TypeGuard

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from ledger.journal.link import Link

WORTH_IT = 50
"""Fewer rows than this go as INSERT: a COPY of its own costs two more answers of the server."""


def can_copy(connection: Link) -> TypeGuard[Connection]:
    """Say whether rows can be copied over this connection (PostgreSQL by psycopg)."""
    return connection.dialect.name == "postgresql" and connection.dialect.driver == "psycopg"


def copy_rows(
    connection: Connection, table: str, columns: Sequence[str], rows: Iterable[Sequence[Any]]
) -> None:
    """Copy ready rows into a table, each in the order of ``columns``, in this transaction.

    What the database refuses is raised as for an INSERT, by the same kind of exception of
    SQLAlchemy, and the transaction is lost with it.
    """
    from sqlalchemy.exc import DBAPIError  # noqa: PLC0415 - a server's connection has it loaded

    driver: Any = connection.connection.driver_connection
    into = f"COPY {table} ({', '.join(columns)}) FROM STDIN"
    try:
        with driver.cursor() as cursor, cursor.copy(into) as copying:
            for row in rows:
                copying.write_row(row)
    except connection.dialect.loaded_dbapi.Error as error:
        kind = connection.dialect.loaded_dbapi.Error
        raise DBAPIError.instance(into, None, error, kind, dialect=connection.dialect) from error
