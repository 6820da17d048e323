"""The licensee's Monday: what is overdue, and what falls due."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from ledger.cli.common import DONE, OWED, print_json, read_day, shared, stop
from ledger.cli.printing import filled
from ledger.flow.workspace import open_workspace

if TYPE_CHECKING:
    from ledger.deadlines import Owing


@click.command("due")
@click.option("--on", metavar="DATE", help="As of that day (else today).")
@click.option("--ahead", default="30d", show_default=True, help="How far to look: 30d, 2 weeks.")
@shared
def due_command(workspace: str | None, as_json: bool, on: str | None, ahead: str) -> int:
    """What is overdue, and what falls due.

    List everything owed: overdue first, then by day, each with its source and its command.

    \b
    Reports, records that lack something, customer papers, held lines, open days, questions,
    licences, registrations, rule files to compare again, and how long records are kept.
    Where general law would move a closed day, go by the earlier one.
    Examples:
      useledger due
      useledger due --on 2026-02-09 --ahead "2 weeks"
    """
    from ledger.deadlines import read_ahead
    from ledger.flow.due import what_is_due

    days = read_ahead(ahead)
    if days is None:
        stop(f'--ahead: "{ahead}" is no stretch of days; write 30d or "2 weeks"')
    opened = open_workspace(workspace)
    day = read_day(on, "--on") if on else opened.today()
    found = what_is_due(opened, day, days)
    if as_json:
        print_json([_json(item) for item in found])
    elif not found:
        click.echo(f"Nothing is owed on {day}, and nothing falls due within {days} days.")
    else:
        click.echo("\n".join(_text(item) for item in found))
    return OWED if any(item.late for item in found) else DONE


def _json(item: Owing) -> dict[str, Any]:
    return {
        "sort": item.sort.text, "day": item.day.isoformat(), "overdue": item.late,
        "extended": item.extended.isoformat() if item.extended else None, "what": item.what,
        "why": item.why, "source": item.source, "sure": item.sure, "command": item.command,
    }  # fmt: skip


def _text(item: Owing) -> str:
    state = "OVERDUE " if item.late else ""
    unsure = "unverified: " if not item.sure else ""
    return "\n".join(
        (
            filled(f"{item.day}  {state}{item.sort.text}: {unsure}{item.what}", "", "    "),
            filled(f"{item.why} [{item.source}]", "    ", "    "),
            f"    -> {item.command}",
        )
    )
