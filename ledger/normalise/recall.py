"""What texts were read as, kept for the next line that writes the same.

A day's lines repeat themselves: the same people, places, doses and words. Only what was read
without a fault is kept, since a fault names the cell it was found in.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any, TypeVar

from ledger.values.reading import Reading

T = TypeVar("T")

MOST = 50_000
"""How many readings are kept; then the memory begins anew, so that it stays flat."""


class Recall:
    """Readings by the reader's name and everything that the reader was given."""

    def __init__(self) -> None:
        self._kept: dict[tuple[Hashable, ...], Any] = {}

    def reading(self, key: tuple[Hashable, ...], read: Callable[[], Reading[T]]) -> Reading[T]:
        """Return a reading as it was made for the same key before, else made now."""
        found: Reading[T] | None = self._kept.get(key)
        if found is None:
            found = read()
            if not found.faults:
                self._keep(key, found)
        return found

    def value(self, key: tuple[Hashable, ...], read: Callable[[], T]) -> T:
        """Return what a reader without faults made for the same key before, else makes now."""
        found: T | None = self._kept.get(key)
        if found is None:
            found = read()
            self._keep(key, found)
        return found

    def _keep(self, key: tuple[Hashable, ...], found: object) -> None:
        if len(self._kept) >= MOST:
            self._kept.clear()
        self._kept[key] = found
