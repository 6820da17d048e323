"""A summary as plain rows of text, for machines: what is written as CSV, sealed and compared."""

from __future__ import annotations

from typing import Any

from ledger.values.rounding import exact_text, fixed
from ledger.values.summary import IngredientUse, Summary, UseLine

LINE_COLUMNS = (
    "jurisdiction", "county", "county_number", "year", "month", "site_code", "registration",
    "product", "total_used", "unit", "applications",
)  # fmt: skip
"""Columns of the lines of a use report, in order. ``month`` is empty for a yearly report."""

INGREDIENT_COLUMNS = (
    "jurisdiction", "county", "county_number", "year", "month",
    "ingredient", "cas", "pounds", "applications",
)  # fmt: skip
"""Columns of the pounds of active ingredient, in order."""

CANNOT_TELL = "cannot tell"
"""What stands where a number cannot be told; never an empty cell and never 0."""


def line_rows(summary: Summary) -> tuple[dict[str, str], ...]:
    """Return the lines of a summary as text by :data:`LINE_COLUMNS`, numbers rounded once."""
    return tuple(_line(summary, line) for line in summary.lines)


def ingredient_rows(summary: Summary) -> tuple[dict[str, str], ...]:
    """Return the active ingredients as text by :data:`INGREDIENT_COLUMNS`."""
    return tuple(_ingredient(summary, use) for use in summary.ingredients)


def summary_values(summary: Summary) -> dict[str, Any]:
    """Return the whole summary as plain values for JSON; numbers are text, exact beside rounded.

    ``exact`` is a plain decimal where one ends, else a fraction like ``3/7``; None is "cannot
    tell".
    """
    return {
        "jurisdiction": summary.jurisdiction,
        "period": summary.period.key,
        "form": summary.form,
        "form_digest": summary.form_digest,
        "lines": [
            {"line": line.number, **_line(summary, line), **_exact(line)} for line in summary.lines
        ],
        "ingredients": [
            {
                **_ingredient(summary, use),
                "pounds_exact": None if use.pounds is None else exact_text(use.pounds),
                "pounds_at_least": exact_text(use.known),
            }
            for use in summary.ingredients
        ],
        "nil": [{"county": nil.county, "county_number": nil.county_number} for nil in summary.nil],
        "left_out": [{**_line(summary, line), **_exact(line)} for line in summary.left_out],
        "remarks": [
            {"text": remark.text, "county": remark.county, "sources": list(remark.sources)}
            for remark in summary.remarks
        ],
    }


def _period(summary: Summary) -> dict[str, str]:
    month = summary.period.month
    return {"year": str(summary.period.year), "month": str(month) if month else ""}


def _count(count: int | None) -> str:
    return CANNOT_TELL if count is None else str(count)


def _line(summary: Summary, line: UseLine) -> dict[str, str]:
    values = {
        "jurisdiction": line.jurisdiction, "county": line.county,
        "county_number": line.county_number, **_period(summary), "site_code": line.site_code,
        "registration": line.registration, "product": line.product,
        "total_used": fixed(line.total, summary.places), "unit": line.unit,
        "applications": _count(line.applications),
    }  # fmt: skip
    return {column: values[column] for column in LINE_COLUMNS}


def _exact(line: UseLine) -> dict[str, Any]:
    return {
        "total_exact": exact_text(line.total),
        "product_key": line.product_key,
        "lines": line.lines,
        "visits": line.visits,
        "product_pounds_exact": None if line.pounds is None else exact_text(line.pounds),
        "labels": list(line.labels),
    }


def _ingredient(summary: Summary, use: IngredientUse) -> dict[str, str]:
    pounds = CANNOT_TELL if use.pounds is None else fixed(use.pounds, summary.pound_places)
    values = {
        "jurisdiction": use.jurisdiction, "county": use.county,
        "county_number": use.county_number, **_period(summary), "ingredient": use.ingredient,
        "cas": use.cas, "pounds": pounds, "applications": _count(use.applications),
    }  # fmt: skip
    return {column: values[column] for column in INGREDIENT_COLUMNS}
