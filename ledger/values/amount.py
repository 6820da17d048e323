"""Amounts as written and as used: exact, with unit and basis."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction


class Basis(StrEnum):
    """What an amount or a rate counts."""

    PRODUCT = "product"
    MIX = "mix"
    INGREDIENT = "ai"


@dataclass(frozen=True, slots=True)
class Quantity:
    """An exact number of a unit from the closed list (``rules/units.toml``), e.g. 3/4 ``fl oz``."""

    value: Fraction
    unit: str


@dataclass(frozen=True, slots=True)
class Amount:
    """What a person wrote in ``amount``, read exactly.

    ``quantity`` keeps the unit as typed (the last one of ``1 lb 10 oz``); ``weighing`` holds the
    reading before and after when the amount was weighed.
    """

    text: str
    quantity: Quantity
    basis: Basis
    weighing: tuple[Quantity, Quantity] | None = None


class Strength(StrEnum):
    """The ways to say how strong a mix is."""

    RATE = "product per volume of mix"
    INGREDIENT_PER_CENT = "% ai"
    PRODUCT_PER_CENT = "% product"
    RATIO = "ratio"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Dilution:
    """``dilution`` as written.

    RATE: ``product`` of concentrate in each ``mix`` of finished mix. PER_CENT: ``value`` is the
    per cent as written. RATIO: ``value`` is the share of product in the mix (1/100 or 1/101, by
    the firm's reading of ``1:100``).
    """

    text: str
    strength: Strength
    value: Fraction | None = None
    product: Quantity | None = None
    mix: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Used:
    """Undiluted product used: ``numerator / denominator`` of ``unit``.

    ``derived`` amounts come from a mix and are rounded half-even to a billionth of the unit;
    ``estimate`` ones rest on a calibration.
    """

    numerator: int
    denominator: int
    unit: str
    derived: bool = False
    estimate: bool = False

    @property
    def fraction(self) -> Fraction:
        """The exact value as a fraction of the unit."""
        return Fraction(self.numerator, self.denominator)

    @property
    def quantity(self) -> Quantity:
        """The exact value with its unit."""
        return Quantity(self.fraction, self.unit)
