"""What a rule's condition may ask of a case, as ``ledger.rulebook.when`` reads it.

A fact that is left out cannot be told; None is known not to be given; an empty tuple is known to
hold nothing.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from ledger.checks.case import Case
from ledger.checks.lists import kind_of_tool
from ledger.checks.people import applicator_level, supervisor_level
from ledger.checks.places import known
from ledger.values.amount import Quantity


def facts_of(case: Case) -> dict[str, Any]:
    """Return the facts of a case by name."""
    use = case.use
    facts: dict[str, Any] = {
        "method": use.method or None,
        "setting": use.setting or None,
        "site_kind": use.site_kind or None,
        "supervisor": use.supervisor or None,
        "county": use.county or None,
        "line_of_work": case.firm.work or None,
        "area": use.extent.get("area"),
        "wind": use.weather.wind,
        "temperature": use.weather.temperature,
        "rain": use.weather.rain,
        "extent": use.extent.measures or None,
        "from_structure": _from_structure(case),
        "notice": use.notice or None,
        "nozzle": (case.tool.nozzle or None) if case.tool else None,
        "pressure": (case.tool.pressure or None) if case.tool else None,
        "equipment": kind_of_tool(case) or None,
    }
    if use.pests:
        facts["pest"] = use.pests
    _add_places(facts, case)
    _add_product(facts, case)
    levels = {
        "applicator_level": applicator_level(case),
        "supervisor_level": supervisor_level(case),
    }
    facts.update({name: level for name, level in levels.items() if level is not None})
    return facts


def _add_places(facts: dict[str, Any], case: Case) -> None:
    """Add the places and their traits; traits cannot be told where a place is not a known word."""
    places = case.use.places
    if not places:
        return
    facts["places"] = places
    if all(known(case.words, "place", place) for place in places):
        traits = [case.words.traits("place", place) for place in places]
        facts["place_traits"] = tuple(sorted(frozenset().union(*traits)))


def _add_product(facts: dict[str, Any], case: Case) -> None:
    product = case.product
    if product is None:
        return
    facts["formulation"] = str(product.formulation)
    facts["product_class"] = str(product.product_class)
    facts["ingredient"] = tuple(part.name for part in product.ingredients)
    facts["diluted"] = product.diluted
    facts.update(dict(product.flags))


def _from_structure(case: Case) -> Quantity | None:
    """Return how far from a structure the work reached: nothing indoors, else what is written."""
    if case.use.setting == "indoor":
        return Quantity(Fraction(0), "ft")
    return case.use.extent.get("distance out")
