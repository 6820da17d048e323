"""Addresses in the normal form of USPS Publication 28, and sites matched by them."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scourgify import normalize_address_record
from scourgify.address_constants import STATE_ABBREVIATIONS, STREET_TYPE_ABBREVIATIONS

from ledger.normalise.addresses import Street, Trouble, read_address, read_street
from ledger.normalise.postal import (
    DIRECTIONS,
    STATES,
    SUFFIXES,
    UNITS_ALONE,
    UNITS_NUMBERED,
)  # fmt: skip
from ledger.normalise.sites import SiteAsk, locate, match_site, read_county, read_place
from ledger.values.draft import Draft
from ledger.values.firm import Firm
from ledger.values.lexicon import Lexicon, PlaceOfLaw, Words
from ledger.values.origin import Cell, Origin
from ledger.values.site import Address, Site

FIXTURES = Path(__file__).parent.parent / "fixtures"
LAST = {"city": "Auburn", "state": "CA", "zip": "95603", "county": "Placer"}
FIRM = Firm(
    "Calloway Home Pest Care", "PR 99031", "", "Auburn", "CA", "95603", "us-ca",
    "America/Los_Angeles", True, "1 in N", "structural",
)  # fmt: skip
CALIFORNIA = PlaceOfLaw(
    "us-ca", "CA", "California", "America/Los_Angeles", (("Nevada", "29"), ("Placer", "31"))
)
LEXICON = Lexicon(FIRM, Words({}), (), (CALIFORNIA,))


def draft(**cells: str) -> Draft:
    typed = {name.replace("_", " "): text for name, text in cells.items()}
    held = {name: Cell(text, Origin("day.csv", 2, name)) for name, text in typed.items()}
    return Draft(Origin("day.csv", 2), held, typed)


def line_of(text: str, unit: str = "") -> tuple[str, str]:
    found = read_street(text, unit)
    assert isinstance(found, Street), found
    return found.line, found.unit


@pytest.mark.parametrize(
    ("text", "street", "unit"),
    [
        ("118 Tollhouse Lane", "118 TOLLHOUSE LN", ""),
        ("118 tollhouse ln., apt. 4", "118 TOLLHOUSE LN", "APT 4"),
        ("64 Idaho Bar Road", "64 IDAHO BAR RD", ""),
        ("9 Penryn Cut", "9 PENRYN CUT", ""),
        ("400 N. Main Street #12", "400 N MAIN ST", "# 12"),
        ("118 Main St Unit # 4", "118 MAIN ST", "UNIT 4"),
        ("Suite 4, 118 Main St", "118 MAIN ST", "STE 4"),
        ("118 Main St, 4B", "118 MAIN ST", "# 4B"),
        ("20 Mill Creek Road Bldg 2 Apt 4", "20 MILL CREEK RD", "BLDG 2 APT 4"),
        ("200 Oak Terrace Rear", "200 OAK TER", "REAR"),
        ("123½ Elm Av", "123 1/2 ELM AVE", ""),
        ("123 - 125 Elm Ave", "123-125 ELM AVE", ""),
        ("112-10 Bronx Road", "112-10 BRONX RD", ""),
        ("842 E 1700 South", "842 E 1700 S", ""),
        ("39.2 Rd", "39.2 RD", ""),
        ("12 North Avenue", "12 NORTH AVE", ""),
        ("12 W St", "12 W ST", ""),
        ("100 Bay West Drive", "100 BAY WEST DR", ""),
        ("100 Bay Drive West", "100 BAY DR W", ""),
        ("3 South East Ridge Pkwy", "3 SE RIDGE PKWY", ""),
        ("12 Meadow Meadow", "12 MEADOW MDW", ""),
        ("12 Lake Side", "12 LAKE SIDE", ""),
        ("12 Old Front St", "12 OLD FRONT ST", ""),
        ("12 Box Canyon Rd", "12 BOX CANYON RD", ""),
        ("77 State Hwy 49", "77 STATE HIGHWAY 49", ""),
        ("77 CR 12", "77 COUNTY ROAD 12", ""),
        ("14 US Highway 50 West", "14 US HIGHWAY 50 W", ""),
        ("5 Winston-Salem Plaza Suite 200", "5 WINSTON SALEM PLZ", "STE 200"),
        ("12 O'Neil Blvd", "12 ONEIL BLVD", ""),
        ("RR 2 Box 018", "RR 2 BOX 18", ""),
    ],
)
def test_the_rules_of_publication_28(text: str, street: str, unit: str) -> None:
    # Publication 28 sections 213 (units, the pound sign), 222 (punctuation), 233 (directionals),
    # 234.2 (two suffixes), 24 (rural routes), appendices C1, C2, D2 (grids) and F (highways).
    assert line_of(text) == (street, unit)
    assert line_of(f"  {text.upper()} ") == (street, unit)
    assert line_of(f"{street}{' ' + unit if unit else ''}") == (street, unit), "its own normal form"


INVENTED = [
    f"{number} {before}{name} {suffix}{after}{unit}"
    for number, before, name, suffix, after, unit in [
        ("118", "", "Tollhouse", "Lane", "", ""),
        ("2207", "", "Sluice", "Court", "", ", Apt 4"),
        ("64", "", "Idaho Bar", "Road", "", " Unit B"),
        ("9", "North ", "Penryn", "Street", "", ""),
        ("31", "S. ", "Quartz", "Av", "", ""),
        ("7", "", "Assay", "Parkway", " NE", ""),
        ("1200", "", "Gold Pan", "Blvd.", "", " Suite 200"),
        ("45", "", "Ditch Tender", "Trail", " South", ""),
        ("88", "East ", "Stamp Mill", "Circle", "", ", Bldg 2"),
        ("3", "", "Rocker Box", "Crossing", "", ""),
        ("510", "", "Saint Barbara", "Terrace", "", " Apt 12"),
        ("15", "", "Old Flume", "Hwy", "", ""),
        ("6", "NW ", "Long Tom", "Plaza", "", " Ste 9"),
        ("77", "", "Blue Lead", "Heights", "", ""),
        ("19", "", "Powder House", "Sq", "", " Trlr 3"),
        ("402", "W ", "Hardrock", "Expressway", "", ""),
    ]
]


@pytest.mark.parametrize("text", INVENTED)
def test_a_kept_library_reads_invented_addresses_alike(text: str) -> None:
    # usaddress-scourgify 0.7: a statistical parser with tables of Publication 28.
    theirs = normalize_address_record(
        {"address_line_1": text, "address_line_2": "", "city": "Auburn", "state": "CA",
         "postal_code": "95603"}
    )  # fmt: skip
    assert line_of(text) == (theirs["address_line_1"], theirs["address_line_2"] or "")


def test_the_tables_agree_with_the_librarys() -> None:
    # Where both tables have a spelling they must agree.
    both = set(SUFFIXES) & set(STREET_TYPE_ABBREVIATIONS)
    assert len(both) > 450
    assert {word for word in both if SUFFIXES[word] != STREET_TYPE_ABBREVIATIONS[word]} == set()
    assert all(STATE_ABBREVIATIONS.get(name, code) == code for code, name in STATES.items())


def test_a_standard_form_stands_for_itself() -> None:
    for table in (SUFFIXES, DIRECTIONS, UNITS_NUMBERED, UNITS_ALONE):
        assert all(table[standard] == standard for standard in table.values())


@pytest.mark.parametrize(
    "text",
    [
        "P.O. Box 41", "PO Box 41", "P O Box 41", "POB 41", "Post Office Box 41", "Box 41",
        "PO Drawer 9", "Caller 12", "118 Main St PMB 12", "118 Main St, P.O. Box 41",
        "General Delivery", "p.o.box 41",
    ],
)  # fmt: skip
def test_a_mail_box_is_no_place_treated(text: str) -> None:
    found = read_street(text)
    assert isinstance(found, Trouble)
    assert found.code == "ADDRESS-BOX"


@pytest.mark.parametrize(
    ("text", "unit", "code"),
    [
        ("Tollhouse Lane", "", "ADDRESS-NUMBER"),
        ("the red barn", "", "ADDRESS-NUMBER"),
        ("118", "", "ADDRESS-STREET"),
        ("118 #4", "", "ADDRESS-STREET"),
        ("118 Main St, behind the mill", "", "ADDRESS-UNCLEAR"),
        ("118 Main St Apt 4", "Apt 5", "ADDRESS-UNIT"),
    ],
)
def test_what_is_no_address(text: str, unit: str, code: str) -> None:
    found = read_street(text, unit)
    assert isinstance(found, Trouble)
    assert found.code == code


@given(st.text(max_size=30), st.text(max_size=6))
def test_no_text_raises_and_a_normal_form_is_stable(text: str, unit: str) -> None:
    found = read_street(text, unit)
    if isinstance(found, Street) and not found.rural:
        again = read_street(found.line)
        assert isinstance(again, Street | Trouble)


@given(
    st.integers(1, 99999),
    st.sampled_from(["", "N", "South", "NE"]),
    st.sampled_from(["Quartz", "Idaho Bar", "Old Mill", "7th", "Saint Barbara", "Lake"]),
    st.sampled_from(sorted(SUFFIXES)),
    st.sampled_from(["", "West", "SE"]),
    st.sampled_from(["", "Apt 4", "#12", "Bldg 2 Unit B"]),
)
@example(1, "", "Quartz", "TRLR", "West", "")
@example(1, "", "Old Mill", "TRLR", "West", "")
@example(1, "N", "Lake", "KEY", "West", "Apt 4")
def test_a_normal_form_is_its_own(
    number: int, before: str, name: str, suffix: str, after: str, unit: str
) -> None:
    found = read_street(" ".join(f"{number} {before} {name} {suffix} {after} {unit}".split()))
    assert isinstance(found, Street)
    again = read_street(found.line, found.unit)
    assert again == found


@pytest.mark.parametrize("side", ["W", "West"])
def test_a_word_for_streets_and_units_is_the_streets_while_it_has_no_other(side: str) -> None:
    """Appendices C1 and C2 both list TRLR and KEY; which is meant before a lone direction no
    source says: a choice of our own, the same for both spellings of the direction."""
    assert line_of(f"1 Quartz Trailer {side}") == ("1 QUARTZ TRLR W", "")
    assert line_of(f"1 Quartz Key {side}") == ("1 QUARTZ KY W", "")
    assert line_of(f"1 Quartz St Trailer {side}") == ("1 QUARTZ ST", f"TRLR {side.upper()}")
    assert line_of("1 Quartz, Trailer W") == ("1 QUARTZ", "TRLR W")  # set off, it is a unit


def test_the_unit_column_and_the_unit_in_the_address_are_one() -> None:
    assert line_of("118 Main St", "Apartment 4") == ("118 MAIN ST", "APT 4")
    assert line_of("118 Main St Apt 4", "apt. 4") == ("118 MAIN ST", "APT 4")
    assert line_of("118 Main St", "4") == ("118 MAIN ST", "# 4")


def test_the_last_line() -> None:
    good = read_address(draft(address="118 Tollhouse Lane", **LAST))
    assert good.value == Address("118 TOLLHOUSE LN", "", "AUBURN", "CA", "95603")
    other = read_address(
        draft(address="118 Tollhouse Lane, Auburn, CA 95603", city="Auburn", state="california",
              zip="95603-1234")
    )  # fmt: skip
    assert other.value == good.value
    zero = read_address(draft(address="4 Elm St", city="Keene", state="NH", zip="3431"))
    assert zero.value is not None
    assert zero.value.zip == "03431"
    assert len(zero.remarks) == 1


def test_every_fault_of_an_address_comes_out_at_its_cell() -> None:
    bad = read_address(draft(address="P.O. Box 41", city="", state="Cal", zip="9560"))
    assert [(fault.code, fault.origin.column) for fault in bad.faults] == [
        ("ADDRESS-BOX", "address"), ("ADDRESS-CITY", "city"), ("ADDRESS-STATE", "state"),
        ("ADDRESS-ZIP", "zip"),
    ]  # fmt: skip
    assert [fault.code for fault in read_address(draft(**LAST)).faults] == ["ADDRESS-MISSING"]


def site(key: str, street: str, unit: str = "", city: str = "AUBURN", zip5: str = "95603") -> Site:
    return Site(key, Address(street, unit, city, "CA", zip5), "Placer", "us-ca", "dwelling", "")


def outcome(address: Address, *known: Site) -> tuple[str, str | None]:
    match = match_site(address, known)
    return match.outcome, match.site.key if match.site else None


@pytest.mark.parametrize(
    ("street", "unit", "expected"),
    [
        ("118 TOLLHOUSE LN", "", "same"),
        ("118 TOLLHUOSE LN", "", "near"),  # respelt
        ("118 TOLLHOUSE", "", "near"),  # suffix left out
        ("118 TOLLHOUSE RD", "", "near"),  # another suffix
        ("118 N TOLLHOUSE LN", "", "near"),  # directional left out on one side
        ("118 TOLLHOUSE LN", "APT 4", "near"),  # unit left out on one side
        ("119 TOLLHOUSE LN", "", "new"),  # next door
        ("181 TOLLHOUSE LN", "", "new"),
        ("118 SLUICE CT", "", "new"),
    ],
)
def test_same_near_and_new(street: str, unit: str, expected: str) -> None:
    known = site("S0001", "118 TOLLHOUSE LN")
    address = Address(street, unit, "AUBURN", "CA", "95603")
    assert outcome(address, known)[0] == expected


def test_what_is_another_place_for_certain() -> None:
    here = Address("118 N MAIN ST", "APT 4", "AUBURN", "CA", "95603")
    assert outcome(here, site("S1", "118 N MAIN ST", "APT 5"))[0] == "new"
    assert outcome(here, site("S1", "118 S MAIN ST", "APT 4"))[0] == "new"
    assert outcome(here, site("S1", "118 N MAIN ST", "APT 4", "COLFAX", "95713"))[0] == "new"
    fifth = Address("118 5TH AVE", "", "AUBURN", "CA", "95603")
    assert outcome(fifth, site("S1", "118 6TH AVE"))[0] == "new"
    assert outcome(fifth, site("S1", "118 FIFTH AVE")) == ("near", "S1")


def test_what_may_be_the_same_place() -> None:
    here = Address("118 MAIN ST", "# 4", "AUBURN", "CA", "95603")
    assert outcome(here, site("S1", "118 MAIN ST", "APT 4")) == ("near", "S1")
    assert outcome(here, site("S1", "118 MAIN ST", "# 4", "NORTH AUBURN")) == ("near", "S1")
    assert outcome(here, site("S1", "118 MAIN ST", "# 4", zip5="95604")) == ("near", "S1")


def test_the_same_goes_before_the_near_and_the_most_alike_before_the_rest() -> None:
    here = Address("118 TOLLHOUSE LN", "", "AUBURN", "CA", "95603")
    near, same = site("S0001", "118 TOLLHOUSE RD"), site("S0002", "118 TOLLHOUSE LN")
    assert outcome(here, near, same) == ("same", "S0002")
    assert outcome(here, site("S0003", "118 TOLLHUOSE LN"), near) == ("near", "S0001")
    assert outcome(here, site("S0009", "118 TOLLHOUSE"), near) == ("near", "S0001")


def test_a_county_is_read_by_the_states_list() -> None:
    for typed in ("Placer", "placer ", "PLACER COUNTY", "31"):
        assert read_county(draft(county=typed), CALIFORNIA) == ("Placer", ())
    wrong = read_county(draft(county="Plaser"), CALIFORNIA)[1]
    assert [fault.code for fault in wrong] == ["COUNTY-UNKNOWN"]
    assert "Placer" in wrong[0].way_out
    assert [fault.code for fault in read_county(draft(), CALIFORNIA)[1]] == ["COUNTY-UNKNOWN"]
    assert read_county(draft(county="Washoe"), None) == ("Washoe", ())


def test_the_58_counties_of_california_by_name_and_number() -> None:
    # fixtures/government/ca_counties.csv: the state's own list.
    with (FIXTURES / "government" / "ca_counties.csv").open(encoding="utf-8") as file:
        rows = [(row["county"], row["pur_county_number"]) for row in csv.DictReader(file)]
    assert len(rows) == 58
    law = PlaceOfLaw("us-ca", "CA", "California", "", tuple(rows))
    for name, number in rows:
        assert read_county(draft(county=name.upper()), law) == (name, ())
        assert read_county(draft(county=number), law) == (name, ())


def test_a_state_without_a_file_is_remarked_and_kept() -> None:
    place = read_place(draft(address="1 Elm St", city="Reno", state="NV", zip="89501"), LEXICON, "")
    assert place.ask is not None
    assert (place.ask.jurisdiction, place.ask.time_zone) == ("us-nv", "America/Los_Angeles")
    assert [item.code for item in place.remarks] == ["PLACE-WITHOUT-LAW"]


def test_a_site_key_names_a_site_and_an_unknown_one_is_held() -> None:
    home = site("S0001", "118 TOLLHOUSE LN")
    asked: list[SiteAsk] = []

    def find(ask: SiteAsk) -> Site | None:
        asked.append(ask)
        return home if ask.key == "S0001" else None

    line = draft(site="s1")
    place = read_place(line, LEXICON, "")
    assert place.ask is not None
    assert locate(line, place.ask, find) == (home, ())
    assert asked[0].key == "S0001"
    lost = draft(site="S0099")
    ask = read_place(lost, LEXICON, "").ask
    assert ask is not None
    assert [fault.code for fault in locate(lost, ask, find)[1]] == ["SITE-UNKNOWN"]


def test_a_county_or_address_that_is_not_the_sites_is_held() -> None:
    home = site("S0001", "118 TOLLHOUSE LN")
    line = draft(address="118 Tollhouse Lane", **{**LAST, "county": "Nevada"})
    ask = read_place(line, LEXICON, "").ask
    assert ask is not None
    found = locate(line, ask, lambda _: home)
    assert [fault.code for fault in found[1]] == ["COUNTY-DIFFERS"]
    assert "Nevada" in found[1][0].what
    assert "Placer" in found[1][0].what
    both = draft(site="S0001", address="2207 Sluice Court", **LAST)
    ask = read_place(both, LEXICON, "").ask
    assert ask is not None
    assert [fault.code for fault in locate(both, ask, lambda _: home)[1]] == ["SITE-DIFFERS"]
