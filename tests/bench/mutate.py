"""Break the program a little, many times, and see whether a test notices.

``python -m tests.bench.mutate --only checks --minutes 30`` changes one comparison, number, truth
value, sign or branch at a time and asks the tests that run the changed line.

All is imported and every test is run once, with a note of the lines it runs. Each change is then
put into a process forked from there, which asks the tests of that line, those first that noticed a
change lately, then the quick ones, and ends at the first that fails; an endless loop is notice as
well. What only shows when a module is imported is asked in a new process and a copy of the project;
with ``--sure`` so is what nobody noticed. A line that no test runs is told as such. Changes
are drawn evenly from all that are possible, the same ones for the same ``--seed``.

A second pass asks slower tests about the lines that the first one's never run:
``--tests NAMES --beyond QUICK``. Which test runs which line is noted once for the same bytes of
modules and tests (``tests/bench/reach.py``); then only the fewest that reach the lines are run.
"""

from __future__ import annotations

import argparse
import gc
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable
from functools import _lru_cache_wrapper
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

import pytest

from tests.bench.mutants import Mutant, changed_code, changed_text, mutants
from tests.bench.reach import Reach
from tests.house import ROOT

KEPT = ("ledger", "reports", "rules", "fixtures", "migrations", "tests", "pyproject.toml",
        "README.md", "DEVELOPERS.md")  # fmt: skip
READING = ("edges_of_reading", "units", "numbers", "amounts", "counted", "dates", "extents",
           "normalise_line", "sites", "near_sites", "plausible", "worked_examples",
           "checks_samples", "flow")  # fmt: skip
CHECKS = ("edges_of_checks", "checks_shapes", "checks_law", "checks_samples", "checks_properties",
          "checks_examples", "shape_checks", "shape_labels", "federal_text", "when", "remember",
          "normalise_line", "prepare_tank", "prepare", "retention", "sums", "people", "answers",
          "people_records", "revisits", "jurisdictions", "rule_content", "near_sites")  # fmt: skip
TARGETS = {
    "ledger/checks": CHECKS,
    "ledger/units.py": READING,
    "ledger/numbers.py": READING,
    "ledger/normalise": READING,
}
"""Which tests may be asked about which modules; of these, those that run the line are."""

PATIENCE = 15.0
"""Seconds of testing that a change is given, and again in a process of its own."""

FEWEST = 12
"""So many tests are kept for a line, where as many run it and it is known which."""


class Trial:
    """A pytest plugin that runs the tests once, then breaks the program instead."""

    def __init__(
        self, pool: list[Mutant], minutes: float, reach: Reach, *, beyond: tuple[str, ...],
        patience: float, sure: bool,
    ) -> None:  # fmt: skip
        self.pool, self.minutes, self.sure, self.say = pool, minutes, sure, os.dup(1)
        self.patience = patience
        self.reach, self.beyond = reach, beyond
        self.killed: Counter[str] = Counter()
        self.result: Counter[str] = Counter()
        self.spent: Counter[str] = Counter()
        self.items: dict[str, pytest.Item] = {}

    def tell(self, text: str) -> None:
        """Write a line to the real standard output, past pytest's capture."""
        os.write(self.say, (text + "\n").encode())

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Take all tests that were found, and leave pytest none to run."""
        self.items = {item.nodeid: item for item in items}
        self._once(items)
        took = sum(self.reach.takes[test] for test in self.warm)
        self.tell(f"{len(self.warm)} tests will be asked, {took:.0f} s of them in all")
        self.live = self._functions()
        self.memories = _memories()
        gc.collect()
        gc.freeze()  # what is shared with the forked processes is not copied by their collector
        until = time.monotonic() + self.minutes * 60
        began, tried = time.monotonic(), 0
        for mutant in self.pool:
            if time.monotonic() > until:
                break
            self._try(mutant)
            tried += 1
            if tried % 100 == 0:
                took = time.monotonic() - began
                self.tell(f"tried {tried} in {took:.0f} s: {dict(self.result)}")
        spent = time.monotonic() - began
        self.tell(f"seconds: { ({name: round(took) for name, took in self.spent.items()}) }")
        noticed = self.result["noticed"]
        self.tell(
            f"{noticed} of {tried} changes noticed ({len(self.pool)} are possible), "
            f"{dict(self.result)}, {tried / spent:.1f} a second"
        )
        items.clear()

    def _once(self, items: list[pytest.Item]) -> None:
        """Run every test once, noting the lines of the modules that it runs.

        Where that is known already, only those that will be asked are run, to have all they need
        at hand. Then leave the changes out whose lines the tests of ``beyond`` run.
        """
        if self.reach.known:
            few = self.reach.few([_place(mutant) for mutant in self._left()], FEWEST)
            items = [item for item in items if item.nodeid in few]
        for item, after in zip(items, [*items[1:], None], strict=True):
            with self.reach.watched() as (seen, began):
                reports = _run(item, after)
            if any(report.failed for report in reports):
                self.tell(f"left out, it fails as it is: {item.nodeid}")
            elif all(report.passed for report in reports) and not self.reach.known:
                self.reach.passed(item.nodeid, time.monotonic() - began, seen)
        if not self.reach.known:
            self.reach.keep()
        self.warm = {item.nodeid for item in items} & set(self.reach.takes)
        self.pool = self._left()

    def _left(self) -> list[Mutant]:
        """Return the changes whose lines the tests of ``beyond`` do not run."""
        left = []
        for mutant in self.pool:
            if not any(test.startswith(self.beyond) for test in self._running(mutant)):
                left.append(mutant)
        return left

    def _running(self, mutant: Mutant) -> set[str]:
        """Return the tests that run the statement, or the module where importing runs it."""
        file, lines = _place(mutant)
        return self.reach.anywhere(file) if mutant.cold else self.reach.of(file, lines)

    def _functions(self) -> dict[tuple[str, str, int], list[FunctionType]]:
        """Return the living functions of the modules by file, name and first line."""
        found: dict[tuple[str, str, int], list[FunctionType]] = defaultdict(list)
        for thing in gc.get_objects():
            if type(thing) is FunctionType and thing.__code__.co_filename in self.reach.files:
                found[_name(thing.__code__)].append(thing)
        return found

    def _asked(self, mutant: Mutant) -> list[str]:
        """Return the tests to ask: those that run the line, the likely and quick ones first."""
        tests = self._running(mutant) & self.warm
        if mutant.cold:  # a default of a dataclass is used where no line of the module runs
            tests |= self.reach.idle()
        return sorted(tests, key=lambda test: self.reach.takes[test] / (1 + self.killed[test]))

    def _try(self, mutant: Mutant) -> None:
        asked = self._asked(mutant)
        if not asked:
            outcome = "no test runs the line"
        elif self._noticed(mutant, asked):
            outcome = "noticed"
        else:
            outcome = "noticed by none"
        self.result[outcome] += 1
        if outcome != "noticed":
            self.tell(f"{mutant}: {outcome} ({len(asked)} asked)")

    def _noticed(self, mutant: Mutant, asked: list[str]) -> bool:
        if not mutant.cold and self._timed("forked", lambda: self._forked(mutant, asked)):
            return True
        if not (mutant.cold or self.sure):
            return False
        return self._timed("afresh", lambda: _afresh(mutant, self._few(asked)))

    def _timed(self, name: str, ask: Callable[[], bool]) -> bool:
        began = time.monotonic()
        try:
            return ask()
        finally:
            self.spent[name] += time.monotonic() - began

    def _few(self, asked: list[str]) -> list[str]:
        """Return as many tests as a process of its own has the patience for."""
        left, few = self.patience, []
        for test in asked:
            left -= self.reach.takes[test]
            if few and left < 0:
                break
            few.append(test)
        return few

    def _forked(self, mutant: Mutant, asked: list[str]) -> bool:
        """Ask in a process forked from this one; the pipe says which test noticed."""
        code = changed_code(mutant, ROOT)
        read, write = os.pipe()
        child = os.fork()
        if not child:
            os.close(read)
            signal.alarm(round(self.patience * 2))  # its default ends the process: an endless loop
            done = 0
            try:
                self._put_in(code)
                _forget(self.memories)
                end = time.monotonic() + self.patience
                for test in asked:
                    if time.monotonic() > end:
                        break
                    if any(report.failed for report in _run(self.items[test], None)):
                        os.write(write, test.encode())
                        done = 1
                        break
            except BaseException:  # noqa: BLE001 - a program broken this much is noticed as well
                done = 1
            os._exit(done)
        os.close(write)
        with os.fdopen(read, "rb") as pipe:
            by = pipe.read().decode()
        _, status = os.waitpid(child, 0)
        if by:
            self.killed[by] += 1
        return status != 0

    def _put_in(self, code: CodeType) -> None:
        """Give every living function of the changed module its new code."""
        waiting = [code]
        while waiting:
            here = waiting.pop()
            waiting += [part for part in here.co_consts if isinstance(part, CodeType)]
            for function in self.live.get(_name(here), ()):
                if function.__code__ != here:
                    function.__code__ = here


def _place(mutant: Mutant) -> tuple[str, range]:
    return str(ROOT / mutant.path), range(mutant.first, mutant.last + 1)


def _name(code: CodeType) -> tuple[str, str, int]:
    return code.co_filename, code.co_qualname, code.co_firstlineno


def _run(item: pytest.Item, after: pytest.Item | None) -> list[pytest.TestReport]:
    from _pytest.runner import runtestprotocol

    return runtestprotocol(item, log=False, nextitem=after)


def _memories() -> list[Any]:
    """Return what in the program remembers answers that it has given."""
    from ledger.checks.remember import Remembered
    from ledger.rulebook.book import Book

    return [
        thing
        for thing in gc.get_objects()
        if type(thing) in {Remembered, Book}
        or (type(thing) is _lru_cache_wrapper and str(thing.__module__).startswith("ledger."))
    ]


def _forget(memories: list[Any]) -> None:
    """Empty them, so that nothing is answered from before the change."""
    for thing in memories:
        if isinstance(thing, _lru_cache_wrapper):
            thing.cache_clear()
        elif hasattr(thing, "memory"):
            thing.memory.clear()
        else:
            thing._root, thing._kept = None, 0


COPY = Path(tempfile.gettempdir()) / f"mutants-{os.getpid()}"


def _afresh(mutant: Mutant, asked: list[str]) -> bool:
    """Ask once more in a new process, with the change written into a copy of the project."""
    if not COPY.exists():
        for name in KEPT:
            (shutil.copytree if (ROOT / name).is_dir() else shutil.copy)(ROOT / name, COPY / name)
    path = COPY / mutant.path
    kept = path.read_bytes()
    path.write_text(changed_text(mutant, COPY), encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *asked]
    try:
        done = subprocess.run(
            command, cwd=COPY, capture_output=True, check=False, timeout=60 + PATIENCE * 4,
            env={**os.environ, "PYTHONPATH": str(COPY)},
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return True
    finally:
        path.write_bytes(kept)
    return done.returncode != 0


def main() -> None:
    """Draw changes until the time is over, and print those that nobody noticed."""
    said = argparse.ArgumentParser(description=__doc__)
    said.add_argument("--minutes", type=float, default=10)
    said.add_argument("--seed", type=int, default=1)
    said.add_argument("--only", default="", help="modules whose path holds this text")
    said.add_argument("--tests", default="", help="ask these alone: units,numbers")
    said.add_argument("--patience", type=float, default=PATIENCE, help="seconds for a change")
    said.add_argument("--beyond", default="", help="only the lines that these never run: units")
    said.add_argument("--again", default="", help="a file of lines this printed: only these spots")
    said.add_argument("--sure", action="store_true", help="ask twice about what nobody notices")
    args = said.parse_args()
    pool, tests = [], {}
    again = Path(args.again).read_text(encoding="utf-8").splitlines() if args.again else []
    spots = {":".join(line.split(":")[:2]) for line in again}
    beyond = args.beyond.split(",") if args.beyond else []
    for target, names in TARGETS.items():
        for path in _files(target):
            if args.only in str(path):
                made = mutants(ROOT, path)
                pool += [m for m in made if not spots or f"{m.path}:{m.line}" in spots]
                asked = args.tests.split(",") if args.tests else names
                tests |= dict.fromkeys(map(_test, [*asked, *beyond]))
    random.Random(args.seed).shuffle(pool)
    os.environ["CI"] = "1"  # hypothesis draws the same examples each time, and keeps none
    os.chdir(ROOT)
    files = [name for name in tests if (ROOT / name).exists()]
    reach = Reach((ROOT / mutant.path for mutant in pool), (ROOT / name for name in files))
    trial = Trial(
        pool, args.minutes, reach, beyond=tuple(map(_test, beyond)), patience=args.patience,
        sure=args.sure,
    )  # fmt: skip
    pytest.main(
        ["-p", "no:cacheprovider", "-p", "no:terminal", "-o", "addopts=",
         "-m", "not postgres", *files], plugins=[trial],
    )  # fmt: skip
    shutil.rmtree(COPY, ignore_errors=True)


def _test(name: str) -> str:
    return f"tests/test_{name}.py"


def _files(target: str) -> list[Path]:
    whole = ROOT / target
    found = sorted(whole.glob("*.py")) if whole.is_dir() else [whole]
    return [path.relative_to(ROOT) for path in found]


if __name__ == "__main__":
    main()
