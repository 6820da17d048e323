"""Which clocks and years of keeping govern a record, each by the jurisdiction that forces it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from ledger.checks.case import Case
from ledger.deadlines import Sort
from ledger.flow.due import what_is_due
from ledger.flow.governing import clocks_of, retentions_of
from ledger.flow.inspecting import prove_whole
from ledger.flow.keep_orders import contract_ended
from ledger.flow.recording import record_sheet
from ledger.flow.retaining import records
from ledger.flow.workspace import WorkspaceProblem
from ledger.rulebook.book import Book
from ledger.rulebook.model import Read, RuleFile
from tests.cases import book, case, use
from tests.day_sheets import sheet
from tests.workspaces import SetClock, sample_workspace

RESTRICTED = "granite-powder"


def at(
    state: str, product: str = "ridgeline-dust", work: str = "structural", **said: object
) -> Case:
    found = case(use(product, jurisdiction=f"us-{state}", **said))
    return replace(found, firm=replace(book().firm, work=work))


def clocks(of: Case, rules: Book | None = None) -> set[str]:
    return {clock.name for clock, _ in clocks_of(rules or book(), of)}


def kept(of: Case, rules: Book | None = None) -> dict[str, bool | None]:
    return {rule.name: applies for rule, applies in retentions_of(rules or book(), of)}


def test_the_class_of_the_product_chooses_the_years() -> None:
    # R 285.636.15: three years for restricted-use products, one for general-use ones.
    assert "restricted-three" in kept(at("mi", RESTRICTED))
    assert "general-one" not in kept(at("mi", RESTRICTED))
    assert "restricted-three" not in kept(at("mi"))
    assert kept(at("mi"))["general-one"] is True


def test_what_cannot_be_told_may_govern() -> None:
    unread = replace(at("mi"), product=None)
    assert kept(unread)["restricted-three"] is None
    assert kept(unread)["general-one"] is None


def test_the_line_of_work_chooses_the_years() -> None:
    # Fla. Stat. 482.051(5) and 482.226(1): three years for work against wood-destroying organisms.
    assert "termite-three" not in kept(at("fl"))
    assert "termite-three" in kept(at("fl", work="wood destroying organisms"))


def test_the_kind_of_site_chooses_years_and_clocks() -> None:
    # N.J.A.C. 7:30-13.4: records of work at a school; 4 TAC 7.203(5): two business days.
    assert "school-three" in kept(at("nj", site_kind="school"))
    assert "school-three" not in kept(at("nj"))
    assert "school-coordinator" in clocks(at("tx", site_kind="school"))
    assert "school-coordinator" not in clocks(at("tx"))


def test_the_class_of_the_product_chooses_the_clock() -> None:
    # 7 CFR 110.3(c): 14 days for restricted-use products only.
    assert "restricted-record" in clocks(at("pa", RESTRICTED))
    assert "restricted-record" not in clocks(at("pa"))


def test_the_day_of_the_work_chooses_the_years() -> None:
    # IDAPA 02.03.03.101: two years from 1 July 2024, three before.
    assert set(kept(at("id", date=date(2024, 6, 30)))) >= {"three-years-before"}
    assert "two-years" not in kept(at("id", date=date(2024, 6, 30)))
    assert "three-years-before" not in kept(at("id", date=date(2024, 7, 1)))
    assert "two-years" in kept(at("id", date=date(2024, 7, 1)))


def over(state: str, rules: str, **changes: object) -> Book:
    """Return the book with a state's first clock or term standing over the federal one."""
    law = book().jurisdiction(f"us-{state}")
    assert law is not None
    first, *others = getattr(law, rules)
    changed: RuleFile = replace(law, **{rules: (replace(first, **changes), *others)})
    files = tuple(changed if file.id == law.id else file for file in book().jurisdictions)
    return replace(book(), jurisdictions=files)


# 7 CFR 110.3(h): where a state asks for comparable records, (a) to (c) give way to the state's.
# Which states do was not read, so the shipped files put nothing out of force: these are made up.
def test_a_clock_gives_way_to_one_that_stands_over_it() -> None:
    of = at("pa", RESTRICTED)
    rules = over("pa", "deadlines", supersedes=("us-federal/restricted-record",))
    assert "restricted-record" in clocks(of)
    assert "restricted-record" not in clocks(of, rules)
    assert "written" in clocks(of, rules)
    assert "restricted-copy" in clocks(of, rules), "110.3(e) stays"


def test_a_clock_that_does_not_govern_puts_none_out_of_force() -> None:
    of = at("pa", RESTRICTED)
    name = {"supersedes": ("us-federal/restricted-record",)}
    unread = over("pa", "deadlines", **name, read=Read.MEMORY)
    federal = book().jurisdiction("us-federal")
    assert federal is not None
    restricted = federal.deadlines[0].when
    elsewhere = over("tx", "deadlines", **name, when=restricted)
    assert "restricted-record" in clocks(of, unread)
    assert "restricted-record" in clocks(of, elsewhere)
    general = over("pa", "retentions", supersedes=("us-federal/restricted-two",), when=())
    assert "three-years" in kept(of, general)


def test_a_term_gives_way_too() -> None:
    of = at("pa", RESTRICTED)
    federal = book().jurisdiction("us-federal")
    assert federal is not None
    names = {rule.name for rule in federal.retentions} & set(kept(of))
    assert names
    rules = over("pa", "retentions", supersedes=tuple(f"us-federal/{name}" for name in names))
    assert not names & set(kept(of, rules))
    assert "three-years" in kept(of, rules)


@pytest.fixture
def firm(tmp_path):
    clock = SetClock(datetime(2026, 1, 16, 2, 30, tzinfo=UTC))
    return sample_workspace(tmp_path / "firm", clock=clock)


def test_due_and_keep_ask_the_same_question(firm) -> None:
    michigan = {"state": "MI", "city": "Ann Arbor", "zip": "48103", "county": "Washtenaw"}
    restricted = {
        "product": RESTRICTED, "extent": "2 voids", "method": "void", "pests": "mice",
        "amount": "1 oz", "line": "2", "setting": "indoor", "places": "wall void",
    }  # fmt: skip
    done = record_sheet(firm, "day.csv", sheet(michigan, {**michigan, **restricted}), "renner")
    first, second = (outcome.seq for outcome in done.outcomes)
    with firm.store.reading() as reader:
        until = {item.first: item.until for item in records(firm, reader)}
    # R 285.636.15: one year for the general-use product, three for the restricted-use one.
    assert (until[first].day, until[first].rule) == (date(2027, 1, 14), "general-one")
    assert (until[second].day, until[second].rule) == (date(2029, 1, 14), "restricted-three")
    found = [i for i in what_is_due(firm, date(2029, 1, 2)) if i.sort is Sort.RETENTION]
    assert [(i.day, "restricted-three" in i.why) for i in found] == [(date(2029, 1, 14), True)]
    assert not [i for i in what_is_due(firm, date(2027, 1, 2)) if i.sort is Sort.RETENTION]


def test_a_record_for_the_school_is_due_until_it_is_given(firm) -> None:
    # 4 TAC 7.203(5): to the school's coordinator within two business days; 19 January 2026 is a
    # holiday, so Thursday's work is due on Tuesday. What goes to the business is in its ledger.
    texas = {"state": "TX", "city": "Austin", "zip": "78701", "county": "Travis",
             "site kind": "school", "date": "2026-01-15"}  # fmt: skip
    arizona = {"state": "AZ", "city": "Phoenix", "zip": "85001", "county": "Maricopa",
               "line": "2", "date": "2026-01-15"}  # fmt: skip
    lines = sheet(texas, arizona)
    done = record_sheet(firm, "day.csv", lines, "renner")
    first = done.outcomes[0].seq
    found = [i for i in what_is_due(firm, date(2026, 1, 16)) if "coordinator" in i.what]
    assert [(item.day, item.late) for item in found] == [(date(2026, 1, 20), False)]
    assert found[0].command.startswith(f"useledger notice --after {first} --given")
    late = [i for i in what_is_due(firm, date(2026, 1, 21)) if "coordinator" in i.what]
    assert [item.late for item in late] == [True]
    assert not [i for i in what_is_due(firm, date(2026, 2, 1)) if "R3-8-501(A)" in i.source]


def test_a_report_whose_due_day_was_not_read_is_listed_and_never_overdue(firm) -> None:
    # M.G.L. c. 132B s. 7A: collected at least once a year; no day was read.
    boston = {"state": "MA", "city": "Boston", "zip": "02108", "county": "Suffolk"}
    record_sheet(firm, "day.csv", sheet(boston), "renner")
    found = what_is_due(firm, date(2029, 5, 1))
    mine = [i for i in found if i.sort is Sort.REPORT and "us-ma" in i.command]
    assert mine
    assert not any(item.late or item.sure for item in mine)
    assert all("was not read: ask the agency" in item.why for item in mine)
    assert "--jurisdiction us-ma" in mine[0].command
    assert not [i for i in what_is_due(firm, date(2026, 6, 1)) if "us-ma-yearly" in i.command]


def test_years_from_the_end_of_a_contract_run_once_the_end_is_said(firm) -> None:
    # No state on file counts so; Louisiana, North and South Carolina do (their texts were read only
    # for work on wood-destroying organisms). The rule here is made up.
    law = firm.book.jurisdiction("us-ca")
    longer = replace(
        law.retentions[0], name="contract", years=2, counted_from="contract end", when=(),
        of="contracts", supersedes=(), about=("application",),
    )  # fmt: skip
    changed = replace(law, retentions=(*law.retentions, longer))
    files = tuple(changed if file.id == law.id else file for file in firm.book.jurisdictions)
    firm.book = replace(firm.book, jurisdictions=files)
    record_sheet(firm, "day.csv", sheet({}), "renner")

    def until() -> tuple[date | None, str]:
        with firm.store.reading() as reader:
            (item,) = records(firm, reader)
        return item.until.day, item.until.rule

    assert until() == (None, "contract")
    contract_ended(firm, "S0001", date(2025, 12, 31), "calloway")  # an earlier contract
    assert until() == (None, "contract")
    contract_ended(firm, "S0001", date(2027, 5, 1), "calloway")
    assert until() == (date(2029, 5, 1), "contract")
    contract_ended(firm, "S0001", date(2031, 5, 1), "calloway")  # of a later contract
    assert until() == (date(2029, 5, 1), "contract")
    with pytest.raises(WorkspaceProblem, match="no site"):
        contract_ended(firm, "S0009", date(2027, 5, 1), "calloway")
    assert prove_whole(firm).ok
