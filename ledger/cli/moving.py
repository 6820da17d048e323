"""The keeper's commands that make a workspace again or take it elsewhere."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ledger.cli.common import DONE, OWED, print_json, shared
from ledger.flow.workspace import open_workspace

if TYPE_CHECKING:
    from ledger.flow.workspace import Workspace

EXPORT_PAGE = """\
This folder is a whole ledger in open formats. No program is needed to read it.

  applications.csv   every application and every version of it, for a spreadsheet
  journal.jsonl      every entry, one line of JSON each, exactly as it was sealed
  private.jsonl      the names, addresses and free texts that entries hold as a salted digest
  blobs.jsonl blobs/ the bytes kept as they came (sheets, rule files, filed reports) by SHA-256
  ledger.json        how many entries there are and the seal of the last
  schemas/           JSON schemas of these files
  workspace/         the firm file and the rule files
  SHA256SUMS         the SHA-256 of every file

To check that nothing was changed on the way:

    sha256sum -c SHA256SUMS

To check the chain: the SHA-256 of each line of journal.jsonl (without its line end) is the "prev"
of the next line, and that of the last line is the seal in ledger.json:

    tail -n 1 journal.jsonl | tr -d '\\n' | sha256sum

To take the ledger up again: useledger import THIS-FOLDER NEW-FOLDER --by PERSON
"""


@click.command("restore")
@click.argument("backup", type=click.Path(path_type=Path))
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--database", default="", metavar="URL", help="Restore into this empty database.")
@click.option("--json", "as_json", is_flag=True, help="Print results as JSON.")
def restore_command(backup: Path, folder: Path, database: str, as_json: bool) -> None:
    """Make a workspace from a backup.

    Make a workspace from a backup, verified, in a new or an empty folder.

    \b
    The firm file and the rule files are those that the ledger kept. Example:
      useledger restore D:/backups/ledger-2026-01-31.db "my firm again"
    """
    import sys

    from ledger.cli.common import guarded

    sys.exit(guarded(_restore, backup, folder, database, as_json=as_json))


def _restore(backup: Path, folder: Path, database: str, *, as_json: bool) -> int:
    from ledger.flow.keeping import restore_backup

    done = restore_backup(backup, folder, database)
    if as_json:
        print_json({
            "workspace": str(folder), "entries": done.head.seq, "seal": done.head.seal,
            "newest": done.at, "files": list(done.files),
        })  # fmt: skip
        return DONE
    click.echo(f"{folder}: {done.head.seq} entries, verified; the newest was sealed {done.at}")
    click.echo(f"files as the ledger kept them: {', '.join(done.files)}")
    click.echo(
        "What was recorded after that moment is not in the backup: hand those sheets in again, "
        "and run useledger verify --seal with the newest seal code on paper."
    )
    return DONE


@click.command("export")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--moving", is_flag=True, help="The ledger goes on elsewhere: record no more here.")
@click.option("--by", metavar="PERSON", default="", help="Who moves it (with --moving).")
@shared
def export_command(
    folder: Path, moving: bool, by: str, workspace: str | None, as_json: bool
) -> int:
    """Write the ledger in open formats; move it elsewhere.

    Write the whole ledger in open formats: CSV, JSON Lines, kept files, JSON schemas.

    \b
    Examples:
      useledger export "ledger 2026"
      useledger export moving-out --moving --by calloway
    """
    from ledger.cli.common import stop
    from ledger.flow.keeping import export_ledger

    opened = open_workspace(workspace)
    if moving and not by:
        stop("a ledger is moved by a person; add --by PERSON")
    person = opened.require_person(by) if by else ""
    head = export_ledger(opened, folder, export_papers(opened), person if moving else "")
    if as_json:
        print_json({"folder": str(folder), "entries": head.seq, "seal": head.seal,
                    "moved": moving})  # fmt: skip
        return DONE
    click.echo(f"{folder}: {head.seq} entries; the seal of the last is {head.seal[:16]}...")
    if moving:
        click.echo(
            "This ledger records no more. Take the export up elsewhere with useledger import."
        )
    return DONE


def export_papers(workspace: Workspace) -> dict[str, bytes]:
    """Return the files of an export that are for people: the table, the page, the schemas."""
    from importlib.resources import files

    from ledger.cli.entries import long_entries_of
    from ledger.flow.listing import stream_entries
    from reports.csv_file import sheet_csv

    with workspace.store.reading() as reader:
        sheet, _ = long_entries_of(workspace, stream_entries(reader, {}, versions=True))
        applications = sheet_csv(sheet)
    papers = {
        "applications.csv": applications,
        "README.txt": EXPORT_PAGE.encode("utf-8"),
    }
    for item in (files("ledger.journal") / "schemas").iterdir():
        if item.name.endswith(".json"):
            papers[f"schemas/{item.name}"] = item.read_bytes()
    return papers


@click.command("import")
@click.argument("export", type=click.Path(path_type=Path))
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--by", metavar="PERSON", required=True, help="Who takes the ledger up.")
@click.option("--database", default="", metavar="URL", help="Take it up in this empty database.")
@click.option("--json", "as_json", is_flag=True, help="Print results as JSON.")
def import_command(export: Path, folder: Path, by: str, database: str, as_json: bool) -> None:
    """Take an exported ledger up in a new workspace.

    Make a workspace from an export: the same digests and seals, on SQLite or PostgreSQL.

    \b
    Its first new entry says which seal it continues from. Exit code 1: the ledger it came from was
    not moved and could still be recorded in. Examples:
      useledger import moving-out "my firm" --by calloway
      useledger import moving-out firm --by calloway --database postgresql+psycopg://me@host/book
    """
    import sys

    from ledger.cli.common import guarded

    sys.exit(guarded(_import, export, folder, by, database, as_json=as_json))


def _import(export: Path, folder: Path, by: str, database: str, *, as_json: bool) -> int:
    from ledger.flow.keeping import import_ledger
    from ledger.flow.workspace import read_rules
    from ledger.values.finding import render_fault

    done = import_ledger(export, folder, by, database)
    for fault in read_rules(folder).faults:
        click.echo(f"useledger: warning: {render_fault(fault)}", err=True)
    if as_json:
        print_json({
            "workspace": str(folder), "from_entry": done.exported.seq,
            "from_seal": done.exported.seal, "entries": done.head.seq, "seal": done.head.seal,
            "moved": done.moved,
        })  # fmt: skip
    else:
        click.echo(
            f"{folder}: {done.exported.seq} entries with their seals; entry {done.head.seq} says "
            f"that the ledger continues from seal {done.exported.seal[:16]}..."
        )
    if done.moved:
        return DONE
    if not as_json:
        click.echo(
            "The ledger this came from was not moved (export --moving): it could still be "
            "recorded in, and two ledgers cannot be joined again. Record in one of them only."
        )
    return OWED
