"""What an entry that is no application says, in words: sheets, rules, sites, closes, filings."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from ledger.flow.judging import findings_of
from ledger.seal import seal_code
from ledger.values.finding import render_finding
from ledger.values.sealed import EntryKind, Sealed

_SHORT = 16
"""Digits of a digest that are enough to tell it by."""

_NAMES = {
    "apart_from": "a place apart from", "same_as": "the same place as",
    "doubt": "looks like", "asked_by": "may be the same place", "seq": "entry",
    "head": "made at", "program": "program version", "first": "first entry judged",
    "last": "last entry judged", "size": "entries under the tree", "root": "root of the tree",
    "open_days": "days open when filed", "held": "held lines when filed",
    "bytes": "length in bytes",
}  # fmt: skip

_LEFT_OUT = {EntryKind.CLOSE: {"peaks", "date"}, EntryKind.JUDGEMENT: {"findings"}}
"""What only the program needs to read again, by kind."""


def said_by(entry: Sealed) -> Iterator[str]:
    """Yield what an entry says, a line each; what it leaves empty is left out."""
    private: dict[str, Any] = json.loads(entry.private) if entry.private else {}
    said = {**dict(entry.body), **private}
    for key in _LEFT_OUT.get(entry.kind, ()):
        said.pop(key, None)
    for key, value in said.items():
        if value in (None, "", [], {}):
            continue
        yield from _told(_NAMES.get(key, key.replace("_", " ")), value)
    if entry.kind is EntryKind.CLOSE:
        yield f"seal code: {seal_code(entry.seal)}"
    if entry.kind is EntryKind.JUDGEMENT:
        yield from _judged(entry)


def _told(name: str, value: object) -> Iterator[str]:
    rows = value if isinstance(value, Sequence) and not isinstance(value, str) else ()
    if any(isinstance(item, Mapping) for item in rows):
        yield f"{name}:"
        yield from (f"  {_flat(item)}" for item in rows)
    else:
        yield f"{name}: {_flat(value)}"


def _flat(value: object) -> str:
    if isinstance(value, Mapping):
        if set(value) == {"path", "digest"}:
            return f"{value['path']} {value['digest'][:_SHORT]}"
        parts = [
            f"{key.replace('_', ' ')} {_flat(item)}"
            for key, item in value.items() if item not in (None, "", [], {}, 0)
        ]  # fmt: skip
        return ", ".join(parts) or "nothing"
    if isinstance(value, Sequence) and not isinstance(value, str):
        return ", ".join(_flat(item) for item in value)
    return str(value)


def _judged(entry: Sealed) -> Iterator[str]:
    """Yield the findings of a judgement, each with its entry."""
    seqs = [item["seq"] for item in entry.body["findings"]]
    for seq in seqs:
        for finding in findings_of(entry, seq):
            yield render_finding(finding, f"entry {seq}")
    if not seqs:
        yield "nothing was found"
