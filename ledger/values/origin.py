"""Where a value was read: a sheet's row and column, or a rule file's line and key.

A sheet has one of each for every cell, and they are tuples because tuples are made fastest.
"""

from __future__ import annotations

from typing import NamedTuple


class Origin(NamedTuple):
    """A place a person can find again.

    ``row`` counts from 1 and includes the header line; in a rule file it is the line.
    ``column`` is the heading of a sheet or the key path of a rule file, ``cell`` the address in
    a workbook ("F7"), ``page`` the worksheet's name.
    """

    file: str
    row: int | None = None
    column: str | None = None
    cell: str | None = None
    page: str | None = None

    def place(self) -> str:
        """Return ``file:row`` (or the file alone), as messages begin."""
        return self.file if self.row is None else f"{self.file}:{self.row}"


class Cell(NamedTuple):
    """One cell as read: its text, its origin and what the reader restored, if anything."""

    text: str
    origin: Origin
    restored: str = ""
