"""Products: named by registration number, label id or name, as they stand on the container.

The rules of registration numbers (40 CFR 156.10(e), 152.132(d)): two groups are a basic product,
a third group is a distributor's company number and means the same product under another label,
letters after the number are a state's own. A file symbol (letters in place of the product
number) and an establishment number are no registrations.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from functools import lru_cache

from ledger.values.finding import Fault
from ledger.values.lexicon import Lexicon, fold
from ledger.values.origin import Origin
from ledger.values.product import Product
from ledger.values.reading import Reading

_PREFIX = re.compile(
    r"^(?:u\.?\s*s\.?\s*)?e\.?p\.?a\.?\s*(?:reg(?:istration)?\b\.?)?\s*(?:no\b\.?|number|#)?\s*[:.]?\s*"
    r"(?=\d)",
    re.IGNORECASE,
)
_ESTABLISHMENT = re.compile(r"^e\.?p\.?a\.?\s*est|^\d+-[A-Z]{2,3}-\d+$", re.IGNORECASE)
_SYMBOL = re.compile(r"^\d+-[REGULATION]+$", re.IGNORECASE)
_GROUPS = re.compile(r"^(\d+)-(\d+)(?:-([A-Z]{1,3}))?(?:-(\d+))?$")


@dataclass(frozen=True, slots=True)
class Named:
    """The product a line names.

    ``key`` is its number as on the container (or its id where the law gives none). ``product``
    is None where the label file could not be read; ``doubtful`` is then that file's path.
    """

    id: str
    key: str
    product: Product | None = None
    doubtful: str = ""


@lru_cache(maxsize=16384)
def registration(text: str) -> str:
    """Return a registration number in its plain form, or the folded text of anything else.

    The printed prefix goes, every kind of dash is one, spaces and leading zeros go.
    """
    plain = _PREFIX.sub("", text)
    plain = re.sub(r"[\u2010-\u2015\u2212]", "-", plain)
    plain = re.sub(r"\s*-\s*", "-", plain).upper()
    if re.fullmatch(r"\d[\dA-Z\s-]*", plain):
        return re.sub(r"(?<![0-9A-Z])0+(?=\d)", "", plain.replace(" ", ""))
    return fold(text)


@lru_cache(maxsize=16384)
def basic(number: str) -> str:
    """Return the first two groups of a registration number, or an empty text."""
    found = _GROUPS.match(number)
    return f"{found[1]}-{found[2]}" if found else ""


def read_product(
    text: str, lot: str, day: date | None, lexicon: Lexicon, origin: Origin
) -> Reading[Named]:
    """Return the product a line names, in the label version of its lot or day."""
    if not text:
        what, way_out = "no product", "write its registration number, or the id of its label file"
        return Reading(None, (Fault("PRODUCT-MISSING", origin, what, way_out),))
    wanted = registration(text)
    named = _exact(wanted, lexicon.products)
    if named:
        return _in_version(named, lot, day)
    doubt = _doubtful(wanted, lexicon)
    if doubt is not None:
        said = f"the label file {doubt.doubtful} cannot be read; nothing of its label is checked"
        return Reading(doubt, (), (said,))
    base = basic(wanted)
    named = [item for item in lexicon.products if base and item.registration == base]
    if named:
        reading = _in_version(named, lot, day)
        found = _GROUPS.match(wanted)
        if reading.value is None or found is None:
            return reading
        own = f"{base}-{found[4]}" if found[4] else base
        kind = "a distributor's number of" if found[4] else "a state's form of"
        said = f"{wanted} is {kind} {base}; the label of {base} is used"
        value = Named(reading.value.id, own, reading.value.product)
        return Reading(value, (), (*reading.remarks, said))
    return Reading(None, (_unknown(text, wanted, lexicon, origin),))


def _exact(wanted: str, products: Iterable[Product]) -> list[Product]:
    products = list(products)
    found = [
        item
        for item in products
        if fold(item.id) == wanted
        or (item.registration and registration(item.registration) == wanted)
    ]
    if found:
        return found
    by_name = [item for item in products if fold(item.name) == wanted]
    return by_name if len({item.id for item in by_name}) == 1 else []


def _in_version(versions: list[Product], lot: str, day: date | None) -> Reading[Named]:
    """Return the label in hand: of the lot, else the newest in force, else the newest before."""
    of_lot = [item for item in versions if lot and fold(lot) in {fold(one) for one in item.lots}]
    held = [item for item in versions if day is None or item.in_force.holds(day)]
    before = [item for item in versions if day is not None and _start(item) <= day]
    remarks: tuple[str, ...] = ()
    if of_lot or held:
        product = max(of_lot or held, key=_start)
    else:
        product = max(before, key=_start) if before else min(versions, key=_start)
        remarks = (f"no version of the label {product.id} was in force on {day}",)
    return Reading(Named(product.id, product.key, product), (), remarks)


def _start(product: Product) -> date:
    return product.in_force.start or date.min


def _doubtful(wanted: str, lexicon: Lexicon) -> Named | None:
    """Return the product of a label file that could not be read, by its id or number."""
    path = next((at for key, at in lexicon.doubtful.items() if registration(key) == wanted), None)
    if path is None:
        return None
    keys = [registration(key) for key, at in lexicon.doubtful.items() if at == path]
    numbers = [key for key in keys if _GROUPS.match(key)]
    names = [key for key in keys if not _GROUPS.match(key)]
    number = numbers[0] if numbers else ""
    return Named(names[0] if names else number, number or names[0], None, path)


def _unknown(text: str, wanted: str, lexicon: Lexicon, origin: Origin) -> Fault:
    spellings: dict[str, Product] = {}
    for item in lexicon.products:
        for spelling in (item.id, item.registration or item.id, item.name):
            spellings.setdefault(fold(spelling), item)
    near = get_close_matches(wanted.casefold(), sorted(spellings), n=1, cutoff=0.5)
    if _ESTABLISHMENT.match(text) or _ESTABLISHMENT.match(wanted):
        what = f'"{text}" is an establishment number, not the number of a product'
    elif _SYMBOL.match(wanted):
        what = f'"{text}" is a file symbol of an application, not a registration number'
    else:
        what = f'no label file has the product "{text}"'
    way_out = "add its label to rules/labels"
    if near:
        item = spellings[near[0]]
        way_out = f"the nearest known is {item.id} ({item.key}, {item.name}); or {way_out}"
    return Fault("PRODUCT-UNKNOWN", origin, what, way_out)
