"""A day's tools, loads and counts brought together with its lines, for the close and the audit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from ledger.audit import Item, Topic, Weight
from ledger.flow.audit_scope import Scope
from ledger.flow.judging import Booked, booked
from ledger.flow.lines import BOOKED
from ledger.flow.stocking import converting, movement_of, of_lot, use_of
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.stock import TOLERANCE as OF_COUNT
from ledger.stock import Account, Act, Movement, accounts
from ledger.values.amount import Quantity
from ledger.values.lexicon import fold
from ledger.values.rounding import exact_text
from ledger.values.sealed import EntryKind
from ledger.weighing import TOLERANCE, Gap, Load, PutDown, ToolDay, bound, checked, said, tool_gaps

OF_ACCOUNT = "stock-difference"
"""The name of a count that does not agree; the stock account finds it by the same name."""


@dataclass(frozen=True, slots=True)
class DayStock:
    """What of a day could be held against its lines, and what did not agree.

    ``checked`` are tool or place and product of everything that was weighed, loaded or counted.
    """

    day: date
    checked: tuple[tuple[str, str], ...] = ()
    gaps: tuple[Gap, ...] = ()

    def of(self, places: Iterable[str]) -> DayStock:
        """Return what concerns these tools and vehicles only."""
        named = set(places)
        return replace(
            self,
            checked=tuple(item for item in self.checked if item[0] in named),
            gaps=tuple(gap for gap in self.gaps if gap.tool in named),
        )

    def body(self) -> dict[str, Any]:
        """Return it as a close seals it."""
        return {
            "tolerance": exact_text(TOLERANCE),
            "checked": [{"place": place, "product": product} for place, product in self.checked],
            "differences": [
                {"name": gap.name, "entry": gap.seq, "place": gap.tool, "product": gap.product,
                 "lot": gap.lot, "text": gap.text}
                for gap in self.gaps
            ],
        }  # fmt: skip


def day_stock(
    workspace: Workspace, reader: Reader, day: date, records: Sequence[Booked] | None = None
) -> DayStock:
    """Return how a day's weighings, loads and counts agree with all its lines.

    ``records`` are the day's current records where they are at hand; else they are read.
    """
    moved = [move for move in written(reader, day, day) if move.day == day]
    if records is None:
        found = reader.entries(kinds=BOOKED, current_only=True, date_from=day, date_to=day)
        records = [booked(entry) for entry in found]
    records = [record for record in records if not record.sealed.body.get("carried")]
    firm = workspace.book.firm
    tools = {fold(tool.key): (tool.empty, tool.holds) for tool in firm.tools}
    loads = tuple(_loads(moved, set(tools)))
    lines = tuple(_line(record) for record in records if record.use.equipment)
    counts = [move for move in moved if move.act is Act.COUNT]
    opening = {
        key: account
        for key in {(load.tool, load.product) for load in loads}
        if (account := _opening(workspace, reader, key, day)) is not None
    }
    counted = frozenset((move.place, move.product) for move in counts)
    held = ToolDay(day, lines, loads, tools, opening, counted)
    gaps = list(tool_gaps(held, converting(workspace.book.units)))
    for move in counts:
        gaps += _of_count(workspace, reader, move)
    return DayStock(day, tuple(sorted({*checked(held), *counted})), tuple(gaps))


def places_of(records: Iterable[Booked]) -> set[str]:
    """Return the tools and the vehicles of the people of these records."""
    return {
        fold(name)
        for record in records
        for name in (record.use.equipment, record.use.applicator)
        if name
    }


def _line(record: Booked) -> PutDown:
    use = record.use
    return PutDown(
        record.sealed.seq, use.start.isoformat() if use.start else "", fold(use.equipment),
        use.product_key, use.lot, use.used.quantity if use.used.unit else None,
        use.amount.weighing,
    )  # fmt: skip


def _loads(moves: Iterable[Movement], tools: set[str]) -> Iterator[Load]:
    """Yield what went into a tool, and below nothing what came back out of one."""
    for move in moves:
        if move.act is Act.MOVE and move.to in tools:
            yield Load(move.seq, move.to, move.product, move.lot, move.amount)
        if move.act in {Act.MOVE, Act.DISPOSE} and move.place in tools:
            back = Quantity(-move.amount.value, move.amount.unit)
            yield Load(move.seq, move.place, move.product, move.lot, back)


# ------------------------------------------------------------------ the account of one place


def written(reader: Reader, first: date | None, last: date | None) -> list[Movement]:
    """Return the movements that were written down for a range of days."""
    found = reader.entries(kinds=(EntryKind.STOCK,), date_from=first, date_to=last)
    return [movement_of(entry) for entry in found]


def _opening(
    workspace: Workspace, reader: Reader, key: tuple[str, str], day: date
) -> Quantity | None:
    """Return what was at a place when the day began, by its account; None where none is kept."""
    account = _account(workspace, reader, key, day - timedelta(days=1))
    return Quantity(account.on_hand, account.unit) if account and account.known else None


def _account(
    workspace: Workspace, reader: Reader, key: tuple[str, str], last: date
) -> Account | None:
    """Return the account of a place and product at the end of a day, from the count before it."""
    place, product = key
    every = [
        movement_of(entry)
        for entry in reader.entries(kinds=(EntryKind.STOCK,), product_key=product, date_to=last)
    ]
    counts = [move for move in every if move.act is Act.COUNT and move.place == place]
    # A lot's own count goes on from its own last one, so then all that ever happened is asked for.
    by_lot = any(move.lot for move in counts)
    since = max((move.day for move in counts if move.day < last and not by_lot), default=None)
    supplied = {(move.product, name) for move in every for name in (move.place, move.to)}
    found = reader.entries(
        kinds=BOOKED, current_only=True, product_key=product, date_from=since, date_to=last
    )
    moves = [move for move in every if since is None or move.day >= since]
    moves += [use_of(booked(entry), supplied) for entry in found]
    made = accounts(moves, converting(workspace.book.units))
    return next((one for one in made if one.place == place), None)


def _of_count(workspace: Workspace, reader: Reader, move: Movement) -> Iterator[Gap]:
    """Yield a count of the day that does not agree with what the account expects."""
    account = _account(workspace, reader, (move.place, move.product), move.day)
    for count in account.counts if account else ():
        if count.seq == move.seq and not count.agrees:
            unit = account.unit if account else ""
            within = bound(OF_COUNT, count.passed, unit, "that passed through")
            text = (
                f"{move.product} at {move.place}: counted {said(count.counted)} {unit}"
                f"{of_lot(count)}, what came, went and was used leaves {said(count.expected)} "
                f"{unit} ({within})"
            )
            yield Gap(move.seq, move.day, OF_ACCOUNT, text, move.place, move.product, move.lot)


# ------------------------------------------------------------------ audit


def tool_items(workspace: Workspace, reader: Reader, scope: Scope) -> Iterator[Item]:
    """Yield where weighings and loads of a day do not agree with its lines.

    Only days on which a tool was weighed or anything was moved are read again, one at a time and
    with all their lines, whatever the scope asks for: a tool goes from hand to hand. Counts are the
    stock account's own.
    """
    moved = {move.day for move in written(reader, scope.first, scope.last)}
    days: dict[date, set[int]] = {}
    for entry in reader.entries(kinds=BOOKED, current_only=True, **scope.filters()):
        day = date.fromisoformat(entry.body["date"])
        if entry.body["amount"].get("weighing") or day in moved:
            days.setdefault(day, set()).add(entry.seq)
    partial = scope.applicator or scope.site or scope.product_key
    for day, seqs in sorted(days.items()):
        whole = day_stock(workspace, reader, day)
        named = {close.body["day"]: close.seq for close in reader.closes(day.isoformat())
                 if (close.body.get("stock") or {}).get("differences")}  # fmt: skip
        for gap in whole.gaps:
            if gap.name == OF_ACCOUNT or (partial and gap.seq not in seqs):
                continue
            sealed = named.get(day.isoformat())
            yield Item(
                Topic.STOCK, Weight.ADVICE, f"stock:{gap.seq}", gap.name, gap.text, entry=gap.seq,
                day=gap.day, way_out="record the load (useledger stock move), or amend the line",
                note=f"named when the day was closed, entry {sealed}" if sealed else "",
            )  # fmt: skip
