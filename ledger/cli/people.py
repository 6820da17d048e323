"""People: their licences on a day, and who must work under supervision."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import click

from ledger.cli.common import DONE, OWED, print_json, read_day, shared
from ledger.cli.printing import filled, table
from ledger.flow.workspace import FIRM_FILE, open_workspace

if TYPE_CHECKING:
    from ledger.flow.workspace import Workspace
    from ledger.values.firm import Firm, Licence, Person

_SOON = 60
"""Days before its end from which a licence is said to end soon. Common practice, no source."""

_WORKING = timedelta(days=366)
"""Somebody whose last recorded work is older than this is not taken to be working any more."""

_FIELDS = ("key", "name", "licence", "title", "place", "work", "from", "to", "state")
_HEADINGS = ("Key", "Name", "Licence", "Title", "Where", "Work", "From", "To", "State")


@click.command("people")
@click.option("--on", metavar="DATE", help="State of the licences on that day (else today).")
@shared
def people_command(on: str | None, workspace: str | None, as_json: bool) -> int:
    """List the people of the workspace and their licences.

    \b
    People stand in useledger.toml; edit it there, then look here. Exit code 1 says that somebody
    who is needed (the licensee, a supervisor, or who has work recorded in the year before) has no
    licence that holds on the day and no supervisor who has one. Somebody who has left may stay in
    the file: an old licence without work is no fault.
    Examples:
      useledger people
      useledger people --on 2026-02-01
    """
    opened = open_workspace(workspace)
    day = read_day(on, "--on") if on else opened.today()
    firm = opened.book.firm
    rows = [row for person in firm.people for row in _licences(person, day)]
    notes = [note for person in firm.people if (note := _supervision(firm, person, day))]
    working = _working(opened, day)
    owed = [
        note for note in notes
        if not note["settled"] and (note["key"] in working or note["needed"])
    ]  # fmt: skip
    if as_json:
        print_json({
            "on": day.isoformat(), "licences": rows,
            "under_supervision": notes, "owed": [note["key"] for note in owed],
        })  # fmt: skip
        return OWED if owed else DONE
    click.echo(f"People of {firm.name} on {day} (from {FIRM_FILE})\n")
    click.echo(table(_HEADINGS, [[row[name] for name in _FIELDS] for row in rows]))
    if notes:
        click.echo("\nMay not work alone on that day:")
    for note in notes:
        click.echo(filled(f"{note['name']}: {note['why']}; {note['way']}", "  ", "      "))
    return OWED if owed else DONE


def _licences(person: Person, day: date) -> list[dict[str, Any]]:
    if not person.licences:
        return [dict.fromkeys(_FIELDS, "")
                | {"key": person.key, "name": person.name, "state": "no licence"}]  # fmt: skip
    return [
        {
            "key": person.key, "name": person.name, "licence": licence.number,
            "title": licence.title, "place": licence.jurisdiction, "work": ", ".join(licence.work),
            "from": licence.span.start or "", "to": licence.span.end or "",
            "state": _state(licence, day),
        }
        for licence in person.licences
    ]  # fmt: skip


def _state(licence: Licence, day: date) -> str:
    start, end = licence.span.start, licence.span.end
    if start is not None and day < start:
        return "not yet"
    if not licence.span.holds(day):
        return "lapsed"
    if end is not None and (end - day).days <= _SOON:
        left = (end - day).days
        return "ends today" if not left else f"ends in {left} day{'s' if left > 1 else ''}"
    return "holds" if licence.level == "certified" else "holds, under supervision"


def _supervision(firm: Firm, person: Person, day: date) -> dict[str, Any] | None:
    """Return why a person may not work alone on a day and who is named to supervise, or None.

    ``settled`` says that the named supervisor is certified on that day.
    """
    if _certified(person, day):
        return None
    held = [licence for licence in person.licences if licence.span.holds(day)]
    old = [licence for licence in person.licences if licence.span.end and licence.span.end < day]
    if held:
        why = f"{held[0].title} {held[0].number} works under a certified person"
    elif old:
        newest = max(old, key=lambda licence: licence.span.end or day)
        why = f"{newest.title} {newest.number} lapsed after {newest.span.end}"
    else:
        why = "no licence that has begun"
    supervisor = firm.person(person.supervisor) if person.supervisor else None
    settled = supervisor is not None and _certified(supervisor, day)
    if supervisor is None:
        way = f"no supervisor is named in {FIRM_FILE}"
    else:
        way = f"supervisor: {supervisor.name}" + ("" if settled else ", who is not certified then")
    leads = any(other.supervisor == person.key for other in firm.people)
    return {
        "key": person.key, "name": person.name, "why": why, "way": way,
        "supervisor": person.supervisor, "settled": settled,
        "needed": person.licensee or leads,
    }  # fmt: skip


def _certified(person: Person, day: date) -> bool:
    return any(
        licence.level == "certified" and licence.span.holds(day) for licence in person.licences
    )


def _working(workspace: Workspace, day: date) -> set[str]:
    """Return the people who applied something in the year up to a day."""
    from ledger.flow.lines import BOOKED

    span: dict[str, Any] = {"date_from": day - _WORKING, "date_to": day}
    with workspace.store.reading() as reader:
        return {
            person.key
            for person in workspace.book.firm.people
            if any(True for _ in reader.entries(BOOKED, applicator=person.key, **span))
        }
