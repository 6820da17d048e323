"""Each shape of limit by itself: passes, exactly on the bound, breaks, cannot tell."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time
from fractions import Fraction
from typing import Any

import pytest

from ledger.checks.judge import CHECKS
from ledger.checks.say import plain
from ledger.rulebook.model import Limit, Read, Shape
from ledger.values.amount import Basis, Dilution, Strength
from ledger.values.entry import Application, Weather
from ledger.values.extent import Extent
from ledger.values.finding import Finding, Kind
from tests.cases import amount, avoided, book, case, limit, measures, per_cent, q, rate, tools, use
from tests.test_checks_samples import line_6, messy_1


def run(line: Application, rule: Limit, *others: Application, **changes: Any) -> list[Finding]:
    of = case(line, *others, **changes)
    return list(CHECKS[rule.shape](of, rule, tools(of)))


def kinds(line: Application, rule: Limit, *others: Application, **changes: Any) -> list[Kind]:
    return [found.kind for found in run(line, rule, *others, **changes)]


def test_every_shape_has_a_check() -> None:
    assert set(CHECKS) == set(Shape)


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (Fraction("3.125"), "3.125"), (Fraction(1), "1"), (Fraction(1000), "1,000"),
        (Fraction(5, 12), "about 0.4167"), (Fraction(2, 3), "about 0.6667"),
        (Fraction(1, 30000), "about 0.00003333"), (Fraction(1250), "1,250"),
        (Fraction(10001, 3), "about 3,333.667"), (Fraction(0), "0"), (Fraction(1, 20), "0.05"),
    ],
)  # fmt: skip
def test_numbers_are_said_plainly(value: Fraction, said: str) -> None:
    assert plain(value) == said


# --- rates ---


def test_a_rate_per_ingredient_uses_the_share_by_weight() -> None:
    # 0.1 % of 100 g is 0.1 g of cyfluthrin.
    rule = limit(
        Shape.RATE, most=q("0.1", "g"), per=q(1000, "sq ft"), per_what="area",
        basis=Basis.INGREDIENT,
    )  # fmt: skip
    area = measures(area=(1000, "sq ft"))
    assert kinds(use(amount=amount(100, "g"), extent=area), rule) == []
    assert kinds(use(amount=amount("100.001", "g"), extent=area), rule) == [Kind.BREACH]


def test_a_liquid_without_specific_gravity_cannot_be_weighed() -> None:
    rule = limit(Shape.RATE, most=q(1, "g"), per=q(1000, "sq ft"), per_what="area")
    line = line_6()
    product = book().product("ridgeline-sc", line.date)
    assert product is not None
    bare = replace(product, specific_gravity=None)
    assert kinds(line, rule, product=bare) == [Kind.UNKNOWN]
    assert kinds(line, rule) == [Kind.BREACH]


def test_a_mix_is_worked_out_from_the_concentrate() -> None:
    rule = limit(
        Shape.RATE, most=q("1.25", "gal"), per=q(1000, "sq ft"), per_what="area", basis=Basis.MIX
    )
    line = line_6(amount=amount("0.9", "fl oz"), dilution=rate("1.2"))  # 0.75 gal of mix
    assert kinds(line, rule) == []
    assert kinds(line_6(amount=amount("0.91", "fl oz"), dilution=rate("1.2")), rule) == [
        Kind.BREACH
    ]
    assert kinds(line_6(amount=amount(1, "fl oz"), dilution=None), rule) == [Kind.UNKNOWN]


def test_an_exclusive_bound_breaks_at_the_bound() -> None:
    rule = limit(Shape.RATE, most=q("0.5", "oz"), per=q(100, "ft"), per_what="length")
    line = use(amount=amount(1, "oz"), extent=measures(length=(200, "ft")))
    assert kinds(line, rule) == []
    assert kinds(line, replace(rule, inclusive=False)) == [Kind.BREACH]


def test_below_the_least_is_advice() -> None:
    rule = limit(Shape.RATE, least=q(1, "oz"), per=q(100, "ft"), per_what="length")
    line = use(amount=amount("0.5", "oz"), extent=measures(length=(100, "ft")))
    assert kinds(line, rule) == [Kind.ADVICE]


def test_one_placement_is_no_average() -> None:
    rule = limit(Shape.RATE, most=q("0.5", "g"), per=q(1, "each"), per_what="placements")
    one = use("marsh-gel", amount=amount("0.5", "g"), extent=measures(placements=1))
    two = use("marsh-gel", amount=amount(1, "g"), extent=measures(placements=2))
    assert kinds(one, rule) == []
    assert kinds(two, rule) == [Kind.ADVICE]
    more = use("marsh-gel", amount=amount("1.01", "g"), extent=measures(placements=2))
    assert kinds(more, rule) == [Kind.BREACH]


def test_a_dwelling_is_one_dwelling_unless_the_line_says_more() -> None:
    rule = limit(Shape.RATE, most=q(4, "oz"), per=q(1, "each"), per_what="dwellings")
    line = use("granite-powder", amount=amount(5, "oz"))
    assert kinds(line, rule) == [Kind.BREACH]
    two = use("granite-powder", amount=amount(5, "oz"), extent=measures(dwellings=2))
    assert kinds(two, rule) == [Kind.ADVICE]
    many = use("granite-powder", amount=amount(5, "oz"), site_kind="apartment building")
    assert kinds(many, rule) == [Kind.UNKNOWN]


def test_an_extent_of_nothing_is_not_an_extent() -> None:
    rule = limit(Shape.RATE, most=q(4, "oz"), per=q(10, "each"), per_what="voids")
    assert kinds(use(extent=measures(voids=0)), rule) == [Kind.UNKNOWN]


def test_cans_are_counted_by_room() -> None:
    rule = limit(Shape.COUNT, measure="cans", most=q(1, "each"), per=q(1, "each"), per_what="rooms")
    room = {"room_length": (10, "ft"), "room_width": (12, "ft")}
    assert kinds(use(extent=measures(cans=1, **room)), rule) == []
    assert kinds(use(extent=measures(cans=2, **room)), rule) == [Kind.BREACH]
    assert kinds(use(extent=measures(cans=2, rooms=2)), rule) == [Kind.ADVICE]
    assert kinds(use(extent=measures(cans=3, rooms=2)), rule) == [Kind.BREACH]
    assert kinds(use(extent=measures(cans=1)), rule) == [Kind.UNKNOWN]
    assert kinds(use(extent=measures(rooms=1)), rule) == [Kind.UNKNOWN]


STRENGTH = limit(
    Shape.STRENGTH, least=q("0.4", "fl oz"), most=q("1.2", "fl oz"), per=q(1, "gal"), per_what="mix"
)


@pytest.mark.parametrize(
    ("dilution", "expected"),
    [
        (rate("1.2"), []), (rate("1.21"), [Kind.BREACH]), (rate("0.4"), []),
        (rate("0.39"), [Kind.ADVICE]), (None, [Kind.UNKNOWN]), (per_cent("0.06"), []),
        (per_cent("0.0623"), [Kind.BREACH]),
        (Dilution("1 % product", Strength.PRODUCT_PER_CENT, Fraction(1)), [Kind.BREACH]),
        (Dilution("1:107", Strength.RATIO, Fraction(1, 107)), []),  # 128/107 = 1.196 fl oz
        (Dilution("1:106", Strength.RATIO, Fraction(1, 106)), [Kind.BREACH]),
        (Dilution("none", Strength.NONE), [Kind.BREACH]),
    ],
)  # fmt: skip
def test_strength_in_every_way_of_saying_it(
    dilution: Dilution | None, expected: list[Kind]
) -> None:
    line = line_6(amount=amount(1, "fl oz"), dilution=dilution)
    assert kinds(line, STRENGTH) == expected


def test_ready_to_use_has_the_strength_of_its_label() -> None:
    rule = limit(Shape.STRENGTH, most=q(2, "%"), basis=Basis.INGREDIENT)
    line = use("hearth-mint", amount=amount(4, "fl oz"))
    assert kinds(line, rule) == []
    assert kinds(line, replace(rule, most=q("1.99", "%"))) == [Kind.BREACH]


# --- places ---


def test_a_room_must_exceed_the_size() -> None:
    rule = limit(
        Shape.ENCLOSURE, measure="room length", least=q(5, "ft"), per=q(5, "ft"),
        per_what="room width", inclusive=False,
    )  # fmt: skip
    for sides, expected in (
        ((10, 12), []), ((5, 5), [Kind.BREACH]), ((4, 5), [Kind.BREACH]), ((5, 6), []),
        ((3, 8), [Kind.BREACH]),
    ):  # fmt: skip
        room = measures(room_length=(sides[0], "ft"), room_width=(sides[1], "ft"))
        assert kinds(use(extent=room), rule) == expected, sides
    assert kinds(use(extent=measures(cans=1)), rule) == [Kind.UNKNOWN]


def test_heights() -> None:
    rule = limit(Shape.GEOMETRY, measure="height", most=q(3, "ft"))
    assert kinds(use(extent=measures(height=(36, "in"))), rule) == []
    assert kinds(use(extent=measures(height=(37, "in"))), rule) == [Kind.BREACH]
    assert kinds(use(), rule) == [Kind.UNKNOWN]


BUFFER = limit(Shape.BUFFER, words=("water",), least=q(25, "ft"))


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({"avoided": (avoided("creek", "water", 25),)}, []),
        ({"avoided": (avoided("creek", "water", 24),)}, [Kind.BREACH]),
        ({"avoided": (avoided("creek", "", 60),)}, []),
        ({"avoided": (avoided("the low spot", "water", 60),)}, []),
        ({"avoided": (avoided("creek", "children, water", 60),)}, []),
        ({"avoided": (avoided("creek", "water"),)}, [Kind.UNKNOWN]),
        ({"avoided": (avoided("counter", "food"),)}, [Kind.UNKNOWN]),
        ({"avoided_said": "blank"}, [Kind.UNKNOWN]),
        ({"avoided_said": "none present"}, []),
        ({"avoided": (avoided("creek", "water", 60), avoided("pond", "water", 9))}, [Kind.BREACH]),
        ({"places": ("creek",), "avoided_said": "blank"}, [Kind.BREACH]),
    ],
)
def test_water(said: dict[str, Any], expected: list[Kind]) -> None:
    assert kinds(use(**said), BUFFER) == expected


def test_a_distance_in_metres_is_a_distance() -> None:
    near = replace(avoided("creek", "water"), distance=q("7.62", "m"))  # exactly 25 ft
    assert kinds(use(avoided=(near,)), BUFFER) == []


KEEP_OFF = limit(Shape.KEEP_OFF, words=("appliance fan",))


def test_keeping_off() -> None:
    assert kinds(use(), KEEP_OFF) == []
    assert kinds(use(places=("wall void", "under refrigerator")), KEEP_OFF) == [Kind.BREACH]
    assert kinds(use(places=()), KEEP_OFF) == [Kind.UNKNOWN]
    assert kinds(use(places=("behind the whatnot",)), KEEP_OFF) == [Kind.UNKNOWN]
    assert kinds(use(places=("vent hood",)), KEEP_OFF) == []
    advised = replace(KEEP_OFF, mandatory=False)
    assert kinds(use(places=("under refrigerator",)), advised) == [Kind.ADVICE]


PREPARE = limit(Shape.PREPARE, words=("food covered", "occupants out"))


def test_preparation() -> None:
    assert kinds(use(prepared=("occupants out", "food covered")), PREPARE) == []
    assert kinds(use(prepared=("occupants out",)), PREPARE) == [Kind.UNKNOWN]
    assert kinds(use(prepared_said="blank"), PREPARE) == [Kind.UNKNOWN]
    assert kinds(use(prepared_said="none"), PREPARE) == [Kind.BREACH]
    half = run(use(prepared=("occupants out",)), PREPARE)[0].text
    assert "food covered" in half
    assert "occupants out" not in half


ALLOWED = limit(
    Shape.ALLOWED,
    allowed=(
        ("site_kind", ("dwelling",)), ("setting", ("indoor",)), ("method", ("void",)),
        ("pest", ("ants",)),
    ),
)  # fmt: skip


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({}, []),
        ({"site_kind": "apartment"}, []),
        ({"site_kind": "office"}, [Kind.BREACH]),
        ({"setting": "outdoor", "method": "spot"}, [Kind.BREACH, Kind.BREACH]),
        ({"pests": ("ants", "spiders")}, [Kind.ADVICE]),
        ({"pests": ()}, [Kind.UNKNOWN]),
        ({"method": ""}, [Kind.UNKNOWN]),
        ({"method": "swirling"}, [Kind.UNKNOWN]),
    ],
)
def test_allowed(said: dict[str, Any], expected: list[Kind]) -> None:
    assert kinds(use(**said), ALLOWED) == expected


MOVING_AIR = limit(Shape.ASK, words=("moving air",), blocks=True)


@pytest.mark.parametrize(
    ("said", "answered"),
    [
        ({"avoided": (avoided("refrigerator", "moving air"),)}, True),
        ({"avoided": (avoided("refrigerator", "food, moving air"),)}, True),
        ({"avoided": (avoided("counter", "food"),)}, False),
        ({"avoided_said": "none present"}, True),
        ({"avoided_said": "blank"}, False),
        ({"avoided_said": "blank", "prepared": ("fans off",)}, True),
        ({"avoided_said": "blank", "prepared": ("vents covered",)}, True),
        ({"avoided_said": "blank", "prepared": ("food covered",)}, False),
    ],
)
def test_moving_air(said: dict[str, Any], answered: bool) -> None:
    found = run(use(**said), MOVING_AIR)
    assert [(f.kind, f.blocks) for f in found] == ([] if answered else [(Kind.MISSING, True)])


# --- weather ---


def test_weather() -> None:
    wind = limit(Shape.WEATHER, measure="wind", most=q(10, "mph"))
    rain = limit(Shape.WEATHER, measure="rain", expects=False)
    frost = limit(Shape.WEATHER, measure="temperature", least=q(32, "F"))

    def line(**said: Any) -> Application:
        return use(weather=Weather(**said))

    assert kinds(line(wind=q(10, "mph")), wind) == []
    assert kinds(line(wind=q(17, "km/h")), wind) == [Kind.BREACH]  # 10.56 mph
    assert kinds(line(), wind) == [Kind.UNKNOWN]
    assert kinds(line(rain=False), rain) == []
    assert kinds(line(rain=True), rain) == [Kind.BREACH]
    assert kinds(line(), rain) == [Kind.UNKNOWN]
    assert kinds(line(temperature=q(0, "C")), frost) == []
    assert kinds(line(temperature=q(-1, "C")), frost) == [Kind.BREACH]


# --- over time ---

TEN_DAYS = limit(Shape.INTERVAL, least=q(10, "day"), same="place")


def on(day: int, **said: Any) -> Application:
    return replace(messy_1(), **({"date": date(2026, 1, day), "visit": f"V{day}"} | said))


def test_the_tenth_day_is_allowed_and_the_ninth_is_not() -> None:
    assert kinds(on(24), TEN_DAYS, on(14)) == []
    assert kinds(on(23), TEN_DAYS, on(14)) == [Kind.BREACH]
    said = run(on(23), TEN_DAYS, on(14))[0].text
    assert said.startswith("9 days after the application of 2026-01-14")
    assert said.endswith("the label asks for 10 days")
    assert kinds(on(24), replace(TEN_DAYS, inclusive=False), on(14)) == [Kind.BREACH]


def test_another_place_setting_or_product_is_no_repeat() -> None:
    assert kinds(on(15), TEN_DAYS, on(14, places=("eave",))) == []
    assert kinds(on(15), TEN_DAYS, on(14, setting="indoor")) == []
    assert kinds(on(15), TEN_DAYS, on(14, product="alder-dust", product_key="99999-12")) == []
    assert kinds(on(15), TEN_DAYS, on(14, places=())) == [Kind.UNKNOWN]
    address = replace(TEN_DAYS, same="address")
    assert kinds(on(15), address, on(14, places=("eave",))) == [Kind.BREACH]


def test_the_same_day_does_not_count() -> None:
    assert kinds(on(15), TEN_DAYS, on(15, start=time(14), visit="later")) == []


def test_a_late_entry_touches_the_window_of_the_later_one() -> None:
    late, booked = on(14), on(20)
    assert kinds(booked, TEN_DAYS, late) == [Kind.BREACH]
    said = run(late, TEN_DAYS, booked)
    assert [f.kind for f in said] == [Kind.ADVICE]
    assert "2026-01-20" in said[0].text
    assert kinds(on(1), TEN_DAYS, booked) == []


def test_months_are_of_the_calendar() -> None:
    month = limit(Shape.INTERVAL, least=q(1, "month"), same="address")
    last = replace(messy_1(), date=date(2026, 1, 31))
    assert kinds(replace(messy_1(), date=date(2026, 2, 28)), month, last) == []
    assert kinds(replace(messy_1(), date=date(2026, 2, 27)), month, last) == [Kind.BREACH]


def test_hours_count_from_the_end_of_the_work() -> None:
    hours = limit(Shape.INTERVAL, least=q(24, "h"), same="address")
    first = on(14, start=time(9), end=time(10))
    assert kinds(on(15, start=time(10)), hours, first) == []
    assert kinds(on(15, start=time(9, 59)), hours, first) == [Kind.BREACH]
    assert kinds(on(14, start=time(16), visit="again"), hours, first) == [Kind.BREACH]
    assert kinds(on(14, start=time(9)), hours, first) == []  # another line of the same visit
    assert kinds(on(15, start=None), hours, first) == [Kind.UNKNOWN]


def test_a_site_in_doubt_cannot_tell() -> None:
    visits = limit(
        Shape.VISITS, most=q(6, "each"), within="calendar year", same="address", measure="visits"
    )
    assert kinds(on(15), TEN_DAYS, on(14), doubt="S0009") == [Kind.UNKNOWN]
    assert kinds(on(15), visits, doubt="S0009") == [Kind.UNKNOWN]


def test_the_seventh_visit_of_the_year_is_found() -> None:
    visits = limit(
        Shape.VISITS, most=q(6, "each"), within="calendar year", same="address", measure="visits"
    )
    six = [on(day) for day in range(1, 7)]
    assert kinds(on(20), visits, *six) == [Kind.BREACH]
    assert kinds(on(20), visits, *six[:5]) == []
    twice = replace(six[0], places=("eave",))
    assert kinds(on(20), visits, *six[:5], twice) == []  # two lines of one visit
    lines = replace(visits, measure="lines")
    assert kinds(on(20), lines, *six[:5], twice) == [Kind.BREACH]
    last_year = replace(six[5], date=date(2025, 12, 31))
    assert kinds(on(20), visits, *six[:5], last_year) == []
    assert kinds(on(3), visits, *(o for o in six if o.date.day != 3), on(20)) == []


# --- what decides ---


def test_a_rule_from_memory_only_informs() -> None:
    rule = limit(
        Shape.RATE, most=q("0.1", "oz"), per=q(10, "each"), per_what="voids", read=Read.MEMORY
    )
    found = run(use(), rule)
    assert [f.kind for f in found] == [Kind.ADVICE]
    assert found[0].text.startswith("unverified: ")
    silent = run(use(extent=Extent("")), rule)
    assert [f.kind for f in silent] == [Kind.ADVICE]
    asked = run(use(avoided_said="blank"), replace(MOVING_AIR, read=Read.INFERRED))
    assert [(f.kind, f.blocks) for f in asked] == [(Kind.ADVICE, False)]
