"""The stock account: bought, moved, used, disposed, on hand, counted. Pure and exact.

An account is of one product at one place, or of one lot of it there. A count is taken at the end
of its day: everything of that day comes before it. After a count the account goes on from what was
counted, and what could not be explained stands in a column of its own, so that always

    bought + moved in - moved out - used - disposed + unexplained = on hand

A count that names a lot is of that lot; a count that names none is of all lots of the product at
that place, those included that nobody named. What names no lot has a row of its own beside the lots
and belongs to one of them; what a count over all lots could not explain stands there too, so that
the rows of the lots always add up to the account of the product.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from enum import StrEnum
from fractions import Fraction
from typing import Any

from ledger.values.amount import Quantity
from ledger.values.lexicon import fold

STORE = "store"
"""The place that a movement means if it names none."""

TOLERANCE = Fraction(2, 100)
"""Two parts in a hundred of what passed through since the last count. Common practice, no source:
scales, clinging dust and rinsing lose as much; the account always says which share was taken."""


class Act(StrEnum):
    """What happens to stock. ``USE`` is never written by hand: the records of use say it."""

    RECEIVE = "receive"
    MOVE = "move"
    USE = "use"
    DISPOSE = "dispose"
    COUNT = "count"


COLUMNS = ("bought", "moved_in", "moved_out", "used", "disposed", "unexplained")
"""The columns of an account that add up to what is on hand, over lots too."""

_RANK = {Act.RECEIVE: 0, Act.MOVE: 1, Act.USE: 2, Act.DISPOSE: 3, Act.COUNT: 4}


@dataclass(frozen=True, slots=True)
class Movement:
    """One movement: the entry behind it, the day, what, how much, of which lot, from or at where.

    ``place`` is where it was received, taken, used, disposed of or counted; ``to`` where a move
    went. ``told`` is false for a use whose amount could not be told: it is counted as such.
    """

    seq: int
    day: date
    act: Act
    product: str
    amount: Quantity
    place: str = STORE
    to: str = ""
    lot: str = ""
    told: bool = True


@dataclass(frozen=True, slots=True)
class Count:
    """One count against the account: what it should have been, what was counted, in ``unit``.

    ``passed`` is what went through since the count before; the tolerance is a share of it. ``lot``
    is blank where all lots were counted.
    """

    seq: int
    day: date
    expected: Fraction
    counted: Fraction
    passed: Fraction
    tolerance: Fraction
    lot: str = ""

    @property
    def difference(self) -> Fraction:
        """What was counted over what was expected (below nothing: it is missing)."""
        return self.counted - self.expected

    @property
    def agrees(self) -> bool:
        """Whether the difference lies within the tolerance, the bound itself included."""
        return abs(self.difference) <= self.passed * self.tolerance


@dataclass(frozen=True, slots=True)
class Account:
    """The account of one product at one place, all in ``unit``, exact.

    ``untold`` counts uses whose amount cannot be told; ``short_on`` is the first day on which more
    went out than was there, None where that never happened. ``together`` is the day of the last
    count over all lots, where this lot was not counted by itself since; ``nameless`` says that the
    row is of what names no lot, beside rows of lots.
    """

    product: str
    place: str
    lot: str
    unit: str
    bought: Fraction = Fraction()
    moved_in: Fraction = Fraction()
    moved_out: Fraction = Fraction()
    used: Fraction = Fraction()
    disposed: Fraction = Fraction()
    unexplained: Fraction = Fraction()
    untold: int = 0
    counts: tuple[Count, ...] = ()
    short_on: date | None = None
    known: bool = False
    together: date | None = None
    nameless: bool = False

    @property
    def on_hand(self) -> Fraction:
        """What the account says is there."""
        gone = self.moved_out + self.used + self.disposed
        return self.bought + self.moved_in - gone + self.unexplained


Convert = Callable[[Quantity, str], Fraction | None]
"""Gives a quantity in another unit, or None where the two do not measure the same."""


def accounts(
    movements: Iterable[Movement],
    convert: Convert,
    tolerance: Fraction = TOLERANCE,
    *,
    by_lot: bool = False,
) -> tuple[Account, ...]:
    """Return the account of every product and place, in order of product, place and lot.

    The unit of a product is that of its first movement. A use that cannot be told, or that is in a
    unit that does not compare (a weight of something measured), adds nothing and is counted.
    """
    found: dict[tuple[str, str], Shelf] = {}
    units: dict[str, str] = {}
    for move in sorted(movements, key=lambda item: (item.day, _RANK[item.act], item.seq)):
        if move.told:
            units.setdefault(move.product, move.amount.unit)
        unit = units.get(move.product, "")
        value = convert(move.amount, unit) if move.told else None
        for place, coming in _sides(move):
            shelf = found.setdefault((move.product, place), Shelf(move.product, place, tolerance))
            shelf.take(move, value, coming=coming)
    for (product, _), shelf in found.items():
        shelf.unit = units.get(product, "")
    made = (found[key] for key in sorted(found))
    return tuple(row for shelf in made for row in (shelf.lots() if by_lot else (shelf.whole(),)))


def _sides(move: Movement) -> tuple[tuple[str, bool], ...]:
    """Return the places a movement touches and whether stock comes there."""
    if move.act is Act.MOVE:
        return (move.place, False), (move.to, True)
    return ((move.place, move.act is Act.RECEIVE),)


@dataclass(slots=True)
class Shelf:
    """One product at one place while its movements are gone through: a row for each lot.

    ``came`` and ``went`` are what came and went without a lot's name and was not yet found in the
    count of one; ``passed`` is what can have gone astray since the last count, of a lot (by its
    folded name) or of all (under None).
    """

    product: str
    place: str
    tolerance: Fraction
    unit: str = ""
    total: Fraction = Fraction()
    rows: dict[str, Account] = field(default_factory=dict)
    passed: dict[str | None, Fraction] = field(default_factory=dict)
    counts: list[Count] = field(default_factory=list)
    came: Fraction = Fraction()
    went: Fraction = Fraction()
    known: bool = False
    supplied: bool = False
    short_on: date | None = None

    def take(self, move: Movement, value: Fraction | None, *, coming: bool) -> None:
        """Enter a movement; ``value`` is its amount in the unit, None where it cannot be told."""
        key = fold(move.lot)
        row = self.rows.setdefault(key, Account(self.product, self.place, move.lot, ""))
        if value is None:
            self.rows[key] = replace(row, untold=row.untold + 1)
        elif move.act is Act.COUNT:
            self._count(move, value, key)
        else:
            self._move(move, value, key, coming=coming)
        self._look_for_want(key, move.day)

    def whole(self) -> Account:
        """Return the account over all lots."""
        rows = self.rows.values()
        columns: dict[str, Any] = {
            name: sum((getattr(row, name) for row in rows), Fraction()) for name in COLUMNS
        }
        return Account(
            self.product, self.place, "", self.unit, **columns,
            untold=sum(row.untold for row in rows), counts=tuple(self.counts),
            short_on=self.short_on, known=self.known,
        )  # fmt: skip

    def lots(self) -> Iterator[Account]:
        """Yield the account of each lot, what names none first."""
        for key in sorted(self.rows):
            own = tuple(count for count in self.counts if fold(count.lot) == key)
            row = replace(self.rows[key], unit=self.unit, counts=own)
            if key:  # what came without a lot's name may be this one
                yield replace(row, known=row.known or self.came > 0)
            else:
                several = len(self.rows) > 1
                yield replace(row, known=self.known, short_on=self.short_on, nameless=several)

    def _move(self, move: Movement, value: Fraction, key: str, *, coming: bool) -> None:
        column = {
            Act.RECEIVE: "bought", Act.USE: "used", Act.DISPOSE: "disposed",
            Act.MOVE: "moved_in" if coming else "moved_out",
        }[move.act]  # fmt: skip
        row = self.rows[key]
        row = replace(row, **{column: getattr(row, column) + value})
        if move.act is not Act.USE:
            row, self.known = replace(row, known=True), True
        self.rows[key] = row
        self.total += value if coming else -value
        self.supplied |= coming
        if not key and coming:
            self.came += value
        elif not key:
            self.went += value
        if coming:
            self._passes(None, value)
            if key:
                self._passes(key, value)

    def _passes(self, of: str | None, value: Fraction) -> None:
        self.passed[of] = self.passed.get(of, Fraction()) + value

    def _count(self, move: Movement, value: Fraction, key: str) -> None:
        of = key or None
        if key:
            # The first count of a lot opens its account where nothing but counts brought any.
            opening = not self.rows[key].known and not self.supplied
            found = self._of_a_lot(value, key)
        else:
            opening = not self.known
            found = value - self.total
        if not opening:
            passed = self.passed.get(of, Fraction())
            count = Count(
                move.seq, move.day, value - found, value, passed, self.tolerance, move.lot
            )
            self.counts.append(count)
        row = self.rows[key]
        self.rows[key] = replace(
            row, unexplained=row.unexplained + found, known=True, together=None, short_on=None
        )
        self.total += found
        self.known, self.short_on = True, None
        if key and opening:
            self._passes(None, value)
        self.passed[of] = value  # what was counted is what can go astray from now on
        if not key:
            self._over_all(move.day, found, value)

    def _of_a_lot(self, value: Fraction, key: str) -> Fraction:
        """Return by how much a lot's count differs from what can be there of it.

        What came or went without a lot's name may have been of this one: as much of it as the count
        shows goes from the row without a name into the lot's.
        """
        row, nameless = self.rows[key], self.rows.get("")
        differs = value - row.on_hand
        taken = max(min(differs, self.came), -self.went)
        if nameless is None or not taken:
            return differs
        if taken > 0:
            self.came -= taken
        else:
            self.went += taken
        self.rows[""] = replace(nameless, unexplained=nameless.unexplained - taken)
        self.rows[key] = replace(row, unexplained=row.unexplained + taken)
        return differs - taken

    def _over_all(self, day: date, found: Fraction, value: Fraction) -> None:
        """Set what a count over all lots means for each of them."""
        self.supplied = True  # whatever lot is counted next was among them
        if found > 0:
            self.came += found
        else:
            self.went -= found
        for key in [key for key in self.rows if key]:
            self.rows[key] = replace(self.rows[key], together=day if value else None, short_on=None)
        if not value:  # nothing is left of any lot: each of them was counted
            self.came = self.went = Fraction()
            for key, row in self.rows.items():
                self.rows[key] = replace(row, unexplained=row.unexplained - row.on_hand)
                self.passed[key or None] = Fraction()

    def _look_for_want(self, key: str, day: date) -> None:
        """Note the first day on which more went out than was there, of all and of a lot."""
        if self.known and self.short_on is None and self.total < 0:
            self.short_on = day
        row = self.rows[key]
        if key and row.known and row.short_on is None and row.on_hand + self.came < 0:
            self.rows[key] = replace(row, short_on=day)
