"""Lawful disposal: the guard set after this lets a sealed disposal delete texts; no table changes.

A ledger of an older version has a guard without that way through, so it is of an older schema.
"""

from __future__ import annotations

from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add an index over the disposals, which proving the ledger reads first."""
    op.execute("CREATE INDEX ix_journal_disposal ON journal (seq) WHERE kind = 'disposal'")
