"""Step 2: the closed list of units, with exact factors and exact conversion.

The list stands in ``rules/units.toml``. A user's text never reaches a units library: the number is
read by ``ledger.numbers``, the unit is looked up here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from fractions import Fraction
from typing import Any

from ledger.values.amount import Quantity
from ledger.values.finding import Fault
from ledger.values.origin import Origin

_FRACTION = re.compile(r"[1-9]\d*(?:/[1-9]\d*)?")
_KEYS = ("code", "dimension", "factor", "zero", "also")
_HEAD = ("format", "dimension", "unit")


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: ``factor`` of the dimension's base unit; ``zero`` is where its scale begins.

    Only temperatures have a ``zero`` other than 0 (0 F is 45967/180 K).
    """

    code: str
    dimension: str
    factor: Fraction
    also: tuple[str, ...] = ()
    zero: Fraction = Fraction(0)


def plain_unit(text: str) -> str:
    """Return a unit's spelling as it is compared: no full stops, single spaces, case kept."""
    return " ".join(text.replace("\u00a0", " ").replace(".", " ").split())


@dataclass(frozen=True)
class Units:
    """The closed list, looked up by code or by any other spelling."""

    units: tuple[Unit, ...]
    _codes: dict[str, Unit] = field(init=False, repr=False, compare=False)
    _spellings: dict[str, Unit] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_codes", {unit.code: unit for unit in self.units})
        spellings: dict[str, Unit] = {}
        for unit in self.units:
            for text in (unit.code, *unit.also):
                spellings.setdefault(plain_unit(text).casefold(), unit)
        for unit in self.units:  # an exact code wins over a spelling that differs by case
            spellings[unit.code] = unit
        object.__setattr__(self, "_spellings", spellings)

    def find(self, text: str) -> Unit | None:
        """Return the unit spelt so, or None. Case and full stops do not matter.

        Except where case changes the meaning: ``T`` and ``t`` alone, ``C`` and ``c`` are not
        looked up in another case, and ``M`` (a thousand, or a metre) is no unit.
        """
        plain = plain_unit(text)
        if plain in self._spellings:
            return self._spellings[plain]
        if len(plain) == 1 and plain.isalpha() and plain not in {"l", "G", "H", "f"}:
            return None
        return self._spellings.get(plain.casefold())

    def nearest(self, text: str) -> str | None:
        """Return the code of the unit whose spelling is nearest, to be offered to a person."""
        found = get_close_matches(plain_unit(text).casefold(), self._spellings, n=1)
        return self._spellings[found[0]].code if found else None

    def unit(self, code: str) -> Unit:
        """Return the unit with this code; KeyError for a code that is not in the list."""
        return self._codes[code]

    def dimension(self, code: str) -> str:
        """Return the dimension of a unit: ``mass``, ``volume``, ``length``, ``area`` ..."""
        return self._codes[code].dimension

    def comparable(self, one: str, other: str) -> bool:
        """Say whether two units measure the same thing."""
        return self.dimension(one) == self.dimension(other)

    def convert(self, quantity: Quantity, to: str) -> Quantity:
        """Return the same quantity in another unit, exactly.

        Raises ValueError for a unit of another dimension (an ounce is not a fluid ounce).
        """
        if quantity.unit == to:
            return quantity
        source, target = self._codes[quantity.unit], self._codes[to]
        if source.dimension != target.dimension:
            raise ValueError(f"{quantity.unit} is {source.dimension}, {to} is {target.dimension}")
        base = quantity.value * source.factor + source.zero
        return Quantity((base - target.zero) / target.factor, to)


def units_from_table(
    table: Mapping[str, Any], lines: Mapping[str, int], file: str
) -> tuple[Units, tuple[Fault, ...]]:
    """Return the units of a parsed ``units.toml`` and everything that is wrong with it.

    ``lines`` maps a dotted key path (``unit[3].factor``) to its line.
    """
    faults: list[Fault] = []

    def fault(path: str, what: str, way_out: str) -> None:
        origin = Origin(file, lines.get(path, lines.get(path.split(".")[0], 1)), path)
        faults.append(Fault("UNIT-LIST", origin, what, way_out))

    for key in table:
        if key not in _HEAD:
            fault(key, f'unknown key "{key}"', f"allowed: {', '.join(_HEAD)}")
    dimensions = table.get("dimension", {})
    found: list[Unit] = []
    seen: dict[str, str] = {}
    for number, row in enumerate(_rows(table), start=1):
        path = f"unit[{number}]"
        unit = _unit(row, path, dimensions, fault)
        if unit is None:
            continue
        for text in (unit.code, *unit.also):
            spelling = plain_unit(text)
            if spelling in seen and seen[spelling] != unit.code:
                fault(f"{path}.also", f'"{text}" also means {seen[spelling]}', "a spelling has one meaning")
            seen[spelling] = unit.code
        found.append(unit)
    return Units(tuple(found)), tuple(faults)


def _rows(table: Mapping[str, Any]) -> Iterable[Any]:
    rows = table.get("unit", [])
    return rows if isinstance(rows, list) else []


def _unit(row: Any, path: str, dimensions: Any, fault: Any) -> Unit | None:  # noqa: ANN401 - parsed TOML
    if not isinstance(row, Mapping):
        fault(path, "not a table", "write [[unit]] with code, dimension, factor")
        return None
    for key in row:
        if key not in _KEYS:
            near = get_close_matches(key, _KEYS, n=1)
            hint = f'did you mean "{near[0]}"?' if near else f"allowed: {', '.join(_KEYS)}"
            fault(f"{path}.{key}", f'unknown key "{key}"', hint)
    code, dimension = row.get("code"), row.get("dimension")
    if not isinstance(code, str) or not code.strip():
        fault(f"{path}.code", "a unit has no code", 'write code = "oz"')
        return None
    if not isinstance(dimensions, Mapping) or dimension not in dimensions:
        fault(f"{path}.dimension", f'"{dimension}" is no dimension', "declare it as [dimension.NAME]")
        return None
    factor, zero = row.get("factor"), row.get("zero", "0")
    texts = [factor] if zero == "0" else [factor, zero]
    if not all(isinstance(text, str) and _FRACTION.fullmatch(text) for text in texts):
        fault(f"{path}.factor", "the factor is not exact text", 'write factor = "45359237/100000"')
        return None
    also = row.get("also", [])
    if not isinstance(also, list) or not all(isinstance(text, str) for text in also):
        fault(f"{path}.also", "not a list of texts", 'write also = ["ounce", "ounces"]')
        also = []
    return Unit(code, str(dimension), Fraction(str(factor)), tuple(also), Fraction(zero))
