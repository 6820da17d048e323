"""Step 5, the journal: entries sealed one after another, and read by what they are about."""

from __future__ import annotations

from ledger.journal.append import Writer
from ledger.journal.founding import create
from ledger.journal.problem import StoreProblem
from ledger.journal.read import Reader
from ledger.journal.store import Store, open_store

__all__ = ["Reader", "Store", "StoreProblem", "Writer", "create", "open_store"]
