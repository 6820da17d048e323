"""The law of each place on file, held against what was read of it; the citation beside each check.

Texts that were read only in an edition before 2020, or from memory, inform and never decide.
"""

from __future__ import annotations

import re
from datetime import date
from fractions import Fraction

import pytest

from ledger.flow.examples import run_examples
from ledger.rulebook import grammar
from ledger.rulebook.field_words import FACT_WORDS, FIELD_WORDS, FLAG_WORDS
from ledger.rulebook.model import Deadline, Paper, Read, Requirement, Retention, RuleFile
from ledger.rulebook.telling import tell
from ledger.rulebook.telling_form import tell_form
from ledger.rulefile import shipped_rules
from tests.cases import book

STATES = (
    "AR", "AZ", "CA", "CO", "CT", "DE", "FL", "HI", "ID", "IL", "IN", "KS",
    "MA", "MD", "ME", "MI", "MN", "MO", "NH", "NJ", "NM", "NV", "NY", "OH",
    "OK", "OR", "PA", "RI", "SD", "TN", "TX", "UT", "VA", "VT", "WA", "WI",
)  # fmt: skip
DEEP = ("us-federal", "us-ca", "us-ny", "us-pa", "us-me", "us-tx")
FILES = {file.id: file for file in book().jurisdictions}
OFFICIAL = (
    ".gov", ".us", ".edu", "pacode.com",
)  # fmt: skip
"""Hosts of governments and of university extensions; Pennsylvania publishes at pacode.com."""


def law(state: str) -> RuleFile:
    return FILES[f"us-{state.lower()}"]


def rule(state: str, name: str) -> Requirement:
    return next(item for item in law(state).requirements if item.name == name)


def clock(state: str, name: str) -> Deadline:
    return next(item for item in law(state).deadlines if item.name == name)


def paper(state: str, name: str) -> Paper:
    return next(item for item in law(state).papers if item.name == name)


def keeping(state: str) -> dict[str, Retention]:
    return {item.name: item for item in law(state).retentions}


def test_every_state_of_the_list_is_on_file() -> None:
    assert sorted(FILES) == sorted(["us-federal", *(f"us-{state.lower()}" for state in STATES)])


@pytest.mark.parametrize("id_", sorted(FILES))
def test_each_file_shows_by_examples_what_it_says(id_: str) -> None:
    file = FILES[id_]
    assert len(file.examples) >= (6 if id_ in DEEP else 2)
    assert any(example.expect for example in file.examples)
    assert any(not example.expect for example in file.examples)
    assert file.unread, "there is always a part that nobody read"


@pytest.mark.parametrize("id_", DEEP)
def test_the_deep_files_show_clocks_met_and_missed_papers_and_keeping(id_: str) -> None:
    file = FILES[id_]
    timed = [example for example in file.examples if example.recorded or example.filed]
    late = [any(text.startswith("late ") for text in example.expect) for example in timed]
    assert True in late
    assert False in late
    assert any(example.kept_until for example in file.examples)
    assert any(example.papers is not None for example in file.examples)
    # The people and products of an example always have their numbers, so California's and New
    # York's conditional fields, and Maine's that inform, cannot be shown missing.
    conditional = {rule.name for rule in file.requirements if rule.when and rule.read.decides}
    missed = {text.partition(" ")[2] for example in file.examples for text in example.expect}
    assert missed & conditional or id_ in {"us-ca", "us-ny", "us-me"}


def test_the_examples_give_what_they_expect() -> None:
    assert run_examples(book()) == ()


@pytest.mark.parametrize("id_", sorted(FILES))
def test_sources_name_an_official_section_and_no_mirror(id_: str) -> None:
    for source in FILES[id_].sources:
        assert source.section, source.key
        host = re.match(r"https://([^/]+)", source.link)
        assert not source.link or (host and host[1].endswith(OFFICIAL)), source.link


@pytest.mark.parametrize("id_", sorted(FILES))
def test_what_was_not_read_never_decides(id_: str) -> None:
    file = FILES[id_]
    unsure = {Read.MEMORY, Read.INFERRED, Read.OLD}
    for item in (*file.orders, *file.papers, *file.incidents):
        assert item.read.decides is (item.read not in unsure), item.name
    for source in file.sources:
        if source.read is Read.OLD:
            assert re.search(r"\b(19|20)\d\d\b|[Uu]ndated|older", source.note), source.key


@pytest.mark.parametrize("state", ["OR", "MN", "MD", "ME", "CT", "NH"])
def test_an_edition_before_2020_informs_only(state: str) -> None:
    # OR 2007, MN 2005 and 2015, MD undated, CT 2013, NH 2015; Maine's section 1 counts as one.
    old = [item for item in law(state).requirements if item.read is Read.OLD]
    assert old
    assert not any(item.read.decides for item in old)


@pytest.mark.parametrize("state", ["WA", "VT"])
def test_fields_from_memory_decide_nothing(state: str) -> None:
    # RCW 17.21.100 and 20-031 Code Vt. R. 012 were not reached.
    assert {item.read for item in law(state).requirements} == {Read.MEMORY}


CLOCKS = [
    # state, name, length, unit, from, about
    ("PA", "written", 24, "h", "application", "record"),  # 7 Pa. Code 128.35(d)
    ("ME", "same-day", 0, "day", "application", "record"),  # 01-026 C.M.R. ch. 50 s. 1
    ("AZ", "hand-over", 5, "business day", "application", "handover"),  # A.A.C. R3-8-501(A)
    ("OH", "same-date", 0, "day", "application", "record"),  # OAC 901:5-11-10(A)
    ("OH", "to-business", 10, "day", "application", "handover"),  # Ohio State Extension
    ("WI", "same-day", 0, "day", "application", "record"),  # ATCP 29.21
    ("WI", "copy", 30, "day", "application", "paper"),  # ATCP 29.22
    ("MN", "five-days", 5, "day", "application", "record"),  # Minn. Stat. 18B.37 (2015)
    ("MO", "three-days", 3, "business day", "application", "record"),  # 2 CSR 70-25.120
    ("NM", "one-day", 24, "h", "application", "record"),  # 21.17.50.10 NMAC
    ("DE", "one-day", 24, "h", "completion of the work", "record"),  # 3 Del. Admin. Code 601-14.0
    ("ID", "restricted-copy", 30, "day", "application", "paper"),  # IDAPA 02.03.03.101.02
    ("TN", "copy", 48, "h", "request", "request"),  # 0080-09-04-.06
    ("VA", "produce", 72, "h", "request", "request"),  # 2VAC5-680-50
    ("SD", "close-of-day", 0, "day", "application", "record"),  # agency checklist
    ("IN", "final-record", 30, "day", "application", "record"),  # State Chemist's page
    ("IL", "restricted-fortnight", 14, "day", "application", "record"),  # U. of Illinois Extension
    ("TX", "school-coordinator", 2, "business day", "application", "handover"),  # 4 TAC 7.203(5)
    (
        "CA",
        "fumigation-log",
        10,
        "business day",
        "completion of the work",
        "handover",
    ),  # 16 CCR 1970
    ("federal", "restricted-record", 14, "day", "application", "record"),  # 7 CFR 110.3(c)
    ("federal", "restricted-copy", 30, "day", "application", "paper"),  # 7 U.S.C. 136i-1(a)(2)
]


@pytest.mark.parametrize(("state", "name", "length", "unit", "start", "about"), CLOCKS)
def test_the_clocks_are_those_of_the_law(
    state: str, name: str, length: int, unit: str, start: str, about: str
) -> None:
    item = clock(state, name)
    assert (item.within.value, item.within.unit) == (Fraction(length), unit)
    assert (item.counted_from, item.about) == (start, about)


def test_a_grace_of_the_law_is_kept_in_its_words() -> None:
    # 3 Del. Admin. Code 601-14.0.
    assert clock("DE", "one-day").grace == "unless good cause is shown"


YEARS = [
    ("NY", {"records-and-report": 3}),  # ECL 33-1205
    ("PA", {"three-years": 3}),  # 7 Pa. Code 128.35
    ("ME", {"two-years": 2}),  # 01-026 C.M.R. ch. 50
    ("TX", {"two-years": 2}),  # 4 TAC 7.144(a)
    ("CT", {"five-years": 5}),  # Gen. Stat. 22a-66g
    ("MA", {"three-years": 3}),  # 333 CMR 10.14(2)
    ("OR", {"three-years": 3}),  # ORS 634.146(2)
    ("MD", {"two-years": 2}),  # COMAR 15.05.01.12
    ("VA", {"two-years": 2}),  # 2VAC5-680-50
    ("OH", {"three-years": 3}),  # Ohio State Extension
    ("MI", {"restricted-three": 3, "general-one": 1}),  # R 285.636.15
    ("WI", {"two-years": 2, "atrazine-three": 3}),  # ATCP 29.21; ATCP 30.31(5) by its notes
    ("MN", {"structural-five": 5}),  # Minn. Stat. 18B.37 subd. 3 (2005)
    ("MO", {"three-years": 3}),  # 2 CSR 70-25.120
    ("IN", {"two-years": 2}),  # IC 15-16-5-59(b)
    ("NM", {"two-years": 2, "restricted-two": 2}),  # 21.17.50.10, 21.17.56.15 NMAC
    ("DE", {"two-years": 2}),  # 601-14.0
    ("RI", {"two-years": 2}),  # 250-RICR-40-15-2.6
    ("TN", {"two-years": 2}),  # 0080-09-04-.06
    ("CO", {"three-years": 3}),  # C.R.S. 35-10-111
    ("HI", {"two-years": 2}),  # HAR 4-66-62
    ("NV", {"two-years": 2}),  # NAC 555, new section
    ("FL", {"two-years": 2, "termite-three": 3, "inspection-three": 3}),  # 5E-14.142; 482.051(5)
    ("SD", {"three-years": 3}),  # agency checklist
    ("WA", {"seven-years": 7}),  # agency page
    ("IL", {"two-years": 2}),  # 8 Ill. Adm. Code 250.150(b)
    ("UT", {"two-years": 2, "training-file": 2}),  # R68-7-17, R68-7-16
    ("KS", {"three-years": 3}),  # from memory, not verified
    ("ID", {"two-years": 2, "three-years-before": 3, "training-file": 3}),  # 101; 400.01.c
    ("NJ", {"three-years": 3, "school-three": 3, "school-termite-five": 5}),  # 7:30-13.4
]


@pytest.mark.parametrize(("state", "years"), YEARS)
def test_records_are_kept_as_long_as_the_law_says(state: str, years: dict[str, int]) -> None:
    assert {name: item.years for name, item in keeping(state).items()} == years


@pytest.mark.parametrize("state", ["AZ", "OK", "NH", "VT", "AR"])
def test_where_no_years_were_read_none_are_given(state: str) -> None:
    # R3-8-503(B) and others: "do not guess".
    assert law(state).retentions == ()


def test_an_amendment_starts_connecticuts_years_again() -> None:
    # Gen. Stat. 22a-66g: from the date the record is made or amended, whichever is later.
    assert keeping("CT")["five-years"].counted_from == "record made or amended"


def test_idaho_changed_its_years_on_a_day() -> None:
    # IDAPA 02.03.03.101, in force from 1 July 2024; the agency's page still says 3.
    kept = keeping("ID")
    assert kept["two-years"].span.start == date(2024, 7, 1)
    assert kept["three-years-before"].span.end == date(2024, 6, 30)


def test_missouri_asks_for_times_from_2025() -> None:
    # 2 CSR 70-25.120(4)(C), text from 1 January 2025.
    assert rule("MO", "times").span.start == date(2025, 1, 1)
    assert rule("MO", "pests-and-name").span.end == date(2024, 12, 31)


def test_pennsylvania_takes_four_units_and_no_others() -> None:
    # 7 Pa. Code 128.35(a)(5): pounds, ounces, gallons or liters; an ounce may be a fluid one.
    assert rule("PA", "amount-units").units == ("lb", "oz", "fl oz", "gal", "L")


def test_fixed_words_are_those_of_the_law() -> None:
    assert rule("RI", "spot-words").words == ("spot treatment",)  # 250-RICR-40-15-2.6(B)(4)
    assert rule("NV", "restricted-spot-words").words == ("spot treatment",)  # NAC 555, Sec. 14.1
    assert rule("federal", "restricted-spot-words").words == ("spot application",)  # 110.3(b)
    assert rule("CO", "no-dilution-words").words == ("no dilution", "aerosol", "rtu")  # 6.03(f)


def test_ways_that_are_refused() -> None:
    assert rule("OK", "place").not_as == ("post-office box",)  # OAC 35:30-17-21(a)(6)
    assert rule("NY", "street-address").not_as == ("post-office box",)  # report dictionary
    assert rule("NY", "address-length").longest == 50  # report dictionary
    assert rule("OR", "person-served").not_as == ("initials",)  # agency page
    assert "insects" in rule("CO", "target-pest").refused  # 8 CCR 1203-2, 6.03(c)


def test_lists_of_the_firm_stand_in_where_the_law_says_so() -> None:
    assert rule("CT", "name-and-number").elsewhere == ("product list",)  # 22a-66g(a)(2), (b)
    assert rule("NJ", "product").elsewhere == ("product list",)  # 7:30-7.3(a)3
    assert rule("NJ", "applicator").elsewhere == ("person list",)  # 7:30-7.3(a)6
    with_lists = {id_ for id_, file in FILES.items() for r in file.requirements if r.elsewhere}
    assert with_lists == {"us-ct", "us-nj"}


def test_what_new_york_says_twice_is_asked_for_once() -> None:
    # DEC policy OGC 3: the statute satisfies the older regulation.
    assert rule("NY", "target").supersedes == ("regulation-list",)
    sections = {item.section: item.why for item in law("NY").dormant}
    assert sections["6 NYCRR 325.25(b)"] == "superseded"


def test_oregons_report_lies_dormant() -> None:
    # OAR 603-057-0410(2).
    (item,) = law("OR").dormant
    assert item.why == "not enforced"
    assert not law("OR").reports


def test_what_each_report_says_of_its_due_day() -> None:
    # 3 CCR 6627, 6625; ECL 33-1205; 01-026 C.M.R. ch. 50 s. 2; Ark. Code 17-37-221; CT by memory.
    due = {
        (id_, duty.name): (duty.due_day, duty.due_month, duty.due_rule, duty.postmark)
        for id_, file in FILES.items()
        for duty in file.reports
        if duty.due_read
    }  # fmt: skip
    assert due == {
        ("us-ca", "monthly"): (10, None, "next business day", True),
        ("us-ca", "schools"): (30, 1, "fixed", False),
        ("us-ny", "yearly"): (1, 2, "fixed", False),
        ("us-me", "yearly"): (31, 1, "fixed", False),
        ("us-ct", "yearly"): (31, 1, "fixed", False),
        ("us-ar", "monthly"): (15, None, "fixed", False),
    }
    # M.G.L. c. 132B s. 7A and 333 CMR 10.14(3) name no day.
    assert [(i, d.name) for i, f in FILES.items() for d in f.reports if not d.due_read] == [
        ("us-ma", "yearly")
    ]


def test_no_report_is_owed_whose_form_is_not_there() -> None:
    forms = {form.id for form in book().forms}
    assert all(duty.form in forms for file in FILES.values() for duty in file.reports)


def test_incidents_have_their_thresholds() -> None:
    nevada = {item.name: item for item in law("NV").incidents}
    # NAC 555.700(2), (3): over 1 gallon or 4 pounds by telephone in 24 hours; poisoning in 48.
    assert [(q.value, q.unit) for q in nevada["spill"].more_than] == [(1, "gal"), (4, "lb")]
    within = {name: item.within and item.within.value for name, item in nevada.items()}
    assert within == {"spill": 24, "poisoning": 48}
    (harm,) = law("MA").incidents  # 333 CMR 10.14(3), (4)
    assert harm.within is not None
    assert (harm.within.value, harm.within.unit) == (48, "h")


def test_papers_reach_the_people_the_law_names() -> None:
    assert paper("WI", "residents").to == "the residents"  # ATCP 29.55
    assert "in writing beforehand" in paper("WI", "copy").electronic  # ATCP 29.22
    assert paper("TX", "sheet-sign").waiver  # 4 TAC 7.148(d)
    assert paper("RI", "invoice").at == "on completion"  # 250-RICR-40-15-2.6(B)(7)
    assert paper("KS", "statement").at == "on completion"  # K.A.R. 4-13-4
    assert paper("CT", "before-contract").at == "before a contract"  # 22a-66a(a)
    assert paper("CA", "paper-fumigation").span.start == date(2025, 1, 1)  # 16 CCR 1970.4


def test_no_fixed_statement_is_printed_whose_words_were_not_read() -> None:
    # Business and Professions Code 8538: the text was not reached.
    assert not any(item.statement for file in FILES.values() for item in file.papers)


def test_showing_a_law_names_sources_and_what_was_not_read() -> None:
    told = "\n".join(tell(FILES["us-pa"]))
    for words in (
        "Pennsylvania (us-pa)", "7 Pa. Code 128.35", "within 24 h from the application",
        "in lb or oz or fl oz or gal or L", "hour completed", "the label has a re-entry time",
        "Papers for people", "Not read, so never passed", "pacode.com",
        "read in the regulation text",
    ):  # fmt: skip
        assert words.casefold() in told.casefold(), words


@pytest.mark.parametrize("id_", sorted(FILES))
def test_every_rule_is_told_under_its_source_and_marked_where_not_verified(id_: str) -> None:
    file = FILES[id_]
    told = tell(file, book().forms)
    rules = (*file.orders, *file.papers, *file.incidents, *file.limits, *file.reports)
    lines = {rule.ref.line: rule for rule in (*rules, *file.dormant)}
    for number, rule in lines.items():
        (shown,) = [line for line in told if line.endswith(f"(line {number})")]
        assert shown.startswith("    - [?]") is not rule.read.decides, shown
        above = told[: told.index(shown)]
        heading = next(line for line in reversed(above) if line and not line.startswith(" "))
        assert heading.removeprefix("[?] ") == rule.ref.source
    last = [line for line in told if line and not line.startswith(" ")][-1]
    assert last == "Not read, so never passed"
    assert len(told[told.index(last) + 1 :]) == len(file.unread)


def test_fields_and_facts_are_told_in_words() -> None:
    for names, words in (
        ((*grammar.REQUIREMENT_FIELDS, *grammar.PAPER_FIELDS), FIELD_WORDS),
        (grammar.FACTS, {**FACT_WORDS, **FLAG_WORDS}),
    ):
        assert sorted(set(names) - set(words)) == []
        assert sorted(set(words) - set(names)) == []
    for file in FILES.values():
        assert not any("_" in line for line in tell(file) if "http" not in line), file.id


def test_a_form_is_told_with_its_doubts_marked() -> None:
    form = book().form("us-ny-yearly")
    assert form is not None
    told = "\n".join(tell_form(form))
    # Which header fields are repeated and that FL and GL are units was not read in the guide.
    assert "[?] Place of the header fields" in told
    assert "[?] fl oz is FL" in told
    assert "\n  - oz is OZ" in told
    state = "\n".join(tell(FILES["us-ny"], book().forms))
    assert "of its form [?] Place of the header fields" in state


def test_a_file_says_what_it_is_before_anything_else() -> None:
    for file in FILES.values():
        text = (shipped_rules() / file.path).read_text(encoding="utf-8")
        assert text.isascii(), file.path
        assert max(map(len, text.splitlines())) < 400, file.path
