"""Revisits: treatments that will have run out, by the ledger's own lines and lasting times."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from ledger.deadlines import Owing, Sort, long_day
from ledger.flow.judging import booked
from ledger.journal import Reader
from ledger.journal.listing import entries_of
from ledger.preparing.lasting import Revisit, longest_of, revisits_of
from ledger.rulebook.book import Book
from ledger.values.entry import Application
from ledger.values.sealed import EntryKind

FORGOTTEN = timedelta(days=365)
"""So long after its last day a revisit that nobody made is no longer listed."""


def revisits(
    reader: Reader, book: Book, on: date, ahead: timedelta = timedelta(days=30)
) -> tuple[Revisit, ...]:
    """Return the revisits due by ``on`` or beginning within ``ahead`` of it, soonest first.

    The newest current line with a product at a site and setting counts; amended and struck
    versions do not. A label's own lasting time wins over common practice.
    """
    found = revisits_of(_uses(reader, on, longest_of(book)), book, on, ahead)
    return tuple(item for item in found if item.due_to + FORGOTTEN >= on)


def _uses(reader: Reader, on: date, longest: timedelta) -> Iterator[Application]:
    """Yield the newest work with a product at a site and setting, of what may last until then."""
    back = (longest + FORGOTTEN).days
    entries = reader.entries(
        kinds=(EntryKind.APPLICATION, EntryKind.AMENDMENT), current_only=True,
        date_from=date.fromordinal(max(1, on.toordinal() - back)), date_to=on,
    )  # fmt: skip
    newest: dict[tuple[str, str, str], tuple[str, int]] = {}
    for entry in entries:
        body = entry.body
        key = body["site"], body["product_key"], body["setting"]
        newest[key] = max(newest.get(key, ("", 0)), (body["date"], entry.seq))
    for entry in entries_of(reader, [seq for _, seq in newest.values()]):
        yield booked(entry).use


def revisits_owed(reader: Reader, book: Book, on: date, ahead: timedelta) -> Iterator[Owing]:
    """Yield the revisits as things to do, by the first day of each.

    None is ever overdue: no law asks for it. Whose last day has passed says so.
    """
    for item in revisits(reader, book, on, ahead):
        where = f"{item.site}, {item.setting}" if item.setting else item.site
        over = "; that day has passed" if item.state(on) == "overdue" else ""
        yield Owing(
            Sort.REVISIT, item.due_from, f"visit {where} again: {item.product_name}",
            f"done on {item.done_on}, lasts {item.lasts}: until {long_day(item.due_to)}{over}",
            item.source, _command(item),
        )  # fmt: skip


def _command(item: Revisit) -> str:
    """Return the command that plans the same work again, by whoever did it last."""
    who = item.applicator or "PERSON"
    setting = f' --setting "{item.setting}"' if item.setting else ""
    return (
        f"useledger prepare {item.product_key} --at {item.site} --applicator {who}{setting} --again"
    )
