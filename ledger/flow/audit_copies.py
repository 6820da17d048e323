"""The clocks of a law that begin when a record is written: copies to customers, handing over."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from ledger.audit import Item, Topic, Weight
from ledger.deadlines import Ends, clock_ends
from ledger.flow.audit_items import Beside, about
from ledger.flow.clocks import LEFT_AFTER, THE_FIRM, began_at
from ledger.flow.judging import Booked
from ledger.rulebook.model import Deadline, Read
from ledger.values.finding import RuleRef
from ledger.values.site import Site


@dataclass(frozen=True, slots=True)
class Owed:
    """Something to be done with a record by a clock; ``applies`` is None where it cannot tell."""

    name: str
    what: str
    ends: Ends
    ref: RuleRef
    read: Read
    applies: bool | None


def copy_items(
    record: Booked,
    site: Site,
    clocks: Iterable[tuple[Deadline, bool | None]],
    beside: Beside,
    moments: tuple[datetime, datetime],
) -> Iterator[Item]:
    """Yield each clock after the record that ran out: nothing done in time, or nothing known.

    ``clocks`` are those that may govern the record, those of papers among them; ``moments`` when
    it was first sealed and now. A record sealed in the firm's ledger is handed to the firm.
    """
    made_at, now = moments
    told = _told(record, beside)
    for clock, applies in clocks:
        if clock.about in {"record", "request"} or clock.counted_from == "request":
            continue
        ends = clock_ends(clock.within, began_at(record.use, site, clock))
        owed = Owed(clock.name, _to(clock.what, clock.to), ends, clock.ref, clock.read, applies)
        if clock.about == "handover" and clock.to in THE_FIRM:
            yield from _judged(record, site, owed, (made_at, now))
        elif clock.about in {"paper", "handover"}:
            yield from _judged(record, site, owed, (told, now))
        elif ends.late(now):
            yield _unknown(record, owed)


def _to(what: str, whom: str) -> str:
    return f"{what} to {whom}" if whom and whom not in what else what


def _told(record: Booked, beside: Beside) -> datetime | None:
    """Return when the paper was handed out, as far as the ledger was told; None for never.

    The day sheet's own word is of the day of the work: it comes before every clock.
    """
    if record.use.notice in LEFT_AFTER:
        return datetime.min.replace(tzinfo=ZoneInfo("UTC"))
    seq, visit = record.sealed.seq, record.use.visit
    found = [beside.papers[key] for key in (seq, visit) if key in beside.papers]
    return min(found, default=None)


def _judged(
    record: Booked, site: Site, owed: Owed, moments: tuple[datetime | None, datetime]
) -> Iterator[Item]:
    done, now = moments
    if done is None and owed.ends.late(now):
        said, name = "the ledger was not told that it was done", f"not-given-{owed.name}"
    elif done is not None and owed.ends.late(done):
        local = done.astimezone(ZoneInfo(site.time_zone))
        said, name = f"the ledger was told on {local:%Y-%m-%d %H:%M}", f"late-{owed.name}"
    else:
        return
    text = f"{owed.what}: {owed.ends.why}; {said}"
    weight = Weight.BREACH
    if owed.applies is None:
        weight, text = Weight.UNKNOWN, f"cannot tell whether this clock governs: {text}"
    elif not owed.read.decides:
        weight, text = Weight.ADVICE, f"unverified: {text}"
    item = about(record, Topic.RECORDS, weight, name, text)
    way = f"useledger notice --after {record.sealed.seq} --given HOW --by PERSON"
    yield replace(
        item, rules=(owed.ref,), way_out=way if done is None else "",
        to_do=done is None and weight is Weight.BREACH,
    )  # fmt: skip


def _unknown(record: Booked, owed: Owed) -> Item:
    """Return that a clock ran out whose doing no entry of a ledger shows."""
    text = f"cannot tell whether it was done: {owed.what}: {owed.ends.why}; no entry says so"
    item = about(record, Topic.RECORDS, Weight.UNKNOWN, f"not-known-{owed.name}", text)
    way = f"useledger attach FILE --to {record.sealed.seq} keeps what shows it"
    return replace(item, rules=(owed.ref,), way_out=way)
