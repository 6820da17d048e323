"""Copies of a ledger: consistent while it is in use, and proved before they count as copies."""

from __future__ import annotations

import json
import os
import secrets
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError

from ledger.journal.append import insert_rows
from ledger.journal.columns import columns_of, place_of
from ledger.journal.founding import abandon, make_schema, prepare
from ledger.journal.problem import StoreProblem
from ledger.journal.read import Reader
from ledger.journal.store import Store, no_clock, only_read, read_revision, refuse_unknown
from ledger.journal.verify import How, Verification, verify
from ledger.seal import seal_of
from ledger.values.finding import render_fault
from ledger.values.sealed import Head

BATCH = 1000


def backup(store: Store, target: Path) -> Head:
    """Write a proved copy of the ledger to a new SQLite file and return the copy's head.

    The copy is made under another name and gets its own only when it has been read back, verified
    and written to the disk. From SQLite it is the database as it stands; from PostgreSQL it is
    the same entries, with the same seals, in an SQLite ledger (``pg_dump`` is the server's own
    way and is not replaced). ``StoreProblem`` where the target exists or the copy is not whole.
    """
    return make_backup(store, target, with_guard=True)


def make_backup(store: Store, target: Path, *, with_guard: bool) -> Head:
    """Do what ``backup`` says; without the guard where it is about to be mended."""
    if target.exists():
        raise StoreProblem(f"{target} exists already", "name another file: copies are kept apart")
    if not target.parent.is_dir():
        raise StoreProblem(f"there is no folder {target.parent}", "make it first")
    part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        with store.reading() as reader:
            live = reader.head
        if store.address.is_file:
            with store.engine.connect() as connection:
                # Outside a transaction of ours: the statement reads one moment by itself.
                connection.connection.cursor().execute("VACUUM INTO ?", (str(part),))
        else:
            copy(store, f"sqlite:///{part}")
        head = _prove(part, live, with_guard=with_guard)
        _to_disk(part)
        part.rename(target)
        _to_disk(target.parent)
    finally:
        for leftover in (part, part.with_name(part.name + "-journal")):
            with suppress(OSError):
                leftover.unlink(missing_ok=True)
    return head


def _prove(part: Path, live: Head, *, with_guard: bool) -> Head:
    """Verify a copy and that it reaches to the head of the live ledger; return its own head."""
    copied = only_read(f"sqlite:///{part}")
    try:
        with copied.reading() as reader:
            proof = verify(reader, (live.seal,) if live.seal else (), How(with_guard=with_guard))
    finally:
        copied.close()
    return _whole(proof)


def _whole(proof: Verification) -> Head:
    if not proof.ok:
        shown = "; ".join(render_fault(fault) for fault in proof.problems[:3])
        raise StoreProblem(
            f"the copy does not verify and was thrown away: {shown}",
            "run `useledger verify` on the ledger itself; restore an older backup if it fails too",
        )
    return proof.head


def _to_disk(path: Path) -> None:
    """Wait until a file, or a folder's list of names, stands on the disk."""
    try:
        handle = os.open(path, os.O_RDONLY)
    except OSError:  # Windows cannot open a folder; its rename is journalled by the file system
        if path.is_dir():
            return
        raise
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def restore(source: Path, url: str) -> Head:
    """Copy a backup, with its seals, into a new ledger of either engine; return its head.

    A backup of an older version is brought to this version's schema on the way. ``StoreProblem``
    where the file is no ledger, is damaged, or is of a newer version.
    """
    if not source.is_file():
        raise StoreProblem(f"there is no backup {source}", "name the file that backup wrote")
    kept = only_read(f"sqlite:///{source.resolve()}")
    try:
        with kept.reading() as reader:
            refuse_unknown(read_revision(reader.connection), source.name)
        return copy(kept, url)
    finally:
        kept.close()


def copy(store: Store, url: str) -> Head:
    """Copy every entry, with its seal, into a new ledger of either engine; return its head.

    Lines are taken as they are and their columns worked out again; nothing is sealed anew.
    """
    target = prepare(url, no_clock, bytes)
    try:
        with store.reading() as reader, target.begun_for_schema() as connection:
            make_schema(connection, target.name)
            _fill_whole(connection, reader)
            there = Reader(connection, target.name)
            head = _whole(verify(there))
    except BaseException:
        abandon(target)
        raise
    target.close()
    return head


def _fill_whole(connection: Connection, reader: Reader) -> None:
    """Insert everything; a line that the guard refuses was changed in the backup."""
    try:
        fill(connection, reader.blobs(), reader.lines())
    except DBAPIError as refused:
        raise StoreProblem(
            "the copy does not verify and was thrown away: its entries do not follow one another"
            f" ({refused.orig})",
            "run `useledger verify` on the ledger itself; restore an older backup if it fails too",
        ) from refused


def fill(
    connection: Connection,
    blobs: Iterable[tuple[str, str, bytes]],
    lines: Iterable[tuple[int, str, bytes | None, str | None]],
) -> None:
    """Insert kept bytes and entries into an empty ledger as they are; columns are worked out."""
    for digest, kind, data in blobs:
        insert_rows(connection, {"blob": [(digest, kind, data)]})
    rows: dict[str, list[tuple[Any, ...]]] = {"journal": [], "private": [], "place": []}
    for seq, text, salt, private in lines:
        line = json.loads(text)
        rows["journal"].append(columns_of(line, seal_of(text.encode("utf-8")), text))
        if salt is not None and private is not None:
            rows["private"].append((seq, salt, private))
        where = place_of(line, private)
        if where is not None:
            rows["place"].append(where)
        if len(rows["journal"]) >= BATCH:
            insert_rows(connection, rows)
    insert_rows(connection, rows)
