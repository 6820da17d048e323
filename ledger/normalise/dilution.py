"""Step 2, dilutions: how strong a mix was, and the undiluted product behind it.

Read: ``1 fl oz/gal``, ``2 fl oz per 100 gal``, ``4 oz/gal`` of a powder, ``0.06 % ai``,
``1 % product``, ``1:100``, ``1 in 100``, ``1 + 100``, ``none``. A bare per cent is refused, since
a label's per cent and a tank's are seldom the same thing.
"""

from __future__ import annotations

import re
from fractions import Fraction

from ledger.arithmetic import active_share, share_in, share_with, undiluted
from ledger.normalise.terms import SPOONS, beside, read_measured
from ledger.numbers import NUMBER_START, keeps, read_number, read_quantity
from ledger.units import Units
from ledger.values.amount import Amount, Basis, Dilution, Quantity, Strength, Used
from ledger.values.finding import Fault
from ledger.values.lexicon import fold
from ledger.values.origin import Origin
from ledger.values.product import Product
from ledger.values.reading import Reading

PLACES = 10**9
"""A derived amount is rounded half to even to one part in this of its unit."""

ONE_IN = "1 in N"
ONE_TO = "1 + N"

_NONE = frozenset({"none", "neat", "undiluted"})
_INGREDIENT = frozenset({"ai", "a i", "active", "active ingredient", "active ingredients"})
_PRODUCT = frozenset({"product", "concentrate", "of product", "v/v", "by volume"})
_PER_CENT = re.compile(r"(.+?)\s*(?:%|per\s?cent\b|pct\b)\s*(.*)", re.IGNORECASE)
_RATIO = re.compile(r"(.+?)\s*(:|\bto\b|\bin\b|\+)\s*(.+)", re.IGNORECASE)
_PER = re.compile(r"(?<=[A-Za-z.#])\s*/\s*|\s+per\s+", re.IGNORECASE)
_HOW = "write it as 1 fl oz/gal, 0.06 % ai, 1 % product, 1:100 or none"


def read_dilution(
    text: str, product: Product | None, units: Units, ratio: str, origin: Origin
) -> Reading[Dilution]:
    """Return the dilution that ``text`` writes; nothing and no fault where it is blank.

    ``ratio`` is the firm's reading of ``1:100``: ``1 in N`` (a share of 1/100) or ``1 + N``
    (1/101). ``1 in 100`` and ``1 + 100`` written out say it themselves.

    Faults: DILUTION-UNREADABLE, DILUTION-PER-CENT (bare), DILUTION-RATIO (the firm does not say),
    DILUTION-STRENGTH (stronger than the product), DILUTION-ZERO, DILUTION-DIMENSION,
    DILUTION-SPOON, and AMOUNT- codes of the numbers and units in it.
    """
    said = " ".join(text.split())
    if not said:
        return Reading(None)
    if fold(said) in _NONE:
        return Reading(Dilution(said, Strength.NONE))
    per_cent = _PER_CENT.fullmatch(said)
    if per_cent:
        return _per_cent(said, per_cent[1], per_cent[2], product, origin)
    sides = _PER.split(said)
    if len(sides) == 2:
        return _rate(said, (sides[0], sides[1]), product, units, origin)
    parts = _RATIO.fullmatch(said)
    if parts and all(re.match(rf"[{NUMBER_START}]", side) for side in (parts[1], parts[3])):
        return _ratio(said, (parts[1], parts[2], parts[3]), ratio, origin)
    return _refused("DILUTION-UNREADABLE", origin, f'"{said}" is not a dilution', _HOW)


def _refused(code: str, origin: Origin, what: str, way_out: str) -> Reading[Dilution]:
    return Reading(None, (Fault(code, origin, what, way_out),))


def _per_cent(
    said: str, number: str, of: str, product: Product | None, origin: Origin
) -> Reading[Dilution]:
    reading = read_number(number, origin)
    if reading.value is None:
        return _wrong(said, reading.faults[0], origin)
    value = reading.value
    word = fold(of.replace(".", " "))
    if word not in _INGREDIENT | _PRODUCT:
        what = f'"{said}" does not say what is {number} per cent of the mix'
        return _refused("DILUTION-PER-CENT", origin, what, "write % ai or % product")
    if not value:
        return _nothing(said, origin)
    strength, most = Strength.PRODUCT_PER_CENT, Fraction(100)
    remarks: tuple[str, ...] = ()
    if word in _INGREDIENT:
        strength = Strength.INGREDIENT_PER_CENT
        if product is not None:
            most = active_share(product) * 100 or most
            actives = [part.name for part in product.ingredients if not part.synergist]
            together = f'the per cent of "{said}" is taken as {" and ".join(actives)} together'
            remarks = (together,) if len(actives) > 1 else ()
    if value > most:
        return _too_strong(said, origin)
    return Reading(Dilution(said, strength, value), (), remarks)


def _wrong(said: str, fault: Fault, origin: Origin) -> Reading[Dilution]:
    """Return the fault of a part; where that part is no number at all, of the whole."""
    if fault.code == "AMOUNT-NUMBER":
        return _refused("DILUTION-UNREADABLE", origin, f'"{said}" is not a dilution', _HOW)
    return Reading(None, (fault,))


def _nothing(said: str, origin: Origin) -> Reading[Dilution]:
    what = f'"{said}" says that the mix holds no product'
    return _refused("DILUTION-ZERO", origin, what, f"correct the number; {_HOW}")


def _too_strong(said: str, origin: Origin) -> Reading[Dilution]:
    what = f'"{said}" is stronger than the product itself'
    return _refused("DILUTION-STRENGTH", origin, what, f"correct the number; {_HOW}")


def _ratio(said: str, parts: tuple[str, str, str], ratio: str, origin: Origin) -> Reading[Dilution]:
    first, second = read_number(parts[0], origin), read_number(parts[2], origin)
    if first.value is None or second.value is None:
        return _wrong(said, (first.faults + second.faults)[0], origin)
    sign = parts[1].casefold()
    how = {"in": ONE_IN, "+": ONE_TO}.get(sign, " ".join(ratio.split()))
    if how not in {ONE_IN, ONE_TO}:
        what = f'"{said}" may be {parts[0]} in {parts[2]} or {parts[0]} + {parts[2]}'
        way_out = 'write one of the two, or set ratio = "1 in N" or "1 + N" in the firm file'
        return _refused("DILUTION-RATIO", origin, what, way_out)
    if not first.value or not second.value:
        return _nothing(said, origin)
    if how == ONE_IN and first.value > second.value:
        return _too_strong(said, origin)
    share = (share_in if how == ONE_IN else share_with)(first.value, second.value)
    if not keeps(share):
        what = f'"{said}" has more digits than can be kept exactly'
        return _refused("AMOUNT-TOO-LARGE", origin, what, "check it; write shorter numbers")
    word = "in" if how == ONE_IN else "and"
    whole = "parts of mix" if how == ONE_IN else "parts of water"
    remark = f'"{said}" is read as {parts[0]} of product {word} {parts[2]} {whole}'
    return Reading(Dilution(said, Strength.RATIO, share), (), (remark,))


def _rate(
    said: str, sides: tuple[str, str], product: Product | None, units: Units, origin: Origin
) -> Reading[Dilution]:
    ounce = "" if product is None else "oz" if product.weighed else "fl oz"
    rate = read_measured(sides[0], units, origin, ounce)
    # "per gal" is per 1 gal.
    per = read_quantity(sides[1], units, origin)
    if per.value is None and units.find(sides[1]) is not None:
        per = read_quantity(f"1 {sides[1]}", units, origin)
    if rate.value is None or per.value is None:
        return _wrong(said, (rate.faults + per.faults)[0], origin)
    fault = _unfit(said, rate.value, per.value, product, units, origin)
    if fault is not None:
        return Reading(None, (fault,))
    if not rate.value.value or not per.value.value:
        return _nothing(said, origin)
    alike = units.comparable(rate.value.unit, per.value.unit)
    if alike and units.convert(rate.value, per.value.unit).value > per.value.value:
        return _too_strong(said, origin)
    dilution = Dilution(said, Strength.RATE, None, rate.value, per.value)
    return Reading(dilution, (), rate.remarks)


def _unfit(
    said: str, rate: Quantity, per: Quantity, product: Product | None, units: Units, origin: Origin
) -> Fault | None:
    """Return why this rate cannot be the strength of a mix of this product, if it cannot."""
    code, unit = "DILUTION-DIMENSION", units.dimension(per.unit)
    if unit not in {"mass", "volume"}:
        what = f'"{said}" is a rate on {unit}, not the strength of a mix'
        return Fault(code, origin, what, f"the extent is a column of its own; {_HOW}")
    if product is None:
        return None
    poured = units.dimension(rate.unit) == "volume"
    if product.weighed and rate.unit in SPOONS:
        what = f'"{said}" of a {product.formulation}: what a spoon of it weighs differs by lot'
        return Fault("DILUTION-SPOON", origin, what, "weigh it and write oz or g, as 4 oz/gal")
    if product.weighed and poured:
        what = f'"{said}" measures the product by volume, and it is weighed'
        return Fault(code, origin, what, "write its weight, as 4 oz/gal")
    if not product.weighed and not poured and product.specific_gravity is None:
        what = f'"{said}" weighs a liquid, and the label gives no specific gravity'
        return Fault(code, origin, what, "write its volume, as 1 fl oz/gal")
    return None


def work_out_used(
    amount: Amount, dilution: Dilution | None, product: Product | None, units: Units, origin: Origin
) -> Reading[Used]:
    """Return the undiluted product that was used.

    Product is kept as typed, as a reduced fraction. Product behind a mix is worked out exactly
    and rounded half to even to a billionth of its unit (``derived``); a liquid is told in fl oz,
    a dry product in the unit of its rate or in oz. ``none`` keeps the amount as typed.

    Ask only where the dilution was read without a fault. Faults: DILUTION-BLANK (a mix whose
    strength is not written), DILUTION-LABEL (a fact of the label is missing),
    DILUTION-DIMENSION, AMOUNT-DIMENSION, AMOUNT-TOO-LARGE, AMOUNT-ZERO.
    """
    typed = amount.quantity
    if amount.basis is not Basis.MIX:
        return Reading(_kept(typed))
    if dilution is None:
        at = beside(origin, "dilution")
        what = f'the strength of the mix behind "{amount.text}" is not written'
        return Reading(None, (Fault("DILUTION-BLANK", at, what, _HOW),))
    if dilution.strength is Strength.NONE:
        fault = _neat(amount, product, units, beside(origin, "amount"))
        return Reading(None, (fault,)) if fault else Reading(_kept(typed))
    found = undiluted(typed, dilution, product, units)
    if found is None:
        fault = _why_not(amount, dilution, product, beside(origin, "dilution"))
        return Reading(None, (fault,))
    rounded = Fraction(round(found.value * PLACES), PLACES)  # half to even
    if not rounded or not keeps(rounded):
        code = "AMOUNT-TOO-LARGE" if rounded else "AMOUNT-ZERO"
        size = "more than can be kept exactly" if rounded else "less than can be told"
        what = f'the product in "{amount.text}" at {dilution.text} is {size}'
        at = beside(origin, "amount")
        return Reading(None, (Fault(code, at, what, "check the amount and the dilution"),))
    return Reading(Used(rounded.numerator, rounded.denominator, found.unit, derived=True))


def _kept(typed: Quantity) -> Used:
    return Used(typed.value.numerator, typed.value.denominator, typed.unit)


def _neat(amount: Amount, product: Product | None, units: Units, origin: Origin) -> Fault | None:
    """Return why an undiluted "mix" cannot be an amount of this product, if it cannot."""
    if product is None:
        return None
    poured = units.dimension(amount.quantity.unit) == "volume"
    if product.weighed and poured:
        what = f'"{amount.text}" is a volume, and {product.name} is weighed'
        return Fault("AMOUNT-DIMENSION", origin, what, "weigh it and write oz, lb or g")
    if not product.weighed and not poured and product.specific_gravity is None:
        what = f'"{amount.text}" is a weight, and the label gives no specific gravity'
        return Fault("AMOUNT-DIMENSION", origin, what, "write fl oz, pt, gal or mL")
    return None


def _why_not(amount: Amount, dilution: Dilution, product: Product | None, origin: Origin) -> Fault:
    """Return which fact is missing to find the product in a mix."""
    if dilution.strength is Strength.RATE:
        what = f'"{dilution.text}" does not fit "{amount.text}": one is by weight, one by volume'
        way_out = "write the amount of mix and its strength both by volume, as 1 gal, 1 fl oz/gal"
        return Fault("DILUTION-DIMENSION", origin, what, way_out)
    if product is None:
        what = f'"{dilution.text}" needs the label, which could not be read'
        way_out = "put the label file right, or write the dilution as 1 fl oz/gal"
        return Fault("DILUTION-LABEL", origin, what, way_out)
    if dilution.strength is not Strength.INGREDIENT_PER_CENT:
        what = f'"{dilution.text}" of a product that is weighed, in a mix that is measured'
        return Fault("DILUTION-DIMENSION", origin, what, "write its weight, as 4 oz/gal")
    if not active_share(product):
        fact, key = "active ingredient", "[[ingredient]]"
    else:
        fact, key = "specific gravity", "specific_gravity"
    what = f'"{dilution.text}" needs the {fact} of {product.name}, which its label file lacks'
    way_out = f"add {key} to the label file, or write the dilution as 1 fl oz/gal"
    return Fault("DILUTION-LABEL", origin, what, way_out)
