"""What the journal gives of a month: sums of use, as exact integers, before any conversion."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class UseGroup:
    """The use of one product in one county under one site code, in one unit and denominator.

    ``label`` is the digest of the label version used, whole or its first 16 hex digits.
    ``numerator`` is the sum of the numerators of all lines of the group; ``lines`` how many
    lines there are and ``visits`` on how many distinct visits. A visit with lines in two
    groups (two units, say) is counted in both.
    """

    jurisdiction: str
    county: str
    product_key: str
    label: str
    site_code: str
    unit: str
    denominator: int
    numerator: int
    lines: int
    visits: int

    @property
    def amount(self) -> Fraction:
        """The exact sum in ``unit``."""
        return Fraction(self.numerator, self.denominator)


@dataclass(frozen=True, slots=True)
class VisitCount:
    """On how many distinct visits one product was used in one county under one site code.

    Groups cannot be added up for this (a visit may stand in several), so a form that counts
    visits needs these as well.
    """

    jurisdiction: str
    county: str
    product_key: str
    site_code: str
    visits: int
