"""Every hostile file at every door by which a file comes in: refused clearly, in bounded room.

A door is a command and the place of a file that it reads. Each command runs in a process of its
own under limits of processor time and memory (``hostile_files.py``). The last tests hold that no
door is forgotten: every path on the command line, every reading of a file in the program.
"""

from __future__ import annotations

import ast
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import click
import pytest

from ledger.cli import main
from ledger.flow import examples
from ledger.intake import workbook as workbooks
from ledger.journal.transfer import write_sums
from tests import hostile_files as made
from tests.cli_use import use
from tests.day_sheets import sheet
from tests.hostile_files import Done, Hostile, as_workbook, run_limited
from tests.workspaces import ROOT, SetClock, sample_workspace


@dataclass(frozen=True)
class Bench:
    """A folder with a workspace, an export of it, a backup, a packet and a proof."""

    at: Path

    @property
    def root(self) -> Path:
        return self.at / "firm"

    @property
    def here(self) -> tuple[str, str]:
        return ("--workspace", str(self.root))


@dataclass(frozen=True)
class Door:
    """Where a file comes in: the place it takes, the command that then reads it.

    ``reads`` says as what: a ``sheet``, ``bytes`` that are kept as they are, ``rules``, or a file
    of the program's ``own`` making. ``shown`` is the name by which a message calls it.
    """

    reads: str
    place: Callable[[Bench, str], Path]
    words: Callable[[Bench, Path], tuple[str | Path, ...]]
    shown: str = ""
    before: Callable[[Bench], None] = field(default=lambda _: None)


def handed(bench: Bench, ending: str) -> Path:
    return bench.at / f"handed.{ending}"


def sheet_door(*words: str) -> Door:
    return Door("sheet", handed, lambda b, p: (*words, p, *b.here))


def in_rules(name: str) -> Door:
    return Door(
        "rules", lambda b, _: b.root / "rules" / name, lambda b, _: ("rules", "check", *b.here),
        Path(name).name,
    )  # fmt: skip


def in_export(name: str) -> Door:
    return Door(
        "own", lambda b, _: b.at / "export" / name,
        lambda b, _: ("import", b.at / "export", b.at / "new", "--by", "calloway"),
        Path(name).name,
    )  # fmt: skip


def mark_first(bench: Bench) -> None:
    assert use("verify", root=bench.root).code == 0


BY = ("--by", "calloway")

DOORS = {
    "record": sheet_door("record"),
    "check": sheet_door("check"),
    "carry-over": Door("sheet", handed, lambda b, p: ("carry-over", p, *BY, *b.here)),
    "held fix": Door("sheet", handed, lambda b, p: ("held", "fix", "--sheet", p, *b.here)),
    "attach": Door("bytes", handed, lambda b, p: ("attach", p, "--to", "5", *BY, *b.here)),
    "people train": Door("bytes", handed, lambda b, p: (
        "people", "train", "aster", "--on", "2026-01-05", "--trainer", "renner", "--title", "t",
        "--paper", p, "--by", "calloway", *b.here,
    )),
    "a label": in_rules("labels/hostile.toml"),
    "a law": in_rules("jurisdictions/hostile.toml"),
    "a practice": in_rules("practice/hostile.toml"),
    "a form": in_rules("forms/hostile.toml"),
    "the units": in_rules("units.toml"),
    "the words": in_rules("words.toml"),
    "the firm file": Door(
        "rules", lambda b, _: b.root / "useledger.toml", lambda b, _: ("entries", *b.here),
        "useledger.toml",
    ),
    "restore": Door("own", handed, lambda b, p: ("restore", p, b.at / "new")),
    "the ledger": Door(
        "own", lambda b, _: b.root / "ledger.db", lambda b, _: ("entries", *b.here), "ledger",
    ),
    "the mark": Door(
        "own", lambda b, _: b.root / "proved.json",
        lambda b, _: ("verify", "--since", "last", *b.here), "", mark_first,
    ),
    "a packet": Door("own", lambda b, _: b.at / "handed.zip",
                     lambda b, p: ("verify", "--packet", p)),
    "a packet's line": Door(
        "own", lambda b, _: b.at / "packet/journal/lines.jsonl",
        lambda b, _: ("verify", "--packet", b.at / "packet"), "lines.jsonl",
    ),
    "a proof": Door("own", lambda b, _: b.at / "handed.json",
                    lambda b, p: ("verify", "--packet", p)),
    **{f"import: {name}": in_export(name) for name in (
        "ledger.json", "journal.jsonl", "private.jsonl", "blobs.jsonl", "SHA256SUMS",
        "workspace/useledger.toml", "workspace/rules/labels/ridgeline-dust.toml",
    )},
}  # fmt: skip

SHEET_DOORS = [name for name, door in DOORS.items() if door.reads == "sheet"]


@pytest.fixture(scope="module")
def pattern(tmp_path_factory: pytest.TempPathFactory) -> Path:
    at = tmp_path_factory.mktemp("doors")
    clock = SetClock(datetime(2026, 1, 16, 2, 30, tzinfo=UTC))
    firm = sample_workspace(at / "firm", clock=clock)
    (at / "day.csv").write_bytes(sheet({}, {"line": "h", "amount": "some"}))
    words = [
        ("record", at / "day.csv"), ("held", "drop", "7", "--because", "no", "--by", "renner"),
        ("close", "2026-01-14", "--by", "renner"), ("backup", at / "backup.db"),
        ("export", at / "export"), ("packet", at / "packet"),
    ]  # fmt: skip
    firm.store.close()
    for said in words:
        assert use(*said, root=at / "firm").code in {0, 1}, said
    return at


@pytest.fixture
def bench(pattern: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    shutil.copytree(pattern, tmp_path / "bench")
    # The full size is tried once, below; what is larger than a limit is refused alike.
    monkeypatch.setattr(workbooks, "MAX_CELLS", 50_000)
    # The examples of all other files are run by tests of their own; a broken file has none.
    monkeypatch.setattr(examples, "run_examples", lambda _: ())
    return Bench(tmp_path / "bench")


def hand_in(bench: Bench, door: Door, hostile: Hostile) -> Done:
    door.before(bench)
    path = door.place(bench, hostile.ending)
    if path.exists():
        path.unlink()
    hostile.put(path)
    summed = (bench.at / "export") in path.parents and path.name != "SHA256SUMS"
    if summed and not hostile.shaped:  # whoever makes a hostile file makes its sum as well
        write_sums(bench.at / "export")
    return run_limited(*door.words(bench, path))


def is_clear(done: Done, shown: str) -> None:
    """Hold that a person is told what is wrong with which file, and what to do."""
    assert done.code in {1, 2}, done.said[:500]
    for word in ("Traceback", "fault of the program", "more memory", "RecursionError"):
        assert word not in done.said, done.said[:800]
    assert shown in done.said, done.said[:500]
    assert ";" in done.said or "not whole" in done.said.lower(), done.said[:500]
    assert len(done.said) < 20_000, "a message is no copy of the file"
    assert done.seconds < made.SECONDS
    assert done.grew < 350_000_000, f"{done.grew:,} bytes"


# --- the matrix --------------------------------------------------------------------------------


@pytest.mark.parametrize("name", DOORS)
@pytest.mark.parametrize("shape", made.SHAPES)
def test_what_is_no_file_to_read_is_refused(bench: Bench, name: str, shape: str) -> None:
    door = DOORS[name]
    done = hand_in(bench, door, made.SHAPES[shape])
    if name == "the mark":
        assert done.code == 2
        assert "nothing says how far" in done.said
    elif shape == "a folder" and door.reads == "rules" and name != "the firm file":
        assert "Traceback" not in done.said, "a folder may be called as it likes"
    else:
        is_clear(done, door.shown or "handed")


@pytest.mark.parametrize("name", DOORS)
@pytest.mark.parametrize("what", made.BYTES_OF_NO_USE)
def test_bytes_that_say_nothing_are_refused(bench: Bench, name: str, what: str) -> None:
    door = DOORS[name]
    done = hand_in(bench, door, made.BYTES_OF_NO_USE[what])
    if door.reads == "bytes":
        assert done.code == 0, done.said
        assert done.grew < 350_000_000
        assert use("verify", root=bench.root).code == 0, "kept as they are, and nothing runs them"
    elif name == "the mark":
        assert (done.code, "nothing says how far" in done.said) == (2, True)
    elif what == "nothing" and (door.reads == "rules" or name.startswith("import")):
        assert "fault of the program" not in done.said
        assert done.code in {1, 2} or name in {"the units", "the words"}, done.said
    else:
        is_clear(done, door.shown or "handed")


@pytest.mark.parametrize("name", SHEET_DOORS)
@pytest.mark.parametrize("what", made.SHEETS)
def test_a_hostile_sheet_is_refused_whole(bench: Bench, name: str, what: str) -> None:
    done = hand_in(bench, DOORS[name], made.SHEETS[what])
    is_clear(done, "handed")
    assert done.code == 2
    assert "SHEET-" in done.said


@pytest.mark.parametrize("name", SHEET_DOORS)
@pytest.mark.parametrize("ending", ["csv", "xlsx"])
@pytest.mark.parametrize("what", made.LINES)
def test_a_hostile_line_is_named_with_its_row_and_column(
    bench: Bench, name: str, ending: str, what: str
) -> None:
    line = made.LINES[what]
    (column,) = line
    data = sheet({"line": "", **line}).replace(b'"', b"")
    if ending == "xlsx":
        data = as_workbook(data)
    done = hand_in(bench, DOORS[name], Hostile(data, ending))
    if name == "held fix":  # nothing is held that such a line could put right
        assert done.code in {0, 1, 2}
        assert "fault of the program" not in done.said
        return
    is_clear(done, "handed")
    assert done.code == 1, done.said[:500]
    where = f"handed.{ending}:2:" if ending == "csv" else f"handed.{ending}"
    assert where in done.said
    assert f" {column}: " in done.said or column in done.said, done.said[:500]


@pytest.mark.parametrize("name", SHEET_DOORS)
def test_a_formula_is_never_worked_out(bench: Bench, name: str) -> None:
    data = as_workbook(sheet({"line": "", "amount": "1+1"}), frozenset({"amount"}))
    done = hand_in(bench, DOORS[name], Hostile(data, "xlsx"))
    assert "fault of the program" not in done.said
    if name != "held fix":
        is_clear(done, "handed.xlsx")
        assert "CELL-FORMULA" in done.said


@pytest.mark.parametrize("name", ["record", "attach", "people train"])
@pytest.mark.parametrize("ending", [
    "\x1b[31m.csv", "..\\..\\evil.csv", "=1+1.csv", "a\nb.csv", "\u202efdp.csv",
    "x" * 240 + ".csv", "\udcff.csv",
], ids=["escape", "slashes", "formula", "line", "right to left", "long", "no text"])  # fmt: skip
def test_a_name_steers_nothing(bench: Bench, name: str, ending: str) -> None:
    path = bench.at / ending
    path.write_bytes(sheet({"line": "", "start": "07:00", "end": "07:10"}))
    done = run_limited(*DOORS[name].words(bench, path))
    assert done.code in {0, 1}, done.said
    assert not [sign for sign in done.said if ord(sign) < 32 and sign not in "\n\t"]
    assert "\u202e" not in done.said
    export = run_limited("export", bench.at / "again", *bench.here)
    assert export.code == 0, export.said


def test_a_link_leads_into_no_rules_folder(bench: Bench) -> None:
    secret = bench.at / "secret.toml"
    secret.write_text('format = 1\nid = "a-secret"\n')
    (bench.root / "rules/labels/link.toml").symlink_to(secret)
    done = run_limited("rules", "check", *bench.here)
    is_clear(done, "link.toml")
    assert "leads out of the rules folder" in done.said
    assert "a-secret" not in done.said


def test_a_workbook_of_the_largest_size_takes_bounded_room(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.undo()
    done = hand_in(bench, DOORS["check"], made.SHEETS["a giant workbook"])
    is_clear(done, "handed.xlsx")


def test_a_packet_that_unpacks_to_a_thousand_times_its_size_is_refused(bench: Bench) -> None:
    done = hand_in(bench, DOORS["a packet"], Hostile(made.bomb))
    assert "unpacks to" in done.said
    is_clear(done, "handed.zip")


def test_what_was_refused_left_nothing_behind(bench: Bench) -> None:
    before = (bench.root / "ledger.db").read_bytes()
    for hostile in (made.SHEETS["NUL in a cell"], made.BYTES_OF_NO_USE["a zip bomb"]):
        for name in SHEET_DOORS:
            assert hand_in(bench, DOORS[name], hostile).code == 2
    assert (bench.root / "ledger.db").read_bytes() == before
    for name in ("import: journal.jsonl", "restore"):
        assert hand_in(bench, DOORS[name], made.BYTES_OF_NO_USE["NUL bytes"]).code == 2
        assert not (bench.at / "new").exists()


# --- no door is forgotten ----------------------------------------------------------------------

COMMAND_DOORS = {
    "record sheets": "record", "check sheets": "check", "carry-over sheet": "carry-over",
    "held fix sheet": "held fix", "attach file": "attach", "people train paper": "people train",
    "restore backup": "restore", "import export": "import: ledger.json",
    "verify packet": "a packet", "rules check folder": "a label",
}  # fmt: skip
"""The door of each path on the command line that is read."""

WRITTEN = {
    "audit out", "backup target", "demo folder", "entries out", "export folder", "file out",
    "import folder", "init folder", "notice out", "packet target", "prepare out", "prove out",
    "restore folder", "stock out", "summary out", "template target",
}  # fmt: skip
"""Paths on the command line that are written to."""


def paths_of(group: click.Command, name: str = "") -> Iterator[str]:
    if isinstance(group, click.Group):
        ctx = click.Context(group)
        for word in group.list_commands(ctx):
            command = group.get_command(ctx, word)
            assert command is not None
            yield from paths_of(command, f"{name} {word}".strip())
    for option in group.params:
        if isinstance(option.type, click.Path):
            yield f"{name} {option.name}"


def test_every_path_on_the_command_line_is_a_door_or_is_written() -> None:
    found = set(paths_of(main))
    assert found == {*COMMAND_DOORS, *WRITTEN}
    assert set(COMMAND_DOORS.values()) <= set(DOORS)


READERS = {
    "ledger/cli/common.py": ["record", "check", "carry-over", "held fix", "attach", "people train"],
    "ledger/cli/demo.py": [],  # the program's own sheets, from the program itself
    "ledger/cli/moving.py": [],  # the program's own schemas
    "ledger/demo/month.py": [],  # the program's own data, and so below
    "ledger/demo/papers.py": [],
    "ledger/unit_factors.py": [],
    "ledger/cli/packet.py": ["a packet", "a packet's line", "a proof"],
    "ledger/flow/keeping.py": ["import: workspace/useledger.toml",
                               "import: workspace/rules/labels/ridgeline-dust.toml"],
    "ledger/flow/marks.py": ["the mark"],
    "ledger/flow/workspace.py": [],  # the system's own table of mounts
    "ledger/journal/transfer.py": ["import: ledger.json", "import: journal.jsonl",
                                   "import: private.jsonl", "import: blobs.jsonl",
                                   "import: SHA256SUMS"],
    "ledger/rulefile.py": ["a label", "a law", "a practice", "a form", "the units", "the words",
                           "the firm file"],
}  # fmt: skip
"""Every module that reads a file, and the doors it reads at; databases are opened by SQLite."""


def reads_a_file(node: ast.AST) -> bool:
    if not isinstance(node, ast.Call):
        return False
    name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
    if name in {"read_bytes", "read_text"}:
        return True
    if name != "open" or not isinstance(node.func, (ast.Attribute, ast.Name)):
        return False
    said = [arg.value for arg in node.args if isinstance(arg, ast.Constant)]
    return not any(isinstance(mode, str) and ("w" in mode or "a" in mode) for mode in said)


def test_every_module_that_reads_a_file_has_its_doors() -> None:
    found = set()
    for path in sorted((ROOT / "ledger").rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        if any(reads_a_file(node) for node in ast.walk(tree)):
            found.add(path.relative_to(ROOT).as_posix())
    assert found - OTHER_OPENS == set(READERS)
    assert {name for doors in READERS.values() for name in doors} <= set(DOORS)


OTHER_OPENS: set[str] = {
    "ledger/intake/workbook.py",  # a part of a workbook whose bytes are at hand
    "ledger/journal/backup.py",  # waits for a file to stand on the disk
}
