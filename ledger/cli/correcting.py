"""Corrections: amend and strike."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from ledger.cli.common import (
    COULD_NOT,
    DONE,
    OWED,
    EntryNumber,
    fault_json,
    finding_json,
    print_json,
    say_error,
    shared,
    show_finding,
    stop,
)  # fmt: skip
from ledger.flow.workspace import open_workspace
from ledger.values.finding import Kind, render_fault

if TYPE_CHECKING:
    from ledger.flow.correcting import Corrected


@click.command("amend")
@click.argument("entry", type=EntryNumber())
@click.argument("changes", nargs=-1, metavar="COLUMN=VALUE ...")
@click.option("--because", required=True, help="Why; kept with the amendment.")
@click.option("--by", metavar="PERSON", required=True, help="Who corrects it.")
@shared
def amend_command(
    entry: int, changes: tuple[str, ...], because: str, by: str, workspace: str | None,
    as_json: bool,
) -> int:  # fmt: skip
    """Correct a booked record; the original stays.

    \b
    Columns are those of the day sheet. Examples:
      useledger amend 17 amount="0.25 oz" --because "decimal slipped" --by calloway
      useledger amend 24 prepared="fans off" --because "asked Renner" --by calloway
    """
    from ledger.flow.correcting import amend
    from ledger.flow.holding import read_changes

    if not changes:
        stop('say what to change, for example: useledger amend 17 amount="0.25 oz" ...')
    opened = open_workspace(workspace)
    done = amend(opened, entry, read_changes(changes), because, opened.require_person(by))
    return show_corrected(done, as_json=as_json)


def show_corrected(done: Corrected, *, as_json: bool) -> int:
    """Print what a correction did; return the exit code."""
    found = any(finding.kind is not Kind.ADVICE for finding in done.findings)
    if as_json:
        print_json({
            "old": done.old, "entry": done.entry.seq if done.entry else None,
            "changes": done.changes, "judged_again": done.judged_again,
            "faults": [fault_json(fault) for fault in done.faults],
            "findings": [finding_json(finding) for finding in done.findings],
        })  # fmt: skip
    elif done.faults or done.entry is None:
        for fault in done.faults:
            click.echo(render_fault(fault), err=True)
        say_error(f"entry {done.old} stands as it was; the corrected line could not be booked")
    else:
        click.echo(f"entry {done.entry.seq} replaces {done.old}: {done.changes}")
        for finding in done.findings:
            click.echo(show_finding(finding, f"entry {done.entry.seq}"))
        _tell_again(done)
    if done.entry is None:
        return COULD_NOT
    return OWED if found else DONE


def _tell_again(done: Corrected) -> None:
    if done.judged_again == 1:
        click.echo("1 other entry at the site was judged again")
    elif done.judged_again:
        click.echo(f"{done.judged_again} other entries at the site were judged again")


@click.command("strike")
@click.argument("entry", type=EntryNumber())
@click.option("--because", required=True, help="Why; kept with the strike.")
@click.option("--by", metavar="PERSON", required=True, help="Who strikes it.")
@shared
def strike_command(entry: int, because: str, by: str, workspace: str | None, as_json: bool) -> int:
    """Strike a record that should not exist.

    \b
    It stays readable and leaves every sum.
    Example:
      useledger strike 17 --because "booked for the wrong firm" --by calloway
    """
    from ledger.flow.correcting import strike

    opened = open_workspace(workspace)
    done = strike(opened, entry, because, opened.require_person(by))
    assert done.entry is not None
    if as_json:
        print_json({"old": done.old, "entry": done.entry.seq, "judged_again": done.judged_again})
    else:
        click.echo(f"entry {done.old} is struck by entry {done.entry.seq}; it stays readable")
        _tell_again(done)
    return DONE
