"""A copy of a ledger to try something out in, thrown away afterwards."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ledger.journal.address import parse_url
from ledger.journal.append import Clock, Salts
from ledger.journal.backup import copy
from ledger.journal.problem import StoreProblem
from ledger.journal.store import Store


class Scratch(Store):
    """A ledger that is thrown away: one that was moved elsewhere may be tried out all the same."""

    even_moved = True


@contextmanager
def scratch_copy(store: Store, *, clock: Clock, salts: Salts) -> Iterator[Store]:
    """Give a copy of a ledger in a folder that nobody else may read, and remove it at the end.

    The ledger itself is only read, at one moment, and nobody waits meanwhile. ``StoreProblem``
    where there is no room for the copy.
    """
    folder = Path(tempfile.mkdtemp(prefix="useledger-"))
    try:
        file = folder / "scratch.db"
        try:
            copy_into(store, file)
        except Exception as problem:
            raise StoreProblem(
                f"no copy of the ledger could be made to try the sheet out in ({problem})",
                f"make room in {folder.parent}, or name another folder in TMPDIR",
            ) from problem
        url = f"sqlite:///{file}"
        scratch = Scratch(parse_url(url), clock, salts, "")
        try:
            yield scratch
        finally:
            scratch.close()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def copy_into(store: Store, file: Path) -> None:
    """Write a ledger of either engine into a new SQLite file."""
    if store.address.is_file:
        with store.engine.connect() as connection:
            # Outside a transaction of ours: the statement reads one moment by itself.
            connection.connection.cursor().execute("VACUUM INTO ?", (str(file),))
    else:
        copy(store, f"sqlite:///{file}")
