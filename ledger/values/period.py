"""A reporting period: one calendar month, or one calendar year."""

from __future__ import annotations

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True, order=True)
class Period:
    """A month of a year, or (``month`` 0) the whole year."""

    year: int
    month: int = 0

    @property
    def first(self) -> date:
        """The first day."""
        return date(self.year, self.month or 1, 1)

    @property
    def last(self) -> date:
        """The last day."""
        month = self.month or 12
        return date(self.year, month, monthrange(self.year, month)[1])

    @property
    def key(self) -> str:
        """``2026-01`` or ``2026``."""
        return f"{self.year:04}-{self.month:02}" if self.month else f"{self.year:04}"

    @property
    def text(self) -> str:
        """``January 2026`` or ``2026``, in English whatever the computer's language."""
        return f"{_MONTHS[self.month]} {self.year}" if self.month else str(self.year)

    @property
    def months(self) -> tuple[Period, ...]:
        """The months of the period, in order."""
        if self.month:
            return (self,)
        return tuple(Period(self.year, month) for month in range(1, 13))

    @property
    def next(self) -> Period:
        """The period of the same length that follows."""
        if not self.month:
            return Period(self.year + 1)
        return Period(self.year + self.month // 12, self.month % 12 + 1)


_MONTHS = (
    "", "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
# The standard library's month names follow the computer's language; a report must not.


def read_period(text: str) -> Period | None:
    """Read ``2026-01``, ``2026-1``, ``January 2026`` or ``2026``; None for anything else."""
    plain = " ".join(text.split())
    if re.fullmatch(r"[0-9]{4}", plain) and int(plain):
        return Period(int(plain))
    numbers = re.fullmatch(r"([0-9]{4})-([0-9]{1,2})", plain)
    if numbers:
        return _month(int(numbers[1]), int(numbers[2]))
    words = re.fullmatch(r"([A-Za-z]{3,9})\.? ([0-9]{4})", plain)
    if words:
        stem = words[1].casefold()
        found = [n for n, name in enumerate(_MONTHS) if n and name.casefold().startswith(stem)]
        return _month(int(words[2]), found[0]) if found else None
    return None


def _month(year: int, month: int) -> Period | None:
    return Period(year, month) if year and 1 <= month <= 12 else None
