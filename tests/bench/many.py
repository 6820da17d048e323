"""One month of a very large journal on PostgreSQL: ``python -m tests.bench.many --rows 10000000``.

The rows are bare (an application's columns and an empty line) and stand only in the two indexes
that the question of a month reads, so millions are made in minutes; a month has as many rows in
every size. Printed for each size: the plan's cost as the server estimates it, its milliseconds,
and the pages it touched. What is larger than was measured follows from the estimate.
"""

from __future__ import annotations

import argparse
import statistics
from typing import Any

import psycopg

from ledger.journal import create
from ledger.journal.month import month_statement
from tests.bench.server_races import FIRM, clock, salts
from tests.journal_data import with_values
from tests.postgres import USER, Server

A_MONTH = 8_333
MAKE = """
    INSERT INTO journal (seq, form, kind, at, by_person, os_user, prev, seal, text, applied_on, ym,
      jurisdiction, county, product_key, label, site_code, site, applicator, unit, denominator,
      numerator, visit)
    SELECT n, 1, 'application', '', '', '', '', repeat('0', 64), '', day, ym, 'us-ca',
      'County ' || n * 7919 %% 58, '99980-' || n * 104729 %% 60, 'abcdef0123456789', '10',
      'S' || n / 20,
      'p' || n * 31 %% 1000, 'oz', 1000, n %% 997, md5((n / 2)::text)
    FROM (SELECT n, to_char(month, 'YYYY-MM') || '-15' AS day, to_char(month, 'YYYYMM')::int AS ym
      FROM (SELECT n, date '0100-01-01' + (n / %s) * interval '1 month' AS month
        FROM generate_series(%s::bigint, %s::bigint) AS n) AS months) AS dated
"""


def prepare(connection: psycopg.Connection[Any]) -> None:
    """Leave the journal with its key and the two indexes that a month asks, and no guard."""
    connection.execute("ALTER TABLE journal DISABLE TRIGGER ALL")
    names = connection.execute(
        "SELECT indexname FROM pg_indexes WHERE tablename = 'journal' AND indexname NOT IN"
        " ('pk_journal', 'ix_journal_use', 'ux_journal_replaces')"
    ).fetchall()
    for (name,) in names:
        connection.execute(f"DROP INDEX {name}")


def question(ym: int) -> str:
    """Return the ledger's own question of a month as text."""
    return with_values(month_statement(one_county=False), "us-ca", ym)


def ask(connection: psycopg.Connection[Any], rows: int) -> str:
    """Return a line of the table: cost, milliseconds and pages of a month in the middle."""
    months = rows // A_MONTH // 2
    ym = (100 + months // 12) * 100 + months % 12 + 1
    plans = [
        connection.execute(f"EXPLAIN (ANALYZE, BUFFERS, FORMAT JSON) {question(ym)}").fetchone()
        for _ in range(7)
    ]
    found = [plan[0][0] for plan in plans if plan]
    plan = found[0]["Plan"]
    if "Seq Scan" in str(plan):
        raise RuntimeError(f"the plan walks the whole journal: {plan}")
    took = statistics.median(item["Execution Time"] for item in found)
    pages = plan["Shared Hit Blocks"] + plan["Shared Read Blocks"]
    return f"| {rows:,} | {plan['Total Cost']:,.0f} | {took:.1f} | {pages:,} |"


def main() -> None:
    """Read the options, make the rows, ask."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.many", description=__doc__)
    parser.add_argument("--rows", type=int, default=1_000_000)
    given = parser.parse_args()
    server = Server()
    try:
        name = server.new_database()
        create(server.url(name), firm=FIRM, clock=clock, salts=salts).close()
        where = {"host": str(server.folder), "user": USER, "dbname": name}
        with psycopg.connect(autocommit=True, **where) as connection:
            prepare(connection)
            print(
                "| rows | cost of a month, estimated | ms | pages |\n| ---: | ---: | ---: | ---: |"
            )
            made, size = 1, 100_000
            while size <= given.rows:
                connection.execute(MAKE, (A_MONTH, made + 1, size))
                connection.execute("VACUUM ANALYZE journal")
                print(ask(connection, size), flush=True)
                made, size = size, size * 10
    finally:
        server.stop()


if __name__ == "__main__":
    main()
