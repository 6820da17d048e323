"""The stock account: bought, moved, used, disposed, on hand, counted. Pure and exact.

An account is of one product (of one lot, where asked for) at one place. A count is taken at the end
of its day: everything of that day comes before it. After a count the account goes on from what was
counted, and what could not be explained stands in a column of its own, so that always

    bought + moved in - moved out - used - disposed + unexplained = on hand
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from fractions import Fraction

from ledger.values.amount import Quantity

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

    ``passed`` is what went through since the count before; the tolerance is a share of it.
    """

    seq: int
    day: date
    expected: Fraction
    counted: Fraction
    passed: Fraction
    tolerance: Fraction

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
    went out than was there, None where that never happened.
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
    found: dict[tuple[str, str, str], Account] = {}
    marks: dict[tuple[str, str, str], Fraction] = {}
    units: dict[str, str] = {}
    for move in sorted(movements, key=lambda item: (item.day, _RANK[item.act], item.seq)):
        if move.told:
            units.setdefault(move.product, move.amount.unit)
        unit = units.get(move.product, "")
        value = convert(move.amount, unit) if move.told else None
        for place, coming in _sides(move):
            key = (move.product, place, move.lot if by_lot else "")
            before = replace(found.get(key, Account(*key, unit=unit)), unit=unit)
            if value is None:
                found[key] = replace(before, untold=before.untold + 1)
                continue
            passed = marks.get(key, Fraction())
            if move.act is Act.COUNT:
                found[key] = _counted(before, move, value, (passed, tolerance))
                marks[key] = value  # what was counted is what can go astray from now on
                continue
            found[key] = _moved(before, move, value, coming=coming)
            marks[key] = passed + (value if coming else 0)
    return tuple(found[key] for key in sorted(found))


def _sides(move: Movement) -> tuple[tuple[str, bool], ...]:
    """Return the places a movement touches and whether stock comes there."""
    if move.act is Act.MOVE:
        return (move.place, False), (move.to, True)
    return ((move.place, move.act is Act.RECEIVE),)


def _moved(account: Account, move: Movement, value: Fraction, *, coming: bool) -> Account:
    column = {
        Act.RECEIVE: "bought", Act.USE: "used", Act.DISPOSE: "disposed",
        Act.MOVE: "moved_in" if coming else "moved_out",
    }[move.act]  # fmt: skip
    after = replace(account, **{column: getattr(account, column) + value})
    if move.act is not Act.USE:
        after = replace(after, known=True)
    if after.known and after.on_hand < 0 and after.short_on is None:
        after = replace(after, short_on=move.day)
    return after


def _counted(
    account: Account, move: Movement, value: Fraction, terms: tuple[Fraction, Fraction]
) -> Account:
    passed, tolerance = terms
    # The first count of a place that nothing was received at opens its account.
    opening = not account.known
    count = Count(move.seq, move.day, account.on_hand, value, passed, tolerance)
    counts = account.counts if opening else (*account.counts, count)
    unexplained = account.unexplained + count.difference
    return replace(account, counts=counts, unexplained=unexplained, known=True, short_on=None)
