"""Stock: movements as entries, and the account that they and the records of use make together."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any

from ledger.audit import Item, Topic, Weight
from ledger.flow.audit_scope import Scope
from ledger.flow.judging import Booked, booked
from ledger.flow.lines import BOOKED
from ledger.flow.workspace import Workspace, WorkspaceProblem
from ledger.journal import Reader
from ledger.normalise.amounts import read_amount as read_written
from ledger.numbers import read_quantity
from ledger.stock import (
    STORE,
    TOLERANCE,
    Account,
    Act,
    Count,
    Movement,
    accounts,
)  # fmt: skip
from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.lexicon import fold
from ledger.values.origin import Origin
from ledger.values.product import Product
from ledger.values.sealed import EntryKind, NewEntry, Sealed
from ledger.weighing import said


@dataclass(frozen=True, slots=True)
class StockWish:
    """What a person says of a movement: what, how much, of which lot, when, where, how, who.

    ``how`` is free text (how it was disposed of, from whom it was bought) and is kept apart.
    """

    act: Act
    product: Product
    amount: str
    on: date
    by: str
    place: str = STORE
    to: str = ""
    lot: str = ""
    how: str = ""


def move_stock(workspace: Workspace, wish: StockWish) -> Sealed:
    """Seal one movement of stock; raise where its amount or its places cannot be read."""
    if wish.on > workspace.today():
        raise WorkspaceProblem(f"{wish.on} has not come yet", "record what has happened")
    amount = read_amount(workspace.book.units, wish.product, wish.amount)
    if amount.value == 0 and wish.act is not Act.COUNT:
        raise WorkspaceProblem("nothing was moved", "write an amount above zero")
    place, to = fold(wish.place) or STORE, fold(wish.to)
    if wish.act is Act.MOVE and (not to or to == place):
        raise WorkspaceProblem(
            f'a move goes from one place to another, not from "{place}" to "{to}"',
            "name two places, as --from store --to renner",
        )
    body: dict[str, Any] = {
        "act": str(wish.act), "date": wish.on.isoformat(), "product_key": wish.product.key,
        "product": wish.product.id, "lot": wish.lot, "place": place, "to": to or None,
        "amount": {"value": str(amount.value), "unit": amount.unit}, "typed": wish.amount,
    }  # fmt: skip
    text = json.dumps({"how": wish.how}, ensure_ascii=True) if wish.how else None
    with workspace.store.writing() as writer:
        return writer.append(NewEntry(EntryKind.STOCK, body, private=text, by=wish.by))


def read_amount(units: Units, product: Product, text: str) -> Quantity:
    """Return an amount of a product: a weight of what is weighed, a volume of a liquid."""
    origin = Origin("amount")
    quantity = read_quantity(text, units, origin).value
    if quantity is None:  # 1 lb 10 oz, or two weighings
        reading = read_written(text, "product", product, units, origin)
        if reading.value is None:
            fault = reading.faults[0]
            raise WorkspaceProblem(f"{fault.code}: {fault.what}", fault.way_out)
        quantity = reading.value.quantity
    wanted = "oz" if product.weighed else "fl oz"
    if not units.comparable(quantity.unit, wanted):
        kind = "weighed" if product.weighed else "measured"
        raise WorkspaceProblem(
            f'{product.name} is {kind}; "{text}" is not',
            f"write it as {wanted} or another unit that compares; of cans, the net contents",
        )
    return quantity


# ------------------------------------------------------------------ the account


def movements(reader: Reader) -> tuple[Movement, ...]:
    """Return every movement on record, the current records of use among them.

    A use is drawn from its tool if that was ever loaded with the product, else from the place
    named like the applicator (a vehicle), else from the store.
    """
    written = [movement_of(entry) for entry in reader.entries(kinds=(EntryKind.STOCK,))]
    supplied = {(move.product, place) for move in written for place in (move.place, move.to)}
    uses = [
        use_of(booked(entry), supplied) for entry in reader.entries(kinds=BOOKED, current_only=True)
    ]
    return (*written, *uses)


def movement_of(entry: Sealed) -> Movement:
    """Return the movement that an entry of stock says."""
    body = entry.body
    amount = Quantity(Fraction(body["amount"]["value"]), body["amount"]["unit"])
    return Movement(
        entry.seq, date.fromisoformat(body["date"]), Act(body["act"]), body["product_key"], amount,
        body["place"], body["to"] or "", body["lot"],
    )  # fmt: skip


def use_of(record: Booked, supplied: set[tuple[str, str]]) -> Movement:
    """Return a record of use as a movement; ``supplied`` are products and places that got any."""
    use = record.use
    wanted = [fold(name) for name in (use.equipment, use.applicator) if name]
    place = next((name for name in wanted if (use.product_key, name) in supplied), STORE)
    told = bool(use.used.unit)
    return Movement(
        record.sealed.seq, use.date, Act.USE, use.product_key, use.used.quantity, place,
        lot=use.lot, told=told,
    )  # fmt: skip


def of_lot(count: Count) -> str:
    """Return which lot a count is of, in words; nothing where it is of all."""
    return f" of lot {count.lot}" if count.lot else ""


def converting(units: Units) -> Callable[[Quantity, str], Fraction | None]:
    """Return the conversion that the account asks for."""

    def convert(quantity: Quantity, unit: str) -> Fraction | None:
        if not quantity.unit or not unit or not units.comparable(quantity.unit, unit):
            return None
        return units.convert(quantity, unit).value

    return convert


def stock_account(
    workspace: Workspace,
    tolerance: Fraction = TOLERANCE,
    *,
    by_lot: bool = False,
    until: date | None = None,
) -> tuple[Account, ...]:
    """Return the account of every product and place, as it stands at the end of a day."""
    with workspace.store.reading() as reader:
        found = movements(reader)
    if until is not None:
        found = tuple(move for move in found if move.day <= until)
    return accounts(found, converting(workspace.book.units), tolerance, by_lot=by_lot)


# ------------------------------------------------------------------ findings


def stock_items(workspace: Workspace, reader: Reader, scope: Scope) -> Iterator[Item]:
    """Yield what does not add up: counts, more gone than was there, use of what never came."""
    if scope.applicator is not None or scope.site is not None:
        return
    kept = next(reader.entries(kinds=(EntryKind.STOCK,)), None) is not None
    found = movements(reader) if kept else ()
    if all(move.act is Act.USE for move in found):
        if found or next(reader.entries(kinds=BOOKED, current_only=True), None) is not None:
            yield Item(
                Topic.STOCK, Weight.ADVICE, "stock:account", "no-stock-account",
                "no stock account is kept; inspectors of some places ask for purchases and "
                "disposals (Arizona R3-8-501 and 503; the law of this place was not read on it)",
                way_out="useledger stock count, then stock receive as products come in",
            )  # fmt: skip
        return
    for one in accounts(found, converting(workspace.book.units)):
        if scope.product_key not in {None, one.product}:
            continue
        named = f"{one.product} at {one.place}"
        subject = f"stock:{one.product}.{one.place}"
        if not one.known:
            yield Item(
                Topic.STOCK, Weight.ADVICE, subject, "stock-never-came",
                f"{named}: used, but no receipt, move or count of it is recorded",
                way_out="useledger stock receive, or stock count",
            )  # fmt: skip
        if one.short_on is not None and scope.holds(one.short_on):
            yield Item(
                Topic.STOCK, Weight.ADVICE, subject, "stock-short",
                f"{named}: from {one.short_on} on more went out than the account says was there",
                day=one.short_on, way_out="record what came in, or count it",
            )  # fmt: skip
        for count in one.counts:
            if not count.agrees and scope.holds(count.day):
                yield Item(
                    Topic.STOCK, Weight.ADVICE, f"{subject}.{count.seq}", "stock-difference",
                    f"{named}: counted {said(count.counted)} {one.unit}"
                    f"{of_lot(count)}, the account says "
                    f"{said(count.expected)} {one.unit}; the difference of "
                    f"{said(count.difference)} {one.unit} is more than "
                    f"{said(count.tolerance * 100)} % of the {said(count.passed)} {one.unit} that "
                    "passed through (common practice, no source)",
                    entry=count.seq, day=count.day,
                    way_out="find the missing line or movement, else answer this",
                )  # fmt: skip
