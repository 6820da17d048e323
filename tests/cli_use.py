"""The program as a person runs it, in this process: arguments in; exit code and streams out."""

from __future__ import annotations

import json
import shutil
import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from ledger.cli import main
from tests.workspaces import SAMPLES, sample_workspace

MESSY = "day-2026-01-15-messy.csv"
DAY = "day-2026-01-14.csv"


@dataclass(frozen=True)
class Run:
    """What a run gave: exit code, standard output, standard error."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """The standard output as JSON; nothing else may stand on it."""
        return json.loads(self.out)


def use(*words: str | Path, root: Path | None = None) -> Run:
    """Run the program with these arguments, in a workspace unless ``root`` is None."""
    place = ("--workspace", str(root)) if root is not None else ()
    result = CliRunner().invoke(main, [*(str(word) for word in words), *place])
    escaped = result.exception if not isinstance(result.exception, SystemExit) else None
    assert escaped is None, f"{words}: {escaped!r} escaped"
    assert "Traceback" not in result.stderr, result.stderr
    assert "a fault of the program" not in result.stderr, result.stderr
    return Run(result.exit_code, result.stdout, result.stderr)


def head_of(root: Path) -> tuple[int, str]:
    """Return the number and the seal of the newest entry, read with nothing of the program."""
    with sqlite3.connect(root / "ledger.db") as connection:
        row = connection.execute("SELECT seq, seal FROM journal ORDER BY seq DESC LIMIT 1")
        seq, seal = row.fetchone()
    connection.close()
    return int(seq), str(seal)


def made_workspace(folder: Path) -> Path:
    """Make the invented firm's workspace with both sample sheets handed in and a day closed."""
    root = folder / "firm"
    sample_workspace(root).store.close()
    assert use("record", SAMPLES / DAY, "--by", "renner", root=root).code == 0
    assert use("record", SAMPLES / MESSY, "--by", "renner", root=root).code == 1
    assert use("close", "2026-01-14", "--by", "renner", root=root).code == 0
    return root


def copied(root: Path, folder: Path) -> Path:
    """Return a copy of a workspace, to be changed freely."""
    return Path(shutil.copytree(root, folder / "copy"))
