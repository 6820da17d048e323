"""The closed lists of a form file: its keys, what a column may hold, what a regulator refuses."""

from __future__ import annotations

from collections.abc import Mapping

from ledger.rulebook.grammar import TABLES, Keys

GRAINS = ("total", "group", "application", "person")
"""What one line of a form is.

``total`` one product of the period, from the journal's own sums · ``group`` all applications that
agree in every column of text · ``application`` one product put down by one method on one visit ·
``person`` one person who was licensed in the period, with or without applications.
"""

WRITES = ("table", "pipe")
"""``table`` workbook, PDF and CSV; ``pipe`` the same and a text file with ``|`` between fields."""

FORM_KEYS: Mapping[str, Keys] = {
    "form": Keys(TABLES["form"].needed, (*TABLES["form"].other, "refuse", "code")),
    "form.form": Keys(
        TABLES["form.form"].needed,
        (*TABLES["form.form"].other, "grain", "writes", "only_site_kind", "beside", "prefix"),
    ),
    "column": Keys(TABLES["column"].needed, (*TABLES["column"].other, "written", "if_applied")),
    "refuse": Keys(("value", "source", "says"), ("when", "longest")),
    "code": Keys(("value", "of", "is", "source")),
}

PLACE_VALUES = ("jurisdiction", "county", "county_number", "year", "month")
TOTAL_VALUES = (
    "site_code", "registration", "product", "total_used", "unit", "applications", "visits",
    "ingredient", "cas", "pounds",
)  # fmt: skip
"""What a line of grain ``total`` can tell, beside its place."""

ROW_TEXTS = (
    *PLACE_VALUES, "date", "start", "site_code", "site_kind", "registration", "product",
    "formulation", "unit", "applicator", "licence", "customer", "address", "city", "zip", "method",
    "setting", "places", "pests", "extent", "dosage", "lot", "business", "nothing",
)  # fmt: skip
"""Columns of text that a line of grain ``application`` or ``group`` can tell."""

ROW_NUMBERS = ("total_used", "applications", "visits", "pounds", "area")
"""Columns of numbers that such a line can tell; of a ``group`` they are added up."""

PERSON_VALUES = (
    *PLACE_VALUES, "licence", "business", "first_name", "last_name", "applied", "applications",
    "nothing",
)  # fmt: skip
"""What a line of grain ``person`` can tell; ``applied`` is yes or no."""

VALUES_OF: Mapping[str, tuple[str, ...]] = {
    "total": (*PLACE_VALUES, *TOTAL_VALUES),
    "group": (*ROW_TEXTS, *ROW_NUMBERS),
    "application": (*ROW_TEXTS, *ROW_NUMBERS),
    "person": PERSON_VALUES,
}
FORM_VALUES = tuple(dict.fromkeys(value for values in VALUES_OF.values() for value in values))
"""The values that a form's column may hold."""

CODE_VALUES = (*FORM_VALUES, "dosage_unit")
"""What a form may have codes for: a column's text, or the units of a dosage (``fl oz/gal``)."""

NUMBERS = (*ROW_NUMBERS, "year", "month")

WRITTEN = ("YYYY-MM-DD", "mm/dd/yyyy")
"""How a column writes a day."""

REFUSE_WHEN = (
    "blank", "post office box", "no registration number", "neither weight nor volume",
    "not five digits",
)  # fmt: skip
"""What a regulator refuses in a text, beside one that is too long.

``no registration number`` is whatever is not two or three groups of digits with hyphens between
them: an establishment number has letters in its second group.
"""
