"""The unit list against its definitions, against scipy and pint, and against careless edits."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from fractions import Fraction
from typing import Any

import pytest
import scipy.constants as sc
from hypothesis import given
from hypothesis import strategies as st

from ledger.unit_factors import DEGREES, NAMES, disagreements, main, pint_factors
from ledger.units import DIMENSIONS, NEEDED, Units, units_from_table
from ledger.values.amount import Quantity
from tests.house import ROOT

TEXT = (ROOT / "rules" / "units.toml").read_text("utf-8")
TABLE = tomllib.loads(TEXT)
UNITS, FAULTS = units_from_table(TABLE, {}, "units.toml")
CODES = [unit.code for unit in UNITS.units]

CLOSED_LIST = {
    "mass": "lb oz g kg mg ton", "length": "ft in yd mi m cm mm", "temperature": "F C",
    "speed": "mph km/h m/s kt", "share": "% ppm", "count": "each",
    "time": "s min h day month year",
}  # fmt: skip
VOLUMES = {"gal", "qt", "pt", "cup", "fl oz", "tbsp", "tsp", "L", "mL",
           "cu ft", "cu in", "cu yd", "cu m"}  # fmt: skip
AREAS = {"sq ft", "sq in", "sq yd", "acre", "sq m", "ha"}


def worth(value: str | int, unit: str, to: str) -> Fraction:
    return UNITS.convert(Quantity(Fraction(value), unit), to).value


def test_the_list_is_the_closed_list() -> None:
    assert FAULTS == ()
    found: dict[str, set[str]] = {}
    for unit in UNITS.units:
        found.setdefault(unit.dimension, set()).add(unit.code)
    assert found == {
        **{dimension: set(codes.split()) for dimension, codes in CLOSED_LIST.items()},
        "volume": VOLUMES,
        "area": AREAS,
    }
    assert set(NEEDED) <= set(CODES)


# NIST SP 811 (2008) appendix B.8 and NIST Handbook 44 appendix C define or print these exactly.
# 1 in = 25.4 mm, 1 lb = 0.453 592 37 kg, 1 gal = 231 cu in are definitions; the rest follows.
# 1 sq ft, 1 acre of the international foot: 85 FR 62698. 1 kt = 1852 m/h: SP 811 B.8.
DEFINED = [
    ("in", "mm", "25.4"), ("ft", "m", "0.3048"), ("yd", "m", "0.9144"), ("mi", "m", "1609.344"),
    ("lb", "kg", "0.45359237"), ("oz", "g", "28.349523125"), ("ton", "lb", "2000"),
    ("lb", "oz", "16"), ("gal", "cu in", "231"), ("gal", "mL", "3785.411784"),
    ("qt", "mL", "946.352946"), ("pt", "mL", "473.176473"), ("cup", "mL", "236.5882365"),
    ("fl oz", "mL", "29.5735295625"), ("tbsp", "mL", "14.78676478125"),
    ("tsp", "mL", "4.92892159375"), ("gal", "fl oz", "128"), ("gal", "qt", "4"),
    ("gal", "pt", "8"), ("gal", "cup", "16"), ("fl oz", "tbsp", "2"), ("fl oz", "tsp", "6"),
    ("L", "mL", "1000"), ("cu m", "L", "1000"), ("cu ft", "cu in", "1728"),
    ("cu yd", "cu ft", "27"), ("cu ft", "mL", "28316.846592"), ("cu ft", "gal", "1728/231"),
    ("sq ft", "sq m", "0.09290304"), ("sq ft", "sq in", "144"), ("sq yd", "sq ft", "9"),
    ("acre", "sq ft", "43560"), ("acre", "sq m", "4046.8564224"), ("ha", "sq m", "10000"),
    ("kg", "g", "1000"), ("g", "mg", "1000"), ("mi", "ft", "5280"), ("m", "cm", "100"),
    ("h", "min", "60"), ("day", "h", "24"), ("min", "s", "60"), ("year", "month", "12"),
    ("kt", "m/s", "463/900"), ("kt", "km/h", "1.852"), ("mph", "km/h", "1.609344"),
    ("m/s", "km/h", "3.6"), ("%", "ppm", "10000"),
]  # fmt: skip


@pytest.mark.parametrize(("unit", "to", "value"), DEFINED)
def test_a_unit_is_worth_what_it_is_defined_to_be(unit: str, to: str, value: str) -> None:
    assert worth(1, unit, to) == Fraction(value)
    assert worth(value, to, unit) == 1


def test_every_unit_is_defined_here() -> None:
    named = {code for row in DEFINED for code in row[:2]}
    assert set(CODES) - named == {"F", "C", "each"}


# NIST SP 811 B.8: t/C = (t/F - 32)/1.8.
@pytest.mark.parametrize(("f", "c"), [(32, 0), (212, 100), (-40, -40), (50, 10), (28, "-20/9")])
def test_degrees(f: int, c: int | str) -> None:
    assert worth(f, "F", "C") == Fraction(c)
    assert worth(c, "C", "F") == f


# scipy.constants gives CODATA's and NIST's unit values as floats, in SI.
SCIPY = {
    "lb": sc.pound, "oz": sc.oz, "ton": sc.short_ton, "gal": sc.gallon_US,
    "fl oz": sc.fluid_ounce_US, "L": sc.liter, "in": sc.inch, "ft": sc.foot, "yd": sc.yard,
    "mi": sc.mile, "acre": sc.acre, "ha": sc.hectare, "min": sc.minute, "h": sc.hour,
    "day": sc.day, "mph": sc.mph, "km/h": sc.kmh, "kt": sc.knot,
}  # fmt: skip
SI = {"mass": ("g", 1000), "volume": ("mL", 10**6), "length": ("mm", 1000), "area": ("sq m", 1),
      "time": ("s", 1), "speed": ("m/s", 1)}  # fmt: skip


@pytest.mark.parametrize("code", SCIPY)
def test_scipy_agrees(code: str) -> None:
    base, scale = SI[UNITS.dimension(code)]
    assert float(worth(1, code, base) / scale) == pytest.approx(SCIPY[code], rel=1e-15)


def test_pint_agrees_exactly_except_about_the_acre() -> None:
    assert disagreements(UNITS) == ()
    theirs = pint_factors(UNITS)
    compared = {code for code in theirs if theirs[code] == UNITS.unit(code).factor}
    assert compared == set(CODES) - {"acre", "month", "year", "each"} - set(DEGREES)
    assert compared == set(NAMES) - {"acre"}
    # pint's acre rests on the survey foot (1200/3937 m); ours on the international one.
    survey = Fraction(1200, 3937) / Fraction(3048, 10000)
    assert theirs["acre"] / UNITS.unit("acre").factor == survey**2
    assert float(survey**2 - 1) == pytest.approx(4.000012e-6, rel=1e-6)


def test_a_wrong_factor_is_seen(tmp_path: Any, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "units.toml"
    wrong = TEXT.replace('"1524/5"', '"305"').replace('"-32"', '"-31"')
    path.write_text(wrong.replace('"316160658/78125"', '"4046"'), "utf-8")
    assert main([str(path)]) == 1
    told = capsys.readouterr().out.splitlines()
    assert [line.split(":")[0] for line in told] == ["ft", "F", "F", "acre"]
    assert main([]) == 0
    assert capsys.readouterr().out == ""


def test_running_the_ledger_does_not_load_pint() -> None:
    code = (
        "import sys, ledger.units, ledger.numbers, ledger.arithmetic, ledger.normalise.amounts, "
        "ledger.normalise.extents; sys.exit('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


# --- spellings ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("fl. oz.", "fl oz"), ("floz", "fl oz"), ("oz.fl", "fl oz"), ("FL OZ", "fl oz"),
        ("fl.oz.", "fl oz"), ("ozs", "oz"), ("pounds", "lb"), ("Lbs.", "lb"), ("#", "lb"),
        ("T", "tbsp"), ("t", "tsp"), ("Tbsp", "tbsp"), ("tsp", "tsp"), ("TSP", "tsp"),
        ("C", "C"), ("\u00b0F", "F"), ("\u2109", "F"), ("m", "m"), ("ml", "mL"), ("ML", "mL"),
        ("sq.ft.", "sq ft"), ("ft\u00b2", "sq ft"), ("Sq  Ft", "sq ft"), ("'", "ft"),
        ("in.", "in"), ("gal.", "gal"), ("MPH", "mph"), ("sq\u00a0ft", "sq ft"), ("g", "g"),
    ],
)  # fmt: skip
def test_a_unit_is_found_by_its_spellings(text: str, code: str) -> None:
    found = UNITS.find(text)
    assert found is not None
    assert found.code == code


@pytest.mark.parametrize("text", ["c", "M", "MSF", "", "oz oz", "dry pint", "gpa", "lb/gal", "X"])
def test_what_is_not_a_unit_is_not_found(text: str) -> None:
    assert UNITS.find(text) is None


def test_every_spelling_finds_its_own_unit() -> None:
    for unit in UNITS.units:
        for text in (unit.code, *unit.also, f" {unit.code} ", f"{unit.code}."):
            assert UNITS.find(text) == unit, text


@pytest.mark.parametrize(
    ("text", "code"),
    [("flz oz", "fl oz"), ("ozz", "oz"), ("galon", "gal"), ("sqft.", "sq ft"), ("Pouns", "lb")],
)
def test_the_nearest_is_offered(text: str, code: str) -> None:
    assert UNITS.nearest(text) == code


@pytest.mark.parametrize("text", ["c", "zzzzzz", "M"])
def test_nothing_is_offered_where_nothing_is_near(text: str) -> None:
    assert UNITS.nearest(text) is None


# --- conversion --------------------------------------------------------------------------------

numbers = st.fractions(min_value=0, max_value=10**6, max_denominator=10**4)
pairs = st.sampled_from([(a, b) for a in CODES for b in CODES if UNITS.comparable(a, b)])


@given(numbers, pairs)
def test_a_conversion_there_and_back_is_exact(value: Fraction, pair: tuple[str, str]) -> None:
    there = UNITS.convert(Quantity(value, pair[0]), pair[1])
    assert UNITS.convert(there, pair[0]) == Quantity(value, pair[0])


@given(numbers, numbers, pairs)
def test_a_conversion_keeps_the_order(a: Fraction, b: Fraction, pair: tuple[str, str]) -> None:
    there = [UNITS.convert(Quantity(value, pair[0]), pair[1]).value for value in (a, b)]
    assert (a < b) == (there[0] < there[1])


@given(numbers, st.sampled_from(CODES), st.sampled_from(CODES))
def test_only_like_converts_into_like(value: Fraction, a: str, b: str) -> None:
    if UNITS.comparable(a, b):
        assert UNITS.convert(Quantity(value, a), b).unit == b
    else:
        with pytest.raises(ValueError, match="does not convert"):
            UNITS.convert(Quantity(value, a), b)


@pytest.mark.parametrize(
    ("a", "b"), [("oz", "fl oz"), ("F", "mph"), ("day", "month"), ("year", "h"), ("ft", "sq ft")]
)
def test_units_that_look_alike_do_not_convert(a: str, b: str) -> None:
    assert not UNITS.comparable(a, b)


def test_unknown_codes() -> None:
    assert not UNITS.comparable("furlong", "ft")
    for ask in (UNITS.unit, UNITS.dimension):
        with pytest.raises(KeyError):
            ask("furlong")
    with pytest.raises(KeyError):
        UNITS.convert(Quantity(Fraction(1), "ft"), "furlong")


# --- the table, as a person might edit it ------------------------------------------------------


def read(changes: dict[str, Any], **head: Any) -> tuple[Units, list[tuple[str, str | None, int]]]:
    """Read the list with the fourth unit (kg) changed; return codes, key paths and lines."""
    rows = [dict(row) for row in TABLE["unit"]]
    rows[3] = {key: value for key, value in {**rows[3], **changes}.items() if value is not None}
    lines = {"unit[4]": 30, "unit[4].factor": 34, "unit[4].code": 31, "spare": 2}
    units, faults = units_from_table({**TABLE, "unit": rows, **head}, lines, "units.toml")
    return units, [(f.code, f.origin.column, f.origin.row or 0) for f in faults]


@pytest.mark.parametrize("factor", ["0", "-1", "1/0", "1e3", "nan", "", "x", 1, 0.5, True, None])
def test_a_bad_factor_is_a_fault_at_its_line(factor: Any) -> None:
    _, faults = read({"factor": factor})
    code = "RULE-MISSING-KEY" if factor is None else "RULE-NUMBER"
    spot, line = ("unit[4]", 30) if factor is None else ("unit[4].factor", 34)
    assert faults[0] == (code, spot, line)


def test_an_unknown_key_is_refused_with_the_nearest() -> None:
    units, faults = read({"factr": "1"}, spare=1)
    assert faults[:2] == [
        ("RULE-UNKNOWN-KEY", "spare", 2), ("RULE-UNKNOWN-KEY", "unit[4].factr", 30),
    ]  # fmt: skip
    assert "kg" not in [unit.code for unit in units.units]
    told = units_from_table({"unit": [{"factr": "1"}]}, {}, "units.toml")[1]
    assert 'did you mean "factor"?' in told[0].way_out


def test_a_spelling_stands_for_one_unit_only() -> None:
    _, faults = read({"also": ["Lbs", "gramm"]})
    assert faults == [("RULE-DUPLICATE", "unit[4].also", 30)]
    _, faults = read({"code": "oz"})
    assert ("RULE-DUPLICATE", "unit[4].code", 31) in faults


@pytest.mark.parametrize(
    ("changes", "code", "spot"),
    [
        ({"dimension": "weight"}, "RULE-PHRASE", "unit[4].dimension"),
        ({"of": "lb"}, "RULE-UNIT", "unit[4].of"),
        ({"of": "mL"}, "RULE-UNIT", "unit[4].of"),
        ({"code": " "}, "RULE-TYPE", "unit[4].code"),
        ({"code": 3}, "RULE-TYPE", "unit[4].code"),
        ({"also": "gram"}, "RULE-TYPE", "unit[4].also"),
        ({"also": [1]}, "RULE-TYPE", "unit[4].also"),
        ({"shift": "a"}, "RULE-NUMBER", "unit[4].shift"),
    ],
)
def test_other_faults_of_a_unit(changes: dict[str, Any], code: str, spot: str) -> None:
    _, faults = read(changes)
    assert faults[0][:2] == (code, spot)


def test_a_broken_unit_that_others_are_told_in_is_one_fault() -> None:
    rows = [{**row, "factor": "one"} if row["code"] == "mm" else row for row in TABLE["unit"]]
    units, faults = units_from_table({**TABLE, "unit": rows}, {}, "units.toml")
    assert [fault.code for fault in faults] == ["RULE-NUMBER", "RULE-UNIT-MISSING"]
    assert {unit.dimension for unit in units.units} == set(DIMENSIONS) - {"length"}


def test_a_list_without_what_the_arithmetic_speaks_is_a_fault() -> None:
    units, faults = units_from_table({}, {}, "units.toml")
    assert units.units == ()
    assert [fault.code for fault in faults] == ["RULE-UNIT-MISSING"]
    assert all(code in faults[0].what for code in NEEDED)


@pytest.mark.parametrize("rows", [3, "x", [1], {"code": "lb"}])
def test_units_that_are_no_tables(rows: Any) -> None:
    _, faults = units_from_table({"format": 1, "unit": rows}, {"unit": 7}, "units.toml")
    assert ("RULE-TYPE", 7) in [(fault.code, fault.origin.row) for fault in faults]


@pytest.mark.parametrize("number", [2, True, "1"])
def test_another_format_is_refused(number: Any) -> None:
    _, faults = units_from_table({**TABLE, "format": number}, {}, "units.toml")
    assert [fault.code for fault in faults] == ["RULE-FORMAT"]
