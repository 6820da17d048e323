"""Incidents: what went wrong, recorded as it was, with the clocks of the law of the place."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, time
from fractions import Fraction
from typing import Any

from ledger.audit import Item, Topic, Weight
from ledger.deadlines import Began, clock_ends
from ledger.flow.audit_scope import Scope
from ledger.flow.periods import jurisdiction_of
from ledger.flow.places import site_from
from ledger.flow.workspace import Workspace, WorkspaceProblem
from ledger.journal import Reader
from ledger.numbers import read_quantity
from ledger.rulebook.model import Incident
from ledger.values.amount import Quantity
from ledger.values.help_lines import EMERGENCY, POISON_HELP, SPILLS
from ledger.values.origin import Origin
from ledger.values.product import Product
from ledger.values.sealed import EntryKind, NewEntry, Sealed

KINDS = ("spill", "exposure", "complaint", "property damage")
"""What can be recorded; the words are plain English, no law's own classes."""

CAUTION = (
    f"First things first: get people and animals away, call {EMERGENCY} in an emergency.",
    f"Poison Help: {POISON_HELP}; have the label in hand.",
    f"A spill near water: National Response Center {SPILLS}.",
    "Tell the regulator of the place and follow the label; write it down here afterwards.",
)
"""What is said before anything else; a firm posts its local numbers as well."""


@dataclass(frozen=True, slots=True)
class IncidentWish:
    """What a person says of an incident.

    ``where``, ``what``, ``people`` and ``done`` are free text and are kept apart; ``site`` is a
    site's key or None, ``product`` a product or None, ``amount`` as written or empty.
    """

    kind: str
    day: date
    at: time | None
    by: str
    what: str
    done: str
    where: str = ""
    people: str = ""
    site: str | None = None
    product: Product | None = None
    amount: str = ""


@dataclass(frozen=True, slots=True)
class Clock:
    """One duty of the law of the place: what it says, whether it was reached, and until when.

    ``reached`` is None where that cannot be told. ``ends`` is empty where the law gives no clock.
    """

    rule: Incident
    reached: bool | None
    ends: str


@dataclass(frozen=True)
class Recorded:
    """A recorded incident with the clocks that were read; none means that no law was read."""

    entry: Sealed
    clocks: tuple[Clock, ...]


def record_incident(workspace: Workspace, wish: IncidentWish) -> Recorded:
    """Seal an incident; raise where it says too little to be found again."""
    if wish.day > workspace.today():
        raise WorkspaceProblem(f"{wish.day} has not come yet", "record what has happened")
    if not wish.what.strip() or not wish.done.strip():
        raise WorkspaceProblem(
            "an incident needs what happened and what was done", 'add --what "..." --done "..."'
        )
    amount = _amount(workspace, wish.amount)
    with workspace.store.writing() as writer:
        home = jurisdiction_of(workspace, None)
        place, zone, county = home.id, home.time_zone, None
        if wish.site is not None:
            sealed = writer.site(wish.site)
            if sealed is None:
                raise WorkspaceProblem(f'no site "{wish.site}"', "see useledger sites")
            site = site_from(sealed)
            place, zone, county = site.jurisdiction, site.time_zone, site.county
        body: dict[str, Any] = {
            "incident": wish.kind, "date": wish.day.isoformat(),
            "at": wish.at.isoformat("minutes") if wish.at else None,
            "jurisdiction": place, "county": county, "time_zone": zone, "site": wish.site,
            "product_key": wish.product.key if wish.product else None,
            "amount": {"value": str(amount.value), "unit": amount.unit} if amount else None,
            "typed": wish.amount,
        }  # fmt: skip
        private = {
            "where": wish.where, "what": wish.what, "people": wish.people, "done": wish.done,
        }  # fmt: skip
        text = json.dumps(private, ensure_ascii=True, sort_keys=True)
        entry = writer.append(NewEntry(EntryKind.INCIDENT, body, private=text, by=wish.by))
    return Recorded(entry, clocks_of(workspace, entry))


def _amount(workspace: Workspace, text: str) -> Quantity | None:
    if not text.strip():
        return None
    reading = read_quantity(text, workspace.book.units, Origin("--amount"))
    if reading.value is None:
        fault = reading.faults[0]
        raise WorkspaceProblem(f"{fault.code}: {fault.what}", fault.way_out)
    return reading.value


def clocks_of(workspace: Workspace, entry: Sealed) -> tuple[Clock, ...]:
    """Return every duty that the law of the place as read attaches to incidents.

    Which duty belongs to which kind of incident the law's own words say: all are shown. A
    threshold is compared where the incident gives an amount that compares.
    """
    body, book = entry.body, workspace.book
    day = date.fromisoformat(body["date"])
    at = time.fromisoformat(body["at"]) if body["at"] else None
    said = body["amount"]
    amount = Quantity(Fraction(said["value"]), said["unit"]) if said else None
    found: list[Clock] = []
    for file in book.laws_of(body["jurisdiction"]):
        for rule in file.incidents:
            if not rule.span.holds(day):
                continue
            ends = ""
            if rule.within is not None:
                began = Began(day, at, body["time_zone"], file.state)
                ends = clock_ends(rule.within, began).why
            found.append(Clock(rule, _reached(workspace, rule, amount), ends))
    return tuple(found)


def _reached(workspace: Workspace, rule: Incident, amount: Quantity | None) -> bool | None:
    """Say whether an amount is over any threshold that compares; a rule without one always is."""
    if not rule.more_than:
        return True
    units = workspace.book.units
    compared = [
        units.convert(amount, most.unit).value > most.value
        for most in rule.more_than
        if amount is not None and units.comparable(amount.unit, most.unit)
    ]
    if True in compared:
        return True
    return False if len(compared) == len(rule.more_than) else None


def list_incidents(workspace: Workspace) -> tuple[Recorded, ...]:
    """Return every incident on record, oldest first."""
    with workspace.store.reading() as reader:
        entries = tuple(reader.entries(kinds=(EntryKind.INCIDENT,)))
    return tuple(Recorded(entry, clocks_of(workspace, entry)) for entry in entries)


def incident_items(workspace: Workspace, reader: Reader, scope: Scope) -> Iterator[Item]:
    """Yield each incident of the scope as advice, with the duties of the law of its place."""
    for entry in reader.entries(kinds=(EntryKind.INCIDENT,)):
        body = entry.body
        day = date.fromisoformat(body["date"])
        wanted = (scope.site, scope.product_key)
        for asked, given in zip(wanted, (body["site"], body["product_key"]), strict=True):
            if asked is not None and asked != given:
                break
        else:
            if scope.applicator is None and scope.holds(day):
                yield _item(workspace, entry, day)


def _item(workspace: Workspace, entry: Sealed, day: date) -> Item:
    clocks = clocks_of(workspace, entry)
    duties = "; ".join(
        f"{clock.rule.what} ({clock.ends or 'no clock'})"
        for clock in clocks
        if clock.reached is not False
    )
    place = entry.body["jurisdiction"]
    law = duties or ("no threshold was reached" if clocks else f"law not read for {place}")
    return Item(
        Topic.INCIDENTS, Weight.ADVICE, f"incident:{entry.seq}", "incident",
        f"{entry.body['incident']} recorded on {entry.at[:10]}: {law}", entry=entry.seq, day=day,
        rules=tuple(clock.rule.ref for clock in clocks if clock.reached is not False),
    )  # fmt: skip
