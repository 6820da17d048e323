"""What the parts of an audit share: an item about a record, and what stands beside the records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from ledger.audit import Item, Topic, Weight
from ledger.flow.disposals import Gone, gone_in
from ledger.flow.file_names import row_of
from ledger.flow.judging import Booked
from ledger.journal import Reader
from ledger.values.sealed import EntryKind


@dataclass(frozen=True)
class Beside:
    """What a ledger holds beside its records, read once: disposals, and papers handed out.

    ``papers`` maps a visit, or an entry's number, to the moment (UTC) at which the ledger was
    first told what became of the paper after the work.
    """

    gone: Gone
    papers: Mapping[int | str, datetime]


def beside_in(reader: Reader) -> Beside:
    """Return what stands beside the records of a ledger."""
    papers: dict[int | str, datetime] = {}
    for entry in reader.entries(kinds=(EntryKind.NOTICE,)):
        if entry.body.get("when") != "after":
            continue
        for about in (*entry.body.get("entries", ()), entry.body.get("visit", "")):
            if about:
                papers.setdefault(about, datetime.fromisoformat(entry.at))
    return Beside(gone_in(reader), papers)


def about(record: Booked, topic: Topic, weight: Weight, name: str, text: str) -> Item:
    """Return an item about a record."""
    entry = record.sealed
    return Item(
        topic, weight, str(entry.seq), name, text, entry=entry.seq, day=record.use.date,
        origin=row_of(entry),
    )  # fmt: skip
