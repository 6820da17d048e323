"""How an SQLite file is opened so that what is acknowledged stays."""

from __future__ import annotations

import sqlite3

from ledger.journal.problem import StoreProblem

BUSY_SECONDS = 20
"""How long a writer waits for another before it gives up."""

PAGE_BYTES = 16_384
"""The page of a new SQLite ledger. Of pages of 4,096 bytes, SQLite's own choice, a record of about
two thousand fills one and leaves half of it empty."""

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


def prepare_file(connection: sqlite3.Connection) -> None:
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
