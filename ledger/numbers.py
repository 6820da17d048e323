"""Numbers and quantities as people write them, read exactly.

Accepted: ``12``, ``0.5``, ``.5``, ``1/2``, ``½``, ``1½``, ``1-1/2``, ``3 1/4``, ``1,000``,
``1,250.5``. Refused, each with its way out: ``0,5`` (two readings), ``1e3``, negative numbers,
anything else.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from unicodedata import numeric

from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.finding import Fault
from ledger.values.origin import Origin
from ledger.values.reading import Reading

VULGAR = {
    mark: Fraction(numeric(mark)).limit_denominator(10)
    for mark in "½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅐⅛⅜⅝⅞⅑⅒"
}
SAFE = 2**53 - 1
"""Whole numbers past this do not survive every reader of JSON; they are refused."""

_MARKS = "".join(VULGAR)
_PLAIN = re.compile(r"\d+(?:\.\d*)?|\.\d+")
_GROUPED = re.compile(r"\d{1,3}(?:,\d{3})+(?:\.\d*)?")
_COMMON = re.compile(r"(?:(?P<whole>\d+)\s*(?:-|\s)\s*)?(?P<top>\d+)\s*/\s*(?P<bottom>\d+)")
_MARKED = re.compile(rf"(?:(?P<whole>\d+)\s*-?\s*)?(?P<mark>[{_MARKS}])")
_LEADING = re.compile(
    rf"(?:\d[\d,]*\s*(?:-|\s)\s*)?\d+\s*[/⁄]\s*\d+|(?:\d+\s*-?\s*)?[{_MARKS}]"
    r"|[-\u2212\u2013]?\s*(?:\d[\d,]*(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?"
)


def read_number(text: str, origin: Origin) -> Reading[Fraction]:
    """Return the number a text says, exactly; a blank text is no number and no fault."""
    plain = text.replace("\u00a0", " ").replace("⁄", "/").strip()
    if not plain:
        return Reading(None)
    value = _exact(plain)
    if value is None:
        return Reading(None, (_refusal(plain, origin),))
    if value.numerator > SAFE or value.denominator > SAFE:
        what = f'"{plain}" has more digits than any measurement'
        return Reading(None, (Fault("AMOUNT-SIZE", origin, what, "check the number"),))
    return Reading(value)


@lru_cache(maxsize=4096)
def _exact(plain: str) -> Fraction | None:
    """Return the value of an accepted form, or None."""
    if len(plain) > 60:
        return None
    if _PLAIN.fullmatch(plain):
        return Fraction(plain if not plain.endswith(".") else plain[:-1])
    if _GROUPED.fullmatch(plain):
        return Fraction(plain.replace(",", "").rstrip("."))
    if match := _COMMON.fullmatch(plain):
        bottom = int(match["bottom"])
        if bottom == 0:
            return None
        return int(match["whole"] or 0) + Fraction(int(match["top"]), bottom)
    if match := _MARKED.fullmatch(plain):
        return int(match["whole"] or 0) + VULGAR[match["mark"]]
    return None


def _refusal(plain: str, origin: Origin) -> Fault:
    """Return why a text is no number, and what to write."""
    if re.fullmatch(r"[-\u2212\u2013]\s*[\d.,/].*", plain):
        return Fault(
            "AMOUNT-NEGATIVE", origin, f'"{plain}" is negative',
            "write what was used as a positive number; take a record back with useledger strike",
        )  # fmt: skip
    if re.fullmatch(r"\d+(?:,\d+)+(?:\.\d*)?|\d*,\d+", plain):
        return Fault(
            "AMOUNT-COMMA", origin, f'"{plain}" can be read two ways',
            f"write {plain.replace(',', '.', 1)} or 1,000",
        )  # fmt: skip
    if re.fullmatch(r"[\d.]+[eE][-+]?\d+", plain):
        return Fault("AMOUNT-EXPONENT", origin, f'"{plain}" has an exponent', "write the number out")
    if "/" in plain and plain.rstrip().endswith("/0"):
        return Fault("AMOUNT-NUMBER", origin, f'"{plain}" divides by zero', "check the fraction")
    return Fault(
        "AMOUNT-NUMBER", origin, f'"{plain}" is not a number',
        "write it as 12, 0.5, 1/2 or 1-1/2",
    )  # fmt: skip


def split_number(text: str) -> tuple[str, str]:
    """Return the number a text begins with and the rest (``1-1/2 pt`` to ``1-1/2`` and ``pt``)."""
    plain = text.replace("\u00a0", " ").strip()
    match = _LEADING.match(plain)
    if match is None:
        return "", plain
    return match[0].strip(), plain[match.end() :].strip()


def read_quantity(
    text: str, units: Units, origin: Origin, dimension: str | None = None
) -> Reading[Quantity]:
    """Return a number with its unit (``10 mph``); blank is neither a value nor a fault.

    With ``dimension`` (or several, joined by " or ") another kind of unit is a fault.
    """
    plain = text.replace("\u00a0", " ").strip()
    if not plain:
        return Reading(None)
    number_text, unit_text = split_number(plain)
    number = read_number(number_text or plain, origin)
    if number.value is None:
        return Reading(None, number.faults)
    if not unit_text:
        what = f'"{plain}" has no unit'
        return Reading(None, (Fault("AMOUNT-NO-UNIT", origin, what, "write the unit after it"),))
    unit = units.find(unit_text)
    if unit is None:
        near = units.nearest(unit_text)
        hint = f'did you mean "{near}"?' if near else "see rules/units.toml for the units"
        what = f'"{unit_text}" is not a unit'
        return Reading(None, (Fault("AMOUNT-UNIT", origin, what, hint),))
    if dimension is not None and unit.dimension not in dimension.split(" or "):
        what = f'"{plain}" is a {unit.dimension}, not a {dimension}'
        return Reading(None, (Fault("AMOUNT-DIMENSION", origin, what, f"write a {dimension}"),))
    return Reading(Quantity(number.value, unit.code))
