"""Single applications as a report lists them, and the lines that such a report has."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from ledger.values.amount import Quantity


@dataclass(frozen=True, slots=True)
class SingleUse:
    """One current application with what a report may say of it.

    ``record`` is the number of its first version, which stays when it is amended. ``facts`` maps
    the names of form columns to text. ``dosage`` is the product in each amount of mix, where the
    line says it so; ``area`` what was treated, None where the line does not say it.
    """

    entry: int
    record: int
    county: str
    site_kind: str
    product_key: str
    label: str
    visit: str
    licence: str
    used: Quantity
    facts: Mapping[str, str] = field(hash=False)
    area: Quantity | None = None
    dosage: tuple[Quantity, Quantity] | None = None


@dataclass(frozen=True, slots=True)
class UseRow:
    """One line of a report of single applications, of groups of them, or of people.

    ``county`` is the county the report goes to, empty where it goes to the state. ``texts`` maps
    the form's text columns to what stands there. ``total`` is the amount of product, exact, in
    ``unit``; ``pounds`` its weight, None where that cannot be told; ``area`` what was treated in
    ``area_unit``, with ``area_told`` of the applications saying it.
    """

    number: int
    county: str
    record: int | None
    entries: tuple[int, ...]
    texts: Mapping[str, str] = field(hash=False)
    total: Fraction | None = None
    unit: str = ""
    applications: int = 0
    visits: int = 0
    pounds: Fraction | None = None
    area: Fraction | None = None
    area_unit: str = ""
    area_told: int = 0
