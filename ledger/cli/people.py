"""People: their licences on a day, who must work under supervision, training and signatures."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import click

from ledger.cli.common import DONE, OWED, group_options, print_json, read_day, shared
from ledger.cli.people_records import sign_off_command, train_command
from ledger.cli.people_tools import tools_command
from ledger.cli.printing import counted, filled, table
from ledger.flow.workspace import FIRM_FILE, open_workspace

if TYPE_CHECKING:
    from ledger.flow.supervision import Standing
    from ledger.flow.workspace import Workspace
    from ledger.values.firm import Firm, Licence, Person

_SOON = 60
"""Days before its end from which a licence is said to end soon. Common practice, no source."""

_WORKING = timedelta(days=366)
"""Somebody whose last recorded work is older than this is not taken to be working any more."""

_FIELDS = ("key", "name", "licence", "title", "place", "work", "from", "to", "state")
_HEADINGS = ("Key", "Name", "Licence", "Title", "Where", "Work", "From", "To", "State")


@click.group("people", invoke_without_command=True)
@click.option("--on", metavar="DATE", help="How people stand on that day (else today).")
@group_options
@click.pass_context
def people_command(ctx: click.Context, /, on: str | None, **_: object) -> None:
    """List people, licences, training, tools.

    The people of the workspace: their licences, their training, lines that wait for a signature.

    \b
    People stand in useledger.toml; edit it there, then look here. Exit code 1 says that somebody
    who is needed (the licensee, a supervisor, or who has work recorded in the year before) has no
    licence that holds on the day and no supervisor who has one. Somebody who has left may stay in
    the file: an old licence without work is no fault. Examples:
      useledger people
      useledger people --on 2026-02-01
      useledger people train aster --on 2026-01-05 --trainer renner --title "..." --by calloway
      useledger people sign-off 2026-01-15 --by renner
      useledger people tools
    """
    if ctx.invoked_subcommand is None:
        ctx.invoke(list_command, on=on, workspace=None, as_json=False)


@people_command.command("list")
@click.option("--on", metavar="DATE", help="How people stand on that day (else today).")
@shared
def list_command(on: str | None = None, workspace: str | None = None, as_json: bool = False) -> int:
    """List people, licences, training and what waits for a signature.

    \b
    Example:
      useledger people list --on 2026-02-01
    """
    from ledger.flow.supervision import standings

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
    with opened.store.reading() as reader:
        stand = standings(opened, reader, day)
    if as_json:
        print_json({
            "on": day.isoformat(), "licences": rows, "under_supervision": notes,
            "training": [_standing(item, day) for item in stand],
            "owed": [note["key"] for note in owed],
        })  # fmt: skip
        return OWED if owed else DONE
    click.echo(f"People of {firm.name} on {day} (from {FIRM_FILE})\n")
    click.echo(table(_HEADINGS, [[row[name] for name in _FIELDS] for row in rows]))
    if notes:
        click.echo("\nMay not work alone on that day:")
    for note in notes:
        click.echo(filled(f"{note['name']}: {note['why']}; {note['way']}", "  ", "      "))
    if stand:
        click.echo("\nTraining, and lines of trainees that wait for a signature:")
    for item in stand:
        click.echo(filled(_standing_text(item, day), "  ", "      "))
    return OWED if owed else DONE


def _standing(item: Standing, day: date) -> dict[str, Any]:
    """Return how a person stands, as plain values."""
    clock = item.clock
    return {
        "key": item.person.key, "name": item.person.name,
        "trained": item.trained.isoformat() if item.trained else None,
        "until": item.until.isoformat() if item.until else None,
        "holds": item.until is not None and day <= item.until,
        "by_rule": clock.name, "source": clock.ref.source, "read": str(clock.read),
        "waiting": [
            {"entry": one.record.sealed.seq, "date": one.record.use.date.isoformat(),
             "supervisor": one.supervisor}
            for one in item.waiting
        ],
    }  # fmt: skip


def _standing_text(item: Standing, day: date) -> str:
    by = f"by {item.clock.ref.source}"
    if not item.clock.read.decides:
        by += f", {item.clock.read}"
    if item.until is None:
        said = "no training is recorded"
    else:
        verb = "holds up to" if day <= item.until else "lapsed after"
        said = f"trained on {item.trained}; it {verb} {item.until} ({by})"
    days: dict[tuple[date, str], int] = {}
    for one in item.waiting:
        key = (one.record.use.date, one.supervisor)
        days[key] = days.get(key, 0) + 1
    waits = [
        f"{counted(many, 'line')} of {when} {'waits' if many == 1 else 'wait'} for "
        f"{whose or 'a supervisor, but nobody is named'}"
        for (when, whose), many in sorted(days.items())
    ]
    return "; ".join([f"{item.person.name}: {said}", *waits])


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


people_command.add_command(train_command)
people_command.add_command(sign_off_command)
people_command.add_command(tools_command)
