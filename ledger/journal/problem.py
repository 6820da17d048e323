"""What stops the store from being used, said so that a person finds the way out."""

from __future__ import annotations


class StoreProblem(Exception):  # noqa: N818 - it is shown to people under this name
    """The ledger cannot be opened, read or written as asked; nothing was changed."""

    def __init__(self, what: str, way_out: str) -> None:
        super().__init__(f"{what}; {way_out}" if way_out else what)
        self.what = what
        self.way_out = way_out
