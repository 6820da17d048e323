"""A TOML file -> its table and the line of every key; and the files of a workspace, gathered.

The parser gives no positions, so a small scanner (``rulebook/scan.py``) says where each key
stands; the parser decides what a file says.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from pathlib import Path
from typing import Any

import tomli

from ledger.rulebook.grammar import FAMILIES
from ledger.rulebook.paths import first_said
from ledger.rulebook.scan import scan_lines
from ledger.values.finding import Fault
from ledger.values.origin import Origin

MOST_BYTES = 1_000_000
"""A rule file is written by hand; a larger one is something else."""

MOST_DOTS = 200
"""Dotted names in one line; the parser's time grows with the square of a key's length."""

_FOLDERS = {
    "labels": "label",
    "jurisdictions": "jurisdiction",
    "practice": "practice",
    "forms": "form",
}
_SINGLES = {"units.toml": "units", "words.toml": "words", "useledger.toml": "firm"}
_AT_LINE = re.compile(r"at line (\d+)")


Loaded = tuple[dict[str, Any] | None, dict[str, int], tuple[Fault, ...]]


def load_table(path_name: str, data: bytes) -> Loaded:
    """Return the table of a TOML file, the line of every key, and the faults that forbid it.

    The table is None when there are faults, and then no lines are told. Decimal numbers are read
    exactly. Never raises.
    """
    table, faults = _parse(path_name, data)
    if table is None:  # a text that may not be parsed is not walked through either
        return None, {}, faults
    return table, scan_lines(data.decode("utf-8", "replace")), faults


def _parse(path_name: str, data: bytes) -> tuple[dict[str, Any] | None, tuple[Fault, ...]]:
    found = _unreadable(data)
    if found:
        return None, (_fault(path_name, *found),)
    text = data.decode("utf-8").removeprefix("\ufeff")
    try:
        return tomli.loads(text, parse_float=Decimal), ()
    except RecursionError:
        what = "brackets are nested too deep to be read"
        return None, (_fault(path_name, "RULE-TOO-DEEP", 1, what),)
    except (ValueError, ArithmeticError) as problem:
        told = str(problem)
        at = _AT_LINE.search(told)
        line = int(at[1]) if at else max(1, len(text.splitlines()))
        return None, (_fault(path_name, "RULE-SYNTAX", line, f"this is not TOML: {told}"),)


class _Lines(Mapping[str, int]):
    """The line of every key, scanned when first asked: a list without faults is never asked."""

    def __init__(self, data: bytes) -> None:
        self._data = data

    @cached_property
    def _lines(self) -> dict[str, int]:
        return scan_lines(self._data.decode("utf-8", "replace"))

    def __getitem__(self, key: str) -> int:
        return self._lines[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._lines)

    def __len__(self) -> int:
        return len(self._lines)


def _unreadable(data: bytes) -> tuple[str, int, str] | None:
    """Return code, line and reason where the bytes are not a text that may be parsed."""
    if len(data) > MOST_BYTES:
        return "RULE-TOO-BIG", 1, f"the file is larger than {MOST_BYTES:,} bytes"
    if b"\0" in data:
        return "RULE-ENCODING", data[: data.index(b"\0")].count(b"\n") + 1, "a NUL byte"
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as problem:
        line = data[: problem.start].count(b"\n") + 1
        return "RULE-ENCODING", line, f"byte {data[problem.start]:#04x} is not UTF-8 text"
    for number, line_text in enumerate(text.split("\n"), start=1):
        if line_text.count(".") > MOST_DOTS:
            return "RULE-TOO-DEEP", number, f"more than {MOST_DOTS} dots in one line"
    return None


_WAYS_OUT = {
    "RULE-TOO-BIG": "a rule file is written by hand; see whether this is the right file",
    "RULE-ENCODING": "save the file as UTF-8 text",
    "RULE-TOO-DEEP": "write it on several lines, or flatter",
    "RULE-SYNTAX": "look at this line and the one above it",
    "RULE-UNREADABLE": "see that the file exists and may be read",
}


def _fault(path: str, code: str, line: int | None, what: str) -> Fault:
    return Fault(code, Origin(path, line), what, _WAYS_OUT[code])


@dataclass(frozen=True)
class RawFile:
    """One file as gathered: family, path below the rules folder, bytes, and where it came from.

    ``problem`` says why the bytes could not be had. ``table``, ``lines`` and ``faults`` are made
    from the bytes when they are asked for.
    """

    family: str
    path: str
    data: bytes = field(repr=False)
    shipped: bool = True
    problem: str = ""

    @cached_property
    def _parsed(self) -> tuple[Mapping[str, Any] | None, tuple[Fault, ...]]:
        if self.problem:
            return None, (_fault(self.path, "RULE-UNREADABLE", None, self.problem),)
        return _parse(self.path, self.data)

    @property
    def table(self) -> Mapping[str, Any] | None:
        """The table, or None where the bytes are not TOML."""
        return self._parsed[0]

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Why there is no table."""
        return self._parsed[1]

    @cached_property
    def lines(self) -> Mapping[str, int]:
        """The line of every key."""
        return _Lines(self.data)

    def identity(self) -> tuple[str, str, str] | None:
        """Return family, id and, for a label, version, as far as they can be read."""
        if self.shipped and not self.problem:  # written plainly, as a test holds them
            keys = _NAMING if self.family == "label" else ("id",)
            return self._naming({key: first_said(self.data, key) for key in keys})
        table = self.table or {}
        head = table.get("form", table) if self.family == "form" else table
        known = {key: head.get(key) if isinstance(head, Mapping) else None for key in _NAMING}
        if self.table is None:
            known = {key: first_said(self.data, key) for key in _NAMING}
        return self._naming(known)

    def _naming(self, known: Mapping[str, object]) -> tuple[str, str, str] | None:
        if not isinstance(known["id"], str):
            return None
        version = known["version"] if self.family == "label" else ""
        return self.family, known["id"], version if isinstance(version, str) else ""


_NAMING = ("id", "version")


@dataclass(frozen=True)
class Gathered:
    """The files in force: by family, then path. ``replaced`` are shipped ones that are not."""

    files: tuple[RawFile, ...]
    replaced: tuple[RawFile, ...] = ()


def kept_files(texts: Mapping[str, bytes]) -> tuple[RawFile, ...]:
    """Return files kept by path (as ``Book.texts`` has them) ready to be read again."""
    files = (RawFile(family_of(path), path, data) for path, data in texts.items())
    return tuple(sorted(files, key=_order))


def family_of(path: str) -> str:
    """Return the family of a file by its path below the rules folder; ``stray`` for none."""
    folder, _, name = path.rpartition("/")
    return _FOLDERS.get(folder, "stray") if folder else _SINGLES.get(name, "stray")


def shipped_rules() -> Path:
    """Return the folder of the rule files that came with the program."""
    here = Path(__file__).resolve().parent
    inside = here / "shipped" / "rules"
    return inside if inside.is_dir() else here.parent / "rules"


def gather(shipped: Path, workspace_rules: Path | None, firm_file: Path | None) -> Gathered:
    """Read every rule file; a workspace file replaces the shipped one with its id or its path.

    A label is replaced by the same id and version; a new version stands beside the old one. A
    file that cannot be read is returned with its problem, never raised.
    """
    own = tuple(_read_folder(workspace_rules, shipped=False)) if workspace_rules else ()
    paths = {file.path for file in own}
    names = {file.identity() for file in own} - {None}
    kept: list[RawFile] = []
    replaced: list[RawFile] = []
    for file in _read_folder(shipped, shipped=True):
        gone = file.path in paths or file.identity() in names
        (replaced if gone else kept).append(file)
    if firm_file is not None:
        kept.append(_read(firm_file, "useledger.toml", shipped=False))
    return Gathered(tuple(sorted((*kept, *own), key=_order)), tuple(sorted(replaced, key=_order)))


def _order(file: RawFile) -> tuple[int, str]:
    return FAMILIES.index(file.family), file.path


def _read_folder(folder: Path, *, shipped: bool) -> Iterator[RawFile]:
    """Read the TOML files below a rules folder; those that no family claims are strays."""
    for path in sorted(folder.rglob("*")):
        inside = path.relative_to(folder)
        hidden = any(part.startswith(".") for part in inside.parts)
        if path.suffix.lower() == ".toml" and not hidden and not path.is_dir():
            # A name that is not UTF-8 must not stop the message about it, nor steer a terminal.
            name = inside.as_posix().encode("utf-8", "replace").decode("utf-8")
            name = "".join(sign if sign.isprintable() else "\ufffd" for sign in name)
            if path.is_symlink() and not _stays_in(path, folder):
                problem = "a link that leads out of the rules folder; copy the file there instead"
                yield RawFile(family_of(name), name, b"", shipped, problem)
            else:
                yield _read(path, name, shipped=shipped)


def _stays_in(path: Path, folder: Path) -> bool:
    """Say whether a link ends below a folder; one that runs in a circle ends nowhere."""
    try:
        return path.resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError):
        return False


def _read(path: Path, name: str, *, shipped: bool) -> RawFile:
    family = family_of(name)
    try:
        if not path.is_file() and path.exists():  # a pipe would wait for ever
            return RawFile(family, name, b"", shipped, "it is no file, but a pipe or a device")
        with path.open("rb") as stream:
            return RawFile(family, name, stream.read(MOST_BYTES + 1), shipped)
    except OSError as problem:
        return RawFile(family, name, b"", shipped, problem.strerror or str(problem))
