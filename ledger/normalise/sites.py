"""Sites: asked for by address or key, matched with the known ones, and their county checked."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from difflib import SequenceMatcher, get_close_matches
from functools import lru_cache

from ledger.normalise.addresses import (
    Street,
    read_address,
    read_state,
    read_street,
    same_ordinals,
)
from ledger.normalise.text import cell, remark
from ledger.values.draft import Draft
from ledger.values.finding import Fault, Finding
from ledger.values.lexicon import Lexicon, PlaceOfLaw, fold
from ledger.values.site import Address, Site

NOWHERE = Address("", "", "", "", "")
"""The address of a line that names its site by key alone."""

ALIKE = 0.8
"""Names at least this alike (difflib's ratio) may be one name, misspelt."""


@dataclass(frozen=True, slots=True)
class SiteAsk:
    """What a line says of its site. With ``key`` it names a known site and nothing else counts.

    Without a key the ledger answers with the known site of that address, or makes a new one.
    """

    address: Address
    county: str
    kind: str
    jurisdiction: str
    time_zone: str
    typed: str
    key: str


FindSite = Callable[[SiteAsk], Site | None]


@dataclass(frozen=True, slots=True)
class SiteMatch:
    """``same`` and ``near`` name the known site; ``new`` names none."""

    outcome: str
    site: Site | None = None


def match_site(address: Address, known: Iterable[Site]) -> SiteMatch:
    """Return whether an address is a known site's, may be one's, or is new.

    Same: street, unit, city, state and ZIP agree. Near: the same number in the same ZIP or city
    on a street spelt much alike, or with its suffix or directional left out; or the same street
    with the unit left out on one side, or the last line written differently. Where several are
    near, the most alike is named, of equals the one with the first key.
    """
    best: tuple[float, Site] | None = None
    for site in known:
        if site.address == address:
            return SiteMatch("same", site)
        score = _likeness(address, site.address)
        if score and (best is None or (-score, site.key) < (-best[0], best[1].key)):
            best = (score, site)
    return SiteMatch("near", best[1]) if best else SiteMatch("new")


@lru_cache(maxsize=65536)
def _likeness(one: Address, other: Address) -> float:
    """Return how far two addresses may be one place: 0 for no, up to 1."""
    if one.state != other.state:
        return 0.0
    if not ((one.zip and one.zip == other.zip) or one.city == other.city):
        return 0.0
    if not _units_agree(one.unit, other.unit):
        return 0.0
    if one.street == other.street:
        return 1.0
    left, right = read_street(one.street), read_street(other.street)
    if not isinstance(left, Street) or not isinstance(right, Street):
        return 0.0
    return _streets_alike(left, right)


def _units_agree(one: str, other: str) -> bool:
    """Say whether two units may be one: left out on a side, or differing in the designator."""
    if not one or not other or one == other:
        return True
    left, right = one.split(), other.split()
    return left[-1] == right[-1] and len(left) == len(right)


def _streets_alike(one: Street, other: Street) -> float:
    if one.number != other.number or one.rural != other.rural:
        return 0.0
    pairs = ((one.before, other.before), (one.after, other.after))
    if any(left and right and left != right for left, right in pairs):
        return 0.0  # north and south of a street are two places
    name, known = same_ordinals(one.name), same_ordinals(other.name)
    if name == known:
        return 0.99
    if one.suffix and other.suffix and one.suffix != other.suffix:
        return 0.0
    if _digits(name) != _digits(known):
        return 0.0  # 5TH and 6TH are no misspelling
    ratio = SequenceMatcher(None, name, known, autojunk=False).ratio()
    return ratio if ratio >= ALIKE else 0.0


def _digits(text: str) -> str:
    return "".join(char for char in text if char.isdigit())


@dataclass(frozen=True, slots=True)
class Place:
    """What a line's own cells say of where it was: ready to ask for the site.

    ``ask`` is None where the cells do not say it; ``law`` is None where no jurisdiction file
    describes the state.
    """

    ask: SiteAsk | None
    law: PlaceOfLaw | None = None
    faults: tuple[Fault, ...] = ()
    remarks: tuple[Finding, ...] = ()


def read_place(draft: Draft, lexicon: Lexicon, kind: str) -> Place:
    """Return the site a line asks for; ``kind`` is its site kind in the canonical spelling.

    A row that types a site key means that key, also where address columns repeat from above.
    """
    key = cell(draft, "site")
    own_key = bool(draft.typed.get("site", "").strip())
    own_address = bool(draft.typed.get("address", "").strip())
    if key and (own_key or not own_address):
        county = cell(draft, "county") if own_address or draft.typed.get("county", "") else ""
        return Place(SiteAsk(NOWHERE, county, kind, "", "", "", _key(key)))
    reading = read_address(draft)
    remarks = [remark("READ-AS", "zip", text) for text in reading.remarks]
    address = reading.value
    state = address.state if address else read_state(cell(draft, "state")) or ""
    law = lexicon.place_of_law(state)
    county, faults = read_county(draft, law)
    if address is None:
        return Place(None, law, (*reading.faults, *faults), tuple(remarks))
    if law is None:
        zone = lexicon.firm.time_zone
        said = f"no jurisdiction file describes {state}: its law is not checked, and times are "
        said += f"taken in the firm's zone, {zone}"
        way_out = "ask the state lead agency, and add a jurisdiction file"
        remarks.append(remark("PLACE-WITHOUT-LAW", "state", said, way_out))
    typed = ", ".join(
        text for name in ("address", "unit", "city", "state", "zip") if (text := cell(draft, name))
    )
    ask = SiteAsk(
        address, county, kind,
        law.id if law else f"us-{address.state.lower()}",
        law.time_zone if law else lexicon.firm.time_zone,
        typed, "",
    )  # fmt: skip
    return Place(ask, law, faults, tuple(remarks))


@lru_cache(maxsize=256)
def _counties(law: PlaceOfLaw) -> tuple[dict[str, str], dict[str, str]]:
    """Return the counties of a law by their folded names and by their numbers."""
    by_fold = {fold(name): name for name, _ in law.counties}
    return by_fold, {code.lstrip("0"): name for name, code in law.counties}


def read_county(draft: Draft, law: PlaceOfLaw | None) -> tuple[str, tuple[Fault, ...]]:
    """Return the county in the spelling of the jurisdiction's list, or the fault of it."""
    typed = cell(draft, "county")
    if law is None or not law.counties:
        return typed, ()
    wanted = fold(typed).removesuffix(" county").removesuffix(" co.")
    by_fold, number = _counties(law)
    found = by_fold.get(wanted) or by_fold.get(fold(typed)) or number.get(wanted.lstrip("0"))
    if found:
        return found, ()
    if not typed:
        what, way_out = "no county", f"write the county of the place treated, in {law.name}"
    else:
        near = get_close_matches(wanted, list(by_fold), n=1, cutoff=0.5)
        what = f'"{typed}" is not a county of {law.name}'
        way_out = f"did you mean {by_fold[near[0]]}?" if near else "write it as the state does"
    return "", (Fault("COUNTY-UNKNOWN", draft.at("county"), what, way_out),)


def locate(
    draft: Draft, ask: SiteAsk, find_site: FindSite
) -> tuple[Site | None, tuple[Fault, ...]]:
    """Return the site, or why the line cannot be at it (unknown key, other address or county)."""
    site = find_site(ask)
    if site is None:
        return None, (_fault(draft, "site", "SITE-UNKNOWN", f'no site has the key "{ask.key}"',
            "`useledger sites` lists the known ones; or write address, city, state, ZIP and county",
        ),)  # fmt: skip
    if ask.key and draft.typed.get("address", "").strip() and site.address.street:
        address = read_address(draft).value
        if address is None or match_site(address, [site]).outcome == "new":
            return None, (_fault(draft, "address", "SITE-DIFFERS",
                f"the address is not that of site {site.key}, {site.address.street}",
                "write the key alone, or the address alone",
            ),)  # fmt: skip
    if ask.county and site.county and fold(ask.county) != fold(site.county):
        return None, (_fault(draft, "county", "COUNTY-DIFFERS",
            f"the line says {ask.county}, but site {site.key} is in {site.county}",
            f"correct the county or the address; if {site.county} is wrong, correct the site first",
        ),)  # fmt: skip
    return site, ()


def _fault(draft: Draft, column: str, code: str, what: str, way_out: str) -> Fault:
    return Fault(code, draft.at(column), what, way_out)


def _key(text: str) -> str:
    """Return a site key as it is given out: "s1" means S0001."""
    found = re.fullmatch(r"[Ss]0*(\d{1,9})", text)
    return f"S{int(found[1]):04d}" if found else text
