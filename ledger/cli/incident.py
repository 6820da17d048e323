"""Incidents: first call for help, then write it down."""

from __future__ import annotations

import sys
from datetime import time
from typing import TYPE_CHECKING, Any

import click

from ledger.cli.common import DONE, guarded, print_json, read_day, shared, stop
from ledger.flow.workspace import open_workspace

if TYPE_CHECKING:
    from ledger.flow.incidents import Recorded


@click.group("incident", invoke_without_command=True)
@click.option("--json", "as_json", is_flag=True, help="Print results as JSON.")
@click.option("--workspace", metavar="DIR", help="The workspace.")
@click.pass_context
def incident_command(ctx: click.Context, /, **said: Any) -> None:  # noqa: ANN401 - click's options
    """Call for help first; then record what happened.

    Record a spill, an exposure, a complaint or damage; without more, list them.

    \b
    CALL FIRST: emergency services, poison control, the regulator of the place. Then record.
    Example:
      useledger incident record spill --on 2026-01-14 --at 10:20 --what "jar broke in the truck"
        --done "swept up, bagged" --product ridgeline-dust --amount "3 oz" --by renner
    """
    if ctx.invoked_subcommand is None:
        sys.exit(guarded(_list, **said))


def _list(*, as_json: bool, workspace: str | None) -> int:
    from ledger.flow.incidents import list_incidents

    rows = list_incidents(open_workspace(workspace))
    if as_json:
        print_json([_values(row) for row in rows])
        return DONE
    _caution()
    for row in rows:
        click.echo(_text(row))
    if not rows:
        click.echo("No incident is recorded.")
    return DONE


def _caution() -> None:
    """Say the caution on standard error, before anything else and never among results."""
    from ledger.flow.incidents import CAUTION

    for line in CAUTION:
        click.echo(line, err=True)


@incident_command.command("record")
@click.argument("kind")
@click.option("--on", metavar="DATE", required=True, help="The day, local at the place.")
@click.option("--at", metavar="HH:MM", help="The time of day, if known.")
@click.option("--where", default="", help="Where, in words; kept apart.")
@click.option("--site", metavar="KEY", help="A site by its key, or part of its street.")
@click.option("--what", required=True, help="What happened; kept apart.")
@click.option("--done", required=True, help="What was done, who was told and when; kept apart.")
@click.option("--people", default="", help="Who was hurt or exposed, if anybody; kept apart.")
@click.option("--product", metavar="P", help="A product by registration number or label id.")
@click.option("--amount", default="", help="How much of it, as 3 oz.")
@click.option("--by", metavar="PERSON", required=True, help="Who records it.")
@shared
def record_command(kind: str, workspace: str | None, as_json: bool, **said: Any) -> int:  # noqa: ANN401 - click's options
    """Record an incident: spill, exposure, complaint or property damage."""
    from ledger.cli.asking import product_of, site_of
    from ledger.flow.incidents import KINDS, IncidentWish, record_incident

    _caution()
    wanted = " ".join(kind.casefold().replace("-", " ").split())
    if wanted not in KINDS:
        stop(f'"{kind}" is no kind of incident; name one of {", ".join(KINDS)}')
    opened = open_workspace(workspace)
    done = record_incident(opened, IncidentWish(
        wanted, read_day(said["on"], "--on"), _time(said["at"]), opened.require_person(said["by"]),
        said["what"], said["done"], said["where"], said["people"],
        site_of(opened, said["site"]) if said["site"] else None,
        product_of(opened, said["product"]) if said["product"] else None, said["amount"],
    ))  # fmt: skip
    if as_json:
        print_json(_values(done))
    else:
        click.echo(_text(done))
    return DONE


def _time(text: str | None) -> time | None:
    if not text:
        return None
    try:
        return time.fromisoformat(text)
    except ValueError:
        return stop(f'--at: "{text}" is not a time; write it as 10:20')


def _text(row: Recorded) -> str:
    from ledger.values.finding import RuleRef

    def place(ref: RuleRef) -> str:
        return f"[{ref.file}:{ref.line} {ref.source}]"

    body = row.entry.body
    when = f"{body['date']} {body['at'] or ''}".strip()
    lines = [f"entry {row.entry.seq}: {body['incident']}, {when}, {body['jurisdiction']}"]
    for clock in row.clocks:
        state = {True: "reached", False: "not reached", None: "cannot tell"}[clock.reached]
        unsure = "" if clock.rule.read.decides else "unverified: "
        ends = f"; {clock.ends}" if clock.ends else ""
        to = f", to {clock.rule.to}" if clock.rule.to else ""
        lines.append(
            f"   {state}: {unsure}{clock.rule.what}{to}: {clock.rule.says}{ends} "
            f"{place(clock.rule.ref)}"
        )
    if not row.clocks:
        lines.append(f"   law not read for {body['jurisdiction']}: ask the agency of the place")
    return "\n".join(lines)


def _values(row: Recorded) -> dict[str, Any]:
    body = row.entry.body
    return {
        "entry": row.entry.seq, **body, "by": row.entry.by, "law_read": bool(row.clocks),
        "clocks": [
            {
                "name": clock.rule.name, "what": clock.rule.what, "to": clock.rule.to,
                "says": clock.rule.says, "reached": clock.reached, "ends": clock.ends,
                "source": clock.rule.ref.source, "read": str(clock.rule.read),
            }
            for clock in row.clocks
        ],
    }  # fmt: skip
