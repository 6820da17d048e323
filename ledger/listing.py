"""Step 7, other grains: a report line by application, by group of applications, or by person.

A form says which (``grain``). A group is all applications that agree in every text column of the
form; its numbers are added exactly and converted once. What a regulator refuses is found here and
said with the entry, so that nothing is filed that would come back.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from ledger.refusals import refused
from ledger.report_remarks import Doubts, remarks
from ledger.rulebook.form_model import Form, FormColumn
from ledger.rulebook.form_words import NUMBERS
from ledger.stating import dimension_of, pounds_of, stated, sum_of
from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.firm import Firm
from ledger.values.lexicon import PlaceOfLaw, fold
from ledger.values.period import Period
from ledger.values.product import Product
from ledger.values.rounding import exact_text, fixed
from ledger.values.summary import NilCounty, Remark, Summary
from ledger.values.use_row import SingleUse, UseRow

CANNOT_TELL = "cannot tell"
AREA_UNIT = "sq ft"
POUND_PLACES = 9


@dataclass(frozen=True, slots=True)
class ListScope:
    """Which period of which jurisdiction, whose firm, and the counties where it is registered."""

    place: PlaceOfLaw
    period: Period
    firm: Firm
    registered: tuple[str, ...] = ()


def list_uses(
    uses: Iterable[SingleUse],
    products: Mapping[str, Product],
    form: Form,
    scope: ListScope,
    units: Units,
) -> Summary:
    """Return the report of these applications, in the order of county, text and first version.

    ``products`` maps the first 16 hex digits of a label's digest to what that label says.
    """
    kinds = {fold(kind) for kind in form.only_site_kinds}
    wanted = [use for use in uses if not kinds or fold(use.site_kind) in kinds]
    left_out = [use for use in wanted if _left_out(use, products, form)]
    kept = [use for use in wanted if not _left_out(use, products, form)]
    if form.grain == "person":
        rows = list(_people(kept, form, scope))
    else:
        made = [_row(part, products, form, units) for part in _parts(kept, form, units)]
        rows = sorted(made, key=_order)
    rows = [replace(row, number=number) for number, row in enumerate(rows, 1)]
    faults = [
        fault for row in rows
        for fault in refused(row.texts, row.entries[0] if row.entries else None, form, units)
    ]  # fmt: skip
    summary = Summary(
        scope.place.id, scope.period, form.id, form.digest, form.places, POUND_PLACES,
        nil=tuple(_nil(rows, scope, form)), rows=tuple(rows), refused=tuple(faults),
    )  # fmt: skip
    doubts = Doubts(unregistered=_unregistered(rows, scope, form))
    notes = (*_said(rows, left_out, form), *remarks(summary, form, doubts))
    return replace(summary, remarks=notes)


def _left_out(use: SingleUse, products: Mapping[str, Product], form: Form) -> bool:
    product = products.get(use.label[:16])
    return product is not None and str(product.product_class) in form.leave_out


def _order(row: UseRow) -> tuple[str, str, str, tuple[str, ...], int]:
    texts = row.texts
    return (
        row.county, texts.get("date", ""), texts.get("start", ""), tuple(texts.values()),
        row.record or 0,
    )  # fmt: skip


# ------------------------------------------------------------------ lines


def _parts(uses: Sequence[SingleUse], form: Form, units: Units) -> Iterator[list[SingleUse]]:
    """Yield the applications behind each line."""
    if form.grain == "application":
        yield from ([use] for use in uses)
        return
    texts = [column.value for column in form.columns if column.value not in {*NUMBERS, "unit"}]
    found: dict[tuple[str, ...], list[SingleUse]] = {}
    for use in uses:
        name = tuple(use.facts.get(value, "") for value in texts)
        county = use.county if form.per == "county" else ""
        key = (county, *name, use.product_key, dimension_of(use.used.unit, units))
        found.setdefault(key, []).append(use)
    yield from found.values()


def _row(
    uses: Sequence[SingleUse],
    products: Mapping[str, Product],
    form: Form,
    units: Units,
) -> UseRow:
    """Return the line of these applications, not numbered yet."""
    amount = sum_of((use.used for use in uses), units)
    by_label: dict[str, list[Quantity]] = {}
    for use in uses:
        by_label.setdefault(use.label[:16], []).append(use.used)
    weights = [
        pounds_of(sum_of(amounts, units), products.get(label), form, units)
        for label, amounts in by_label.items()
    ]
    known = [weight for weight in weights if weight is not None]
    pounds = sum(known, Fraction()) if len(known) == len(weights) else None
    allowed = [unit for _, names in form.units for unit in names]
    as_recorded = form.grain == "application" and amount.unit in allowed
    total = amount if as_recorded else stated(amount, pounds, form, units)
    areas = [use.area for use in uses if use.area is not None]
    unit = next((c.unit for c in form.columns if c.value == "area" and c.unit), AREA_UNIT)
    first = uses[0]
    texts = {
        column.value: first.facts.get(column.value, "")
        for column in form.columns
        if column.value not in {*NUMBERS, "unit", "dosage"}
    }
    texts["unit"] = total.unit
    if any(column.value == "dosage" for column in form.columns):
        texts["dosage"] = _dosage(first, form)
    return UseRow(
        0, first.county if form.per == "county" else "",
        first.record if form.grain == "application" else None,
        tuple(sorted(use.entry for use in uses)), texts, total.value, total.unit,
        len(uses) if form.counts == "lines" else len({use.visit for use in uses}),
        len({use.visit for use in uses}), pounds,
        sum_of((units.convert(area, unit) for area in areas), units).value if areas else None,
        unit, len(areas),
    )  # fmt: skip


def _dosage(use: SingleUse, form: Form) -> str:
    """Return the strength of a mix where the form has a code for its units, else nothing.

    The column may be left empty; the record keeps the strength as it was written.
    """
    if use.dosage is None:
        return ""
    product, mix = use.dosage
    code = {item.of: item.code for item in form.codes if item.value == "dosage_unit"}.get(
        f"{product.unit}/{mix.unit}"
    )
    return f"{exact_text(product.value / mix.value)} {code}" if code else ""


# ------------------------------------------------------------------ people


def _people(uses: Sequence[SingleUse], form: Form, scope: ListScope) -> Iterator[UseRow]:
    """Yield each licence that held in the period, with or without applications under it.

    A licence that stands on an application and not in the firm's file is listed all the same,
    without a name.
    """
    counts: dict[str, list[SingleUse]] = {}
    for use in uses:
        counts.setdefault(use.licence, []).append(use)
    names: dict[str, str] = {}
    for person in scope.firm.people:
        for licence in person.licences:
            begun = licence.span.start is None or licence.span.start <= scope.period.last
            over = licence.span.end is not None and licence.span.end < scope.period.first
            if licence.jurisdiction == scope.place.id and begun and not over:
                names[licence.number] = person.name
    for number in sorted({*names, *counts}):
        done = counts.get(number, [])
        first, _, last = names.get(number, "").rpartition(" ")
        texts = {
            "jurisdiction": scope.place.id, "year": str(scope.period.year), "licence": number,
            "business": scope.firm.licence, "first_name": first, "last_name": last,
            "applied": "yes" if done else "no", "nothing": "",
        }  # fmt: skip
        shown = {c.value: texts.get(c.value, "") for c in form.columns}
        for column in form.columns:
            if column.if_applied and not done:
                shown[column.value] = ""
        yield UseRow(
            0, "", None, tuple(sorted(use.entry for use in done)), shown,
            applications=len(done), visits=len({use.visit for use in done}),
        )  # fmt: skip


# ------------------------------------------------------------------ around


def _nil(rows: Sequence[UseRow], scope: ListScope, form: Form) -> Iterator[NilCounty]:
    """Yield who is owed a report that says nothing was used."""
    if form.per != "county":
        if not any(row.applications for row in rows):
            yield NilCounty(scope.place.id, "", "")
        return
    used = {fold(row.county) for row in rows}
    for county in sorted(scope.registered):
        if fold(county) not in used:
            yield NilCounty(scope.place.id, county, scope.place.county_number(county) or "")


def _unregistered(rows: Sequence[UseRow], scope: ListScope, form: Form) -> tuple[str, ...]:
    if form.per != "county":
        return ()
    registered = {fold(county) for county in scope.registered}
    return tuple(sorted({row.county for row in rows if fold(row.county) not in registered}))


def _said(rows: Sequence[UseRow], left_out: Sequence[SingleUse], form: Form) -> Iterator[Remark]:
    """Yield what concerns the lines of this report."""
    for use in left_out:
        yield Remark(
            f"Entry {use.entry}, {use.facts.get('product', '')}: in the ledger, and by its class "
            "not on a line of this report."
        )
    values = {column.value for column in form.columns}
    for row in rows:
        if "area" in values and 0 < row.area_told < len(row.entries):
            yield Remark(
                f"Line {row.number}: the area is told by {row.area_told} of {len(row.entries)} "
                "applications; what stands there is theirs alone."
            )
        if "pounds" in values and row.pounds is None and row.total is not None:
            yield Remark(
                f"Line {row.number}: pounds {CANNOT_TELL}; neither the label nor the form says "
                "what the product weighs."
            )
    sure = {code.value: code.read for code in form.codes if not code.read.decides}
    for value, read in sure.items():
        yield Remark(f"unverified: codes of {value} are in part {read}; check them before sending.")


def text_of(column: FormColumn, row: UseRow, form: Form, *, coded: bool) -> str:
    """Return what stands in one column of a line, as the report writes it.

    ``coded`` uses the form's codes, as its file for the regulator does.
    """
    if column.value in NUMBERS and column.value not in row.texts:
        return _number(column, row, form)
    text = row.texts.get(column.value, "")
    if column.written == "mm/dd/yyyy" and text:
        year, month, day = text.split("-")
        return f"{month}/{day}/{year}"
    if coded and text:
        return form.code_of(column.value, text) or text
    return text


def exact_of(column: FormColumn, row: UseRow) -> tuple[Fraction | None, bool]:
    """Return the exact number of a column and whether it should be there."""
    if column.value == "total_used":
        here = not column.unit or column.unit == row.unit
        return (row.total if here else None), here and row.total is not None
    if column.value == "pounds":
        return row.pounds, True
    if column.value == "area":
        return row.area, False
    count = {"applications": row.applications, "visits": row.visits}.get(column.value)
    return (None if count is None else Fraction(count)), False


def places_of(column: FormColumn, form: Form) -> int:
    """Return the decimal places of a column of numbers."""
    if column.places is not None:
        return column.places
    if column.value in {"applications", "visits", "year", "month"}:
        return 0
    return POUND_PLACES if column.value == "pounds" else form.places


def _number(column: FormColumn, row: UseRow, form: Form) -> str:
    exact, wanted = exact_of(column, row)
    if exact is None:
        return CANNOT_TELL if wanted else ""
    return fixed(exact, places_of(column, form))


def row_texts(summary: Summary, form: Form) -> tuple[dict[str, str], ...]:
    """Return the lines of a report as text by column, for a file that is sealed and compared.

    ``record`` names an application through all its versions. A value that fills two columns is
    named by their headings.
    """
    values = [column.value for column in form.columns]
    names = [c.value if values.count(c.value) == 1 else c.heading for c in form.columns]
    return tuple(
        {
            **({"record": str(row.record)} if row.record is not None else {}),
            **{
                name: text_of(column, row, form, coded=True)
                for name, column in zip(names, form.columns, strict=True)
            },
        }
        for row in summary.rows
    )
