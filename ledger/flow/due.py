"""What a licensee opens on Monday: everything owed, from everywhere, in one list."""

from __future__ import annotations

from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

from ledger.checks.retention import Until, rules_about
from ledger.deadlines import Ends, Owing, Sort, clock_ends, long_day, within_reach
from ledger.flow.clocks import LEFT_AFTER, THE_FIRM, began
from ledger.flow.file_names import row_of
from ledger.flow.filing_register import registered, reports_owed
from ledger.flow.governing import case_of, clocks_of
from ledger.flow.judging import booked, findings_from
from ledger.flow.places import site_from
from ledger.flow.retaining import records_of
from ledger.flow.revisits import revisits_owed
from ledger.flow.supervision import supervision_owed
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.journal.glance import (
    ProductUsed,
    found_of_kind,
    products_used,
    unclosed_days,
    uses_of,
    years_worked,
)
from ledger.journal.listing import entries_of, kinds_of_newest
from ledger.rulebook.book import Book, months_after
from ledger.rulebook.model import Deadline, RuleFile
from ledger.rulebook.when import holds
from ledger.values.finding import Finding, Kind
from ledger.values.lexicon import fold
from ledger.values.sealed import EntryKind, Sealed
from ledger.values.site import Site

FIRM_FILE = "useledger.toml"
FROM_THE_WORK = ("application", "completion of the work")


@dataclass(frozen=True, slots=True)
class _Look:
    """The day that is asked about, the last day of the look ahead, and the moment for hours."""

    on: date
    last: date
    moment: datetime


def what_is_due(workspace: Workspace, on: date | None = None, ahead: int = 30) -> tuple[Owing, ...]:
    """Return what is overdue on a day, and what falls due within so many days after it, in order.

    Without a day it is today by the firm's clock, and hours are counted by that clock; another
    day is looked at from its first minute.
    """
    today = workspace.today()
    day = on or today
    zone = ZoneInfo(workspace.book.firm.time_zone)
    moment = workspace.clock() if day == today else datetime.combine(day, time(0), zone)
    look = _Look(day, day + timedelta(days=ahead), moment)
    with workspace.store.reading() as reader:
        found = [
            *_reports(workspace, reader, look),
            *_amended(workspace, reader, look),
            *_records(workspace, reader, look),
            *_held(reader, look),
            *_open_days(reader, look),
            *_questions(reader, look),
            *_retention(workspace, reader, look),
            *revisits_owed(reader, workspace.book, look.on, timedelta(days=ahead)),
            *supervision_owed(workspace, reader, look.on),
        ]
    found += [
        *_licences(workspace, look), *_registrations(workspace, look),
        *_stale(workspace, look),
    ]  # fmt: skip
    return within_reach(found, look.last)


# ------------------------------------------------------------------ reports


def _reports(workspace: Workspace, reader: Reader, look: _Look) -> Iterator[Owing]:
    book, home = workspace.book, workspace.book.firm.home
    duties = {(file.id, duty.name): duty for file in book.jurisdictions for duty in file.reports}
    for item in reports_owed(workspace, reader, list(reader.filings()), look.last):
        duty = duties.get((item.jurisdiction, item.duty))
        where = f", {item.county}" if item.county else ""
        over = "" if item.period.last < look.on else f" (not over until {item.period.last})"
        county = f' --county "{item.county}"' if item.county else ""
        form = f" --form {duty.form}" if duty else ""
        form += f" --jurisdiction {item.jurisdiction}" if item.jurisdiction != home else ""
        yield Owing(
            Sort.REPORT, item.due.day, f"report of {item.period.text}{where}{over}", item.due.why,
            item.due.source, f"useledger file {item.period.key}{county}{form} --by PERSON",
            item.due.read and look.on > item.due.day,
            item.due.read and (duty is None or duty.read.decides), item.due.extended_day,
        )  # fmt: skip


def _amended(workspace: Workspace, reader: Reader, look: _Look) -> Iterator[Owing]:
    for item in registered(workspace, reader, list(reader.filings())):
        body = item.entry.body
        if item.standing and item.changes:
            yield Owing(
                Sort.AMENDED_REPORT, look.on,
                f"amended report of {body['period']} {body['county']}",
                f"mended since entry {item.entry.seq}: {len(item.changes)} lines differ",
                "the ledger's own register of filings",
                f"useledger filings; useledger file {body['period']} --form {body['form']} "
                "--by PERSON",
            )  # fmt: skip


# ------------------------------------------------------------------ records and papers


def _records(workspace: Workspace, reader: Reader, look: _Look) -> Iterator[Owing]:
    """Yield the clocks of records with something missing, and of papers not given."""
    found = found_of_kind(reader, str(Kind.MISSING))
    book = workspace.book

    @cache
    def site_of(key: str) -> Site | None:
        entry = reader.site(key)
        return site_from(entry) if entry else None

    for entry, given in _looked_at(reader, book, found.keys()):
        lacking = [
            item for item in findings_from(found.get(entry.seq, ())) if item.kind is Kind.MISSING
        ]
        site = site_of(entry.body["site"])
        if site is None:
            continue
        case = case_of(book, booked(entry).use, site)
        for clock, applies in clocks_of(book, case):
            wanted = lacking if clock.about == "record" else _owed_to(clock) and not given
            if wanted and clock.counted_from in FROM_THE_WORK:
                ends = clock_ends(clock.within, began(case, clock))
                sure = bool(applies) and clock.read.decides
                yield _of_clock(entry, clock, (ends, sure), lacking, look)


def _looked_at(reader: Reader, book: Book, lacking: Set[int]) -> Iterator[tuple[Sealed, bool]]:
    """Yield the current records of which something may be owed, and whether a paper was given.

    A record that lacks nothing is read only where a law may have a paper given after such work.
    """
    owing = {
        (used.jurisdiction, used.product_key)
        for used in products_used(reader)
        if _may_owe(book, used)
    }
    noticed = _noticed(reader) if owing else set()

    def given(entry: Sealed) -> bool:
        body = entry.body
        return entry.seq in noticed or body["visit"] in noticed or body["notice"] in LEFT_AFTER

    for entry in entries_of(reader, lacking - kinds_of_newest(reader, lacking).keys()):
        yield entry, given(entry)
    for entry in uses_of(reader, {key for _, key in owing}) if owing else ():
        asked = (entry.body["jurisdiction"], entry.body["product_key"]) in owing
        if asked and entry.seq not in lacking and not given(entry):
            yield entry, False


def _may_owe(book: Book, used: ProductUsed) -> bool:
    """Say whether a law may have a paper given after work of the firm's own line with a product.

    Every version of its labels is asked. Whatever else a rule asks about is left open, so a no is
    a no for every record.
    """
    clocks = [
        clock
        for law in book.laws_of(used.jurisdiction)
        for clock in law.deadlines
        if _owed_to(clock) and clock.counted_from in FROM_THE_WORK
    ]
    work = {"line_of_work": book.firm.work or None}
    return any(
        holds(clock.when, {**work, **facts}, book.units) is not False
        for clock in clocks
        for facts in _known_of(book, used)
    )


def _known_of(book: Book, used: ProductUsed) -> list[dict[str, str]]:
    """Return what each label version says of a product's class; nothing where one may be missing.

    A line has no label in hand where it was carried over without one, where a file cannot be
    read, and on a day on which no version is in force.
    """
    labels = {file.id: book.versions(file.id) for file in book.versions(used.product_key)}
    sure = used.with_label and not book.doubtful and bool(labels)
    if not sure or not all(_without_gap(files, used.since) for files in labels.values()):
        return [{}]
    products = (file.product for files in labels.values() for file in files)
    return [{"product_class": str(product.product_class)} for product in products if product]


def _without_gap(files: Sequence[RuleFile], since: date) -> bool:
    """Say whether some version is in force on every day from then on."""
    spans = [file.product.in_force for file in files if file.product]
    reach: date | None = since
    for span in sorted(spans, key=lambda span: span.start or date.min):
        if reach is not None and (span.start or date.min) <= reach:
            reach = None if span.end is None else max(reach, span.end + timedelta(days=1))
    return reach is None


def _owed_to(clock: Deadline) -> bool:
    """Say whether a clock is about something for others; the firm has what is in its ledger."""
    return clock.about == "paper" or (clock.about == "handover" and clock.to not in THE_FIRM)


def _of_clock(
    entry: Sealed, clock: Deadline, ends: tuple[Ends, bool], lacking: list[Finding], look: _Look
) -> Owing:
    end, sure = ends
    late = end.late(look.moment)
    if clock.about == "record":
        names = ", ".join(item.column or item.name for item in lacking)
        return Owing(
            Sort.RECORD, end.day, f"entry {entry.seq}: {clock.what}; missing: {names}", end.why,
            clock.ref.source,
            f"useledger amend {entry.seq} FIELD=VALUE --because TEXT --by PERSON", late, sure,
        )  # fmt: skip
    return Owing(
        Sort.PAPER, end.day, f"entry {entry.seq}: {clock.what}", end.why, clock.ref.source,
        f"useledger notice --after {entry.seq} --given HOW --by PERSON", late, sure,
    )  # fmt: skip


def _noticed(reader: Reader) -> set[int | str]:
    """Return the entries and visits whose paper after the work was given, refused or waived."""
    done: set[int | str] = set()
    for entry in reader.entries(kinds=(EntryKind.NOTICE,)):
        if entry.body.get("when") == "after":
            done |= {*entry.body.get("entries", ()), entry.body.get("visit", "")}
    return done - {""}


# ------------------------------------------------------------------ days, lines, questions


def _held(reader: Reader, look: _Look) -> Iterator[Owing]:
    for entry in reader.held_open():
        days = entry.body["days"]
        day = date.fromisoformat(days[0]) if days else date.fromisoformat(entry.at[:10])
        yield Owing(
            Sort.HELD, day, f"held line {entry.seq} of {row_of(entry)}",
            "; ".join(fault["what"] for fault in entry.body["faults"]),
            "a held line is a record that is not made yet",
            f"useledger held show {entry.seq}", day < look.on,
        )  # fmt: skip


def _open_days(reader: Reader, look: _Look) -> Iterator[Owing]:
    for day in unclosed_days(reader, date.min, look.on):
        yield Owing(
            Sort.OPEN_DAY, day, f"close {long_day(day)}", "its work is not sealed as it stands",
            "common practice, no source", f"useledger close {day} --by PERSON", day < look.on,
        )  # fmt: skip


def _questions(reader: Reader, look: _Look) -> Iterator[Owing]:
    for entry in reader.sites():
        body = entry.body
        if body["doubt"]:
            asked = date.fromisoformat(entry.at[:10])
            yield Owing(
                Sort.QUESTION, asked, f"is site {body['site']} the same place as {body['doubt']}?",
                "until it is answered, intervals and counts at both cannot be told",
                "the ledger's own question",
                f"useledger sites same {body['site']} --by PERSON, or sites apart",
                asked < look.on,
            )  # fmt: skip


# ------------------------------------------------------------------ licences, files, keeping


def _licences(workspace: Workspace, look: _Look) -> Iterator[Owing]:
    """Yield licences that run out and that no other licence of the person goes on from."""
    for person in workspace.book.firm.people:
        for licence in person.licences:
            end = licence.span.end
            later = [
                other for other in person.licences
                if other.jurisdiction == licence.jurisdiction
                and set(map(fold, licence.work)) <= set(map(fold, other.work))
                and end is not None and (other.span.end is None or other.span.end > end)
            ]  # fmt: skip
            if end is not None and not later:
                yield Owing(
                    Sort.LICENCE, end, f"licence {licence.number} of {person.name} "
                    f"({licence.title}, {licence.jurisdiction})", f"last day {long_day(end)}",
                    f"{FIRM_FILE}, person {person.key}",
                    f"renew it and write the new days into {FIRM_FILE}", end < look.on,
                )  # fmt: skip


def _registrations(workspace: Workspace, look: _Look) -> Iterator[Owing]:
    """Yield counties of the year whose registration is not renewed for the next."""
    known = {
        (item.jurisdiction, fold(item.county), item.year)
        for item in workspace.book.firm.registrations
    }
    for item in workspace.book.firm.registrations:
        end = date(item.year, 12, 31)
        renewed = (item.jurisdiction, fold(item.county), item.year + 1) in known
        if not renewed and item.year >= look.on.year - 1:
            yield Owing(
                Sort.REGISTRATION, end, f"registration in {item.county} ({item.jurisdiction})",
                f"last day {long_day(end)}; none for {item.year + 1} is on file",
                f"{FIRM_FILE}, [[registration]]",
                f"register and add the year {item.year + 1} to {FIRM_FILE}", end < look.on,
            )  # fmt: skip


def _stale(workspace: Workspace, look: _Look) -> Iterator[Owing]:
    used = {item.jurisdiction for item in workspace.book.firm.registrations}
    used |= {workspace.book.firm.home, "us-federal"}
    for file in workspace.book.rule_files():
        if file.family == "jurisdiction" and file.id not in used:
            continue
        day = months_after(file.checked_on, file.stale_after_months)
        yield Owing(
            Sort.RULES, day, f"compare {file.path} with its sources",
            f"checked on {file.checked_on}, good for {file.stale_after_months} months",
            file.path, f"useledger rules show {file.id}", day < look.on,
        )  # fmt: skip


def _retention(workspace: Workspace, reader: Reader, look: _Look) -> Iterator[Owing]:
    """Yield from when on a year's records need not be kept by the rules read; never overdue.

    Only years that may come within reach are looked at: those whose first day and the shortest
    time of any rule lie before the end of the look ahead.
    """
    for jurisdiction, found in sorted(years_worked(reader).items()):
        files = workspace.book.laws_of(jurisdiction)
        rules = rules_about((rule for file in files for rule in file.retentions), "application")
        least = min((rule.years for rule in rules), default=None)
        for year in sorted(found):
            if least is not None and date(year + least, 1, 1) <= look.last:
                kept = [item for item in records_of(workspace, reader, jurisdiction, year)
                        if not item.disposed]  # fmt: skip
                yield from _kept(jurisdiction, year, [item.until for item in kept])


def _kept(jurisdiction: str, year: int, untils: list[Until]) -> Iterator[Owing]:
    """Yield the last day of a year's records; nothing while it cannot be told of one of them."""
    days = [until.day for until in untils if until.day is not None]
    if not days or len(days) < len(untils):
        return
    last = max(untils, key=lambda until: until.day or date.min)
    yield Owing(
        Sort.RETENTION, max(days), f"records of {year} in {jurisdiction} are kept up to this day",
        f"by the rule {last.rule}, counted from {last.counted_from}: the longest of those that "
        "govern them", last.source, "useledger dispose",
    )  # fmt: skip
