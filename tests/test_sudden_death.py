"""The program dies while it books, closes or files: all of it is there or nothing, every time.

It runs in a process of its own that is killed (SIGKILL: nothing of it runs on), at random moments
(``sudden_death.py``) and, the command as a person starts it, just before a statement to the
database.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ledger.cli import main
from ledger.flow.file_names import file_of
from ledger.flow.holding import held_lines
from ledger.flow.inspecting import prove_whole
from ledger.flow.listing import list_entries
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import open_workspace
from ledger.journal.link import FileConnection
from ledger.values.sealed import EntryKind
from tests.day_sheets import sheet
from tests.sudden_death import ACTS, Deaths
from tests.workspaces import sample_workspace

LINES = 60
AT_A_STATEMENT = 7
ROUNDS = int(os.environ.get("USELEDGER_DEATHS", "24"))
"""How often the program is killed at a random moment; continuous integration asks for hundreds."""

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork a process"),
]


@pytest.fixture(scope="module")
def before(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workspace with some work in it already, and the long sheet beside it."""
    folder = tmp_path_factory.mktemp("death") / "firm"
    firm = sample_workspace(folder)
    record_sheet(firm, "earlier.csv", sheet({"date": "2026-01-13", "line": "e"}), "renner")
    firm.store.close()
    lines = [{"line": str(n), "address": f"{n} Tollhouse Lane"} for n in range(1, LINES + 1)]
    (folder / "long.csv").write_bytes(sheet(*lines))
    return folder


def start(folder: Path, prepare: Callable[[], None] = lambda: None) -> int:
    """Begin ``useledger record long.csv`` in a process of its own; return its number."""
    sys.stdout.flush()
    sys.stderr.flush()
    child = os.fork()
    if child:
        return child
    code = 70
    try:
        silent = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silent, 1)
        os.dup2(silent, 2)
        prepare()
        words = ["record", str(folder / "long.csv"), "--by", "renner", "--workspace", str(folder)]
        main(words, standalone_mode=False)
    except SystemExit as ended:
        code = int(ended.code or 0)
    finally:
        os._exit(code)


def end_of(child: int) -> int:
    """Wait for a process; return its exit code, or the signal that killed it as a minus."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def dies_at(statement: int) -> Callable[[], None]:
    """Return what makes a process kill itself just before its n-th statement to the database."""

    def prepare() -> None:
        left = [statement]

        def count() -> None:
            left[0] -= 1
            if left[0] <= 0:
                os.kill(os.getpid(), signal.SIGKILL)

        noticed(count)

    return prepare


def noticed(count: Callable[[], None]) -> Callable[[], None]:
    """Have every statement and commit counted before it is made; return what ends that."""
    run, commit = FileConnection.exec_driver_sql, FileConnection.commit

    def running(self: FileConnection, *said: Any, **options: Any) -> Any:
        count()
        return run(self, *said, **options)

    def committing(self: FileConnection) -> None:
        count()
        commit(self)

    def end() -> None:
        FileConnection.exec_driver_sql, FileConnection.commit = run, commit  # type: ignore[method-assign]

    FileConnection.exec_driver_sql, FileConnection.commit = running, committing  # type: ignore[method-assign]
    return end


def statements_of(folder: Path) -> int:
    """Return how many statements the whole work takes, its commit included."""
    seen: list[int] = []

    end = noticed(lambda: seen.append(1))
    try:
        firm = open_workspace(str(folder))
        record_sheet(firm, "long.csv", (folder / "long.csv").read_bytes(), "renner")
        firm.store.close()
    finally:
        end()
    return len(seen)


def booked_after(folder: Path) -> int:
    """Return how many lines of the sheet are booked: all or none, in a ledger that verifies."""
    firm = open_workspace(str(folder))
    proof = prove_whole(firm)
    assert proof.ok, proof.problems
    booked = len(list_entries(firm, {})) - 1
    with firm.store.reading() as reader:
        received = sum(
            file_of(entry) == "long.csv" for entry in reader.entries(kinds=(EntryKind.SHEET,))
        )
    firm.store.close()
    assert (booked, received) in {(0, 0), (LINES, 1)}
    return booked


def book_again(folder: Path, before: int) -> None:
    """Hand the sheet in again: every line is booked once, however the first time ended."""
    firm = open_workspace(str(folder))
    again = record_sheet(firm, "long.csv", (folder / "long.csv").read_bytes(), "renner")
    assert (again.count("taken"), again.count("booked")) == (before, LINES - before)
    times = Counter(row.use.line for row in list_entries(firm, {}))
    assert times == Counter([*(str(n) for n in range(1, LINES + 1)), "e"])
    assert held_lines(firm) == ()
    assert prove_whole(firm).ok
    firm.store.close()


def test_whatever_is_killed_is_whole_or_not_there_at_all(tmp_path: Path) -> None:
    """Record, close and file by turns; the seed of a failure is in the assertion's own message."""
    seed = int.from_bytes(os.urandom(4), "big")
    deaths = Deaths(tmp_path, seed)
    try:
        deaths.rounds(ROUNDS)
    except AssertionError as lost:
        raise AssertionError(f"seed {seed}: {lost}") from lost
    assert deaths.seen.total() == ROUNDS
    died = {act for act, how in deaths.seen if how == "not done"}
    ended = {act for act, how in deaths.seen if how != "not done"}
    assert died | ended == {act.name for act in ACTS}
    assert died, "somebody must have died in the middle"
    assert ended, "somebody must have come to the end"


def test_the_last_moment_before_the_commit_is_as_good_as_the_first(
    before: Path, tmp_path: Path
) -> None:
    trial = tmp_path / "trial"
    shutil.copytree(before, trial)
    total = statements_of(trial)
    chance = random.Random(7)
    moments = [1, total, *(chance.randint(2, total - 1) for _ in range(AT_A_STATEMENT - 2))]
    for number, statement in enumerate(moments):
        folder = tmp_path / f"statement-{number}"
        shutil.copytree(before, folder)
        ended = end_of(start(folder, dies_at(statement)))
        assert ended == -signal.SIGKILL
        assert booked_after(folder) == 0
        book_again(folder, 0)
        shutil.rmtree(folder)
