"""Tools and their containers on one day: what was weighed and loaded against what the lines say.

Before a line a tool weighs what it weighed after the line before it, less what unweighed lines
between put down, plus what it was loaded with, less what came back. A difference within the
tolerance, a share of what the day's lines put down with that tool, is scale and clinging dust.
Pure and exact.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from ledger.values.amount import Quantity
from ledger.values.lexicon import fold
from ledger.values.rounding import exact_text, fixed

TOLERANCE = Fraction(2, 100)
"""Two parts in a hundred of what the day's lines put down with the tool, the bound included.
Common practice, no source; the same share as that of a count of stock."""

MOST_LOADS = 10
"""Of more loads of one tool and product on one day only their sums in order are tried."""

Convert = Callable[[Quantity, str], Fraction | None]
"""Gives a quantity in another unit, or None where the two do not measure the same."""


@dataclass(frozen=True, slots=True)
class PutDown:
    """One line's use of a tool: its entry, its place in the day, product, lot, how much.

    ``used`` is None where it cannot be told; ``weighing`` what the tool weighed before and after.
    """

    seq: int
    order: str
    tool: str
    product: str
    lot: str
    used: Quantity | None
    weighing: tuple[Quantity, Quantity] | None = None


@dataclass(frozen=True, slots=True)
class Load:
    """What went into a tool that day, by entry; below nothing it came back out of it."""

    seq: int
    tool: str
    product: str
    lot: str
    amount: Quantity


@dataclass(frozen=True, slots=True)
class Gap:
    """What does not agree: the line's or the load's entry, its name, in words, of which tool."""

    seq: int
    day: date
    name: str
    text: str
    tool: str
    product: str = ""
    lot: str = ""


@dataclass(frozen=True, slots=True)
class ToolDay:
    """Everything of one day that the tools are held against.

    ``tools`` gives what each weighs empty and what it holds; ``opening`` what was in a tool by the
    stock account when the day began, by tool and product. ``counted`` are tools and products
    counted at the end of the day: the count itself is held against the account then.
    """

    day: date
    lines: tuple[PutDown, ...]
    loads: tuple[Load, ...]
    tools: Mapping[str, tuple[Quantity | None, Quantity | None]]
    opening: Mapping[tuple[str, str], Quantity]
    counted: frozenset[tuple[str, str]] = frozenset()


def checked(day: ToolDay) -> tuple[tuple[str, str], ...]:
    """Return the tools and products of a day that were weighed or loaded, and so can be held."""
    weighed = {(line.tool, line.product) for line in day.lines if line.weighing}
    return tuple(sorted(weighed | {(load.tool, load.product) for load in day.loads}))


def tool_gaps(day: ToolDay, convert: Convert, tolerance: Fraction = TOLERANCE) -> tuple[Gap, ...]:
    """Return everything that does not agree, by tool and product and in the order of the day."""
    found: list[Gap] = []
    for tool, product in checked(day):
        lines = sorted(
            (line for line in day.lines if (line.tool, line.product) == (tool, product)),
            key=lambda line: (line.order, line.seq),
        )
        loads = [load for load in day.loads if (load.tool, load.product) == (tool, product)]
        found += _of_lots(day, lines, loads)
        if any(line.weighing for line in lines):
            found += _Chain(day, loads, convert, tolerance).gaps(lines)
        elif (tool, product) not in day.counted:
            found += _of_loads(day, lines, loads, (convert, tolerance))
    return tuple(found)


# ------------------------------------------------------------------ weighings that join


@dataclass(frozen=True)
class _Chain:
    """The weighings of one tool with one product, one after another."""

    day: ToolDay
    loads: Sequence[Load]
    convert: Convert
    tolerance: Fraction

    def gaps(self, lines: Sequence[PutDown]) -> Iterator[Gap]:
        """Yield where a weighing does not join the one before it."""
        unit = next(line.weighing[0].unit for line in lines if line.weighing)
        left = [self.convert(load.amount, unit) or Fraction() for load in self.loads]
        passed = sum((self._used(line, unit) or Fraction() for line in lines), Fraction())
        last: PutDown | None = None
        between: Fraction | None = Fraction()
        for line in lines:
            if line.weighing is None:
                used = self._used(line, unit)
                between = None if used is None or between is None else between + used
                continue
            yield from self._limits(line)
            if last is not None and between is not None:
                step = self._step(last, line, unit) + between
                moved, left = nearest(step, left)
                if abs(step - moved) > passed * self.tolerance:
                    yield self._gap((last, line), step - moved, unit, passed)
            last, between = line, Fraction()

    def _used(self, line: PutDown, unit: str) -> Fraction | None:
        return self.convert(line.used, unit) if line.used else None

    def _step(self, last: PutDown, line: PutDown, unit: str) -> Fraction:
        assert last.weighing is not None
        assert line.weighing is not None
        before, after = self.convert(line.weighing[0], unit), self.convert(last.weighing[1], unit)
        return (before or Fraction()) - (after or Fraction())

    def _gap(
        self, pair: tuple[PutDown, PutDown], step: Fraction, unit: str, passed: Fraction
    ) -> Gap:
        last, line = pair
        name, word = ("weighed-more", "more") if step > 0 else ("weighed-less", "less")
        why = (
            "no load that explains it is recorded" if step > 0
            else "used, spilled or taken out without a record"
        )  # fmt: skip
        text = (
            f"{line.tool} weighed {said(abs(step))} {unit} {word} before entry {line.seq} than "
            f"entry {last.seq}, the lines between and the loads of the day leave in it: {why} "
            f"({bound(self.tolerance, passed, unit)})"
        )
        return Gap(line.seq, self.day.day, name, text, line.tool, line.product, line.lot)

    def _limits(self, line: PutDown) -> Iterator[Gap]:
        """Yield where a tool weighed less than empty or more than full."""
        assert line.weighing is not None
        before, after = line.weighing
        unit = before.unit
        empty, holds = self.day.tools.get(line.tool, (None, None))
        bare = self.convert(empty, unit) if empty else None
        room = self.convert(holds, unit) if holds else None
        ended = self.convert(after, unit)
        named = (line.tool, line.product, line.lot)
        if bare is not None and ended is not None and ended < bare:
            text = f"{line.tool} weighed {said(bare - ended)} {unit} less than it does empty"
            yield Gap(line.seq, self.day.day, "weighed-below-empty", text, *named)
        if bare is not None and room is not None and before.value > bare + room:
            over = before.value - bare - room
            text = f"{line.tool} weighed {said(over)} {unit} more than it does full"
            yield Gap(line.seq, self.day.day, "weighed-above-full", text, *named)


def nearest(step: Fraction, loads: Sequence[Fraction]) -> tuple[Fraction, list[Fraction]]:
    """Return the sum of loads that comes nearest to a step in weight, and the loads left over.

    When a load was put in within the day is not recorded, so any of them may lie in this step or
    in another one. Equal fits take fewer loads.
    """
    best: tuple[Fraction, tuple[int, ...]] = (Fraction(), ())
    for chosen in _choices(len(loads)):
        total = sum((loads[index] for index in chosen), Fraction())
        if abs(step - total) < abs(step - best[0]):
            best = (total, chosen)
    return best[0], [load for index, load in enumerate(loads) if index not in best[1]]


def _choices(count: int) -> Iterator[tuple[int, ...]]:
    if count > MOST_LOADS:
        yield from (tuple(range(end)) for end in range(1, count + 1))
        return
    sets = (
        tuple(index for index in range(count) if mask >> index & 1) for mask in range(1, 1 << count)
    )
    yield from sorted(sets, key=len)


# ------------------------------------------------------------------ loads without weighings


def _of_loads(
    day: ToolDay, lines: Sequence[PutDown], loads: Sequence[Load], by: tuple[Convert, Fraction]
) -> Iterator[Gap]:
    """Yield where a tool that was emptied again was loaded with another amount than was used.

    Nothing is said while nothing came back: the rest may lie in the tool.
    """
    convert, tolerance = by
    first = loads[0]
    tool, product, unit = first.tool, first.product, first.amount.unit
    if all(load.amount.value > 0 for load in loads):
        return
    used = [convert(line.used, unit) if line.used else None for line in lines]
    told = [value for value in used if value is not None]
    if len(told) < len(used):
        return
    before = day.opening.get((tool, product))
    opening = (convert(before, unit) if before else None) or Fraction()
    moved = [convert(load.amount, unit) or Fraction() for load in loads]
    came = sum((value for value in moved if value > 0), Fraction())
    back = -sum((value for value in moved if value < 0), Fraction())
    put = sum(told, Fraction())
    rest = opening + came - back - put
    if abs(rest) > put * tolerance:
        more = "is not accounted for" if rest > 0 else "more was used than was there"
        text = (
            f"{tool} held {said(opening)} {unit} of {product}, was loaded with {said(came)} "
            f"{unit}, {said(back)} {unit} came back and the lines used {said(put)} {unit}: "
            f"{said(abs(rest))} {unit} {more} ({bound(tolerance, put, unit)})"
        )
        yield Gap(first.seq, day.day, "loads-differ", text, tool, product, first.lot)


def _of_lots(day: ToolDay, lines: Sequence[PutDown], loads: Sequence[Load]) -> Iterator[Gap]:
    """Yield lines that name another lot than any that the tool was loaded from that day."""
    lots = {fold(load.lot): load.lot for load in loads if load.lot and load.amount.value > 0}
    for line in lines:
        if line.lot and lots and fold(line.lot) not in lots:
            text = (
                f"the line names lot {line.lot} of {line.product}, {line.tool} was loaded from lot "
                f"{', '.join(sorted(lots.values()))} that day"
            )
            yield Gap(line.seq, day.day, "lot-differs", text, line.tool, line.product, line.lot)


def bound(tolerance: Fraction, passed: Fraction, unit: str, what: str = "put down") -> str:
    """Return the tolerance in words, with what it is a share of."""
    share = exact_text(tolerance * 100)
    return f"more than {share} % of the {said(passed)} {unit} {what}; common practice, no source"


def said(value: Fraction) -> str:
    """Return an exact value as text; one that never ends to four places, and said so."""
    text = exact_text(value)
    return f"about {fixed(value, 4)}" if "/" in text else text
