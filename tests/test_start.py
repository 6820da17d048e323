"""What starts with the program: the slow packages stay out of help and of booking a CSV sheet.

An SQLite ledger is asked without SQLAlchemy, which alone takes as long as booking a line.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from ledger.demo import firm_file, label_files, sheets
from ledger.flow.workspace import make_workspace
from ledger.rulefile import shipped_rules

SLOW = ("alembic", "holidays", "openpyxl", "pandas", "pint", "sqlalchemy", "typst")

PROGRAM = """
import json, sys
from ledger.cli import main
try:
    main(sys.argv[1:])
except SystemExit as stopped:
    tops = {name.partition(".")[0] for name in sys.modules}
    tops = sorted(tops | {name for name in sys.modules if name.startswith("ledger.")})
    print(json.dumps({"code": stopped.code or 0, "modules": tops}), file=sys.stderr)
"""


def loaded_by(*words: str) -> tuple[int, set[str]]:
    """Run the program in a process of its own; return its exit code and what it loaded."""
    command = [sys.executable, "-c", PROGRAM, *words]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    told = json.loads(done.stderr.splitlines()[-1])
    return told["code"], set(told["modules"])


def test_help_loads_neither_the_slow_packages_nor_the_database() -> None:
    code, modules = loaded_by("--help")
    assert code == 0
    assert "click" in modules
    assert not modules & {*SLOW, "sqlite3"}
    # What looks for an installed version costs more than all the rest of the help.
    assert not modules & {"email", "zipfile", "ipaddress"}


def firm(root: Path) -> Path:
    """Make the demonstration's firm, and return its first day sheet as a file beside it."""
    make_workspace(root, firm_file(), lambda: datetime(2026, 1, 2, 20, tzinfo=UTC)).store.close()
    for name in label_files():
        shutil.copy(shipped_rules() / "labels" / name, root / "rules" / "labels" / name)
    first = sheets()[0]
    path = root.parent / first.name
    path.write_text(first.text, encoding="utf-8")
    return path


def test_booking_a_csv_sheet_loads_no_slow_package(tmp_path: Path) -> None:
    root = tmp_path / "firm"
    path = firm(root)
    code, modules = loaded_by("record", str(path), "--workspace", str(root))
    assert code in {0, 1}
    assert "sqlite3" in modules
    assert "ledger.rulebook.forms" not in modules  # nor what a form is
    assert "ledger.rulebook.form_model" not in modules
    assert not modules & set(SLOW)


READING = (
    ("entries",), ("entries", "--out", "list.csv"), ("verify",), ("trace", "4"), ("held",),
    ("summary", "2026-01", "--jurisdiction", "us-ca"),
)  # fmt: skip


def test_reading_back_as_text_loads_no_slow_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    root = tmp_path / "firm"
    loaded_by("record", str(firm(root)), "--workspace", str(root))
    monkeypatch.chdir(tmp_path)
    for words in READING:
        code, modules = loaded_by(*words, "--workspace", str(root))
        assert code in {0, 1}, words
        assert not modules & set(SLOW), words
    assert (tmp_path / "list.csv").read_bytes().startswith(b"Entry,")
