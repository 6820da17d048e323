"""Held lines: show, fix, drop."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ledger.cli.applicator import exit_code, recorded_json, recorded_text, say_refused
from ledger.cli.common import (
    COULD_NOT,
    DONE,
    OWED,
    EntryNumber,
    fault_json,
    group_options,
    name_of,
    print_json,
    read_file,
    say_error,
    shared,
    stop,
)  # fmt: skip
from ledger.cli.printing import counted, filled
from ledger.flow.workspace import open_workspace
from ledger.values.finding import render_fault

if TYPE_CHECKING:
    from ledger.flow.holding import Fixed, Held
    from ledger.flow.workspace import Workspace


@click.group("held", invoke_without_command=True)
@group_options
@click.pass_context
def held_command(ctx: click.Context, /, **_: object) -> None:
    """Show, put right or drop held lines.

    \b
    Examples:
      useledger held
      useledger held fix 41 amount="2 fl oz"
      useledger held fix --sheet corrected.csv
      useledger held drop 41 --because "typed twice" --by calloway
    """
    if ctx.invoked_subcommand is None:
        ctx.invoke(show_command, workspace=ctx.params["workspace"], as_json=ctx.params["as_json"])


@held_command.command("show")
@shared
def show_command(workspace: str | None = None, as_json: bool = False) -> int:
    """List the held lines with their cells and faults.

    \b
    Example:
      useledger held show
    """
    from ledger.flow.holding import held_lines

    lines = held_lines(open_workspace(workspace))
    if as_json:
        print_json([
            {
                "held": line.seq, "place": line.origin.place(), "days": list(line.days),
                "cells": dict(line.cells), "faults": [fault_json(fault) for fault in line.faults],
            }
            for line in lines
        ])  # fmt: skip
        return OWED if lines else DONE
    if not lines:
        click.echo("Nothing is held.")
        return DONE
    click.echo("\n\n".join(_held_text(line) for line in lines))
    first = lines[0].seq
    click.echo(
        f"\n{counted(len(lines), 'held line')}. Put one right, or drop it:\n"
        f"  useledger held fix {first} COLUMN=VALUE\n"
        f'  useledger held drop {first} --because "..." --by PERSON'
    )
    return OWED


def _held_text(line: Held) -> str:
    """Return a held line: what is wrong with it, then its cells in the order of a day sheet."""
    from ledger.values.draft import APPLICATION_HEADINGS

    blocks = ", ".join(line.days) or "no day"
    known = [name for name in APPLICATION_HEADINGS if name in line.cells]
    order = [*known, *(name for name in line.cells if name not in known)]
    cells = "; ".join(f"{name}: {line.cells[name]}" for name in order)
    faults = [filled(render_fault(fault), "    ", "      ") for fault in line.faults]
    head = f"held {line.seq}  {line.origin.place()}  blocks the close of {blocks}"
    return "\n".join([head, *faults, filled(cells, "    ", "    ")])


@held_command.command("fix")
@click.argument("arguments", nargs=-1, metavar="[HELD COLUMN=VALUE ...]")
@click.option("--sheet", type=click.Path(path_type=Path), help="A corrected sheet.")
@click.option("--second", is_flag=True, help="It is a second application, not the same again.")
@click.option(
    "--amends", type=EntryNumber(), metavar="ENTRY", help="It corrects this booked entry."
)
@click.option("--because", default="", help="The reason, with --amends.")
@click.option("--by", metavar="PERSON", default="", help="Who puts it right.")
@shared
def fix_command(
    arguments: tuple[str, ...], workspace: str | None, as_json: bool, **options: object
) -> int:
    """Put a held line right with a value, an answer or a corrected sheet.

    \b
    Examples:
      useledger held fix 41 amount="2 fl oz" basis=product
      useledger held fix 41 --second
      useledger held fix 41 --amends 17 --because "decimal slipped" --by calloway
      useledger held fix --sheet corrected.csv
    """
    opened = open_workspace(workspace)
    by = opened.require_person(str(options["by"])) if options["by"] else ""
    sheet = options["sheet"]
    if isinstance(sheet, Path):
        from ledger.flow.holding import fix_by_sheet

        done = fix_by_sheet(opened, name_of(sheet), read_file(sheet), by)
        return _show_fixed(done, as_json=as_json)
    seq = _held_number(arguments)
    if isinstance(options["amends"], int):
        return _amend(opened, seq, options["amends"], (str(options["because"]), by), as_json)
    from ledger.flow.holding import fix_held, read_changes

    changes = read_changes(arguments[1:])
    second = bool(options["second"])
    if not changes and not second:
        stop('say what to change, for example: useledger held fix 41 amount="2 fl oz"')
    return _show_fixed(fix_held(opened, seq, changes, second=second, by=by), as_json=as_json)


def _held_number(arguments: tuple[str, ...]) -> int:
    if not arguments or not arguments[0].isdecimal():
        stop('name the held line first, for example: useledger held fix 41 amount="2 fl oz"')
    return int(arguments[0])


def _amend(opened: Workspace, seq: int, target: int, why: tuple[str, str], as_json: bool) -> int:
    from ledger.cli.correcting import show_corrected
    from ledger.flow.correcting import amend_by_held

    because, by = why
    if not by:
        stop("an amendment names who makes it: add --by PERSON")
    return show_corrected(amend_by_held(opened, seq, target, because, by), as_json=as_json)


def _show_fixed(fixed: Fixed, *, as_json: bool) -> int:
    refused = bool(fixed.recorded and fixed.recorded.faults)
    nothing = refused or (bool(fixed.still) and fixed.recorded is None)
    if as_json:
        print_json({
            "recorded": recorded_json(fixed.recorded) if fixed.recorded else None,
            "still_held": [
                {"held": seq, "faults": [fault_json(fault) for fault in faults]}
                for seq, faults in fixed.still
            ],
            "unmatched": list(fixed.unmatched),
        })  # fmt: skip
    else:
        _tell_fixed(fixed, nothing)
    if nothing:
        return COULD_NOT
    booked = exit_code(fixed.recorded) if fixed.recorded is not None else DONE
    return OWED if fixed.still or fixed.unmatched else booked


def _tell_fixed(fixed: Fixed, nothing: bool) -> None:
    """Say what became of held lines; where nothing was done, on standard error."""
    for seq, faults in fixed.still:
        for fault in faults:
            click.echo(render_fault(fault), err=nothing)
        if nothing:
            say_error(f"held {seq} is still held; nothing of it was changed")
        else:
            click.echo(f"held {seq} is still held; nothing of it was changed")
    if fixed.recorded is not None and fixed.recorded.faults:
        say_refused(fixed.recorded)
    elif fixed.recorded is not None:
        click.echo(recorded_text(fixed.recorded, advice=True, booked="booked"))
    if fixed.unmatched:
        rest = ", ".join(str(seq) for seq in fixed.unmatched)
        click.echo(f"held and not in that sheet: {rest}")


@held_command.command("drop")
@click.argument("held", type=EntryNumber())
@click.option("--because", required=True, help="The reason, kept in the ledger.")
@click.option("--by", metavar="PERSON", required=True, help="Who drops it.")
@shared
def drop_command(held: int, because: str, by: str, workspace: str | None, as_json: bool) -> int:
    """Drop a held line that is no application; its cells stay kept.

    \b
    Example:
      useledger held drop 41 --because "typed twice" --by calloway
    """
    from ledger.flow.holding import drop_held

    opened = open_workspace(workspace)
    entry = drop_held(opened, held, because, opened.require_person(by))
    if as_json:
        print_json({"held": held, "dropped_by_entry": entry.seq})
    else:
        click.echo(f"held {held} is dropped (entry {entry.seq}); its cells stay readable")
    return DONE
