"""Long work tells how far it has come: to a terminal only, and never among results."""

from __future__ import annotations

import io
import sys

import pytest

from ledger.cli.printing import progress_bar
from ledger.flow import recording
from ledger.flow.inspecting import prove_whole
from ledger.flow.recording import record_sheet
from ledger.journal import verify as proof
from tests.day_sheets import sheet
from tests.workspaces import sample_workspace


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def test_a_long_sheet_and_a_proof_tell_how_far_they_are(tmp_path, monkeypatch):
    monkeypatch.setattr(recording, "BATCH", 4)
    monkeypatch.setattr(proof, "TOLD_EVERY", 5)
    firm = sample_workspace(tmp_path / "firm")
    lines = [{"line": str(n), "address": f"{n} Tollhouse Lane"} for n in range(1, 11)]
    told: list[tuple[int, int]] = []
    record_sheet(firm, "long.csv", sheet(*lines), "renner", lambda *far: told.append(far))
    assert told == [(4, 10), (8, 10), (10, 10)]
    seen: list[tuple[int, int]] = []
    result = prove_whole(firm, (), lambda *far: seen.append(far))
    assert [done for done, _ in seen] == [*range(5, result.checked, 5), result.checked]
    assert {total for _, total in seen} == {result.checked}


def test_a_terminal_sees_the_bar_and_a_script_nothing(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    with progress_bar("long.csv") as tell:
        assert tell is None
    assert capsys.readouterr() == ("", "")
    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    with progress_bar("long.csv") as tell:
        assert tell is not None
        tell(5, 10)
        tell(10, 10)
    assert "long.csv" in screen.getvalue()
    assert "100%" in screen.getvalue()
    assert capsys.readouterr().out == ""
