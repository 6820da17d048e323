"""Nonsense for every argument and option of every command, taken from the commands themselves.

One value at a time is nonsense, the others are such that the command would work. Whatever it is,
the command says what is wrong on standard error, ends with 2, and has written nothing, in the
ledger or beside it. A new option is in here by being there; one that takes any text at all must be
named in ``FREE``, and is still never answered with a traceback.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pytest

from ledger.cli import main
from tests.cli_use import DAY, copied, head_of, made_workspace, use
from tests.workspaces import SAMPLES

NONSENSE = (
    "", " ", "no such thing", "2026-02-30", "2026-13", "-1", "0", "9" * 400, "x" * 5000, "a\0b",
    "../../../etc/passwd", "\N{ARABIC-INDIC DIGIT ONE}", "nan", "1e400", "=1+1", "[x", "%s%n",
    "'; drop table journal; --", "\N{BLACK QUESTION MARK ORNAMENT}", "\u202e", "\n",
)  # fmt: skip
BAD_PATHS = ("", "a\0b", "x" * 400, "file.txt/below.csv", "/proc/1/nope/x.csv", "folder")
EACH = 3
"""How many kinds of nonsense each gets; which ones is drawn by its name, the same every time."""

SHEET = str(SAMPLES / DAY)
BY = {"by": "renner", "because": "a reason", "how": "by hand"}
BASE: dict[str, dict[str, str]] = {
    "init": {"folder": "new"}, "template": {"target": "new.csv"}, "rules copy": {"name": "us-ny"},
    "rules show": {"name": "us-ca"}, "sites apart": {"key": "S0001"},
    "sites same": {"key": "S0001"},
    "sites show": {"key": "S0001"}, "prepare": {"product": "ridgeline-dust", "at": "S0001"},
    "carry-over": {"sheet": SHEET}, "notice": {"after": "8"}, "check": {"sheets": SHEET},
    "record": {"sheets": SHEET}, "held drop": {"held": "20"}, "held fix": {"arguments": "20"},
    **{
        f"stock {what}": {"product": "ridgeline-dust", "amount": "1 lb"}
        for what in ("count", "dispose", "move", "receive")
    },
    "incident record": {"kind": "spill", "on": "2026-01-14", "what": "a spill", "done": "swept"},
    "close": {"day": "2026-01-14"}, "amend": {"entry": "8", "changes": "amount=0.4 oz"},
    "strike": {"entry": "8"}, "summary": {"period": "2026-01"}, "file": {"period": "2026-01"},
    "answer": {"what": "8", "action": "told"}, "trace": {"entry": "8"},
    "packet": {"target": "packet", "from": "2026-01-01", "to": "2026-01-31"},
    "prove": {"entry": "8"}, "backup": {"target": "copy.db"},
    "restore": {"backup": "copy.db", "folder": "back"}, "export": {"folder": "out"},
    "import": {"export": "out", "folder": "in"}, "attach": {"file": "file.txt", "to": "8"},
    "keep": {"entry": "8"},
    "people sign-off": {"what": "2026-01-14"},
    "people train": {
        "person": "marsh", "on": "2026-01-05", "trainer": "renner", "title": "a lesson",
        "topic": "moving air",
    },
}  # fmt: skip
"""What lets a command work, by its parameters' names; ``BY`` is added where it is asked for."""

FREE = {
    "because", "how", "what", "done", "action", "customer", "frequency", "purpose", "where",
    "people", "lot", "name", "licence", "address", "city", "person-name", "given", "refused",
    "waived", "init person", "stock count at", "stock dispose at", "stock move from",
    "stock move to", "stock receive at", "people train trainer", "people train title",
    "people train topic", "people train qualification", "people train authority",
    "people train number",
}  # fmt: skip
"""Parameters that take any text a person writes; with the command's name, only there."""

VALID = {("due", "ahead", "0"), ("packet", "site", "0")}
"""What is nonsense elsewhere and has a meaning here: nothing ahead, a street with a 0 in it."""


def commands(
    command: click.Command = main, path: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    """Yield every command, and every group that does something by itself, with its words."""
    if isinstance(command, click.Group):
        inside = click.Context(command)
        for name in command.list_commands(inside):
            below = command.get_command(inside, name)
            assert below is not None
            yield from commands(below, (*path, name))
    if path and not (isinstance(command, click.Group) and not command.invoke_without_command):
        yield path, command


def name_of(parameter: click.Parameter) -> str:
    return parameter.opts[0].removeprefix("--")


def valued(command: click.Command) -> list[click.Parameter]:
    """Return what takes a value: arguments, and options that are no flags."""
    return [p for p in command.params if not getattr(p, "is_flag", False)]


def nonsense_for(path: tuple[str, ...], parameter: click.Parameter) -> list[str]:
    kinds = BAD_PATHS if isinstance(parameter.type, click.Path) else NONSENSE
    start = zlib.crc32(" ".join((*path, name_of(parameter))).encode())
    drawn = [kinds[(start + step * 5) % len(kinds)] for step in range(EACH)]
    return [text for text in drawn if (" ".join(path), name_of(parameter), text) not in VALID]


def spelt(command: click.Command, values: dict[str, str]) -> list[str]:
    """Return the values as they are typed: options first, then what stands by its place."""
    given = {name_of(p): p for p in command.params}
    options = [f"--{name}={text}" for name, text in values.items()
               if given[name].param_type_name == "option"]  # fmt: skip
    places = [values[name_of(p)] for p in command.params
              if p.param_type_name == "argument" and name_of(p) in values]  # fmt: skip
    return [*options, "--", *places] if places else options


def seen(folder: Path) -> dict[str, Any]:
    """Return every file below a folder with its length; the ledger's own side files come and go."""
    return {
        str(path.relative_to(folder)): path.stat().st_size
        for path in folder.rglob("*")
        if not path.name.startswith("ledger.db")
    }


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made_workspace(tmp_path_factory.mktemp("made"))


ALL = list(commands())


def test_the_matrix_holds_every_command() -> None:
    """What is required has a value to stand beside the nonsense; nothing is named in vain."""
    names = {" ".join(path) for path, _ in ALL}
    assert set(BASE) <= names
    for path, command in ALL:
        needed = {name_of(p) for p in valued(command) if p.required}
        assert needed <= {*BASE.get(" ".join(path), {}), *BY, "to"}, path
    known = {" ".join((*path, name_of(p))) for path, command in ALL for p in command.params}
    assert all(any(f" {name}".endswith(f" {free}") for name in known) for free in FREE)


@pytest.mark.parametrize("path", [path for path, _ in ALL], ids=" ".join)
def test_nonsense_is_answered_with_a_message_and_changes_nothing(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, path: tuple[str, ...]
) -> None:
    command = dict(ALL)[path]
    root = copied(made, tmp_path)
    monkeypatch.setenv("USELEDGER_WORKSPACE", str(root))
    here = tmp_path / "here"
    (here / "folder" / "inside").mkdir(parents=True)
    (here / "file.txt").write_text("a file")
    monkeypatch.chdir(here)
    asked = {name_of(p): p for p in valued(command)}
    base = {**BASE.get(" ".join(path), {}), **{n: t for n, t in BY.items() if n in asked}}
    before, files = head_of(root), seen(tmp_path)
    wrong = []
    for name, parameter in asked.items():
        for text in nonsense_for(path, parameter):
            words = [*path, *spelt(command, {**base, name: text})]
            run = use(*words)  # it fails where anything but a message comes out
            assert run.code in {0, 1, 2}, words
            unchanged = head_of(root) == before and seen(tmp_path) == files
            # What verify finds wrong is its result, and stands where results do.
            told = run.err or (path == ("verify",) and run.out)
            if run.code == 2 and told and unchanged:
                continue
            if FREE & {name, " ".join((*path, name))} and run.code != 2:
                root = remade(made, tmp_path)
                before, files = head_of(root), seen(tmp_path)
            else:
                wrong.append((name, text[:30], run.code, run.err[:100], unchanged))
                before, files = head_of(root), seen(tmp_path)
    assert not wrong


def remade(made: Path, folder: Path) -> Path:
    """Put the workspace back as it was, and take away what was written beside it."""
    import shutil

    shutil.rmtree(folder / "copy")
    for path in (folder / "here").iterdir():
        if path.name not in {"folder", "file.txt"}:
            shutil.rmtree(path) if path.is_dir() else path.unlink()
    return copied(made, folder)
