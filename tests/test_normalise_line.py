"""One line understood: what holds it, what is only said, and what makes it the same line."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lines import (
    CELLS,
    LEXICON,
    PRODUCTS,
    UNITS,
    WORDS,
    draft,
    finder,
    licence,
    understood,
    with_firm,
)

from ledger.intake import read_sheet
from ledger.normalise.line import Normalised, held_identity, normalise_line, own_key
from ledger.normalise.products import registration
from ledger.seal import canonical
from ledger.values.amount import Basis, Quantity
from ledger.values.body import application_body
from ledger.values.dated import Span
from ledger.values.draft import APPLICATION_HEADINGS, Draft
from ledger.values.entry import Application, Avoided
from ledger.values.finding import Fault
from ledger.values.firm import Person
from ledger.values.lexicon import Lexicon
from ledger.values.origin import Cell, Origin
from ledger.values.site import Address, Site

SAMPLES = Path(__file__).parent.parent / "fixtures" / "samples"


def sample(name: str) -> list[Normalised]:
    sheet = read_sheet(name, (SAMPLES / name).read_bytes(), True)
    assert sheet.faults == ()
    find = finder()
    return [normalise_line(item, LEXICON, UNITS, find) for item in sheet.drafts]


def good(changes: dict[str, str] | None = None, lexicon: Lexicon = LEXICON) -> Application:
    found = understood(changes, lexicon)
    assert found.faults == ()
    assert found.application is not None
    return found.application


def held(changes: dict[str, str], lexicon: Lexicon = LEXICON) -> list[tuple[str, str | None]]:
    found = understood(changes, lexicon)
    assert found.application is None
    assert all(fault.what and fault.way_out for fault in found.faults)
    return [(fault.code, fault.origin.column) for fault in found.faults]


def remarks(changes: dict[str, str], lexicon: Lexicon = LEXICON) -> list[tuple[str, str]]:
    found = understood(changes, lexicon)
    assert found.faults == ()
    return [(item.code, item.column) for item in found.remarks]


# --- the sample sheets, by EXPECTED.md of the samples ---


@pytest.mark.parametrize("name", ["day-2026-01-14.csv", "day-2026-01-14.xlsx"])
def test_the_clean_sample_is_understood_whole(name: str) -> None:
    lines = sample(name)
    assert [line.faults for line in lines] == [()] * 9
    apps = [line.application for line in lines]
    assert all(app is not None for app in apps)
    shown = [
        (app.site, app.product_key, str(app.used.fraction), app.used.unit, app.licence)
        for app in apps
        if app
    ]
    assert shown == [
        ("S0001", "99999-11", "3/4", "oz", "FR 90427"),
        ("S0001", "99999-11", "1/4", "oz", "FR 90427"),
        ("S0001", "99999-31", "6", "g", "FR 90427"),
        ("S0002", "99999-11", "41/2", "g", "FR 90427"),
        ("S0002", "99999-12", "1/2", "oz", "FR 90427"),
        ("S0003", "99999-21", "9/10", "fl oz", "FR 90427"),
        ("S0003", "99999-61", "3/2", "oz", "FR 90427"),
        ("S0004", "99999-51", "36", "oz", "RA 90588"),
        ("S0004", "hearth-mint", "4", "fl oz", "RA 90588"),
    ]
    last = apps[-1]
    assert last is not None
    assert (last.supervisor, last.supervisor_licence) == ("renner", "FR 90427")
    assert last.site_code == "10"


def test_the_workbook_has_the_same_lines_as_the_csv() -> None:
    first = [line.identity for line in sample("day-2026-01-14.csv")]
    assert first == [line.identity for line in sample("day-2026-01-14.xlsx")]
    assert len(set(first)) == 9


def test_the_messy_sample_holds_just_what_it_must() -> None:
    lines = sample("day-2026-01-15-messy.csv")
    faults = {
        line.draft.text("line"): [(fault.origin.column, fault) for fault in line.faults]
        for line in lines
        if line.faults
    }
    assert {number: [column for column, _ in found] for number, found in faults.items()} == {
        "2": ["amount"], "3": ["product"], "5": ["end"], "7": ["amount"], "8": ["amount"],
        "9": ["date"], "11": ["basis"], "12": ["address", "amount"], "13": ["dilution"],
    }  # fmt: skip

    def only(number: str) -> Fault:
        assert len(faults[number]) == 1
        return faults[number][0][1]

    assert only("3").code == "PRODUCT-UNKNOWN"
    assert "99999-" in only("3").way_out
    assert only("5").code == "TIME-ORDER"
    assert "00:15 +1" in only("5").way_out
    assert only("9").code == "DATE-IMPOSSIBLE"
    assert "30 February" in only("9").what
    assert {fault.code for _, fault in faults["12"]} == {"ADDRESS-BOX", "AMOUNT-NEGATIVE"}


def test_what_the_messy_sample_books() -> None:
    apps = {
        app.line: app for line in sample("day-2026-01-15-messy.csv") if (app := line.application)
    }
    assert list(apps) == ["1", "4", "6", "10", "14", "15"]
    first = apps["1"]
    assert first.date == date(2026, 1, 15)
    assert (first.product, first.method, first.pests) == (
        "ridgeline-dust", "crack and crevice", ("stink bugs",)
    )  # fmt: skip
    assert first.amount.quantity == Quantity(Fraction(1, 2), "oz")
    assert apps["4"].avoided_said == "blank"
    assert apps["10"].licence == ""
    assert apps["14"].used.fraction == Fraction(3, 16)
    assert apps["14"].used.unit == "fl oz"
    assert [app.used.derived for app in apps.values()] == [False, False, True, False, True, False]


# --- core facts ---


def test_a_good_line_in_full() -> None:
    app = good()
    assert (app.date, app.end_day) == (date(2026, 1, 14), 0)
    assert (app.start, app.end) == (time(8, 5), time(9, 20))
    assert (app.site, app.jurisdiction, app.county) == ("S0001", "us-ca", "Placer")
    assert (app.product, app.product_key, app.label) == ("ridgeline-dust", "99999-11", "r" * 64)
    assert app.places == ("door frame", "siding seam")
    assert app.avoided_said == "none present"
    assert app.weather.wind == Quantity(Fraction(4), "mph")
    assert (app.weather.wind_from, app.weather.rain) == ("N", False)
    assert len(app.visit) == 16


def test_all_faults_come_out_at_once_each_at_its_cell() -> None:
    assert held(
        {"date": "2026-02-30", "end": "late", "applicator": "rener", "supervisor": "nobody",
         "address": "PO Box 3", "county": "Plaser", "product": "99999-77", "amount": "0,5 oz"}
    ) == [
        ("DATE-IMPOSSIBLE", "date"), ("PERSON-UNKNOWN", "applicator"), ("TIME-UNREADABLE", "end"),
        ("PERSON-UNKNOWN", "supervisor"), ("ADDRESS-BOX", "address"),
        ("COUNTY-UNKNOWN", "county"), ("PRODUCT-UNKNOWN", "product"), ("AMOUNT-COMMA", "amount"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("heading", "code"),
    [
        ("date", "DATE-MISSING"), ("applicator", "PERSON-MISSING"), ("product", "PRODUCT-MISSING"),
        ("address", "ADDRESS-MISSING"), ("city", "ADDRESS-CITY"), ("state", "ADDRESS-STATE"),
        ("zip", "ADDRESS-ZIP"), ("county", "COUNTY-UNKNOWN"), ("amount", "AMOUNT-BLANK"),
    ],
)  # fmt: skip
def test_a_missing_core_fact_holds_the_line(heading: str, code: str) -> None:
    assert held({heading: ""}) == [(code, heading)]


@pytest.mark.parametrize(
    "heading",
    ["line", "start", "end", "customer", "site kind", "method", "setting", "places", "avoided",
     "pests", "extent", "equipment", "temperature", "wind", "rain", "notice"],
)  # fmt: skip
def test_what_a_law_may_miss_does_not_hold_the_line(heading: str) -> None:
    assert understood({heading: ""}).faults == ()


def test_an_unknown_product_hides_no_fault_of_the_amount_and_adds_none() -> None:
    assert held({"product": "99999-77"}) == [("PRODUCT-UNKNOWN", "product")]
    assert held({"product": "99999-77", "amount": "1/2 pt"}) == [("PRODUCT-UNKNOWN", "product")]
    assert held({"product": "99999-77", "amount": "-1 lb"}) == [
        ("PRODUCT-UNKNOWN", "product"), ("AMOUNT-NEGATIVE", "amount"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "text",
    ["99999-11", "EPA Reg. No. 99999-11", "epa reg no 99999 - 11", "99999\u201311", "099999-11",
     "EPA Registration Number: 99999-11", "RIDGELINE-DUST", "Ridgeline  crevice dust"],
)  # fmt: skip
def test_one_product_however_it_is_named(text: str) -> None:
    assert good({"product": text}).product_key == "99999-11"


def test_numbers_of_distributors_and_states() -> None:
    # 40 CFR 152.132(d): the basic number, dash, the distributor's company number.
    app = good({"product": "99999-11-55555"})
    assert (app.product, app.product_key) == ("ridgeline-dust", "99999-11-55555")
    assert good({"product": "99999-11-ZA"}).product_key == "99999-11"
    own = replace(PRODUCTS[0], id="own-label", registration="99999-11-55555")
    lexicon = replace(LEXICON, products=(own,))
    assert good({"product": "99999-11-55555"}, lexicon).product == "own-label"
    assert held({"product": "99999-11"}, lexicon) == [("PRODUCT-UNKNOWN", "product")]


def test_numbers_that_name_no_product_say_what_they_are() -> None:
    fault = understood({"product": "EPA Est. 99999-CA-001"}).faults[0]
    assert "establishment number" in fault.what
    assert "file symbol" in understood({"product": "99999-EGN"}).faults[0].what


@given(st.integers(1, 999999), st.integers(1, 99999), st.sampled_from("-\u2010\u2013\u2014\u2212"))
def test_a_registration_number_has_one_plain_form(company: int, number: int, dash: str) -> None:
    plain = f"{company}-{number}"
    for text in (plain, f"{company} {dash} {number}", f"EPA Reg. No. {company}{dash}{number}"):
        assert registration(text) == plain
    assert registration(plain) == plain


def test_the_label_in_hand_is_that_of_the_lot_else_the_newest_in_force() -> None:
    old = replace(PRODUCTS[0], lots=("A1",), in_force=Span(date(2024, 1, 1), None), digest="a" * 64)
    new = replace(PRODUCTS[0], in_force=Span(date(2026, 1, 10), None), digest="b" * 64)
    lexicon = replace(LEXICON, products=(old, new))
    assert good({}, lexicon).label == "b" * 64
    assert good({"lot": "a1"}, lexicon).label == "a" * 64
    assert good({"date": "2026-01-09"}, lexicon).label == "a" * 64
    assert ("READ-AS", "product") in remarks({"date": "2023-01-09"}, lexicon)


def test_a_label_that_cannot_be_read_holds_only_what_needs_it() -> None:
    lexicon = replace(
        LEXICON, products=PRODUCTS[1:],
        doubtful={"ridgeline-dust": "labels/ridgeline-dust.toml",
                  "99999-11": "labels/ridgeline-dust.toml"},
    )  # fmt: skip
    app = good({"amount": "20.5 g"}, lexicon)
    assert (app.product, app.product_key, app.label) == ("ridgeline-dust", "99999-11", "")
    assert (app.used.fraction, app.used.unit) == (Fraction(41, 2), "g")
    assert app.amount.basis is Basis.PRODUCT
    assert held({"amount": "0.75 oz"}, lexicon) == [("AMOUNT-OUNCE", "amount")]
    assert held({"amount": "1 gal"}, lexicon) == [("AMOUNT-BASIS", "basis")]
    assert good({"amount": "3 fl oz", "basis": "product"}, lexicon).used.unit == "fl oz"
    mixed = {"amount": "1 gal", "basis": "mix", "dilution": "1.2 fl oz/gal"}
    assert good(mixed, lexicon).used.fraction == Fraction(6, 5)
    assert [column for _, column in held({**mixed, "dilution": "0.06 % ai"}, lexicon)] == [
        "dilution"
    ]
    assert held({"amount": "12 each"}, lexicon)[0][1] == "amount"


def test_several_licences_are_asked_about() -> None:
    two = Person(
        "renner", "Tobias Renner",
        (licence("FR 90427", date(2027, 6, 30)), licence("FR 90428", date(2027, 6, 30))),
    )  # fmt: skip
    lexicon = with_firm(people=(two,))
    assert held({}, lexicon) == [("LICENCE-ASK", "applicator")]
    assert good({"applicator": "FR 90428"}, lexicon).licence == "FR 90428"


def test_a_licence_that_ran_out_leaves_the_line_without_one() -> None:
    assert good({"applicator": "marsh", "date": "2026-01-31"}).licence == "RA 90588"
    later = good({"applicator": "marsh", "date": "2026-02-01"})
    assert (later.applicator, later.licence, later.supervisor) == ("marsh", "", "")


# --- what is only said ---


def test_a_word_that_is_not_known_stays_as_typed() -> None:
    app = good({"method": "Voyd", "setting": "attic", "pests": "ants; antz", "notice": "maybe"})
    assert (app.method, app.setting, app.pests, app.notice) == (
        "Voyd", "attic", ("ants", "antz"), "maybe"
    )  # fmt: skip
    found = remarks({"method": "Voyd", "pests": "ants; antz"})
    assert found == [("WORD-UNKNOWN", "method"), ("WORD-UNKNOWN", "pests")]
    said = understood({"method": "Voyd"}).remarks[0]
    assert "void" in said.way_out


@pytest.mark.parametrize(
    ("heading", "text", "code"),
    [
        ("extent", "quite a lot", ""),
        ("temperature", "cold", "WEATHER-UNREADABLE"),
        ("wind", "breezy", "WEATHER-UNREADABLE"),
        ("rain", "perhaps", "WEATHER-UNREADABLE"),
        ("equipment", "duster-z", "TOOL-UNKNOWN"),
        ("avoided", "creek (water, far)", "WORD-UNKNOWN"),
        ("avoided", "creek (water, 60 elbows)", "DISTANCE-UNREADABLE"),
    ],
)
def test_a_detail_that_cannot_be_read_is_said(heading: str, text: str, code: str) -> None:
    found = remarks({heading: text})
    assert (code, heading) in found or (not code and heading in {column for _, column in found})


def test_an_extent_that_says_nothing_keeps_its_text() -> None:
    app = good({"extent": "quite a lot"})
    assert (app.extent.text, app.extent.measures) == ("quite a lot", ())


def test_places_avoided_with_reason_and_distance() -> None:
    app = good({"avoided": "refrigerator (moving air); creek (water, 60 ft); ledge"})
    assert app.avoided_said == "given"
    assert app.avoided[:2] == (
        Avoided("refrigerator", "moving air"),
        Avoided("creek", "water", Quantity(Fraction(60), "ft")),
    )
    assert app.avoided[2].place == "ledge"
    assert good({"avoided": ""}).avoided_said == "blank"
    assert good({"avoided": "None Present"}).avoided_said == "none present"


def test_what_was_prepared() -> None:
    app = good({"prepared": "Food covered; occupants out"})
    assert (app.prepared_said, app.prepared[0]) == ("given", "food covered")
    assert good({"prepared": "none"}).prepared_said == "none"
    assert good({"prepared": ""}).prepared_said == "blank"


@pytest.mark.parametrize(
    ("text", "speed", "unit", "point"),
    [
        ("6 mph NW", "6", "mph", "NW"), ("6mph nw", "6", "mph", "NW"),
        ("NW 6 mph", "6", "mph", "NW"),
        ("4 mph from the north-west", "4", "mph", "NW"), ("4 mph north west", "4", "mph", "NW"),
        ("calm", "0", "mph", ""), ("3 m/s SSE", "3", "m/s", "SSE"), ("10 km/h", "10", "km/h", ""),
    ],
)  # fmt: skip
def test_the_wind(text: str, speed: str, unit: str, point: str) -> None:
    weather = good({"wind": text}).weather
    assert (weather.wind, weather.wind_from) == (Quantity(Fraction(speed), unit), point)


def test_the_temperature_may_lie_below_zero() -> None:
    assert good({"temperature": "-5 F"}).weather.temperature == Quantity(Fraction(-5), "F")
    assert good({"temperature": "28°F"}).weather.temperature == Quantity(Fraction(28), "F")
    assert good({"temperature": "-2.5 C"}).weather.temperature == Quantity(Fraction(-5, 2), "C")


def test_a_change_of_clocks_is_remarked() -> None:
    spring = {"date": "2026-03-08", "start": "02:30", "end": "03:40"}
    assert ("TIME-CHANGE", "start") in remarks(spring)


def test_a_state_without_a_file_is_booked_and_said() -> None:
    line = {"city": "Reno", "state": "NV", "zip": "89501", "county": "Washoe"}
    assert good(line).jurisdiction == "us-nv"
    assert ("PLACE-WITHOUT-LAW", "state") in remarks(line)


# --- texts that are refused ---


@pytest.mark.parametrize(
    ("heading", "text", "code"),
    [
        ("note", "bell\x07", "TEXT-CONTROL"), ("note", "turned \u202eround", "TEXT-CONTROL"),
        ("customer", '=HYPERLINK("x")', "TEXT-FORMULA"), ("note", "@sum(a1)", "TEXT-FORMULA"),
        ("amount", "1 \x00oz", "TEXT-CONTROL"), ("product", "=1+1", "TEXT-FORMULA"),
    ],
)  # fmt: skip
def test_a_text_that_acts_holds_the_line_with_one_fault(heading: str, text: str, code: str) -> None:
    assert held({heading: text}) == [(code, heading)]


def test_a_line_break_is_white_space_and_a_dash_is_a_dash() -> None:
    app = good({"note": "- left the gate\r\nopen", "places": "door frame\nsiding seam"})
    assert app.note == "- left the gate open"
    assert app.places == ("door frame", "siding seam")


def test_a_fault_of_the_sheets_reader_stands_alone() -> None:
    line = draft({"amount": "0.0006"})
    fault = Fault("CELL-PERCENT", Origin("day.csv", 2, "amount"), "was a per cent", "write % ai")
    found = normalise_line(replace(line, faults=(fault,)), LEXICON, UNITS, finder())
    assert found.faults == (fault,)


def test_what_the_sheets_reader_restored_is_said_where_it_was_typed() -> None:
    line = draft()
    restored = "the spreadsheet had dropped a leading zero"
    for heading, row, expected in (
        ("zip", 2, [("RESTORED", "zip")]), ("zip", 1, []), ("start", 2, []),
    ):  # fmt: skip
        cell = Cell(CELLS[heading], Origin("day.csv", row, heading), restored)
        cells = {**line.cells, heading: cell}
        found = normalise_line(replace(line, cells=cells), LEXICON, UNITS, finder())
        assert [(item.code, item.column) for item in found.remarks] == expected


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=12), st.sampled_from(["note", "customer", "places", "lot", "method"]))
def test_a_text_is_either_refused_or_has_canonical_bytes(text: str, heading: str) -> None:
    found = understood({heading: text})
    if found.application is not None:
        for part in application_body(found.application):
            assert canonical(part)
    else:
        assert {item.code for item in found.faults} <= {"TEXT-CONTROL", "TEXT-FORMULA"}


# --- sites ---


def test_a_held_line_makes_no_site() -> None:
    asked: list[str] = []

    def find(ask: object) -> None:
        asked.append(str(ask))

    normalise_line(draft({"amount": "12 each"}), LEXICON, UNITS, find)
    assert asked == []


def test_a_site_key_alone_says_where() -> None:
    home = Site(
        "S0007", Address("64 IDAHO BAR RD", "", "GRASS VALLEY", "CA", "95945"), "Nevada", "us-ca",
        "dwelling", "America/Los_Angeles",
    )  # fmt: skip
    away = dict.fromkeys(("address", "city", "state", "zip", "county", "site kind"), "")
    found = understood({**away, "site": "S0007"}, LEXICON, home)
    assert found.application is not None
    app = found.application
    assert (app.site, app.county, app.site_kind, app.licence) == (
        "S0007", "Nevada", "dwelling", "FR 90427"
    )  # fmt: skip
    lost = understood({**away, "site": "S0008", "amount": "12 each"}, LEXICON, home)
    assert [fault.origin.column for fault in lost.faults] == ["amount", "site"]


def test_a_county_that_is_not_the_sites_holds_the_line() -> None:
    home = Site(
        "S0001", Address("118 TOLLHOUSE LN", "", "AUBURN", "CA", "95603"), "Nevada", "us-ca",
        "dwelling", "America/Los_Angeles",
    )  # fmt: skip
    found = understood({}, LEXICON, home)
    assert [fault.code for fault in found.faults] == ["COUNTY-DIFFERS"]


# --- identity ---


def test_identity_does_not_move_with_the_way_of_writing() -> None:
    first = understood().identity
    for changes in (
        {"line": "9"}, {"note": "x"}, {"pests": "ants"}, {"extent": "9 ft"},
        {"amount": "3/4 ounce"}, {"amount": "¾ oz"}, {"amount": "0.750  OZ"}, {"basis": "product"},
        {"product": "EPA Reg. No. 99999-11"}, {"applicator": "FR 90427"}, {"date": "1/14/2026"},
        {"start": "8:05 am"}, {"address": "118 tollhouse ln."}, {"method": "Crack & Crevice"},
        {"places": "siding  seam;Door frame"}, {"county": "PLACER"}, {"site kind": ""},
        {"zip": "95603-1111"}, {"setting": "At Structure"},
    ):  # fmt: skip
        assert understood(changes).identity == first, changes


def test_identity_moves_with_every_core_fact() -> None:
    mixed = {
        "product": "ridgeline-sc", "basis": "mix", "amount": "1 gal", "dilution": "1 fl oz/gal"
    }  # fmt: skip
    lines: list[dict[str, str]] = [
        {}, {"date": "2026-01-13"}, {"start": "08:06"}, {"end": "09:21"}, {"end": "09:20 +1"},
        {"applicator": "calloway"}, {"address": "120 Tollhouse Lane"}, {"unit": "4"},
        {"product": "alder-dust"}, {"amount": "0.76 oz"}, {"amount": "0.75 lb"},
        {"method": "void"}, {"setting": "indoor"}, {"places": "door frame"}, mixed,
        {**mixed, "dilution": "1.1 fl oz/gal"}, {**mixed, "basis": "product", "dilution": ""},
    ]  # fmt: skip
    find = finder()
    ids = [normalise_line(draft(line), LEXICON, UNITS, find).identity for line in lines]
    assert len(set(ids)) == len(lines)


@settings(max_examples=30)
@given(st.permutations(list(CELLS)), st.booleans())
def test_identity_does_not_depend_on_the_order_of_columns(order: list[str], broken: bool) -> None:
    changes = {"amount": "12 each"} if broken else {}
    line = draft(changes)
    turned = Draft(line.origin, {name: line.cells[name] for name in order}, line.typed)
    assert (
        normalise_line(turned, LEXICON, UNITS, finder()).identity
        == normalise_line(line, LEXICON, UNITS, finder()).identity
    )


def test_a_new_spelling_in_the_word_list_does_not_make_a_new_line() -> None:
    changes = {"method": "puffed in"}
    words = replace(WORDS.lists["method"][0], also=(*WORDS.lists["method"][0].also, "puffed in"))
    lists = {**WORDS.lists, "method": (words, *WORDS.lists["method"][1:])}
    later = replace(LEXICON, words=type(WORDS)(lists))
    assert good(changes).method != good(changes, later).method
    assert understood(changes).identity == understood(changes, later).identity


def test_a_held_line_has_an_identity_of_its_cells() -> None:
    one, two = draft({"amount": "12 each"}), draft({"amount": "12  EACH", "line": "7"}, row=9)
    assert held_identity(one) == held_identity(two) != held_identity(draft({"amount": "13 each"}))
    assert understood({"amount": "12 each"}).identity == held_identity(one)
    assert held_identity(draft()) != understood().identity


def test_the_applicators_own_key() -> None:
    assert own_key(good()) == "renner|2026-01-14|1"
    assert own_key(good({"line": ""})) is None
    assert own_key(draft()) == "renner|2026-01-14|1"
    assert own_key(draft({"date": "1/2/2026"})) is None  # two ways to read it
    bad = understood({"date": "1/2/2026", "applicator": "FR 90427", "amount": "12 each"})
    assert (bad.own, bad.day) == ("renner|2026-01-02|1", date(2026, 1, 2))


def test_a_visit_is_one_trip() -> None:
    assert good().visit == good({"product": "alder-dust", "amount": "1 oz"}).visit
    assert good().visit != good({"start": "14:00", "end": "15:00"}).visit


# --- whatever is typed ---

HEADINGS = st.sampled_from([name for name in APPLICATION_HEADINGS if name != "line"])
TEXTS = st.one_of(
    st.text(max_size=15),
    st.sampled_from(["1/2 oz", "mix", "1:100", "+1", "99-9", "-", ";", "(", "60 ft", "S1", "=1"]),
)


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(HEADINGS, TEXTS, max_size=12), st.booleans())
def test_any_line_is_booked_or_held_and_never_raises(cells: dict[str, str], alone: bool) -> None:
    line = {**({} if alone else CELLS), **cells}
    held_cells = {name: Cell(text, Origin("x", 2, name)) for name, text in line.items()}
    found = normalise_line(Draft(Origin("x", 2), held_cells, line), LEXICON, UNITS, finder())
    assert (found.application is None) == bool(found.faults)
    assert len(found.identity) == 32
    assert all(item.kind == "advice" for item in found.remarks)
