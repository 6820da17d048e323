"""California's pounds, row by row against its published figures.

Sources: the state's Pesticide Use Report data of 2017 for structural work in Placer County (243
rows, ``fixtures/government/ca_pur_placer_2017_structural.csv``); and volumes that explain
published pounds (``volume_to_pounds_vectors.csv``), worked out from the same data: the amounts
and gravities there are implied, the pounds are published.
"""

from __future__ import annotations

import csv
import tomllib
from decimal import Decimal
from fractions import Fraction

import pytest

from ledger.arithmetic import (
    STATE_POUNDS_PER_GALLON,
    WATER_POUNDS_PER_GALLON,
    state_ingredient_pounds,
    state_pounds,
)
from ledger.values.amount import Quantity
from tests.house import ROOT
from tests.test_units import UNITS


def rows(name: str) -> list[dict[str, str]]:
    path = ROOT / "fixtures" / "government" / name
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


PUBLISHED = rows("ca_pur_placer_2017_structural.csv")
VOLUMES = rows("volume_to_pounds_vectors.csv")
UNIT = {"FL_OZ": "fl oz", "GA": "gal"}


def gallons(row: dict[str, str]) -> Fraction:
    typed = Quantity(Fraction(row["implied_amount"]), UNIT[row["unit"]])
    return UNITS.convert(typed, "gal").value


def test_nothing_is_left_out() -> None:
    assert len(PUBLISHED) == 243
    assert len(VOLUMES) == 37
    assert {row["unit"] for row in VOLUMES} == set(UNIT)


@pytest.mark.parametrize("row", PUBLISHED, ids=lambda row: row["row"])
def test_pounds_of_ingredient_to_the_last_digit(row: dict[str, str]) -> None:
    pounds = state_ingredient_pounds(Decimal(row["lbs_product"]), Decimal(row["ai_pct"]))
    assert pounds == Fraction(row["lbs_ai"])


@pytest.mark.parametrize(
    "row", VOLUMES, ids=lambda row: f"{row['product_group']} {row['implied_amount']}"
)
def test_pounds_of_a_volume_to_the_last_digit(row: dict[str, str]) -> None:
    product = state_pounds(gallons(row), Decimal(row["implied_specific_gravity"]))
    assert product == Fraction(row["published_lbs_product"])
    # The per cent is taken of the rounded pounds, and is itself not rounded.
    ingredient = state_ingredient_pounds(product, Decimal(row["ai_pct"]))
    assert ingredient == Fraction(row["published_lbs_ai"])


def test_another_constant_would_not_do() -> None:
    def explained(per_gallon: Fraction) -> int:
        return sum(
            round(gallons(row) * per_gallon * Fraction(row["implied_specific_gravity"]), 4)
            == Fraction(row["published_lbs_product"])
            for row in VOLUMES
        )

    assert explained(STATE_POUNDS_PER_GALLON) == len(VOLUMES)
    for other in (WATER_POUNDS_PER_GALLON, Fraction("8.34"), Fraction("8.345")):
        assert explained(other) < len(VOLUMES) / 4


def test_rounding_after_the_per_cent_would_not_do() -> None:
    wrong = [
        row
        for row in VOLUMES
        if gallons(row) * STATE_POUNDS_PER_GALLON * Fraction(row["implied_specific_gravity"])
        * Fraction(row["ai_pct"]) / 100 != Fraction(row["published_lbs_ai"])
    ]  # fmt: skip
    assert len(wrong) > len(VOLUMES) / 2


def test_no_published_row_decides_a_tie() -> None:
    # If one ever does, the rounding of ties stops being a choice of ours.
    ties = [
        row
        for row in VOLUMES
        if (gallons(row) * STATE_POUNDS_PER_GALLON * Fraction(row["implied_specific_gravity"])
            * 20_000) % 2 == 1
    ]  # fmt: skip
    assert ties == []


def test_a_weight_is_exact() -> None:
    # 9 oz is 0.5625 lb in the published data: the ounce is a sixteenth, nothing is rounded.
    pounds = UNITS.convert(Quantity(Fraction(9), "oz"), "lb").value
    assert pounds == Fraction("0.5625")
    assert state_ingredient_pounds(pounds, Decimal("0.029")) == Fraction("0.000163125")


def test_the_form_says_the_same() -> None:
    path = ROOT / "rules" / "forms" / "us-ca-monthly.toml"
    form = tomllib.loads(path.read_text("utf-8"))["form"]
    assert Fraction(form["pounds_per_gallon"]) == STATE_POUNDS_PER_GALLON
    assert form["round_pounds"] == 4
