"""People and sites."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from ledger.cli.common import DONE, OWED, print_json, read_day, shared, table
from ledger.flow.workspace import FIRM_FILE, open_workspace

if TYPE_CHECKING:
    from datetime import date

    from ledger.values.firm import Person


@click.command("people")
@click.option("--on", metavar="DATE", help="State of the licences on that day (else today).")
@shared
def people_command(on: str | None, workspace: str | None, as_json: bool) -> int:
    """List the people of the workspace and whether their licences hold.

    \b
    People stand in useledger.toml; edit it there, then look here.
    Example:
      useledger people --on 2026-02-01
    """
    opened = open_workspace(workspace)
    day = read_day(on, "--on") if on else opened.today()
    rows = [row for person in opened.book.firm.people for row in _licences(person, day)]
    if as_json:
        print_json({"on": day.isoformat(), "licences": rows})
    else:
        click.echo(f"People of {opened.book.firm.name} on {day} (from {FIRM_FILE})\n")
        headings = ("key", "name", "licence", "title", "place", "work", "from", "to", "state")
        click.echo(table(headings, [[row[heading] for heading in headings] for row in rows]))
    return OWED if any(row["state"] == "lapsed" for row in rows) else DONE


def _licences(person: Person, day: date) -> list[dict[str, Any]]:
    if not person.licences:
        return [dict.fromkeys(("licence", "title", "place", "work", "from", "to"), "")
                | {"key": person.key, "name": person.name, "state": "no licence"}]  # fmt: skip
    rows = []
    for licence in person.licences:
        start, end = licence.span.start, licence.span.end
        state = "holds" if licence.span.holds(day) else "lapsed"
        if start is not None and day < start:
            state = "not yet"
        elif state == "holds" and end is not None and (end - day).days <= 60:
            state = f"ends in {(end - day).days} days"
        rows.append({
            "key": person.key, "name": person.name, "licence": licence.number,
            "title": licence.title, "place": licence.jurisdiction, "work": ", ".join(licence.work),
            "from": start or "", "to": end or "", "state": state,
        })  # fmt: skip
    return rows


@click.group("sites", invoke_without_command=True)
@click.pass_context
def sites_command(ctx: click.Context) -> None:
    """List sites, and answer whether two are the same place.

    \b
    A site that looks like another one is in doubt: its intervals and counts cannot be told until
    the question is answered, once.
    Examples:
      useledger sites
      useledger sites same S0014 --by calloway
      useledger sites apart S0014 --by calloway
    """
    if ctx.invoked_subcommand is None:
        ctx.invoke(list_command)


@sites_command.command("list")
@shared
def list_command(workspace: str | None = None, as_json: bool = False) -> int:
    """List the sites of the ledger."""
    from ledger.flow.site_questions import list_sites

    rows = list_sites(open_workspace(workspace))
    values = [
        {
            "key": row.site.key, "street": row.site.address.street, "unit": row.site.address.unit,
            "city": row.site.address.city, "state": row.site.address.state,
            "zip": row.site.address.zip, "county": row.site.county, "kind": row.site.kind,
            "applications": row.applications,
            "question": _question(row.site.doubt, row.site.same_as),
        }
        for row in rows
    ]  # fmt: skip
    if as_json:
        print_json(values)
    elif not values:
        click.echo("No sites yet. They are made from the addresses of recorded lines.")
    else:
        headings = tuple(values[0])
        cells = [[row[heading] for heading in headings] for row in values]
        click.echo(table(headings, cells, right=(8,)))
    return OWED if any(row.site.doubt for row in rows) else DONE


def _question(doubt: str | None, same_as: str | None) -> str:
    if doubt:
        return f"the same place as {doubt}?"
    return f"the same place as {same_as}" if same_as else ""


@sites_command.command("same")
@click.argument("key")
@click.option("--by", metavar="PERSON", required=True, help="Who says so.")
@shared
def same_command(key: str, by: str, workspace: str | None, as_json: bool) -> int:
    """Say that a site in doubt is the place it resembles; its records move there by amendment."""
    from ledger.flow.site_questions import answer_same

    opened = open_workspace(workspace)
    kept, amended = answer_same(opened, key.upper(), opened.require_person(by))
    if as_json:
        print_json({"site": key.upper(), "same_as": kept, "amendments": amended})
    else:
        click.echo(f"{key.upper()} is {kept}; {len(amended)} records were amended to it")
    return DONE


@sites_command.command("apart")
@click.argument("key")
@click.option("--by", metavar="PERSON", required=True, help="Who says so.")
@shared
def apart_command(key: str, by: str, workspace: str | None, as_json: bool) -> int:
    """Say that a site in doubt is a place of its own."""
    from ledger.flow.site_questions import answer_apart

    opened = open_workspace(workspace)
    again = answer_apart(opened, key.upper(), opened.require_person(by))
    if as_json:
        print_json({"site": key.upper(), "judged_again": again})
    else:
        click.echo(f"{key.upper()} is a place of its own; {again} entries were judged again")
    return DONE
