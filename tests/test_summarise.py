"""Totals of a period: exact, in a unit the form allows, and nothing guessed."""

from __future__ import annotations

import csv
from dataclasses import replace
from fractions import Fraction
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.arithmetic import state_pounds
from ledger.rulebook.form_model import Form
from ledger.summarise import Scope, pounds_of, summarise
from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.period import Period
from ledger.values.product import Formulation, Ingredient
from ledger.values.rounding import exact_text, fixed, half_even
from ledger.values.summary import Summary, UseLine
from ledger.values.summary_rows import (
    INGREDIENT_COLUMNS,
    LINE_COLUMNS,
    ingredient_rows,
    line_rows,
    summary_values,
)
from ledger.values.use_group import UseGroup, VisitCount
from tests.use_samples import (
    AEROSOL,
    DUST,
    FIRST_DAY,
    GRANULE,
    JANUARY,
    PLACE,
    POWDER,
    PRODUCTS,
    ROOT,
    SECOND_DAY,
    SPRAY,
    book,
    group,
    product,
)


@cache
def units() -> Units:
    return book().units


@cache
def form() -> Form:
    found = book().form("us-ca-monthly")
    assert found is not None
    return found


BOTH = ("Placer", "Nevada")


def january(groups: tuple[UseGroup, ...], **changes: object) -> Summary:
    scope = Scope(PLACE, JANUARY, BOTH)
    return summarise(groups, PRODUCTS, replace(form(), **changes), scope, units())  # type: ignore[arg-type]


def line(summary: Summary, county: str, registration: str) -> UseLine:
    (found,) = [
        item for item in summary.lines if (item.county, item.registration) == (county, registration)
    ]
    return found


def begins(value: Fraction | None, digits: str) -> bool:
    """Whether a number is the printed one as far as that goes (cut off or rounded there)."""
    assert value is not None
    places = len(digits.partition(".")[2])
    return abs(value - Fraction(digits)) < Fraction(1, 10**places)


# The expected figures of the sample month: samples/EXPECTED.md, reckoned by hand from the sheets.
@pytest.mark.parametrize(
    ("county", "registration", "digits", "unit", "applications"),
    [
        ("Placer", "99999-11", "1.7231162199", "oz", 3),
        ("Placer", "99999-12", "0.5", "oz", 1),
        ("Placer", "99999-31", "0.2116437717", "oz", 1),
        ("Placer", "99999-51", "2.25", "lb", 1),
        ("Nevada", "99999-21", "0.05625", "pt", 1),
        ("Nevada", "99999-61", "1.5", "oz", 1),
    ],
)
def test_the_first_day(
    county: str, registration: str, digits: str, unit: str, applications: int
) -> None:
    found = line(january(FIRST_DAY), county, registration)
    assert begins(found.total, digits)
    assert (found.unit, found.applications, found.site_code) == (unit, applications, "10")
    assert found.county_number == {"Placer": "31", "Nevada": "29"}[county]


def test_both_days() -> None:
    found = january(SECOND_DAY)
    dust, spray = line(found, "Placer", "99999-11"), line(found, "Nevada", "99999-21")
    assert (begins(dust.total, "3.4731162199"), dust.applications) == (True, 5)
    # 2.8233547427... fl oz; a pint is 16 of them
    assert (begins(spray.total * 16, "2.823354743"), spray.applications) == (True, 3)
    powder, slate = line(found, "Nevada", "99999-61"), line(found, "Nevada", "99999-62")
    assert (powder.total, powder.applications) == (Fraction("2.5"), 2)
    assert (slate.total, slate.applications) == (Fraction(1), 1)


@pytest.mark.parametrize(
    ("ingredient", "digits"),
    [
        ("cyfluthrin", "0.000107694763"),
        ("silicon dioxide", "0.02875"),
        ("dinotefuran", "0.0000529109429"),
        ("lambda-cyhalothrin", "0.0009"),
        ("zinc phosphide", "0.0075"),
        ("bifenthrin", "0.003887"),
    ],
)
def test_pounds_of_active_ingredient(ingredient: str, digits: str) -> None:
    (found,) = [use for use in january(FIRST_DAY).ingredients if use.ingredient == ingredient]
    assert begins(found.pounds, digits)
    assert found.pounds == found.known


def test_a_minimum_risk_product_is_a_remark_and_not_a_line() -> None:
    found = january(FIRST_DAY)
    assert all(item.product_key != "hearth-mint" for item in found.lines)
    assert all(use.ingredient != "peppermint oil" for use in found.ingredients)
    assert [item.product_key for item in found.left_out] == ["hearth-mint"]
    (remark,) = [note for note in found.remarks if "Hearth Mint Spray" in note.text]
    assert remark.county == "Placer"
    assert "0.18750 pt, applications: 1" in remark.text


def test_a_county_without_use_owes_a_nil_report() -> None:
    nothing = january(())
    assert [(nil.county, nil.county_number) for nil in nothing.nil] == [
        ("Nevada", "29"), ("Placer", "31"),
    ]  # fmt: skip
    placer_only = january(tuple(item for item in FIRST_DAY if item.county == "Placer"))
    assert [nil.county for nil in placer_only.nil] == ["Nevada"]
    assert placer_only.counties == ("Nevada", "Placer")
    minimum_risk_only = january(tuple(i for i in FIRST_DAY if i.product_key == "hearth-mint"))
    assert [nil.county for nil in minimum_risk_only.nil] == ["Nevada", "Placer"]


def test_work_in_a_county_without_registration_is_said() -> None:
    found = january((group(DUST, "Sierra", "1", "oz"),))
    assert any("Sierra: work was done" in note.text for note in found.of_county("Sierra").remarks)
    assert not any("Sierra" in note.text for note in found.of_county("Placer").remarks)


def test_another_jurisdiction_is_passed_over() -> None:
    other = replace(group(DUST, "Albany", "1", "oz"), jurisdiction="us-ny")
    assert january((other,)).lines == ()


# F3 and F5 of the state's arithmetic, against rows the state itself published (2017):
# fixtures/government/volume_to_pounds_vectors.csv. The constant 8.33 was inferred from them.
def published() -> list[dict[str, str]]:
    path = ROOT / "fixtures/government/volume_to_pounds_vectors.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_pounds_of_liquids_as_the_state_publishes_them() -> None:
    rows = published()
    assert len(rows) == 37
    for row in rows:
        unit = {"FL_OZ": "fl oz", "GA": "gal"}[row["unit"]]
        liquid = product(
            "99999-90", Formulation.LIQUID, [("x", "", row["ai_pct"])],
            specific_gravity=Fraction(row["implied_specific_gravity"]),
        )  # fmt: skip
        amount = Quantity(Fraction(row["implied_amount"]), unit)
        pounds = pounds_of(amount, liquid, form(), units())
        assert pounds == Fraction(row["published_lbs_product"]), row
        share = liquid.ingredients[0].share
        assert pounds * share == Fraction(row["published_lbs_ai"]), row


# F1 against the 243 published structural rows of one county, to the last digit.
def test_pounds_of_active_ingredient_as_the_state_publishes_them() -> None:
    path = ROOT / "fixtures/government/ca_pur_placer_2017_structural.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 243
    for number, row in enumerate(rows):
        item = product(f"99999-{number}", Formulation.GRANULE, [("x", "", row["ai_pct"])])
        use = group(item, "Placer", row["lbs_product"], "lb")
        scope = Scope(PLACE, JANUARY, BOTH)
        found = summarise([use], {item.digest[:16]: item}, form(), scope, units())
        (ingredient,) = found.ingredients
        assert ingredient.pounds == Fraction(row["lbs_ai"]), row


def test_no_specific_gravity_is_cannot_tell_and_never_nothing() -> None:
    unknown = replace(SPRAY, specific_gravity=None)
    products = {**PRODUCTS, unknown.digest[:16]: unknown}
    scope = Scope(PLACE, JANUARY, BOTH)
    found = summarise(FIRST_DAY, products, form(), scope, units())
    assert line(found, "Nevada", "99999-21").pounds is None
    (use,) = [use for use in found.ingredients if use.ingredient == "bifenthrin"]
    assert (use.pounds, use.known) == (None, Fraction())
    row = next(row for row in ingredient_rows(found) if row["ingredient"] == "bifenthrin")
    assert row["pounds"] == "cannot tell"
    assert any("pounds cannot tell" in note.text for note in found.remarks)


def test_what_is_known_of_an_ingredient_stands_as_a_lower_bound() -> None:
    weighed = product("99999-70", Formulation.DUST, [("bifenthrin", "82657-04-3", "1")])
    unknown = replace(SPRAY, specific_gravity=None)
    products = {item.digest[:16]: item for item in (weighed, unknown)}
    groups = (group(weighed, "Nevada", "16", "oz"), group(unknown, "Nevada", "1", "pt"))
    found = summarise(groups, products, form(), Scope(PLACE, JANUARY, BOTH), units())
    (use,) = found.ingredients
    assert (use.pounds, use.known, use.applications) == (None, Fraction(1, 100), 2)
    assert any("at least 0.010000000 lb" in note.text for note in found.remarks)


def test_a_label_that_cannot_be_read_leaves_the_total_and_says_so() -> None:
    found = summarise(FIRST_DAY[:3], {}, form(), Scope(PLACE, JANUARY, BOTH), units())
    (only,) = found.lines
    assert (only.registration, only.product) == ("99999-11", "99999-11")
    assert begins(only.total, "1.7231162199")
    # A weight is a weight without any label; what is in it cannot be told.
    assert begins(only.pounds, "0.107694763")
    assert found.ingredients == ()
    assert any("its active ingredients are not all told" in note.text for note in found.remarks)


def test_two_label_versions_sum_in_product_and_part_in_ingredient() -> None:
    stronger = Ingredient("cyfluthrin", Fraction(2, 1000), "68359-37-5")
    newer = replace(DUST, digest="f" * 64, ingredients=(stronger,))
    products = {**PRODUCTS, newer.digest[:16]: newer}
    groups = (group(DUST, "Placer", "16", "oz"), group(newer, "Placer", "8", "oz", lines=2))
    found = summarise(groups, products, form(), Scope(PLACE, JANUARY, BOTH), units())
    (only,) = found.lines
    assert (only.total, only.unit, only.applications) == (Fraction(3, 2), "lb", 3)
    assert len(only.labels) == 2
    (use,) = found.ingredients
    assert use.pounds == Fraction(1, 1000) + Fraction(1, 2) * Fraction(2, 1000)
    assert any("2 versions of the label" in note.text for note in found.remarks)


def test_a_synergist_is_told_and_not_counted() -> None:
    found = january((group(AEROSOL, "Placer", "16", "oz"),))
    assert [use.ingredient for use in found.ingredients] == ["pyrethrins"]
    (note,) = [note for note in found.remarks if "synergist" in note.text]
    assert "piperonyl butoxide" in note.text
    assert "0.030000000 lb" in note.text


@pytest.mark.parametrize(
    ("amount", "unit", "stated", "stated_unit"),
    [
        ("16", "oz", "1", "lb"),
        ("15.999", "oz", "15.999", "oz"),
        ("0.001", "oz", "0.001", "oz"),
        ("500", "lb", "500", "lb"),
    ],
)
def test_a_weight_in_the_usual_unit_or_a_smaller_one_that_reads_better(
    amount: str, unit: str, stated: str, stated_unit: str
) -> None:
    found = line(january((group(DUST, "Placer", amount, unit),)), "Placer", "99999-11")
    assert (found.total, found.unit) == (Fraction(stated), stated_unit)


@pytest.mark.parametrize(
    ("amount", "unit", "stated", "stated_unit"),
    [
        ("1", "gal", "1", "gal"),
        ("127", "fl oz", "3.96875", "qt"),
        ("31", "fl oz", "1.9375", "pt"),
        ("16", "fl oz", "1", "pt"),
        ("0.9", "fl oz", "0.05625", "pt"),
    ],
)
def test_a_volume_is_never_stated_in_ounces_where_an_ounce_is_weight(
    amount: str, unit: str, stated: str, stated_unit: str
) -> None:
    found = line(january((group(SPRAY, "Nevada", amount, unit),)), "Nevada", "99999-21")
    assert (found.total, found.unit) == (Fraction(stated), stated_unit)


def test_more_than_nothing_that_shows_as_nothing_is_said() -> None:
    found = january((group(DUST, "Placer", "1/1000000", "oz"),))
    assert line_rows(found)[0]["total_used"] == "0.00000"
    assert any("more than nothing" in note.text for note in found.remarks)


def test_visits_are_counted_where_the_form_counts_them() -> None:
    one = (group(DUST, "Placer", "1", "oz", lines=3, visits=2),)
    assert january(one, counts="visits").lines[0].applications == 2
    split = (*one, group(DUST, "Placer", "0.5", "oz"))
    untold = january(split, counts="visits")
    assert untold.lines[0].applications is None
    assert line_rows(untold)[0]["applications"] == "cannot tell"
    counted = Scope(PLACE, JANUARY, BOTH, (VisitCount("us-ca", "Placer", "99999-11", "10", 2),))
    by_visit = replace(form(), counts="visits")
    told = summarise(split, PRODUCTS, by_visit, counted, units())
    assert (told.lines[0].applications, told.lines[0].lines) == (2, 4)


def test_what_counts_as_an_application_is_marked_unverified() -> None:
    (note,) = [n for n in january(()).remarks if n.text.startswith("One application is")]
    assert note.text == (
        "One application is one line of a day sheet (one product put down by one method) "
        "(inferred, not verified)."
    )


def test_the_rounding_is_said() -> None:
    assert any("half to even, to 5 decimal places" in note.text for note in january(()).remarks)


def test_the_machine_rows() -> None:
    rows = line_rows(january(FIRST_DAY))
    assert tuple(rows[0]) == LINE_COLUMNS
    dust = next(row for row in rows if row["registration"] == "99999-11")
    assert dust == {
        "jurisdiction": "us-ca", "county": "Placer", "county_number": "31", "year": "2026",
        "month": "1", "site_code": "10", "registration": "99999-11",
        "product": "Ridgeline Crevice Dust", "total_used": "1.72312", "unit": "oz",
        "applications": "3",
    }  # fmt: skip
    ingredients = ingredient_rows(january(FIRST_DAY))
    assert tuple(ingredients[0]) == INGREDIENT_COLUMNS
    assert {row["ingredient"]: row["pounds"] for row in ingredients}["bifenthrin"] == "0.003887000"


def test_the_plain_values_hold_exact_beside_rounded_and_no_float() -> None:
    values = summary_values(january(FIRST_DAY))
    gel = next(item for item in values["lines"] if item["registration"] == "99999-31")
    assert Fraction(gel["total_exact"]) == units().convert(Quantity(Fraction(6), "g"), "oz").value
    assert gel["total_used"] == "0.21164"

    def floats(value: object) -> bool:
        if isinstance(value, dict):
            return any(map(floats, value.values()))
        return isinstance(value, float) or (isinstance(value, list) and any(map(floats, value)))

    assert not floats(values)


def test_lines_are_numbered_in_a_stable_order() -> None:
    forward, backward = january(SECOND_DAY), january(tuple(reversed(SECOND_DAY)))
    assert forward == backward
    assert [item.number for item in forward.lines] == list(range(1, len(forward.lines) + 1))
    assert forward.line(1) is not None
    assert forward.line(0) is None
    placer = forward.of_county("Placer")
    assert {item.number for item in placer.lines} < {item.number for item in forward.lines}


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["oz", "lb", "g"]), st.integers(1, 10**6), st.sampled_from([1, 4, 1000])
        ),
        min_size=1, max_size=12,
    )
)  # fmt: skip
def test_any_grouping_adds_up_exactly(parts: list[tuple[str, int, int]]) -> None:
    groups = tuple(
        replace(group(POWDER, "Placer", "1", unit), numerator=numerator, denominator=denominator)
        for unit, numerator, denominator in parts
    )
    (found,) = january(groups).lines
    pounds = sum(
        units().convert(Quantity(Fraction(numerator, denominator), unit), "lb").value
        for unit, numerator, denominator in parts
    )
    assert units().convert(Quantity(found.total, found.unit), "lb").value == pounds
    assert found.pounds == pounds


@given(st.fractions(max_denominator=10**6), st.integers(0, 9))
def test_rounding_is_half_even_and_within_half_a_unit(value: Fraction, places: int) -> None:
    shown = Fraction(fixed(value, places))
    assert abs(shown - value) <= Fraction(1, 2 * 10**places)
    assert shown == Fraction(half_even(value, places))
    assert "E" not in fixed(value, places)
    assert Fraction(exact_text(value)) == value


def test_a_half_goes_to_the_even_digit() -> None:
    assert [fixed(Fraction(n, 2), 0) for n in (1, 3, 5, -1, -3)] == ["0", "2", "2", "0", "-2"]


def test_a_long_month_is_one_period_and_a_year_adds_its_months() -> None:
    year = Scope(PLACE, Period(2026), BOTH)
    found = summarise((*FIRST_DAY, *FIRST_DAY), PRODUCTS, form(), year, units())
    assert begins(line(found, "Placer", "99999-11").total, "3.446232439")
    assert line_rows(found)[0]["month"] == ""


def test_a_group_of_granules_weighs_what_it_weighs() -> None:
    assert pounds_of(Quantity(Fraction(9), "oz"), GRANULE, form(), units()) == Fraction("0.5625")


@given(st.fractions(min_value=0, max_value=500, max_denominator=10**6))
def test_the_form_and_the_arithmetic_of_the_trade_weigh_alike(gallons: Fraction) -> None:
    # The form file says 8.33 and four decimals; the plain function has them built in.
    gravity = SPRAY.specific_gravity
    assert gravity is not None
    by_form = pounds_of(Quantity(gallons, "gal"), SPRAY, form(), units())
    assert by_form == state_pounds(gallons, gravity)
