"""A form is a file: California's as shipped, and two that the program has never seen."""

from __future__ import annotations

import ast
import csv
import io
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from fractions import Fraction

import openpyxl
import pytest

from ledger.rulebook.form_model import Form, FormColumn
from ledger.summarise import Scope, summarise
from ledger.values.lexicon import PlaceOfLaw
from ledger.values.period import Period
from ledger.values.product import Product
from ledger.values.summary import Summary
from ledger.values.use_group import UseGroup, VisitCount
from reports.csv_file import sheet_csv
from reports.pdf import document
from reports.sheet import Number
from reports.summary import Printing, form_faults, summary_sheets
from reports.xlsx import workbook
from tests.use_samples import AEROSOL, DUST, FIRM, ROOT, SPRAY, book, form, group

YEAR = Period(2026)
PRINTING = Printing(FIRM, date(2027, 1, 5))


def year_of(
    form_: Form, groups: tuple[UseGroup, ...], visits: tuple[VisitCount, ...] = ()
) -> Summary:
    state = form_.jurisdiction.removeprefix("us-").upper()
    place = PlaceOfLaw(
        form_.jurisdiction, state, state, "America/New_York",
        counties=(("Coos", "1"), ("Grafton", "2")),
    )  # fmt: skip
    here = tuple(replace(item, jurisdiction=form_.jurisdiction) for item in groups)
    products: Mapping[str, Product] = {i.digest[:16]: i for i in (DUST, SPRAY, AEROSOL)}
    scope = Scope(place, YEAR, (), visits)
    return summarise(here, products, form_, scope, book().units)


# ------------------------------------------------------------------ as shipped


def test_the_shipped_form_reads_without_a_fault() -> None:
    faults = [fault for fault in book().faults if fault.origin.file.startswith("forms/")]
    assert faults == []
    california = form("us-ca-monthly")
    assert form_faults(california) == ()
    assert (california.every, california.per, california.counts) == ("month", "county", "lines")
    # The constant and the four decimals were inferred from the state's published rows.
    assert (california.pounds_per_gallon, california.round_pounds) == (Fraction("8.33"), 4)
    # The unit boxes are from memory; an ounce is weight there.
    assert dict(california.units) == {"mass": ("lb", "oz"), "volume": ("gal", "qt", "pt")}
    assert not california.counts_read.decides


def test_the_duty_of_california_names_the_form() -> None:
    (law,) = [file for file in book().jurisdictions if file.id == "us-ca"]
    assert [duty.form for duty in law.reports] == ["us-ca-monthly", "us-ca-school"]


# ------------------------------------------------------------------ unseen, by a file alone

NEW_HAMPSHIRE = "us-nh-yearly.toml"
VERMONT = "us-vt-ingredients.toml"


@pytest.mark.parametrize("word", ["us-nh", "us-vt", "us-nh-yearly", "us-vt-ingredients"])
def test_no_program_knows_these_states(word: str) -> None:
    for top in ("ledger", "reports"):
        for path in (ROOT / top).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Constant) and isinstance(node.value, str):
                    assert node.value.casefold() != word, path


def test_an_unseen_form_by_a_file_alone() -> None:
    unseen = form("us-nh-yearly", NEW_HAMPSHIRE)
    assert form_faults(unseen) == ()
    groups = (
        group(DUST, "Coos", "8", "oz", lines=2),
        group(DUST, "Grafton", "4", "oz"),
        group(SPRAY, "Coos", "32", "fl oz", lines=3, visits=2),
    )
    visits = (
        VisitCount("us-nh", "Coos", "99999-11", "10", 1),
        VisitCount("us-nh", "Grafton", "99999-11", "10", 1),
    )
    summary = year_of(unseen, groups, visits)
    # The counties are added together: the form is for the state and names none.
    assert [(item.county, item.registration) for item in summary.lines] == [
        ("", "99999-11"), ("", "99999-21"),
    ]  # fmt: skip
    (sheet,) = [s for s in summary_sheets(summary, unseen, PRINTING) if "use report" in s.name]
    assert [column.heading for column in sheet.columns] == [
        "Line", "Trade name", "EPA number", "Dry or pressurised, lb", "Liquid, gal", "Times used",
    ]  # fmt: skip
    assert list(sheet.rows) == [
        (
            Number(Fraction(1)), "Ridgeline Crevice Dust", "99999-11",
            Number(Fraction("0.75"), 3), None, Number(Fraction(2)),
        ),
        (
            Number(Fraction(2)), "Ridgeline Residual Concentrate", "99999-21",
            None, Number(Fraction("0.25"), 3), Number(Fraction(2)),
        ),
    ]  # fmt: skip
    assert sheet.title == "Pesticide use of the year"
    assert dict(sheet.about)["Period"] == "2026"
    assert any("one visit on which the product was used" in note.text for note in sheet.notes)
    assert "0.750" in sheet_csv(sheet).decode()
    page = openpyxl.load_workbook(io.BytesIO(workbook([sheet]))).worksheets[0]
    assert any(cell.value == "Dry or pressurised, lb" for row in page.iter_rows() for cell in row)
    assert document([sheet]).startswith(b"%PDF")


def test_an_unseen_form_by_ingredient() -> None:
    unseen = form("us-vt-ingredients", VERMONT)
    groups = (
        group(DUST, "Coos", "16", "oz"),
        group(AEROSOL, "Grafton", "8", "oz"),
        group(SPRAY, "Grafton", "1", "gal"),
    )
    summary = year_of(unseen, groups)
    (sheet,) = summary_sheets(summary, unseen, PRINTING)
    read = list(csv.reader(io.StringIO(sheet_csv(sheet).decode())))
    assert read == [
        ["Common name", "CAS", "Weight, lb"],
        # 1 gal x 8.33 x 1.021 x 6.5 %; this form rounds no pounds of product
        ["bifenthrin", "82657-04-3", "0.552820"],
        ["cyfluthrin", "68359-37-5", "0.001000"],
        ["pyrethrins", "8003-34-7", "0.002000"],
    ]


def test_a_year_without_use_is_one_nil_report_of_the_state() -> None:
    unseen = form("us-nh-yearly", NEW_HAMPSHIRE)
    (sheet,) = summary_sheets(year_of(unseen, ()), unseen, PRINTING)
    assert sheet.statement == "No pesticide use to report for 2026."


def test_a_form_that_takes_pounds_only_has_liquids_weighed() -> None:
    pounds_only = replace(
        form("us-vt-ingredients", VERMONT),
        units=(("mass", ("lb",)),),
        columns=(FormColumn("Product", "product", ""), FormColumn("Total", "total_used", "")),
    )
    (line,) = year_of(pounds_only, (group(SPRAY, "Coos", "1", "gal"),)).lines
    assert (line.total, line.unit) == (Fraction("8.33") * Fraction("1.021"), "lb")


def test_a_unit_that_the_form_cannot_take_stays_as_it_is() -> None:
    mass_only = replace(
        form("us-nh-yearly", NEW_HAMPSHIRE), units=(("mass", ("lb",)),), pounds_per_gallon=None,
        columns=(FormColumn("Product", "product", ""), FormColumn("Total", "total_used", "")),
    )  # fmt: skip
    (line,) = year_of(mass_only, (group(SPRAY, "Coos", "3", "pt"),)).lines
    assert (line.total, line.unit) == (Fraction(3), "pt")


def test_a_form_of_single_applications_is_refused_with_the_way_out() -> None:
    california = form("us-ca-monthly")
    single = replace(california, columns=(FormColumn("Day", "date", "day of the work"),))
    (fault,) = form_faults(single)
    assert fault.code == "FORM-GRAIN"
    assert fault.origin.column == "column[1].value"
    assert "no single date" in fault.what
    assert "entries" in fault.way_out
    with pytest.raises(ValueError, match="no single date"):
        summary_sheets(year_of(california, ()), single, PRINTING)


def test_a_form_of_two_grains_is_refused() -> None:
    both = (
        FormColumn("Product", "product", ""),
        FormColumn("Ingredient", "ingredient", ""),
    )
    (fault,) = form_faults(replace(form("us-ca-monthly"), columns=both))
    assert "both products and active ingredients" in fault.what
