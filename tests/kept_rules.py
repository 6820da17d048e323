"""The invented firm with rule files that stand still, for what must come out the same for years."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from ledger.flow import workspace as workspaces
from ledger.flow.workspace import Workspace, make_workspace, read_rules
from tests.workspaces import ROOT, SetClock, counted_salts

KEPT = ROOT / "fixtures" / "golden" / "rules"
"""Rule files and the firm's own as they stood on one day. They are no source of law."""

OS_USER = "office"

PROGRAM = "of the kept ledgers"
"""What judgements name as the program's version there: a release changes no kept seal."""

REWRITE = "USELEDGER_REWRITE"
"""Set to 1, the tests write the committed files anew instead of comparing with them."""


def kept_workspace(folder: Path, server: str, monkeypatch: pytest.MonkeyPatch) -> Workspace:
    """Make a workspace in which clock, salts, user and rules are the same in every run.

    ``server`` is the URL of a database, or empty for a file in the workspace.
    """
    monkeypatch.setattr(workspaces, "shipped_rules", lambda: KEPT)
    monkeypatch.setattr(workspaces, "program_version", lambda: PROGRAM)
    for name in ("LOGNAME", "USER", "LNAME", "USERNAME"):  # where Python asks who is at work
        monkeypatch.setenv(name, OS_USER)
    text = (KEPT / "useledger.toml").read_text(encoding="utf-8")
    clock = SetClock(datetime(2026, 1, 15, 1, 30, tzinfo=UTC))
    made = make_workspace(folder, text, clock, counted_salts())
    if server:
        made.store.close()
        (folder / "ledger.db").unlink()
        made.store = on_server(made, server)
    for path in (KEPT / "labels").iterdir():
        shutil.copyfile(path, folder / "rules" / "labels" / path.name)
    made.book = read_rules(folder)
    assert made.book.faults == ()
    return made


def on_server(made: Workspace, url: str) -> workspaces.Store:
    """Make the ledger on a server instead.

    The firm file does not name the server: its text is sealed, and must be the same on each.
    """
    made.clock = SetClock(datetime(2026, 1, 15, 1, 30, tzinfo=UTC))
    return workspaces.create(url, firm=made.book.firm.name, clock=made.clock, salts=counted_salts())


def same_as_kept(path: Path, data: bytes, environment: Callable[[str], str | None]) -> bool:
    """Say whether a committed file holds exactly this; under ``REWRITE`` write it first."""
    if environment(REWRITE) == "1":
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    return path.exists() and path.read_bytes() == data
