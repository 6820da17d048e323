"""What an audit says of the keeping of records: texts lost, disposed of too early, or lawfully."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date

from ledger.audit import Item, Topic, Weight
from ledger.flow.audit_items import Beside, about
from ledger.flow.disposals import day_of
from ledger.flow.judging import Booked
from ledger.flow.retaining import record_of
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.values.sealed import Sealed

SHOWN = 10


def kept_items(
    workspace: Workspace,
    reader: Reader,
    record: Booked,
    versions: Sequence[Sealed],
    beside: Beside,
) -> Iterator[Item]:
    """Yield what of a record is not kept, unless a disposal took it when its time had run out.

    Without a disposal it is lost, however old the record is: only a disposal says that it went by
    law. A disposal is early before the day of the longest rule, as far as the ledger had come
    when it was sealed, or while an order kept the record.
    """
    gone = beside.gone
    lost: list[tuple[str, Sealed | None]] = [
        ("customer and the cells as typed", gone.texts.get(entry.seq))
        for entry in versions
        if entry.private is None and '"private":null' not in entry.text
    ]
    digest = record.sealed.body["sheet"]
    if reader.blob(digest) is None:
        lost.append(("sheet as handed in", gone.files.get(digest)))
    for what, disposal in dict.fromkeys(lost):
        if disposal is None:
            item = about(
                record, Topic.KEEPING, Weight.BREACH, "not-kept",
                f"the {what} of this record are not kept, and no disposal accounts for it",
            )  # fmt: skip
            yield replace(item, way_out="run useledger verify; restore a backup if it is lost")
        else:
            yield from _disposed(workspace, reader, record, (what, disposal))


def _disposed(
    workspace: Workspace, reader: Reader, record: Booked, what: tuple[str, Sealed]
) -> Iterator[Item]:
    """Yield that a disposal came too early, or that nobody can tell whether it did."""
    name, disposal = what
    kept = record_of(workspace, reader, record.sealed.seq, disposal.seq)
    went = day_of(disposal)
    said = f"the {name} of this record went by disposal {disposal.seq} on {went}"
    if kept.orders:
        weight, why = Weight.BREACH, f"while order {kept.orders[0]} kept them"
    elif kept.until.day is None:
        weight, why = Weight.UNKNOWN, kept.until.note or "no rule on file says how long"
    elif went < kept.until.day:
        weight = Weight.BREACH
        why = f"{kept.until.day} is until when they were to be kept ({kept.until.rule})"
    else:
        return
    item = about(record, Topic.KEEPING, weight, "disposed-early", f"{said}: {why}")
    yield replace(item, origin=item.origin or kept.until.source)


def set_aside_items(records: Iterable[Booked], beside: Beside) -> Iterator[Item]:
    """Yield, one item a group, which records an audit does not judge again, and why."""
    carried: list[Booked] = []
    disposed: dict[int, list[Booked]] = {}
    for record in records:
        disposal = beside.gone.texts.get(record.sealed.seq)
        if record.sealed.private is None and disposal is not None:
            disposed.setdefault(disposal.seq, []).append(record)
        elif record.sealed.body.get("carried"):
            carried.append(record)
    if carried:
        yield _group(
            "carried-over", "carried-over", carried,
            "were carried over from before the ledger began: counted, but never called late and "
            "not judged here",
        )  # fmt: skip
    for seq, found in sorted(disposed.items()):
        yield _group(
            f"disposal:{seq}", "disposed", found,
            f"had their texts destroyed by disposal {seq}: what was found before stands, nothing "
            "is read or judged again",
        )  # fmt: skip


def _group(subject: str, name: str, found: Sequence[Booked], text: str) -> Item:
    seqs = [str(record.sealed.seq) for record in found]
    listed = ", ".join(seqs[:SHOWN]) + (" and others" if len(seqs) > SHOWN else "")
    many = f"{len(seqs)} records" if len(seqs) > 1 else "1 record"
    first: date = min(record.use.date for record in found)
    return Item(Topic.KEEPING, Weight.ADVICE, subject, name, f"{many} ({listed}) {text}", day=first)
