"""Runs the migrations on the connection that the program hands in."""

from __future__ import annotations

from alembic import context

connection = context.config.attributes.get("connection")
if connection is None:
    raise SystemExit("the ledger's schema is made and changed by the program: `useledger upgrade`")

# Both engines take back a half-made schema together with everything else of the transaction.
context.configure(connection=connection, transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
