"""How much was treated: the measures of one line."""

from __future__ import annotations

from dataclasses import dataclass

from ledger.values.amount import Quantity

MEASURES = (
    "length", "height", "width", "depth", "area", "volume",
    "total length", "total area", "patch area", "spacing", "distance out",
    "voids", "placements", "spots", "rooms", "dwellings", "structures", "cans", "puffs", "seconds",
    "room length", "room width",
)  # fmt: skip
"""The closed list of measure names. Counts carry the unit ``each``. ``patch area`` is the area of
each spot, ``spacing`` how far apart placements stand, ``distance out`` how far from the wall; a
``total`` is that of the whole site or surface, treated or not."""


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
