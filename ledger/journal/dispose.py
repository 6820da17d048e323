"""Disposal: private texts with their salts, places and kept bytes destroyed, an entry left behind.

The entry is sealed first and names what goes; only so does the guard let it go, in the same
transaction. What was overwritten may still stand in free pages of a file, so it is scrubbed after.
"""

from __future__ import annotations

from ledger.journal.append import Writer
from ledger.journal.filters import one_of
from ledger.journal.guard import DISPOSED, KEYS
from ledger.journal.link import marked
from ledger.journal.store import Store
from ledger.values.sealed import EntryKind, NewEntry, Sealed


def dispose(writer: Writer, new: NewEntry) -> Sealed:
    """Seal a disposal and destroy what its body names (``entries``, ``blobs``)."""
    if new.kind is not EntryKind.DISPOSAL:
        raise ValueError("only a disposal destroys texts")
    connection = writer.connection
    if connection.dialect.name == "sqlite":
        # Deleted text is overwritten with zeros, in the pages where it stood.
        connection.exec_driver_sql("PRAGMA secure_delete = ON")
    sealed = writer.append(new)
    writer.flush()
    for table, named in DISPOSED.items():
        those = one_of(KEYS[table], new.body[named])
        away = f"DELETE FROM {table} WHERE {those.text}"  # noqa: S608 - our own names and marks
        connection.exec_driver_sql(marked(connection, away), those.values)
    return sealed


def scrub(store: Store) -> None:
    """Write the database anew, so that nothing deleted is left in its free space."""
    with store.engine.connect() as plain:
        if store.address.is_file:
            # Outside a transaction of ours: neither statement runs inside one.
            cursor = plain.connection.cursor()
            cursor.execute("PRAGMA secure_delete = ON")
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            cursor.execute("VACUUM")
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            return
        connection = plain.execution_options(isolation_level="AUTOCOMMIT")
        for table in ("private", "place", "blob"):
            connection.exec_driver_sql(f"VACUUM FULL {table}")
