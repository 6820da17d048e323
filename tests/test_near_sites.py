"""Two addresses that may be one: both are in doubt until somebody answers, whichever came first."""

from __future__ import annotations

import itertools

import pytest

from ledger.audit import Weight
from ledger.flow.auditing import Scope, audit
from ledger.flow.correcting import strike
from ledger.flow.judging import latest_findings
from ledger.flow.recording import check_sheet, record_sheet
from ledger.flow.site_questions import answer_apart, answer_same, list_sites
from ledger.flow.tracing import trace
from ledger.flow.workspace import WorkspaceProblem
from tests.day_sheets import sheet
from tests.workspaces import sample_workspace

PLAIN = "118 Tollhouse Ln"
NEAR = "118 Tolhouse Lane"
NEARER = "118 Tollhous Ln"


@pytest.fixture
def firm(tmp_path):
    made = sample_workspace(tmp_path / "firm")
    yield made
    made.store.close()


def book(firm, *lines, name):
    return [item.seq for item in record_sheet(firm, name, sheet(*lines), "renner").outcomes]


def interval(firm, seq):
    """Return what the newest judgement says of the ten days between two applications."""
    with firm.store.reading() as reader:
        found = latest_findings(reader, seq)
    return {str(finding.kind) for finding in found if finding.name == "ten-days"}


def asked(firm):
    return {row.site.key: row.site.questions for row in list_sites(firm)}


@pytest.mark.parametrize("first", [PLAIN, NEAR])
def test_the_order_of_two_near_addresses_makes_no_difference(firm, first):
    second = NEAR if first == PLAIN else PLAIN
    (one,) = book(firm, {"address": first, "date": "2026-01-10"}, name="one.csv")
    assert interval(firm, one) == set()
    (two,) = book(firm, {"address": second, "date": "2026-01-10"}, name="two.csv")
    assert interval(firm, one) == interval(firm, two) == {"unknown"}
    assert asked(firm) == {"S0001": ("S0002",), "S0002": ("S0001",)}


@pytest.mark.parametrize("order", list(itertools.permutations(range(2))))
def test_lines_of_one_sheet_are_in_doubt_together(firm, order):
    lines = [{"address": PLAIN, "date": "2026-01-10"}, {"address": NEAR, "date": "2026-01-12"}]
    lines = [lines[place] for place in order]
    dry = check_sheet(firm, "a.csv", sheet(*lines))
    kinds = [
        {str(finding.kind) for finding in item.findings if finding.name == "ten-days"}
        for item in dry.outcomes
    ]
    assert kinds == [{"unknown"}, {"unknown"}]
    for seq in book(firm, *lines, name="a.csv"):
        assert interval(firm, seq) == {"unknown"}
    with firm.store.reading() as reader:  # both are new: each is sealed once, in its last form
        assert len(list(reader.entries(kinds=("site",)))) == 2


def test_what_was_judged_before_the_doubt_began_stands(firm):
    """Only windows that the other address's work touches are judged again."""
    (early,) = book(firm, {"address": PLAIN, "date": "2025-01-14"}, name="one.csv")
    (late,) = book(firm, {"address": PLAIN, "date": "2026-01-14"}, name="two.csv")
    (near,) = book(firm, {"address": NEAR, "date": "2026-01-12"}, name="three.csv")
    assert interval(firm, early) == set()
    assert interval(firm, late) == interval(firm, near) == {"unknown"}
    for seq in (early, late, near):  # each is recomputed with the sites as they stood then
        assert trace(firm, seq).differences == ()
    assert not [item for item in audit(firm, Scope()).items if item.weight is Weight.DIFFERENCE]


def test_a_place_of_its_own_frees_both(firm):
    (one,) = book(firm, {"address": PLAIN, "date": "2026-01-10"}, name="one.csv")
    (two,) = book(firm, {"address": NEAR, "date": "2026-01-10"}, name="two.csv")
    assert answer_apart(firm, "S0002", "calloway") == 2
    assert interval(firm, one) == interval(firm, two) == set()
    assert asked(firm) == {"S0001": (), "S0002": ()}
    for seq in (one, two):
        assert trace(firm, seq).differences == ()


def test_the_same_place_is_judged_as_one(firm):
    (one,) = book(firm, {"address": PLAIN, "date": "2026-01-10"}, name="one.csv")
    book(firm, {"address": NEAR, "date": "2026-01-12"}, name="two.csv")
    stays, (moved,) = answer_same(firm, "S0002", "calloway")
    assert stays == "S0001"
    assert interval(firm, moved) == {"breach"}  # two days after, and the label asks for ten
    assert "unknown" not in interval(firm, one)
    assert asked(firm) == {"S0001": (), "S0002": ()}
    for seq in (one, moved):
        assert trace(firm, seq).differences == ()


def test_the_question_is_answered_where_it_is_asked(firm):
    book(firm, {"address": PLAIN}, name="one.csv")
    book(firm, {"address": NEAR}, name="two.csv")
    with pytest.raises(WorkspaceProblem, match="not in doubt") as told:
        answer_apart(firm, "S0001", "calloway")
    assert "asked of S0002" in told.value.way_out


def test_three_alike_are_asked_about_one_by_one(firm):
    """Whoever asked about the site that went asks about the one that stays."""
    for number, address in enumerate((PLAIN, NEAR, NEARER)):
        book(firm, {"address": address, "date": "2026-01-10"}, name=f"{number}.csv")
    assert any(len(questions) == 2 for questions in asked(firm).values()) or asked(firm)["S0002"]
    answer_same(firm, "S0002", "calloway")
    assert asked(firm) == {"S0001": ("S0003",), "S0002": (), "S0003": ("S0001",)}
    stays, (moved,) = answer_same(firm, "S0003", "calloway")
    assert stays == "S0001"
    assert set(asked(firm).values()) == {()}
    assert "unknown" not in interval(firm, moved)


def test_a_strike_at_the_other_address_leaves_the_question(firm):
    (one,) = book(firm, {"address": PLAIN, "date": "2026-01-10"}, name="one.csv")
    (two,) = book(firm, {"address": NEAR, "date": "2026-01-10"}, name="two.csv")
    strike(firm, two, "written twice", "calloway")
    assert interval(firm, one) == {"unknown"}
    assert trace(firm, one).differences == ()
