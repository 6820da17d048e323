"""A list whose items are made when somebody asks for them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Generic, TypeVar, overload

T = TypeVar("T")


class Later(Sequence[T], Generic[T]):
    """Items by name, in the order of the names; each is made once, when it is asked for.

    What cannot be made (its maker gives None) is left out, as if it had never been named.
    """

    def __init__(self, makers: Mapping[str, Callable[[], T | None]]) -> None:
        self._makers = dict(makers)
        self._made: dict[str, T | None] = {}

    def get(self, name: str) -> T | None:
        """Return the item of that name, or None."""
        if name not in self._made:
            if name not in self._makers:
                return None
            self._made[name] = self._makers[name]()
        return self._made[name]

    @property
    def names(self) -> tuple[str, ...]:
        """The names, also of what was not made yet."""
        return tuple(self._makers)

    def _all(self) -> list[T]:
        items = (self.get(name) for name in self._makers)
        return [item for item in items if item is not None]

    @overload
    def __getitem__(self, index: int) -> T: ...

    @overload
    def __getitem__(self, index: slice) -> Sequence[T]: ...

    def __getitem__(self, index: int | slice) -> T | Sequence[T]:
        return self._all()[index]

    def __len__(self) -> int:
        return len(self._all())

    def __iter__(self) -> Iterator[T]:
        items = (self.get(name) for name in self._makers)
        return (item for item in items if item is not None)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and self._all() == list(other)

    def __hash__(self) -> int:
        return hash(self.names)
