"""Step 2, amounts: what was used, as written, with its basis.

Weights and volumes are read by :mod:`ledger.normalise.terms`; here the product decides what an
ounce is and whether a pint can be one, and the basis is settled. Dilutions and the undiluted
product behind a mix are read in :mod:`ledger.normalise.dilution`.
"""

from __future__ import annotations

import re
from difflib import get_close_matches

from ledger.normalise.dilution import read_dilution, work_out_used
from ledger.normalise.terms import SPOONS, beside, read_measured
from ledger.numbers import VULGAR
from ledger.units import Units
from ledger.values.amount import Amount, Basis, Quantity
from ledger.values.finding import Fault
from ledger.values.lexicon import fold
from ledger.values.origin import Origin
from ledger.values.product import Formulation, Product
from ledger.values.reading import Reading
from ledger.values.rounding import exact_text

__all__ = ["read_amount", "read_dilution", "work_out_used"]

_BASES = {
    "product": Basis.PRODUCT, "undiluted product": Basis.PRODUCT,
    "mix": Basis.MIX, "finished mix": Basis.MIX,
}  # fmt: skip
_MINUS = re.compile(
    rf"(?<=[A-Za-z.#\"'])\s*[-\u2010-\u2015\u2212]\s*(?=\.?[0-9]|[{VULGAR}])", re.ASCII
)
_MIXED_WITH_WATER = frozenset({Formulation.LIQUID, Formulation.POWDER})


def read_amount(
    text: str, basis_text: str, product: Product | None, units: Units, origin: Origin
) -> Reading[Amount]:
    """Return the amount that ``text`` writes, exactly, with its basis.

    ``product`` is None where its label could not be read; what needs the label is then a fault.
    A blank basis means product for what is used as it comes. Where the label could not be read,
    a weight with a blank basis is taken as product (a finished mix is measured, not weighed) and
    a volume is a fault.

    Faults: AMOUNT-BASIS (blank where it must be said), AMOUNT-BASIS-WORD, AMOUNT-BLANK,
    AMOUNT-ZERO, AMOUNT-NEGATIVE, AMOUNT-NUMBER, AMOUNT-COMMA, AMOUNT-EXPONENT, AMOUNT-RANGE,
    AMOUNT-TOO-LARGE, AMOUNT-UNIT, AMOUNT-COUNT, AMOUNT-OUNCE, AMOUNT-DIMENSION, AMOUNT-SPOON,
    AMOUNT-ORDER, AMOUNT-WEIGHING, AMOUNT-TWO-WAYS. Faults of the basis and of the amount are
    told together.
    """
    said = " ".join(text.split())
    basis, basis_fault = _basis(basis_text, product, origin)
    found, weighing, faults, remarks = _quantity(said, _ounce(product, basis), units, origin)
    if found is not None and basis is None and basis_fault is None:
        basis, basis_fault = _weight_is_product(said, found, units, origin)
        remarks = (*remarks, *_UNREAD_BASIS) if basis else remarks
    if basis_fault is not None:
        return Reading(None, (basis_fault, *faults))
    if found is None or basis is None:
        return Reading(None, faults)
    if basis is Basis.PRODUCT and product is not None:
        fault, told = _fits(said, found, product, units, origin)
        if fault is not None:
            return Reading(None, (fault,))
        remarks = (*remarks, *told)
    return Reading(Amount(said, found, basis, weighing), (), remarks)


_UNREAD_BASIS = ("the label could not be read; a weight is taken as undiluted product",)


def _basis(text: str, product: Product | None, origin: Origin) -> tuple[Basis | None, Fault | None]:
    """Return the basis, or the fault; neither where it is blank and the label was not read."""
    word = fold(text)
    at = beside(origin, "basis")
    if word in _BASES:
        return _BASES[word], None
    if word:
        near = get_close_matches(word, list(_BASES), n=1)
        hint = f'did you mean "{near[0]}"? ' if near else ""
        what = f'"{text.strip()}" does not say what the amount counts'
        way_out = f"{hint}write product or mix"
        return None, Fault("AMOUNT-BASIS-WORD", at, what, way_out)
    if product is None:
        return None, None
    if product.diluted:
        what = f"{product.name} is mixed before use, and the line does not say which it counts"
        way_out = "write product (undiluted) or mix (ready to spray) under basis"
        return None, Fault("AMOUNT-BASIS", at, what, way_out)
    return Basis.PRODUCT, None


def _weight_is_product(
    said: str, found: Quantity, units: Units, origin: Origin
) -> tuple[Basis | None, Fault | None]:
    if units.dimension(found.unit) == "mass":
        return Basis.PRODUCT, None
    at = beside(origin, "basis")
    what = f'the label could not be read, so "{said}" may be product or finished mix'
    way_out = "write product or mix under basis, or put the label file right"
    return None, Fault("AMOUNT-BASIS", at, what, way_out)


def _ounce(product: Product | None, basis: Basis | None) -> str:
    """Return the unit of a bare ounce; empty where the label that says it was not read."""
    if product is None:
        return ""
    if basis is Basis.MIX:
        return "fl oz" if product.formulation in _MIXED_WITH_WATER else "oz"
    return "oz" if product.weighed else "fl oz"


_Found = tuple[
    Quantity | None, tuple[Quantity, Quantity] | None, tuple[Fault, ...], tuple[str, ...]
]


def _quantity(said: str, ounce: str, units: Units, origin: Origin) -> _Found:
    """Return the amount, the two readings of a weighing, the faults and the remarks."""
    if not said:
        what, way_out = "no amount is given", "write what was used, as 0.5 oz or 3/4 gal"
        return None, None, (Fault("AMOUNT-BLANK", origin, what, way_out),), ()
    sides = _MINUS.split(said)
    if len(sides) > 2:
        what = f'"{said}" has more than two readings'
        way_out = "write the reading before and the one after, as 212.4 g - 198.1 g"
        return None, None, (Fault("AMOUNT-WEIGHING", origin, what, way_out),), ()
    if len(sides) == 2:
        return _weighing((sides[0], sides[1]), ounce, units, origin)
    reading = read_measured(said, units, origin, ounce)
    if reading.value is not None and not reading.value.value:
        what = f'"{said}" says that nothing was put down, and a line is an application'
        way_out = "write what was used, or take the line out"
        return None, None, (Fault("AMOUNT-ZERO", origin, what, way_out),), ()
    return reading.value, None, reading.faults, reading.remarks


def _weighing(sides: tuple[str, str], ounce: str, units: Units, origin: Origin) -> _Found:
    """Return the difference of two readings, in the unit of the first."""
    read = [read_measured(side, units, origin, ounce) for side in sides]
    faults = tuple(fault for reading in read for fault in reading.faults)
    remarks = tuple(dict.fromkeys(remark for reading in read for remark in reading.remarks))
    before, after = read[0].value, read[1].value
    if before is None or after is None:
        return None, None, tuple(dict.fromkeys(faults)), ()  # each reading says its own
    fault = _doubt(sides, before, after, units, origin)
    if fault is not None:
        return None, None, (fault,), ()
    left = before.value - units.convert(after, before.unit).value
    if left > 0:
        return Quantity(left, before.unit), (before, after), (), remarks
    if left == 0:
        what = "both readings are the same, so nothing was put down"
        way_out = "correct a reading, or take the line out"
        return None, None, (Fault("AMOUNT-ZERO", origin, what, way_out),), ()
    what = f"the reading after, {sides[1]}, is more than the one before, {sides[0]}"
    way_out = "write the reading before first, as 212.4 g - 198.1 g"
    return None, None, (Fault("AMOUNT-WEIGHING", origin, what, way_out),), ()


def _doubt(
    sides: tuple[str, str], before: Quantity, after: Quantity, units: Units, origin: Origin
) -> Fault | None:
    """Return why the dash between two amounts cannot be trusted to be a minus, if it cannot."""
    if not units.comparable(before.unit, after.unit):
        what = f"{sides[0]} and {sides[1]} are a weight and a volume"
        return Fault("AMOUNT-DIMENSION", origin, what, "write both readings in one unit")
    simple = all(len(re.findall(r"[A-Za-z]\.?\s+[0-9]", side)) == 0 for side in sides)
    less = units.convert(after, before.unit).value < before.value
    if simple and before.unit != after.unit and less:
        what = f'"{sides[0]} - {sides[1]}" may be a sum or a weighing'
        way_out = f"write {sides[0]} {sides[1]}, or both readings in one unit"
        return Fault("AMOUNT-TWO-WAYS", origin, what, way_out)
    return None


def _fits(
    said: str, found: Quantity, product: Product, units: Units, origin: Origin
) -> tuple[Fault | None, tuple[str, ...]]:
    """Say whether the amount can be one of this product: a fault, or remarks."""
    poured = units.dimension(found.unit) == "volume"
    if product.weighed and found.unit in SPOONS:
        what = f'"{said}" of a {_noun(product)}: what a spoon or cup of it weighs differs by lot'
        way_out = "weigh it and write oz, lb or g"
        return Fault("AMOUNT-SPOON", origin, what, way_out), ()
    if product.weighed and poured:
        what = f'"{said}" is a volume, and a {_noun(product)} is weighed'
        return Fault("AMOUNT-DIMENSION", origin, what, "weigh it and write oz, lb or g"), ()
    if product.weighed or poured:
        return None, ()
    if product.specific_gravity is None:
        what = f'"{said}" is a weight, and the label gives no specific gravity to measure it by'
        way_out = "write fl oz, pt, gal or mL, or add specific_gravity to the label file"
        return Fault("AMOUNT-DIMENSION", origin, what, way_out), ()
    gravity = exact_text(product.specific_gravity)
    remark = (
        f'"{said}" of a liquid is kept as the weight it is; the specific gravity {gravity} makes '
        "it a volume where one is needed"
    )
    return None, (remark,)


def _noun(product: Product) -> str:
    if product.formulation is Formulation.PRESSURISED:
        return "pressurised product"
    return str(product.formulation)
