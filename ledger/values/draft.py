"""A line as read from a sheet, before anything is understood."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from ledger.values.finding import Fault
from ledger.values.origin import Cell, Origin

APPLICATION_HEADINGS = (
    "line", "date", "start", "end", "applicator", "supervisor", "customer", "customer address",
    "address", "unit", "city", "state", "zip", "county", "site", "site kind",
    "product", "lot", "amount", "basis", "dilution", "mix", "method", "setting",
    "places", "avoided", "prepared", "pests", "extent", "equipment",
    "temperature", "wind", "rain", "notice", "note",
)  # fmt: skip
"""The headings of a day sheet, in the order of the template."""

VISIT_IDENTITY = (
    "date", "start", "end", "applicator", "supervisor", "customer", "customer address",
    "address", "unit", "city", "state", "zip", "county", "site", "site kind",
)  # fmt: skip
"""Columns that say which visit a line belongs to."""

VISIT_COLUMNS = (*VISIT_IDENTITY, "temperature", "wind", "rain", "notice")
"""Columns that repeat the line above, when blank and the visit is the same."""

OBSERVATION_HEADINGS = ("date", "address", "site", "place", "condition", "advice")


@dataclass(frozen=True, slots=True)
class Draft:
    """One non-blank row: its cells by heading, each with its own origin.

    A cell repeated from the line above keeps the origin of the line it was typed on.
    ``typed`` holds what this row itself says, exactly, by heading. ``faults`` are cells the
    reader could not restore with certainty (the line will be held).
    """

    origin: Origin
    cells: Mapping[str, Cell] = field(hash=False)
    typed: Mapping[str, str] = field(hash=False)
    faults: tuple[Fault, ...] = ()

    def text(self, heading: str) -> str:
        """Return the stripped text under that heading, or an empty string."""
        cell = self.cells.get(heading)
        return cell.text.replace("\u00a0", " ").strip() if cell else ""

    def at(self, heading: str) -> Origin:
        """Return where that heading's value was typed, or the row's place with the heading."""
        cell = self.cells.get(heading)
        if cell is not None:
            return cell.origin
        return Origin(self.origin.file, self.origin.row, heading, None, self.origin.page)


@dataclass(frozen=True, slots=True)
class Sheet:
    """One file as read: drafts in order, observations, faults of the file itself, remarks.

    A sheet with ``faults`` is refused whole; nothing of it is booked.
    """

    file: str
    digest: str
    drafts: tuple[Draft, ...] = ()
    observations: tuple[Draft, ...] = ()
    faults: tuple[Fault, ...] = ()
    remarks: tuple[str, ...] = ()
