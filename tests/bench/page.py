"""The page that keeps the figures: what stands between two marks is written anew."""

from __future__ import annotations

import sys
from pathlib import Path

PAPER = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"


def write_between(start: str, end: str, text: str) -> None:
    """Put a text between its marks in DEVELOPERS.md."""
    page = PAPER.read_text(encoding="utf-8")
    before, marker, rest = page.partition(start)
    _, other, after = rest.partition(end)
    if not (marker and other):
        sys.exit(f"{PAPER.name} has no place for the figures: put {start} and {end} into it")
    PAPER.write_text(f"{before}{start}\n{text}\n{end}{after}", encoding="utf-8")
