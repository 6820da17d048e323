"""The sample days, line by line, as EXPECTED.md says: the complete set of findings that decide.

The cases are built by hand from the sheets, so that judging is tested without reading.
"""

from __future__ import annotations

from datetime import date, time
from fractions import Fraction
from typing import Any

import pytest

from ledger.checks.judge import judge
from ledger.values.amount import Basis, Quantity, Used
from ledger.values.entry import Application, Weather
from ledger.values.finding import Kind
from tests.cases import (
    amount,
    avoided,
    book,
    case,
    judged,
    measures,
    per_cent,
    q,
    rate,
    use,
)

FRIDGE, COUNTER = avoided("refrigerator", "moving air"), avoided("counter", "food")
CREEK = avoided("creek", "water", 60)
GRILLE = avoided("return air grille", "moving air")
THE_15TH: dict[str, Any] = {"date": date(2026, 1, 15)}
AT_VOSS: dict[str, Any] = {
    "site": "voss", "start": time(10, 10), "end": time(11), "customer": "Harlan Voss",
    "weather": Weather(q(39, "F"), q(6, "mph"), "NW", rain=False),
}  # fmt: skip


def line_1() -> Application:
    return use(
        method="crack and crevice", setting="at structure", amount=amount("0.75", "oz"),
        places=("door frame", "siding seam", "foundation sill"),
        pests=("lady beetles", "stink bugs"), extent=measures(length=(180, "ft")),
        equipment="duster-a",
    )  # fmt: skip


def line_2() -> Application:
    return use(
        places=("kitchen pipe entry", "wall void"), avoided=(FRIDGE, COUNTER),
        prepared=("food covered",), pests=("spiders", "ants"), amount=amount("0.25", "oz"),
        extent=measures(voids=8), equipment="duster-b",
    )  # fmt: skip


def line_3() -> Application:
    return use(
        "marsh-gel", method="bait", places=("kitchen pipe entry", "window track"),
        avoided=(COUNTER,), amount=amount(6, "g"), extent=measures(placements=12),
    )  # fmt: skip


def line_4() -> Application:
    weighed = amount("20.5", "g")
    weighing = (q("212.4", "g"), q("191.9", "g"))
    weighed = type(weighed)(weighed.text, weighed.quantity, weighed.basis, weighing)
    return use(
        method="crack and crevice", setting="at structure", amount=weighed,
        places=("window frame", "vent hood", "hose bib"), pests=("stink bugs",),
        extent=measures(length=(240, "ft")), equipment="duster-a",
    )  # fmt: skip


def line_5() -> Application:
    return use(
        "alder-dust", places=("base plate",), avoided=(GRILLE, FRIDGE), pests=("crickets",),
        amount=amount("1/2", "oz"), extent=measures(voids=6, area=(150, "sq ft")),
        equipment="duster-b",
    )  # fmt: skip


def line_6(**changes: Any) -> Application:
    said: dict[str, Any] = AT_VOSS | {
        "start": time(11, 40), "end": time(12, 55), "method": "band", "setting": "at structure",
        "places": ("foundation",), "avoided": (CREEK,), "amount": amount("3/4", "gal", Basis.MIX),
        "dilution": rate("1.2"), "equipment": "tank-1",
        "extent": measures(length=(200, "ft"), height=(3, "ft"), area=(600, "sq ft")),
    }  # fmt: skip
    return use("ridgeline-sc", **(said | changes))


def powder(product: str, **changes: Any) -> Application:
    said: dict[str, Any] = AT_VOSS | {
        "prepared": ("void closed",), "pests": ("mice",), "equipment": "duster-c",
        "amount": amount(1, "oz"), "extent": measures(voids=2),
    }  # fmt: skip
    return use(product, **(said | changes))


def line_7() -> Application:
    return powder(
        "granite-powder", start=time(11, 40), end=time(12, 55), amount=amount("1.5", "oz"),
        extent=measures(voids=3),
    )  # fmt: skip


def line_8() -> Application:
    return use(
        "cedar-granule", applicator="marsh", supervisor="renner", method="broadcast",
        setting="outdoor", places=("soil along foundation",), prepared=("hard surfaces swept",),
        amount=amount("2.25", "lb"), extent=measures(area=(750, "sq ft")),
    )  # fmt: skip


def line_9() -> Application:
    return use(
        "hearth-mint", applicator="marsh", supervisor="renner", method="spot",
        places=("baseboard",), pests=("spiders",), amount=amount(4, "fl oz"),
        extent=measures(area=(6, "sq ft"), spots=3),
    )  # fmt: skip


THE_14TH = (line_1, line_2, line_3, line_4, line_5, line_6, line_7, line_8, line_9)


@pytest.mark.parametrize("line", THE_14TH)
def test_nothing_of_the_14th_is_found_against_it(line: Any) -> None:
    mine = line()
    others = [make() for make in THE_14TH if make is not line]
    assert judged(mine, *(o for o in others if o.site == mine.site)) == []


def test_an_average_on_the_limit_is_said_as_an_average() -> None:
    said = [f for f in judge(case(line_3()), book()) if f.name == "placement-size"]
    assert [f.kind for f in said] == [Kind.ADVICE]
    assert "0.5 g per placement on average" in said[0].text


def test_a_load_under_half_of_the_duster_is_not_spoken_of() -> None:
    names = {f.name for f in judge(case(line_4()), book())}
    assert "duster-fill" not in names


def messy_1() -> Application:
    return use(
        method="crack and crevice", setting="at structure", amount=amount("1/2", "oz"),
        places=("door frame", "siding seam"), pests=("stink bugs",),
        extent=measures(area=(300, "sq ft")), equipment="duster-a", **THE_15TH,
    )  # fmt: skip


def messy_4() -> Application:
    return use(
        amount=amount("1.25", "oz"), places=("under refrigerator",), pests=("cockroaches",),
        extent=measures(voids=4), equipment="duster-a", avoided_said="blank", **THE_15TH,
    )  # fmt: skip


def messy_6() -> Application:
    return line_6(
        amount=amount("3/2", "gal", Basis.MIX), dilution=per_cent("0.06"),
        weather=Weather(q(39, "F"), q(14, "mph"), "W", rain=True),
        extent=measures(height=(3, "ft"), area=(1000, "sq ft")), start=time(10, 10), end=time(11),
        equipment="", **THE_15TH,
    )  # fmt: skip


def messy_10() -> Application:
    return powder("granite-powder", applicator="aster", **THE_15TH)


def messy_14() -> Application:
    return line_6(
        amount=amount(24, "fl oz", Basis.MIX), dilution=rate(1), places=("porch posts",),
        pests=("spiders",), extent=measures(height=(3, "ft"), area=(150, "sq ft")),
        start=time(10, 10), end=time(11), equipment="", **THE_15TH,
    )  # fmt: skip


def messy_15() -> Application:
    return powder("slate-powder", **THE_15TH)


MESSY = {
    messy_1: ["breach ten-days", "unknown crack-rate"],
    messy_4: [
        "breach appliance-fan", "breach void-rate", "missing moving-air", "unknown kitchen-food",
    ],
    messy_6: ["breach mix-rate", "breach no-rain", "breach seven-days", "breach wind"],
    messy_10: ["breach certified-only"],
    messy_14: ["breach seven-days"],
    messy_15: ["breach anticoagulants-2025"],
}  # fmt: skip


@pytest.mark.parametrize("line", list(MESSY))
def test_the_messy_sheet_gives_exactly_what_is_expected(line: Any) -> None:
    mine = line()
    others = [make() for make in (*THE_14TH, *MESSY) if make is not line]
    assert judged(mine, *(o for o in others if o.site == mine.site)) == MESSY[line]


def test_moving_air_alone_blocks_the_day() -> None:
    blocking = [f.name for f in judge(case(messy_4()), book()) if f.blocks]
    assert blocking == ["moving-air"]


def test_amending_the_answer_clears_the_day() -> None:
    answered = use(
        amount=amount("1.25", "oz"), places=("under refrigerator",), pests=("cockroaches",),
        extent=measures(voids=4), avoided=(FRIDGE,), **THE_15TH,
    )  # fmt: skip
    assert not [f for f in judge(case(answered), book()) if f.blocks]


def test_the_rate_in_voids_is_said_as_measured_against_allowed() -> None:
    said = next(f for f in judge(case(messy_4()), book()) if f.name == "void-rate")
    assert said.text == "3.125 oz per 10 voids, the label allows 1 oz"
    assert said.code == "LABEL-RATE"
    assert said.rules[0].file == "labels/ridgeline-dust.toml"
    assert said.rules[0].line > 1


def test_a_trainee_alone_is_told_who_was_near() -> None:
    with_renner = judge(case(messy_10(), messy_14()), book())
    said = next(f for f in with_renner if f.name == "certified-only")
    assert "Pell Aster" in said.text
    assert "Tobias Renner" in said.text
    alone = next(f for f in judge(case(messy_10()), book()) if f.name == "certified-only")
    assert "Tobias Renner" not in alone.text


def test_the_prohibition_names_the_law_and_what_was_not_examined() -> None:
    said = next(f for f in judge(case(messy_15()), book()) if f.kind is Kind.BREACH)
    assert "12978.7(e)" in said.text
    assert "(g) and (h)" in said.text
    assert "not examined" in said.text
    assert said.code == "LAW-PROHIBITED"


def test_chlorophacinone_passes_on_the_last_day_before_the_prohibition() -> None:
    assert judged(powder("slate-powder", date=date(2024, 12, 31))) == []
    assert judged(powder("slate-powder", date=date(2025, 1, 1))) == ["breach anticoagulants-2025"]


def test_a_rounded_amount_is_compared_unrounded() -> None:
    # 1.2 fl oz per gallon said as % ai is no number that ends; at the bound exactly it passes.
    share = Fraction("0.065") * Fraction("1.021")
    exact = Fraction("1.2") / 128 * share * 100
    dilution = per_cent("1")
    dilution = type(dilution)("exact", dilution.strength, exact)
    rounded_up = Used(1_000_000_001, 10**9, "fl oz", derived=True)
    assert judged(line_6(dilution=dilution, used=rounded_up)) == []
    stronger = type(dilution)("more", dilution.strength, exact + Fraction(1, 10**12))
    assert judged(line_6(dilution=stronger)) == ["breach mix-strength"]


def test_the_strength_of_the_messy_sheet_is_the_one_expected() -> None:
    from ledger.checks.dose import strength
    from tests.cases import tools

    of = case(messy_6())
    found = strength(of, tools(of))
    assert isinstance(found, Quantity)
    assert round(found.value * 128, 4) == Fraction("1.1572")
