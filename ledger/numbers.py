"""Numbers and quantities as people write them, read exactly.

Read: ``0.5 .5 12 1,000 1/2 ½ 1½ 1-1/2 1 1/2 3 1/4``. Refused, each with its own code: a comma
that may be a decimal one, an exponent, a negative number, a range, and a number that could not
be kept exactly. Nothing is guessed.
"""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.finding import Fault
from ledger.values.origin import Origin
from ledger.values.reading import Reading

GREATEST = 2**53
"""Greatest numerator or denominator that is kept: a safe integer of the canonical form."""

VULGAR = "".join(
    char
    for char in map(chr, range(0xBC, 0x218A))
    if unicodedata.decomposition(char).startswith("<fraction>")
)
"""Every character that is itself a fraction, from ``¼`` to ``↉``."""

DASHES = "\u2010\u2011\u2013-"
"""What a person types between ``1`` and ``1/2``. A true minus sign is a minus, and not here."""

NUMBER_START = rf"0-9.{VULGAR}"
"""Characters that a number can begin with, for a character class."""

_LONGEST = 100  # no number of a day sheet is this long; keeps hostile input cheap
_SLASHES = str.maketrans("\u2044\u2215", "//")
_PLAIN = re.compile(r"(?:\d{1,3}(?:,\d{3})+|\d+)?(?:\.\d*)?", re.ASCII)
_OVER = re.compile(r"(\d+)\s*/\s*(\d+)", re.ASCII)
_MIXED = re.compile(
    rf"(\d{{1,3}}(?:,\d{{3}})+|\d+)(?:\s+|\s*[{DASHES}](?=\S))(\d+)\s*/\s*(\d+)", re.ASCII
)
_STUCK = re.compile(rf"(\d)([{VULGAR}])", re.ASCII)
_EXPONENT = re.compile(r"[\d.]\s*[eE][+-]?\d|\d\s*[x\u00d7*]\s*10\s*\^", re.ASCII)
_RANGE = re.compile(rf"[\d{VULGAR}]\s*(?:[\u2212{DASHES}]|to\b|or\b)\s*[\d{VULGAR}]", re.ASCII)
_SIGN = re.compile(r"[-\u2010-\u2015\u2212+]\s*")
_SPLIT = re.compile(
    rf"([{NUMBER_START}](?:[{NUMBER_START},/\u2044\u2215\s\u2010\u2011\u2013-]*[{NUMBER_START}])?)\s*(.*)",
    re.ASCII | re.DOTALL,
)


def read_number(text: str, origin: Origin) -> Reading[Fraction]:
    """Return the number that ``text`` writes, zero or more, exactly as written.

    Faults: AMOUNT-BLANK, AMOUNT-NEGATIVE, AMOUNT-COMMA, AMOUNT-EXPONENT, AMOUNT-RANGE,
    AMOUNT-TOO-LARGE, AMOUNT-NUMBER (not a number at all).
    """
    value = _value(text)
    if isinstance(value, Fraction):
        return Reading(value)
    code, what, way_out = value
    return Reading(None, (Fault(code, origin, what, way_out),))


def split_number(text: str) -> tuple[str, str] | None:
    """Return the number at the start of ``text`` and the rest, or None where none is there."""
    found = _SPLIT.fullmatch(" ".join(text.split()))
    return (found[1], found[2].strip()) if found else None


def read_quantity(
    text: str, units: Units, origin: Origin, dimension: str | None = None
) -> Reading[Quantity]:
    """Return a number with its unit: ``10 mph``, ``3 ft``, ``1,000 sq ft``, ``-5 F``.

    Only a temperature may be negative. Faults: those of :func:`read_number`, AMOUNT-UNIT
    (missing or unknown), AMOUNT-DIMENSION (not the ``dimension`` wanted).
    """
    plain = " ".join(text.split())
    sign = _SIGN.match(plain)
    split = split_number(plain[sign.end() :] if sign else plain)
    if split is None or _EXPONENT.search(plain):
        return Reading(None, read_number(text, origin).faults)
    number, spelt = split
    unit = units.find(spelt)
    value = _value(number)
    if unit is not None and unit.dimension != "temperature" and sign:
        value = _value(plain[: sign.end()] + number)
    if not isinstance(value, Fraction):
        return Reading(None, (Fault(value[0], origin, value[1], value[2]),))
    if unit is None:
        return Reading(None, (unit_fault(spelt, units, origin),))
    if dimension is not None and unit.dimension != dimension:
        what = f'"{plain}" is a {unit.dimension}, not a {dimension}'
        way_out = f"write a unit of {dimension}"
        return Reading(None, (Fault("AMOUNT-DIMENSION", origin, what, way_out),))
    negative = sign is not None and not sign[0].startswith("+")
    return Reading(Quantity(-value if negative else value, unit.code))


def unit_fault(spelt: str, units: Units, origin: Origin) -> Fault:
    """Return the fault of a unit that is missing or not known."""
    if not spelt:
        way_out = "write the unit behind the number, as 0.5 oz"
        return Fault("AMOUNT-UNIT", origin, "the number has no unit", way_out)
    near = units.nearest(spelt)
    way_out = f'did you mean "{near}"?' if near else "write a known unit, as oz, g, fl oz or gal"
    if spelt in {"c", "M"}:
        way_out = 'write "cup"' if spelt == "c" else "write the number out, as 1,000 sq ft"
    return Fault("AMOUNT-UNIT", origin, f'"{spelt}" is not a known unit', way_out)


def keeps(value: Fraction) -> bool:
    """Say whether a value can be kept exactly, as a pair of safe integers."""
    return abs(value.numerator) <= GREATEST and value.denominator <= GREATEST


def _value(text: str) -> Fraction | tuple[str, str, str]:
    """Return the number, or the code, what is wrong and the way out."""
    said = " ".join(text.split())
    if len(said) > _LONGEST:
        what = f'"{said[:20]}..." is too long to be a number'
        return "AMOUNT-TOO-LARGE", what, "check it; write a shorter number or a larger unit"
    if not said:
        return "AMOUNT-BLANK", "no number is given", "write one, as 0.5 or 1/2"
    plain = _spelt_out(said)
    value = _parsed(plain)
    if value is not None and not keeps(value):
        what = f'"{said}" has more digits than can be kept exactly'
        return "AMOUNT-TOO-LARGE", what, "check it; write a shorter number or a larger unit"
    return value if value is not None else _refusal(said, plain)


def _spelt_out(text: str) -> str:
    """Return the text with every fraction character written out: ``1½`` as ``1 1/2``."""
    if text.isascii():
        return text
    text = _STUCK.sub(r"\1 \2", text)
    for char in set(text) & set(VULGAR):
        text = text.replace(char, unicodedata.normalize("NFKC", char))
    return text.translate(_SLASHES)


def _parsed(plain: str) -> Fraction | None:
    if _PLAIN.fullmatch(plain) and re.search(r"\d", plain) and not re.match(r"0+,", plain):
        return Fraction(plain.replace(",", ""))
    over, mixed = _OVER.fullmatch(plain), _MIXED.fullmatch(plain)
    if over and int(over[2]):
        return Fraction(int(over[1]), int(over[2]))
    # In a mixed number the fraction is a proper one; "1 5/4" is more likely a slip than 2 1/4.
    if mixed and int(mixed[2]) < int(mixed[3]):
        return int(mixed[1].replace(",", "")) + Fraction(int(mixed[2]), int(mixed[3]))
    return None


def _refusal(said: str, plain: str) -> tuple[str, str, str]:
    sign = _SIGN.match(plain)
    if sign and not sign[0].startswith("+") and _parsed(plain[sign.end() :]) is not None:
        return "AMOUNT-NEGATIVE", f'"{said}" is less than nothing', "write what it was, above zero"
    if _EXPONENT.search(plain):
        what = f'"{said}" is written with an exponent, which may hide a slip of tens'
        return "AMOUNT-EXPONENT", what, "write the number out, as 1,000 or 0.001"
    comma = re.fullmatch(r"(\d+),(\d+)", plain, re.ASCII)
    if comma:
        what = f'"{said}" could be read two ways, as {comma[1]}.{comma[2]} or {comma[1]}{comma[2]}'
        way_out = f"write {comma[1]}.{comma[2]}, or {comma[1]}{comma[2]} without the comma"
        if re.fullmatch(r"0+", comma[1]):
            way_out = f"write {comma[1]}.{comma[2]}"
        return "AMOUNT-COMMA", what, way_out
    if "," in plain and re.fullmatch(r"[\d.,]+", plain, re.ASCII):
        what = f'"{said}" has commas that do not part thousands'
        return "AMOUNT-COMMA", what, "write a point before decimals and no comma, as 1234.5"
    if _RANGE.search(plain):
        what = f'"{said}" is a range or a difference, not one number'
        return "AMOUNT-RANGE", what, "write the one number that was used"
    return "AMOUNT-NUMBER", f'"{said}" is not a number', "write one, as 0.5, 1/2 or 1 1/2"
