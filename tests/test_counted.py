"""Amounts by counting: refused without a weighing of the tool, an estimate with one."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from fractions import Fraction

import pytest

from ledger.checks.practice import HABITS
from ledger.normalise.counted import counted, weighing_of
from ledger.normalise.dosing import Dose, read_dose
from ledger.normalise.products import Named
from ledger.values.amount import Basis, Used
from ledger.values.draft import Draft
from ledger.values.firm import Calibration, Tool
from ledger.values.origin import Cell, Origin
from ledger.values.reading import Reading
from tests.cases import book, case, measures, q, tools, use

DAY = date(2026, 1, 14)
TOOLS = (
    Tool("gun-a", "bait gun", calibrations=(
        Calibration(date(2025, 1, 2), "marsh-gel", q("0.30", "g"), "dab"),
        Calibration(date(2026, 1, 2), "marsh-gel", q("0.25", "g"), "dab"),
        Calibration(date(2026, 1, 15), "marsh-gel", q("0.5", "g"), "dab"),
    )),
    Tool("duster-a", "bulb duster", q(140, "g"), q(8, "oz"), (
        Calibration(date(2026, 1, 2), "ridgeline-dust", q("0.11", "g"), "puff"),
    )),
    Tool("can-a", "aerosol", calibrations=(
        Calibration(date(2026, 1, 2), "tarn-aerosol", q("1.9", "g"), "second"),
    )),
)  # fmt: skip


def dose(product: str, **cells: str) -> Reading[Dose]:
    label = book().product(product, DAY)
    assert label is not None
    origins = {name: Origin("day.csv", 2, name) for name in cells}
    filled = {name: Cell(text, origins[name]) for name, text in cells.items()}
    draft = Draft(Origin("day.csv", 2), filled, cells)
    firm = book().firm
    with_tools = replace(firm, tools=TOOLS)
    named = Named(label.id, label.key, label)
    return read_dose(draft, named, book().units, with_tools, DAY)


@pytest.mark.parametrize(
    ("product", "amount", "equipment", "grams"),
    [
        ("marsh-gel", "12 placements", "gun-a", "3"),  # the weighing of 2 January 2026, not later
        ("marsh-gel", "12 dabs", "GUN-A", "3"),
        ("ridgeline-dust", "30 puffs", "duster-a", "3.3"),
        ("ridgeline-dust", "1 puff", "duster-a", "0.11"),
        ("tarn-aerosol", "8 seconds", "can-a", "15.2"),
        ("tarn-aerosol", "8 s", "can-a", "15.2"),
    ],
)
def test_a_count_is_an_estimate_by_the_newest_weighing_up_to_the_day(
    product: str, amount: str, equipment: str, grams: str
) -> None:
    found = dose(product, amount=amount, equipment=equipment)
    assert found.faults == ()
    assert found.value is not None
    value = Fraction(grams)
    assert found.value.used == Used(value.numerator, value.denominator, "g", estimate=True)
    assert found.value.amount.quantity.unit == "each"
    assert found.value.amount.basis is Basis.PRODUCT
    (remark,) = found.remarks
    assert "is an estimate" in remark
    assert "2026-01-02" in remark


@pytest.mark.parametrize(
    ("product", "cells"),
    [
        ("marsh-gel", {"amount": "12 each", "equipment": "gun-a"}),
        ("marsh-gel", {"amount": "12 placements"}),  # no tool is named
        ("marsh-gel", {"amount": "12 placements", "equipment": "duster-a"}),  # not with this tool
        ("ridgeline-dust", {"amount": "30 puffs", "equipment": "gun-a"}),
        ("ridgeline-dust", {"amount": "30 dabs", "equipment": "duster-a"}),
        ("tarn-aerosol", {"amount": "2 cans", "equipment": "can-a"}),
    ],
)
def test_without_a_weighing_a_count_is_no_amount(product: str, cells: dict[str, str]) -> None:
    found = dose(product, **cells)
    assert found.value is None
    assert [fault.code for fault in found.faults] == ["AMOUNT-COUNT"]


def test_a_weighing_is_better_and_a_zero_is_nothing() -> None:
    weighed = dose("ridgeline-dust", amount="212.4 g - 198.1 g", equipment="duster-a")
    assert weighed.value is not None
    assert weighed.value.used == Used(143, 10, "g")
    none = dose("ridgeline-dust", amount="0 puffs", equipment="duster-a")
    assert [fault.code for fault in none.faults] == ["AMOUNT-ZERO"]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("12 placements", ("12", ("placement", "dab"))), ("1,200 puffs", ("1,200", ("puff",))),
        ("3 strokes", ("3", ("stroke",))), ("12 each", None), ("12", None), ("3.3 g", None),
        ("2 sachets", None), ("1/2 puff", None),
    ],
)  # fmt: skip
def test_what_can_be_weighed_by_counting(text: str, found: object) -> None:
    assert counted(text) == found


def test_the_day_of_the_weighing_counts_and_the_day_after_does_not() -> None:
    firm = replace(book().firm, tools=TOOLS)
    for day, grams in ((date(2026, 1, 1), "0.30"), (date(2026, 1, 2), "0.25"),
                       (date(2026, 1, 15), "0.5")):  # fmt: skip
        found = weighing_of(firm, "gun-a", "marsh-gel", ("dab",), day)
        assert found is not None
        assert found.gives == q(grams, "g")
    assert weighing_of(firm, "gun-a", "marsh-gel", ("dab",), date(2024, 12, 31)) is None


def habits(line, **changes):
    of = case(line, **changes)
    found = [f for habit in HABITS for f in habit(of, tools(of), book())]
    return {f.name: f.text for f in found}


def test_an_old_weighing_is_advice() -> None:
    estimate = Used(33, 10, "g", estimate=True)
    line = use(equipment="duster-a", used=estimate, date=date(2027, 1, 3))
    assert "old-calibration" in habits(line)
    line = use(equipment="duster-a", used=estimate, date=date(2027, 1, 2))
    assert "old-calibration" not in habits(line)


def test_the_spacing_of_puffs_follows_from_amount_length_and_weighing() -> None:
    """Every 12 to 18 inches: common practice, no source. 0.11 g a puff, so 11 g are 100 puffs."""
    gap = {"equipment": "duster-a", "method": "crack and crevice"}
    for feet, shown in ((100, False), (150, False), (99, True), (151, True)):
        line = use(used=Used(11, 1, "g"), extent=measures(length=(feet, "ft")), **gap)
        assert ("spacing-by-weight" in habits(line)) is shown, feet
    said = habits(use(used=Used(11, 1, "g"), extent=measures(length=(300, "ft")), **gap))
    assert said["spacing-by-weight"].endswith("(common practice, no source)")
    assert "36 in" in said["spacing-by-weight"]
    counted_too = measures(length=(300, "ft"), puffs=250)
    assert "spacing-by-weight" not in habits(use(used=Used(11, 1, "g"), extent=counted_too, **gap))
    unweighed = gap | {"equipment": "duster-c"}
    line = use(used=Used(11, 1, "g"), extent=measures(length=(300, "ft")), **unweighed)
    assert "spacing-by-weight" not in habits(line)


def test_puffs_counted_beside_a_weighing_are_told_as_an_estimate() -> None:
    line = use(used=Used(11, 1, "g"), equipment="duster-a", extent=measures(puffs=250))
    assert "27.5 g" in habits(line)["estimate-beside"]
    assert "11 g" in habits(line)["estimate-beside"]
    near = use(used=Used(11, 1, "g"), equipment="duster-a", extent=measures(puffs=110))
    assert "estimate-beside" not in habits(near)
    counted_only = replace(line, used=Used(11, 1, "g", estimate=True))
    assert "estimate-beside" not in habits(counted_only)


def test_tracking_powder_and_another_product_in_one_duster_is_the_stronger_advice() -> None:
    dust = use(equipment="duster-c", date=date(2026, 1, 20))
    powder = use("granite-powder", equipment="duster-c", date=DAY)
    of = case(dust, powder)
    said = [f for habit in HABITS for f in habit(of, tools(of), book())]
    (one,) = (f.text for f in said if f.name == "one-duster")
    assert "keep a duster for restricted powders alone" in one
    other = case(dust, use("alder-dust", equipment="duster-c", date=DAY))
    said = [f for habit in HABITS for f in habit(other, tools(other), book())]
    (two,) = (f.text for f in said if f.name == "one-duster")
    assert "restricted" not in two
