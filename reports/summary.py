"""A period's summary as sheets: the report a licensee signs, by its form, and what is behind it.

A form is data: its columns say which value goes where. What a monthly or yearly total cannot
fill (a day, an address, a person) is a fault of the form for this use, said before anything is
written.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from ledger.rulebook.form_model import Form, FormColumn
from ledger.rulebook.model import Source
from ledger.values.finding import Fault, render_fault
from ledger.values.firm import Firm
from ledger.values.origin import Origin
from ledger.values.summary import IngredientUse, Summary, UseLine
from ledger.values.summary_rows import CANNOT_TELL
from reports.listing import columns_of, rows_of
from reports.sheet import Column, Kind, Note, Number, Sheet, Value

_PLACE = ("jurisdiction", "county", "county_number", "year", "month")
_OF_LINE = ("site_code", "registration", "product", "total_used", "unit", "visits")
_OF_INGREDIENT = ("ingredient", "cas")
_OF_POUNDS = ("pounds", "synergist", "active ingredient")
"""Words of the remarks that are repeated under the pounds of active ingredient."""

_WIDE = 7
"""Columns beyond which a list is printed across the page."""

_OF_BOTH = ("applications", "pounds")
_NUMBERS = ("total_used", "applications", "visits", "pounds", "year", "month")


@dataclass(frozen=True, slots=True)
class Printing:
    """Who prints a report and when; ``about`` are further lines under the title (a seal code)."""

    firm: Firm
    on: date
    about: tuple[tuple[str, str], ...] = ()


def form_faults(form: Form) -> tuple[Fault, ...]:
    """Return what forbids filling this form from totals of a period; nothing for a fitting one."""
    if form.grain != "total":
        return ()  # the grammar itself refuses a column that such a line cannot tell
    faults = []
    known = {*_PLACE, *_OF_LINE, *_OF_INGREDIENT, *_OF_BOTH}
    values = {column.value for column in form.columns}
    for number, column in enumerate(form.columns, 1):
        if column.value not in known:
            faults.append(
                Fault(
                    "FORM-GRAIN",
                    Origin(form.path, None, f"column[{number}].value"),
                    f"a total of a period has no single {column.value}",
                    "this form lists single applications; use `entries` for those",
                )
            )
    if values & set(_OF_INGREDIENT) and values & set(_OF_LINE):
        faults.append(
            Fault(
                "FORM-GRAIN",
                Origin(form.path, None, "column"),
                "the columns name both products and active ingredients",
                "keep one form for lines by product and another for lines by ingredient",
            )
        )
    return tuple(faults)


def summary_sheets(summary: Summary, form: Form, printing: Printing) -> tuple[Sheet, ...]:
    """Return the sheets of a summary, county by county: the form's own, then the ingredients.

    Raises ValueError where :func:`form_faults` finds any.
    """
    faults = form_faults(form)
    if faults:
        raise ValueError("; ".join(fault.what for fault in faults))
    sheets = []
    for county in summary.counties:
        part = summary.of_county(county)
        sheets.append(_form_sheet(part, form, printing, county))
        if part.lines and not _by_ingredient(form):
            sheets.append(_ingredient_sheet(part, form, printing, county))
    return tuple(sheets)


# ------------------------------------------------------------------ the form


def _form_sheet(part: Summary, form: Form, printing: Printing, county: str) -> Sheet:
    nil = not part.used
    line = Column("Line", "number of this line in the summary", Kind.NUMBER)
    columns = () if _by_ingredient(form) else (line,)
    return Sheet(
        name=_name(county, part, "nil report" if nil else "use report"),
        title=form.title,
        about=_about(part, printing, county),
        columns=(*columns, *_columns(form)),
        rows=_rows(part, form),
        statement=_nil_statement(part, county) if nil else "",
        notes=(
            *(Note(render_fault(fault)) for fault in part.refused),
            *(Note(remark.text, remark.sources) for remark in part.remarks),
        ),
        sources=tuple(_source(source) for source in form.sources),
        signature=(form.signature or "Signature", "Printed name"),
        wide=form.grain != "total" and len(form.columns) > _WIDE,
    )


def _columns(form: Form) -> tuple[Column, ...]:
    if form.grain != "total":
        return columns_of(form)
    return tuple(_column(column) for column in form.columns)


def _rows(part: Summary, form: Form) -> tuple[tuple[Value, ...], ...]:
    if form.grain != "total":
        return rows_of(part, form)
    if _by_ingredient(form):
        return tuple(
            tuple(_INGREDIENT[column.value](part, use) for column in form.columns)
            for use in part.ingredients
        )
    return tuple(
        (Number(Fraction(line.number)), *(_line_value(part, line, c) for c in form.columns))
        for line in part.lines
    )


def _by_ingredient(form: Form) -> bool:
    return any(column.value in _OF_INGREDIENT for column in form.columns)


def _column(column: FormColumn) -> Column:
    kind = Kind.NUMBER if column.value in _NUMBERS else Kind.TEXT
    unit = column.unit or ("lb" if column.value == "pounds" else "")
    return Column(column.heading, column.meaning, kind, unit)


def _line_value(part: Summary, line: UseLine, column: FormColumn) -> Value:
    if column.value == "total_used" and column.unit and column.unit != line.unit:
        return None  # a form with a column for each unit: this line stands in another one
    if column.value in {"total_used", "pounds"} and column.places is not None:
        exact = line.total if column.value == "total_used" else line.pounds
        return CANNOT_TELL if exact is None else Number(exact, column.places)
    return _LINE[column.value](part, line)


def _whole(count: int | None) -> Value:
    return CANNOT_TELL if count is None else Number(Fraction(count))


def _pounds(part: Summary, pounds: Fraction | None) -> Value:
    return CANNOT_TELL if pounds is None else Number(pounds, part.pound_places)


def _month(part: Summary) -> Value:
    return Number(Fraction(part.period.month)) if part.period.month else None


_LINE: Mapping[str, Callable[[Summary, UseLine], Value]] = {
    "jurisdiction": lambda _, line: line.jurisdiction,
    "county": lambda _, line: line.county,
    "county_number": lambda _, line: line.county_number,
    "year": lambda part, _: Number(Fraction(part.period.year)),
    "month": lambda part, _: _month(part),
    "site_code": lambda _, line: line.site_code,
    "registration": lambda _, line: line.registration,
    "product": lambda _, line: line.product,
    "total_used": lambda part, line: Number(line.total, part.places),
    "unit": lambda _, line: line.unit,
    "applications": lambda _, line: _whole(line.applications),
    "visits": lambda _, line: _whole(line.visits),
    "pounds": lambda part, line: _pounds(part, line.pounds),
}

_INGREDIENT: Mapping[str, Callable[[Summary, IngredientUse], Value]] = {
    "jurisdiction": lambda _, use: use.jurisdiction,
    "county": lambda _, use: use.county,
    "county_number": lambda _, use: use.county_number,
    "year": lambda part, _: Number(Fraction(part.period.year)),
    "month": lambda part, _: _month(part),
    "ingredient": lambda _, use: use.ingredient,
    "cas": lambda _, use: use.cas,
    "pounds": lambda part, use: _pounds(part, use.pounds),
    "applications": lambda _, use: _whole(use.applications),
}


# ------------------------------------------------------------------ around and behind


def _ingredient_sheet(part: Summary, form: Form, printing: Printing, county: str) -> Sheet:
    """Return the pounds of active ingredient behind a report; not part of the form."""
    return Sheet(
        name=_name(county, part, "ingredients"),
        title="Pounds of active ingredient",
        about=(*_about(part, printing, county), ("Behind", form.title)),
        columns=(
            Column("Active ingredient"),
            Column("CAS number", "number of the substance in the CAS registry"),
            Column("Weight", "product by weight times the share on its label", Kind.NUMBER, "lb"),
            Column("Applications", "of the products that hold it", Kind.NUMBER),
        ),
        rows=tuple(
            (
                use.ingredient, use.cas, _pounds(part, use.pounds), _whole(use.applications),
            )
            for use in part.ingredients
        ),
        statement="" if part.ingredients else "The labels at hand tell no active ingredient.",
        notes=(
            Note(
                f"Pounds are added exactly and rounded once, half to even, to {part.pound_places} "
                "decimal places. A sheet for the firm's own use; the form does not ask for it."
            ),
            *(
                Note(remark.text, remark.sources)
                for remark in part.remarks
                if any(word in remark.text.casefold() for word in _OF_POUNDS)
            ),
        ),
        sources=tuple(_source(source) for source in form.sources),
    )  # fmt: skip


def _name(county: str, part: Summary, what: str) -> str:
    return " ".join(word for word in (county, part.period.key, what) if word)


def _about(part: Summary, printing: Printing, county: str) -> tuple[tuple[str, str], ...]:
    firm = printing.firm
    numbers = {line.county_number for line in part.lines} | {n.county_number for n in part.nil}
    number = next(iter(sorted(numbers)), "")
    place = f"{county}, number {number}" if number else county
    address = ", ".join(text for text in (firm.address, firm.city) if text)
    pairs = (
        ("Firm", firm.name),
        ("Licence", firm.licence),
        ("Address", f"{address}, {firm.state} {firm.zip}".strip(", ")),
        ("Telephone", firm.telephone),
        ("County", place),
        ("Period", part.period.text),
        ("Prepared on", printing.on.isoformat()),
        *printing.about,
    )
    return tuple((what, value) for what, value in pairs if value)


def _nil_statement(part: Summary, county: str) -> str:
    where = f" in {county} county" if county else ""
    return f"No pesticide use to report{where} for {part.period.text}."


def _source(source: Source) -> str:
    where = ", ".join(text for text in (source.title, source.section, source.link) if text)
    note = f" {source.note}" if source.note else ""
    return f"{where} ({source.read}).{note}"
