"""A product as its label describes it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from ledger.values.dated import Span


class Formulation(StrEnum):
    """How a product is made up, which settles what a bare ounce means."""

    DUST = "dust"
    GRANULE = "granule"
    BAIT = "bait"
    PRESSURISED = "pressurised"
    LIQUID = "liquid"
    POWDER = "powder"  # a powder to be wetted and sprayed


class ProductClass(StrEnum):
    """How the law classes a product."""

    RESTRICTED = "restricted"
    GENERAL = "general"
    MINIMUM_RISK = "minimum risk"


@dataclass(frozen=True, slots=True)
class Ingredient:
    """One active ingredient (or synergist): share by weight, CAS number, mode-of-action group."""

    name: str
    share: Fraction
    cas: str | None = None
    group: str | None = None
    synergist: bool = False


@dataclass(frozen=True, slots=True)
class Product:
    """The facts of one label version.

    ``diluted`` says that the label has it mixed before use, so a line must say ``product`` or
    ``mix``. ``specific_gravity`` is None where the label does not give it. ``digest`` is the
    SHA-256 (hex) of the label file, ``file`` its path below the rules folder. ``flags`` are what
    laws ask of a label (a re-entry interval, a rate per area ...), as far as the file says it.
    """

    id: str
    name: str
    registration: str | None
    formulation: Formulation
    product_class: ProductClass
    diluted: bool
    ingredients: tuple[Ingredient, ...]
    specific_gravity: Fraction | None = None
    signal_word: str = ""
    version: str = ""
    lots: tuple[str, ...] = ()
    in_force: Span = Span()
    digest: str = ""
    file: str = ""
    flags: tuple[tuple[str, bool], ...] = ()

    @property
    def weighed(self) -> bool:
        """Dry and pressurised products are weighed, liquids are measured."""
        return self.formulation is not Formulation.LIQUID

    @property
    def key(self) -> str:
        """The registration number, or the id where the law gives none."""
        return self.registration or self.id
