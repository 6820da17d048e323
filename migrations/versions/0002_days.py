"""An index over the day of the work: a stretch of days no longer reads the whole journal."""

from __future__ import annotations

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the index; nothing of the journal is rebuilt."""
    op.execute(
        "CREATE INDEX ix_journal_applied_on ON journal (applied_on, seq)"
        " WHERE applied_on IS NOT NULL"
    )
