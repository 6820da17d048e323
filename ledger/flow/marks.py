"""How far a ledger was proved: a mark in the workspace, and its seal code on paper.

The mark lets the next proof go on where the last one ended. It stands in the same folder as the
ledger, so whoever rewrites one can rewrite the other: its seal code, kept elsewhere, shows that.
"""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import asdict, replace
from pathlib import Path

from ledger.flow.workspace import Workspace, WorkspaceProblem
from ledger.journal.verify import Mark
from ledger.seal import read_seal

MARK_FILE = "proved.json"

MOST_BYTES = 100_000
"""A mark is some peaks of a tree; a larger file is something else, and so is a pipe."""

LAST = "last"
"""What ``--since`` says where no code is at hand: trust the mark in the workspace."""


def keep_mark(workspace: Workspace, mark: Mark, since: Mark | None) -> None:
    """Keep how far the ledger was proved; a workspace that cannot be written to keeps none.

    ``since`` is the mark from which that proof went on, if it did not begin at the beginning.
    """
    at = since.at if since else workspace.clock().isoformat(timespec="seconds")
    dated = replace(mark, at=at)
    part = _file(workspace).with_suffix(".part")
    with suppress(OSError):
        part.write_text(json.dumps(asdict(dated), indent=1) + "\n", encoding="utf-8")
        part.replace(_file(workspace))


def mark_for(workspace: Workspace, since: str) -> Mark:
    """Return the mark that a seal code names, or with ``last`` the one that is kept.

    ``WorkspaceProblem`` where there is none, where it cannot be read, or where the code is of
    another proof.
    """
    mark = _kept(_file(workspace))
    if mark is None:
        raise WorkspaceProblem(
            "nothing says how far this ledger was proved", "run useledger verify without --since"
        )
    if since == LAST:
        return mark
    reading = read_seal(since)
    if reading.value is None:
        fault = reading.faults[0]
        raise WorkspaceProblem(fault.what, fault.way_out)
    if not mark.seal.startswith(reading.value):
        raise WorkspaceProblem(
            f'"{since.strip()}" is not the seal code of entry {mark.seq}, up to which this ledger '
            "was proved last",
            "run useledger verify --seal with this code: that proves everything",
        )
    return mark


def _kept(file: Path) -> Mark | None:
    try:
        if not file.is_file() or file.stat().st_size > MOST_BYTES:
            return None
        said = json.loads(file.read_text(encoding="utf-8"))
        mark = Mark(
            str(said["ledger"]), int(said["seq"]), str(said["seal"]),
            tuple(str(peak) for peak in said["peaks"]), str(said["at"]),
        )  # fmt: skip
        mark.tree()
    except (OSError, ValueError, LookupError, TypeError, RecursionError):
        return None
    return mark


def _file(workspace: Workspace) -> Path:
    return workspace.root / MARK_FILE
