"""The line of every key of a TOML text that is written plainly: a key and a value on each line.

Most rule files are written so, and every command reads all of them. A text with anything else
(dotted keys, lists over several lines, literal texts, deeper nesting) is left to the scanner that
walks every character; both give the same lines where both can.
"""

from __future__ import annotations

import re

# A heading of two words stands in quotation marks, and its path shows them as well.
_NAME = r'(?:[A-Za-z0-9_-]+|"[a-z]+(?: [a-z]+)+")'
_END = r"[ \t\r]*(?:#.*)?"
_KEY = r"[A-Za-z0-9_-]+"
_TEXT = r'"(?:[^"\\]|\\.)*"'
_ITEMS = rf"[ \t]*(?:{_TEXT}[ \t]*(?:,[ \t]*{_TEXT}[ \t]*)*,?[ \t]*)?"
_BLANK = re.compile(_END)
_HEADER = re.compile(rf"(\[\[?)({_KEY}(?:\.{_KEY})*)(\]\]?){_END}")
_LIST = rf"\[{_ITEMS}\]"
_PLAIN = rf"(?:{_TEXT}|[A-Za-z0-9:+._-]+|{_LIST})"
_LISTS = rf"\[[ \t]*{_LIST}[ \t]*(?:,[ \t]*{_LIST}[ \t]*)*,?[ \t]*\]"
_FIELD = rf"{_KEY}[ \t]*=[ \t]*{_PLAIN}"
_TABLE = rf"\{{[ \t]*{_FIELD}[ \t]*(?:,[ \t]*{_FIELD}[ \t]*)*\}}"
_PAIR = re.compile(
    rf"({_NAME})[ \t]*=[ \t]*(?:{_TEXT}|[A-Za-z0-9:+._-]+|({_LIST})|({_LISTS})|({_TABLE})){_END}"
)
_INNER = re.compile(_LIST)
_INLINE = re.compile(rf"({_KEY})[ \t]*=[ \t]*(?:{_TEXT}|[A-Za-z0-9:+._-]+|({_LIST}))")
_ITEM = re.compile(_TEXT)


def quick_lines(text: str) -> dict[str, int] | None:
    """Return the line of every key path, or None where the text is not that plain."""
    lines: dict[str, int] = {}
    arrays: dict[str, int] = {}
    table = ""
    for number, row in enumerate(text.split("\n"), start=1):
        pair = _PAIR.fullmatch(row)
        if pair:
            path = f"{table}.{pair[1]}" if table else pair[1]
            lines.setdefault(path, number)
            if pair[2]:
                _note_items(path, pair[2], number, lines)
            elif pair[3]:
                for item, inner in enumerate(_INNER.findall(pair[3][1:-1]), start=1):
                    lines.setdefault(f"{path}[{item}]", number)
                    _note_items(f"{path}[{item}]", inner, number, lines)
            elif pair[4]:
                for field in _INLINE.finditer(pair[4]):
                    lines.setdefault(f"{path}.{field[1]}", number)
                    _note_items(f"{path}.{field[1]}", field[2] or "", number, lines)
        elif not _BLANK.fullmatch(row):
            header = _HEADER.fullmatch(row)
            if header is None or len(header[1]) != len(header[3]):
                return None
            table = _open(header[2], number, lines, arrays, header[1] == "[[")
    return lines


def _note_items(path: str, listed: str, number: int, lines: dict[str, int]) -> None:
    """Note the items of a list of texts that stands on one line."""
    for item, _ in enumerate(_ITEM.finditer(listed), start=1):
        lines.setdefault(f"{path}[{item}]", number)


def _open(name: str, number: int, lines: dict[str, int], arrays: dict[str, int], many: bool) -> str:
    """Note a header of one table, or of one more table of an array; return its path."""
    *outer, last = name.split(".")
    path = ""
    for part in outer:
        path = f"{path}.{part}" if path else part
        path = f"{path}[{arrays[path]}]" if path in arrays else path
        lines.setdefault(path, number)
    path = f"{path}.{last}" if path else last
    if many:
        lines.setdefault(path, number)
        arrays[path] = arrays.get(path, 0) + 1
        path = f"{path}[{arrays[path]}]"
    lines[path] = number
    return path
