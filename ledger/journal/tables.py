"""The tables of the store as SQLAlchemy sees them. The migrations make them; a test compares.

``journal`` holds one row an entry. ``text`` is the canonical line and the truth; every other
column but ``seal`` is worked out from it (``columns.py``) so that the database can find rows.
``private`` holds the salted texts, ``blob`` bytes kept as they came (sheets, rule files),
``place`` the postal code of each sealed site, worked out from its private text.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
)

metadata = MetaData()

WHOLE = BigInteger().with_variant(Integer(), "sqlite")
"""A whole number of 64 bits; SQLite calls every integer so and keeps the key in the row itself."""

journal = Table(
    "journal",
    metadata,
    Column("seq", WHOLE, primary_key=True, autoincrement=False),
    Column("form", WHOLE, nullable=False),
    Column("kind", Text, nullable=False),
    Column("at", Text, nullable=False),
    Column("by_person", Text, nullable=False),
    Column("os_user", Text, nullable=False),
    Column("prev", Text, nullable=False),
    Column("seal", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("private", Text),
    Column("replaces", WHOLE),
    Column("refers", WHOLE),
    Column("applied_on", Text),
    Column("ym", WHOLE),
    Column("jurisdiction", Text),
    Column("county", Text),
    Column("product_key", Text),
    Column("label", Text),
    Column("site_code", Text),
    Column("site", Text),
    Column("applicator", Text),
    Column("unit", Text),
    Column("denominator", WHOLE),
    Column("numerator", WHOLE),
    Column("visit", Text),
    Column("identity", Text),
    Column("own", Text),
    Column("clears", WHOLE),
    Column("first_seq", WHOLE),
    Column("last_seq", WHOLE),
)

private = Table(
    "private",
    metadata,
    Column("seq", WHOLE, ForeignKey("journal.seq"), primary_key=True, autoincrement=False),
    Column("salt", LargeBinary, nullable=False),
    Column("text", Text, nullable=False),
)

blob = Table(
    "blob",
    metadata,
    Column("digest", Text, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("data", LargeBinary, nullable=False),
)

place = Table(
    "place",
    metadata,
    Column("seq", WHOLE, ForeignKey("journal.seq"), primary_key=True, autoincrement=False),
    Column("site", Text, nullable=False),
    Column("zip", Text, nullable=False),
)

REVISIONS = ("0001", "0002", "0003")
"""The schema revisions this version knows, oldest first; the last is the one it works with."""
