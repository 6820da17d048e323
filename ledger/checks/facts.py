"""What a rule's condition may ask of a case, as ``ledger.rulebook.when`` reads it.

A fact that is left out cannot be told; None is known not to be given; an empty tuple is known to
hold nothing. A fact is worked out when it is asked for: most conditions ask for one or two.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction
from functools import cache
from typing import Any

from ledger.checks.case import Case
from ledger.checks.lists import kind_of_tool
from ledger.checks.people import applicator_level, supervisor_level
from ledger.checks.places import known
from ledger.values.amount import Quantity
from ledger.values.product import Product

_LEFT_OUT = object()
"""What stands for a fact that cannot be told."""


def _measured(case: Case) -> bool:
    return bool(case.use.extent.measures)


def _place_traits(case: Case) -> object:
    """Return the traits of all places; left out where a place is not a known word."""
    places = case.use.places
    if not places or not all(known(case.words, "place", place) for place in places):
        return _LEFT_OUT
    traits = [case.words.traits("place", place) for place in places]
    return tuple(sorted(frozenset().union(*traits)))


def _level(level: str | None) -> object:
    return _LEFT_OUT if level is None else level


def _from_structure(case: Case) -> Quantity | None:
    """Return how far from a structure the work reached: nothing indoors, else what is written."""
    if case.use.setting == "indoor":
        return Quantity(Fraction(0), "ft")
    return case.use.extent.get("distance out")


_OF_CASE: Mapping[str, Callable[[Case], Any]] = {
    "method": lambda case: case.use.method or None,
    "setting": lambda case: case.use.setting or None,
    "site_kind": lambda case: case.use.site_kind or None,
    "supervisor": lambda case: case.use.supervisor or None,
    "county": lambda case: case.use.county or None,
    "line_of_work": lambda case: case.firm.work or None,
    "area": lambda case: case.use.extent.get("area"),
    "wind": lambda case: case.use.weather.wind,
    "temperature": lambda case: case.use.weather.temperature,
    "rain": lambda case: case.use.weather.rain,
    "extent": lambda case: case.ask(_measured) or None,
    "from_structure": _from_structure,
    "notice": lambda case: case.use.notice or None,
    "nozzle": lambda case: (case.tool.nozzle or None) if case.tool else None,
    "pressure": lambda case: (case.tool.pressure or None) if case.tool else None,
    "equipment": lambda case: kind_of_tool(case) or None,
    "pest": lambda case: case.use.pests or _LEFT_OUT,
    "places": lambda case: case.use.places or _LEFT_OUT,
    "place_traits": _place_traits,
    "applicator_level": lambda case: _level(applicator_level(case)),
    "supervisor_level": lambda case: _level(supervisor_level(case)),
}

_OF_PRODUCT: Mapping[str, Callable[[Product], Any]] = {
    "formulation": lambda product: str(product.formulation),
    "product_class": lambda product: str(product.product_class),
    "ingredient": lambda product: tuple(part.name for part in product.ingredients),
    "diluted": lambda product: product.diluted,
}


@cache
def _of_product(name: str) -> Callable[[Case], Any]:
    """Return the question for one fact of the product; always the same one."""
    read = _OF_PRODUCT.get(name)

    def ask(case: Case) -> object:
        if case.product is None:
            return _LEFT_OUT
        return read(case.product) if read else dict(case.product.flags).get(name, _LEFT_OUT)

    return ask


class _Facts(Mapping[str, Any]):
    """The facts of a case by name, each worked out once, when it is asked for."""

    def __init__(self, case: Case) -> None:
        self._case = case
        self._told: dict[str, Any] = {}

    def _tell(self, name: str) -> object:
        if name not in self._told:
            self._told[name] = self._look(name)
        return self._told[name]

    def _look(self, name: str) -> object:
        if name in _OF_CASE:
            return _OF_CASE[name](self._case)
        return self._case.ask(_of_product(name))

    def __contains__(self, name: object) -> bool:
        return isinstance(name, str) and self._tell(name) is not _LEFT_OUT

    def __getitem__(self, name: str) -> Any:  # noqa: ANN401 - a fact may be anything
        if name not in self:
            raise KeyError(name)
        return self._told[name]

    def __iter__(self) -> Iterator[str]:
        flags = dict(self._case.product.flags) if self._case.product else {}
        names = dict.fromkeys((*_OF_CASE, *_OF_PRODUCT, *flags))
        return (name for name in names if name in self)

    def __len__(self) -> int:
        return sum(1 for _ in self)


def facts_of(case: Case) -> Mapping[str, Any]:
    """Return the facts of a case by name."""
    return _Facts(case)
