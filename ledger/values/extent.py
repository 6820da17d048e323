"""How much was treated: the measures of one line."""

from __future__ import annotations

from dataclasses import dataclass

from ledger.values.amount import Quantity

MEASURES = (
    "length", "height", "width", "depth", "area", "volume",
    "voids", "placements", "spots", "rooms", "dwellings", "cans", "puffs", "seconds",
    "room length", "room width",
)  # fmt: skip
"""The closed list of measure names. Counts carry the unit ``each``."""


@dataclass(frozen=True, slots=True)
class Extent:
    """``extent`` as written, and its measures by name in the units as written."""

    text: str
    measures: tuple[tuple[str, Quantity], ...] = ()

    def get(self, name: str) -> Quantity | None:
        """Return the measure of that name, or None where the line does not say it."""
        for key, quantity in self.measures:
            if key == name:
                return quantity
        return None
