"""The trial labels: one file for each shape of limit, with examples of its four answers."""

from __future__ import annotations

from functools import cache

from ledger.rulebook.book import Book
from ledger.rulebook.reading import read_book
from ledger.rulefile import RawFile
from tests.house import ROOT

FOLDER = ROOT / "fixtures" / "shape_labels"


def lists() -> list[RawFile]:
    """Return the shipped units and words."""
    return [
        RawFile(name, f"{name}.toml", (ROOT / "rules" / f"{name}.toml").read_bytes())
        for name in ("units", "words")
    ]


@cache
def trial_book() -> Book:
    """Return the trial labels with the shipped lists."""
    labels = [
        RawFile("label", f"labels/{path.name}", path.read_bytes())
        for path in sorted(FOLDER.glob("*.toml"))
    ]
    return read_book([*lists(), *labels])
