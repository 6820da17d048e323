"""Step 7: add up a period, county by county, and state it as a report form wants it.

Sums are exact; a product's total is converted once, into a unit the form allows, and rounded only
when it is written out. A line is one product in one county under one site code.

What a form cannot be told is never guessed: pounds of a product without a weight are None.
A synergist (an ingredient that a label marks so) is not an active ingredient: it is left out of the
pounds of active ingredient and told in a remark, since the texts read do not say that a report
wants it; a label that does not mark it has it counted like any other.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from ledger.report_remarks import Doubts, Synergist, remarks
from ledger.rulebook.form_model import Form
from ledger.stating import dimension_of, pounds_of, stated, sum_of
from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.lexicon import PlaceOfLaw, fold
from ledger.values.period import Period
from ledger.values.product import Ingredient, Product
from ledger.values.summary import IngredientUse, NilCounty, Summary, UseLine
from ledger.values.use_group import UseGroup, VisitCount

POUND_PLACES = 9
"""Decimal places of pounds of active ingredient, unless the form's own column says otherwise.

The state's published rows go to the eighth place.
"""


@dataclass(frozen=True, slots=True)
class Scope:
    """Which period of which jurisdiction, and the counties where the firm is registered in it.

    ``visits`` is needed by a form that counts visits, for products that stand in several groups.
    """

    place: PlaceOfLaw
    period: Period
    registered: tuple[str, ...] = ()
    visits: tuple[VisitCount, ...] = ()


@dataclass(frozen=True, slots=True)
class _Key:
    county: str
    site_code: str
    product_key: str
    dimension: str
    left_out: bool


@dataclass(frozen=True, slots=True)
class _Part:
    """What one recipe (gravity and ingredients) gave to a line: exact amount and its weight."""

    product: Product | None
    amount: Quantity
    pounds: Fraction | None


@dataclass(slots=True)
class _Bucket:
    groups: list[UseGroup] = field(default_factory=list)
    products: list[Product | None] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Made:
    line: UseLine
    parts: tuple[_Part, ...]
    left_out: bool


def summarise(
    groups: Iterable[UseGroup],
    products: Mapping[str, Product],
    form: Form,
    scope: Scope,
    units: Units,
) -> Summary:
    """Return the summary of ``scope`` as ``form`` wants it.

    ``groups`` are the journal's sums; those of another jurisdiction are passed over. ``products``
    maps the first 16 hex digits of a label's digest to what that label says; a label that is not
    there leaves pounds untold.
    """
    buckets = _buckets(groups, products, form, scope, units)
    maker = _Maker(form, scope, units, _by_product(scope))
    made = [maker.made(key, buckets[key]) for key in sorted(buckets, key=_order)]
    kept = [item for item in made if not item.left_out]
    lines = tuple(item.line for item in kept)
    summary = Summary(
        scope.place.id, scope.period, form.id, form.digest,
        _places(form, "total_used", form.places), _places(form, "pounds", POUND_PLACES),
        lines, tuple(_ingredients(kept)), tuple(_nil(lines, scope, form)),
        tuple(item.line for item in made if item.left_out),
    )  # fmt: skip
    doubts = Doubts(
        tuple(_synergists(kept)),
        tuple(item.line for item in kept if any(part.product is None for part in item.parts)),
        _unregistered(lines, scope),
    )
    return replace(summary, remarks=remarks(summary, form, doubts))


def _order(key: _Key) -> tuple[str, str, str, str, bool]:
    return (key.county, key.site_code, key.product_key, key.dimension, key.left_out)


def _places(form: Form, value: str, otherwise: int) -> int:
    """Return the decimal places of the form's column for that value, or of the form."""
    places = (c.places for c in form.columns if c.value == value)
    return next((number for number in places if number is not None), otherwise)


# ------------------------------------------------------------------ lines


def _buckets(
    groups: Iterable[UseGroup],
    products: Mapping[str, Product],
    form: Form,
    scope: Scope,
    units: Units,
) -> dict[_Key, _Bucket]:
    """Sort the groups into the lines they belong to.

    A form that is not by county, and names none, has its counties added together; a form without
    site codes likewise.
    """
    values = {column.value for column in form.columns}
    by_county = form.per == "county" or not values.isdisjoint({"county", "county_number"})
    by_site = form.per == "county" or "site_code" in values
    buckets: dict[_Key, _Bucket] = {}
    for group in groups:
        if group.jurisdiction != scope.place.id:
            continue
        product = products.get(group.label[:16]) if group.label else None
        left_out = product is not None and str(product.product_class) in form.leave_out
        key = _Key(
            group.county if by_county else "", group.site_code if by_site else "",
            group.product_key, dimension_of(group.unit, units), left_out,
        )  # fmt: skip
        bucket = buckets.setdefault(key, _Bucket())
        bucket.groups.append(group)
        bucket.products.append(product)
    return buckets


def _sum(groups: Sequence[UseGroup], units: Units) -> Quantity:
    """Add up exactly: whole numbers while unit and denominator are the same, fractions then."""
    sums: dict[tuple[str, int], int] = {}
    for group in groups:
        kind = group.unit, group.denominator
        sums[kind] = sums.get(kind, 0) + group.numerator
    amounts = (Quantity(Fraction(top, below), unit) for (unit, below), top in sums.items())
    return sum_of(amounts, units)


@dataclass(slots=True)
class _Maker:
    """Makes the lines of a summary, in order; those that are kept are numbered from 1."""

    form: Form
    scope: Scope
    units: Units
    visits: Mapping[str, Sequence[VisitCount]]
    numbered: int = 0

    def made(self, key: _Key, bucket: _Bucket) -> _Made:
        """Return the line of a bucket with what its label versions gave."""
        form, place = self.form, self.scope.place
        known = [product for product in bucket.products if product is not None]
        newest = max(known, key=lambda product: str(product.in_force.start or ""), default=None)
        whole = _sum(bucket.groups, self.units)
        parts = _parts(bucket, whole, form, self.units)
        pounds = _total([part.pounds for part in parts])
        total = stated(whole, pounds, form, self.units)
        lines = sum(group.lines for group in bucket.groups)
        visits = _visits(key, bucket, self.visits.get(key.product_key, ()))
        self.numbered += not key.left_out
        line = UseLine(
            number=0 if key.left_out else self.numbered,
            jurisdiction=place.id,
            county=key.county,
            county_number=place.county_number(key.county) or "",
            site_code=key.site_code,
            product_key=key.product_key,
            registration=_registration(key, newest),
            product=newest.name if newest else key.product_key,
            total=total.value,
            unit=total.unit,
            lines=lines,
            visits=visits,
            applications=lines if form.counts == "lines" else visits,
            pounds=pounds,
            labels=tuple(sorted({group.label[:16] for group in bucket.groups if group.label})),
        )
        return _Made(line, parts, key.left_out)


def _by_product(scope: Scope) -> dict[str, list[VisitCount]]:
    """Return the counts of visits in the place of a summary, by product."""
    found: dict[str, list[VisitCount]] = {}
    for count in scope.visits:
        if count.jurisdiction == scope.place.id:
            found.setdefault(count.product_key, []).append(count)
    return found


def _registration(key: _Key, product: Product | None) -> str:
    """Return the registration number; the key is one where no label can be read to say it."""
    return key.product_key if product is None else product.registration or ""


def _visits(key: _Key, bucket: _Bucket, of_product: Sequence[VisitCount]) -> int | None:
    """Return the distinct visits: as counted of the product, or of the one group, else None.

    Counties can be added (a visit is in one of them), site codes cannot.
    """
    counts = [
        count
        for count in of_product
        if key.county in {"", count.county} and key.site_code in {"", count.site_code}
    ]
    if counts and len({count.site_code for count in counts}) == 1:
        return sum(count.visits for count in counts)
    return bucket.groups[0].visits if len(bucket.groups) == 1 else None


# ------------------------------------------------------------------ pounds


def _parts(bucket: _Bucket, whole: Quantity, form: Form, units: Units) -> tuple[_Part, ...]:
    """Split a line, ``whole`` in all, by what its label versions say of weight and ingredients.

    Versions that say the same are weighed together, so that a reprinted label does not change
    the rounding.
    """
    first = bucket.products[0]
    if all(product is first for product in bucket.products):
        return (_Part(first, whole, pounds_of(whole, first, form, units)),)
    recipes: dict[object, tuple[Product | None, list[UseGroup]]] = {}
    for group, product in zip(bucket.groups, bucket.products, strict=True):
        recipe = (product.specific_gravity, product.ingredients) if product else None
        recipes.setdefault(recipe, (product, []))[1].append(group)
    parts = []
    for product, groups in recipes.values():
        amount = _sum(groups, units)
        parts.append(_Part(product, amount, pounds_of(amount, product, form, units)))
    return tuple(parts)


def _total(pounds: Sequence[Fraction | None]) -> Fraction | None:
    """Add pounds; one that cannot be told leaves the sum untold."""
    known = [value for value in pounds if value is not None]
    if len(known) == len(pounds) == 1:
        return known[0]
    return sum(known, Fraction()) if len(known) == len(pounds) else None


def _ingredients(made: Sequence[_Made]) -> Iterator[IngredientUse]:
    """Yield the pounds of each active ingredient of each county, by name."""
    found: dict[tuple[str, str, str], list[tuple[UseLine, Fraction | None]]] = {}
    for item in made:
        for ingredient in _named(item.parts, synergists=False):
            key = (item.line.county, ingredient.name, ingredient.cas or "")
            pounds = _pounds_in(ingredient, item.parts)
            found.setdefault(key, []).append((item.line, pounds))
    for (county, name, cas), uses in sorted(found.items()):
        told = [pounds for _, pounds in uses if pounds is not None]
        known = sum(told, Fraction())
        first = uses[0][0]
        yield IngredientUse(
            first.jurisdiction, county, first.county_number, name, cas,
            known if len(told) == len(uses) else None, known,
            _count([line.applications for line, _ in uses]),
        )  # fmt: skip


def _synergists(made: Sequence[_Made]) -> Iterator[Synergist]:
    """Yield the synergists of each line, with their pounds where these can be told."""
    for item in made:
        for ingredient in _named(item.parts, synergists=True):
            yield Synergist(item.line, ingredient.name, _pounds_in(ingredient, item.parts))


def _named(parts: Sequence[_Part], *, synergists: bool) -> list[Ingredient]:
    """Return the ingredients of a line, one of each name and number."""
    found: dict[tuple[str, str | None], Ingredient] = {}
    for part in parts:
        for ingredient in part.product.ingredients if part.product else ():
            if ingredient.synergist is synergists:
                found.setdefault((ingredient.name, ingredient.cas), ingredient)
    return list(found.values())


def _pounds_in(wanted: Ingredient, parts: Sequence[_Part]) -> Fraction | None:
    """Return the pounds of one ingredient in a line, each part by its own label's share."""
    total: list[Fraction | None] = []
    for part in parts:
        if part.product is None:
            total.append(None)
            continue
        share = sum(
            (i.share for i in part.product.ingredients
             if (i.name, i.cas, i.synergist) == (wanted.name, wanted.cas, wanted.synergist)),
            Fraction(),
        )  # fmt: skip
        if share:
            total.append(None if part.pounds is None else part.pounds * share)
    return _total(total)


def _count(counts: Sequence[int | None]) -> int | None:
    known = [count for count in counts if count is not None]
    return sum(known) if len(known) == len(counts) else None


# ------------------------------------------------------------------ counties


def _nil(lines: Sequence[UseLine], scope: Scope, form: Form) -> Iterator[NilCounty]:
    """Yield the registered counties without a reportable line, by name, each once.

    A form that is not by county is nil as a whole, said as one county without a name.
    """
    if form.per != "county":
        if not lines:
            yield NilCounty(scope.place.id, "", "")
        return
    used = {fold(line.county) for line in lines}
    registered = {fold(county): county for county in scope.registered}
    for folded, county in sorted(registered.items()):
        if folded not in used:
            number = scope.place.county_number(county) or ""
            yield NilCounty(scope.place.id, county, number)


def _unregistered(lines: Sequence[UseLine], scope: Scope) -> tuple[str, ...]:
    """Return the counties with work where the firm is not registered in the period."""
    registered = {fold(county) for county in scope.registered}
    counties = {line.county for line in lines if line.county}
    return tuple(sorted(county for county in counties if fold(county) not in registered))
