"""The closed list of units and their exact conversion.

The list is data (``rules/units.toml``): this module reads its table and converts. Every factor
is a fraction; nothing here rounds.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from fractions import Fraction
from functools import lru_cache
from typing import Any

from ledger.values.amount import Quantity
from ledger.values.finding import Fault
from ledger.values.origin import Origin

DIMENSIONS = (
    "mass", "volume", "length", "area", "time", "temperature", "speed", "share", "count",
)  # fmt: skip
"""What a unit can measure. Liquid volume and space are one dimension."""

NEEDED = ("lb", "oz", "g", "gal", "fl oz", "mL", "ft", "sq ft", "%", "each")
"""Codes that the arithmetic itself speaks; a list without one of them has a fault."""

FORMAT = 1
_HEAD = ("format", "id", "title", "checked_on", "stale_after_months", "unit")
_KEYS = ("code", "dimension", "of", "factor", "shift", "also")
_MUST = ("code", "dimension", "of", "factor")
_EXACT = re.compile(r"-?\d{1,40}(?:/\d{1,40}|\.\d{1,40})?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: ``factor`` is its exact worth in the unit ``of``, after ``shift`` is added.

    ``of`` is the code of the unit that measures its kind (g, mL, mm ...). Units of one dimension
    convert only if they share it: a month is a stretch of the calendar, not of seconds.
    """

    code: str
    dimension: str
    factor: Fraction
    also: tuple[str, ...] = ()
    of: str = ""
    shift: Fraction = Fraction(0)


@lru_cache(maxsize=4096)
def spelling(text: str) -> str:
    """Return a unit's spelling as it is looked up: no full stops, single spaces, ``2`` for ``²``.

    Case is kept where the spelling is one letter (T is a tablespoon, t a teaspoon).
    """
    plain = unicodedata.normalize("NFKC", text).replace(".", " ")
    plain = " ".join(plain.split())
    return plain if len(plain) == 1 else plain.casefold()


@dataclass(frozen=True)
class Units:
    """The units of one list, by code and by spelling."""

    units: tuple[Unit, ...] = ()
    _codes: dict[str, Unit] = field(init=False, repr=False, compare=False)
    _spellings: dict[str, Unit] = field(init=False, repr=False, compare=False)
    _pairs: dict[tuple[str, str], tuple[Fraction, Fraction, Fraction]] = field(
        init=False, repr=False, compare=False, default_factory=dict
    )

    def __post_init__(self) -> None:
        spellings = {spelling(text): unit for unit in self.units for text in unit.also}
        spellings |= {spelling(unit.code): unit for unit in self.units}
        object.__setattr__(self, "_codes", {unit.code: unit for unit in self.units})
        object.__setattr__(self, "_spellings", spellings)

    def find(self, text: str) -> Unit | None:
        """Return the unit spelt ``text`` (``fl. oz.``, ``SQ FT``), or None."""
        return self._codes.get(text) or self._spellings.get(spelling(text))

    def nearest(self, text: str) -> str | None:
        """Return the code of the unit spelt most like ``text``, to be offered to a person."""
        exact = self.find(text)
        if exact is not None or len(spelling(text)) == 1:
            return exact.code if exact else None
        known = [word for word in self._spellings if len(word) > 1]
        close = get_close_matches(spelling(text).casefold(), known, n=1)
        return self._spellings[close[0]].code if close else None

    def unit(self, code: str) -> Unit:
        """Return the unit of that code. Raises KeyError where the list does not have it."""
        return self._codes[code]

    def dimension(self, code: str) -> str:
        """Return what that unit measures. Raises KeyError for an unknown code."""
        return self._codes[code].dimension

    def comparable(self, a: str, b: str) -> bool:
        """Say whether the two units convert into each other; False for an unknown code."""
        one, other = self._codes.get(a), self._codes.get(b)
        if one is None or other is None:
            return False
        return (one.dimension, one.of) == (other.dimension, other.of)

    def convert(self, q: Quantity, to: str) -> Quantity:
        """Return the same quantity in another unit, exactly.

        Raises KeyError for an unknown code, ValueError where the two do not measure the same.
        """
        if q.unit == to:
            return q
        pair = self._pairs.get((q.unit, to)) or self._pair(q.unit, to)
        before, factor, after = pair
        if before or after:
            return Quantity((q.value + before) * factor - after, to)
        return Quantity(q.value * factor, to)

    def _pair(self, unit: str, to: str) -> tuple[Fraction, Fraction, Fraction]:
        """Return what is added before, the factor, and what is taken away behind it; kept."""
        source, target = self._codes[unit], self._codes[to]
        if (source.dimension, source.of) != (target.dimension, target.of):
            raise ValueError(f"{unit} does not convert into {to}")
        pair = (source.shift, source.factor / target.factor, target.shift)
        self._pairs[unit, to] = pair
        return pair


def units_from_table(
    table: Mapping[str, Any], lines: Mapping[str, int], file: str
) -> tuple[Units, tuple[Fault, ...]]:
    """Return the units of a table read from TOML, and every fault of it.

    ``lines`` maps a dotted key path (``unit[2].factor``, counted from 1) to its line. A unit
    with a fault is left out, the others stand.
    """
    return _Reader(lines, file).read(table)


class _Reader:
    """Collects faults while the table is gone through."""

    def __init__(self, lines: Mapping[str, int], file: str) -> None:
        self.lines = lines
        self.file = file
        self.faults: list[Fault] = []

    def fault(self, path: str, code: str, what: str, way_out: str) -> None:
        """Keep a fault at the line of ``path``, or of the table around it."""
        around = path
        while around and around not in self.lines:
            around = around.rpartition(".")[0]
        line = self.lines.get(around, 1)
        self.faults.append(Fault(code, Origin(self.file, line, path or None), what, way_out))

    def read(self, table: Mapping[str, Any]) -> tuple[Units, tuple[Fault, ...]]:
        """Return the units and the faults."""
        self.unknown(table, _HEAD, "")
        if table.get("format", FORMAT) != FORMAT or isinstance(table.get("format"), bool):
            what = f"format {table['format']} is not known here"
            self.fault("format", "RULE-FORMAT", what, f"write format = {FORMAT}")
        rows = table.get("unit", [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            self.fault("unit", "RULE-TYPE", "units are tables", "write [[unit]] above each")
            rows = []
        read = [self.one(row, f"unit[{number}]") for number, row in enumerate(rows, start=1)]
        broken = [row.get("code") for row, (_, unit) in zip(rows, read, strict=True) if not unit]
        found = self.measured(read, [code for code in broken if isinstance(code, str)])
        units = Units(tuple(self.once(found)))
        missing = [code for code in NEEDED if code not in {unit.code for unit in units.units}]
        if missing:
            what = f"without {', '.join(missing)} no amount can be worked out"
            way_out = "put the units back, from the list that came with the program"
            self.fault("unit", "RULE-UNIT-MISSING", what, way_out)
        return units, tuple(self.faults)

    def unknown(self, table: Mapping[str, Any], known: tuple[str, ...], path: str) -> None:
        """Refuse keys that are not known, with the nearest that is."""
        for key in table:
            if key not in known:
                near = get_close_matches(key, known, n=1)
                hint = f'did you mean "{near[0]}"? ' if near else ""
                spot = f"{path}.{key}" if path else key
                way_out = f"{hint}allowed: {', '.join(known)}"
                self.fault(spot, "RULE-UNKNOWN-KEY", f'unknown key "{key}"', way_out)

    def one(self, row: Mapping[str, Any], path: str) -> tuple[str, Unit | None]:
        """Return the unit of one table, or None where it has a fault."""
        before = len(self.faults)
        self.unknown(row, _KEYS, path)
        for key in _MUST:
            if key not in row:
                way_out = f'add a line "{key} = ..."'
                self.fault(path, "RULE-MISSING-KEY", f'the key "{key}" is missing', way_out)
        code, dimension, of = (self.text(row, key, path) for key in ("code", "dimension", "of"))
        if dimension and dimension not in DIMENSIONS:
            way_out = f"write one of: {', '.join(DIMENSIONS)}"
            spot = f"{path}.dimension"
            self.fault(spot, "RULE-PHRASE", f'"{dimension}" is not known here', way_out)
        factor = self.exact(row, "factor", path, above_zero=True)
        shift = self.exact(row, "shift", path, above_zero=False) if "shift" in row else Fraction(0)
        also = row.get("also", [])
        if not isinstance(also, list) or not all(isinstance(x, str) and x.strip() for x in also):
            way_out = 'write a list of texts, as ["lbs", "pounds"]'
            self.fault(f"{path}.also", "RULE-TYPE", "spellings are a list of texts", way_out)
        if len(self.faults) > before or factor is None or shift is None:
            return path, None
        return path, Unit(code, dimension, factor, tuple(also), of, shift)

    def text(self, row: Mapping[str, Any], key: str, path: str) -> str:
        """Return a text that is not blank; an empty one where there is a fault or none."""
        value = row.get(key, "")
        if isinstance(value, str) and (value.strip() or key not in row):
            return value
        self.fault(f"{path}.{key}", "RULE-TYPE", f"{key} is a text", "write it in quotation marks")
        return ""

    def exact(
        self, row: Mapping[str, Any], key: str, path: str, *, above_zero: bool
    ) -> Fraction | None:
        """Return a number written as exact text: ``5/9``, ``1000``, ``-32``."""
        value = row.get(key)
        if value is None:
            return None
        text = value.strip() if isinstance(value, str) else ""
        fine = _EXACT.fullmatch(text) and not re.search(r"/0+\Z", text)
        if not fine or (above_zero and Fraction(text) <= 0):
            what = f"{value!r} is not an exact number" + (" above zero" if above_zero else "")
            way_out = 'write it in quotation marks as a fraction, as "45359237/100000"'
            self.fault(f"{path}.{key}", "RULE-NUMBER", what, way_out)
            return None
        return Fraction(text)

    def measured(
        self, read: Iterable[tuple[str, Unit | None]], broken: Iterable[str]
    ) -> list[tuple[str, Unit]]:
        """Leave out units whose ``of`` is not itself a unit of worth 1 and of that dimension."""
        found = [(path, unit) for path, unit in read if unit is not None]
        bases = {u.code: u.dimension for _, u in found if u.code == u.of and u.factor == 1}
        kept = []
        for path, unit in found:
            if bases.get(unit.of) == unit.dimension:
                kept.append((path, unit))
                continue
            if unit.of in broken:  # that unit has a fault of its own; one is enough
                continue
            what = f'"{unit.of}" is not a unit of {unit.dimension} with the factor 1'
            way_out = "name the unit that measures its kind: g, mL, mm, sq m, s, C, m/s, %, each"
            self.fault(f"{path}.of", "RULE-UNIT", what, way_out)
        return kept

    def once(self, found: Iterable[tuple[str, Unit]]) -> Iterable[Unit]:
        """Yield the units; a code or spelling that already stands for another is a fault."""
        pairs = list(found)
        taken: dict[str, str] = {}
        codes: set[str] = set()
        for path, unit in pairs:
            for number, text in enumerate((unit.code, *unit.also)):
                key = spelling(text)
                spot = f"{path}.also" if number else f"{path}.code"
                if key in taken:
                    what = f'"{text}" already stands for "{taken[key]}"'
                    self.fault(spot, "RULE-DUPLICATE", what, "keep it at one of the two units")
                taken.setdefault(key, unit.code)
            if unit.code not in codes:
                codes.add(unit.code)
                yield unit
