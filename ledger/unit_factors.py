"""The exact factors of the unit list, made by pint, to compare the list with.

Nothing that runs a ledger imports this: the list (``rules/units.toml``) is data, and is read
without pint. ``python -m ledger.unit_factors`` prints every disagreement between the two and ends
with status 1 where there is one; with a path, it looks at that file.
"""

from __future__ import annotations

import sys
import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

from pint import UnitRegistry

from ledger.units import Unit, Units, units_from_table

NAMES = {
    "lb": "pound", "oz": "ounce", "g": "gram", "kg": "kilogram", "mg": "milligram",
    "ton": "short_ton", "gal": "gallon", "qt": "quart", "pt": "pint", "cup": "cup",
    "fl oz": "fluid_ounce", "tbsp": "tablespoon", "tsp": "teaspoon", "L": "liter",
    "mL": "milliliter", "cu ft": "foot ** 3", "cu in": "inch ** 3", "cu yd": "yard ** 3",
    "cu m": "meter ** 3", "ft": "foot", "in": "inch", "yd": "yard", "mi": "mile", "m": "meter",
    "cm": "centimeter", "mm": "millimeter", "sq ft": "foot ** 2", "sq in": "inch ** 2",
    "sq yd": "yard ** 2", "acre": "acre", "sq m": "meter ** 2", "ha": "hectare", "s": "second",
    "min": "minute", "h": "hour", "day": "day", "mph": "mile / hour",
    "km/h": "kilometer / hour", "m/s": "meter / second", "kt": "knot", "%": "percent",
    "ppm": "ppm",
}  # fmt: skip
"""What pint calls each unit. Months, years and counts are none of its business, and degrees are
compared at two points, since they have an offset."""

DEGREES = {"F": "degF", "C": "degC"}
"""What pint calls each degree."""

SURVEY = frozenset({"acre"})
"""Units that pint still rests on the retired survey foot (85 FR 62698); ours do not."""


def pint_factors(units: Units) -> dict[str, Fraction]:
    """Return, by code, what pint says one unit is worth in the unit that measures its kind."""
    registry: Any = UnitRegistry(non_int_type=Fraction)
    found = {}
    for unit in units.units:
        if unit.code in NAMES:
            one = registry.Quantity(Fraction(1), NAMES[unit.code])
            found[unit.code] = Fraction(one.to(NAMES[unit.of]).magnitude)
    return found


def disagreements(units: Units) -> tuple[str, ...]:
    """Return a line for every unit that pint does not know or holds to be worth something else."""
    theirs = pint_factors(units)
    lines = [
        f"{unit.code}: {unit.factor} {unit.of} here, {theirs[unit.code]} {unit.of} in pint"
        for unit in units.units
        if unit.code in theirs and unit.code not in SURVEY and theirs[unit.code] != unit.factor
    ]
    return (*lines, *_degrees(units), *_acre(units), *_unknown(units))


def _degrees(units: Units) -> list[str]:
    """Compare each degree where water freezes and boils."""
    registry: Any = UnitRegistry(non_int_type=Fraction)
    lines = []
    for unit in units.units:
        if unit.code not in DEGREES:
            continue
        for celsius in (0, 100):
            point = registry.Quantity(Fraction(celsius), "degC").to(DEGREES[unit.code]).magnitude
            ours = Fraction(celsius) / unit.factor - unit.shift
            if Fraction(point) != ours:
                lines.append(f"{unit.code}: {celsius} C is {ours} here, {point} in pint")
    return lines


def _acre(units: Units) -> list[str]:
    """Compare the acre with 43,560 square feet of the international foot."""
    by_code: dict[str, Unit] = {unit.code: unit for unit in units.units}
    if not {"acre", "sq ft"} <= set(by_code):
        return []
    ratio = by_code["acre"].factor / by_code["sq ft"].factor
    return [] if ratio == 43_560 else [f"acre: {ratio} sq ft here, 43560 by definition"]


def _unknown(units: Units) -> list[str]:
    told = {*NAMES, *DEGREES, "month", "year", "each"}
    return [f"{unit.code}: nothing to compare it with" for unit in units.units
            if unit.code not in told]  # fmt: skip


def main(paths: list[str]) -> int:
    """Print every fault of the list and every disagreement; return the status to end with."""
    here = Path(__file__).resolve().parent
    inside = here / "shipped" / "rules" / "units.toml"
    shipped = inside if inside.is_file() else here.parent / "rules" / "units.toml"
    path = Path(paths[0]) if paths else shipped
    units, faults = units_from_table(tomllib.loads(path.read_text("utf-8")), {}, path.name)
    lines = [f"{fault.origin.column}: {fault.what}" for fault in faults]
    lines += disagreements(units)
    for line in lines:
        sys.stdout.write(f"{line}\n")
    return 1 if lines else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
