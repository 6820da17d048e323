"""People by key, number or name, and which of their licences a line was worked under."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from ledger.normalise.people import Duty, choose_licence, find_person, read_licence, read_person
from ledger.values.dated import Span
from ledger.values.firm import Firm, Licence, Person
from ledger.values.origin import Origin

HERE = Origin("day.csv", 2, "applicator")
DAY = date(2026, 1, 14)


def licence(
    number: str, until: date, jurisdiction: str = "us-ca", work: str = "structural"
) -> Licence:
    return Licence(number, "", jurisdiction, (work,), "certified", True, Span(None, until))


RENNER = Person("renner", "Tobias Renner", (licence("FR 90427", date(2027, 6, 30)),))
MARSH = Person("marsh", "Odile Marsh", (licence("RA 90588", date(2026, 1, 31)),))
ASTER = Person("aster", "Pell Aster")
TWO = Person(
    "calloway", "Ines Calloway",
    (licence("OPR 90311", date(2028, 6, 30)), licence("FR 90312", date(2028, 6, 30)),
     licence("NY 7", date(2028, 6, 30), "us-ny"),
     licence("W 3", date(2028, 6, 30), work="wood")),
)  # fmt: skip
FIRM = Firm(
    "Calloway Home Pest Care", "PR 99031", "", "Auburn", "CA", "95603", "us-ca",
    "America/Los_Angeles", True, "1 in N", "structural", people=(RENNER, MARSH, ASTER, TWO),
)  # fmt: skip


@pytest.mark.parametrize(
    "text", ["renner", "Renner ", "FR 90427", "fr-90427", "FR90427", "tobias  renner"]
)
def test_one_person_by_any_of_his_names(text: str) -> None:
    assert find_person(text, FIRM) is RENNER


def test_an_unknown_person_is_held_with_the_nearest_named() -> None:
    reading = read_person("rener", FIRM, HERE)
    assert [fault.code for fault in reading.faults] == ["PERSON-UNKNOWN"]
    assert "renner (Tobias Renner)" in reading.faults[0].way_out
    assert "calloway" in read_person("OPR 90301", FIRM, HERE).faults[0].way_out
    assert read_person("", FIRM, HERE).faults == ()


def test_a_name_that_two_people_share_names_nobody() -> None:
    twin = Person("renner2", "Tobias Renner")
    firm = replace(FIRM, people=(RENNER, twin))
    assert find_person("Tobias Renner", firm) is None
    assert find_person("renner", firm) is RENNER


def test_a_licence_is_chosen_by_place_work_and_day() -> None:
    numbers = [item.number for item in choose_licence(TWO, "us-ca", "structural", DAY)]
    assert numbers == ["OPR 90311", "FR 90312"]
    assert [item.number for item in choose_licence(TWO, "us-ny", "structural", DAY)] == ["NY 7"]
    assert [item.number for item in choose_licence(TWO, "us-ca", "wood", DAY)] == ["W 3"]
    assert choose_licence(MARSH, "us-ca", "structural", date(2026, 1, 31))
    assert choose_licence(MARSH, "us-ca", "structural", date(2026, 2, 1)) == ()
    assert choose_licence(ASTER, "us-ca", "structural", DAY) == ()


def test_none_is_no_fault_one_is_taken_several_are_asked() -> None:
    duty = Duty("us-ca", "structural", DAY)
    assert read_licence("aster", ASTER, duty, HERE).value == ""
    assert read_licence("renner", RENNER, duty, HERE).value == "FR 90427"
    asked = read_licence("calloway", TWO, duty, HERE)
    assert [fault.code for fault in asked.faults] == ["LICENCE-ASK"]
    assert "OPR 90311 or FR 90312" in asked.faults[0].what
    assert read_licence("fr-90312", TWO, duty, HERE).value == "FR 90312"
