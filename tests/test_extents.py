"""Extents as a line of a day sheet writes them."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.normalise.extents import read_extent
from ledger.values.extent import MEASURES, Extent
from ledger.values.origin import Origin
from ledger.values.reading import Reading
from tests.test_numbers import written
from tests.test_units import UNITS

AT = Origin("day.csv", 4, "extent")


def extent(text: str) -> Reading[Extent]:
    return read_extent(text, UNITS, AT)


def measures(text: str) -> dict[str, tuple[str, str]]:
    found = extent(text)
    assert found.faults == ()
    assert found.value is not None
    assert {name for name, _ in found.value.measures} <= set(MEASURES)
    return {name: (str(q.value), q.unit) for name, q in found.value.measures}


@pytest.mark.parametrize(
    ("text", "name", "number", "unit"),
    [
        ("120 ft", "length", "120", "ft"), ("120 FT.", "length", "120", "ft"),
        ("120 ft long", "length", "120", "ft"), ("100 linear ft", "length", "100", "ft"),
        ("3 ft high", "height", "3", "ft"), ("5 ft tall", "height", "5", "ft"),
        ("3ft high", "height", "3", "ft"), ("18 in in height", "height", "18", "in"),
        ("1/2 in wide", "width", "1/2", "in"), ("\u00bd in wide", "width", "1/2", "in"),
        ("2 in deep", "depth", "2", "in"), ("2 inches deep", "depth", "2", "in"),
        ("1,000 sq ft", "area", "1000", "sq ft"), ("150 SQ. FT.", "area", "150", "sq ft"),
        ("0.5 acre", "area", "1/2", "acre"), ("40 cu ft", "volume", "40", "cu ft"),
        ("6 voids", "voids", "6", "each"), ("1 void", "voids", "1", "each"),
        ("6voids", "voids", "6", "each"), ("12 Placements", "placements", "12", "each"),
        ("3 spots", "spots", "3", "each"), ("2 rooms", "rooms", "2", "each"),
        ("12 dabs", "placements", "12", "each"),  # a dab of gel is a placement
        ("1 dwelling", "dwellings", "1", "each"), ("2 cans", "cans", "2", "each"),
        ("10 puffs", "puffs", "10", "each"), ("30 seconds", "seconds", "30", "each"),
        ("30 s", "seconds", "30", "each"), ("1,200 puffs", "puffs", "1200", "each"),
    ],
)  # fmt: skip
def test_one_measure(text: str, name: str, number: str, unit: str) -> None:
    assert measures(text) == {name: (number, unit)}


def test_several_measures() -> None:
    assert measures("120 ft; 3 ft high; 360 sq ft") == {
        "length": ("120", "ft"), "height": ("3", "ft"), "area": ("360", "sq ft"),
    }  # fmt: skip
    assert measures("6 VOIDS ;; 150  sq\u00a0ft;") == {
        "voids": ("6", "each"), "area": ("150", "sq ft"),
    }  # fmt: skip
    assert extent("120 ft;  3 ft high").value == Extent(
        "120 ft; 3 ft high", extent("120 ft; 3 ft high").value.measures  # type: ignore[union-attr]
    )  # fmt: skip


@pytest.mark.parametrize(
    "text",
    ["10 ft by 12 ft room", "10 by 12 ft room", "10 ft x 12 ft room", "10x12 ft room",
     "10' x 12' room", "room 10 ft by 12 ft", "Room of 10 ft By 12 ft"],
)  # fmt: skip
def test_the_two_lengths_of_a_room(text: str) -> None:
    assert measures(text) == {"room length": ("10", "ft"), "room width": ("12", "ft")}
    assert measures(f"1 room; {text}")["rooms"] == ("1", "each")


def test_a_blank_extent_has_no_measures() -> None:
    assert extent("  ") == Reading(Extent(""))


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("abc", "UNREADABLE"), ("whole house", "UNREADABLE"), ("120 ft, 3 ft high", "UNREADABLE"),
        ("6 voids and 3 spots", "UNREADABLE"), ("10 ft by 12 ft", "UNREADABLE"), ("6", "UNIT"),
        ("6 viods", "UNIT"), ("3 ft hihg", "UNIT"), ("12 in wide band", "UNIT"),
        ("5 oz", "DIMENSION"), ("2 gal", "DIMENSION"), ("3 months", "DIMENSION"),
        ("5 min", "DIMENSION"), ("12 each", "DIMENSION"), ("28 F", "DIMENSION"),
        ("3 oz high", "DIMENSION"), ("10 ft by 12 oz room", "DIMENSION"),
        ("2.5 voids", "COUNT"), ("1/2 room", "COUNT"), ("0 voids", "ZERO"), ("0 ft", "ZERO"),
        ("0 ft high", "ZERO"), ("-3 ft", "NEGATIVE"), ("0,5 ft", "COMMA"), ("1e3 ft", "EXPONENT"),
        ("3-4 voids", "RANGE"), ("99999999999999999999 ft", "TOO-LARGE"),
        ("120 ft; 130 ft", "TWICE"), ("6 voids; 7 voids", "TWICE"),
        ("10 ft by 12 ft room; 9 ft by 12 ft room", "TWICE"), ("10 by 12 room", "UNIT"),
    ],
)  # fmt: skip
def test_what_is_no_extent_is_one_fault(text: str, code: str) -> None:
    reading = extent(text)
    assert reading.value is None
    assert [fault.code for fault in reading.faults] == [f"EXTENT-{code}"]
    fault = reading.faults[0]
    assert fault.origin == AT
    assert fault.what
    assert fault.way_out


def test_the_same_value_twice_is_no_contradiction() -> None:
    assert measures("120 ft; 40 yd; 6 voids; 6 void") == {
        "length": ("120", "ft"), "voids": ("6", "each"),
    }  # fmt: skip


def test_every_part_is_faulted_for_itself() -> None:
    codes = [fault.code for fault in extent("6 viods; 3 ft high; 0,5 ft; 5 oz").faults]
    assert codes == ["EXTENT-UNIT", "EXTENT-COMMA", "EXTENT-DIMENSION"]


def test_the_nearest_is_named() -> None:
    assert 'did you mean "voids"?' in extent("6 viods").faults[0].way_out
    assert "semicolons" in extent("120 ft, 3 ft high").faults[0].way_out


@given(
    written(),
    st.sampled_from([("sq ft", "area"), ("ft", "length"), ("yd high", "height"),
                     ("in wide", "width"), ("cm deep", "depth"), ("cu ft", "volume")]),
)  # fmt: skip
def test_every_form_of_a_number_is_a_measure(
    pair: tuple[str, Fraction], kind: tuple[str, str]
) -> None:
    text, number = pair
    reading = extent(f"{text} {kind[0]}")
    if not number:
        assert [fault.code for fault in reading.faults] == ["EXTENT-ZERO"]
        return
    assert reading.value is not None
    quantity = reading.value.get(kind[1])
    assert quantity is not None
    assert quantity.value == number


@given(st.text(max_size=60))
def test_any_text_is_read_or_faulted(text: str) -> None:
    reading = extent(text)
    assert (reading.value is None) == bool(reading.faults)


@pytest.mark.parametrize(
    ("text", "what", "way_out"),
    [
        ("2 cans; 12x10 room", '"12x10 room": the number has no unit', "10 ft by 12 ft room"),
        ("12 ft by 10 lb room", '"12 ft by 10 lb room": "10 lb" is a mass', "unit of length"),
        ("12 squirts", '"squirts" is not a known measure', "write it as 120 ft"),
        ("4 dys", '"dys" is not a known measure', "write it as 120 ft"),
        ("10 feets", '"feets" is not a known measure', 'did you mean "ft"? write it as'),
        ("10 cu fts", '"cu fts" is not a known measure', 'did you mean "cu ft"? write it as'),
    ],
)
def test_a_fault_names_the_part_and_offers_no_unit_in_which_no_extent_is(
    text: str, what: str, way_out: str
) -> None:
    (fault,) = extent(text).faults
    assert fault.what.startswith(what)
    assert way_out in fault.way_out
    assert fault.way_out.startswith("did you mean") is way_out.startswith("did you mean")
