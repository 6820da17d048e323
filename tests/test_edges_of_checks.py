"""Edges of the checks that a changed sign or number would move unseen.

Each was found by breaking the program. Where no source is named the value follows from the rule
that the case builds by hand.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import time, timedelta
from fractions import Fraction
from typing import Any

import pytest

from ledger.checks.dose import share_in_mix, strength
from ledger.checks.facts import facts_of
from ledger.checks.jurisdiction import given
from ledger.checks.rates import times_the_most
from ledger.checks.say import plain
from ledger.checks.windows import farthest_back
from ledger.rulebook.model import Shape
from ledger.values.amount import Basis, Used
from ledger.values.entry import Weather
from ledger.values.extent import Extent
from ledger.values.finding import Kind
from tests.cases import amount, case, limit, measures, q, tools, use
from tests.test_checks_law import found
from tests.test_checks_samples import line_6, powder
from tests.test_checks_shapes import kinds, on, run
from tests.test_counted import habits

# --- how numbers are said ---


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (Fraction(1, 10**6), "0.000001"),  # six places are said exactly
        (Fraction(1, 10**7), "about 0.0000001"),  # seven are not
        (Fraction(1, 3 * 10**11), "about 0.000000000003"),  # twelve places at the most
        (Fraction(1, 3 * 10**12), "about 0"),
        (Fraction(-5, 12), "about -0.4167"),
        (Fraction(29999, 30), "about 999.967"),
    ],
)
def test_a_number_is_said_to_the_last_place_that_is_kept(value: Fraction, said: str) -> None:
    assert plain(value) == said


# --- the weather ---


def test_a_wind_in_a_unit_that_is_no_speed_cannot_be_told() -> None:
    wind = limit(Shape.WEATHER, measure="wind", most=q(10, "mph"))
    strange = use(weather=Weather(q(31, "F"), q(4, "lb"), "N", rain=False))
    assert kinds(strange, wind) == [Kind.UNKNOWN]


# --- people ---


@pytest.mark.parametrize(
    ("start", "end", "named"),
    [
        (time(7), time(8), False), (time(9), time(10), False),  # he left as the other came
        (time(7), time(8, 1), True), (time(8, 59), time(10), True), (None, None, True),
    ],
)  # fmt: skip
def test_a_certified_person_is_named_who_was_there_for_a_minute(
    start: time | None, end: time | None, named: bool
) -> None:
    alone = powder("granite-powder", applicator="aster", start=time(8), end=time(9))
    other = replace(line_6(), start=start, end=end)
    finding = next(f for f in found(alone, other) if f.name == "certified-only")
    assert ("who is certified, was at this address" in finding.text) is named
    assert ("amend supervisor" in finding.way_out) is named


@pytest.mark.parametrize(
    ("certified", "expected"),
    [("applicator or supervisor", []), ("applicator", [Kind.BREACH])],
)
def test_a_supervisor_stands_in_for_the_applicator_only_where_the_rule_says_so(
    certified: str, expected: list[Kind]
) -> None:
    rule = limit(Shape.SUPERVISION, words=tuple(certified.split(" or ")))
    assert kinds(use(applicator="marsh", supervisor="renner"), rule) == expected
    assert kinds(use(), rule) == []


# --- rates ---


def test_how_many_times_the_most_was_used() -> None:
    rule = limit(Shape.RATE, most=q("1/2", "oz"), per=q(10, "each"), per_what="voids")
    of = case(use())  # a quarter of an ounce into eight voids
    assert times_the_most(of, rule, tools(of)) == Fraction(5, 8)
    bare = case(use(extent=Extent("")))
    assert times_the_most(bare, rule, tools(bare)) is None
    assert times_the_most(of, replace(rule, most=None, least=q(1, "oz")), tools(of)) is None
    assert times_the_most(of, replace(rule, per=None), tools(of)) is None


def test_what_is_used_as_it_comes_is_all_product() -> None:
    of = case(use("hearth-mint", method="spot", amount=amount(4, "fl oz"), pests=("ants",)))
    assert strength(of, tools(of)) == q(1, "mL")
    assert share_in_mix(of, Basis.PRODUCT, tools(of)) == 100


def test_without_a_label_the_share_in_a_mix_is_not_known() -> None:
    of = case(line_6(), product=None)
    for basis in (Basis.PRODUCT, Basis.INGREDIENT):
        assert share_in_mix(of, basis, tools(of)) is None


@pytest.mark.parametrize(("grams", "expected"), [("1021", []), ("1021.5", [Kind.BREACH])])
def test_a_weighed_liquid_is_held_against_a_rate_by_volume_by_its_density(
    grams: str, expected: list[Kind]
) -> None:
    """1,021 g at 1.021 g a millilitre are a litre."""
    rule = limit(Shape.RATE, most=q(1, "L"), per=q(1000, "sq ft"), per_what="area")
    weighed = amount(grams, "g")
    line = use("ridgeline-sc", amount=weighed, used=Used(int(Fraction(grams) * 10), 10, "g"),
               extent=measures(area=(1000, "sq ft")))  # fmt: skip
    assert kinds(line, rule) == expected


@pytest.mark.parametrize(
    ("extent", "offered"),
    [
        ({"length": (120, "ft"), "height": (2, "ft")}, "120 ft by 2 ft is 240 sq ft"),
        ({"length": (120, "ft"), "width": (24, "in")}, "120 ft by 24 in is 240 sq ft"),
        ({"length": (40, "yd"), "height": (2, "ft"), "distance out": (3, "ft")},
         "40 yd by 2 ft and 3 ft is 600 sq ft"),
        ({"length": (40, "yd"), "distance out": (3, "ft"), "width": (9, "ft")},
         "40 yd by 3 ft is 360 sq ft"),
        ({"length": (120, "ft")}, ""),
        ({"height": (2, "ft")}, ""),
    ],
)  # fmt: skip
def test_a_strip_without_its_area_is_told_what_its_sides_come_to(
    extent: dict[str, Any], offered: str
) -> None:
    rule = limit(Shape.RATE, most=q(1, "oz"), per=q(1000, "sq ft"), per_what="area")
    (found_,) = run(use(extent=measures(**extent)), rule)
    assert found_.kind is Kind.UNKNOWN
    asked = "amend the extent with the area treated"
    more = f"; {offered}, if all of that was treated" if offered else ""
    assert found_.way_out == asked + more
    (whole,) = run(use(extent=measures(**extent)), replace(rule, of="total"))
    assert whole.way_out == "amend the extent with the total area of the site"
    (long,) = run(use(extent=measures(voids=2)), replace(rule, per_what="volume"))
    assert "sq ft" not in long.way_out


# --- over time ---


@pytest.mark.parametrize(
    ("least", "days"),
    [
        ((1, "month"), 32), ((1, "year"), 367), ((10, "day"), 11), (("1/2", "day"), 2),
        ((24, "h"), 2),
    ],
)  # fmt: skip
def test_nothing_is_asked_again_beyond_the_longest_month_or_year(
    least: tuple[Any, str], days: int
) -> None:
    rule = limit(Shape.INTERVAL, least=q(*least), same="address")
    assert farthest_back([rule]) == timedelta(days=days)
    assert farthest_back([]) == timedelta(0)


@pytest.mark.parametrize(
    ("least", "waited", "enough"),
    [
        ((90, "min"), "11:30", True), ((90, "min"), "11:29", False),
        ((5400, "s"), "11:30", True), ((5400, "s"), "11:29", False),
        (("3/2", "h"), "11:30", True), (("3/2", "h"), "11:29", False),
    ],
)  # fmt: skip
def test_an_interval_by_the_clock_is_the_same_in_any_unit(
    least: tuple[Any, str], waited: str, enough: bool
) -> None:
    rule = limit(Shape.INTERVAL, least=q(*least), same="address")
    first = on(14, start=time(9), end=time(10))
    again = on(14, start=time.fromisoformat(waited), end=time(12), visit="again")
    assert kinds(again, rule, first) == ([] if enough else [Kind.BREACH])


# --- practice: no source, the bounds are the ones that its advice names ---


@pytest.mark.parametrize(("puffs", "told"), [(125, False), (126, True), (75, False), (74, True)])
def test_puffs_may_differ_from_the_weighing_by_a_quarter(puffs: int, told: bool) -> None:
    # duster-a gives 0.11 g a puff, so 11 g are 100 puffs.
    line = use(used=Used(11, 1, "g"), equipment="duster-a", extent=measures(puffs=puffs))
    assert ("estimate-beside" in habits(line)) is told


# --- the tools of a check ---


def test_units_are_part_of_what_tells_tools_apart_and_facts_are_not() -> None:
    one, two = tools(case(use())), tools(case(use(method="bait")))
    assert hash(one) == hash(two)  # facts cannot be hashed: they are worked out when asked
    assert one.into(q(1, "lb"), "oz") == 16
    assert one.into(q(1, "lb"), "ft") is None


# --- fields of the law ---


@pytest.mark.parametrize("who", ["applicator", "supervisor"])
def test_a_licence_number_is_given_by_the_line_or_by_the_firm_file(who: str) -> None:
    field = f"{who}_number"
    named = "licence" if who == "applicator" else "supervisor_licence"
    by_file: dict[str, Any] = {who: "renner", named: ""}
    by_line: dict[str, Any] = {who: "ghost", named: "FR 1"}
    nowhere: dict[str, Any] = {who: "ghost", named: ""}
    assert given(case(use(**by_line)), field)
    assert not given(case(replace(use(), **nowhere)), field)
    assert given(case(replace(use(), **by_file)), field)


@pytest.mark.parametrize(
    ("changes", "field", "answer"),
    [
        ({"product": "", "product_key": "1-2"}, "product", True),
        ({"product": "x", "product_key": ""}, "product", True),
        ({"product": "", "product_key": ""}, "product", False),
        ({"dilution": None, "extent": Extent("")}, "rate", False),
        ({"dilution": None, "extent": measures(voids=1)}, "rate", True),
        ({"extent": Extent("")}, "extent", False),
        ({"extent": measures(voids=1)}, "area", False),
        ({"extent": measures(area=(1, "sq ft"))}, "area", True),
        ({"extent": measures(volume=(1, "cu ft"))}, "volume", True),
        ({"extent": measures(voids=1)}, "volume", False),
        ({"avoided_said": "blank"}, "avoided", False),
        ({"prepared_said": "blank"}, "prepared", False),
        ({"prepared_said": "none"}, "prepared", True),
        ({"start": None}, "start", False),
        ({"end": None}, "end", False),
    ],
)
def test_what_counts_as_given(changes: dict[str, Any], field: str, answer: bool) -> None:
    assert given(replace(case(use()), use=replace(use(), **changes)), field) is answer


@pytest.mark.parametrize("field", ["registration", "ingredients"])
def test_a_label_that_was_not_read_is_not_said_to_lack_a_field(field: str) -> None:
    """The doubt is said once, as the label's; a missing field would be a second word for it."""
    assert given(case(use(), product=None), field)
    assert given(case(use()), field)


# --- facts ---


def test_the_facts_can_be_listed_and_hold_what_is_told() -> None:
    facts = facts_of(case(use()))
    names = list(facts)
    assert len(facts) == len(names) == len(set(names))
    assert {"method", "formulation", "product_class", "diluted"} <= set(names)
    assert all(facts[name] == facts_of(case(use()))[name] for name in names)
    with pytest.raises(KeyError):
        facts["no such fact"]


def test_without_a_label_no_fact_of_a_product_is_told() -> None:
    facts = facts_of(case(use(), product=None))
    assert not {"formulation", "product_class", "ingredient", "diluted"} & set(facts)
    assert "formulation" not in facts
    assert facts["method"] == "void"
