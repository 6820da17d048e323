"""Weights and volumes as people write them: ``0.5 oz``, ``1 lb 10 oz``, ``3 1/4 fl. oz.``

Shared by amounts and dilutions. A bare ounce is settled by what stands beside it, else by what
the caller knows of the product; a counted thing is refused as an amount.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from ledger.numbers import NUMBER_START, VULGAR, keeps, read_quantity, split_number, unit_fault
from ledger.units import Units, spelling
from ledger.values.amount import Quantity
from ledger.values.finding import Fault
from ledger.values.origin import Origin
from ledger.values.reading import Reading
from ledger.values.rounding import exact_text

SPOONS = frozenset({"tsp", "tbsp", "cup"})
"""Units of the kitchen; what a spoon of powder weighs differs twofold between lots."""

_LONGEST = 200
_BARE_OUNCE = frozenset({"oz", "ozs", "ounce", "ounces"})
_COUNTED = frozenset({
    "application", "bag", "bait", "block", "bottle", "box", "can", "canister", "capsule",
    "cartridge", "container", "cube", "dab", "dose", "dot", "drop", "each", "envelope", "fill",
    "glob", "item", "load", "pack", "package", "packet", "pad", "piece", "pinch", "placement",
    "point", "pouch", "puff", "pump", "scoop", "shot", "spot", "spray", "sprayer", "spritz",
    "squeeze", "squirt", "station", "stick", "stroke", "syringe", "tablet", "tank", "tankful",
    "trap", "treatment", "tray", "tube", "unit", "void", "wafer",
})  # fmt: skip
_AMOUNT_WORDS = frozenset({
    *_BARE_OUNCE, "lb", "lbs", "g", "gram", "grams", "fl", "gal", "gals", "gallon", "gallons",
    "pt", "qt", "ml",
})  # fmt: skip
_VAGUE = re.compile(
    r"(?:about|approx|around|ca\b|circa|roughly|less|more|up to|[~\u2248<>])", re.IGNORECASE
)
_TERM = re.compile(
    rf"([{NUMBER_START}][{NUMBER_START},/\u2044\u2215\s\u2010\u2011\u2013-]*?)\s*"
    rf"(?=[A-Za-z#'%])((?:(?!\.?[0-9]|[{VULGAR}])[^\s,;+&]|[\s,;+&](?!\s*[.0-9{VULGAR}]))+)"
    r"\s*(?:,|;|\+|&)?\s*",
    re.ASCII,
)
_AND = re.compile(r"\s+and$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Term:
    """One number with its unit; ``bare`` says that it is an ounce without its kind."""

    quantity: Quantity
    bare: bool


def read_measured(text: str, units: Units, origin: Origin, ounce: str) -> Reading[Quantity]:
    """Return a weight or a volume, in the unit of its last part.

    ``ounce`` is the unit of a bare ounce (``oz`` or ``fl oz``), empty where nobody can tell.
    Faults: those of a number, AMOUNT-UNIT, AMOUNT-DIMENSION, AMOUNT-COUNT, AMOUNT-OUNCE,
    AMOUNT-ORDER, AMOUNT-TOO-LARGE. A remark tells where a bare ounce was taken for a fluid one.
    """
    said = " ".join(text.split())
    if len(said) > _LONGEST:
        what = f'"{said[:20]}..." is too long to be an amount'
        return Reading(None, (Fault("AMOUNT-NUMBER", origin, what, "write it as 0.5 oz"),))
    parts = _parts(said, units, origin)
    if isinstance(parts, Fault):
        return Reading(None, (parts,))
    remarks = ['"#" is read as pounds'] if "#" in said else []
    if any(part.bare for part in parts):
        settled = _settled(parts, units, ounce)
        if settled is None:
            what = "an ounce may be a weight or a volume, and the label of the product was not read"
            way_out = 'write "oz wt" or "fl oz", or put the label file right'
            return Reading(None, (Fault("AMOUNT-OUNCE", origin, what, way_out),))
        parts = settled
    fault = _order(parts, units, origin)
    if fault is not None:
        return Reading(None, (fault,))
    unit = parts[-1].quantity.unit
    values = (units.convert(part.quantity, unit).value for part in parts)
    total = Quantity(sum(values, Fraction(0)), unit)
    if not keeps(total.value):
        what = f'"{said}" has more digits than can be kept exactly'
        way_out = "check it; write a shorter number or a larger unit"
        return Reading(None, (Fault("AMOUNT-TOO-LARGE", origin, what, way_out),))
    if parts[-1].bare and total.unit == "fl oz":
        remarks.append(f'"{said}" of a liquid is read as {exact_text(total.value)} fl oz')
    return Reading(total, (), tuple(remarks))


def beside(origin: Origin, column: str) -> Origin:
    """Return the place of another cell of the same row, where ``origin`` is a cell of a sheet."""
    if origin.column in {"amount", "basis", "dilution"} and origin.column != column:
        return origin._replace(column=column, cell=None)
    return origin


def _parts(said: str, units: Units, origin: Origin) -> Sequence[Term] | Fault:
    """Return the parts of a text, or the first fault in it."""
    whole = read_quantity(said, units, origin)
    if whole.value is not None:
        return _one(said, whole.value, units, origin)
    fault = whole.faults[0]
    texts = _split(said) if fault.code == "AMOUNT-UNIT" else []
    if len(texts) < 2:
        return _explained(said, fault, units, origin)
    found: list[Term] = []
    for text in texts:
        part = read_quantity(text, units, origin)
        if part.value is None:
            return _explained(text, part.faults[0], units, origin)
        term = _one(text, part.value, units, origin)
        if isinstance(term, Fault):
            return term
        found += term
    return found


def _split(said: str) -> list[str]:
    """Return the terms of ``1 lb 10 oz``; an empty list where it is not made of terms."""
    found, at = [], 0
    while at < len(said):
        term = _TERM.match(said, at)
        if term is None:
            return []
        found.append(f"{term[1]} {_AND.sub('', term[2].strip())}")
        at = term.end()
    return found


def _one(text: str, quantity: Quantity, units: Units, origin: Origin) -> list[Term] | Fault:
    """Return a quantity as a term, or the fault that it is not an amount of anything."""
    dimension = units.dimension(quantity.unit)
    if dimension == "count":
        return _not_an_amount(text, origin)
    if dimension not in {"mass", "volume"}:
        what = f'"{text}" is a {dimension}, not an amount'
        way_out = "write a weight or a volume, as 0.5 oz or 1 gal"
        if dimension == "time":
            way_out += (
                "; seconds become an amount where equipment names a can that was weighed with this"
                " product by the second"
            )
        if quantity.unit == "C":
            way_out = 'C is degrees Celsius here; for the kitchen measure write "cup"'
        return Fault("AMOUNT-DIMENSION", origin, what, way_out)
    split = split_number(text)
    bare = split is not None and spelling(split[1]) in _BARE_OUNCE
    return [Term(quantity, bare)]


def _explained(text: str, fault: Fault, units: Units, origin: Origin) -> Fault:
    """Return the fault in the words of an amount."""
    split = split_number(text)
    words = spelling(split[1] if split else text).casefold().split()
    if _VAGUE.match(text):
        what = f'"{text}" is not one amount'
        return Fault("AMOUNT-NUMBER", origin, what, "write the one amount that was used")
    if fault.code in {"AMOUNT-UNIT", "AMOUNT-NUMBER"} and _counted(words):
        return _not_an_amount(text, origin)
    if words in (["to"], ["or"]):
        what = f'"{text} ..." is a range, not one amount'
        return Fault("AMOUNT-RANGE", origin, what, "write the one amount that was used")
    if fault.code == "AMOUNT-UNIT" and split:
        return unit_fault(split[1], units, origin)
    if fault.code == "AMOUNT-NUMBER":
        way_out = "write a number and a unit, as 0.5 oz, 1/2 oz or 12.5 g"
        return replace(fault, what=f'"{text}" is not an amount', way_out=way_out)
    if fault.code == "AMOUNT-RANGE":
        way_out = "write the one amount that was used, or both readings, as 212.4 g - 198.1 g"
        return replace(fault, way_out=way_out)
    return fault


def _counted(words: Sequence[str]) -> bool:
    if any(word in _AMOUNT_WORDS for word in words):  # "oz bait" has a unit, if a wrong one
        return False
    singular = (
        w for word in words for w in (word, word.removesuffix("s"), word.removesuffix("es"))
    )
    return not _COUNTED.isdisjoint(singular)


def _not_an_amount(text: str, origin: Origin) -> Fault:
    what = f'"{text}" is not an amount: it counts things'
    way_out = (
        "write the weight or the volume that was used; the count belongs under extent "
        "(12 placements), and a weighed calibration can make an amount of it"
    )
    return Fault("AMOUNT-COUNT", origin, what, way_out)


def _settled(parts: Sequence[Term], units: Units, ounce: str) -> list[Term] | None:
    """Return the parts with every bare ounce settled by its neighbours, else by ``ounce``."""
    beside = {units.dimension(part.quantity.unit) for part in parts if not part.bare}
    unit = ounce
    if len(beside) == 1:
        unit = "fl oz" if beside == {"volume"} else "oz"
    if not unit:
        return None
    return [
        replace(part, quantity=Quantity(part.quantity.value, unit)) if part.bare else part
        for part in parts
    ]


def _order(parts: Sequence[Term], units: Units, origin: Origin) -> Fault | None:
    """Refuse ``10 oz 1 lb``, ``1 lb 20 oz`` and ``1 lb 3 fl oz``: each may be a slip."""
    for larger, smaller in pairwise(parts):
        one, other = larger.quantity, smaller.quantity
        if not units.comparable(one.unit, other.unit):
            what = f"{one.unit} and {other.unit} do not add up: one is a weight, one a volume"
            return Fault("AMOUNT-DIMENSION", origin, what, "write one amount in one unit")
        if one.unit == other.unit or units.convert(other, one.unit).value >= 1:
            what = f"the part in {other.unit} is not less than 1 {one.unit}"
            way_out = "write the larger unit first, as 1 lb 10 oz, or one amount in one unit"
            return Fault("AMOUNT-ORDER", origin, what, way_out)
    return None
