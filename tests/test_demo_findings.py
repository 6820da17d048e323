"""The demonstration's month, handed in as a person would: it gives what it was written to give."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime, time

import pytest

from ledger.demo import DemoSheet, firm_file, label_files, sheets, story
from ledger.flow.booking import Recorded
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import make_workspace, open_workspace
from ledger.rulefile import shipped_rules
from ledger.values.finding import Kind


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[DemoSheet, Recorded]]:
    """Every sheet with what became of it, each recorded late on its own day."""
    root = tmp_path_factory.mktemp("demo") / "firm"
    now = [datetime(2026, 1, 1, tzinfo=UTC)]
    make_workspace(root, firm_file(), lambda: now[0]).store.close()
    for name in label_files():
        shutil.copy(shipped_rules() / "labels" / name, root / "rules" / "labels" / name)
    workspace = open_workspace(str(root), lambda: now[0])
    assert not workspace.book.faults
    done = []
    for sheet in sheets():
        now[0] = datetime.combine(sheet.day, time(23, 30), UTC)
        done.append((sheet, record_sheet(workspace, sheet.name, sheet.text.encode("utf-8"))))
    workspace.store.close()
    return done


def test_the_findings_are_those_of_the_story_and_no_others(
    recorded: list[tuple[DemoSheet, Recorded]],
) -> None:
    found = [
        (sheet.name, outcome.line.draft.text("line"), finding.kind)
        for sheet, done in recorded
        for outcome in done.outcomes
        for finding in outcome.findings
        if finding.kind is not Kind.ADVICE
    ]
    assert found == [(told.sheet, told.line, told.kind) for told in story().intended]


def test_one_line_is_held_and_all_others_are_booked(
    recorded: list[tuple[DemoSheet, Recorded]],
) -> None:
    fix = story().fix
    states = {
        (sheet.name, outcome.line.draft.text("line")): outcome.line.state
        for sheet, done in recorded
        for outcome in done.outcomes
    }
    assert not [done.faults for _, done in recorded if done.faults]
    assert [key for key, state in states.items() if state != "booked"] == [(fix.sheet, fix.line)]
    assert states[fix.sheet, fix.line] == "held"
