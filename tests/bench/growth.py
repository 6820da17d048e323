"""What each command costs as the ledger grows: ``python -m tests.bench.growth``.

Ledgers of ten thousand to ``--largest`` entries are made from one pool (``made.py``), each command
is run on each as a whole process, by turns, and its processor time (user and system, so that a
busy machine does not count) is printed as a table and drawn as ``growth.png`` beside this file.
``--folder`` keeps the ledgers for the next time; a larger one takes minutes and gigabytes to make.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import sqlite3
import statistics
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, nullcontext
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory

from ledger.flow.workspace import open_workspace
from tests.bench.firm import day_sheet
from tests.bench.made import MovingClock, grow, make_pool
from tests.bench.page import write_between
from tests.bench.races import AS_INSTALLED

POOL = 8_100  # lines, with their sites and judgements about ten thousand entries
PICTURE = Path(__file__).with_name("growth.png")
MARKS = ("<!-- growth -->", "<!-- /growth -->")
SLOW = 60.0  # seconds after which a command is run once, and on no larger ledger
MEANING = (
    "Processor seconds of a whole command by entries in the ledger, medians of turns; "
    "a dash where it was not run, for a smaller ledger took long already."
)

Command = Callable[[Path, int], list[str]]
"""The words of a command on a workspace; the number differs at each call."""


def _record(root: Path, number: int) -> list[str]:
    """Hand in one new line: a visit at a customer's whom the firm knows."""
    heading, line, *_ = day_sheet(1).splitlines()
    day, minute = 1 + number % 28, 10 + number // 28 % 40
    line = line.replace("2026-01-02", f"2026-06-{day:02}").replace("08:05", f"08:{minute}")
    path = root.parent / f"line-{number}.csv"
    path.write_text(f"{heading}\n{line}\n", encoding="utf-8")
    return ["record", str(path)]


def _a_record(root: Path) -> int:
    """Return the number of one of the first records."""
    with closing(sqlite3.connect(root / "ledger.db")) as connection:
        asked = "SELECT seq FROM journal WHERE kind = 'application' ORDER BY seq LIMIT 1 OFFSET 20"
        (found,) = connection.execute(asked).fetchone()
    return int(found)


COMMANDS: dict[str, Command] = {
    "--help": lambda _root, _number: ["--help"],
    "record, one line": _record,
    "trace, one entry": lambda root, _number: ["trace", str(_a_record(root))],
    "entries, one day": lambda _root, _number: [
        "entries", "--from", "2026-03-02", "--to", "2026-03-02"],
    "summary, one month": lambda _root, _number: ["summary", "2026-01", "--jurisdiction", "us-ca"],
    "audit, one month": lambda _root, _number: ["audit", "2026-01"],
    "due": lambda _root, _number: ["due", "--on", "2026-07-01"],
    "held": lambda _root, _number: ["held"],
    "entries, a workbook of all": lambda root, _number: [
        "entries", "--out", str(root.parent / "all.xlsx")],
    "verify, whole": lambda _root, _number: ["verify"],
    "verify, since the last proof": lambda _root, _number: ["verify", "--since", "last"],
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cost:
    """What one command cost on one ledger: processor seconds of each turn."""

    seconds: tuple[float, ...]

    @property
    def median(self) -> float | None:
        """The median of the turns; None where none was run."""
        return statistics.median(self.seconds) if self.seconds else None

    @property
    def text(self) -> str:
        """The median as it is printed."""
        return "-" if self.median is None else f"{self.median:.2f}"


def cost_of(words: list[str], root: Path) -> float:
    """Run a command in a process of its own; return its processor seconds."""
    useledger = str(Path(sys.executable).with_name("useledger"))
    quiet = [(os.POSIX_SPAWN_OPEN, n, os.devnull, os.O_WRONLY, 0) for n in (1, 2)]
    workspace = [] if words == ["--help"] else ["--workspace", str(root)]
    child = os.posix_spawn(
        useledger, [useledger, *words, *workspace], AS_INSTALLED, file_actions=quiet
    )
    _, status, usage = os.wait4(child, 0)
    if os.waitstatus_to_exitcode(status) not in {0, 1}:
        raise RuntimeError(f"useledger {' '.join(words)} failed on {root}")
    return usage.ru_utime + usage.ru_stime


def ledgers(folder: Path, largest: int, lines: int = POOL) -> Iterator[tuple[int, Path]]:
    """Yield the ledgers, smallest first, with their entries; those that are there are kept."""
    pool = folder / "pool"
    if not pool.exists():
        make_pool(pool, lines).store.close()
    size = 100_000
    yield _size(pool), pool
    while size <= largest:
        root = folder / f"m{size}"
        if not root.exists():
            grow(open_workspace(str(pool), clock=MovingClock()), root, size).store.close()
        yield _size(root), root
        size *= 10


def _size(root: Path) -> int:
    workspace = open_workspace(str(root), clock=MovingClock())
    with workspace.store.reading() as reader:
        found = reader.head.seq
    workspace.store.close()
    return found


def measure(made: list[tuple[int, Path]], turns: int) -> dict[str, list[Cost]]:
    """Return what each command cost on each ledger; the ledgers take turns."""
    numbers = count()
    found: dict[str, list[Cost]] = {}
    for name, command in COMMANDS.items():
        seconds: list[list[float]] = [[] for _ in made]
        for _ in range(turns):
            for place, (_size_of, root) in enumerate(made):
                if sum(map(sum, seconds[: place + 1])) > SLOW:
                    continue
                seconds[place].append(cost_of(command(root, next(numbers)), root))
        found[name] = [Cost(tuple(turns_of)) for turns_of in seconds]
        print(f"{name}: {', '.join(cost.text for cost in found[name])}", flush=True)
    return found


def table(made: list[tuple[int, Path]], costs: dict[str, list[Cost]]) -> str:
    """Return the costs as a table, with what they were measured on."""
    sizes = [size for size, _ in made]
    head = "".join(f" {size:,} |" for size in sizes)
    lines = [f"| command |{head}", f"| --- |{' ---: |' * len(sizes)}"]
    for name, of_sizes in costs.items():
        cells = "".join(f" {cost.text} |" for cost in of_sizes)
        lines.append(f"| {name} |{cells}")
    lines += [
        "",
        MEANING,
        f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}.",
    ]
    return "\n".join(lines)


def draw(made: list[tuple[int, Path]], costs: dict[str, list[Cost]], path: Path) -> None:
    """Draw the costs over the sizes, both in powers of ten: what is flat lies flat."""
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(figsize=(8, 5), dpi=110, layout="constrained")
    sizes = [size for size, _ in made]
    shades = pyplot.get_cmap("tab10")
    ends = []
    for place, (name, of_sizes) in enumerate(costs.items()):
        points = [(size, c.median) for size, c in zip(sizes, of_sizes, strict=True) if c.median]
        axes.loglog(*zip(*points, strict=True), "o-", color=shades(place), lw=1.2, markersize=3)
        ends.append((*points[-1], name, shades(place)))
    lowest: dict[int, float] = {}  # by size: where the next name may stand, above the last
    for size, median, name, shade in sorted(ends):
        height = max(median, lowest.get(size, 0.0))
        lowest[size] = height * 1.17
        axes.annotate(
            name, (size, height), (6, 0), textcoords="offset points", va="center", fontsize=8,
            color=shade,
        )  # fmt: skip
    axes.set_xlim(right=sizes[-1] * 6)
    axes.set_xlabel("entries in the ledger")
    axes.set_ylabel("processor seconds of the whole command")
    axes.grid(visible=True, which="major", linewidth=0.3)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    figure.savefig(path, metadata={"Software": None})
    pyplot.close(figure)


def main() -> None:
    """Read the options, make the ledgers, measure, print and draw."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.growth", description=__doc__)
    parser.add_argument("--largest", type=int, default=100_000, help="1000000 or 10000000 for more")
    parser.add_argument("--turns", type=int, default=3)
    parser.add_argument("--folder", type=Path, help="keep the ledgers here")
    parser.add_argument("--write", action="store_true", help="write table and plot into the papers")
    given = parser.parse_args()
    kept = nullcontext(given.folder) if given.folder else TemporaryDirectory("-useledger-growth")
    with kept as folder:
        Path(folder).mkdir(parents=True, exist_ok=True)
        made = list(ledgers(Path(folder), given.largest))
        costs = measure(made, given.turns)
        text = table(made, costs)
        picture = Path(folder) / "growth.png"
        draw(made, costs, picture)
        print(f"\n{text}")
        if given.write:
            shutil.copy(picture, PICTURE)
            write_between(*MARKS, text)


if __name__ == "__main__":
    main()
