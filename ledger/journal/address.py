"""Where a ledger is: the database's URL as a firm writes it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from ledger.journal.problem import StoreProblem

_FILE = "sqlite:///"


@dataclass(frozen=True, slots=True)
class Address:
    """A database of ours: its URL, its engine, and its name on a server or its file's path.

    ``direct`` says that it is a file with no further wishes, which needs no SQLAlchemy.
    """

    url: str
    engine: str
    database: str
    direct: bool

    @property
    def is_file(self) -> bool:
        """Whether it is an SQLite file; else it is a server's."""
        return self.engine == "sqlite"

    @property
    def name(self) -> str:
        """What messages call it."""
        return Path(self.database).name if self.is_file else self.database


def parse_url(url: str) -> Address:
    """Return the address of a database URL; raise ``StoreProblem`` where it is none of ours."""
    if url.startswith(_FILE) and "?" not in url:
        return Address(url, "sqlite", url.removeprefix(_FILE), direct=True)
    from sqlalchemy import make_url  # noqa: PLC0415 - slow to load, and a plain file needs none
    from sqlalchemy.exc import ArgumentError  # noqa: PLC0415

    try:
        parsed = make_url(url)
    except ArgumentError:
        parsed = None
    if parsed is None or parsed.get_backend_name() not in {"sqlite", "postgresql"}:
        raise StoreProblem(
            f'"{url}" is not a database of a ledger',
            'write "sqlite:///FILE" or "postgresql+psycopg://USER@HOST/NAME"',
        )
    return Address(url, parsed.get_backend_name(), parsed.database or "", direct=False)


def sqlite_file(address: Address) -> Path | None:
    """Return the file of an SQLite address, None for another engine."""
    if not address.is_file:
        return None
    if address.database in {"", ":memory:"}:
        raise StoreProblem("a ledger in memory keeps nothing", "name a file: sqlite:///FILE")
    return Path(address.database)
