"""Sites: listed, shown with what was done there, and answered for."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from ledger.cli.common import DONE, OWED, group_options, print_json, shared
from ledger.cli.printing import counted, filled, table
from ledger.flow.workspace import open_workspace

if TYPE_CHECKING:
    from ledger.flow.site_questions import SiteSeen
    from ledger.values.site import Site


@click.group("sites", invoke_without_command=True)
@group_options
@click.pass_context
def sites_command(ctx: click.Context, /, **_: object) -> None:
    """List sites, and answer whether two are the same place.

    \b
    A site that looks like another one is in doubt: intervals and counts cannot be told at either
    until the question is answered, once.
    Examples:
      useledger sites
      useledger sites show S0003
      useledger sites same S0014 --by calloway
      useledger sites apart S0014 --by calloway
    """
    if ctx.invoked_subcommand is None:
        ctx.invoke(list_command, workspace=ctx.params["workspace"], as_json=ctx.params["as_json"])


@sites_command.command("list")
@shared
def list_command(workspace: str | None = None, as_json: bool = False) -> int:
    """List the sites of the ledger.

    \b
    Example:
      useledger sites list
    """
    from ledger.flow.site_questions import list_sites

    rows = list_sites(open_workspace(workspace))
    values = [
        {
            "key": row.site.key, "street": row.site.address.street, "unit": row.site.address.unit,
            "city": row.site.address.city, "state": row.site.address.state,
            "zip": row.site.address.zip, "county": row.site.county, "kind": row.site.kind,
            "applications": row.applications,
            "question": _question(row.site),
        }
        for row in rows
    ]  # fmt: skip
    if as_json:
        print_json(values)
    elif not values:
        click.echo("No sites yet. They are made from the addresses of recorded lines.")
    else:
        cells = [
            [
                row.site.key, _where(row.site), row.site.address.zip, row.site.county,
                row.site.kind, row.applications, _question(row.site),
            ]
            for row in rows
        ]  # fmt: skip
        click.echo(table(_HEADINGS, cells, right=(5,)))
        doubtful = [row.site.key for row in rows if row.site.doubt]
        if doubtful:
            click.echo(
                f"\nAnswer once: useledger sites same {doubtful[0]} --by PERSON, "
                f"or useledger sites apart {doubtful[0]} --by PERSON"
            )
    return OWED if any(row.site.doubt for row in rows) else DONE


_HEADINGS = ("Key", "Address", "ZIP", "County", "Kind", "Entries", "Question")


def _where(site: Site) -> str:
    """Return a site's address in one line, without its ZIP code."""
    address = site.address
    return ", ".join(text for text in (address.street, address.unit, address.city) if text)


def _question(site: Site) -> str:
    """Return what is asked of a site, or was answered; empty where it stands alone."""
    asked = [f"the same place as {site.doubt}?"] if site.doubt else []
    asked += [f"is {key} this place?" for key in site.asked_by]
    told = [f"the same place as {site.same_as}"] if site.same_as else []
    return "; ".join(asked + told)


@sites_command.command("show")
@click.argument("key")
@shared
def show_command(key: str, workspace: str | None, as_json: bool) -> int:
    """Show a site and what was done and seen there, by key or part of its street.

    \b
    Examples:
      useledger sites show S0003
      useledger sites show "Idaho Bar"
    """
    from ledger.cli.asking import site_of
    from ledger.cli.entries import entries_text, entry_rows
    from ledger.flow.listing import list_entries
    from ledger.flow.site_questions import site_seen
    from reports.entries import entries_values

    opened = open_workspace(workspace)
    wanted = site_of(opened, key)
    seen = site_seen(opened, wanted)
    rows = entry_rows(opened, list_entries(opened, {"site": wanted}))
    if as_json:
        print_json({
            **_site_json(seen), **entries_values(rows, opened.book.units),
            "observations": list(seen.observations),
        })  # fmt: skip
        return OWED if seen.site.questions else DONE
    site = seen.site
    click.echo(f"{site.key}  {_where(site)}, {site.address.state} {site.address.zip}")
    click.echo(f"{site.kind or 'kind not told'}; {site.county or 'no county'}, {site.jurisdiction}")
    question = _question(site)
    if question:
        click.echo(question)
    click.echo("\n" + (entries_text(opened, rows) if rows else "Nothing was applied here."))
    if seen.observations:
        click.echo(f"\n{counted(len(seen.observations), 'observation')}:")
    for item in seen.observations:
        what = ": ".join(text for text in (item["place"], item["condition"]) if text)
        advice = f"; advised: {item['advice']}" if item["advice"] else ""
        click.echo(filled(f"{item['date']}  {what}{advice}", "  ", "      "))
    return OWED if site.questions else DONE


def _site_json(seen: SiteSeen) -> dict[str, object]:
    site = seen.site
    return {
        "key": site.key, "street": site.address.street, "unit": site.address.unit,
        "city": site.address.city, "state": site.address.state, "zip": site.address.zip,
        "county": site.county, "kind": site.kind, "jurisdiction": site.jurisdiction,
        "question": _question(site),
    }  # fmt: skip


@sites_command.command("same")
@click.argument("key")
@click.option("--by", metavar="PERSON", required=True, help="Who says so.")
@shared
def same_command(key: str, by: str, workspace: str | None, as_json: bool) -> int:
    """Say that a site in doubt is the place it resembles; its records move there by amendment.

    \b
    Example:
      useledger sites same S0014 --by calloway
    """
    from ledger.flow.site_questions import answer_same

    opened = open_workspace(workspace)
    kept, amended = answer_same(opened, key.upper(), opened.require_person(by))
    if as_json:
        print_json({"site": key.upper(), "same_as": kept, "amendments": amended})
    else:
        records = counted(len(amended), "record was", "records were")
        click.echo(f"{key.upper()} is {kept}; {records} amended to it")
    return DONE


@sites_command.command("apart")
@click.argument("key")
@click.option("--by", metavar="PERSON", required=True, help="Who says so.")
@shared
def apart_command(key: str, by: str, workspace: str | None, as_json: bool) -> int:
    """Say that a site in doubt is a place of its own.

    \b
    Example:
      useledger sites apart S0014 --by calloway
    """
    from ledger.flow.site_questions import answer_apart

    opened = open_workspace(workspace)
    again = answer_apart(opened, key.upper(), opened.require_person(by))
    if as_json:
        print_json({"site": key.upper(), "judged_again": again})
    else:
        entries = counted(again, "entry was", "entries were")
        click.echo(f"{key.upper()} is a place of its own; {entries} judged again")
    return DONE
