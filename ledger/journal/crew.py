"""Several processes that prove stretches of one ledger, each with a connection of its own."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from typing import TYPE_CHECKING

from ledger.journal.guard import structure_of
from ledger.journal.link import url_of
from ledger.journal.quick import Ask, Stretch, prove_stretch
from ledger.journal.store import only_read

if TYPE_CHECKING:
    from concurrent.futures import Future

    from ledger.journal.link import Link

Range = tuple[int, int]

WORTH_IT = 20_000
"""Entries below which starting other processes takes longer than it saves."""

AT_ONCE = 8
"""Stretches handed to a process together."""


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def jobs_for(entries: int) -> int:
    """Return how many processes are worth starting for so many entries."""
    return cores() if entries >= WORTH_IT else 1


class Crew:
    """Proves the stretches of a ledger in order, by other processes or, with one job, right here.

    The processes see the ledger by transactions of their own: what was disposed of meanwhile gives
    None and is looked at again in the asking one's moment. A process that dies leaves its
    stretches to this one.
    """

    def __init__(self, connection: Link, ask: Ask, jobs: int) -> None:
        self._connection = connection
        self._ask = ask
        self._jobs = jobs
        self._sound: Future[bool] | None = None

    def stretches(self, ranges: Sequence[Range]) -> Iterator[Stretch | None]:
        """Yield what each stretch comes to, None where it is not whole in every respect."""
        done = 0
        if self._jobs > 1 and len(ranges) > 1:
            for stretch in self._by_others(ranges):
                done += 1
                yield stretch
        for first, last in ranges[done:]:
            yield prove_stretch(self._connection, first, last, self._ask)

    def _by_others(self, ranges: Sequence[Range]) -> Iterator[Stretch | None]:
        # Loaded here: one process alone has no need of them.
        import multiprocessing  # noqa: PLC0415
        from concurrent.futures import ProcessPoolExecutor  # noqa: PLC0415
        from concurrent.futures.process import BrokenProcessPool  # noqa: PLC0415

        url = url_of(self._connection)
        # Fresh interpreters: a forked one would share this one's open database.
        fresh = multiprocessing.get_context("spawn")
        crew = ProcessPoolExecutor(
            self._jobs, mp_context=fresh, initializer=_begin, initargs=(url, self._ask)
        )
        try:
            self._sound = crew.submit(_is_sound)
            yield from crew.map(_prove, ranges, chunksize=AT_ONCE)
            self._sound.exception()  # waits for it
        except BrokenProcessPool:
            return
        finally:
            crew.shutdown(cancel_futures=True)

    def found_sound(self) -> bool:
        """Say whether another process has found the database's own structure sound by now."""
        sound = self._sound
        return sound is not None and sound.done() and not sound.exception() and sound.result()


_open = ExitStack()
_with: tuple[Link, Ask] | None = None


def _begin(url: str, ask: Ask) -> None:
    """Open the ledger in a new process, for reading, until the process ends."""
    global _with  # noqa: PLW0603 - what a process of the crew works with, set once when it starts
    _with = (_open.enter_context(only_read(url).begun(write=False)), ask)


def _prove(stretch: Range) -> Stretch | None:
    assert _with is not None
    connection, ask = _with
    return prove_stretch(connection, *stretch, ask)


def _is_sound() -> bool:
    assert _with is not None
    return not any(structure_of(_with[0]))
