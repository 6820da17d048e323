"""The current applications of a period as a report may list them, one by one."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from ledger.flow.judging import booked
from ledger.flow.lines import BOOKED
from ledger.flow.listing import sites_at
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.values.entry import Application
from ledger.values.lexicon import PlaceOfLaw
from ledger.values.period import Period
from ledger.values.product import Product
from ledger.values.sealed import Sealed
from ledger.values.site import Site
from ledger.values.use_row import SingleUse


def single_uses(
    workspace: Workspace, reader: Reader, period: Period, place: PlaceOfLaw
) -> Iterator[SingleUse]:
    """Yield every current application of a period in a jurisdiction, in the journal's order."""
    yield from single_uses_between(workspace, reader, place, (period.first, period.last))


def single_uses_between(
    workspace: Workspace, reader: Reader, place: PlaceOfLaw, days: tuple[date, date]
) -> Iterator[SingleUse]:
    """Yield every current application from one day to another, both included."""
    products = {file.product.digest: file.product for file in workspace.book.labels if file.product}
    entries = list(
        reader.entries(
            kinds=BOOKED, current_only=True, jurisdiction=place.id,
            date_from=days[0], date_to=days[1],
        )
    )  # fmt: skip
    sites = sites_at(reader, entries)
    for entry in entries:
        use = booked(entry).use
        product = products.get(use.label) or workspace.book.product(use.product, use.date, use.lot)
        yield _single(
            reader, entry, use, _facts(workspace, use, place, (sites.get(use.site), product))
        )


def _single(reader: Reader, entry: Sealed, use: Application, facts: dict[str, str]) -> SingleUse:
    first = entry.seq if entry.replaces is None else reader.versions(entry.seq)[0].seq
    mix = use.dilution
    dosage = (mix.product, mix.mix) if mix and mix.product and mix.mix else None
    return SingleUse(
        entry.seq, first, use.county, use.site_kind, use.product_key, use.label, use.visit,
        facts["licence"], use.used.quantity, facts, use.extent.get("area"), dosage,
    )  # fmt: skip


def _facts(
    workspace: Workspace,
    use: Application,
    place: PlaceOfLaw,
    at: tuple[Site | None, Product | None],
) -> dict[str, str]:
    """Return what a form's columns may say of an application.

    Work of somebody without a licence of their own stands under the supervisor's.
    """
    site, product = at
    firm = workspace.book.firm
    address = site.address if site else None
    person = firm.person(use.applicator)
    return {
        "jurisdiction": place.id, "county": use.county, "site": use.site,
        "county_number": place.county_number(use.county) or "",
        "year": str(use.date.year), "month": str(use.date.month),
        "date": use.date.isoformat(), "start": f"{use.start:%H:%M}" if use.start else "",
        "site_code": use.site_code, "site_kind": use.site_kind,
        "registration": (product.registration or "") if product else use.product_key,
        "product": product.name if product else use.product_name or use.product_key,
        "formulation": str(product.formulation) if product else "",
        "applicator": person.name if person else use.applicator,
        "licence": use.licence or use.supervisor_licence,
        "customer": use.customer, "method": use.method, "setting": use.setting,
        "address": f"{address.street} {address.unit}".strip() if address else "",
        "city": address.city if address else "", "zip": address.zip if address else "",
        "places": "; ".join(use.places), "pests": "; ".join(use.pests),
        "extent": use.extent.text, "lot": use.lot, "business": firm.licence, "nothing": "",
    }  # fmt: skip
