"""Conditions answer yes, no or "cannot tell", and never change their mind when less is known."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.rulebook.model import Op, Test
from ledger.rulebook.reading import read_book
from ledger.rulebook.when import holds
from ledger.rulefile import RawFile, shipped_rules
from ledger.values.amount import Quantity

UNITS = read_book(
    [RawFile("units", "units.toml", (shipped_rules() / "units.toml").read_bytes())]
).units


def q(value: str, unit: str) -> Quantity:
    return Quantity(Fraction(value), unit)


VOID = Test("method", Op.ANY_OF, ("void", "crack and crevice"))
NOT_FOOD = Test("place_traits", Op.NONE_OF, ("food surface",))
WINDY = Test("wind", Op.AT_LEAST, quantity=q("10", "mph"))
CALM = Test("wind", Op.AT_MOST, quantity=q("10", "mph"))
SUPERVISED = Test("supervisor", Op.GIVEN, flag=True)
ALONE = Test("supervisor", Op.GIVEN, flag=False)
DRY = Test("rain", Op.ANY_OF, ("no",))


@pytest.mark.parametrize(
    ("test", "facts", "answer"),
    [
        (VOID, {"method": "void"}, True),
        (VOID, {"method": "Crack & Crevice"}, True),
        (VOID, {"method": "spot"}, False),
        (VOID, {"method": ""}, None),
        (VOID, {"method": None}, None),
        (VOID, {}, None),
        (NOT_FOOD, {"place_traits": {"kitchen"}}, True),
        (NOT_FOOD, {"place_traits": ("kitchen", "food surface")}, False),
        (NOT_FOOD, {"place_traits": frozenset()}, True),
        (NOT_FOOD, {"place_traits": None}, None),
        (WINDY, {"wind": q("10", "mph")}, True),
        (WINDY, {"wind": q("9.99", "mph")}, False),
        (WINDY, {"wind": q("16.093441", "km/h")}, True),
        (CALM, {"wind": q("10", "mph")}, True),
        (CALM, {"wind": q("16.093441", "km/h")}, False),
        (CALM, {"wind": q("10", "ft")}, None),
        (CALM, {"wind": q("10", "furlong")}, None),
        (CALM, {"wind": "a breeze"}, None),
        (SUPERVISED, {"supervisor": "renner"}, True),
        (SUPERVISED, {"supervisor": ""}, False),
        (SUPERVISED, {"supervisor": None}, False),
        (SUPERVISED, {}, None),
        (ALONE, {"supervisor": None}, True),
        (ALONE, {"supervisor": "renner"}, False),
        (Test("rain", Op.GIVEN, flag=True), {"rain": False}, True),
        (Test("wind", Op.GIVEN, flag=True), {"wind": q("0", "mph")}, True),
        (Test("pest", Op.GIVEN, flag=True), {"pest": ()}, False),
        (DRY, {"rain": False}, True),
        (DRY, {"rain": True}, False),
        (DRY, {"rain": None}, None),
    ],
)
def test_one_test(test, facts, answer):
    assert holds(((test,),), facts, UNITS) is answer


def test_all_lines_of_a_block_must_hold_and_any_block_does():
    void, spot = {"method": "void"}, {"method": "spot"}
    assert holds((), {}, UNITS) is True
    assert holds(((VOID, DRY),), {**void, "rain": False}, UNITS) is True
    assert holds(((VOID, DRY),), void, UNITS) is None
    assert holds(((VOID, DRY),), spot, UNITS) is False
    assert holds(((VOID,), (DRY,)), void, UNITS) is True
    assert holds(((VOID,), (DRY,)), spot, UNITS) is None
    assert holds(((VOID,), (DRY,)), {**spot, "rain": True}, UNITS) is False


_words = st.sampled_from(["void", "spot", "band", ""])
_quantities = st.builds(
    Quantity, st.fractions(0, 20, max_denominator=4), st.sampled_from(["mph", "km/h", "ft"])
)
_facts = st.dictionaries(
    st.sampled_from(["method", "places", "wind", "rain"]),
    st.one_of(_words, st.none(), st.booleans(), _quantities, st.frozensets(_words, max_size=2)),
)
_names = st.sampled_from(["method", "places", "wind", "rain"])
_tests = st.one_of(
    st.builds(Test, _names, st.sampled_from([Op.ANY_OF, Op.NONE_OF]), st.tuples(_words, _words)),
    st.builds(lambda name, flag: Test(name, Op.GIVEN, flag=flag), _names, st.booleans()),
    st.builds(
        lambda name, op, bound: Test(name, op, quantity=bound),
        _names,
        st.sampled_from([Op.AT_LEAST, Op.AT_MOST]),
        _quantities,
    ),
)
_conditions = st.lists(st.lists(_tests, max_size=3).map(tuple), max_size=3).map(tuple)


@given(_conditions, _facts, st.data())
def test_less_knowledge_never_turns_an_answer_round(condition, facts, data):
    """Every answer is yes, no or open; taking inputs away only ever opens it."""
    whole = holds(condition, facts, UNITS)
    assert whole in {True, False, None}
    gone = data.draw(st.sets(st.sampled_from(sorted(facts) or ["method"])))
    less = holds(condition, {k: v for k, v in facts.items() if k not in gone}, UNITS)
    assert less is whole or less is None


@given(_tests, _facts)
def test_any_of_and_none_of_are_opposites(test, facts):
    other = Test(test.fact, Op.NONE_OF, test.words)
    if test.op is Op.ANY_OF:
        one, two = holds(((test,),), facts, UNITS), holds(((other,),), facts, UNITS)
        assert two is (None if one is None else not one)
