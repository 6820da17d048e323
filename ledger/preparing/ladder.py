"""The largest amount that one can weigh or measure and that breaks nothing.

The judgement itself is asked, step by step of the scale, so that whatever bounds an amount (a
rate, a total over the year, a strength) is counted exactly as it will be counted afterwards.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction

from ledger.preparing.stage import Judged
from ledger.values.amount import Quantity
from ledger.values.rounding import exact_text

MOST_STEPS = 2**27
"""Beyond so many steps nothing on file bounds the amount."""


@dataclass(frozen=True, slots=True)
class Scale:
    """What a scale or a measure can tell: steps of a unit, coarser from some amount on.

    ``coarse`` begins at ``heavy``: a pocket scale tells a tenth of a gram up to about a hundred,
    a shop scale whole ones.
    """

    unit: str
    step: Fraction
    heavy: Fraction
    coarse: Fraction

    def down(self, value: Fraction) -> Fraction:
        """Return the amount rounded down to what can be told."""
        step = self.step if value < self.heavy else self.coarse
        return value // step * step


GRAMS = Scale("g", Fraction(1, 10), Fraction(100), Fraction(1))
OUNCES = Scale("oz", Fraction(1, 100), Fraction(16), Fraction(1, 10))
FLUID_OUNCES = Scale("fl oz", Fraction(1, 20), Fraction(16), Fraction(1, 2))
MILLILITRES = Scale("mL", Fraction(1, 10), Fraction(100), Fraction(1))
MIX_OUNCES = Scale("fl oz", Fraction(1), Fraction(10**9), Fraction(1))
MIX_GALLONS = Scale("gal", Fraction(1, 8), Fraction(10), Fraction(1, 2))


@dataclass(frozen=True, slots=True)
class Bound:
    """The most on one scale: how much, the line judged at it and at the next step.

    ``most`` is None where nothing on file bounds the amount; ``above`` is then None too.
    """

    scale: Scale
    most: Quantity | None
    at: Judged
    above: Judged | None


Try = Callable[[str], Judged | None]
"""Judges the planned line with this amount, as a person would write it; None where it is more than
a record can hold."""


def amount_text(value: Fraction, unit: str) -> str:
    """Return an amount as a person writes it: ``28.3 g``."""
    return f"{exact_text(value)} {unit}"


def climb(scale: Scale, attempt: Try, hints: Iterable[Fraction] = ()) -> Bound | None:
    """Return the most on a scale; None where no amount at all passes.

    ``hints`` are amounts (in the unit) where a passing amount may lie, for the rare label whose
    least amount is a must: the ladder begins at the first of its steps that passes.
    """
    seen: dict[int, Judged | None] = {}

    def look(steps: int) -> Judged | None:
        if steps not in seen:
            seen[steps] = attempt(amount_text(steps * scale.step, scale.unit))
        return seen[steps]

    tries = [1, *sorted({int(hint // scale.step) for hint in hints} - {0, 1})]
    low = next((steps for steps in tries if (first := look(steps)) and not first.breaks), None)
    lowest = None if low is None else look(low)
    if low is None or lowest is None:
        return None

    def too_much(steps: int) -> bool:
        judged = look(steps)
        return judged is not None and (judged.breaks or not judged.doubts <= lowest.doubts)

    high = low * 2
    while not too_much(high):
        if low > MOST_STEPS or look(high) is None:
            return Bound(scale, None, look(low) or lowest, None)
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if too_much(middle) else (middle, high)
    fine = low * scale.step
    kept = scale.down(fine)
    if too_much(int(kept / scale.step)):  # a least amount forbids the coarser step
        kept = fine
    at = look(int(kept / scale.step)) or lowest
    return Bound(scale, Quantity(kept, scale.unit), at, look(high))
