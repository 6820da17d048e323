"""The program dies (SIGKILL: nothing of it runs on) at a random moment, over and over again.

``python -m tests.sudden_death --rounds 1000`` kills it a thousand times while it records, closes
and files, by turns. Each round begins with a copy of a ledger that was prepared once and a process
that was forked with the rules read, so that most of a round is the work itself. After each death
the ledger must open, verify, hold what was acknowledged, and hold the work whole or not at all;
then the work is done again.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path

from ledger.flow.closing import close_day
from ledger.flow.file_names import file_of
from ledger.flow.filing_register import FilingWish, file_report
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import Workspace
from ledger.journal import Reader, open_store
from ledger.journal.verify import verify
from ledger.values.period import Period
from ledger.values.sealed import EntryKind
from tests.day_sheets import sheet
from tests.workspaces import SetClock, sample_workspace

LINES = 24
DAY = date(2026, 1, 14)
MONTH = Period(2026, 1)
EARLIER = sheet({"date": "2026-01-13", "line": "earlier"})
LONG = sheet(*({"line": str(n), "address": f"{n} Tollhouse Lane"} for n in range(1, LINES + 1)))
COPY = b"what was sent to the county" * 2000


def record(workspace: Workspace) -> list[str]:
    """Hand a sheet in; return the seals of what was acknowledged."""
    done = record_sheet(workspace, "long.csv", LONG, "renner")
    assert (done.faults, done.count("held")) == ((), 0)
    with workspace.store.reading() as reader:
        return [reader.entry(outcome.seq or 0).seal for outcome in done.outcomes]


def close(workspace: Workspace) -> list[str]:
    """Close the day."""
    return [close_day(workspace, DAY, None, "calloway").entry.seal]


def file(workspace: Workspace) -> list[str]:
    """File the month, nil reports too, with a copy of what was sent."""
    wish = FilingWish(date(2026, 2, 5), "by hand", "calloway", with_open=True)
    copies = {"Placer": {"sent.pdf": COPY}}
    return [filed.entry.seal for filed in file_report(workspace, MONTH, wish, copies)]


def recorded(reader: Reader) -> bool | None:
    """Say whether the sheet is booked: whole, not at all, or (None) by halves."""
    lines = Counter(entry.body["line"] for entry in reader.entries((EntryKind.APPLICATION,)))
    sheets = sum(file_of(entry) == "long.csv" for entry in reader.entries((EntryKind.SHEET,)))
    assert reader.held_open() == ()
    if (len(lines), sheets) == (1, 0):
        return False
    whole = lines == Counter(["earlier", *(str(n) for n in range(1, LINES + 1))])
    judged = all(reader.judgements(entry.seq) for entry in reader.entries((EntryKind.APPLICATION,)))
    return True if whole and judged and sheets == 1 else None


def closed(reader: Reader) -> bool | None:
    """Say whether the day is closed, over every line of it."""
    closes = reader.closes(DAY)
    if not closes:
        return False
    return True if [len(entry.body["entries"]) for entry in closes] == [LINES] else None


def filed(reader: Reader) -> bool | None:
    """Say whether the month is filed to both counties, with everything that was kept of it."""
    filings = reader.filings()
    if not filings:
        return False
    kept = [d for f in filings for d in (f.body["report"], *f.body["copies"].values())]
    whole = sorted(f.body["county"] for f in filings) == ["Nevada", "Placer"]
    return True if whole and all(reader.blob(digest) is not None for digest in kept) else None


@dataclass(frozen=True)
class Act:
    """What is interrupted: the work, and whether a ledger holds it; it begins at ``moment``."""

    name: str
    work: Callable[[Workspace], list[str]]
    done: Callable[[Reader], bool | None]
    moment: datetime


ACTS = (
    Act("record", record, recorded, datetime(2026, 1, 16, 2, 30, tzinfo=UTC)),
    Act("close", close, closed, datetime(2026, 1, 16, 3, 30, tzinfo=UTC)),
    Act("file", file, filed, datetime(2026, 2, 5, 20, tzinfo=UTC)),
)


class Deaths:
    """A firm whose ledger stands ready before each act, and the rounds that kill it there."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.chance = random.Random(seed)
        self.seen: Counter[tuple[str, str]] = Counter()
        self._firm = sample_workspace(folder / "firm")
        self._database = folder / "firm" / "ledger.db"
        self._ready = {act.name: folder / f"{act.name}.db" for act in ACTS}
        self._whole: dict[str, float] = {}
        record_sheet(self._firm, "earlier.csv", EARLIER, "renner")
        self._firm.store.close()
        for act in ACTS:  # each goes on from where the one before left the ledger
            shutil.copyfile(self._database, self._ready[act.name])
            with self._opened(act) as workspace:
                act.work(workspace)

    @contextmanager
    def _opened(self, act: Act) -> Iterator[Workspace]:
        clock = SetClock(act.moment)
        url = f"sqlite:///{self._database}"
        store = open_store(url, clock=clock, salts=lambda: os.urandom(16))
        try:
            yield replace(self._firm, store=store, clock=clock)
        finally:
            store.close()

    def _begin(self, act: Act) -> tuple[int, int]:
        """Begin the act in a process of its own; return its number and where it says so."""
        shutil.copyfile(self._ready[act.name], self._database)
        reads, writes = os.pipe()
        sys.stdout.flush()
        sys.stderr.flush()
        child = os.fork()
        if child:
            os.close(writes)
            return child, reads
        code = 70
        try:
            os.close(reads)
            with self._opened(act) as workspace:
                os.write(writes, "\n".join(act.work(workspace)).encode())
            code = 0
        finally:
            os._exit(code)

    def _ended(self, child: int, reads: int) -> tuple[int, list[str]]:
        """Wait for the process; return how it ended and the seals that it had acknowledged."""
        with os.fdopen(reads) as said:
            seals = said.read().split()
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), seals

    def length(self, act: Act) -> float:
        """Return how long the act takes undisturbed, in seconds; measured at the first need."""
        if act.name not in self._whole:
            times = []
            for _ in range(3):
                begun = time.monotonic()
                ended, seals = self._ended(*self._begin(act))
                times.append(time.monotonic() - begun)
                assert (ended, bool(seals)) == (0, True)
            self._whole[act.name] = sorted(times)[1]
        return self._whole[act.name]

    def round(self, act: Act) -> None:
        """Kill the act at a random moment; AssertionError where the ledger is not whole after."""
        moment = self.chance.uniform(0, 1.3 * self.length(act))
        child, reads = self._begin(act)
        time.sleep(moment)
        os.kill(child, signal.SIGKILL)
        ended, seals = self._ended(child, reads)
        assert ended in {0, -signal.SIGKILL}, f"{act.name} failed by itself: {ended}"
        with self._opened(act) as workspace:
            done = self._holds(act, workspace, seals)
            assert done is not None, f"{act.name} is there by halves"
            assert done or not seals, f"{act.name} was acknowledged and is lost"
            if not done:
                again = act.work(workspace)
                assert self._holds(act, workspace, again), f"{act.name} cannot be done again"
        how = ("acknowledged" if seals else "done, not said") if done else "not done"
        # A machine's pace changes: the moments move to where about half of the acts end in time.
        self._whole[act.name] *= 0.95 if done else 1.05
        self.seen[act.name, how] += 1

    def _holds(self, act: Act, workspace: Workspace, seals: list[str]) -> bool | None:
        with workspace.store.reading() as reader:
            proof = verify(reader, tuple(seals))
            assert proof.ok, proof.problems
            return act.done(reader)

    def rounds(self, count: int) -> None:
        """Carry out so many rounds, the acts by turns."""
        for number in range(count):
            self.round(ACTS[number % len(ACTS)])


def main() -> None:
    """Kill the program as often as asked and say what was seen; end with 1 at the first loss."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=int.from_bytes(os.urandom(4), "big"))
    asked = parser.parse_args()
    print(f"seed {asked.seed}")
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        deaths = Deaths(Path(folder), asked.seed)
        deaths.rounds(asked.rounds)
    for (act, how), times in sorted(deaths.seen.items()):
        print(f"{act:8} {how:15} {times:6}")
    print(f"{asked.rounds} deaths, nothing lost, {time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    main()
