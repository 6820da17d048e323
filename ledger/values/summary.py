"""A period's summary: what was used, county by county, as a report form wants it stated."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from ledger.values.finding import Fault
from ledger.values.period import Period
from ledger.values.use_row import UseRow


@dataclass(frozen=True, slots=True)
class UseLine:
    """One line of a use report: one product in one county under one site code.

    ``number`` counts the lines of the summary from 1 and names the line to a person who wants it
    opened. ``total`` is exact, in ``unit``; it is rounded on output only. ``lines`` counts day
    sheet lines, ``visits`` distinct visits (None where that cannot be told); ``applications`` is
    the one of the two that the form counts. ``pounds`` is the weight of the product by the form's
    own arithmetic, None where it cannot be told. ``labels`` are the label versions behind the
    line, as 16 hex digits each.
    """

    number: int
    jurisdiction: str
    county: str
    county_number: str
    site_code: str
    product_key: str
    registration: str
    product: str
    total: Fraction
    unit: str
    lines: int
    visits: int | None
    applications: int | None
    pounds: Fraction | None
    labels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class IngredientUse:
    """Pounds of one active ingredient in one county.

    ``pounds`` is None where a product that holds it has no weight; ``known`` is then the part
    that could be told (a lower bound), else the same as ``pounds``. ``applications`` counts the
    applications of the products that hold the ingredient.
    """

    jurisdiction: str
    county: str
    county_number: str
    ingredient: str
    cas: str
    pounds: Fraction | None
    known: Fraction
    applications: int | None


@dataclass(frozen=True, slots=True)
class NilCounty:
    """A county where the firm is registered and has no use to report for the period."""

    jurisdiction: str
    county: str
    county_number: str


@dataclass(frozen=True, slots=True)
class Remark:
    """A remark under a report: its text, the sources it rests on, the county it is about.

    An empty ``county`` is every county.
    """

    text: str
    sources: tuple[str, ...] = ()
    county: str = ""


@dataclass(frozen=True, slots=True)
class Summary:
    """What was used in a jurisdiction in a period, stated as one form wants it.

    ``places`` are the decimal places of totals on output, ``pound_places`` those of pounds of
    active ingredient. ``left_out`` are lines that the form does not want; they stand in remarks.
    ``rows`` are the lines of a form of single applications, groups or people; ``refused`` says
    what the regulator would not take in them.
    """

    jurisdiction: str
    period: Period
    form: str
    form_digest: str
    places: int
    pound_places: int
    lines: tuple[UseLine, ...] = ()
    ingredients: tuple[IngredientUse, ...] = ()
    nil: tuple[NilCounty, ...] = ()
    left_out: tuple[UseLine, ...] = ()
    remarks: tuple[Remark, ...] = ()
    rows: tuple[UseRow, ...] = ()
    refused: tuple[Fault, ...] = ()

    @property
    def used(self) -> bool:
        """Whether anything is reported (a list of people may stand without it)."""
        return bool(self.lines) or any(row.applications for row in self.rows)

    @property
    def counties(self) -> tuple[str, ...]:
        """Every county with a report: with use or nil, in order of name."""
        used = {line.county for line in self.lines} | {row.county for row in self.rows}
        return tuple(sorted(used | {nil.county for nil in self.nil}))

    def of_county(self, county: str) -> Summary:
        """Return the part for one county; lines keep their numbers."""
        return replace(
            self,
            lines=tuple(line for line in self.lines if line.county == county),
            ingredients=tuple(use for use in self.ingredients if use.county == county),
            nil=tuple(nil for nil in self.nil if nil.county == county),
            left_out=tuple(line for line in self.left_out if line.county == county),
            remarks=tuple(note for note in self.remarks if note.county in {"", county}),
            rows=tuple(row for row in self.rows if row.county == county),
        )

    def line(self, number: int) -> UseLine | None:
        """Return the line of that number, or None."""
        return next((line for line in self.lines if line.number == number), None)
