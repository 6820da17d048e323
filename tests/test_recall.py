"""What is kept of texts read before: the same values, and never more than is said."""

from __future__ import annotations

import pytest

from ledger.normalise import recall
from ledger.normalise.recall import Recall
from ledger.values.reading import Reading


def test_what_is_asked_for_again_outlives_what_is_not(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recall, "MOST", 8)
    kept, made = Recall(), []

    def read(number: int) -> int:
        made.append(number)
        return number * 10

    for number in range(1, 40):
        assert kept.value((1,), lambda: read(1)) == 10
        assert kept.value((number,), lambda number=number: read(number)) == number * 10
    assert made.count(1) == 1
    assert kept.value((2,), lambda: read(2)) == 20
    assert made.count(2) == 2, "only so many are kept"
    assert len(kept._kept) + len(kept._older) <= 8


def test_a_reading_with_faults_is_made_anew_because_it_names_a_cell() -> None:
    from ledger.values.finding import Fault
    from ledger.values.origin import Origin

    kept = Recall()
    for row in (2, 3):
        fault = Fault("X", Origin("a.csv", row), "what", "way out")
        found = kept.reading(("x",), lambda fault=fault: Reading(None, (fault,)))
        assert found.faults[0].origin.row == row
    assert kept.reading(("x",), lambda: Reading(5)).value == 5
    assert kept.reading(("x",), lambda: Reading(6)).value == 5
