"""The guard: triggers by which the database itself refuses to change what was sealed.

They stop UPDATE, DELETE, TRUNCATE and INSERT OR REPLACE, gaps and forks. One thing may be deleted:
a private text, a place or kept bytes that the newest entry, a sealed disposal, names. Whoever owns
the database can drop the triggers; the seals show that, and the program says so when it opens.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from ledger.journal.link import Link

KEYS = {"journal": "seq", "private": "seq", "blob": "digest", "place": "seq"}
"""The guarded tables, each with its key."""


DISPOSED = {"private": "entries", "place": "entries", "blob": "blobs"}
"""The tables a disposal may delete from, each with the list of its body that names the rows."""


def _unless_disposed(table: str) -> str:
    """Return the condition of SQLite under which a deletion from this table is refused."""
    if table not in DISPOSED:
        return ""
    return (
        "WHEN NOT EXISTS (SELECT 1 FROM journal,"  # noqa: S608 - fixed names
        f" json_each(journal.text, '$.body.{DISPOSED[table]}') AS named WHERE journal.seq ="
        " (SELECT max(seq) FROM journal) AND journal.kind = 'disposal'"
        f" AND named.value = OLD.{KEYS[table]}) "
    )


def _sqlite() -> dict[str, str]:
    """Return the triggers of SQLite: name -> text as ``sqlite_master`` keeps it."""
    texts: dict[str, str] = {}
    for table, key in KEYS.items():
        for event in ("UPDATE", "DELETE"):
            name = f"{table}_no_{event.lower()}"
            unless = _unless_disposed(table) if event == "DELETE" else ""
            texts[name] = (
                f"CREATE TRIGGER {name} BEFORE {event} ON {table} {unless}BEGIN SELECT RAISE(ABORT,"
                f" 'the ledger is append-only: {event} on {table} refused'); END"
            )
        if table == "journal":
            continue
        # REPLACE deletes without firing a DELETE trigger, so the insertion is what is refused.
        texts[f"{table}_once"] = (
            f"CREATE TRIGGER {table}_once BEFORE INSERT ON {table} WHEN EXISTS (SELECT 1 FROM"  # noqa: S608 - fixed names
            f" {table} WHERE {key} = NEW.{key}) BEGIN SELECT RAISE(ABORT,"
            f" 'the ledger is append-only: {table} already holds this key'); END"
        )
    texts["journal_next"] = (
        "CREATE TRIGGER journal_next BEFORE INSERT ON journal WHEN NEW.seq IS NOT"
        " (SELECT coalesce(max(seq), 0) + 1 FROM journal) OR NEW.prev IS NOT"
        " coalesce((SELECT seal FROM journal ORDER BY seq DESC LIMIT 1), '')"
        " BEGIN SELECT RAISE(ABORT, 'the ledger is append-only: this entry does not follow the"
        " last one'); END"
    )
    return texts


_REFUSE = """
BEGIN
  RAISE EXCEPTION 'the ledger is append-only: % on % refused', TG_OP, TG_TABLE_NAME;
END
"""

# Of all rows of a statement at once, so that a COPY of many rows is not stopped at each. The key
# is unique and every row needs the one before it: no gap, no fork, no second beginning.
_NEXT = """
BEGIN
  IF EXISTS (
    SELECT 1
    FROM (SELECT seq, prev, lag(seq) OVER following AS seq_before,
                 lag(seal) OVER following AS seal_before
          FROM fresh WINDOW following AS (ORDER BY seq)) AS entry
    WHERE CASE
      WHEN seq_before = seq - 1 THEN prev IS DISTINCT FROM seal_before
      WHEN seq = 1 THEN prev <> ''
      ELSE prev IS DISTINCT FROM (SELECT seal FROM journal WHERE journal.seq = entry.seq - 1)
    END
  ) THEN
    RAISE EXCEPTION 'the ledger is append-only: this entry does not follow the last one';
  END IF;
  RETURN NULL;
END
"""

_DISPOSE = """
BEGIN
  IF TG_OP = 'DELETE' AND EXISTS (
    SELECT 1 FROM journal WHERE seq = (SELECT max(seq) FROM journal) AND kind = 'disposal'
      AND text::jsonb #> '{body,%s}' @> to_jsonb(OLD.%s)
  ) THEN
    RETURN OLD;
  END IF;
  RAISE EXCEPTION 'the ledger is append-only: %% on %% refused', TG_OP, TG_TABLE_NAME;
END
"""

_FUNCTIONS = {
    "ledger_refuse": _REFUSE,
    "ledger_next": _NEXT,
    "ledger_dispose_text": _DISPOSE % ("entries", "seq"),
    "ledger_dispose_blob": _DISPOSE % ("blobs", "digest"),
}
_CHANGED_BY = {
    "private": "ledger_dispose_text", "place": "ledger_dispose_text", "blob": "ledger_dispose_blob",
}  # fmt: skip
"""Which function judges a change of a row; ``ledger_refuse`` for the other tables."""

# What pg_trigger says of each trigger: its function and its type, the sum of row 1, before 2,
# insert 4, delete 8, update 16, truncate 32 (PostgreSQL source, catalog/pg_trigger.h); after an
# event and for a statement count nothing.
_ROW_CHANGE, _TRUNCATE, _INSERTED = 1 + 2 + 8 + 16, 2 + 32, 4
_FRESH = "fresh"
"""The name under which the guard of insertions sees the new rows."""


def _postgres() -> dict[str, tuple[str, str, int]]:
    """Return the triggers of PostgreSQL: name -> table, function, type."""
    triggers: dict[str, tuple[str, str, int]] = {}
    for table in KEYS:
        function = _CHANGED_BY.get(table, "ledger_refuse")
        triggers[f"{table}_no_change"] = (table, function, _ROW_CHANGE)
        triggers[f"{table}_no_truncate"] = (table, "ledger_refuse", _TRUNCATE)
    triggers["journal_next"] = ("journal", "ledger_next", _INSERTED)
    return triggers


_WHEN = {
    _ROW_CHANGE: ("BEFORE UPDATE OR DELETE", "ROW"),
    _TRUNCATE: ("BEFORE TRUNCATE", "STATEMENT"),
    _INSERTED: ("AFTER INSERT", "STATEMENT"),
}


def install(connection: Connection) -> None:
    """Put the guard in place, whatever of it stands already."""
    run = connection.exec_driver_sql
    if connection.dialect.name == "sqlite":
        for name, text in _sqlite().items():
            run(f"DROP TRIGGER IF EXISTS {name}")
            run(text)
        return
    for name, source in _FUNCTIONS.items():
        # A doubled per cent sign, for the driver reads single ones as its own.
        body = source.replace("%", "%%") if connection.dialect.paramstyle == "pyformat" else source
        run(f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $${body}$$")
    for name, (table, function, kind) in _postgres().items():
        when, each = _WHEN[kind]
        run(f"DROP TRIGGER IF EXISTS {name} ON {table}")
        sees = f"REFERENCING NEW TABLE AS {_FRESH} " if kind == _INSERTED else ""
        does = f"{sees}FOR EACH {each} EXECUTE FUNCTION {function}()"
        run(f"CREATE TRIGGER {name} {when} ON {table} {does}")
        run(f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {name}")


def missing(connection: Link) -> tuple[str, ...]:
    """Return what is wrong with the guard, a sentence each; nothing when it stands as it should."""
    if connection.dialect.name == "sqlite":
        return _compare_sqlite(connection)
    return _compare_postgres(connection)


def _compare_sqlite(connection: Link) -> tuple[str, ...]:
    rows = connection.exec_driver_sql(
        "SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY name"
    ).all()
    there = {name: text for name, table, text in rows if table in KEYS}
    return _differences(_sqlite(), there)


def _compare_postgres(connection: Link) -> tuple[str, ...]:
    rows = connection.exec_driver_sql(
        "SELECT t.tgname, c.relname, p.proname, t.tgtype, t.tgenabled, t.tgqual IS NULL,"
        " t.tgnewtable"
        " FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid"
        " WHERE NOT t.tgisinternal AND c.relnamespace = current_schema()::regnamespace"
        " AND c.relname IN ('journal', 'private', 'blob', 'place') ORDER BY t.tgname"
    ).all()
    there = {row[0]: tuple(row)[1:] for row in rows}
    wanted = {
        name: (*what, "A", True, _FRESH if what[2] == _INSERTED else None)
        for name, what in _postgres().items()
    }
    wrong = list(_differences(wanted, there))
    names = ", ".join(f"'{name}'" for name in _FUNCTIONS)
    found = connection.exec_driver_sql(
        f"SELECT proname, prosrc FROM pg_proc WHERE proname IN ({names})"  # noqa: S608 - our names
        " AND pronamespace = current_schema()::regnamespace"
    ).all()
    sources = {row[0]: row[1] for row in found}
    wrong += [
        f"the function {name} is missing or was changed"
        for name, source in _FUNCTIONS.items()
        if sources.get(name) != source
    ]
    return tuple(wrong)


def _differences(wanted: Mapping[str, object], there: Mapping[str, object]) -> tuple[str, ...]:
    wrong = [f"the trigger {name} is missing" for name in wanted if name not in there]
    wrong += [
        f"the trigger {name} was changed or is switched off"
        for name in wanted
        if name in there and there[name] != wanted[name]
    ]
    wrong += [f"the trigger {name} is not the ledger's own" for name in there if name not in wanted]
    return tuple(wrong)


def structure_of(connection: Link) -> Iterator[str]:
    """Yield what SQLite finds wrong with its own file, indexes included; other engines say none."""
    if connection.dialect.name == "sqlite":
        for (said,) in connection.exec_driver_sql("PRAGMA integrity_check(20)").all():
            if said != "ok":
                yield said
