"""What an audit shows beside the records: days, held lines, questions, reports, the law unread."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from ledger.audit import Item, Topic, Weight
from ledger.checks.retention import rules_about
from ledger.flow.audit_scope import Scope
from ledger.flow.file_names import row_of
from ledger.flow.filing_register import Registered, list_filings
from ledger.flow.places import site_from
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.rulebook.book import FEDERAL
from ledger.values.finding import RuleRef
from ledger.values.period import read_period
from ledger.values.sealed import Sealed


def day_items(reader: Reader, days: Mapping[date, Sequence[int]]) -> Iterator[Item]:
    """Yield every day with records that no close covers as they stand."""
    for day, seqs in sorted(days.items()):
        covered = {seq for close in reader.closes(day) for seq in close.body["entries"]}
        left = [seq for seq in seqs if seq not in covered]
        if left:
            many = f"{len(left)} records" if len(left) > 1 else f"entry {left[0]}"
            yield Item(
                Topic.RECORDS, Weight.MISSING, f"day:{day}", "open-day",
                f"{day} is not closed as it stands: {many} outside of a close", day=day,
                way_out=f"useledger close {day} --by ...", to_do=True,
            )  # fmt: skip


def held_items(reader: Reader, scope: Scope) -> Iterator[Item]:
    """Yield every open held line that may belong to the scope."""
    for entry in reader.held_open():
        days = [date.fromisoformat(day) for day in entry.body["days"]]
        own = entry.body["own"]
        if scope.applicator and own is not None and not own.startswith(f"{scope.applicator}|"):
            continue
        if days and not any(scope.holds(day) for day in days):
            continue
        what = "; ".join(fault["what"] for fault in entry.body["faults"])
        yield Item(
            Topic.RECORDS, Weight.MISSING, f"held:{entry.seq}", "held-line",
            f"a line is held, not booked: {what}", entry=entry.seq,
            day=days[0] if len(days) == 1 else None, origin=row_of(entry),
            way_out=f"useledger held show {entry.seq}", to_do=True,
        )  # fmt: skip


def question_items(reader: Reader, scope: Scope) -> Iterator[Item]:
    """Yield every site about which nobody has answered whether it is another one."""
    for sealed in reader.sites():
        site = site_from(sealed)
        if site.doubt and scope.site in {None, site.key, site.doubt}:
            yield Item(
                Topic.FIELDS, Weight.MISSING, f"site:{site.key}", "same-place",
                f"nobody has answered whether {site.key} is the same place as {site.doubt}; "
                "intervals and counts at both cannot be told", entry=sealed.seq,
                way_out=f"useledger sites same {site.key} --by ..., or apart", to_do=True,
            )  # fmt: skip


# ------------------------------------------------------------------ reports


def report_items(workspace: Workspace, scope: Scope) -> Iterator[Item]:
    """Yield reports filed late, not filed (nil ones too), and filed ones that no longer agree."""
    filed, owed = list_filings(workspace)
    seen: set[tuple[str, str, str]] = set()
    for row in filed:
        body = row.entry.body
        period = read_period(body["period"])
        if period is None or not scope.overlaps(period.first, period.last):
            continue
        subject = (body["jurisdiction"], body["county"], body["period"])
        yield from _filed(workspace, row, first=subject not in seen)
        seen.add(subject)
    for item in owed:
        if not scope.overlaps(item.period.first, item.period.last):
            continue
        where = f" to {item.county}" if item.county else ""
        subject_text = f"report:{item.duty}.{item.county}.{item.period.key}"
        yield Item(
            Topic.REPORTS, Weight.MISSING if item.overdue else Weight.ADVICE, subject_text,
            "report-missing" if item.overdue else "report-due",
            f"the report {item.duty} of {item.period.text}{where} (a nil report if there was no "
            f"use) is not filed: {item.due.why}", day=item.due.day,
            way_out=f"useledger file {item.period.key} --by ...",
            rules=_duty_refs(workspace, item.duty, item.due.source), to_do=item.overdue,
        )  # fmt: skip


def _filed(workspace: Workspace, row: Registered, *, first: bool) -> Iterator[Item]:
    entry, body = row.entry, row.entry.body
    where = f"{body['jurisdiction']}.{body['county']}.{body['period']}"
    named = f"the report {body['form']} of {body['period']} for {body['county'] or 'the state'}"
    rules = _form_refs(workspace, entry)
    filed_on = date.fromisoformat(body["filed_on"])
    if body["late"] and first:
        yield Item(
            Topic.REPORTS, Weight.BREACH, f"report:{where}", "report-late",
            f"{named} was filed on {body['filed_on']}; it was due on {body['due']}",
            entry=entry.seq, day=filed_on, rules=rules,
        )  # fmt: skip
    if row.standing and row.changes:
        lines = "; ".join(change.text for change in row.changes[:3])
        more = f" and {len(row.changes) - 3} more" if len(row.changes) > 3 else ""
        yield Item(
            Topic.REPORTS, Weight.MISSING, f"report:{where}", "report-overtaken",
            f"{named} does not agree with the records any more: {lines}{more}",
            way_out=f"file it again: useledger file {body['period']} --by ...", to_do=True,
            entry=entry.seq, day=filed_on, rules=rules,
        )  # fmt: skip


def _form_refs(workspace: Workspace, entry: Sealed) -> tuple[RuleRef, ...]:
    file = workspace.book.jurisdiction(entry.body["jurisdiction"])
    if file is None:
        return ()
    return tuple(duty.ref for duty in file.reports if duty.form == entry.body["form"])[:1]


def _duty_refs(workspace: Workspace, duty: str, source: str) -> tuple[RuleRef, ...]:
    return tuple(
        item.ref
        for file in workspace.book.jurisdictions
        for item in file.reports
        if item.name == duty and item.ref.source == source
    )[:1]


# ------------------------------------------------------------------ the law that was not read


@dataclass(frozen=True, slots=True)
class NotRead:
    """A part of the law that nobody has read, or a whole jurisdiction without a file."""

    jurisdiction: str
    section: str
    note: str
    ref: RuleRef | None = None


def not_read(workspace: Workspace, jurisdictions: Iterable[str]) -> tuple[NotRead, ...]:
    """Return every part of the law of these places that was not read, federal law first."""
    book = workspace.book
    found: list[NotRead] = []
    for name in dict.fromkeys((FEDERAL, *sorted(set(jurisdictions)))):
        file = book.jurisdiction(name)
        if file is None:
            found.append(NotRead(name, "all of it", "no rule file describes this jurisdiction"))
            continue
        found += [NotRead(name, part.section, part.note, part.ref) for part in file.unread]
        if not rules_about(file.retentions, "application"):
            found.append(NotRead(name, "keeping of records", "no rule in the file says how long"))
        if not any(clock.about == "record" for clock in file.deadlines):
            note = "no clock for making the record was read: late cannot be told by this law"
            found.append(NotRead(name, "time to make the record", note))
    return tuple(found)
