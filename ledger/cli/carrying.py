"""Years kept in a spreadsheet, carried over."""

from __future__ import annotations

from pathlib import Path

import click

from ledger.cli.common import (
    COULD_NOT,
    DONE,
    OWED,
    fault_json,
    name_of,
    print_json,
    read_file,
    shared,
)
from ledger.flow.workspace import open_workspace
from ledger.values.finding import render_fault


@click.command("carry-over")
@click.argument("sheet", type=click.Path(path_type=Path))
@click.option("--by", metavar="PERSON", required=True, help="Who carries the records over.")
@shared
def carry_over_command(sheet: Path, by: str, workspace: str | None, as_json: bool) -> int:
    """Carry over years kept in a spreadsheet.

    Carry over past years kept elsewhere, in the day sheet's own columns.

    \b
    Sealed as carried over: counted in limits and in reports, never called late, never judged.
    Only days before this ledger began. Lines that cannot be read are named and left out; put the
    sheet right and hand it in again. Example:
      useledger carry-over 2023-to-2025.xlsx --by calloway
    """
    from ledger.flow.carrying import carry_over

    opened = open_workspace(workspace)
    done = carry_over(opened, name_of(sheet), read_file(sheet), opened.require_person(by))
    faults = [*done.faults, *(fault for line in done.left for fault in line.faults)]
    if as_json:
        print_json({
            "carried_over": list(done.seqs), "taken": done.taken, "left_out": len(done.left),
            "observations": done.observations, "judged_again": done.judged_again,
            "faults": [fault_json(fault) for fault in faults],
        })  # fmt: skip
    else:
        for fault in faults:
            click.echo(render_fault(fault))
        click.echo(
            f"{name_of(sheet)}: {len(done.seqs)} carried over, {done.taken} were before, "
            f"{len(done.left)} left out"
        )
    if done.faults:
        return COULD_NOT
    return OWED if done.left else DONE
