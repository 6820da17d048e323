"""Key paths of a rule file as text, and what the text of a broken file still says."""

from __future__ import annotations

import re
from collections.abc import Mapping
from json import dumps

BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_LAST = re.compile(r'(?:\[\d+\]|(?:\.|^)(?:[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"))$')


def join_path(path: str, key: str) -> str:
    """Return the path of ``key`` below ``path``; a key that is not bare is quoted."""
    shown = key if BARE_KEY.fullmatch(key) else dumps(key, ensure_ascii=False)
    return f"{path}.{shown}" if path else shown


def parent_path(path: str) -> str:
    """Return the path of what holds ``path``: its list, its table, or the empty path."""
    return _LAST.sub("", path) if _LAST.search(path) else ""


def line_of(lines: Mapping[str, int], path: str) -> int:
    """Return the line of ``path``, or of the nearest table around it, or 1."""
    while path and path not in lines:
        path = parent_path(path)
    return lines.get(path, 1)


def first_said(data: bytes, key: str) -> str | None:
    """Return the text that the first line ``key = "..."`` gives, of a file that is not TOML."""
    text = data.decode("utf-8", "replace")
    found = re.search(rf"^[ \t]*{key}[ \t]*=[ \t]*[\"']([^\"'\n]*)[\"']", text, re.MULTILINE)
    return found[1] if found else None
