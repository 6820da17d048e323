"""An observation understood: which day, which site, and what could not be told."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ledger.normalise.addresses import Street, read_street
from ledger.normalise.dates import read_date
from ledger.normalise.text import cell
from ledger.values.draft import Draft
from ledger.values.finding import render_fault
from ledger.values.site import Site


@dataclass(frozen=True, slots=True)
class Observed:
    """``day`` is the ISO date and ``site`` the site's key, each None where it cannot be told."""

    day: str | None
    site: str | None
    remarks: tuple[str, ...] = ()


def read_observation(draft: Draft, month_first: bool, sites: Iterable[Site]) -> Observed:
    """Return an observation's day and site; what cannot be read of it stays as typed.

    An observation names its site by key or by street; the street alone is enough where just one
    of ``sites`` has it.
    """
    remarks: list[str] = []
    day = read_date(cell(draft, "date"), month_first, draft.at("date"))
    remarks += [render_fault(fault) for fault in day.faults]
    key = _site_of(draft, sites)
    if key is None:
        where = cell(draft, "site") or cell(draft, "address") or "nothing"
        remarks.append(f'the site ("{where}") is not one the ledger knows; kept as written')
    return Observed(day.value.isoformat() if day.value else None, key, tuple(remarks))


def _site_of(draft: Draft, sites: Iterable[Site]) -> str | None:
    wanted = cell(draft, "site").upper()
    street = read_street(cell(draft, "address"))
    found = {
        site.same_as or site.key
        for site in sites
        if (wanted and site.key == wanted)
        or (not wanted and isinstance(street, Street) and _is_at(site, street))
    }
    return found.pop() if len(found) == 1 else None


def _is_at(site: Site, street: Street) -> bool:
    return site.address.street == street.line and (
        not street.unit or street.unit == site.address.unit
    )
