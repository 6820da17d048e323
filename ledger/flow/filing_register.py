"""The register of filings: what was filed, when, by whom, with a copy; what it no longer says."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from ledger.filing import (
    Change,
    Due,
    Lateness,
    Owed,
    counties_owed,
    difference,
    due,
    late,
    owed,
    periods_owed,
    report_bytes,
)  # fmt: skip
from ledger.flow.periods import jurisdiction_of, summarise_period, summary_of
from ledger.flow.workspace import Workspace, WorkspaceProblem, seal_rules
from ledger.journal import Reader
from ledger.journal.glance import unclosed_days, uses_saying
from ledger.listing import row_texts
from ledger.rulebook.form_model import Form
from ledger.rulebook.model import ReportDuty
from ledger.values.finding import render_fault
from ledger.values.lexicon import PlaceOfLaw, fold
from ledger.values.period import Period, read_period
from ledger.values.sealed import EntryKind, NewEntry, Sealed
from ledger.values.summary import Summary
from ledger.values.summary_rows import ingredient_rows, line_rows


@dataclass(frozen=True)
class Filed:
    """One county's report as registered: its entry, its due day and how it stands to it."""

    entry: Sealed
    county: str
    due: Due | None
    lateness: Lateness | None


@dataclass(frozen=True, slots=True)
class Open:
    """What is still open in a period: days not closed, and held lines."""

    days: tuple[date, ...]
    held: tuple[int, ...]


def open_in(reader: Reader, period: Period) -> Open:
    """Return the days of a period with work that are not closed as they stand, and held lines."""
    unclosed = tuple(unclosed_days(reader, period.first, period.last))
    held = tuple(
        entry.seq
        for entry in reader.held_open()
        if any(period.first <= date.fromisoformat(day) <= period.last for day in entry.body["days"])
    )
    return Open(unclosed, held)


@dataclass(frozen=True, slots=True)
class FilingWish:
    """What a person says of a filing: when, how, by whom, and that open things are known.

    ``filed_on`` is the day of delivery; ``posted`` the postmark of what was mailed.
    """

    filed_on: date
    how: str
    by: str
    with_open: bool
    jurisdiction: str | None = None
    county: str | None = None
    form: str | None = None
    posted: date | None = None


Copies = Mapping[str, Mapping[str, bytes]]
"""By county, the files made for it (name to bytes): what was handed to the regulator."""


def plan_filing(
    workspace: Workspace, period: Period, wish: FilingWish
) -> tuple[Summary, Form, PlaceOfLaw, ReportDuty | None, tuple[str, ...]]:
    """Return the summary to file and the counties it is filed to; raise where that is wrong."""
    summary, form, place, duty = summarise_period(workspace, period, wish.jurisdiction, wish.form)
    if period.last >= workspace.today():
        raise WorkspaceProblem(f"{period.text} is not over", "file a period after its last day")
    refuse_refused(summary, form)
    counties = summary.counties
    if wish.county is not None:
        counties = tuple(county for county in counties if fold(county) == fold(wish.county))
        if not counties:
            known = ", ".join(summary.counties) or "none"
            raise WorkspaceProblem(
                f'no report is owed to "{wish.county}" for {period.text}', f"owed to: {known}"
            )
    if not counties:
        raise WorkspaceProblem(
            f"nothing to file for {period.text} in {place.name}: no use, no registration",
            "check the registrations in useledger.toml",
        )
    return summary, form, place, duty, counties


def refuse_refused(summary: Summary, form: Form) -> None:
    """Raise with every line that the regulator would not take, and how to put it right."""
    if summary.refused:
        said = "\n".join(render_fault(fault) for fault in summary.refused)
        raise WorkspaceProblem(
            f"{len(summary.refused)} values of {form.id} would be refused:\n{said}",
            "put them right and file again; the records themselves stand as they are",
            summary.refused,
        )


def beside(workspace: Workspace, summary: Summary, form: Form) -> tuple[tuple[Summary, Form], ...]:
    """Return the reports that are handed in together with this one, each with its form."""
    found = []
    for name in form.beside:
        other = workspace.book.form(name)
        if other is None:
            raise WorkspaceProblem(
                f'{form.path} names "{name}" beside it, and no form file has that id',
                "write the form file, or take the name out",
            )
        place = jurisdiction_of(workspace, summary.jurisdiction)
        with workspace.store.reading() as reader:
            made = summary_of(workspace, reader, summary.period, place, other)
        refuse_refused(made, other)
        found.append((made, other))
    return tuple(found)


def file_report(
    workspace: Workspace, period: Period, wish: FilingWish, copies: Copies
) -> tuple[Filed, ...]:
    """Register a period's report as filed, one entry a county, with a copy of what was filed."""
    summary, form, place, duty, counties = plan_filing(workspace, period, wish)
    when = due(duty, period, place.state) if duty is not None else None
    lateness = late(wish.filed_on, when, wish.posted) if when is not None else None
    with workspace.store.writing() as writer:
        still_open = open_in(writer, period)
        refuse_open(still_open, period, wish)
        seal_rules(writer, workspace.book)
        done: list[Filed] = []
        for county in counties:
            data = filed_bytes(summary, form, county)
            body: dict[str, Any] = {
                "jurisdiction": place.id, "county": county, "period": period.key,
                "form": form.id, "form_digest": form.digest,
                "report": writer.keep("filed report", data),
                "copies": {
                    name: writer.keep("filed copy", content)
                    for name, content in copies.get(county, {}).items()
                },
                "filed_on": wish.filed_on.isoformat(), "how": wish.how,
                "due": when.day.isoformat() if when and when.read else None,
                "extended": when.extended_day.isoformat() if when and when.extended_day else None,
                "late": int(lateness.late) if lateness and lateness.known else None,
                "nil": int(not summary.of_county(county).used),
                "open_days": [day.isoformat() for day in still_open.days],
                "held": list(still_open.held),
            }  # fmt: skip
            if wish.posted is not None:
                counts = int(when is not None and when.postmark)
                body |= {"posted": wish.posted.isoformat(), "postmark": counts}
            entry = writer.append(NewEntry(EntryKind.FILING, body, by=wish.by))
            done.append(Filed(entry, county, when, lateness))
    return tuple(done)


def refuse_open(still_open: Open, period: Period, wish: FilingWish) -> None:
    """Raise while days of a period are open or lines held, unless the wish says it is known."""
    if wish.with_open or not (still_open.days or still_open.held):
        return
    days = ", ".join(day.isoformat() for day in still_open.days) or "none"
    held = ", ".join(str(seq) for seq in still_open.held) or "none"
    raise WorkspaceProblem(
        f"{period.text} has open ends: days not closed: {days}; held lines: {held}",
        "close the days (useledger close), clear what is held (useledger held), or file all the "
        "same with --with-open: their number is sealed and their later mending shows",
    )


def filed_bytes(summary: Summary, form: Form, county: str) -> bytes:
    """Return the canonical bytes of one county's report."""
    part = summary.of_county(county)
    rows = row_texts(part, form)
    head = {
        "form": form.id, "form_digest": form.digest, "jurisdiction": summary.jurisdiction,
        "period": summary.period.key, "county": county, "nil": "" if part.used else "no use",
    }  # fmt: skip
    return report_bytes(head, [*line_rows(part), *ingredient_rows(part), *rows])


@dataclass(frozen=True)
class Registered:
    """A filing as listed: its entry, whether it is the newest of its kind, and what has changed."""

    entry: Sealed
    standing: bool
    changes: tuple[Change, ...]


def list_filings(workspace: Workspace) -> tuple[tuple[Registered, ...], tuple[Owed, ...]]:
    """Return every filing with what it no longer says, and the reports owed and not filed."""
    with workspace.store.reading() as reader:
        entries = list(reader.filings())
        owing = reports_owed(workspace, reader, entries, workspace.today())
        return registered(workspace, reader, entries), owing


def registered(
    workspace: Workspace, reader: Reader, entries: Sequence[Sealed]
) -> tuple[Registered, ...]:
    """Return every one of these filings, which are all there are, with what it no longer says."""
    newest = {_subject(entry): entry.seq for entry in entries}
    made: dict[tuple[str, str, str], Summary] = {}
    return tuple(
        Registered(
            entry, newest[_subject(entry)] == entry.seq, _changes(workspace, reader, entry, made)
        )
        for entry in entries
    )


def _subject(entry: Sealed) -> tuple[str, str, str, str]:
    body = entry.body
    return body["jurisdiction"], body["county"], body["period"], body["form"]


def _changes(
    workspace: Workspace, reader: Reader, entry: Sealed, made: dict[tuple[str, str, str], Summary]
) -> tuple[Change, ...]:
    """Return how the report would differ if it were made from the entries as they are now."""
    body = entry.body
    data = reader.blob(body["report"])
    form = workspace.book.form(body["form"])
    period = read_period(body["period"])
    if data is None or form is None or period is None:
        return ()
    key = (body["jurisdiction"], body["period"], body["form"])
    if key not in made:
        place = jurisdiction_of(workspace, body["jurisdiction"])
        made[key] = summary_of(workspace, reader, period, place, form)
    now = json.loads(filed_bytes(made[key], form, body["county"]))
    return difference(json.loads(data)["rows"], now["rows"])


def reports_owed(
    workspace: Workspace, reader: Reader, entries: Sequence[Sealed], until: date
) -> tuple[Owed, ...]:
    """Return the reports that are not filed of every period that is over before ``until``."""
    today = workspace.today()
    found: list[Owed] = []
    firm = workspace.book.firm
    for file in workspace.book.jurisdictions:
        years = [item.year for item in firm.registrations if item.jurisdiction == file.id]
        first = reader.first_day(file.id)
        starts = [date(min(years), 1, 1)] if years else []
        if first is not None:
            starts.append(first)
        licensed = _licensed(workspace, reader, file.id)
        if licensed is not None:
            starts.append(licensed)
        if not starts:
            continue
        for duty in file.reports:
            filed = {
                (entry.body["period"], entry.body["county"])
                for entry in entries
                if entry.body["jurisdiction"] == file.id and entry.body["form"] == duty.form
            }
            periods = [
                (period, counties_owed(
                    firm.registrations, duty, file.id, period.year,
                    _worked(workspace, reader, (file.id, duty), period),
                ))
                for period in periods_owed(duty, min(starts), until)
            ]  # fmt: skip
            found += [
                replace(item, jurisdiction=file.id)
                for item in owed(duty, periods, filed, today, file.state)
            ]
    return tuple(found)


def _licensed(workspace: Workspace, reader: Reader, jurisdiction: str) -> date | None:
    """Return from when on people of the firm are licensed somewhere, as far as the ledger goes.

    A report that each person owes is owed from then on, also where nobody has worked.
    """
    starts = [
        licence.span.start or date.min
        for person in workspace.book.firm.people
        for licence in person.licences
        if licence.jurisdiction == jurisdiction
    ]
    if not starts or reader.head.seq == 0:
        return None
    return max(min(starts), date.fromisoformat(reader.entry(1).at[:10]))


def _worked(
    workspace: Workspace, reader: Reader, duty: tuple[str, ReportDuty], period: Period
) -> set[str]:
    """Return the counties (one empty name for a state) with something that this duty reports."""
    jurisdiction, report = duty
    form = workspace.book.form(report.form)
    if report.per == "person" and report.nil and _licensed(workspace, reader, jurisdiction):
        return {""}
    if form is not None and form.only_site_kinds:
        asked: dict[str, str | date | None] = {
            "jurisdiction": jurisdiction, "date_from": period.first, "date_to": period.last,
        }  # fmt: skip
        found = uses_saying(reader, "site_kind", form.only_site_kinds, asked)
        return {entry.body["county"] for entry in found}
    months = period.months if not period.month else (period,)
    return {
        group.county
        for month in months
        for group in reader.month(jurisdiction, month.year * 100 + month.month)
    }


def unregistered(workspace: Workspace) -> tuple[str, ...]:
    """Return in words where the firm worked in a county without a registration for that year.

    Asked only of jurisdictions whose reports go to the county.
    """
    firm = workspace.book.firm
    known = {(item.jurisdiction, fold(item.county), item.year) for item in firm.registrations}
    found = []
    with workspace.store.reading() as reader:
        for file in workspace.book.jurisdictions:
            first = reader.first_day(file.id)
            duty = next((item for item in file.reports if item.per == "county"), None)
            if duty is None or first is None:
                continue
            for year in range(first.year, workspace.today().year + 1):
                counties = _worked(workspace, reader, (file.id, duty), Period(year))
                found += [
                    f"advice: work in {county} in {year}, and useledger.toml names no registration "
                    f"there for {year}: register with the county before working in it, or add the "
                    "[[registration]] that you hold"
                    for county in sorted(counties)
                    if county and (file.id, fold(county), year) not in known
                ]
    return tuple(found)
