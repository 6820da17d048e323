"""The invented month of ``fixtures/samples`` as the journal adds it up, and its products.

The groups are written out by hand from the sample sheets, so that the tests of summaries stand on
their own feet; that the sheets do give these groups is another test's business.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from functools import cache
from pathlib import Path

from ledger.rulebook.book import Book
from ledger.rulebook.form_model import Form
from ledger.rulebook.reading import read_book
from ledger.rulefile import RawFile, gather, shipped_rules
from ledger.values.firm import Firm, Registration
from ledger.values.lexicon import PlaceOfLaw
from ledger.values.period import Period
from ledger.values.product import Formulation, Ingredient, Product, ProductClass
from ledger.values.use_group import UseGroup

ROOT = Path(__file__).resolve().parents[1]
FORMS = ROOT / "fixtures" / "forms"
JANUARY = Period(2026, 1)
PLACE = PlaceOfLaw(
    "us-ca", "CA", "California", "America/Los_Angeles",
    counties=(("Nevada", "29"), ("Placer", "31"), ("Sierra", "46")),
    site_codes=(("structural", "10"),),
)  # fmt: skip

FIRM = Firm(
    name="Calloway Home Pest Care", licence="PR 99031", address="118 Tollhouse Lane",
    city="Auburn", state="CA", zip="95603", home="us-ca", time_zone="America/Los_Angeles",
    month_first=True, ratio="1 in N", work="structural",
    registrations=(Registration("us-ca", "Placer", 2026), Registration("us-ca", "Nevada", 2026)),
)  # fmt: skip


def product(
    key: str, formulation: Formulation, actives: Iterable[tuple[str, str, str]], **more: object
) -> Product:
    """Return an invented product: registration or id, and (name, CAS number, per cent)."""
    values: dict[str, object] = {
        "id": key, "name": f"Product {key}", "registration": key, "formulation": formulation,
        "product_class": ProductClass.GENERAL, "diluted": False,
        "ingredients": tuple(
            Ingredient(name, Fraction(per_cent) / 100, cas) for name, cas, per_cent in actives
        ),
        "digest": f"{key}".encode().hex().ljust(64, "0"),
    }  # fmt: skip
    return Product(**{**values, **more})  # type: ignore[arg-type]


DUST = product(
    "99999-11", Formulation.DUST, [("cyfluthrin", "68359-37-5", "0.1")],
    name="Ridgeline Crevice Dust",
)  # fmt: skip
ALDER = product("99999-12", Formulation.DUST, [("silicon dioxide", "7631-86-9", "92")])
SPRAY = product(
    "99999-21", Formulation.LIQUID, [("bifenthrin", "82657-04-3", "6.5")],
    specific_gravity=Fraction("1.021"), diluted=True, name="Ridgeline Residual Concentrate",
)  # fmt: skip
GEL = product("99999-31", Formulation.BAIT, [("dinotefuran", "165252-70-0", "0.4")])
GRANULE = product("99999-51", Formulation.GRANULE, [("lambda-cyhalothrin", "91465-08-6", "0.04")])
POWDER = product("99999-61", Formulation.DUST, [("zinc phosphide", "1314-84-7", "8")])
SLATE = product("99999-62", Formulation.DUST, [("chlorophacinone", "3691-35-8", "0.2")])
MINT = product(
    "hearth-mint", Formulation.LIQUID, [("peppermint oil", "8006-90-4", "2")],
    name="Hearth Mint Spray", registration=None, product_class=ProductClass.MINIMUM_RISK,
)  # fmt: skip
AEROSOL = product(
    "99999-41", Formulation.PRESSURISED, [("pyrethrins", "8003-34-7", "0.4")],
    name="Tarn Space Aerosol",
    ingredients=(
        Ingredient("pyrethrins", Fraction(4, 1000), "8003-34-7"),
        Ingredient("piperonyl butoxide", Fraction(3, 100), "51-03-6", synergist=True),
    ),
)  # fmt: skip

PRODUCTS = {
    item.digest[:16]: item
    for item in (DUST, ALDER, SPRAY, GEL, GRANULE, POWDER, SLATE, MINT, AEROSOL)
}


def group(
    item: Product, county: str, amount: str, unit: str, lines: int = 1, **more: object
) -> UseGroup:
    """Return the use of a product: ``amount`` as a fraction, its denominator as written."""
    exact = Fraction(amount)
    values: dict[str, object] = {
        "jurisdiction": "us-ca", "county": county, "product_key": item.key, "label": item.digest,
        "site_code": "10", "unit": unit, "denominator": exact.denominator,
        "numerator": exact.numerator, "lines": lines, "visits": 1,
    }  # fmt: skip
    return UseGroup(**{**values, **more})  # type: ignore[arg-type]


FIRST_DAY = (
    group(DUST, "Placer", "0.75", "oz"),
    group(DUST, "Placer", "0.25", "oz"),
    group(DUST, "Placer", "20.5", "g"),
    group(ALDER, "Placer", "0.5", "oz"),
    group(GEL, "Placer", "6", "g"),
    group(GRANULE, "Placer", "2.25", "lb"),
    group(SPRAY, "Nevada", "0.9", "fl oz"),
    group(POWDER, "Nevada", "1.5", "oz"),
    group(MINT, "Placer", "3", "fl oz"),
)
"""What the sheet of 14 January 2026 gives."""

# 0.06 % of active ingredient by weight of a mix, from 6.5 % and specific gravity 1.021, is
# 1.1572364951... fl oz a gallon (water at 8.345404... lb a gallon); 1.5 gal were put down. The
# journal keeps it to a billionth.
SECOND_DAY = (
    *FIRST_DAY,
    group(DUST, "Placer", "0.5", "oz"),
    group(DUST, "Placer", "1.25", "oz"),
    group(SPRAY, "Nevada", "1735854743/1000000000", "fl oz"),
    group(SPRAY, "Nevada", "0.1875", "fl oz"),
    group(POWDER, "Nevada", "1", "oz"),
    group(SLATE, "Nevada", "1", "oz"),
)
"""What both sheets give together."""


@cache
def book(*forms: str) -> Book:
    """Return the shipped rules with the named files of ``fixtures/forms`` beside them."""
    files = list(gather(shipped_rules(), None, None).files)
    files += [
        RawFile("form", f"forms/{name}", (FORMS / name).read_bytes(), shipped=False)
        for name in forms
    ]
    return read_book(files)


def form(id_: str, *forms: str) -> Form:
    """Return a form of that book; the book must be without faults in it."""
    found = book(*forms).form(id_)
    assert found is not None, [fault.what for fault in book(*forms).faults]
    return found
