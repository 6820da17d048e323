"""Which tests run which lines: noted once, kept in a file outside the project, asked often."""

from __future__ import annotations

import hashlib
import json
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterable
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any

Spot = tuple[str, int]
"""A module's file, and a line of it."""

PLACE = Path(tempfile.gettempdir())


class Reach:
    """The lines of some modules that each test runs, and the seconds it takes.

    ``files`` are the modules, ``tests`` the test files. What was noted for the same bytes of both
    is read back from ``place``; a changed byte has everything noted anew.
    """

    def __init__(self, files: Iterable[Path], tests: Iterable[Path], place: Path = PLACE) -> None:
        self.files = {str(path) for path in files}
        self.takes: dict[str, float] = {}
        self.runs: dict[Spot, set[str]] = defaultdict(set)
        seal = hashlib.sha256()
        for path in sorted({*self.files, *map(str, tests)}):
            seal.update(path.encode() + b"\0" + Path(path).read_bytes())
        self.path = place / f"useledger-reach-{seal.hexdigest()[:16]}.json"
        self.known = self.path.exists()
        if self.known:
            kept = json.loads(self.path.read_text(encoding="utf-8"))
            self.takes = kept["takes"]
            names = list(self.takes)
            for file, line, ran in kept["runs"]:
                self.runs[file, line] = {names[number] for number in ran}

    def keep(self) -> None:
        """Write what was noted beside the machine's other passing files."""
        number = {name: at for at, name in enumerate(self.takes)}
        runs = [
            [file, line, sorted(number[name] for name in ran)]
            for (file, line), ran in sorted(self.runs.items())
        ]
        self.path.write_text(json.dumps({"takes": self.takes, "runs": runs}), encoding="utf-8")

    def of(self, file: str, lines: Iterable[int]) -> set[str]:
        """Return the tests that run any of these lines of a file."""
        return set().union(*(self.runs.get((file, line), set()) for line in lines))

    def anywhere(self, file: str) -> set[str]:
        """Return the tests that run any line of a file."""
        return {test for (name, _), ran in self.runs.items() if name == file for test in ran}

    def idle(self) -> set[str]:
        """Return the tests that run no line of the modules, though they may use them."""
        return set(self.takes) - set().union(*self.runs.values())

    def few(self, spots: Iterable[tuple[str, range]], each: int) -> set[str]:
        """Return a small set of tests of which ``each`` run every spot that as many can run.

        Spots that few tests run choose first; a test that was chosen counts for all its spots,
        and of those that are left the quickest is taken.
        """
        chosen: set[str] = set()
        for ran in sorted((self.of(file, lines) for file, lines in set(spots)), key=len):
            wanted = each - len(ran & chosen)
            if wanted > 0:
                chosen |= set(sorted(ran - chosen, key=self.takes.__getitem__)[:wanted])
        return chosen

    def passed(self, test: str, seconds: float, seen: set[Spot]) -> None:
        """Note that a test passed, how long it took and what it ran."""
        self.takes[test] = seconds
        for spot in seen:
            self.runs[spot].add(test)

    @contextmanager
    def watched(self) -> Any:
        """Give a set of the spots that are run meanwhile, and a clock's reading at the start."""
        seen: set[Spot] = set()
        began = time.monotonic()
        sys.settrace(None if self.known else self._tracer(seen))
        try:
            yield seen, began
        finally:
            sys.settrace(None)

    def _tracer(self, seen: set[Spot]) -> Any:
        files = self.files

        def line(frame: FrameType, event: str, _: object) -> Any:
            if event == "line":
                seen.add((frame.f_code.co_filename, frame.f_lineno))
            return line

        def call(frame: FrameType, _: str, __: object) -> Any:
            return line if frame.f_code.co_filename in files else None

        return call
