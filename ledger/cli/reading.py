"""Reading the past: entries, trace, verify."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ledger.cli.common import (
    COULD_NOT,
    DONE,
    OWED,
    fault_json,
    print_json,
    read_day,
    safe_output,
    shared,
    stop,
)  # fmt: skip
from ledger.flow.workspace import open_workspace
from ledger.values.finding import render_fault

if TYPE_CHECKING:
    from ledger.flow.inspecting import Listed
    from ledger.flow.tracing import Trace
    from ledger.flow.workspace import Workspace
    from ledger.journal.verify import Verification
    from reports.entries import EntryRow
    from reports.sheet import Sheet


def _filters(workspace: Workspace, said: dict[str, str | None]) -> dict[str, Any]:
    """Return the journal's filters for what was asked; stop at what is not known."""
    filters: dict[str, Any] = {}
    for name in ("date_from", "date_to"):
        if said[name]:
            filters[name] = read_day(str(said[name]), name.replace("date_", "--"))
    if said["applicator"]:
        filters["applicator"] = workspace.require_person(str(said["applicator"]))
    if said["product"]:
        filters["product_key"] = _product_key(workspace, str(said["product"]))
    if said["county"]:
        filters["county"] = _county(workspace, str(said["county"]))
    if said["site"]:
        filters["site"] = _site(workspace, str(said["site"]))
    if said["jurisdiction"]:
        filters["jurisdiction"] = said["jurisdiction"]
    return filters


def _product_key(workspace: Workspace, text: str) -> str:
    """Return the key a product is booked under; a text that no label knows is taken as it is."""
    wanted = text.strip().casefold()
    for product in workspace.book.lexicon().products:
        if wanted in {product.id.casefold(), (product.registration or "").casefold()}:
            return product.key
    return text.strip()


def _county(workspace: Workspace, text: str) -> str:
    from ledger.values.lexicon import fold

    for place in workspace.book.lexicon().places_of_law:
        for name, number in place.counties:
            if fold(text) in {fold(name), number}:
                return name
    return text.strip()


def _site(workspace: Workspace, text: str) -> str:
    """Return the key of a site given by key or by (part of) its street."""
    from ledger.flow.site_questions import list_sites

    rows = list_sites(workspace)
    keys = [row.site.key for row in rows if row.site.key == text.strip().upper()]
    wanted = text.strip().upper()
    keys = keys or [row.site.key for row in rows if wanted in row.site.address.street]
    if len(keys) == 1:
        return keys[0]
    if not keys:
        stop(f'no site "{text}"; see useledger sites')
    return stop(f'"{text}" could be {", ".join(keys)}; name one by its key (useledger sites)')


@click.command("entries")
@click.option("--from", "date_from", metavar="DATE", help="First day of work.")
@click.option("--to", "date_to", metavar="DATE", help="Last day of work.")
@click.option("--site", metavar="KEY", help="A site by its key, or part of its street.")
@click.option("--product", metavar="P", help="A product by registration number or label id.")
@click.option("--applicator", metavar="PERSON", help="Who applied.")
@click.option("--county", help="A county by name or number.")
@click.option("--jurisdiction", metavar="J", help="A jurisdiction, as us-ca.")
@click.option("--versions", is_flag=True, help="Every version of a corrected record as well.")
@click.option("--out", type=click.Path(path_type=Path), help="Write .xlsx, .csv or .pdf instead.")
@shared
def entries_command(
    workspace: str | None, as_json: bool, versions: bool, out: Path | None, **said: str | None
) -> int:
    """List what was applied: by period, site, product, person, county.

    \b
    Examples:
      useledger entries --from 2026-01-14 --to 2026-01-14
      useledger entries --site S0003 --versions
      useledger entries --product 99999-11 --county Placer --out dust.xlsx
    """
    from ledger.flow.inspecting import list_entries
    from reports.entries import entries_values

    opened = open_workspace(workspace)
    rows = [entry_row(opened, row) for row in list_entries(
        opened, _filters(opened, said), versions=versions
    )]  # fmt: skip
    if as_json:
        print_json(entries_values(rows, opened.book.units))
        return DONE
    sheet = entries_sheet_of(opened, rows)
    if out is not None:
        from ledger.cli.papers import file_bytes

        data = file_bytes([sheet], out.suffix.casefold(), opened.book.firm.name)
        safe_output(out).write_bytes(data)
        click.echo(f"{out}: {len(rows)} entries")
    elif not rows:
        click.echo("No entries match.")
    else:
        from ledger.cli.papers import sheet_text

        click.echo(sheet_text(sheet))
    return DONE


def entries_sheet_of(workspace: Workspace, rows: list[EntryRow]) -> Sheet:
    """Return listed entries as a sheet with the firm's name."""
    from reports.entries import entries_sheet

    firm = workspace.book.firm
    about = (("Firm", firm.name), ("Licence", firm.licence))
    return entries_sheet(rows, workspace.book.units, about=about)


def entry_row(workspace: Workspace, row: Listed) -> EntryRow:
    """Return a listed entry as the report of entries wants it."""
    from reports.entries import EntryRow

    person = workspace.book.firm.person(row.use.applicator)
    address = row.site.address if row.site else None
    place = ", ".join(
        part for part in ((address.street, address.unit, address.city) if address else ()) if part
    )
    return EntryRow(
        seq=row.sealed.seq, date=row.use.date,
        start=row.use.start.isoformat("minutes") if row.use.start else "",
        applicator=person.name if person else row.use.applicator, licence=row.use.licence,
        customer=row.use.customer, address=place, county=row.use.county,
        product=row.use.product_name, registration=row.use.product_key,
        amount=row.use.amount.text, used=row.use.used.fraction, unit=row.use.used.unit,
        method=row.use.method, places="; ".join(row.use.places), findings=len(row.findings),
        state=row.state, recorded_at=row.sealed.at, late=row.sealed.body["late"] is not None,
    )  # fmt: skip


@click.command("trace")
@click.argument("entry", type=int)
@shared
def trace_command(entry: int, workspace: str | None, as_json: bool) -> int:
    """Tell one entry's whole story, recomputed from the kept cells and the rules of its day.

    \b
    Any difference from what was sealed is shown and gives exit code 1. Example:
      useledger trace 17
    """
    from ledger.flow.tracing import trace

    told = trace(open_workspace(workspace), entry)
    if as_json:
        print_json({
            "entry": told.entry.seq, "kind": str(told.entry.kind), "seal": told.entry.seal,
            "versions": [version.seq for version in told.versions],
            "steps": [
                {
                    "step": step.number, "name": step.name, "lines": list(step.lines),
                    "differences": [
                        {"what": item.what, "sealed": item.sealed, "now": item.now}
                        for item in step.differences
                    ],
                }
                for step in told.steps
            ],
        })  # fmt: skip
    else:
        click.echo(trace_text(told))
    return OWED if told.differences else DONE


def trace_text(told: Trace) -> str:
    """Return a story as a person reads it."""
    lines = [f"entry {told.entry.seq}: {told.entry.kind}"]
    for step in told.steps:
        lines.append(f"\n{step.number}  {step.name}")
        lines += [f"   {line}" for line in step.lines]
        for item in step.differences:
            lines.append(f"   DIFFERS  {item.what}: sealed {item.sealed!r}, now {item.now!r}")
    found = len(told.differences)
    end = "Nothing differs from what was sealed." if not found else f"{found} things differ."
    return "\n".join([*lines, "", end])


@click.command("verify")
@click.option("--seal", "codes", multiple=True, metavar="CODE", help="A seal code kept elsewhere.")
@shared
def verify_command(codes: tuple[str, ...], workspace: str | None, as_json: bool) -> int:
    """Prove the ledger whole, or say what is wrong and where.

    \b
    Everything is recomputed. The ledger is tamper-evident: to see a cut tail or a rewritten past
    as well, give the seal codes kept outside it (on paper, in an e-mail). Examples:
      useledger verify
      useledger verify --seal CODE --seal CODE
    """
    from ledger.flow.inspecting import prove_whole

    opened = open_workspace(workspace, proving=True)
    result = prove_whole(opened, codes)
    witness = witness_text(opened, result)
    if as_json:
        print_json({
            "ok": result.ok, "checked": result.checked, "private_texts": result.privates,
            "kept_files": result.blobs, "closes": result.closes,
            "head": {"entry": result.head.seq, "seal": result.head.seal},
            "problems": [fault_json(fault) for fault in result.problems], "witness": witness,
        })  # fmt: skip
        return DONE if result.ok else COULD_NOT
    for fault in result.problems:
        click.echo(render_fault(fault))
    if result.ok:
        click.echo(
            f"The ledger is whole: {result.checked} entries, {result.privates} private texts, "
            f"{result.blobs} kept files and {result.closes} closes recomputed."
        )
    else:
        click.echo(f"The ledger is NOT whole: {len(result.problems)} problems.")
    click.echo(witness)
    return DONE if result.ok else COULD_NOT


def witness_text(workspace: Workspace, result: Verification) -> str:
    """Return how far outside witnesses reach, and how old the newest is."""
    from datetime import datetime

    newest = result.newest_witness
    if newest is None:
        return (
            "No kept seal code was given: that the tail was not cut off, or the whole rewritten, "
            "only a code kept outside the ledger can show (--seal CODE)."
        )
    age = (workspace.clock() - datetime.fromisoformat(newest.at)).days
    after = result.head.seq - newest.seq
    return (
        f"The newest kept code seals entry {newest.seq}, {age} days old; the {after} entries after "
        "it are vouched for by the ledger alone."
    )
