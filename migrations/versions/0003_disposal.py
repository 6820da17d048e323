"""Lawful disposal: no table changes; the guard set after it lets a sealed disposal delete texts.

A ledger of an older version has a guard without that way through, so it is of an older schema.
"""

from __future__ import annotations

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Change nothing: the program sets the guard after every migration."""
