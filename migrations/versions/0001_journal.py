"""The journal, its private texts, kept bytes and places, with the indexes that find them.

The statements are plain SQL so that what was made years ago can be read here as it was. The
guard is not made here: the program installs it after every migration (``ledger/journal/guard``).
"""

from __future__ import annotations

from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

WORDS = {
    "sqlite": {"INT": "INTEGER", "TXT": "TEXT", "BIN": "BLOB", "END": "STRICT"},
    "postgresql": {"INT": "BIGINT", "TXT": 'TEXT COLLATE "C"', "BIN": "BYTEA", "END": ""},
}

TABLES = (
    """
    CREATE TABLE journal (
      seq {INT} NOT NULL CONSTRAINT pk_journal PRIMARY KEY,
      form {INT} NOT NULL,
      kind {TXT} NOT NULL,
      at {TXT} NOT NULL,
      by_person {TXT} NOT NULL,
      os_user {TXT} NOT NULL,
      prev {TXT} NOT NULL,
      seal {TXT} NOT NULL CONSTRAINT ck_journal_seal CHECK (length(seal) = 64),
      text {TXT} NOT NULL,
      private {TXT} CONSTRAINT ck_journal_private CHECK (length(private) = 64),
      replaces {INT} CONSTRAINT ck_journal_replaces CHECK (replaces > 0 AND replaces < seq),
      refers {INT} CONSTRAINT ck_journal_refers CHECK (refers > 0 AND refers < seq),
      applied_on {TXT},
      ym {INT},
      jurisdiction {TXT},
      county {TXT},
      product_key {TXT},
      label {TXT},
      site_code {TXT},
      site {TXT},
      applicator {TXT},
      unit {TXT},
      denominator {INT} CONSTRAINT ck_journal_denominator CHECK (denominator > 0),
      numerator {INT},
      visit {TXT},
      identity {TXT},
      own {TXT},
      clears {INT} CONSTRAINT ck_journal_clears CHECK (clears > 0 AND clears < seq),
      first_seq {INT},
      last_seq {INT},
      CONSTRAINT ck_journal_month CHECK (
        (applied_on IS NULL) = (ym IS NULL)
        AND (ym IS NULL
             OR ym = CAST(substr(applied_on, 1, 4) || substr(applied_on, 6, 2) AS INTEGER))),
      CONSTRAINT ck_journal_amount CHECK (
        (unit IS NULL) = (numerator IS NULL) AND (denominator IS NULL) = (numerator IS NULL)
        AND (numerator IS NULL OR kind IN ('application', 'amendment')))
    ) {END}
    """,
    """
    CREATE TABLE private (
      seq {INT} NOT NULL CONSTRAINT pk_private PRIMARY KEY
        CONSTRAINT fk_private_journal REFERENCES journal (seq),
      salt {BIN} NOT NULL CONSTRAINT ck_private_salt CHECK (length(salt) = 16),
      text {TXT} NOT NULL
    ) {END}
    """,
    """
    CREATE TABLE blob (
      digest {TXT} NOT NULL CONSTRAINT pk_blob PRIMARY KEY
        CONSTRAINT ck_blob_digest CHECK (length(digest) = 64),
      kind {TXT} NOT NULL,
      data {BIN} NOT NULL
    ) {END}
    """,
    """
    CREATE TABLE place (
      seq {INT} NOT NULL CONSTRAINT pk_place PRIMARY KEY
        CONSTRAINT fk_place_journal REFERENCES journal (seq),
      site {TXT} NOT NULL,
      zip {TXT} NOT NULL
    ) {END}
    """,
)

# Jurisdiction, month and only then county: with the county first, "one month, all counties"
# grows with the ledger. The visit stands before the amount, so that one walk in the order of
# the index gives sums and visits without a sort.
USE = "jurisdiction, ym, county, product_key, label, site_code, unit, denominator, visit"

INDEXES = (
    "CREATE UNIQUE INDEX ux_journal_replaces ON journal (replaces) WHERE replaces IS NOT NULL",
    "CREATE INDEX ix_journal_kind ON journal (kind, seq)",
    "CREATE INDEX ix_journal_site ON journal (site, kind, seq) WHERE site IS NOT NULL",
    "CREATE INDEX ix_journal_identity ON journal (identity, seq) WHERE identity IS NOT NULL",
    "CREATE INDEX ix_journal_own ON journal (own, seq) WHERE own IS NOT NULL",
    "CREATE INDEX ix_journal_refers ON journal (refers, seq) WHERE refers IS NOT NULL",
    "CREATE INDEX ix_journal_clears ON journal (clears, seq) WHERE clears IS NOT NULL",
    "CREATE INDEX ix_journal_judged ON journal (first_seq, last_seq) WHERE last_seq IS NOT NULL",
    "CREATE INDEX ix_place_zip ON place (zip, site, seq)",
    "CREATE INDEX ix_place_site ON place (site, seq)",
)

USE_INDEX = {
    "sqlite": f"CREATE INDEX ix_journal_use ON journal ({USE}, numerator)"
    " WHERE numerator IS NOT NULL",
    "postgresql": f"CREATE INDEX ix_journal_use ON journal ({USE}) INCLUDE (numerator, seq)"
    " WHERE numerator IS NOT NULL",
}


def upgrade() -> None:
    """Make the tables and their indexes."""
    dialect = op.get_bind().dialect.name
    for statement in TABLES:
        op.execute(statement.format(**WORDS[dialect]))
    for statement in (*INDEXES, USE_INDEX[dialect]):
        op.execute(statement)
