"""Making a new ledger: its schema, its guard and its first entry, all or nothing."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from ledger.journal.address import parse_url, sqlite_file
from ledger.journal.append import Clock, Salts
from ledger.journal.problem import StoreProblem
from ledger.journal.store import Store, system_user
from ledger.values.sealed import EntryKind, NewEntry

if TYPE_CHECKING:
    from sqlalchemy import Connection


def create(url: str, *, firm: str, clock: Clock, salts: Salts, os_user: str | None = None) -> Store:
    """Make a new ledger with its first entry (which names the firm) and open it.

    ``salts`` also gives the ledger's id. Raises ``StoreProblem`` where a ledger exists already.
    """
    store = prepare(url, clock, salts, os_user)
    try:
        with store.begun_for_schema() as connection:
            make_schema(connection, store.name)
            writer = store.writer_on(connection)
            writer.found(salts().hex())
            writer.append(NewEntry(EntryKind.LEDGER, {"firm": firm}))
            writer.finish()
    except BaseException:
        abandon(store)
        raise
    return store


def prepare(url: str, clock: Clock, salts: Salts, os_user: str | None = None) -> Store:
    """Return the store of a database that does not hold a ledger yet."""
    parsed = parse_url(url)
    file = sqlite_file(parsed)
    if file is not None and file.exists():
        raise StoreProblem(f"{file} exists already", "open it, or name another file")
    if file is not None and not file.parent.is_dir():
        raise StoreProblem(f"there is no folder {file.parent}", "make it first")
    return Store(parsed, clock, salts, os_user or system_user())


def make_schema(connection: Connection, name: str, revision: str = "head") -> None:
    """Make the tables and the guard in an empty database; ``StoreProblem`` if it is not empty."""
    from sqlalchemy import inspect  # noqa: PLC0415 - slow to load

    from ledger.journal.upgrade.migrate import run_migrations  # noqa: PLC0415 - alembic is slow to load

    if inspect(connection).has_table("journal"):
        raise StoreProblem(
            f"the database {name} holds a ledger already", "open it, or name another database"
        )
    run_migrations(connection, revision)


def abandon(store: Store) -> None:
    """Close a store that could not be made and remove its file."""
    store.close()
    file = sqlite_file(store.address)
    if file is not None:
        with suppress(OSError):
            file.unlink(missing_ok=True)
