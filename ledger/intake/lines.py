"""The lines of a text, cut out when they are asked for and let go when they are done with.

A list of a million lines takes more memory than the text itself; a reader goes through them from
the first to the last and looks back only a little.
"""

from __future__ import annotations


class Lines:
    """The lines of a text by their index; forward only, but for what is not released yet."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._count = text.count("\n") + 1
        self._kept: dict[int, str] = {}
        self._low = self._next = self._at = 0

    def __len__(self) -> int:
        return self._count

    def __getitem__(self, index: int) -> str:
        while self._next <= index:
            end = self._text.find("\n", self._at)
            end = len(self._text) if end < 0 else end
            self._kept[self._next] = self._text[self._at : end]
            self._next, self._at = self._next + 1, end + 1
        return self._kept[index]

    def release(self, before: int) -> None:
        """Let go of all lines before an index; they cannot be asked for again."""
        for index in range(self._low, min(before, self._next)):
            del self._kept[index]
        self._low = max(self._low, min(before, self._next))
