"""The firm: its people and their licences, its tools, its registrations."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property

from ledger.values.amount import Quantity
from ledger.values.dated import Span


@dataclass(frozen=True, slots=True)
class Licence:
    """One licence or certificate: number, class, where and for what work it holds, and when.

    ``level`` is ``certified`` (may work alone and supervise, also with restricted use where
    ``restricted`` is true) or ``supervised`` (works under a certified person).
    """

    number: str
    title: str
    jurisdiction: str
    work: tuple[str, ...]
    level: str
    restricted: bool
    span: Span


@dataclass(frozen=True, slots=True)
class Person:
    """A person of the workspace; a trainee has no licence."""

    key: str
    name: str
    licences: tuple[Licence, ...] = ()
    licensee: bool = False
    supervisor: str | None = None


@dataclass(frozen=True, slots=True)
class Calibration:
    """What one puff, dab or second gives, by weighing, for one tool and one product."""

    on: date
    product: str
    gives: Quantity
    per: str


@dataclass(frozen=True, slots=True)
class Tool:
    """A piece of equipment: empty weight, what it holds, its calibrations, how it puts down."""

    key: str
    kind: str
    empty: Quantity | None = None
    holds: Quantity | None = None
    calibrations: tuple[Calibration, ...] = ()
    nozzle: str = ""
    pressure: str = ""


@dataclass(frozen=True, slots=True)
class Registration:
    """The firm's registration with one county for one calendar year."""

    jurisdiction: str
    county: str
    year: int


@dataclass(frozen=True, slots=True)
class Statement:
    """The fixed words of a law that a customer's paper must carry, as the firm copied them.

    ``county`` is blank where the words are the same in the whole state; ``compared_on`` is the day
    on which somebody compared them with the official text.
    """

    jurisdiction: str
    county: str
    words: str
    compared_on: date | None


@dataclass(frozen=True)
class Firm:
    """What ``useledger.toml`` says. ``ratio`` is ``1 in N`` or ``1 + N`` (the meaning of 1:N).

    ``keeps`` are the lists that stand in for a field on every record where the law allows it.
    """

    name: str
    licence: str
    address: str
    city: str
    state: str
    zip: str
    home: str
    time_zone: str
    month_first: bool
    ratio: str
    work: str
    telephone: str = ""
    registrations: tuple[Registration, ...] = ()
    people: tuple[Person, ...] = ()
    tools: tuple[Tool, ...] = ()
    database: str = ""
    keeps: tuple[str, ...] = ()
    statements: tuple[Statement, ...] = ()

    def statement(self, jurisdiction: str, county: str) -> Statement | None:
        """Return the firm's copy of a law's words: that of the county, else that of the state."""
        mine = [item for item in self.statements if item.jurisdiction == jurisdiction]
        own = [item for item in mine if item.county and item.county == county]
        return next(iter((*own, *(item for item in mine if not item.county))), None)

    def person(self, key: str) -> Person | None:
        """Return the person with this key, or None."""
        return self._people.get(key)

    @cached_property
    def _people(self) -> dict[str, Person]:
        return {person.key: person for person in reversed(self.people)}

    def tool(self, key: str) -> Tool | None:
        """Return the tool with this key, or None."""
        return self._tools.get(key)

    @cached_property
    def _tools(self) -> dict[str, Tool]:
        return {tool.key: tool for tool in reversed(self.tools)}
