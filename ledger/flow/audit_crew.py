"""Seeing the records of an audit: right here, or by processes that open the workspace anew."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from datetime import datetime
from itertools import chain, islice
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.flow import audit_seeing
from ledger.flow.audit_scope import Scope
from ledger.flow.audit_seeing import Looking, Seen, records_of
from ledger.flow.workspace import Workspace, open_workspace
from ledger.journal import Reader
from ledger.journal.crew import cores
from ledger.values.sealed import Head

if TYPE_CHECKING:
    from concurrent.futures import Future, ProcessPoolExecutor

WORTH_IT = 4000
"""Records below which starting other processes takes longer than it saves."""

WAITING = 2
"""How many parts lie ready for each process; more would only take room."""


@dataclass(frozen=True, slots=True)
class Moment:
    """What the asking process sees, and when: the others must see the same."""

    root: Path
    rules: str
    program: str
    head: Head
    now: datetime

    def clock(self) -> datetime:
        """Return the moment: in an audit no time goes by."""
        return self.now


def see(workspace: Workspace, reader: Reader, scope: Scope, jobs: int | None = None) -> Seen:
    """Look at every current record of a scope and return what is kept of them.

    ``jobs`` says how many processes may look; None lets a long audit have every core.
    """
    jobs = cores() if jobs is None else jobs
    records = records_of(reader, scope)
    first = list(islice(records, WORTH_IT if jobs > 1 else 0))
    if len(first) < WORTH_IT:
        jobs = 1
    parts = _parts(chain(first, records), jobs)
    look, seen = Looking(workspace, reader).see, Seen()
    found = (look(part) for _, part in parts)
    for one in found if jobs == 1 else seen_by_others(workspace, reader.head, parts, (jobs, look)):
        seen.add(one)
    seen.sort()
    return seen


def _parts(records: Iterable[tuple[int, str]], jobs: int) -> Iterator[tuple[int, list[int]]]:
    """Yield records for each process, some at a time: all records of a site for the same one.

    So what stands at a site is read by one process only.
    """
    waiting: list[list[int]] = [[] for _ in range(jobs)]
    for seq, site in records:
        who = hash(site) % jobs
        waiting[who].append(seq)
        if len(waiting[who]) == audit_seeing.AT_ONCE:
            yield who, waiting[who]
            waiting[who] = []
    yield from ((who, rest) for who, rest in enumerate(waiting) if rest)


def seen_by_others(
    workspace: Workspace,
    head: Head,
    parts: Iterable[tuple[int, list[int]]],
    how: tuple[int, Callable[[list[int]], Seen]],
) -> Iterator[Seen]:
    """Yield what is kept of each part of the records, in order.

    ``how`` are the number of processes and the way to look right here. A part that another process
    did not look at (it sees another moment or other rules, it met a fault, it died) is looked
    at here, where a fault is raised for the person to see.
    """
    # Loaded here: one process alone has no need of them.
    import multiprocessing  # noqa: PLC0415
    from concurrent.futures import ProcessPoolExecutor  # noqa: PLC0415

    jobs, here = how
    moment = Moment(
        workspace.root.resolve(), workspace.book.digest, workspace.program, head, workspace.clock()
    )
    asked: deque[tuple[list[int], Future[Seen | None] | None]] = deque()
    with ExitStack() as at_end:
        crew: list[ProcessPoolExecutor] = []
        for _ in range(jobs):
            # Fresh interpreters: a forked one would share this one's open database.
            fresh = multiprocessing.get_context("spawn")
            crew.append(ProcessPoolExecutor(1, fresh, _begin, (moment,)))
            at_end.callback(crew[-1].shutdown, cancel_futures=True)
        for who, part in parts:
            asked.append((part, _ask(crew[who], part)))
            if len(asked) > jobs * WAITING:
                yield _result(*asked.popleft(), here)
        while asked:
            yield _result(*asked.popleft(), here)


_open = ExitStack()
_looking: Looking | None = None


def _begin(moment: Moment) -> None:
    """Open the workspace in a new process, for reading, until the process ends."""
    global _looking  # noqa: PLW0603 - what a process of the crew works with, set once when it starts
    with suppress(Exception):  # the asking process looks itself, and can say what is wrong
        workspace = open_workspace(str(moment.root), clock=moment.clock)
        workspace.program = moment.program
        reader = _open.enter_context(workspace.store.reading())
        if (workspace.book.digest, reader.head) == (moment.rules, moment.head):
            _looking = Looking(workspace, reader)


def _ask(crew: ProcessPoolExecutor, part: list[int]) -> Future[Seen | None] | None:
    from concurrent.futures.process import BrokenProcessPool  # noqa: PLC0415 - as above

    try:
        return crew.submit(_see, part)
    except BrokenProcessPool:
        return None


def _see(numbers: list[int]) -> Seen | None:
    try:
        return _looking.see(numbers) if _looking is not None else None
    except Exception:  # noqa: BLE001 - the asking process meets it again, and can say it
        return None


def _result(
    part: list[int], asked: Future[Seen | None] | None, here: Callable[[list[int]], Seen]
) -> Seen:
    found = None if asked is None or asked.exception() else asked.result()
    return here(part) if found is None else found
