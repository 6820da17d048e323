"""Sums across records: what counts when lines are amended, struck, late, or of one visit."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.flow.carrying import carry_over
from ledger.flow.correcting import amend, strike
from ledger.flow.judging import latest_findings
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import read_rules
from tests.day_sheets import sheet
from tests.workspaces import ROOT, sample_workspace

# Two more labels of the firm: a dust with a yearly total of its active ingredient, shared by
# another product that holds four times as much of it, and a total for one visit.
OFF = """
[[limit]]
name = "off"
shape = "keep_off"
source = "label"
says = "Not on food surfaces."
traits = ["food surface"]
"""
LIMITS = """
[[limit]]
name = "cyfluthrin-a-year"
shape = "total"
source = "label"
says = "At most 0.05 g of cyfluthrin a calendar year at one address, from all products."
basis = "ai"
most = "50 mg"
within = "calendar year"
same = "address"
across = "ingredient"

[[limit]]
name = "a-visit"
shape = "total"
source = "label"
says = "At most 40 g on one visit."
most = "40 g"
within = "visit"
same = "address"
"""


@pytest.fixture
def firm(tmp_path: Path):
    made = sample_workspace(tmp_path / "firm")
    text = (ROOT / "rules" / "labels" / "ridgeline-dust.toml").read_text(encoding="utf-8")
    head = text[: text.index("[[limit]]")].replace('lasts = "6 to 8 months"\n', "")
    head = head.replace('lasts_source = "practice"\n', "")
    head = head[: head.index("[source.practice]")]
    for name, number, share in (
        ("mere-dust", "99999-301", "0.1"),
        ("mere-strong", "99999-302", "0.4"),
    ):
        own = head.replace("ridgeline-dust", name).replace("99999-11", number)
        own = own.replace('per_cent = "0.1"', f'per_cent = "{share}"')
        path = tmp_path / "firm" / "rules" / "labels" / f"{name}.toml"
        path.write_text(own + (LIMITS if name == "mere-dust" else OFF), encoding="utf-8")
    made.book = read_rules(tmp_path / "firm")
    assert made.book.faults == ()
    yield made
    made.store.close()


def booked(firm, *lines, name: str = "day.csv") -> list[int]:
    cells = [{"product": "mere-dust", "extent": "400 ft", **line} for line in lines]
    done = record_sheet(firm, name, sheet(*cells), "renner")
    assert [outcome.line.state for outcome in done.outcomes] == ["booked"] * len(lines)
    return [outcome.seq for outcome in done.outcomes]


def said(firm, seq: int) -> set[str]:
    with firm.store.reading() as reader:
        found = latest_findings(reader, seq)
    names = {"cyfluthrin-a-year", "a-visit"}
    return {f"{f.kind} {f.name}" for f in found if f.name in names}


OVER = {"breach cyfluthrin-a-year"}


def test_a_total_adds_over_the_year_and_stops_at_its_end(firm) -> None:
    (first,) = booked(firm, {"date": "2025-12-31", "amount": "40 g"}, name="a.csv")
    (second,) = booked(firm, {"date": "2026-01-02", "amount": "30 g"}, name="b.csv")
    (third,) = booked(firm, {"date": "2026-01-10", "amount": "20 g"}, name="c.csv")
    assert [said(firm, seq) for seq in (first, second, third)] == [set(), set(), set()]
    (fourth,) = booked(firm, {"date": "2026-01-14", "amount": "0.1 g"}, name="d.csv")
    assert said(firm, fourth) == OVER  # 30 + 20 g are exactly the 50 mg; the rest is over
    assert said(firm, third) == set()


def test_another_product_with_the_same_active_ingredient_adds_by_its_strength(firm) -> None:
    strong = {"product": "mere-strong", "date": "2026-01-05"}
    booked(firm, {**strong, "amount": "10 g"}, name="a.csv")  # 40 mg
    (edge,) = booked(firm, {"date": "2026-01-09", "amount": "10 g"}, name="b.csv")
    assert said(firm, edge) == set()
    (late,) = booked(firm, {**strong, "date": "2026-01-07", "amount": "0.01 g"}, name="c.csv")
    assert said(firm, edge) == OVER  # the late line lies in its window: judged again
    strike(firm, late, "never happened", "calloway")
    assert said(firm, edge) == set()


def test_an_amended_line_counts_as_amended_and_once(firm) -> None:
    (first,) = booked(firm, {"date": "2026-01-03", "amount": "20 g"}, name="a.csv")
    (second,) = booked(firm, {"date": "2026-01-12", "amount": "30 g"}, name="b.csv")
    assert said(firm, second) == set()
    more = amend(firm, first, {"amount": "20.5 g"}, "misread", "calloway")
    assert more.judged_again == 1
    assert said(firm, second) == OVER
    amend(firm, first, {"amount": "19 g"}, "read again", "calloway")
    assert said(firm, second) == set()
    amend(firm, first, {"amount": "39 g", "date": "2025-12-30"}, "last year", "calloway")
    assert said(firm, second) == set()


def test_another_address_does_not_count(firm) -> None:
    booked(
        firm, {"date": "2026-01-03", "amount": "40 g", "address": "9 Other Street"}, name="a.csv"
    )
    (second,) = booked(firm, {"date": "2026-01-12", "amount": "39 g"}, name="b.csv")
    assert said(firm, second) == set()


def test_lines_of_one_visit_are_one_application_in_either_order(firm) -> None:
    one = {"amount": "25 g"}
    two = {"amount": "15.1 g", "places": "siding seam"}
    assert [said(firm, seq) for seq in booked(firm, one, two)] == [
        {"breach a-visit"}, {"breach a-visit"},
    ]  # fmt: skip


def test_two_visits_of_a_day_are_two(firm) -> None:
    one = {"amount": "25 g"}
    two = {"amount": "15.1 g", "places": "siding seam", "start": "14:00", "end": "15:00"}
    assert [said(firm, seq) for seq in booked(firm, one, two)] == [set(), set()]


def test_a_check_reads_the_entries_of_its_site_only(firm, monkeypatch) -> None:
    from ledger.journal.read import Reader

    booked(firm, {"date": "2026-01-03", "address": "9 Other Street"}, name="a.csv")
    booked(firm, {"date": "2026-01-03"}, name="b.csv")
    asked: list[str] = []
    plain = Reader.at_site

    def at_site(self, site, *rest, **said):
        asked.append(site)
        return plain(self, site, *rest, **said)

    monkeypatch.setattr(Reader, "at_site", at_site)
    (seq,) = booked(firm, {"date": "2026-01-14"}, name="c.csv")
    with firm.store.reading() as reader:
        assert set(asked) == {reader.entry(seq).body["site"]}


def test_carried_over_years_count_in_a_total_and_are_not_judged(firm) -> None:
    """What was kept elsewhere counts, whether it is carried over before or after the new line."""
    old = sheet({
        "product": "mere-strong", "extent": "400 ft", "date": "2026-01-03", "amount": "10 g",
    })  # fmt: skip
    (second,) = booked(firm, {"date": "2026-01-15", "amount": "10 g"})
    assert said(firm, second) == set()
    done = carry_over(firm, "old.csv", old, "calloway")
    assert len(done.seqs) == 1
    assert said(firm, second) == set()  # 40 and 10 mg are exactly the 50
    (third,) = booked(firm, {"date": "2026-01-16", "amount": "0.1 g"}, name="new.csv")
    assert said(firm, third) == OVER
    with firm.store.reading() as reader:
        assert reader.judgements(done.seqs[0]) == ()


def test_a_carried_line_that_breaks_a_later_total_has_the_later_line_judged_again(firm) -> None:
    (second,) = booked(firm, {"date": "2026-01-15", "amount": "30 g"})
    old = sheet({"product": "mere-dust", "date": "2026-01-03", "amount": "20.1 g"})
    done = carry_over(firm, "old.csv", old, "calloway")
    assert done.judged_again == 1
    assert said(firm, second) == OVER


def test_an_earlier_line_is_told_when_the_next_came_too_soon(firm) -> None:
    """An interval speaks to both: a later line, amended or struck, has the earlier judged again."""

    def told(seq: int) -> list[str]:
        with firm.store.reading() as reader:
            found = latest_findings(reader, seq)
        return [f.text for f in found if f.text.startswith("the next application")]

    dust = {"product": "ridgeline-dust", "extent": "100 ft"}
    (first,) = booked(firm, {**dust, "date": "2026-01-02"}, name="a.csv")
    (far,) = booked(firm, {**dust, "date": "2025-12-01"}, name="far.csv")
    assert told(first) == []
    (late,) = booked(firm, {**dust, "date": "2026-01-09"}, name="b.csv")
    (text,) = told(first)
    assert "came on 2026-01-09, too soon" in text
    with firm.store.reading() as reader:
        assert len(reader.judgements(far)) == 1  # beyond the reach of ten days
    moved = amend(firm, late, {"date": "2026-01-12"}, "misread", "calloway")
    assert told(first) == []
    assert moved.judged_again == 1
    (again,) = booked(firm, {**dust, "date": "2026-01-08"}, name="c.csv")
    assert told(first)
    strike(firm, again, "never happened", "calloway")
    assert told(first) == []


AREA = """
[[limit]]
name = "a-visit"
shape = "total"
source = "label"
says = "At most 0.02 g of cyfluthrin per 1,000 sq ft on one visit, from all products."
basis = "ai"
most = "20 mg"
per = "1,000 sq ft"
within = "visit"
same = "place"
across = "ingredient"
"""


def test_a_rule_can_take_the_lines_of_one_visit_as_one_application_per_area(firm) -> None:
    """What a rate does for one line, a total within the visit does for all: no tank mark needed."""
    path = firm.root / "rules" / "labels" / "mere-dust.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index("[[limit]]")] + AREA, encoding="utf-8")
    firm.book = read_rules(firm.root)
    assert firm.book.faults == ()
    one = {"amount": "15 g", "extent": "1,000 sq ft"}
    edge = {"amount": "5 g", "extent": "1,000 sq ft", "method": "spot"}
    other = {"amount": "15 g", "extent": "1,000 sq ft", "places": "siding seam"}
    strong = {"product": "mere-strong", "amount": "1.3 g", "extent": "1,000 sq ft"}
    assert [said(firm, seq) for seq in booked(firm, one, edge, other)] == [set(), set(), set()]
    late = {"start": "14:00", "end": "15:00"}
    found = [said(firm, seq) for seq in booked(
        firm, {**one, **late}, {**strong, **late}, name="b.csv"
    )]  # fmt: skip
    assert found[0] == {"breach a-visit"}  # 15 and 5.2 mg; the other product has no such rule
