"""Every record of an audit judged again, and what the record itself is late with or lacks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from functools import partial
from zoneinfo import ZoneInfo

from ledger.audit import Item, Made, Topic, Weight, item_of
from ledger.deadlines import clock_ends, end_of_day
from ledger.flow.audit_copies import copy_items
from ledger.flow.audit_items import Beside, about, beside_in
from ledger.flow.audit_kept import kept_items
from ledger.flow.clocks import began_at
from ledger.flow.file_names import row_of
from ledger.flow.governing import case_of, clocks_of
from ledger.flow.inspecting import differences_of, judge_anew, judges_of
from ledger.flow.judging import Booked, booked, latest_findings
from ledger.flow.places import SiteBook
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.rulebook.model import Deadline
from ledger.values.entry import Application
from ledger.values.finding import Kind
from ledger.values.lexicon import fold
from ledger.values.sealed import Sealed
from ledger.values.site import Site


@dataclass(frozen=True, slots=True)
class Looked:
    """One current record as audited: itself, its site, its earlier versions, what was found."""

    record: Booked
    site: Site | None
    earlier: tuple[int, ...]
    items: tuple[Item, ...]
    made: Made


def look_at(
    workspace: Workspace,
    reader: Reader,
    sites: SiteBook,
    entry: Sealed,
    beside: Beside | None = None,
) -> Looked:
    """Judge one current record again and gather everything that is to be said about it.

    ``beside`` is what stands beside the records, read once for an audit of many.
    """
    record = reader.recall(entry.seq, partial(booked, entry))
    site = sites.get(record.use.site)
    versions = reader.versions(entry.seq)
    beside = beside or beside_in(reader)
    made_at = datetime.fromisoformat(versions[0].at)
    sealed = latest_findings(reader, entry.seq)
    items = [item_of(finding, entry.seq, row_of(entry), record.use.date) for finding in sealed]
    items += _differences(workspace, reader, record, sites)
    items += kept_items(workspace, reader, record, versions, beside)
    gone = entry.private is None and entry.seq in beside.gone.texts
    if entry.body.get("carried") or gone:
        return _set_aside(record, site, versions, items)
    clocks = tuple(_clocks(workspace, record.use, site))
    late = [item for clock in clocks if (item := _late(record, site, clock, made_at))]
    items += late
    if site is not None:
        moments = (made_at, workspace.clock())
        items += copy_items(record, site, clocks, beside, moments)
    items += _label_items(workspace, reader, record)
    if entry.body["late"] is not None:
        items.append(about(
            record, Topic.RECORDS, Weight.ADVICE, "after-close",
            f"recorded after the day was closed by entry {entry.body['late']}",
        ))  # fmt: skip
    on_time = not late if any(_of_record(clock[0]) for clock in clocks) else None
    made = Made(
        entry.seq,
        not any(finding.kind is Kind.MISSING for finding in sealed),
        on_time,
        _lag(record.use, site, made_at),
        entry.body["late"] is not None,
        len(versions) > 1,
    )
    return Looked(record, site, tuple(version.seq for version in versions), tuple(items), made)


def _set_aside(
    record: Booked, site: Site | None, versions: tuple[Sealed, ...], items: list[Item]
) -> Looked:
    """Return a record kept elsewhere then, or disposed of since: never late, not judged again."""
    made = Made(record.sealed.seq, None, None, None, False, len(versions) > 1)
    return Looked(record, site, tuple(version.seq for version in versions), tuple(items), made)


def _differences(
    workspace: Workspace, reader: Reader, record: Booked, sites: SiteBook
) -> Iterator[Item]:
    """Yield what comes out otherwise when the record is read and judged again."""
    fields, sealed, found = judge_anew(workspace, reader, record.sealed, sites)
    differences = (*fields, *differences_of(sealed, found))
    judges = judges_of(workspace, reader, record.sealed.seq) if differences else ""
    for item in differences:
        name = "-".join(item.what.casefold().split())
        text = f"{item.what}: sealed {item.sealed!r}, now {item.now!r} ({judges})"
        yield about(record, Topic.KEEPING, Weight.DIFFERENCE, name, text)


# ------------------------------------------------------------------ in time


def _clocks(
    workspace: Workspace, use: Application, site: Site | None
) -> Iterator[tuple[Deadline, bool | None]]:
    """Yield the clocks of the law of the place that may govern this record, and whether they do."""
    book = workspace.book
    if site is not None:
        yield from clocks_of(book, case_of(book, use, site))


def _of_record(duty: Deadline) -> bool:
    return duty.about == "record"


def _late(
    record: Booked, site: Site | None, clock: tuple[Deadline, bool | None], made_at: datetime
) -> Item | None:
    """Return the item of a clock that ran out before the record was made, or cannot be told."""
    duty, applies = clock
    if site is None or not _of_record(duty):
        return None
    ends = clock_ends(duty.within, began_at(record.use, site, duty))
    if not ends.late(made_at):
        return None
    local = made_at.astimezone(ZoneInfo(site.time_zone))
    text = f"{duty.what}: {ends.why}; recorded {local:%Y-%m-%d %H:%M}"
    weight = Weight.BREACH
    if applies is None:
        weight, text = Weight.UNKNOWN, f"cannot tell whether this clock governs: {text}"
    elif not duty.read.decides:
        weight, text = Weight.ADVICE, f"unverified: {text}"
    item = about(record, Topic.RECORDS, weight, f"late-{duty.name}", text)
    return replace(item, rules=(duty.ref,))


def _lag(use: Application, site: Site | None, made_at: datetime) -> int | None:
    """Return the minutes from the end of the work to the sealing; None without a time zone."""
    if site is None:
        return None
    zone = ZoneInfo(site.time_zone)
    day = date.fromordinal(use.date.toordinal() + use.end_day)
    at: time | None = use.end or use.start
    ended = datetime.combine(day, at, zone) if at else end_of_day(day, zone)
    return (made_at - ended) // (datetime.resolution * 60_000_000)


# ------------------------------------------------------------------ labels, kept text


def _label_items(workspace: Workspace, reader: Reader, record: Booked) -> Iterator[Item]:
    """Yield what is wrong with the label that a record was judged by."""
    use, book = record.use, workspace.book
    if not use.label:
        text = f"no label of {use.product_name or use.product} could be read for {use.date}"
        item = about(record, Topic.LABELS, Weight.MISSING, "label-not-on-file", text)
        yield replace(item, way_out="put the label file of that version into rules/labels")
        return
    if book.label(use.label) is None:
        kept = reader.blob(use.label) is not None
        text = (
            f"the label of {use.product_name} used then ({use.label[:16]}) is no rule file any more"
            + ("; the ledger keeps its text" if kept else ", and the ledger does not keep its text")
        )
        weight = Weight.ADVICE if kept else Weight.MISSING
        item = about(record, Topic.LABELS, weight, "label-version-not-on-file", text)
        yield replace(
            item, way_out="keep every label version in rules/labels while records name it"
        )
    if not use.lot:
        return
    listed = [file.product.lots for file in book.versions(use.product) if file.product]
    lots = {fold(lot) for version in listed for lot in version}
    if lots and fold(use.lot) not in lots:
        text = f"no label on file names lot {use.lot}: the newest in force was taken"
        yield about(record, Topic.LABELS, Weight.UNKNOWN, "label-of-lot", text)
