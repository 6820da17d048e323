"""Amounts, bases, dilutions and the product behind a mix, as a line of a day sheet writes them."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.normalise.amounts import read_amount, read_dilution, work_out_used
from ledger.numbers import GREATEST
from ledger.values.amount import Amount, Basis, Dilution, Quantity, Strength
from ledger.values.origin import Origin
from ledger.values.product import Formulation, Ingredient, Product, ProductClass
from ledger.values.reading import Reading
from tests.test_numbers import written
from tests.test_units import UNITS

AT = Origin("day.csv", 4, "amount", "S4")
AT_DILUTION = Origin("day.csv", 4, "dilution")


def product(
    form: Formulation, share: str, *, diluted: bool = False, gravity: str | None = None,
    also: tuple[Ingredient, ...] = (),
) -> Product:  # fmt: skip
    active = Ingredient("active", Fraction(share))
    specific = Fraction(gravity) if gravity else None
    return Product(
        "sample", "Sample", None, form, ProductClass.GENERAL, diluted, (active, *also), specific
    )


DUST = product(Formulation.DUST, "0.001")
GEL = product(Formulation.BAIT, "0.004")
AEROSOL = product(Formulation.PRESSURISED, "0.004")
LIQUID = product(Formulation.LIQUID, "0.065", diluted=True, gravity="1.021")
UNWEIGHABLE = product(Formulation.LIQUID, "0.065", diluted=True)
READY = product(Formulation.LIQUID, "0.02")
POWDER = product(Formulation.POWDER, "0.4", diluted=True)
EVERY = (DUST, GEL, AEROSOL, LIQUID, UNWEIGHABLE, READY, POWDER, None)


def amount(text: str, of: Product | None = DUST, basis: str = "") -> Reading[Amount]:
    return read_amount(text, basis, of, UNITS, AT)


def dilution(text: str, of: Product | None = LIQUID, ratio: str = "1 in N") -> Reading[Dilution]:
    return read_dilution(text, of, UNITS, ratio, AT_DILUTION)


def codes(reading: Reading[Any]) -> list[str]:
    assert (reading.value is None) or not reading.faults
    assert all(fault.what and fault.way_out for fault in reading.faults)
    return [fault.code for fault in reading.faults]


def value(reading: Reading[Amount]) -> tuple[Fraction, str]:
    assert reading.faults == ()
    assert reading.value is not None
    return reading.value.quantity.value, reading.value.quantity.unit


# --- amounts -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "number", "unit"),
    [
        ("0.5 oz", "1/2", "oz"), ("1/2 oz", "1/2", "oz"), ("\u00bd oz", "1/2", "oz"),
        ("1\u00bd oz", "3/2", "oz"), (".5 oz", "1/2", "oz"), ("1 lb 10 oz", "26", "oz"),
        ("1 lb, 10 oz", "26", "oz"), ("1 lb and 10 oz", "26", "oz"), ("1lb10oz", "26", "oz"),
        ("1 lb. 10 ozs.", "26", "oz"), ("2 lb \u00bd oz", "65/2", "oz"), ("12.5 g", "25/2", "g"),
        ("1 lb + 4 oz", "20", "oz"), ("2#", "2", "lb"), ("0.5 OZ", "1/2", "oz"),
        ("1 pound 10 ounces", "26", "oz"), ("1,000 mg", "1000", "mg"), ("0.5 oz wt", "1/2", "oz"),
        ("2 lb 4 oz", "36", "oz"), ("3 oz.", "3", "oz"), ("1 kg 250 g", "1250", "g"),
    ],
)  # fmt: skip
def test_a_weight_is_read_as_typed(text: str, number: str, unit: str) -> None:
    assert value(amount(text)) == (Fraction(number), unit)


@pytest.mark.parametrize(
    ("text", "number", "unit"),
    [
        ("1-1/2 pt", "3/2", "pt"), ("3 1/4 fl oz", "13/4", "fl oz"), ("1,000 mL", "1000", "mL"),
        ("2 fl. oz.", "2", "fl oz"), ("2 floz", "2", "fl oz"), ("3 T", "3", "tbsp"),
        ("3 t", "3", "tsp"), ("2 Tbsp", "2", "tbsp"), ("1 cup", "1", "cup"),
        ("1 qt 4 fl oz", "36", "fl oz"), ("1 gal 1 qt", "5", "qt"), ("0.9 L", "9/10", "L"),
    ],
)  # fmt: skip
def test_a_volume_is_read_as_typed(text: str, number: str, unit: str) -> None:
    assert value(amount(text, LIQUID, "product")) == (Fraction(number), unit)


@pytest.mark.parametrize(
    "text",
    [
        "212.4 g - 198.1 g", "212.4 g \u2013 198.1 g", "212.4 g \u2212 198.1 g",
        "212.4g-198.1g", "212.4 g -198.1 g", "212.4 grams - 198.1 grams",
    ],
)  # fmt: skip
def test_a_weighing_keeps_both_readings(text: str) -> None:
    found = amount(text).value
    assert found is not None
    assert found.quantity == Quantity(Fraction("14.3"), "g")
    assert found.weighing == (
        Quantity(Fraction("212.4"), "g"), Quantity(Fraction("198.1"), "g"),
    )  # fmt: skip


def test_a_weighing_in_pounds_and_ounces() -> None:
    assert value(amount("1 lb 2 oz - 14 oz")) == (Fraction(4), "oz")
    assert value(amount("3 pt - 1 pt", LIQUID, "product")) == (Fraction(2), "pt")


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "BLANK"), ("  ", "BLANK"), ("0 oz", "ZERO"), ("0.0 g", "ZERO"), ("0 lb 0 oz", "ZERO"),
        ("-1 lb", "NEGATIVE"), ("\u22121 lb", "NEGATIVE"), ("0,5 oz", "COMMA"),
        ("1 lb 0,5 oz", "COMMA"), ("1e3 oz", "EXPONENT"), ("9007199254740993 oz", "TOO-LARGE"),
        ("9007199254740992 lb 1 oz", "TOO-LARGE"), ("5", "UNIT"), ("5 ozz", "UNIT"),
        ("1 M", "UNIT"), ("1 c", "UNIT"), ("1 oz bait", "UNIT"), ("some", "NUMBER"),
        ("oz", "NUMBER"), ("light coat", "NUMBER"), ("about 1 oz", "NUMBER"), ("~1 oz", "NUMBER"),
        ("x" * 5000, "NUMBER"), ("12 each", "COUNT"), ("each", "COUNT"), ("3 puffs", "COUNT"),
        ("1 puff", "COUNT"), ("2 stations", "COUNT"), ("6 blocks", "COUNT"), ("1 can", "COUNT"),
        ("a can", "COUNT"), ("2 bait stations", "COUNT"), ("3 placements", "COUNT"),
        ("2 boxes", "COUNT"), ("1 can 3 oz", "COUNT"), ("1/2 pt", "DIMENSION"),
        ("1 gal", "DIMENSION"), ("3 fl oz", "DIMENSION"), ("3 ft", "DIMENSION"),
        ("1 C", "DIMENSION"), ("5 %", "DIMENSION"), ("1 lb 3 fl oz", "DIMENSION"),
        ("1 lb - 3 fl oz", "DIMENSION"), ("2 tbsp", "SPOON"), ("1 tsp", "SPOON"),
        ("1 cup", "SPOON"), ("10 oz 1 lb", "ORDER"), ("1 lb 20 oz", "ORDER"),
        ("1 lb 16 oz", "ORDER"), ("0.5 oz 0.5 oz", "ORDER"), ("198 g - 212 g", "WEIGHING"),
        ("3 oz - 2 oz - 1 oz", "WEIGHING"), ("198 g - 198 g", "ZERO"), ("1 lb - 16 oz", "ZERO"),
        ("1 lb - 10 oz", "TWO-WAYS"), ("1 lb-10 oz", "TWO-WAYS"), ("1-2 oz", "RANGE"),
        ("212.4 - 198.1 g", "RANGE"), ("1 to 2 oz", "RANGE"), ("3/0 oz", "NUMBER"),
    ],
)  # fmt: skip
def test_what_is_not_an_amount_is_one_fault(text: str, code: str) -> None:
    reading = amount(text)
    assert codes(reading) == [f"AMOUNT-{code}"]
    assert reading.faults[0].origin == AT


@pytest.mark.parametrize(
    ("text", "way_out"),
    [
        ("0,5 oz", "write 0.5"), ("1 C", '"cup"'), ("1 c", '"cup"'), ("12 each", "extent"),
        ("1/2 pt", "weigh it"), ("1 lb - 10 oz", "write 1 lb 10 oz"), ("5 ozz", '"oz"'),
        ("212.4 - 198.1 g", "212.4 g - 198.1 g"), ("10 oz 1 lb", "1 lb 10 oz"),
    ],
)  # fmt: skip
def test_the_way_out_is_named(text: str, way_out: str) -> None:
    assert way_out in amount(text).faults[0].way_out


@given(written(), st.sampled_from(["oz", "lb", "g", "ounces", "kg", "LB."]))
def test_every_form_of_a_number_is_an_amount(pair: tuple[str, Fraction], unit: str) -> None:
    text, number = pair
    if number:
        assert value(amount(f"{text} {unit}"))[0] == number
    else:
        assert codes(amount(f"{text} {unit}")) == ["AMOUNT-ZERO"]


@given(st.integers(1, 999), st.integers(0, 127), st.sampled_from([" ", "", ", ", " and ", " & "]))
def test_pounds_and_ounces_add_up(pounds: int, eighths: int, joint: str) -> None:
    text = f"{pounds} lb{joint}{eighths // 8} {eighths % 8}/8 oz"
    assert value(amount(text)) == (pounds * 16 + Fraction(eighths, 8), "oz")


weights = st.integers(1, 10**7).map(lambda tenths: Fraction(tenths, 10))


@given(weights, weights, st.sampled_from([" - ", "-", " \u2013 ", " \u2212 "]))
def test_a_weighing_is_the_difference(one: Fraction, other: Fraction, dash: str) -> None:
    before, after = max(one, other), min(one, other)
    reading = amount(f"{float(before):.1f} g{dash}{float(after):.1f} g")
    if before == after:
        assert codes(reading) == ["AMOUNT-ZERO"]
    else:
        assert value(reading) == (before - after, "g")


@given(st.text(max_size=40), st.sampled_from(EVERY), st.sampled_from(["", "mix", "product"]))
def test_any_text_is_read_or_faulted(text: str, of: Product | None, basis: str) -> None:
    reading = amount(text, of, basis)
    assert (reading.value is None) == bool(reading.faults)
    if reading.value is not None:
        assert 0 < reading.value.quantity.value <= GREATEST


# --- the ounce and the product -----------------------------------------------------------------


@pytest.mark.parametrize("of", [DUST, GEL, AEROSOL])
def test_a_bare_ounce_of_what_is_weighed_is_a_weight(of: Product) -> None:
    reading = amount("3 oz", of)
    assert value(reading) == (Fraction(3), "oz")
    assert reading.remarks == ()


def test_a_bare_ounce_of_a_liquid_is_a_fluid_one_and_said_so() -> None:
    for of, basis in ((READY, ""), (LIQUID, "product"), (LIQUID, "mix"), (POWDER, "mix")):
        reading = amount("24 oz", of, basis)
        assert value(reading) == (Fraction(24), "fl oz")
        assert reading.remarks == ('"24 oz" of a liquid is read as 24 fl oz',)
    assert value(amount("1 qt 4 oz", LIQUID, "product")) == (Fraction(36), "fl oz")
    assert value(amount("24 oz", POWDER, "product")) == (Fraction(24), "oz")
    assert value(amount("24 oz", DUST, "mix")) == (Fraction(24), "oz")


def test_without_a_label_a_bare_ounce_is_held_and_the_rest_is_read() -> None:
    assert codes(amount("3 oz", None)) == ["AMOUNT-OUNCE"]
    assert codes(amount("3 oz", None, "product")) == ["AMOUNT-OUNCE"]
    assert "label" in amount("3 oz", None).faults[0].what
    assert value(amount("3 oz wt", None)) == (Fraction(3), "oz")
    assert value(amount("1 lb 3 oz", None)) == (Fraction(19), "oz")
    assert value(amount("1 qt 3 oz", None, "product")) == (Fraction(35), "fl oz")
    reading = amount("12.5 g", None)
    assert value(reading) == (Fraction("12.5"), "g")
    assert "taken as undiluted product" in reading.remarks[0]
    assert codes(amount("1 gal", None)) == ["AMOUNT-BASIS"]
    assert value(amount("1 gal", None, "mix")) == (Fraction(1), "gal")


def test_a_weight_of_a_liquid_needs_its_gravity() -> None:
    reading = amount("12.5 g", LIQUID, "product")
    assert value(reading) == (Fraction("12.5"), "g")
    assert "1.021" in reading.remarks[0]
    assert codes(amount("12.5 g", UNWEIGHABLE, "product")) == ["AMOUNT-DIMENSION"]
    assert codes(amount("12.5 g", READY)) == ["AMOUNT-DIMENSION"]


def test_a_spoon_measures_a_mix_but_not_a_powder() -> None:
    assert codes(amount("2 tbsp", POWDER, "product")) == ["AMOUNT-SPOON"]
    assert "lot" in amount("2 tbsp", POWDER, "product").faults[0].what
    assert value(amount("2 cups", POWDER, "mix")) == (Fraction(2), "cup")


# --- the basis ---------------------------------------------------------------------------------


def test_a_blank_basis_means_product_only_for_what_is_used_as_it_comes() -> None:
    for of in (DUST, GEL, AEROSOL, READY):
        found = amount("4 fl oz" if of is READY else "4 g", of).value
        assert found is not None
        assert found.basis is Basis.PRODUCT
    reading = amount("3 oz", LIQUID)
    assert codes(reading) == ["AMOUNT-BASIS"]
    assert reading.faults[0].origin == Origin("day.csv", 4, "basis")


@pytest.mark.parametrize(
    ("word", "basis"),
    [("product", Basis.PRODUCT), ("Mix", Basis.MIX), (" MIX ", Basis.MIX),
     ("finished mix", Basis.MIX), ("undiluted product", Basis.PRODUCT)],
)  # fmt: skip
def test_a_basis_is_a_word(word: str, basis: Basis) -> None:
    found = amount("1 gal", LIQUID, word).value
    assert found is not None
    assert found.basis is basis


def test_an_unknown_basis_is_one_fault() -> None:
    reading = amount("1 gal", LIQUID, "prodct")
    assert codes(reading) == ["AMOUNT-BASIS-WORD"]
    assert 'did you mean "product"?' in reading.faults[0].way_out


def test_basis_and_amount_are_faulted_together() -> None:
    assert codes(amount("0,5 oz", LIQUID)) == ["AMOUNT-BASIS", "AMOUNT-COMMA"]


# --- dilutions ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "rate", "unit", "per"),
    [
        ("1 fl oz/gal", "1", "fl oz", "1"), ("1.2 fl oz per gallon", "6/5", "fl oz", "1"),
        ("2 fl oz/100 gal", "2", "fl oz", "100"), ("1/2 fl oz/gal", "1/2", "fl oz", "1"),
        ("\u00bd fl. oz./gal.", "1/2", "fl oz", "1"), ("1 pt / 100 gal", "1", "pt", "100"),
        ("1 qt 4 oz/100 gal", "36", "fl oz", "100"), ("1 tsp/gal", "1", "tsp", "1"),
        ("4 oz/gal", "4", "fl oz", "1"), ("1 fl oz per 1 gal", "1", "fl oz", "1"),
    ],
)  # fmt: skip
def test_a_rate_of_a_liquid(text: str, rate: str, unit: str, per: str) -> None:
    found = dilution(text).value
    assert found is not None
    assert found.strength is Strength.RATE
    assert found.text == text
    assert found.product == Quantity(Fraction(rate), unit)
    assert found.mix == Quantity(Fraction(per), "gal")


def test_a_rate_of_a_powder_is_a_weight() -> None:
    found = dilution("4 oz/gal", POWDER).value
    assert found is not None
    assert found.product == Quantity(Fraction(4), "oz")
    assert codes(dilution("1 pt/100 gal", POWDER)) == ["DILUTION-DIMENSION"]
    assert codes(dilution("1 tbsp/gal", POWDER)) == ["DILUTION-SPOON"]
    assert codes(dilution("4 oz/gal", None)) == ["AMOUNT-OUNCE"]


@pytest.mark.parametrize(
    ("text", "strength", "number"),
    [
        ("0.06 % ai", Strength.INGREDIENT_PER_CENT, "0.06"),
        ("0.06% a.i.", Strength.INGREDIENT_PER_CENT, "0.06"),
        (".06 per cent active ingredient", Strength.INGREDIENT_PER_CENT, "0.06"),
        ("1/2 percent AI", Strength.INGREDIENT_PER_CENT, "0.5"),
        ("1 % product", Strength.PRODUCT_PER_CENT, "1"),
        ("1 % v/v", Strength.PRODUCT_PER_CENT, "1"),
        ("100 % product", Strength.PRODUCT_PER_CENT, "100"),
        ("6.5 % ai", Strength.INGREDIENT_PER_CENT, "6.5"),
    ],
)
def test_a_per_cent_says_of_what(text: str, strength: Strength, number: str) -> None:
    found = dilution(text).value
    assert found is not None
    assert (found.strength, found.value) == (strength, Fraction(number))


@pytest.mark.parametrize(
    ("text", "ratio", "share"),
    [
        ("1:100", "1 in N", "1/100"), ("1:100", "1 + N", "1/101"), ("1 : 100", "1 + N", "1/101"),
        ("1 to 100", "1 in N", "1/100"), ("1 in 100", "1 + N", "1/100"),
        ("1 + 100", "1 in N", "1/101"), ("2:98", "1 + N", "1/50"), ("1:1", "1 in N", "1"),
        ("1 in 100", "", "1/100"), ("1:1,000", "1 in N", "1/1000"),
    ],
)  # fmt: skip
def test_a_ratio_is_read_the_firm_s_way_unless_it_says_itself(
    text: str, ratio: str, share: str
) -> None:
    reading = dilution(text, LIQUID, ratio)
    assert reading.value is not None
    assert (reading.value.strength, reading.value.value) == (Strength.RATIO, Fraction(share))
    assert text in reading.remarks[0]


@pytest.mark.parametrize("text", ["none", "None", "neat", "undiluted"])
def test_no_dilution(text: str) -> None:
    found = dilution(text).value
    assert found is not None
    assert found.strength is Strength.NONE


def test_a_blank_dilution_is_nothing_and_no_fault() -> None:
    assert dilution("  ") == Reading(None)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("0.06 %", "DILUTION-PER-CENT"), ("0.06% w/w", "DILUTION-PER-CENT"),
        ("0 % ai", "DILUTION-ZERO"), ("0:100", "DILUTION-ZERO"), ("1:0", "DILUTION-ZERO"),
        ("0 fl oz/gal", "DILUTION-ZERO"), ("1 fl oz/0 gal", "DILUTION-ZERO"),
        ("50 % ai", "DILUTION-STRENGTH"), ("101 % product", "DILUTION-STRENGTH"),
        ("6.51 % ai", "DILUTION-STRENGTH"), ("2 gal/gal", "DILUTION-STRENGTH"),
        ("100:1", "DILUTION-STRENGTH"), ("1 fl oz/1000 sq ft", "DILUTION-DIMENSION"),
        ("1 fl oz/acre", "DILUTION-DIMENSION"), ("abc", "DILUTION-UNREADABLE"),
        ("5", "DILUTION-UNREADABLE"), ("2 fl oz in 1 gal", "DILUTION-UNREADABLE"),
        ("1 fl oz/gal of water", "DILUTION-UNREADABLE"), ("1:100:2", "DILUTION-UNREADABLE"),
        ("0,5 % ai", "AMOUNT-COMMA"), ("-1 % ai", "AMOUNT-NEGATIVE"),
        ("1:-5", "DILUTION-UNREADABLE"),
        ("1 foo/gal", "AMOUNT-UNIT"), ("2 each/gal", "AMOUNT-COUNT"),
        ("1:9007199254740993", "AMOUNT-TOO-LARGE"),
    ],
)  # fmt: skip
def test_what_is_no_dilution_is_one_fault(text: str, code: str) -> None:
    reading = dilution(text)
    assert codes(reading) == [code]
    assert reading.faults[0].origin == AT_DILUTION


def test_a_bare_per_cent_says_what_to_write() -> None:
    assert dilution("0.06 %").faults[0].way_out == "write % ai or % product"


def test_a_ratio_that_the_firm_has_not_settled_is_a_fault() -> None:
    assert codes(dilution("1:100", LIQUID, "")) == ["DILUTION-RATIO"]


def test_several_actives_are_taken_together_and_said_so() -> None:
    also = (
        Ingredient("other", Fraction("0.01")),
        Ingredient("booster", Fraction("0.1"), None, None, True),
    )
    two = product(Formulation.LIQUID, "0.05", diluted=True, gravity="1", also=also)
    reading = dilution("6 % ai", two)
    assert reading.remarks == ('the per cent of "6 % ai" is taken as active and other together',)
    assert codes(dilution("6.01 % ai", two)) == ["DILUTION-STRENGTH"]


# --- the product that was used -----------------------------------------------------------------


def used(text: str, basis: str, mixed: str, of: Product | None, ratio: str = "1 in N") -> Any:
    quantity, strength = amount(text, of, basis), dilution(mixed, of, ratio)
    assert quantity.value is not None
    assert not strength.faults
    reading = work_out_used(quantity.value, strength.value, of, UNITS, AT_DILUTION)
    if reading.value is None:
        return [(fault.code, fault.origin.column) for fault in reading.faults]
    found = reading.value
    assert found.fraction == Fraction(found.numerator, found.denominator)
    assert found.fraction.denominator == found.denominator  # reduced
    assert not found.estimate
    return found.fraction, found.unit, found.derived


@pytest.mark.parametrize(
    ("text", "basis", "mixed", "of", "number", "unit"),
    [
        ("0.75 oz", "", "", DUST, "3/4", "oz"), ("1 lb 10 oz", "", "", DUST, "26", "oz"),
        ("212.4 g - 191.9 g", "", "", DUST, "20.5", "g"),
        ("1/3 fl oz", "product", "", LIQUID, "1/3", "fl oz"),
        ("1-1/2 pt", "product", "1 fl oz/gal", LIQUID, "3/2", "pt"),
        ("1 gal", "mix", "none", LIQUID, "1", "gal"), ("4 fl oz", "", "", READY, "4", "fl oz"),
        ("1 gal", "mix", "none", None, "1", "gal"),
    ],
)  # fmt: skip
def test_product_is_kept_as_typed(
    text: str, basis: str, mixed: str, of: Product | None, number: str, unit: str
) -> None:
    assert used(text, basis, mixed, of) == (Fraction(number), unit, False)


# The first four are worked out in the samples' expected results: 0.9, 1.5 x 1.1572364951...,
# 0.1875 fl oz. The rest is arithmetic by hand on 128 fl oz to the gallon.
@pytest.mark.parametrize(
    ("text", "mixed", "of", "number", "unit"),
    [
        ("3/4 gal", "1.2 fl oz/gal", LIQUID, "0.9", "fl oz"),
        ("1-1/2 gal", "0.06 % ai", LIQUID, "1.735854743", "fl oz"),
        ("1 gal", "0.06 % ai", LIQUID, "1.157236495", "fl oz"),
        ("24 oz", "1 fl oz/gal", LIQUID, "0.1875", "fl oz"),
        ("1 gal", "1 % product", LIQUID, "1.28", "fl oz"),
        ("1 gal", "1:100", LIQUID, "1.28", "fl oz"),
        ("1 gal", "1 + 100", LIQUID, "1.267326733", "fl oz"),
        ("100 gal", "1 pt/100 gal", LIQUID, "16", "fl oz"),
        ("1 gal", "2 g/gal", LIQUID, "2", "g"),
        ("2 gal", "4 oz/gal", POWDER, "8", "oz"), ("2 gal", "1 lb/100 gal", POWDER, "0.02", "lb"),
        ("1 L", "1 % product", POWDER, "0.352739619", "oz"),  # 10 g of 1 kg
        ("1 L", "0.4 % ai", POWDER, "0.352739619", "oz"),  # 4 g of 40 %
        ("2 lb", "5 % product", DUST, "1.6", "oz"), ("2 lb", "0.05 % ai", DUST, "16", "oz"),
        ("2 lb", "1:4", DUST, "8", "oz"), ("1 gal", "1 fl oz/gal", None, "1", "fl oz"),
        ("1 L", "1 mL/L", None, "0.033814023", "fl oz"),
    ],
)  # fmt: skip
def test_product_behind_a_mix(
    text: str, mixed: str, of: Product | None, number: str, unit: str
) -> None:
    assert used(text, "mix", mixed, of) == (Fraction(number), unit, True)


@pytest.mark.parametrize(
    ("text", "mixed", "of", "code", "column"),
    [
        ("1 gal", "", LIQUID, "DILUTION-BLANK", "dilution"),
        ("1 gal", "", READY, "DILUTION-BLANK", "dilution"),
        ("1 gal", "0.06 % ai", UNWEIGHABLE, "DILUTION-LABEL", "dilution"),
        ("1 gal", "0.06 % ai", None, "DILUTION-LABEL", "dilution"),
        ("1 gal", "1:100", None, "DILUTION-LABEL", "dilution"),
        ("1 gal", "1:100", POWDER, "DILUTION-DIMENSION", "dilution"),
        ("8 lb", "1 fl oz/gal", LIQUID, "DILUTION-DIMENSION", "dilution"),
        ("2 gal", "none", POWDER, "AMOUNT-DIMENSION", "amount"),
        ("2 lb", "none", UNWEIGHABLE, "AMOUNT-DIMENSION", "amount"),
        ("9007199254740991 gal", "1 fl oz/gal", LIQUID, None, None),
        ("9007199254740991 gal", "2 fl oz/gal", LIQUID, "AMOUNT-TOO-LARGE", "amount"),
        ("0.000001 fl oz", "1 fl oz/100 gal", LIQUID, "AMOUNT-ZERO", "amount"),
    ],
)  # fmt: skip
def test_what_cannot_be_worked_out_says_why(
    text: str, mixed: str, of: Product | None, code: str | None, column: str | None
) -> None:
    found = used(text, "mix", mixed, of)
    assert found == [(code, column)] if code else found[2]


def test_the_missing_fact_of_a_label_is_named() -> None:
    quantity = amount("1 gal", UNWEIGHABLE, "mix").value
    assert quantity is not None
    mixed = dilution("0.06 % ai", UNWEIGHABLE).value
    reading = work_out_used(quantity, mixed, UNWEIGHABLE, UNITS, AT_DILUTION)
    assert "specific gravity" in reading.faults[0].what
    assert "specific_gravity" in reading.faults[0].way_out


gallons = st.fractions(min_value="1/100", max_value=500, max_denominator=1000)
mixes = st.sampled_from(["1.2 fl oz/gal", "0.06 % ai", "1 % product", "1:100", "1 + 100"])


@given(gallons, mixes)
def test_a_derived_amount_is_within_half_a_billionth(mix: Fraction, mixed: str) -> None:
    ingredient = Fraction("0.0006") / (Fraction("0.065") * Fraction("1.021"))
    share = {
        "1.2 fl oz/gal": Fraction(12, 1280), "0.06 % ai": ingredient,
        "1 % product": Fraction(1, 100), "1:100": Fraction(1, 100), "1 + 100": Fraction(1, 101),
    }[mixed]  # fmt: skip
    exact = 128 * share * mix
    found, unit, derived = used(f"{mix} gal", "mix", mixed, LIQUID)
    assert (unit, derived) == ("fl oz", True)
    assert abs(found - exact) * 2 * 10**9 <= 1
    assert 10**9 % found.denominator == 0


@given(gallons, gallons, mixes)
def test_more_mix_is_not_less_product(one: Fraction, other: Fraction, mixed: str) -> None:
    small, large = sorted((one, other))
    low = used(f"{small} gal", "mix", mixed, LIQUID)[0]
    assert low <= used(f"{large} gal", "mix", mixed, LIQUID)[0]


@pytest.mark.parametrize(
    ("billionths", "kept"), [(5, None), (15, 2), (25, 2), (35, 4), (26, 3), (24, 2)]
)
def test_a_tie_goes_to_the_even_billionth(billionths: int, kept: int | None) -> None:
    # One part in ten of so many billionths of a fluid ounce.
    quantity = Amount("mix", Quantity(Fraction(billionths, 10**9), "fl oz"), Basis.MIX)
    mixed = Dilution("1 + 9", Strength.RATIO, Fraction(1, 10))
    found = work_out_used(quantity, mixed, LIQUID, UNITS, AT_DILUTION).value
    assert (found.fraction if found else None) == (Fraction(kept, 10**9) if kept else None)
