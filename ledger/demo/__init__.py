"""The demonstration's invented firm, as data and pure functions.

January 2026 of Calloway Home Pest Care: twenty working days, four people, two counties, and
three days of February in one county only, so that the other owes a nil report. Nothing here
writes to a ledger; whoever runs the demonstration hands these sheets in as a person would.
"""

from __future__ import annotations

from ledger.demo.month import DemoSheet, sheets
from ledger.demo.papers import firm_file, label_files
from ledger.demo.story import DemoStory, Intended, Mending, Teaching, story

__all__ = [
    "DemoSheet",
    "DemoStory",
    "Intended",
    "Mending",
    "Teaching",
    "firm_file",
    "label_files",
    "sheets",
    "story",
]
