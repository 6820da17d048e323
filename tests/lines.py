"""The invented firm, its products and drafts of lines, built by hand for tests of one line."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from fractions import Fraction
from pathlib import Path

from ledger.normalise.line import Normalised, SiteAsk, normalise_line
from ledger.normalise.sites import match_site
from ledger.units import Units, units_from_table
from ledger.values.dated import Span
from ledger.values.draft import Draft
from ledger.values.firm import Firm, Licence, Person, Tool
from ledger.values.lexicon import Lexicon, PlaceOfLaw, Word, Words
from ledger.values.origin import Cell, Origin
from ledger.values.product import Formulation, Ingredient, Product, ProductClass
from ledger.values.site import Site

ROOT = Path(__file__).parent.parent


def product(
    key: str, number: str | None, name: str, kind: Formulation, share: str, diluted: bool = False
) -> Product:
    """Return a product of the invented firm."""
    gravity = Fraction("1.021") if diluted else None
    return Product(
        key, name, number, kind, ProductClass.GENERAL, diluted,
        (Ingredient("active", Fraction(share) / 100),), gravity, digest=key[0] * 64,
    )  # fmt: skip


PRODUCTS = (
    product("ridgeline-dust", "99999-11", "Ridgeline Crevice Dust", Formulation.DUST, "0.1"),
    product("alder-dust", "99999-12", "Alder Desiccant Dust", Formulation.DUST, "92"),
    product(
        "ridgeline-sc", "99999-21", "Ridgeline Residual Concentrate", Formulation.LIQUID, "6.5",
        diluted=True,
    ),
    product("marsh-gel", "99999-31", "Marsh Ant Gel", Formulation.BAIT, "0.4"),
    product("cedar-granule", "99999-51", "Cedar Perimeter Granules", Formulation.GRANULE, "0.04"),
    product("granite-powder", "99999-61", "Granite Tracking Powder", Formulation.DUST, "8"),
    product("slate-powder", "99999-62", "Slate Tracking Powder", Formulation.DUST, "0.2"),
    product("hearth-mint", None, "Hearth Mint Spray", Formulation.LIQUID, "2"),
)  # fmt: skip


def licence(number: str, until: date, level: str = "certified") -> Licence:
    """Return a licence for structural work in California."""
    return Licence(number, "", "us-ca", ("structural",), level, True, Span(None, until))


FIRM = Firm(
    "Calloway Home Pest Care", "PR 99031", "", "Auburn", "CA", "95603", "us-ca",
    "America/Los_Angeles", True, "1 in N", "structural",
    people=(
        Person("calloway", "Ines Calloway", (licence("OPR 90311", date(2028, 6, 30)),), True),
        Person("renner", "Tobias Renner", (licence("FR 90427", date(2027, 6, 30)),)),
        Person("marsh", "Odile Marsh", (licence("RA 90588", date(2026, 1, 31), "supervised"),),
               supervisor="renner"),
        Person("aster", "Pell Aster"),
    ),
    tools=tuple(Tool(key, "duster") for key in ("duster-a", "duster-b", "duster-c", "tank-1")),
)  # fmt: skip

CALIFORNIA = PlaceOfLaw(
    "us-ca", "CA", "California", "America/Los_Angeles", (("Nevada", "29"), ("Placer", "31")),
    (("structural", "10"),),
)  # fmt: skip


def words() -> Words:
    """Return the closed lists as shipped."""
    with (ROOT / "rules" / "words.toml").open("rb") as file:
        table = tomllib.load(file)
    lists: dict[str, tuple[Word, ...]] = {}
    for name, rows in table.items():
        if isinstance(rows, list):
            lists[name] = tuple(
                Word(row["name"], tuple(row.get("also", ())), tuple(row.get("traits", ())))
                for row in rows
            )
    return Words(lists)


def units() -> Units:
    """Return the closed list of units as shipped."""
    with (ROOT / "rules" / "units.toml").open("rb") as file:
        found, faults = units_from_table(tomllib.load(file), {}, "units.toml")
    assert faults == ()
    return found


WORDS = words()
UNITS = units()
LEXICON = Lexicon(FIRM, WORDS, PRODUCTS, (CALIFORNIA,))

CELLS = {
    "line": "1", "date": "2026-01-14", "start": "08:05", "end": "09:20", "applicator": "renner",
    "customer": "M. Okafor", "address": "118 Tollhouse Lane", "city": "Auburn", "state": "CA",
    "zip": "95603", "county": "Placer", "site kind": "dwelling", "product": "ridgeline-dust",
    "amount": "0.75 oz", "method": "crack and crevice", "setting": "at structure",
    "places": "door frame; siding seam", "avoided": "none present", "pests": "stink bugs",
    "extent": "180 ft", "equipment": "duster-a", "temperature": "31 F", "wind": "4 mph N",
    "rain": "no", "notice": "before",
}  # fmt: skip
"""A good line of the invented firm."""


def draft(changes: dict[str, str] | None = None, row: int = 2) -> Draft:
    """Return the good line with changed cells; a blank takes a cell away."""
    typed = {name: text for name, text in {**CELLS, **(changes or {})}.items() if text}
    cells = {name: Cell(text, Origin("day.csv", row, name)) for name, text in typed.items()}
    return Draft(Origin("day.csv", row), cells, typed)


def finder(*known: Site) -> Callable[[SiteAsk], Site | None]:
    """Return a ledger's answer to asking for sites: the known one, else a new one."""
    sites = list(known)

    def find(ask: SiteAsk) -> Site | None:
        if ask.key:
            return next((site for site in sites if site.key == ask.key), None)
        match = match_site(ask.address, sites)
        if match.outcome == "same":
            return match.site
        site = Site(
            f"S{len(sites) + 1:04d}", ask.address, ask.county, ask.jurisdiction, ask.kind,
            ask.time_zone, ask.typed, match.site.key if match.site else None,
        )  # fmt: skip
        sites.append(site)
        return site

    return find


def understood(
    changes: dict[str, str] | None = None, lexicon: Lexicon = LEXICON, *known: Site
) -> Normalised:
    """Return the good line with changes, as understood."""
    return normalise_line(draft(changes), lexicon, UNITS, finder(*known))


def with_firm(**changes: object) -> Lexicon:
    """Return the lexicon of a firm that differs."""
    return replace(LEXICON, firm=replace(FIRM, **changes))  # type: ignore[arg-type]
