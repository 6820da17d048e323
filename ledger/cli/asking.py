"""What a command line names: a person, a product, a site; or a message with the way out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ledger.cli.common import stop

if TYPE_CHECKING:
    from ledger.flow.workspace import Workspace
    from ledger.values.product import Product


def person_of(workspace: Workspace, text: str, option: str) -> str:
    """Return the key of a person of the workspace, or stop with the known ones."""
    firm = workspace.book.firm
    if firm.person(text.strip()) is None:
        known = ", ".join(person.key for person in firm.people)
        stop(f'{option}: "{text}" is not a person of this workspace; name one of {known}')
    return text.strip()


def product_of(workspace: Workspace, text: str) -> Product:
    """Return a product by registration number or label id, its newest version; or stop."""
    wanted = text.strip().casefold()
    products = workspace.book.lexicon().products
    for product in products:
        if wanted in {product.id.casefold(), (product.registration or "").casefold()}:
            return product
    known = ", ".join(dict.fromkeys(product.id for product in products)) or "none"
    return stop(f'no label file describes "{text}"; known products: {known}')


def site_of(workspace: Workspace, text: str) -> str:
    """Return the key of a site given by its key or part of its street, or stop."""
    from ledger.flow.site_questions import list_sites

    rows = list_sites(workspace)
    wanted = text.strip().upper()
    keys = [row.site.key for row in rows if row.site.key == wanted]
    keys = keys or [row.site.key for row in rows if wanted and wanted in row.site.address.street]
    if len(keys) == 1:
        return keys[0]
    if not keys:
        stop(f'no site "{text}"; see useledger sites')
    return stop(f'"{text}" could be {", ".join(keys)}; name one by its key (useledger sites)')
