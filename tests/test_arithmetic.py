"""The arithmetic of the trade: its laws, its constants, and what it refuses."""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger import arithmetic as a
from ledger.values.amount import Dilution, Quantity, Strength
from tests.test_amounts import DUST, LIQUID, POWDER, UNWEIGHABLE, dilution
from tests.test_units import UNITS

F = Fraction

numbers = st.fractions(min_value="1/1000", max_value=10**4, max_denominator=1000)
shares = st.fractions(min_value="1/10000", max_value=1, max_denominator=10**4)
gravities = st.fractions(min_value="1/2", max_value=2, max_denominator=1000)


def test_the_constants_are_those_of_the_unit_list() -> None:
    assert UNITS.convert(Quantity(F(1), "lb"), "g").value == a.GRAMS_PER_POUND
    assert UNITS.convert(Quantity(F(1), "gal"), "mL").value == a.ML_PER_GALLON
    assert UNITS.convert(Quantity(F(1), "acre"), "sq ft").value == a.SQ_FT_PER_ACRE
    # 8.3454 lb/gal at 1 g/mL: NIST Handbook 44's definitions, divided.
    assert round(a.WATER_POUNDS_PER_GALLON, 4) == F("8.3454")
    assert abs(float(a.PI) - math.pi) < 1e-15


def test_a_float_is_refused_everywhere() -> None:
    functions: list[Callable[..., Any]] = [
        function
        for name, function in inspect.getmembers(a, inspect.isfunction)
        if function.__module__ == a.__name__ and not name.startswith("_")
        and name not in {"undiluted", "active_share"}
    ]  # fmt: skip
    assert len(functions) > 25
    for function in functions:
        count = sum(p.default is p.empty for p in inspect.signature(function).parameters.values())
        for spot in range(max(count, 1)):
            given_numbers: list[Any] = [1] * max(count, 1)
            function(*given_numbers)
            given_numbers[spot] = 1.0
            with pytest.raises(TypeError, match="not an exact number"):
                function(*given_numbers)
    with pytest.raises(TypeError):
        a.exact(True)


def test_a_decimal_is_taken_as_written() -> None:
    assert a.exact(Decimal("0.1")) == F(1, 10)
    assert a.concentrate_for_mix(Decimal(55), 1, F(48)) == F(55, 48)


# --- per cent of active ingredient by weight ---------------------------------------------------


def test_a_per_cent_of_ingredient_in_a_gallon() -> None:
    # The samples' expected results: 0.06 % of a 6.5 % product, specific gravity 1.021.
    found = a.volume_for_ingredient(128, Decimal("0.06"), Decimal("0.065"), Decimal("1.021"))
    assert found == F(128 * 6, 10_000) / (F("0.065") * F("1.021"))
    assert math.floor(found * 10**10) == 11572364951


@given(numbers, shares, shares, gravities)
def test_a_per_cent_and_its_volume_are_inverse(mix: F, share: F, part: F, gravity: F) -> None:
    per_cent = share * part * 100
    volume = a.volume_for_ingredient(mix, per_cent, share, gravity)
    assert a.per_cent_in_mix(volume, mix, share, gravity) == per_cent
    weight = a.weight_for_ingredient(mix, per_cent, share)
    assert a.ingredient_in(weight, share) == mix * per_cent / 100
    assert a.product_with(a.ingredient_in(weight, share), share) == weight


@given(numbers, shares, gravities)
def test_volume_by_weight_and_by_hand_agree(gallons: F, share: F, gravity: F) -> None:
    ingredient = gallons * a.ingredient_per_gallon(share, gravity)
    assert a.ingredient_in(a.pounds_of_volume(gallons, gravity), share) == ingredient
    assert a.gallons_with(ingredient, a.ingredient_per_gallon(share, gravity)) == gallons


# --- ratios, rates, areas ----------------------------------------------------------------------


def test_the_two_readings_of_a_ratio_differ() -> None:
    assert a.share_in(1, 100) == F(1, 100)
    assert a.share_with(1, 100) == F(1, 101)
    assert a.share_with(1, 99) == a.share_in(1, 100)


@given(shares, numbers)
def test_parts_of_water_bring_the_strength_down_to_the_target(target: F, more: F) -> None:
    concentrate = target * (1 + more)
    assert a.strength_after(concentrate, 1, a.parts_of_water(concentrate, target)) == target


@given(numbers, numbers, numbers)
def test_a_rate_and_its_coverage_are_inverse(amount: F, rate: F, per: F) -> None:
    assert a.at_rate(a.coverage(amount, rate, per), rate, per) == amount


@given(numbers)
def test_an_acre_and_a_thousand_square_feet(rate: F) -> None:
    assert a.per_acre(a.per_1000_sq_ft(rate)) == rate
    assert a.per_1000_sq_ft(rate) * F("43.56") == rate


@given(numbers, numbers)
def test_parts_per_million(ppm: F, millilitres: F) -> None:
    assert a.ppm_of(a.grams_for_ppm(ppm, millilitres), millilitres) == ppm


@given(numbers)
def test_a_circle_is_measured_back(diameter: F) -> None:
    found = a.diameter_within(a.circle(diameter), 12)
    assert 0 <= diameter - found < F(2, 10**12)
    assert abs(a.diameter_around(a.PI * diameter) - diameter) == 0


def test_shapes() -> None:
    assert a.perimeter(60, 40, 60, 40) == 200
    assert a.walls_and_ceiling(10, 12, 8) == 2 * 8 * 22 + 120
    assert a.block(2, 3, 4) == 24
    assert a.band_on_field(3, 10, 30) == 1
    assert a.gallons_per_acre(128, 43_560) == 1
    assert a.by_calibration(10, Decimal("0.11")) == F("1.1")
    assert a.weighed_out(Decimal("212.4"), Decimal("198.1")) == F("14.3")


@given(numbers, numbers, numbers, numbers)
def test_boom_output_by_the_road(flow: F, width: F, speed: F, minutes: F) -> None:
    # What runs out in so many minutes, over the strip driven in them.
    strip = speed * 5280 / 60 * minutes * width / 12
    assert a.boom_output(flow, width, speed) == a.gallons_per_acre(flow * minutes, strip)


@given(numbers, numbers, numbers)
def test_more_of_anything_is_not_less(one: F, other: F, rate: F) -> None:
    small, large = sorted((one, other))
    assert a.at_rate(small, rate) <= a.at_rate(large, rate)
    assert a.coverage(small, rate) <= a.coverage(large, rate)
    assert a.state_pounds(small, rate) <= a.state_pounds(large, rate)
    assert a.per_cent_in_mix(small, rate, 1) <= a.per_cent_in_mix(large, rate, 1)


# --- undiluted product, unrounded --------------------------------------------------------------


def test_a_rate_on_a_limit_is_exactly_on_it() -> None:
    mix = Quantity(F(1, 3), "gal")
    found = a.undiluted(mix, dilution("1.2 fl oz/gal").value or NOTHING, LIQUID, UNITS)
    assert found == Quantity(F(2, 5), "fl oz")


NOTHING = Dilution("", Strength.RATE)


def rate_of_an_ounce(gallons: F) -> Dilution:
    return Dilution("", Strength.RATE, None, Quantity(F(1), "oz"), Quantity(gallons, "gal"))


@pytest.mark.parametrize(
    ("mix", "mixed", "of"),
    [
        ("1 gal", NOTHING, LIQUID),
        ("1 lb", rate_of_an_ounce(F(1)), DUST),
        ("1 gal", rate_of_an_ounce(F(0)), DUST),
        ("1 gal", Dilution("", Strength.RATIO, F(1, 100)), POWDER),
        ("1 gal", Dilution("", Strength.RATIO, F(1, 100)), None),
        ("1 gal", Dilution("", Strength.RATIO), LIQUID),
        ("1 gal", Dilution("", Strength.INGREDIENT_PER_CENT, F(1)), None),
        ("1 gal", Dilution("", Strength.INGREDIENT_PER_CENT, F(1)), UNWEIGHABLE),
        ("1 gal", Dilution("", Strength.INGREDIENT_PER_CENT), LIQUID),
    ],
)  # fmt: skip
def test_what_cannot_be_told_is_none(mix: str, mixed: Dilution, of: Any) -> None:
    number, unit = mix.split()
    assert a.undiluted(Quantity(F(number), unit), mixed, of, UNITS) is None


@given(numbers, shares)
def test_a_per_cent_of_product_by_volume_is_its_share(gallons: F, share: F) -> None:
    mix = Quantity(gallons, "gal")
    by_cent = Dilution("", Strength.PRODUCT_PER_CENT, share * 100)
    by_ratio = Dilution("", Strength.RATIO, share)
    wanted = Quantity(gallons * 128 * share, "fl oz")
    assert a.undiluted(mix, by_cent, LIQUID, UNITS) == wanted
    assert a.undiluted(mix, by_ratio, LIQUID, UNITS) == wanted


@given(numbers, shares)
def test_a_dry_mix_is_by_weight(pounds: F, share: F) -> None:
    mix = Quantity(pounds, "lb")
    by_cent = Dilution("", Strength.PRODUCT_PER_CENT, share * 100)
    assert a.undiluted(mix, by_cent, DUST, UNITS) == Quantity(pounds * 16 * share, "oz")


def test_synergists_are_no_active_ingredients() -> None:
    assert a.active_share(LIQUID) == F("0.065")
