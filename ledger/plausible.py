"""Whether amounts look right: the state's kind of error check, as advice and never a decision.

The form of the test is the one that California publishes for its use reports (pounds for each
application against a median of the same product; a label's rate; a shifted decimal); the limits
here are small ones of the ledger's own, for visits to homes: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from statistics import median

from ledger.values.lexicon import PlaceOfLaw, fold
from ledger.values.rounding import exact_text, fixed
from ledger.values.use_row import SingleUse

FEW = 5
"""With fewer earlier applications of a product there is no median to go by."""

OVER = 10
"""So many times the median is worth a look."""

SLIP = 10
"""A slipped decimal makes an amount ten times what it was, or a tenth."""

LABEL_OVER = Fraction(11, 10)
"""An amount is worth a look above so many times the label's highest rate: the factor that the
state's own program uses, so that rounding on the way to the report is not asked about."""

NEAR = Fraction(1, 5)
"""How near to ten times (or a tenth of) the median an amount of a slip lies."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something that does not look right: the entries it is about, and why, with the way out."""

    name: str
    entries: tuple[int, ...]
    county: str
    text: str


@dataclass(frozen=True, slots=True)
class Weighed:
    """One application with its amount in one unit for its product, held against the label.

    ``label_times`` is how many times the label's highest rate it is, for what was treated, or None
    where that cannot be told; ``site_county`` the county that the site's own record names.
    """

    use: SingleUse
    amount: Fraction
    unit: str
    label_times: Fraction | None = None
    site_county: str = ""


def doubts(
    uses: Sequence[Weighed], earlier: Sequence[Weighed], place: PlaceOfLaw
) -> tuple[Doubt, ...]:
    """Return what does not look right in ``uses``, in order of their entries.

    ``earlier`` are the firm's other applications (of any day), which the medians are made of
    together with ``uses``. Nothing is changed or left out by any of this.
    """
    found = [
        *_amounts(uses, earlier), *_twins(uses), *_counties(uses, place),
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda item: (item.entries, item.name)))


def _amounts(uses: Sequence[Weighed], earlier: Sequence[Weighed]) -> Iterator[Doubt]:
    """Yield amounts that look slipped, or are far above what the firm uses or the label allows."""
    by_product: dict[tuple[str, str], list[Weighed]] = {}
    for item in (*earlier, *uses):
        by_product.setdefault((item.use.product_key, item.unit), []).append(item)
    for item in uses:
        others = [
            other.amount for other in by_product[item.use.product_key, item.unit]
            if other.use.entry != item.use.entry
        ]  # fmt: skip
        found = _by_median(item, others) or _by_label(item)
        if found is not None:
            yield found


def _by_median(item: Weighed, others: Sequence[Fraction]) -> Doubt | None:
    """Return what is odd about an amount beside the firm's other ones of that product."""
    middle = Fraction(median(others)) if len(others) >= FEW else Fraction(0)
    if not middle:
        return None
    times = item.amount / middle
    slip = next((s for s in (Fraction(SLIP), Fraction(1, SLIP)) if _near(times, s)), None)
    usual = _amount(middle, item.unit)
    if slip is not None:
        text = (
            f"{_said(item)} is about {'ten times' if slip > 1 else 'a tenth of'} the median of "
            f"{usual}{_beside_label(item)}: has the decimal point slipped?"
        )
        return Doubt("slipped-decimal", (item.use.entry,), item.use.county, text)
    if times > OVER:
        text = f"{_said(item)} is {fixed(times, 0)} times the median of {usual}"
        text = f"{text}{_beside_label(item)}"
        return Doubt("far-above-median", (item.use.entry,), item.use.county, text)
    return None


def _by_label(item: Weighed) -> Doubt | None:
    """Return that an amount lies clearly above the label's rate for what was treated."""
    if item.label_times is None or item.label_times <= LABEL_OVER:
        return None
    text = f"{_said(item)} is {fixed(item.label_times, 1)} times the label's highest rate"
    text = f"{text} for what was treated: are unit, amount and extent right?"
    return Doubt("above-label", (item.use.entry,), item.use.county, text)


def _beside_label(item: Weighed) -> str:
    if item.label_times is None or item.label_times <= LABEL_OVER:
        return ""
    return f", and {fixed(item.label_times, 1)} times the label's highest rate"


def _near(times: Fraction, slip: Fraction) -> bool:
    return slip * (1 - NEAR) <= times <= slip * (1 + NEAR)


def _said(item: Weighed) -> str:
    name = item.use.facts.get("product", item.use.product_key)
    return f"entry {item.use.entry}: {_amount(item.amount, item.unit)} of {name}"


def _amount(value: Fraction, unit: str) -> str:
    text = exact_text(value)
    return f"{fixed(value, 4) if '/' in text or len(text) > 8 else text} {unit}"


def _twins(uses: Sequence[Weighed]) -> Iterator[Doubt]:
    """Yield applications that are alike in day, place, product, amount, method and person."""
    found: dict[tuple[str, ...], list[Weighed]] = {}
    for item in uses:
        facts = item.use.facts
        key = (
            *(facts.get(name, "") for name in (
                "date", "start", "address", "city", "method", "places", "licence", "applicator",
            )),
            item.use.product_key, str(item.amount), item.unit,
        )  # fmt: skip
        found.setdefault(key, []).append(item)
    for items in found.values():
        if len(items) > 1:
            entries = tuple(sorted(item.use.entry for item in items))
            listed = ", ".join(map(str, entries))
            yield Doubt(
                "alike", entries, items[0].use.county,
                f"entries {listed} are alike in everything that a report says; both count, and one "
                "that should not exist is struck with a reason",
            )  # fmt: skip


def _counties(uses: Iterable[Weighed], place: PlaceOfLaw) -> Iterator[Doubt]:
    """Yield applications whose county is not the site's, or not one of the jurisdiction."""
    known = {fold(name) for name, _ in place.counties}
    for item in uses:
        county = item.use.county
        if item.site_county and fold(county) != fold(item.site_county):
            yield Doubt(
                "county-of-another", (item.use.entry,), county,
                f"entry {item.use.entry} says {county or 'no county'}, and its site lies in "
                f"{item.site_county}: amend the one that is wrong",
            )  # fmt: skip
        elif known and fold(county) not in known:
            yield Doubt(
                "county-unknown", (item.use.entry,), county,
                f'entry {item.use.entry}: "{county}" is no county of {place.name}',
            )  # fmt: skip
