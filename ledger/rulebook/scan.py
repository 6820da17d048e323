"""The line of every key of a TOML text, by walking its characters.

The parser decides what a text says; the scanner only says where. A text that is written plainly
is read line by line (``quick_lines``); both give the same lines where both can.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from itertools import count

import tomli

from ledger.rulebook.paths import BARE_KEY, join_path
from ledger.rulebook.quick_lines import quick_lines

_SPACE = re.compile(r"[ \t\r]*")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SCALAR = re.compile(r"[^,\]}#\n]*")
_QUOTED = re.compile(r'"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'')
_LONG = re.compile(r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})|\'\'\'.*?\'\'\'(?:\'{0,2})', re.DOTALL)


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
        return str(tomli.loads(f"k={part}")["k"])
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
