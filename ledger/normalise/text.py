"""Typed texts: made clean for keeping, and refused where they could act instead of being read."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

from ledger.values.draft import Draft
from ledger.values.finding import Fault, Finding, Kind

_INVISIBLE = dict.fromkeys(map(ord, "\u200b\u2060\ufeff\u00ad"))
# Direction overrides make a text read differently from what is stored.
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
# What a spreadsheet would run when the text is written back to it: a formula, or a call after a
# sign. A plain minus ("-1 lb") is not one; it is read, and refused, as an amount.
_FORMULA = re.compile(r"^\s*(?:[=@]|[+\-]\s*[A-Za-z_][\w.]*\s*[(|!])")


_STARTS = frozenset("=@+- ")
"""What a text begins with that could be a formula."""


@lru_cache(maxsize=65536)
def clean(text: str) -> str:
    """Return the text as it is kept: composed (NFC), visible, one space between words."""
    return " ".join(unicodedata.normalize("NFC", text.translate(_INVISIBLE)).split())


def cell(draft: Draft, heading: str) -> str:
    """Return the clean text under that heading, or an empty string."""
    item = draft.cells.get(heading)
    return clean(item.text) if item else ""


@lru_cache(maxsize=65536)
def _trouble(text: str) -> tuple[str, str, str] | None:
    for char in text:
        if char in "\t\n\r":  # a line break inside a cell is white space
            continue
        if unicodedata.category(char) in {"Cc", "Cs"} or char in _TURNING:
            return (
                "TEXT-CONTROL",
                f"holds the control character U+{ord(char):04X}",
                "type the cell again; it was probably pasted from another program",
            )
    if _FORMULA.match(text):
        return (
            "TEXT-FORMULA",
            f'"{clean(text)}" would run as a formula in a spreadsheet',
            "write what it says in plain words, without the sign before it",
        )
    return None


def text_faults(draft: Draft) -> tuple[Fault, ...]:
    """Return a fault for every cell whose text cannot be kept as it is."""
    found: list[Fault] = []
    for heading, item in draft.cells.items():
        if item.text.isprintable() and item.text[:1] not in _STARTS:
            continue  # nearly every cell: nothing to look for
        trouble = _trouble(item.text)
        if trouble is not None:
            code, what, way_out = trouble
            found.append(Fault(code, draft.at(heading), what, way_out))
    return tuple(found)


def remark(code: str, column: str, text: str, way_out: str = "") -> Finding:
    """Return what reading a line has to say without holding it, as advice."""
    return Finding(Kind.ADVICE, code, code, text, column, way_out)
