"""Nonsense in, a message out: no input of any command gives a traceback or changes the ledger."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

import pytest

from tests.cli_use import DAY, copied, head_of, made_workspace, use
from tests.workspaces import SAMPLES


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made_workspace(tmp_path_factory.mktemp("made"))


SHEETS = {
    "empty.csv": b"", "blank.csv": b"\n\n\n", "heading.csv": b"line,date\n",
    "binary.csv": bytes(256),
    "words.csv": b"this is no sheet\nat all\n", "noise.xlsx": b"PK\x03\x04" + bytes(range(256)),
    "picture.png": b"\x89PNG\r\n\x1a\n" + bytes(40),
    "utf16.csv": "line,date\n1,2\n".encode("utf-16"),
    "long.csv": b"line," + b"x" * 200_000, "quote.csv": b'line,date\n"1,2026-01-14\n',
}  # fmt: skip


@pytest.mark.parametrize("name", SHEETS)
def test_what_is_no_day_sheet_is_refused_whole(made: Path, tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(SHEETS[name])
    before = head_of(made)
    for command in ("check", "record"):
        shown = use(command, path, root=made)
        assert shown.code == 2, shown
        assert name in shown.err
        assert not shown.out
        assert head_of(made) == before


READERS = (
    ("entries",), ("summary", "2026-01"), ("filings",), ("trace", "1"), ("verify",), ("held",),
    ("sites",), ("people",), ("check", SAMPLES / DAY), ("record", SAMPLES / DAY),
    ("close", "2026-01-14", "--by", "renner"), ("backup", "copy.db"), ("upgrade",),
)  # fmt: skip


@pytest.mark.parametrize("case", ["no ledger", "garbage", "empty file", "another database"])
def test_a_workspace_without_a_usable_ledger_says_so(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, case: str
) -> None:
    root = copied(made, tmp_path)
    monkeypatch.chdir(tmp_path)
    ledger = root / "ledger.db"
    ledger.unlink()
    if case == "garbage":
        ledger.write_bytes(os.urandom(9000))
    elif case == "empty file":
        ledger.touch()
    elif case == "another database":
        with sqlite3.connect(ledger) as other:
            other.execute("CREATE TABLE journal (a)")
        other.close()
    for words in READERS:
        shown = use(*words, root=root)
        assert shown.code == 2, (words, shown)
        assert shown.err
        assert not shown.out


def test_no_workspace_is_said_with_the_way_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("USELEDGER_WORKSPACE", raising=False)
    for words in READERS:
        shown = use(*words)
        assert shown.code == 2, words
        assert "useledger init" in shown.err
        assert not shown.out


def test_a_firm_file_of_garbage_is_told_by_line(made: Path, tmp_path: Path) -> None:
    root = copied(made, tmp_path)
    for content in (b"", b"[firm", os.urandom(500), b'[firm]\nname = "x"\nnmae = 1\n'):
        (root / "useledger.toml").write_bytes(content)
        for words in (("entries",), ("record", SAMPLES / DAY), ("rules", "check"), ("people",)):
            shown = use(*words, root=root)
            assert shown.code == 2, (content[:20], words, shown)
            assert "useledger.toml" in shown.err + shown.out


def test_a_ledger_that_another_writer_holds_is_waited_for_and_then_told(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from ledger.journal import engine

    root = copied(made, tmp_path)
    before = head_of(root)
    monkeypatch.setattr(engine, "BUSY_SECONDS", 1)
    other = sqlite3.connect(root / "ledger.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        shown = use("strike", "8", "--because", "x", "--by", "renner", root=root)
    finally:
        other.execute("ROLLBACK")
        other.close()
    assert shown.code == 2
    assert shown.err
    assert head_of(root) == before


def test_a_folder_that_cannot_be_written_to_is_told(made: Path, tmp_path: Path) -> None:
    root = copied(made, tmp_path)
    closed = tmp_path / "closed"
    closed.write_text("a file stands where the folder should be")
    for words in (
        ("entries", "--out", closed / "a.csv"),
        ("template", closed / "a.xlsx"),
        ("backup", closed / "a.db"),
        ("summary", "2026-01", "--out", closed / "a.csv"),
    ):
        shown = use(*words, root=root)
        assert shown.code == 2, (words, shown)
        assert shown.err
