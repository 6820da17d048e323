"""Sums across records: what counts when lines are amended, struck, late, or of one visit."""

from __future__ import annotations

from pathlib import Path

import pytest

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
