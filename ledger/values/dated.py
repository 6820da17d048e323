"""A stretch of days in which something holds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Span:
    """From the first day to the last day, both included; None leaves that end open."""

    start: date | None = None
    end: date | None = None

    def holds(self, day: date) -> bool:
        """Say whether ``day`` lies inside."""
        return (self.start is None or self.start <= day) and (self.end is None or day <= self.end)
