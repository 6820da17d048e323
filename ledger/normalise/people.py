"""People: found by key, licence number or full name; the licence chosen by place, work and day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches

from ledger.values.finding import Fault
from ledger.values.firm import Firm, Licence, Person
from ledger.values.lexicon import fold
from ledger.values.origin import Origin
from ledger.values.reading import Reading


@dataclass(frozen=True, slots=True)
class Duty:
    """What a licence must cover: the site's jurisdiction, the line of work, the day."""

    jurisdiction: str
    work: str
    day: date


def squeeze(text: str) -> str:
    """Return a licence number as numbers are compared: letters and digits alone."""
    return "".join(char for char in text.casefold() if char.isalnum())


def find_person(text: str, firm: Firm) -> Person | None:
    """Return the person with that key, licence number or full name, or None.

    A number or name that two people share names nobody.
    """
    wanted = fold(text)
    for person in firm.people:
        if fold(person.key) == wanted:
            return person
    number = squeeze(text)
    found = [
        person
        for person in firm.people
        if any(squeeze(licence.number) == number for licence in person.licences)
        or fold(person.name) == wanted
    ]
    return found[0] if len(found) == 1 else None


def read_person(text: str, firm: Firm, origin: Origin) -> Reading[Person]:
    """Return the person a cell names; blank gives no person and no fault."""
    if not text:
        return Reading(None)
    person = find_person(text, firm)
    if person is not None:
        return Reading(person)
    near = _nearest(text, firm)
    way_out = (
        f"did you mean {near.key} ({near.name})?" if near else "add the person to useledger.toml"
    )
    what = f'"{text}" is neither a person of this workspace nor a licence number of one'
    return Reading(None, (Fault("PERSON-UNKNOWN", origin, what, way_out),))


def _nearest(text: str, firm: Firm) -> Person | None:
    known: dict[str, Person] = {}
    for person in firm.people:
        for spelling in (person.key, person.name, *person.name.split()):
            known.setdefault(fold(spelling), person)
        for licence in person.licences:
            known.setdefault(fold(licence.number), person)
    found = get_close_matches(fold(text), list(known), n=1)
    return known[found[0]] if found else None


def choose_licence(person: Person, jurisdiction: str, work: str, day: date) -> tuple[Licence, ...]:
    """Return the licences that hold in that jurisdiction, for that work, on that day.

    None is no fault of the line (a check finds what the law says of it); several need the line
    to name one.
    """
    return tuple(
        licence
        for licence in person.licences
        if licence.jurisdiction == jurisdiction
        and fold(work) in {fold(item) for item in licence.work}
        and licence.span.holds(day)
    )


def read_licence(text: str, person: Person, duty: Duty, origin: Origin) -> Reading[str]:
    """Return the number of the licence a person worked under, or an empty text for none.

    ``text`` is what the line wrote: where several licences hold, the one it names counts.
    """
    fitting = choose_licence(person, duty.jurisdiction, duty.work, duty.day)
    if not fitting:
        return Reading("")
    if len(fitting) == 1:
        return Reading(fitting[0].number)
    named = [licence for licence in fitting if squeeze(licence.number) == squeeze(text)]
    if len(named) == 1:
        return Reading(named[0].number)
    numbers = " or ".join(licence.number for licence in fitting)
    what = f"{person.name} holds several licences for this work here: {numbers}"
    return Reading(None, (Fault("LICENCE-ASK", origin, what, "write the number of the one used"),))
