"""Step 2, extents: how much was treated, as ``120 ft; 3 ft high; 360 sq ft`` or ``6 voids``.

A part without a word behind it is a length, an area or a space by its unit; ``high``, ``wide``,
``deep``, ``out`` and ``apart`` name the other lengths, ``each`` the area of one spot, ``total``
that of the whole site; counts are whole numbers of the closed list; two lengths of a room stand
as ``10 ft by 12 ft room``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from difflib import get_close_matches

from ledger.numbers import keeps, read_number, read_quantity, split_number
from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.extent import Extent
from ledger.values.finding import Fault
from ledger.values.lexicon import fold
from ledger.values.origin import Origin
from ledger.values.reading import Reading

_COUNTS = {
    "void": "voids", "placement": "placements", "spot": "spots", "room": "rooms",
    "dwelling": "dwellings", "dwelling unit": "dwellings", "structure": "structures",
    "building": "structures", "can": "cans", "puff": "puffs", "dab": "placements",
}  # fmt: skip
_LENGTHS = {
    "high": "height", "tall": "height", "in height": "height",
    "wide": "width", "in width": "width",
    "deep": "depth", "in depth": "depth",
    "long": "length", "in length": "length",
    "apart": "spacing", "out": "distance out", "total": "total length",
}  # fmt: skip
_AREAS = {"total": "total area", "each": "patch area"}
_BY_DIMENSION = {"length": "length", "area": "area", "volume": "volume"}
_BY = re.compile(r"\s*(?:\bby\b|(?<=[\s\d.'\"])x(?=[\s\d.]))\s*", re.IGNORECASE)
_ROOM = re.compile(r"room\s+(?:of\s+)?(.+)|(.+?)\s*\broom", re.IGNORECASE)
_WORD = re.compile(r"(.+?)\s+(in\s+(?:height|width|depth|length)|[A-Za-z]+)", re.IGNORECASE)
_HOW = "write it as 120 ft, 3 ft high, 360 sq ft, 40 cu ft, 6 voids or 10 ft by 12 ft room"

Measure = tuple[str, Quantity]


def read_extent(text: str, units: Units, origin: Origin) -> Reading[Extent]:
    """Return the measures that ``text`` lists, parted by ``;``, in the units as written.

    A blank text is an extent without measures. Counts and seconds carry the unit ``each``.
    Faults, one for each part that has one: EXTENT-UNREADABLE, EXTENT-UNIT, EXTENT-DIMENSION,
    EXTENT-COUNT (not a whole number), EXTENT-ZERO, EXTENT-TWICE (one measure, two values), and
    EXTENT-COMMA, -NEGATIVE, -EXPONENT, -RANGE, -TOO-LARGE for its number.
    """
    said = " ".join(text.split())
    measures: list[Measure] = []
    faults: list[Fault] = []
    for part in filter(None, (piece.strip() for piece in said.split(";"))):
        found = _part(part, units, origin)
        if isinstance(found, Fault):
            faults.append(found)
            continue
        for name, quantity in found:
            fault = _again(name, quantity, measures, units, origin)
            if fault is not None:
                faults.append(fault)
            elif name not in {known for known, _ in measures}:
                measures.append((name, quantity))
    if faults:
        return Reading(None, tuple(faults))
    return Reading(Extent(said, tuple(measures)))


def _part(part: str, units: Units, origin: Origin) -> Sequence[Measure] | Fault:
    """Return the measures of one part, or its fault."""
    found = _room(part, units, origin) or _counted(part, origin) or _long(part, units, origin)
    found = found or _measured(part, units, origin)
    if isinstance(found, Fault):
        return found
    for name, quantity in found:
        if not quantity.value:
            what = f'"{part}" says that there was none of it ({name})'
            return Fault("EXTENT-ZERO", origin, what, "correct it, or take this part out")
    return found


def _as_extent(fault: Fault) -> Fault:
    """Return the fault of a number or a quantity under the name of this column."""
    code = fault.code.replace("AMOUNT-", "EXTENT-")
    if code == "EXTENT-NUMBER":
        what = fault.what.replace("is not a number", "is not an extent")
        return replace(fault, code="EXTENT-UNREADABLE", what=what, way_out=_HOW)
    return replace(fault, code=code)


def _room(part: str, units: Units, origin: Origin) -> Sequence[Measure] | Fault | None:
    """Return the two lengths of ``10 ft by 12 ft room``; None where the part is not like that."""
    named = _ROOM.fullmatch(part)
    sides = _BY.split((named[1] or named[2]) if named else part)
    if len(sides) != 2 or not all(split_number(side) for side in sides):
        return None
    if named is None:
        what = f'"{part}" does not say what is so long and so wide'
        way_out = f'write "{part} room" for a room, or the area treated, as 120 sq ft'
        return Fault("EXTENT-UNREADABLE", origin, what, way_out)
    if read_number(sides[0], origin).value is not None:  # "10 by 12 ft": both in feet
        sides[0] += " " + (split_number(sides[1]) or ("", ""))[1]
    measures = []
    for name, side in zip(("room length", "room width"), sides, strict=True):
        reading = read_quantity(side, units, origin, "length")
        if reading.value is None:
            fault = _as_extent(reading.faults[0])
            bare = read_number(side, origin).value is not None
            hint = replace(fault, way_out="write the unit, as 10 ft by 12 ft room")
            return replace(hint if bare else fault, what=f'"{part}": {fault.what}')
        measures.append((name, reading.value))
    return measures


def _counted(part: str, origin: Origin) -> Sequence[Measure] | Fault | None:
    """Return a count; None where the part does not count things of the closed list."""
    split = split_number(part)
    word = fold(split[1]) if split else ""
    name = _COUNTS.get(word) or _COUNTS.get(word.removesuffix("s"))
    if split is None or name is None:
        return None
    reading = read_number(split[0], origin)
    if reading.value is None:
        return _as_extent(reading.faults[0])
    if reading.value.denominator != 1:
        what = f'"{part}" is not a whole number of {name}'
        return Fault("EXTENT-COUNT", origin, what, f"write how many {name} were treated, as 6")
    return [(name, Quantity(reading.value, "each"))]


def _long(part: str, units: Units, origin: Origin) -> Sequence[Measure] | Fault | None:
    """Return a measure with its word, ``3 ft high``, ``2 sq ft each``; None without such a word."""
    split = _WORD.fullmatch(part)
    area = _AREAS.get(fold(split[2])) if split else None
    if split is not None and area is not None:
        found = read_quantity(split[1], units, origin, "area")
        if found.value is not None:
            return [(area, found.value)]
    name = _LENGTHS.get(fold(split[2])) if split else None
    if split is None or name is None:
        return None
    reading = read_quantity(split[1], units, origin, "length")
    if reading.value is not None:
        return [(name, reading.value)]
    fault = _as_extent(reading.faults[0])
    return _unknown(part, units, origin) if fault.code == "EXTENT-UNIT" else fault


def _measured(part: str, units: Units, origin: Origin) -> Sequence[Measure] | Fault:
    """Return a length, an area, a space or a time by the unit."""
    reading = read_quantity(part, units, origin)
    quantity = reading.value
    if quantity is None:
        fault = _as_extent(reading.faults[0])
        return _unknown(part, units, origin) if fault.code == "EXTENT-UNIT" else fault
    dimension = units.dimension(quantity.unit)
    if quantity.unit == "s":
        return [("seconds", Quantity(quantity.value, "each"))]
    liquid = dimension == "volume" and not quantity.unit.startswith("cu ")
    if dimension not in _BY_DIMENSION or liquid:
        what = f'"{part}" is a {"liquid measure" if liquid else dimension}, not an extent'
        return Fault("EXTENT-DIMENSION", origin, what, _HOW)
    return [(_BY_DIMENSION[dimension], quantity)]


def _unknown(part: str, units: Units, origin: Origin) -> Fault:
    """Return the fault of a part whose unit or word nobody knows, with the nearest that is."""
    split = split_number(part)
    word = split[1] if split else part
    if not word:
        what = f'"{part}" does not say of what'
        return Fault("EXTENT-UNIT", origin, what, "write the unit or the word behind the number")
    if re.search(r"[A-Za-z]\s*,|\band\b", word):
        what = f'"{part}" holds more than one measure'
        return Fault("EXTENT-UNREADABLE", origin, what, "part them with semicolons")
    near = get_close_matches(fold(word), [*_COUNTS, *_COUNTS.values(), *_LENGTHS], n=1)
    hint = near[0] if near else _nearest_unit(word, units)
    way_out = f'did you mean "{hint}"? ' if hint else ""
    return Fault("EXTENT-UNIT", origin, f'"{word}" is not a known measure', way_out + _HOW)


def _nearest_unit(word: str, units: Units) -> str | None:
    """Return the nearest unit in which an extent can be: a weight or a liquid measure is none."""
    near = units.nearest(word)
    if near is None or units.dimension(near) not in _BY_DIMENSION:
        return None
    return near if units.dimension(near) != "volume" or near.startswith("cu ") else None


def _again(
    name: str, quantity: Quantity, measures: Sequence[Measure], units: Units, origin: Origin
) -> Fault | None:
    """Return the fault of a measure that was already given with another value."""
    if not keeps(quantity.value):
        what = f"the {name} has more digits than can be kept exactly"
        return Fault("EXTENT-TOO-LARGE", origin, what, "check it; write a shorter number")
    for known, before in measures:
        if known == name and units.convert(before, quantity.unit).value != quantity.value:
            what = f"the {name} is given twice, with two values"
            return Fault("EXTENT-TWICE", origin, what, "write it once, or part the line in two")
    return None
