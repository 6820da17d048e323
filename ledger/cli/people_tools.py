"""The tools of the workspace: what they hold, and what each gives by its newest weighing."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import click

from ledger.cli.common import DONE, print_json, read_day, shared
from ledger.cli.printing import table
from ledger.flow.workspace import FIRM_FILE, open_workspace

if TYPE_CHECKING:
    from ledger.values.amount import Quantity
    from ledger.values.firm import Calibration, Tool

_FIELDS = ("key", "kind", "empty", "holds", "product", "gives", "weighed", "state")
_HEADINGS = ("Key", "Kind", "Empty", "Holds", "Product", "Gives", "Weighed on", "State")


@click.command("tools")
@click.option("--on", metavar="DATE", help="How they stand on that day (else today).")
@shared
def tools_command(on: str | None, workspace: str | None, as_json: bool) -> int:
    """List tools, what they hold and what a puff or a dab weighs.

    \b
    Tools stand in useledger.toml as [[tool]], each weighing as [[tool.calibration]]. Of each
    product the newest weighing up to the day counts. One older than a year is no fault: an
    estimate by it says so. Example:
      useledger people tools --on 2026-02-01
    """
    opened = open_workspace(workspace)
    day = read_day(on, "--on") if on else opened.today()
    firm = opened.book.firm
    rows = [row for tool in firm.tools for row in _rows(tool, day)]
    if as_json:
        print_json({"on": day.isoformat(), "tools": rows})
        return DONE
    if not rows:
        click.echo(f"no tool stands in {FIRM_FILE}: write it as [[tool]], with its kind")
        return DONE
    click.echo(f"Tools of {firm.name} on {day} (from {FIRM_FILE})\n")
    click.echo(table(_HEADINGS, [[row[name] for name in _FIELDS] for row in rows]))
    return DONE


def _rows(tool: Tool, day: date) -> list[dict[str, Any]]:
    """Return a row for each product that the tool was weighed with, or one without a product."""
    base = {
        "key": tool.key, "kind": tool.kind, "empty": _said(tool.empty), "holds": _said(tool.holds),
    }  # fmt: skip
    newest: dict[tuple[str, str], Calibration] = {}
    for item in sorted(tool.calibrations, key=lambda item: item.on):
        if item.on <= day:
            newest[item.product, item.per] = item
    if not newest:
        state = "not weighed yet" if tool.calibrations else "no calibration"
        return [{**base, "product": "", "gives": "", "weighed": "", "state": state}]
    return [
        {
            **base, "product": item.product, "gives": f"{_said(item.gives)} a {item.per}",
            "weighed": item.on.isoformat(), "state": _state(item, day),
        }
        for item in newest.values()
    ]  # fmt: skip


def _state(item: Calibration, day: date) -> str:
    from ledger.checks.practice import is_old

    return "older than a year: weigh it again" if is_old(item.on, day) else "holds"


def _said(quantity: Quantity | None) -> str:
    from ledger.checks.say import said

    return "" if quantity is None else said(quantity)
