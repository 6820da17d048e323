"""Entries of the journal: as handed to it, and as sealed by it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


class EntryKind(StrEnum):
    """The closed list of what the journal can hold."""

    LEDGER = "ledger"
    RULES = "rules"
    SHEET = "sheet"
    SITE = "site"
    APPLICATION = "application"
    OBSERVATION = "observation"
    HELD = "held"
    DROPPED = "dropped"
    JUDGEMENT = "judgement"
    AMENDMENT = "amendment"
    STRIKE = "strike"
    CLOSE = "close"
    FILING = "filing"
    NOTE = "note"
    NOTICE = "notice"
    MOVED = "moved"
    CONTINUED = "continued"
    KEEP = "keep"
    DISPOSAL = "disposal"
    ATTACHMENT = "attachment"
    AUDIT = "audit"
    ANSWER = "answer"
    TRAINING = "training"
    SIGN_OFF = "sign-off"
    STOCK = "stock"
    INCIDENT = "incident"


@dataclass(frozen=True, slots=True)
class NewEntry:
    """An entry to be sealed.

    ``body`` holds only strings, safe integers, None, lists and dicts of these. ``private`` is
    the text (JSON of identity and free text) that stands in the chain as a salted digest.
    ``by`` is a person of the workspace, or empty where the program itself speaks.
    """

    kind: EntryKind
    body: Mapping[str, Any]
    private: str | None = None
    by: str = ""
    replaces: int | None = None
    refers: int | None = None


@dataclass(frozen=True, slots=True)
class Sealed:
    """A sealed entry: its place, its canonical text, its seal and what the text says.

    ``body`` is the parsed content under ``"body"`` of the canonical text. ``seal`` is SHA-256
    (hex) of the canonical bytes, which hold the previous seal.
    """

    seq: int
    kind: EntryKind
    at: str
    by: str
    os_user: str
    prev: str
    seal: str
    text: str
    body: Mapping[str, Any] = field(hash=False)
    private: str | None = None
    replaces: int | None = None
    refers: int | None = None


@dataclass(frozen=True, slots=True)
class Head:
    """The newest entry of the journal: how many there are and the seal of the last."""

    seq: int
    seal: str


_WORDS = {
    "ledger": "the beginning of the ledger", "rules": "a set of rule files",
    "sheet": "a received sheet", "dropped": "a dropped held line", "held": "a held line",
    "close": "a day close", "continued": "a continued import", "moved": "a moved ledger",
    "keep": "an order to keep",
}  # fmt: skip


def kind_words(kind: EntryKind) -> str:
    """Return what an entry of this kind is, as a noun with its article."""
    article = "an" if kind.value[0] in "aeio" else "a"
    return _WORDS.get(kind.value, f"{article} {kind.value}")
