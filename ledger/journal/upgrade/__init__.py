"""Bringing an older ledger to this version's schema; loaded only when that is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from ledger.journal import guard
from ledger.journal.address import parse_url, sqlite_file
from ledger.journal.append import Clock, Salts
from ledger.journal.backup import make_backup
from ledger.journal.problem import StoreProblem
from ledger.journal.read import Reader
from ledger.journal.store import Store, read_revision, refuse_unknown, system_user
from ledger.journal.tables import REVISIONS
from ledger.journal.upgrade.migrate import run_migrations
from ledger.journal.verify import verify
from ledger.values.finding import render_fault


@dataclass(frozen=True, slots=True)
class Upgraded:
    """What an upgrade did: the schema before and after, where the backup is, the guard mended.

    ``backup`` is None where nothing had to be done; ``mended`` says what was wrong with the
    guard before.
    """

    before: str
    after: str
    backup: Path | None = None
    mended: tuple[str, ...] = ()


def upgrade(url: str, folder: Path, *, clock: Clock, salts: Salts) -> Upgraded:
    """Bring a ledger to this version's schema after a verified backup into ``folder``.

    The change, the guard and a whole verification are one transaction: it happens or it does not.
    A guard that somebody took away is put back. ``StoreProblem`` says what stands in the way.
    """
    parsed = parse_url(url)
    file = sqlite_file(parsed)
    if file is not None and not file.is_file():
        raise StoreProblem(f"there is no ledger at {file}", "restore a backup of it there")
    store = Store(parsed, clock, salts, system_user())
    try:
        with store.reading() as reader:
            before = refuse_unknown(read_revision(reader.connection), store.name)
            wrong = guard.missing(reader.connection)
        if before == REVISIONS[-1] and not wrong:
            return Upgraded(before, before)
        folder.mkdir(parents=True, exist_ok=True)
        stamp = clock().strftime("%Y-%m-%d-%H%M%S")
        kept = folder / f"before-upgrade-{before}-{stamp}.db"
        make_backup(store, kept, with_guard=False)
        _change(store)
    finally:
        store.close()
    return Upgraded(before, REVISIONS[-1], kept, wrong)


def _change(store: Store) -> None:
    """Migrate, set the guard and verify in one transaction."""
    with store.begun_for_schema() as connection:
        reader = Reader(connection, store.name)
        head = reader.head
        run_migrations(connection)
        proof = verify(reader)
        if not proof.ok or proof.head != head:
            shown = "; ".join(render_fault(fault) for fault in proof.problems[:3])
            raise StoreProblem(
                f"the ledger does not verify after the change, which was taken back: {shown}",
                "run `useledger verify`; if it fails as well, restore a backup",
            )
