"""What texts were read as, kept for the next line that writes the same.

A day's lines repeat themselves: the same people, places, doses and words. Only what was read
without a fault is kept, since a fault names the cell it was found in.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any, TypeVar

from ledger.values.reading import Reading

T = TypeVar("T")

MOST = 100_000
"""How many readings are kept at most; of those that were not asked for lately half are let go."""


class Recall:
    """Readings by the reader's name and everything that the reader was given."""

    def __init__(self) -> None:
        self._kept: dict[tuple[Hashable, ...], Any] = {}
        self._older: dict[tuple[Hashable, ...], Any] = {}

    def reading(self, key: tuple[Hashable, ...], read: Callable[[], Reading[T]]) -> Reading[T]:
        """Return a reading as it was made for the same key before, else made now."""
        found: Reading[T] | None = self._kept.get(key) or self._from_before(key)
        if found is None:
            found = read()
            if not found.faults:
                self._keep(key, found)
        return found

    def value(self, key: tuple[Hashable, ...], read: Callable[[], T]) -> T:
        """Return what a reader without faults made for the same key before, else makes now."""
        found: T | None = self._kept.get(key)
        if found is None:
            found = self._from_before(key)
        if found is None:
            found = read()
            self._keep(key, found)
        return found

    def _from_before(self, key: tuple[Hashable, ...]) -> Any:  # noqa: ANN401 - what was kept
        found = self._older.get(key)
        if found is not None:
            self._keep(key, found)
        return found

    def _keep(self, key: tuple[Hashable, ...], found: object) -> None:
        if len(self._kept) >= MOST // 2:
            self._older, self._kept = self._kept, {}
        self._kept[key] = found
