"""What was applied: entries by period, site, product, person, county."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from difflib import get_close_matches
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ledger.cli.asking import site_of
from ledger.cli.common import DONE, print_json, read_day, shared, stop
from ledger.cli.printing import counted, table
from ledger.flow.workspace import open_workspace

if TYPE_CHECKING:
    from ledger.flow.listing import Listed
    from ledger.flow.workspace import Workspace
    from reports.entries import EntryRow, Totals
    from reports.sheet import LongSheet, Sheet


@click.command("entries")
@click.option("--from", "date_from", metavar="DATE", help="First day of work.")
@click.option("--to", "date_to", metavar="DATE", help="Last day of work.")
@click.option("--site", metavar="KEY", help="A site by its key, or part of its street.")
@click.option("--product", metavar="P", help="By registration number, label id or name.")
@click.option("--applicator", metavar="PERSON", help="Who applied, by key or licence number.")
@click.option("--county", help="A county by name or number.")
@click.option("--jurisdiction", metavar="J", help="A jurisdiction, as us-ca.")
@click.option("--versions", is_flag=True, help="Every version of a corrected record as well.")
@click.option("--wide", is_flag=True, help="Every column, however wide the table becomes.")
@click.option("--out", type=click.Path(path_type=Path), help="Write .xlsx, .csv or .pdf instead.")
@shared
def entries_command(
    workspace: str | None, as_json: bool, out: Path | None, versions: bool, wide: bool,
    **said: str | None,
) -> int:  # fmt: skip
    """List what was applied.

    \b
    By period, site, product, person and county, with a total for each product.
    Examples:
      useledger entries --from 2026-01-14 --to 2026-01-14
      useledger entries --site S0003 --versions
      useledger entries --product 99999-11 --county Placer --out dust.xlsx
    """
    from ledger.flow.listing import list_entries
    from reports.entries import entries_values

    opened = open_workspace(workspace)
    if out is not None:
        count = _write(opened, said, versions, out)
        if as_json:
            print_json({"file": str(out), "entries": count})
        else:
            click.echo(f"{out}: {counted(count, 'entry', 'entries')}")
        return DONE
    rows = entry_rows(opened, list_entries(opened, _filters(opened, said), versions=versions))
    if not rows:
        _refuse_unknown(opened, said)
    if as_json:
        print_json(entries_values(rows, opened.book.units))
    elif not rows:
        click.echo("No entries match.")
    elif wide:
        from ledger.cli.papers import sheet_text

        click.echo(sheet_text(entries_sheet_of(opened, rows), wide=True))
    else:
        click.echo(entries_text(opened, rows))
    return DONE


def _write(workspace: Workspace, said: dict[str, str | None], versions: bool, out: Path) -> int:
    """Write the entries to a file, however many there are; return how many."""
    from ledger.cli.papers import write_file
    from ledger.flow.listing import stream_entries

    filters = _filters(workspace, said)
    with workspace.store.reading() as reader:
        found = stream_entries(reader, filters, versions=versions)
        first = next(found, None)
        if first is None:
            _refuse_unknown(workspace, said)
        listed = found if first is None else chain([first], found)
        sheet, totals = long_entries_of(workspace, listed)
        write_file(sheet, out, workspace.book.firm.name)
    return totals.count


def long_entries_of(workspace: Workspace, found: Iterable[Listed]) -> tuple[LongSheet, Totals]:
    """Return listed entries as a sheet of any length with the firm's name, and its totals."""
    from reports.entries import long_entries

    rows = _each_row(workspace, found)
    return long_entries(rows, workspace.book.units, _about(workspace))


# ------------------------------------------------------------------ what is asked for


def _filters(workspace: Workspace, said: dict[str, str | None]) -> dict[str, Any]:
    """Return the journal's filters for what was asked; stop at what cannot be meant."""
    filters: dict[str, Any] = {}
    for name in ("date_from", "date_to"):
        if said[name]:
            filters[name] = read_day(str(said[name]), name.replace("date_", "--"))
    if said["date_from"] and said["date_to"] and filters["date_from"] > filters["date_to"]:
        stop(f"--from {said['date_from']} lies after --to {said['date_to']}; exchange the two")
    if said["applicator"]:
        filters["applicator"] = _person(workspace, str(said["applicator"]))
    if said["product"]:
        filters["product_key"] = _product_key(workspace, str(said["product"]))
    if said["county"]:
        filters["county"] = _county(workspace, str(said["county"]))
    if said["site"]:
        filters["site"] = site_of(workspace, str(said["site"]))
    if said["jurisdiction"]:
        filters["jurisdiction"] = str(said["jurisdiction"]).strip()
    return filters


def _person(workspace: Workspace, text: str) -> str:
    """Return a person's key; somebody who has left the firm file is asked for by the old key."""
    wanted = text.strip().casefold()
    for person in workspace.book.firm.people:
        numbers = {licence.number.casefold() for licence in person.licences}
        if wanted in {person.key.casefold(), person.name.casefold(), *numbers}:
            return person.key
    return text.strip()


def _product_key(workspace: Workspace, text: str) -> str:
    """Return the key a product is booked under; a text that no label knows is taken as it is."""
    wanted = text.strip().casefold()
    products = workspace.book.lexicon().products
    for product in products:
        exact = {product.id.casefold(), (product.registration or "").casefold()}
        if wanted in {*exact, product.name.casefold()}:
            return product.key
    near = {
        product.key: product.name for product in products
        if f" {wanted}" in f" {product.name.casefold()}"
    }  # fmt: skip
    if len(near) > 1:
        names = ", ".join(f"{name} ({key})" for key, name in sorted(near.items()))
        stop(f'--product: "{text}" could be {names}; name one of them')
    return next(iter(near), text.strip())


def _county(workspace: Workspace, text: str) -> str:
    from ledger.values.lexicon import fold

    for place in workspace.book.lexicon().places_of_law:
        for name, number in place.counties:
            if fold(text) in {fold(name), number}:
                return name
    return text.strip()


def _refuse_unknown(workspace: Workspace, said: dict[str, str | None]) -> None:
    """Stop where nothing was found because a name is not known: it may be mistyped.

    A name that the rules do not know any more still finds its old entries; only an empty answer
    is suspicious.
    """
    lexicon = workspace.book.lexicon()
    counties = [name for place in lexicon.places_of_law for name, _ in place.counties]
    numbers = [number for place in lexicon.places_of_law for _, number in place.counties]
    products = [word for item in lexicon.products for word in (item.id, item.registration or "")]
    people = workspace.book.firm.people
    known = {
        "county": ([*counties, *numbers], counties),
        "jurisdiction": ([place.id for place in lexicon.places_of_law],) * 2,
        "product": ([*products, *(item.key for item in lexicon.products)], products),
        "applicator": ([person.key for person in people],) * 2,
    }
    asked = {
        "county": _county, "product": _product_key, "applicator": _person,
        "jurisdiction": _as_written,
    }  # fmt: skip
    for name, (all_names, shown) in known.items():
        text = said[name]
        if text and asked[name](workspace, text) not in all_names:
            stop(f'--{name}: nothing in the ledger or the rules is called "{text}"; '
                 + _nearest(text, shown))  # fmt: skip


def _as_written(_: Workspace, text: str) -> str:
    return text.strip()


def _nearest(text: str, names: Iterable[str]) -> str:
    folded = {name.casefold(): name for name in names if name}
    near = get_close_matches(text.casefold(), folded, n=1)
    if near:
        return f'did you mean "{folded[near[0]]}"?'
    shown = sorted(folded.values())
    return f"known: {', '.join(shown[:12])}{' ...' if len(shown) > 12 else ''}"


# ------------------------------------------------------------------ how it is shown

_NARROW = ("Entry", "Date", "Start", "By", "Address", "Product", "Used", "Found", "State")
_NUMBERS = ("Entry", "Used", "Found")


def entries_text(workspace: Workspace, rows: list[EntryRow]) -> str:
    """Return entries as a table that fits a terminal, with a total for each product."""
    from reports.entries import CARRIED, CURRENT, product_totals
    from reports.sheet import number

    cells = []
    for row in rows:
        used = f"{number(row.used).text} {row.unit}" if row.used is not None else "cannot tell"
        state = "" if row.state == CURRENT else row.state
        late = CARRIED if row.carried else "late" if row.late else ""
        cells.append((
            row.seq, row.date, row.start, row.applicator, row.address, row.product, used,
            row.findings or "", " ".join(word for word in (state, late) if word),
        ))  # fmt: skip
    shown = [n for n, _ in enumerate(_NARROW) if any(row[n] != "" for row in cells)]
    right = [place for place, n in enumerate(shown) if _NARROW[n] in _NUMBERS]
    kept = [[row[n] for n in shown] for row in cells]
    lines = [table([_NARROW[n] for n in shown], kept, right), ""]
    for total in product_totals(rows, workspace.book.units):
        amount = f"{number(total.used).text} {total.unit}"
        if total.untold:
            amount = f"{amount} and {counted(total.untold, 'line')} that cannot be told"
        known = f" ({total.registration})" if total.registration else ""
        lines.append(f"{total.product}{known}: {amount}, {counted(total.lines, 'line')}")
    lines.append(
        f"\n{counted(len(rows), 'entry', 'entries')}; `useledger trace ENTRY` tells one entry's "
        "story, --wide shows every column."
    )
    return "\n".join(lines)


def entries_sheet_of(workspace: Workspace, rows: list[EntryRow]) -> Sheet:
    """Return listed entries as a sheet with the firm's name."""
    from reports.entries import entries_sheet

    return entries_sheet(rows, workspace.book.units, about=_about(workspace))


def _about(workspace: Workspace) -> tuple[tuple[str, str], ...]:
    firm = workspace.book.firm
    return (("Firm", firm.name), ("Licence", firm.licence))


def entry_rows(workspace: Workspace, listed: Iterable[Listed]) -> list[EntryRow]:
    """Return listed entries as the report of entries wants them."""
    return list(_each_row(workspace, listed))


def _each_row(workspace: Workspace, listed: Iterable[Listed]) -> Iterator[EntryRow]:
    names = {person.key: person.name for person in workspace.book.firm.people}
    for row in listed:
        yield _entry_row(row, names)


def _entry_row(row: Listed, names: Mapping[str, str]) -> EntryRow:
    from reports.entries import EntryRow

    address = row.site.address if row.site else None
    place = ", ".join(
        part for part in ((address.street, address.unit, address.city) if address else ()) if part
    )
    return EntryRow(
        seq=row.sealed.seq, date=row.use.date,
        start=row.use.start.isoformat("minutes") if row.use.start else "",
        applicator=names.get(row.use.applicator, row.use.applicator), licence=row.use.licence,
        customer=row.use.customer, address=place, county=row.use.county,
        product=row.use.product_name, registration=row.use.product_key,
        amount=row.use.amount.text, used=row.use.used.fraction, unit=row.use.used.unit,
        method=row.use.method, places="; ".join(row.use.places), findings=len(row.findings),
        state=row.state, recorded_at=row.sealed.at, late=row.sealed.body["late"] is not None,
        carried=bool(row.sealed.body.get("carried")),
    )  # fmt: skip
