"""Worked examples that others published, by the public arithmetic.

Source: ``fixtures/worked-examples.toml``; each block names the publication and page it was read
in. Published errors must not come out; a truncated number is compared within one unit of its last
place; where the publication rounded a constant, the number recomputed on exact factors counts.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from fractions import Fraction
from typing import Any

import pytest

from ledger import arithmetic as a
from ledger.rulebook.model import Shape
from ledger.values.amount import Quantity
from ledger.values.finding import Kind
from tests.cases import limit, q, use
from tests.house import ROOT
from tests.test_checks_shapes import kinds
from tests.test_units import UNITS

Inputs = dict[str, Fraction]
F = Fraction

# Decimals are read as the fractions they write; a float would be another number.
EXAMPLES: dict[str, dict[str, Any]] = {
    block["id"]: block
    for block in tomllib.loads(
        (ROOT / "fixtures" / "worked-examples.toml").read_text("utf-8"), parse_float=Fraction
    )["example"]
}

NOT_COVERED: dict[str, str] = {
    "CV-015": "an interval in days is counted by the checks of a line, on the calendar: held below",
}
"""Examples that the public functions do not cover, each with the reason."""

WATER_AT_20_C = F("0.9982071")
"""Specific gravity of water at 68 F, on which two of the recomputed answers rest (the CRC
Handbook's 998.2071 kg/m3, from memory; their notes say 8.33 lb/gal at 68 F)."""

TENTH_DECIMAL = F(1, 10**10)


def to(value: Fraction | int, unit: str, other: str) -> Fraction:
    return UNITS.convert(Quantity(F(value), unit), other).value


def pints_per_acre(i: Inputs) -> Fraction:
    return to(a.gallons_with(i["rate"], i["strength"]), "gal", "pt")


def ml_per_1000_sq_ft(i: Inputs) -> Fraction:
    return to(a.per_1000_sq_ft(a.gallons_with(i["rate"], i["strength"])), "gal", "mL")


def grams_per_1000_sq_ft(i: Inputs) -> Fraction:
    product = a.product_with(i["rate"], i["strength"] / 100)
    return to(a.per_1000_sq_ft(product), "lb", "g")


def quarts_in_100_gallons(i: Inputs) -> Fraction:
    return to(a.gallons_with(i["ai"], i["strength"]), "gal", "qt")


def powder_in_100_gallons(i: Inputs) -> Fraction:
    return a.product_with(i["ai"], i["strength"] / 100)


def by_volume(mix: str, unit: str) -> Callable[[Inputs], Fraction]:
    return lambda i: to(a.concentrate_for_mix(i["finished_mix"], i["target"], 100), mix, unit)


def gallons_for_per_cent(i: Inputs) -> Fraction:
    """A per cent by weight of a mix that counts as water, from pounds a gallon of product."""
    ingredient = a.pounds_of_volume(i["mix"], 1) * i["target"] / 100
    return a.gallons_with(ingredient, i["strength"])


def ppm_of_an_ounce(i: Inputs) -> Fraction:
    grams = to(a.ingredient_in(i["product"], i["strength"] / 100), "oz", "g")
    return a.ppm_of(grams, to(i["mix"], "gal", "mL"))


def ounces_for_ppm(i: Inputs) -> Fraction:
    ingredient = a.grams_for_ppm(i["target"], to(i.get("mix", F(100)), "gal", "mL"))
    return to(a.product_with(ingredient, i["strength"] / 100), "g", "oz")


def per_100(unit: str, other: str) -> Callable[[Inputs], Fraction]:
    return lambda i: to(a.at_rate(i["mix"], i["rate"], 100), unit, other)


def grams_per_litre(i: Inputs) -> Fraction:
    product = a.product_with(i["rate"], i.get("powder", F(100)) / 100)
    return a.at_rate(1000, product, i["output"])


def within_a_round_spot(i: Inputs) -> Fraction:
    return to(a.diameter_within(i["limit"], 15), "ft", "in")


def void(i: Inputs) -> Fraction:
    return to(a.block(i["width"], i["depth"], i["height"]), "cu in", "cu ft")


COVERED: dict[str, Callable[[Inputs], Fraction]] = {
    "WE-001": lambda i: a.concentrate_for_mix(i["finished_mix"], i["target"], i["concentrate"]),
    "WE-002": lambda i: a.water_for_mix(i["finished_mix"], a.concentrate_for_mix(
        i["finished_mix"], i["target"], i["concentrate"])),
    "WE-004": lambda i: to(
        a.weight_for_ingredient(i["finished_dust"], i["target"], i["concentrate"] / 100),
        "lb", "oz"),
    "WE-005": lambda i: a.weighed_out(i["finished_dust"], to(i["powder"], "oz", "lb")),
    "WE-007": grams_per_litre,
    "WE-008": lambda i: a.at_rate(i["tank"], grams_per_litre(i)),
    "WE-010": lambda i: a.water_for_mix(i["mix"], i["concentrate_volume"]),
    "WE-011": lambda i: a.at_rate(100, i["rate"], i["output"]),
    "WE-013": grams_per_litre,
    "WE-014": lambda i: a.concentrate_for_mix(i["finished_mix"], i["target"], i["concentrate"]),
    "WE-016": lambda i: a.parts_of_water(i["concentrate"], i["target"]),
    "WE-017": lambda i: a.walls_and_ceiling(i["length"], i["width"], i["height"]) / 10_000,
    "WE-019": lambda i: a.coverage(i["tank"], i["output"]),
    "WE-020": lambda i: a.strength_after(
        i["concentrate"], i["concentrate_parts"], i["water_parts"]),
    "WE-022": lambda i: i["concentrate"] * a.share_with(i["concentrate_parts"], i["water_parts"]),
    "WE-023": per_100("lb", "lb"),
    "WE-025": per_100("pt", "pt"),
    "WE-026": per_100("pt", "fl oz"),
    "WE-028": per_100("lb", "oz"),
    "WE-029": per_100("lb", "g"),
    "WE-031": lambda i: to(a.at_rate(i["area"], i["rate"], 1000), "fl oz", "qt"),
    "WE-032": lambda i: a.same_ingredient(1, i["strong"], i["weak"]),
    "WE-034": pints_per_acre,
    "WE-035": lambda i: a.coverage(i["tank"], i["output"]),
    "WE-037": lambda i: to(i["pints"], "pt", "gal"),
    "WE-038": lambda i: a.band_on_field(i["rate"], i["band"], i["row"]),
    "WE-040": lambda i: a.at_rate(i["area"], i["output"], 1000),
    "WE-041": lambda i: a.rectangle(i["length"], i["width"]),
    "WE-043": lambda i: a.rectangle(i["length"], i["width"]),
    "WE-044": lambda i: a.circle(i["diameter"]),
    "WE-046": lambda i: a.cylinder(i["radius"], i["height"]),
    "WE-047": lambda i: a.diameter_around(i["circumference"]),
    "WE-049": lambda i: a.coverage(i["course"], i["spacing"]),
    "WE-050": lambda i: a.gallons_per_acre(i["collected"], i["plot"]),
    "WE-052": lambda i: a.product_for_load(i["load"], i["output"], i["rate"]),
    "WE-053": lambda i: to(i["volume"], "fl oz", "mL"),
    "WE-055": lambda i: a.boom_output(i["flow"], i["width"], i["speed"]),
    "WE-056": lambda i: to(i["flow"], "fl oz", "gal"),
    "WE-058": lambda i: a.rectangle(i["length"], i["swath"]),
    "WE-059": lambda i: to(a.weighed_out(i["before"], i["after"]), "oz", "lb"),
    **dict.fromkeys(("WE-061", "WE-062", "WE-064", "WE-065"), pints_per_acre),
    **dict.fromkeys(("WE-067", "WE-068", "WE-070", "WE-071"), ml_per_1000_sq_ft),
    **dict.fromkeys(("WE-073", "WE-074", "WE-076"), grams_per_1000_sq_ft),
    **dict.fromkeys(("WE-077", "WE-079", "WE-080"), quarts_in_100_gallons),
    **dict.fromkeys(("WE-082", "WE-083"), powder_in_100_gallons),
    "WE-085": per_100("qt", "tsp"),
    "WE-086": per_100("gal", "tbsp"),
    "WE-088": lambda i: to(a.pounds_of_volume(i["water"], 1) * i["target"] / 100, "lb", "oz"),
    "WE-089": lambda i: to(a.pounds_of_volume(i["water"], 1) * i["target"] / 100, "lb", "g"),
    "WE-091": lambda i: to(
        a.grams_for_ppm(i["target"], to(i["volume"], "cu ft", "mL")), "g", "lb"),
    "WE-092": lambda i: a.grams_for_ppm(i["target"], to(i["volume"], "gal", "mL")),
    "WE-094": lambda i: to(i["volume"], "cu ft", "gal"),
    "WE-095": lambda i: a.pounds_of_volume(to(i["volume"], "cu ft", "gal"), 1),
    "WE-097": lambda i: to(i["length"], "mi", "ft"),
    "WE-098": ppm_of_an_ounce,
    "WE-100": ppm_of_an_ounce,
    "WE-101": ounces_for_ppm,
    "WE-103": ounces_for_ppm,
    "WE-104": lambda i: ounces_for_ppm(i) * i["injector"],
    "WE-106": lambda i: a.coverage(i["spoon"], i["bulk"]),
    "WE-107": per_100("lb", "oz"),
    **dict.fromkeys(("WE-109", "WE-110", "WE-113"), by_volume("gal", "fl oz")),
    **dict.fromkeys(("WE-112", "WE-118"), by_volume("gal", "qt")),
    "WE-115": by_volume("pt", "fl oz"),
    # The block writes two thirds of a gallon as 0.666667.
    "WE-116": lambda i: by_volume("gal", "qt")({**i, "finished_mix": F(2, 3)}),
    "WE-119": gallons_for_per_cent,
    "WE-121": lambda i: to(gallons_for_per_cent(i), "gal", "pt"),
    "WE-122": gallons_for_per_cent,
    "WE-124": lambda i: to(gallons_for_per_cent(i), "gal", "tbsp"),
    "WE-125": lambda i: to(gallons_for_per_cent(i), "gal", "pt"),
    "WE-127": lambda i: a.gallons_with(
        i["ai"], a.ingredient_per_gallon(i["mix"] / 100, WATER_AT_20_C)),
    "CV-001": lambda i: a.perimeter(*(i["length"], i["width"]) * 2),
    "CV-002": lambda i: a.perimeter(50, 30, 20, 15, 30, 45),
    "CV-003": lambda i: a.rectangle(i["length"], i["height"]),
    "CV-005": lambda i: a.at_rate(i["length"], i["rate"], 10) * i["depth"],
    "CV-006": void,
    "CV-007": lambda i: a.at_rate(
        i["bays"] * void(inputs("CV-006")), i["limit"], 10),
    "CV-009": lambda i: a.rectangle(i["length"], i["width"]),
    "CV-010": within_a_round_spot,
    "CV-011": lambda i: a.at_rate(i["area"], i["limit"], 1000),
    "CV-013": lambda i: a.at_rate(i["product"], i["strength"], 128)
    / a.pounds_of_volume(i["mix"], WATER_AT_20_C) * 100,
    "CV-014": lambda i: to(a.ingredient_in(i["dust"], i["strength"] / 100), "oz", "mg"),
}  # fmt: skip
"""Each example's answer, from its inputs, by the public functions."""


def inputs(name: str) -> Inputs:
    return {key: F(item["value"]) for key, item in EXAMPLES[name]["inputs"].items()}


def places(value: Fraction) -> int:
    """Return how many decimals a published number shows."""
    found = 0
    while (value * 10**found).denominator != 1:
        found += 1
    return found


def test_how_many_are_covered(capsys: pytest.CaptureFixture[str]) -> None:
    assert set(COVERED) | set(NOT_COVERED) == set(EXAMPLES)
    assert not set(COVERED) & set(NOT_COVERED)
    published = [name for name in COVERED if EXAMPLES[name]["kind"] == "published"]
    told = f"\nworked examples: {len(COVERED)} of {len(EXAMPLES)}, {len(published)} published"
    lines = [f"  not covered {name}: {reason}" for name, reason in NOT_COVERED.items()]
    with capsys.disabled():
        print("\n".join([told, *lines]))
    assert len(published) >= 60
    assert all(EXAMPLES[name].get("source_url") for name in published)


@pytest.mark.parametrize("name", COVERED)
def test_the_recomputed_answer_comes_out(name: str) -> None:
    block = EXAMPLES[name]
    recomputed = block.get("recomputed", block["answer"])
    off = abs(COVERED[name](inputs(name)) - recomputed)
    # Ten decimals of a float: beyond sixteen figures there is nothing to compare.
    assert off <= max(TENTH_DECIMAL, recomputed / 10**15)


@pytest.mark.parametrize("name", [name for name in COVERED if "class" in EXAMPLES[name]])
def test_the_published_answer_is_met_by_its_class(name: str) -> None:
    block = EXAMPLES[name]
    ours, answer, tolerance = COVERED[name](inputs(name)), F(block["answer"]), block["tolerance"]
    match block["class"]:
        case "exact":
            assert round(ours, places(answer)) == answer
        case "rounded":
            assert abs(ours - answer) <= tolerance
        case "truncated":
            last = F(1, 10 ** places(answer))
            assert answer <= ours < answer + last
            assert last <= tolerance
        case "rounded-constants":
            # The printed number is what a rounded constant gives; only its size is alike.
            assert ours != answer
            assert abs(ours / answer - 1) < F(1, 10)
        case "published-error":
            assert abs(ours - answer) > tolerance
        case other:
            pytest.fail(f"no rule for the class {other}")


def test_the_interval_in_days_is_the_one_that_the_checks_count() -> None:
    """CV-015: ten days from 25 February of a leap year end on 6 March."""
    block = EXAMPLES["CV-015"]
    first = datetime.strptime(str(int(block["answer"])), "%Y%m%d").date()  # noqa: DTZ007 - a day
    rule = limit(Shape.INTERVAL, least=q(block["inputs"]["interval"]["value"], "day"), same="place")
    done = use(date=date(2024, 2, 25), product="ridgeline-dust", visit="V1")
    for day, expected in ((first - timedelta(days=1), [Kind.BREACH]), (first, [])):
        assert kinds(replace(done, date=day, visit="V2"), rule, done) == expected
