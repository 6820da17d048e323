"""How a check speaks: plain numbers, the rule's authority, and findings made from a limit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from ledger.rulebook.model import Limit, Read
from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.entry import Application
from ledger.values.finding import Finding, Kind
from ledger.values.product import Product

_AUTHORITY = {"LABEL": "the label", "LAW": "the law", "PRACTICE": "practice"}
_SINGULAR = {"voids": "void", "placements": "placement", "spots": "spot", "rooms": "room",
             "dwellings": "dwelling", "structures": "structure", "cans": "can",
             "puffs": "puff"}  # fmt: skip
_CALENDAR = {"day", "month", "year"}


def _nobody(_use: Application) -> Product | None:
    return None


@dataclass(frozen=True, slots=True)
class Tools:
    """What every check gets beside the case: units, the facts for conditions, whose rule it is.

    ``prefix`` is ``LABEL``, ``LAW`` or ``PRACTICE`` and begins the codes of the findings.
    ``product_of`` gives the product of another application by the label in hand, or None.
    """

    units: Units
    facts: Mapping[str, Any] = field(hash=False)
    prefix: str = "LABEL"
    product_of: Callable[[Application], Product | None] = field(default=_nobody, hash=False)

    @property
    def authority(self) -> str:
        """Who speaks, in a sentence: ``the label``, ``the law``, ``practice``."""
        return _AUTHORITY[self.prefix]

    def into(self, quantity: Quantity, unit: str) -> Fraction | None:
        """Return the value in another unit, or None where the two do not measure the same."""
        try:
            return self.units.convert(quantity, unit).value
        except (KeyError, ValueError):
            return None


def plain(value: Fraction) -> str:
    """Return a number as people read it: exact where it ends, else four figures and "about"."""
    scaled, places = value, 0
    while scaled.denominator != 1 and places < 6:
        scaled, places = value * 10 ** (places + 1), places + 1
    if scaled.denominator == 1:
        return _decimal(scaled.numerator, places)
    places = 3
    while abs(value) * 10**places < 1000 and places < 12:
        places += 1
    text = _decimal(round(value * 10**places), places)
    return f"about {text.rstrip('0').rstrip('.')}"


def _decimal(digits: int, places: int) -> str:
    """Return ``digits`` with the point ``places`` from the right, thousands apart."""
    whole, rest = divmod(abs(digits), 10**places)
    sign = "-" if digits < 0 else ""
    return f"{sign}{whole:,}" + (f".{rest:0{places}d}" if places else "")


def said(quantity: Quantity) -> str:
    """Return a quantity as people read it: ``3.125 oz``; counts have no unit."""
    number, unit = plain(quantity.value), quantity.unit
    if unit in _CALENDAR and quantity.value != 1:
        unit = f"{unit}s"
    return number if unit == "each" else f"{number} {unit}"


def exactly(quantity: Quantity) -> str:
    """Return a quantity that was not rounded to a scale: ``exactly 15 mL``, or ``about 7.393 mL``
    where its digits do not end."""
    text = said(quantity)
    return text if text.startswith("about ") else f"exactly {text}"


def per_words(per: Quantity, what: str) -> str:
    """Return a denominator in words: ``100 ft``, ``10 voids``, ``placement``."""
    if per.unit != "each":
        return said(per)
    return _SINGULAR.get(what, what) if per.value == 1 else f"{plain(per.value)} {what}"


def verdict(limit: Limit, kind: Kind) -> Kind:
    """Return the kind that a limit's finding may have: only a read, mandatory rule decides."""
    return kind if limit.mandatory and limit.read.decides else Kind.ADVICE


def unverified(read: Read) -> str:
    """Return the words that begin a finding whose source was never read."""
    return "" if read.decides else "unverified: "


def finding(
    limit: Limit, tools: Tools, kind: Kind, text: str, column: str, way_out: str = ""
) -> Finding:
    """Return a finding of a limit, with the limit's name, code and rule."""
    kind = verdict(limit, kind)
    code = f"{tools.prefix}-{limit.shape.name.replace('_', '-')}"
    text = f"{unverified(limit.read)}{text}"
    blocks = limit.blocks and kind is Kind.MISSING
    return Finding(kind, code, limit.name, text, column, way_out, (limit.ref,), blocks)


def below(limit: Limit) -> Kind:
    """Return what lies below a minimum: advice, unless the rule makes it a breach."""
    return Kind.BREACH if limit.below_breaks else Kind.ADVICE


def over(value: Fraction, most: Fraction, inclusive: bool) -> bool:
    """Say whether a value breaks a maximum; bounds are inclusive unless the rule says not."""
    return value > most or (value == most and not inclusive)


def under(value: Fraction, least: Fraction, inclusive: bool) -> bool:
    """Say whether a value breaks a minimum."""
    return value < least or (value == least and not inclusive)
