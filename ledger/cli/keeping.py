"""The keeper's commands: backup and upgrade."""

from __future__ import annotations

from pathlib import Path

import click

from ledger.cli.common import DONE, print_json, shared
from ledger.flow.workspace import open_workspace


@click.command("backup")
@click.argument("target", type=click.Path(path_type=Path))
@shared
def backup_command(target: Path, workspace: str | None, as_json: bool) -> int:
    """Write a verified copy of the ledger.

    \b
    Consistent while the ledger is in use; the copy is verified. The firm file and the rule files
    stand in the workspace folder; their texts as used are in the ledger itself. Example:
      useledger backup D:/backups/ledger-2026-01-31.db
    """
    from ledger.journal.backup import backup

    opened = open_workspace(workspace)
    done = backup(opened.store, target)
    if as_json:
        print_json({"file": str(target), "entries": done.seq, "seal": done.seal})
    else:
        click.echo(f"{target}: {done.seq} entries, verified; the head is {done.seal[:16]}...")
    return DONE


@click.command("upgrade")
@shared
def upgrade_command(workspace: str | None, as_json: bool) -> int:
    """Bring an older ledger to this version's form.

    \b
    After a verified backup, kept in the workspace's folder `backups`.
    Example:
      useledger upgrade
    """
    from ledger.flow.workspace import (
        database_url,
        find_root,
        fresh_salt,
        now,
        read_rules,
        refuse_broken_firm,
    )  # fmt: skip
    from ledger.journal.upgrade import upgrade

    root = find_root(workspace)
    book = read_rules(root)
    refuse_broken_firm(book)
    done = upgrade(database_url(root, book), root / "backups", clock=now, salts=fresh_salt)
    if as_json:
        print_json({
            "from": done.before, "to": done.after, "backup": str(done.backup or ""),
            "guard_mended": list(done.mended),
        })  # fmt: skip
        return DONE
    if done.backup is None:
        click.echo(f"the ledger is of this version already ({done.after})")
        return DONE
    click.echo(f"upgraded from {done.before} to {done.after}; backup: {done.backup}")
    for part in done.mended:
        click.echo(f"put back into the guard: {part}")
    if done.mended:
        click.echo(
            "Somebody changed the database itself: run useledger verify with kept seal codes."
        )
    return DONE
