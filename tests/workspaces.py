"""Workspaces for tests: the invented firm of the samples, with a clock that the test sets."""

from __future__ import annotations

import itertools
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from ledger.demo import firm_file, label_files
from ledger.flow.booking import Recorded
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import Workspace, make_workspace, read_rules
from ledger.journal import open_store
from ledger.rulefile import shipped_rules

ROOT = Path(__file__).resolve().parents[1]
SAMPLES = ROOT / "fixtures" / "samples"


class SetClock:
    """A clock that stands where a test puts it and moves on a little at each look."""

    def __init__(self, moment: datetime) -> None:
        self.moment = moment

    def __call__(self) -> datetime:
        self.moment += timedelta(microseconds=1013)
        return self.moment


def counted_salts() -> Callable[[], bytes]:
    """Return salts 1, 2, 3 ... so that a ledger comes out the same twice."""
    numbers = itertools.count(1)
    return lambda: next(numbers).to_bytes(16, "big")


def sample_workspace(folder: Path, database: str = "", clock: SetClock | None = None) -> Workspace:
    """Make the workspace of the invented firm with its labels, on the evening of 2026-01-14."""
    text = firm_file()
    if database:
        text = f'database = "{database}"\n\n{text}'
    clock = clock or SetClock(datetime(2026, 1, 16, 2, 30, tzinfo=UTC))
    workspace = make_workspace(folder, text, clock, counted_salts())
    for name in label_files():
        shutil.copyfile(shipped_rules() / "labels" / name, folder / "rules" / "labels" / name)
    workspace.book = read_rules(folder)
    assert workspace.book.faults == ()
    return workspace


def record(workspace: Workspace, name: str, by: str = "renner") -> Recorded:
    """Hand in one of the sample sheets."""
    return record_sheet(workspace, name, (SAMPLES / name).read_bytes(), by)


class Stamp:
    """Many small workspaces alike: one is made, the others are copies of its empty ledger."""

    def __init__(self, folder: Path) -> None:
        self._numbers = itertools.count(1)
        self._folder = folder
        self.first = sample_workspace(folder / "first")
        self.first.store.close()

    @contextmanager
    def new(self) -> Iterator[Workspace]:
        """Give a workspace with an empty ledger of its own; it is closed and removed after."""
        file = self._folder / f"ledger-{next(self._numbers)}.db"
        shutil.copyfile(self.first.root / "ledger.db", file)
        clock = SetClock(datetime(2026, 2, 20, 2, 30, tzinfo=UTC))
        store = open_store(f"sqlite:///{file}", clock=clock, salts=counted_salts())
        try:
            yield Workspace(self.first.root, self.first.book, store, clock, "tester")
        finally:
            store.close()
            file.unlink()
