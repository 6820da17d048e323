"""The tables of the store as statements name them. The migrations make them; a test compares.

``journal`` holds one row an entry. ``text`` is the canonical line and the truth; every other
column but ``seal`` is worked out from it (``columns.py``) so that the database can find rows.
``private`` holds the salted texts, ``blob`` bytes kept as they came (sheets, rule files),
``place`` the postal code of each sealed site, worked out from its private text.
"""

from __future__ import annotations

TABLES: dict[str, tuple[str, ...]] = {
    "journal": (
        "seq", "form", "kind", "at", "by_person", "os_user", "prev", "seal", "text",
        "private", "replaces", "refers", "applied_on", "ym", "jurisdiction", "county",
        "product_key", "label", "site_code", "site", "applicator", "unit", "denominator",
        "numerator", "visit", "identity", "own", "clears", "first_seq", "last_seq",
    ),
    "private": ("seq", "salt", "text"),
    "blob": ("digest", "kind", "data"),
    "place": ("seq", "site", "zip"),
}  # fmt: skip
"""Each table with its columns, in the order of a row."""

ALWAYS_THERE = 9
"""How many columns of ``journal``, from the first, are never null; other tables have no null."""

REVISIONS = ("0001", "0002", "0003")
"""The schema revisions this version knows, oldest first; the last is the one it works with."""
