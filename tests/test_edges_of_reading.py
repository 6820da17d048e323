"""Edges that a changed sign or number would move unseen: each found by breaking the program."""

from __future__ import annotations

import pytest

from ledger.numbers import read_number
from ledger.units import units_from_table
from ledger.values.origin import Origin

HERE = Origin("day.csv", 2, "amount")


@pytest.mark.parametrize(("digits", "read"), [(99, True), (100, True), (101, False)])
def test_a_number_of_a_hundred_signs_is_read_and_one_more_is_not(digits: int, read: bool) -> None:
    found = read_number("0." + "0" * (digits - 3) + "1", HERE)
    codes = [fault.code for fault in found.faults]
    assert all(code == "AMOUNT-TOO-LARGE" for code in codes)
    long = "is too long to be a number" in "".join(fault.what for fault in found.faults)
    assert long is (not read)


@pytest.mark.parametrize("of", ["lb", "gal"])
def test_a_unit_is_told_by_a_unit_of_worth_one(of: str) -> None:
    """Ounces told by the pound, whose factor is not 1, would be told by nothing."""
    table = {
        "format": 1, "id": "units", "title": "Units", "checked_on": "2026-11-25",
        "unit": [
            {"code": "g", "dimension": "mass", "of": "g", "factor": "1"},
            {"code": "lb", "dimension": "mass", "of": "g", "factor": "45359237/100000"},
            {"code": "oz", "dimension": "mass", "of": of, "factor": "1/16"},
        ],
    }  # fmt: skip
    units, faults = units_from_table(table, {}, "units.toml")
    said = [fault.what for fault in faults if fault.origin.column == "unit[3].of"]
    assert len(said) == 1
    assert "with the factor 1" in said[0]
    assert units.find("oz") is None
    assert units.find("lb") is not None
