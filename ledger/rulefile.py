"""A TOML file -> its table and the line of every key; and the files of a workspace, gathered.

The standard parser gives no positions, so a small scanner walks the same text and notes where
each key stands. The parser decides what a file says; the scanner only says where.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_left
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from itertools import count
from pathlib import Path
from typing import Any

from ledger.rulebook.grammar import FAMILIES
from ledger.rulebook.paths import BARE_KEY, first_said, join_path
from ledger.rulebook.quick_lines import quick_lines
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
_SPACE = re.compile(r"[ \t\r]*")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SCALAR = re.compile(r"[^,\]}#\n]*")
_QUOTED = re.compile(r'"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'')
_LONG = re.compile(r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})|\'\'\'.*?\'\'\'(?:\'{0,2})', re.DOTALL)
_AT_LINE = re.compile(r"at line (\d+)")


class _Scanner:
    """Walks TOML text and notes the line of every key, header and list item."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.table = ""
        self.lines: dict[str, int] = {}
        self.arrays: dict[str, int] = {}
        self.ends = [found.start() for found in re.finditer("\n", text)]

    def run(self) -> None:
        """Walk the whole text; text that is not TOML is walked as far as it makes sense."""
        while self.skip(_BLANK) < len(self.text):
            start = self.at
            if self.text[self.at] == "[":
                self.header()
            else:
                self.pair(self.table)
            if self.at == start or not self.at_line_end():
                self.at = self.text.find("\n", self.at) + 1 or len(self.text)

    def at_line_end(self) -> bool:
        """Whether nothing but space or a comment is left of the line."""
        self.skip(_SPACE)
        return self.text[self.at : self.at + 1] in {"", "\n", "#"}

    def line(self) -> int:
        """Return the line of the current place, from 1."""
        return bisect_left(self.ends, self.at) + 1

    def skip(self, pattern: re.Pattern[str]) -> int:
        """Move past what the pattern matches here, if it does; return the new place."""
        found = pattern.match(self.text, self.at)
        self.at = found.end() if found else self.at
        return self.at

    def taken(self, mark: str) -> bool:
        """Move past ``mark`` if it stands here, and say so."""
        here = self.text.startswith(mark, self.at)
        self.at += len(mark) if here else 0
        return here

    def key(self) -> list[str]:
        """Read a dotted key; an empty list where there is none."""
        parts: list[str] = []
        while True:
            self.skip(_SPACE)
            found = BARE_KEY.match(self.text, self.at) or _QUOTED.match(self.text, self.at)
            if not found:
                return []
            parts.append(_plain(found[0]))
            self.at = found.end()
            self.skip(_SPACE)
            if not self.taken("."):
                return parts

    def header(self) -> None:
        """Read ``[a.b]`` or ``[[a.b]]``; the pairs that follow belong to it."""
        line = self.line()
        many = self.taken("[[")
        if not many:
            self.at += 1
        parts = self.key()
        if not parts:
            return
        path = ""
        for part in parts[:-1]:
            path = self.newest(join_path(path, part))
            self.lines.setdefault(path, line)
        path = join_path(path, parts[-1])
        if many:
            self.lines.setdefault(path, line)
            self.arrays[path] = self.arrays.get(path, 0) + 1
            path = self.newest(path)
        self.lines[path] = line
        self.table = path
        self.taken("]]" if many else "]")

    def newest(self, path: str) -> str:
        """Return ``path`` with the number of its newest item, if it is an array of tables."""
        return f"{path}[{self.arrays[path]}]" if path in self.arrays else path

    def pair(self, path: str) -> None:
        """Read ``key = value`` below ``path``."""
        line = self.line()
        for part in self.key():
            path = join_path(path, part)
            self.lines.setdefault(path, line)
        if self.taken("="):
            self.value(path)

    def value(self, path: str) -> None:
        """Walk past a value, noting what stands inside lists and inline tables."""
        self.skip(_SPACE)
        if self.taken("["):
            self.items(path)
        elif self.taken("{"):
            self.inline(path)
        elif self.text.startswith(('"""', "'''"), self.at):
            self.skip(_LONG)
        elif self.text.startswith(('"', "'"), self.at):
            self.skip(_QUOTED)
        else:
            self.skip(_SCALAR)

    def items(self, path: str) -> None:
        """Walk the items of a list up to its closing bracket."""
        for number in count(1):
            self.skip(_BLANK)
            start = self.at
            if self.taken("]") or self.at >= len(self.text):
                return
            self.lines.setdefault(f"{path}[{number}]", self.line())
            self.value(f"{path}[{number}]")
            self.skip(_BLANK)
            if not self.taken(",") and (self.taken("]") or self.at == start):
                return

    def inline(self, path: str) -> None:
        """Walk the pairs of an inline table up to its closing brace."""
        while True:
            self.skip(_BLANK)
            start = self.at
            if self.taken("}") or self.at >= len(self.text):
                return
            self.pair(path)
            self.skip(_BLANK)
            if not self.taken(",") and (self.taken("}") or self.at == start):
                return


def _plain(part: str) -> str:
    """Return a key's part without its quotes; the parser itself reads the escapes."""
    if part[0] not in "\"'":
        return part
    try:
        return str(tomllib.loads(f"k={part}")["k"])
    except ValueError:
        return part[1:-1]


def scan_lines(text: str) -> dict[str, int]:
    """Return the line of every key path of a TOML text, counted from 1.

    Paths are dotted; items of lists and arrays of tables count from 1 (``limit[2].most``,
    ``expect[1]``); a key that is not bare is quoted. Headers of tables stand under their own
    path. Never raises: of a text that is not TOML it returns what could be seen.
    """
    plain = quick_lines(text.removeprefix("\ufeff"))
    return walk_lines(text) if plain is None else plain


def walk_lines(text: str) -> dict[str, int]:
    """Return the same by walking every character, whatever the text is like."""
    scanner = _Scanner(text.removeprefix("\ufeff"))
    try:
        scanner.run()
    except RecursionError:
        return scanner.lines
    return scanner.lines


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
        return tomllib.loads(text, parse_float=Decimal), ()
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
    from the bytes.
    """

    family: str
    path: str
    data: bytes = field(repr=False)
    shipped: bool = True
    problem: str = ""
    table: Mapping[str, Any] | None = field(init=False, repr=False, compare=False)
    lines: Mapping[str, int] = field(init=False, repr=False, compare=False)
    faults: tuple[Fault, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        table, faults = _parse(self.path, self.data)
        if self.problem:
            table, faults = None, (_fault(self.path, "RULE-UNREADABLE", None, self.problem),)
        made = {"table": table, "lines": _Lines(self.data), "faults": faults}
        for name, value in made.items():
            object.__setattr__(self, name, value)

    def identity(self) -> tuple[str, str, str] | None:
        """Return family, id and, for a label, version, as far as they can be read."""
        table = self.table or {}
        head = table.get("form", table) if self.family == "form" else table
        known = {key: head.get(key) if isinstance(head, Mapping) else None for key in _NAMING}
        if self.table is None:
            known = {key: first_said(self.data, key) for key in _NAMING}
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
            # A name that is not UTF-8 must not stop the message about it.
            name = inside.as_posix().encode("utf-8", "replace").decode("utf-8")
            yield _read(path, name, shipped=shipped)


def _read(path: Path, name: str, *, shipped: bool) -> RawFile:
    family = family_of(name)
    try:
        with path.open("rb") as stream:
            return RawFile(family, name, stream.read(MOST_BYTES + 1), shipped)
    except OSError as problem:
        return RawFile(family, name, b"", shipped, problem.strerror or str(problem))
