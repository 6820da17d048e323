"""How much room a ledger takes, against the bytes that it must keep."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

KEPT = """
    SELECT (SELECT sum(length(CAST(text AS BLOB))) FROM journal)
         + (SELECT coalesce(sum(length(CAST(text AS BLOB)) + length(salt)), 0) FROM private)
         + (SELECT coalesce(sum(length(data)), 0) FROM blob)
"""
PAGES = """
    SELECT coalesce(type, 'table') = 'table', sum(pgsize)
    FROM dbstat LEFT JOIN sqlite_master USING (name) WHERE aggregate = TRUE GROUP BY 1
"""


@dataclass(frozen=True, slots=True)
class Room:
    """Bytes: the canonical lines, salted texts and kept files; the tables; their indexes."""

    kept: int
    tables: int
    indexes: int

    @property
    def text(self) -> str:
        """The figures as a sentence."""
        return (
            f"Disk, SQLite: the tables take {self.tables / self.kept:.2f} times the canonical "
            "lines, salted texts and kept files (aim 1.5); the indexes another "
            f"{self.indexes / self.kept:.2f}."
        )


def room_of(path: Path) -> Room:
    """Return what an SQLite ledger takes; the file must not be written meanwhile."""
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        (kept,) = connection.execute(KEPT).fetchone()
        pages = dict(connection.execute(PAGES).fetchall())
    return Room(kept, pages[1], pages[0])
