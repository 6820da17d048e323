"""What must hold of judging whatever the numbers are."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.checks.judge import CHECKS, judge
from ledger.rulebook.model import Limit, Shape
from ledger.values.amount import Basis, Quantity, Used
from ledger.values.entry import Application, Weather
from ledger.values.extent import Extent
from ledger.values.finding import Kind
from tests.cases import amount, book, case, limit, measures, per_cent, q, rate, tools, use
from tests.test_checks_samples import MESSY, THE_14TH, line_6, messy_6

amounts = st.fractions(min_value=Fraction(1, 1000), max_value=1000, max_denominator=1000)
masses = st.sampled_from(("oz", "lb", "g", "kg", "mg"))
areas = st.sampled_from(("sq ft", "sq in", "sq yd", "acre", "sq m"))
lengths = st.sampled_from(("ft", "in", "yd", "m", "cm"))
volumes = st.sampled_from(("fl oz", "gal", "qt", "pt", "mL", "L", "cu in"))
exact = settings(max_examples=60, deadline=None)

AREA_RATE = limit(
    Shape.RATE, most=q(4, "oz"), least=q("1/2", "oz"), per=q(1000, "sq ft"), per_what="area"
)


def kinds(line: Application, rule: Limit) -> list[Kind]:
    of = case(line)
    return [found.kind for found in CHECKS[rule.shape](of, rule, tools(of))]


def dusting(value: Fraction, unit: str, extent: Extent) -> Application:
    typed = amount(value, unit)
    return use(
        "alder-dust", amount=typed, used=Used(value.numerator, value.denominator, unit),
        extent=extent,
    )  # fmt: skip


def changed(quantity: Quantity, unit: str) -> Quantity:
    return book().units.convert(quantity, unit)


@exact
@given(amounts, amounts, amounts)
def test_a_larger_amount_never_mends_a_breach(one: Fraction, two: Fraction, area: Fraction) -> None:
    small, large = sorted((one, two))
    extent = measures(area=(area, "sq ft"))
    if Kind.BREACH in kinds(dusting(small, "oz", extent), AREA_RATE):
        assert Kind.BREACH in kinds(dusting(large, "oz", extent), AREA_RATE)


@exact
@given(amounts, amounts, amounts)
def test_a_stronger_mix_never_mends_a_breach(
    one: Fraction, two: Fraction, volume: Fraction
) -> None:
    weak, strong = sorted((one, two))
    rule = next(r for r in label_limits("ridgeline-sc") if r.name == "mix-strength")
    typed = amount(volume, "gal", Basis.MIX)
    if Kind.BREACH in kinds(line_6(amount=typed, dilution=rate(weak)), rule):
        assert Kind.BREACH in kinds(line_6(amount=typed, dilution=rate(strong)), rule)


def label_limits(product: str) -> tuple[Limit, ...]:
    file = next(file for file in book().labels if file.id == product)
    return file.limits


@exact
@given(amounts, masses, amounts, areas)
def test_units_never_change_a_rate(
    value: Fraction, mass: str, area: Fraction, surface: str
) -> None:
    plain = dusting(value, "oz", measures(area=(area, "sq ft")))
    weighed = changed(q(value, "oz"), mass)
    treated = changed(q(area, "sq ft"), surface)
    other = dusting(weighed.value, mass, Extent("said", (("area", treated),)))
    assert kinds(plain, AREA_RATE) == kinds(other, AREA_RATE)


@exact
@given(amounts, volumes, volumes, lengths)
def test_units_never_change_what_a_mix_is_judged(
    value: Fraction, product: str, mix: str, length: str
) -> None:
    plain = line_6(dilution=rate(value))
    dilution = replace(
        rate(value), product=changed(q(value, "fl oz"), product), mix=changed(q(1, "gal"), mix)
    )
    height = changed(q(3, "ft"), length)
    extent = Extent("said", (("height", height), ("area", q(600, "sq ft"))))
    other = line_6(
        dilution=dilution, extent=extent,
        amount=replace(plain.amount, quantity=changed(plain.amount.quantity, mix)),
        used=plain.used,
    )  # fmt: skip
    for rule in label_limits("ridgeline-sc"):
        assert kinds(plain, rule) == kinds(other, rule)


@exact
@given(st.fractions(min_value=0, max_value=100, max_denominator=50), st.booleans())
def test_a_strength_is_the_same_said_either_way(value: Fraction, as_ai: bool) -> None:
    # fl oz per gallon = 128 x per cent / (share x specific gravity): by the definition of a
    # per cent by weight in a mix of one gram a millilitre.
    ai = value * Fraction("0.065") * Fraction("1.021") / 128 * 100
    fl_oz = limit(Shape.STRENGTH, most=q("1.2", "fl oz"), per=q(1, "gal"), per_what="mix")
    bound = Fraction("1.2") * Fraction("0.065") * Fraction("1.021") / 128 * 100
    per_cent_ai = limit(Shape.STRENGTH, most=q(bound, "%"), basis=Basis.INGREDIENT)
    dilution = replace(per_cent("1"), value=ai) if as_ai else rate(value)
    line = line_6(dilution=dilution)
    assert kinds(line, fl_oz) == kinds(line, per_cent_ai)
    assert (kinds(line, fl_oz) == [Kind.BREACH]) == (value > Fraction("1.2"))


REMOVED: dict[str, dict[str, Any]] = {
    "places": {"places": ()},
    "avoided": {"avoided": (), "avoided_said": "blank"},
    "prepared": {"prepared": (), "prepared_said": "blank"},
    "pests": {"pests": ()},
    "extent": {"extent": Extent("")},
    "weather": {"weather": Weather()},
    "method": {"method": ""},
    "setting": {"setting": ""},
    "site kind": {"site_kind": ""},
    "dilution": {"dilution": None},
    "county": {"county": ""},
    "equipment": {"equipment": ""},
    "times": {"start": None, "end": None},
    "notice": {"notice": ""},
    "customer": {"customer": ""},
}


def by_name(line: Application, others: list[Application]) -> dict[str, set[Kind]]:
    found: dict[str, set[Kind]] = defaultdict(set)
    for item in judge(case(line, *others), book()):
        if item.kind is not Kind.ADVICE:
            found[item.name].add(item.kind)
    return found


@pytest.mark.parametrize("gone", list(REMOVED))
@pytest.mark.parametrize("make", [*THE_14TH, *MESSY])
def test_what_is_not_said_is_never_a_pass_and_never_a_breach(make: Any, gone: str) -> None:
    line = make()
    others = [other() for other in (*THE_14TH, *MESSY) if other is not make]
    others = [other for other in others if other.site == line.site]
    before, after = by_name(line, others), by_name(replace(line, **REMOVED[gone]), others)
    for name, found in after.items():
        assert Kind.BREACH not in found or Kind.BREACH in before[name], name
    for name, found in before.items():
        if Kind.BREACH in found:
            assert after[name] & {Kind.BREACH, Kind.UNKNOWN}, name


def test_taking_one_measure_away_turns_its_own_limit_unknown() -> None:
    line = messy_6()
    kept = tuple(pair for pair in line.extent.measures if pair[0] != "height")
    found = by_name(replace(line, extent=Extent("said", kept)), [])
    assert found["band-height"] == {Kind.UNKNOWN}
    assert found["mix-rate"] == {Kind.BREACH}


def test_judging_is_the_same_every_time_and_in_any_order_of_the_others() -> None:
    lines = [make() for make in (*THE_14TH, *MESSY)]
    for line in lines:
        others = [o for o in lines if o is not line and o.site == line.site]
        assert judge(case(line, *others), book()) == judge(case(line, *others[::-1]), book())
