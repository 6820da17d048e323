"""A close holds weighings, loads and counts against the day's lines, seals and shows what differs.

The tolerance of 2 % of what was put down: common practice, no source.
"""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from ledger.audit import Topic, Weight
from ledger.flow.audit_scope import Scope
from ledger.flow.auditing import audit
from ledger.flow.closing import close_day
from ledger.flow.correcting import amend
from ledger.flow.inspecting import prove_whole
from ledger.flow.recording import record_sheet
from ledger.flow.stocking import StockWish, move_stock
from ledger.flow.workspace import Workspace
from ledger.stock import Act
from tests.cli_use import use
from tests.day_sheets import sheet
from tests.workspaces import SetClock, sample_workspace

DAY = date(2026, 1, 14)
FIRST = {"amount": "212.4 g - 205.3 g", "equipment": "duster-a", "line": "1"}
SECOND = {
    "amount": "205.3 g - 200.0 g", "equipment": "duster-a", "line": "2", "start": "10:00",
    "end": "10:30", "places": "siding seam",
}  # fmt: skip


@pytest.fixture
def firm(tmp_path, server):
    """A workspace on the evening of the 15th, one run on each engine."""
    clock = SetClock(datetime(2026, 1, 16, 2, 30, tzinfo=UTC))
    made = sample_workspace(tmp_path / "firm", server, clock)
    yield made
    made.store.close()


def book(firm: Workspace, *lines: dict[str, str], name: str = "day.csv") -> list[int]:
    done = record_sheet(firm, name, sheet(*lines), "renner")
    return [outcome.seq or 0 for outcome in done.outcomes]


def move(firm: Workspace, act: Act, amount: str, **more: object) -> int:
    product = firm.book.product("ridgeline-dust", DAY)
    assert product is not None
    fields = {"on": DAY, "by": "renner", **more}
    return move_stock(firm, StockWish(act, product, amount, **fields)).seq


def names(firm: Workspace, applicator: str | None = None) -> list[str]:
    done = close_day(firm, DAY, applicator, "calloway")
    assert done.stock is not None
    return [gap.name for gap in done.stock.gaps]


def in_audit(firm: Workspace, scope: Scope = Scope()):  # noqa: B008 - a frozen value
    return [one for one in audit(firm, scope).items
            if one.topic is Topic.STOCK and one.name != "no-stock-account"]  # fmt: skip


def test_a_close_of_a_day_without_tools_says_nothing_of_stock(firm: Workspace) -> None:
    book(firm, {})
    done = close_day(firm, DAY, None, "calloway")
    assert done.entry is not None
    assert "stock" not in done.entry.body


def test_weighings_that_join_are_sealed_as_checked(firm: Workspace) -> None:
    book(firm, FIRST, SECOND)
    done = close_day(firm, DAY, None, "calloway")
    assert done.entry is not None
    assert done.entry.body["stock"] == {
        "tolerance": "0.02", "checked": [{"place": "duster-a", "product": "99999-11"}],
        "differences": [],
    }  # fmt: skip
    assert close_day(firm, DAY, None, "calloway").again
    assert prove_whole(firm).ok


def test_a_gap_is_sealed_shown_in_the_audit_and_mended_by_its_load(firm: Workspace) -> None:
    seqs = book(firm, FIRST, {**SECOND, "amount": "230.0 g - 225.0 g"})
    done = close_day(firm, DAY, None, "calloway")
    assert done.entry is not None
    (gap,) = done.entry.body["stock"]["differences"]
    assert (gap["name"], gap["entry"], gap["place"]) == ("weighed-more", seqs[1], "duster-a")
    # 230.0 - 205.3 = 24.7; 7.1 + 5.0 = 12.1 put down
    assert "duster-a weighed 24.7 g more before" in gap["text"]
    assert "more than 2 % of the 12.1 g put down" in gap["text"]
    (item,) = in_audit(firm)
    assert (item.weight, item.text) == (Weight.ADVICE, gap["text"])
    assert item.note == f"named when the day was closed, entry {done.entry.seq}"
    move(firm, Act.MOVE, "24.7 g", to="duster-a")
    again = close_day(firm, DAY, None, "calloway")
    assert not again.again, "the load is new, so the day is sealed anew"
    assert again.entry is not None
    assert again.entry.body["stock"]["differences"] == []
    assert in_audit(firm) == [] or all(one.name.startswith("stock-") for one in in_audit(firm))


def test_an_amended_amount_is_held_anew(firm: Workspace) -> None:
    seqs = book(firm, FIRST, {**SECOND, "amount": "200.0 g - 195.0 g"})
    assert names(firm) == ["weighed-less"]
    amend(firm, seqs[1], {"amount": "205.3 g - 195.0 g"}, "misread the scale", "renner")
    assert names(firm) == []


def test_loads_less_what_came_back_is_what_the_lines_say(firm: Workspace) -> None:
    move(firm, Act.RECEIVE, "5 lb", on=date(2026, 1, 2))
    move(firm, Act.MOVE, "2 oz", to="duster-b", lot="RD-7")
    move(firm, Act.MOVE, "1 oz", place="duster-b", to="store")
    seqs = book(firm, {"amount": "1 oz", "equipment": "duster-b", "extent": "400 ft"})
    assert names(firm) == []
    amend(firm, seqs[0], {"amount": "0.9 oz", "lot": "RD-8"}, "read again", "renner")
    assert names(firm) == ["lot-differs", "loads-differ"]
    (differ,) = [one for one in in_audit(firm) if one.name == "loads-differ"]
    assert "was loaded with 2 oz, 1 oz came back and the lines used 0.9 oz: 0.1 oz" in differ.text


def test_a_count_of_the_day_is_held_against_the_account_of_its_vehicle(firm: Workspace) -> None:
    move(firm, Act.COUNT, "10 oz", place="renner", on=date(2026, 1, 12))
    move(firm, Act.MOVE, "6 oz", to="renner")
    book(firm, {"amount": "2 oz", "extent": "800 ft"})
    counted = move(firm, Act.COUNT, "13 oz", place="renner")
    done = close_day(firm, DAY, None, "calloway")
    assert done.entry is not None
    (gap,) = done.entry.body["stock"]["differences"]
    assert (gap["name"], gap["entry"]) == ("stock-difference", counted)
    assert "counted 13 oz, what came, went and was used leaves 14 oz" in gap["text"]
    assert [one.name for one in in_audit(firm) if one.entry == counted] == ["stock-difference"]
    move(firm, Act.COUNT, "13.9 oz", place="renner", on=date(2026, 1, 15))
    assert len([one for one in in_audit(firm) if one.name == "stock-difference"]) == 2


def test_one_persons_close_looks_at_that_persons_tools_and_at_who_else_used_them(
    firm: Workspace,
) -> None:
    book(firm, FIRST, {**SECOND, "amount": "200.0 g - 195.0 g"})
    other = {**SECOND, "applicator": "calloway", "amount": "205.3 g - 200.0 g", "start": "09:30",
             "end": "09:50", "line": "7", "places": "sill"}  # fmt: skip
    book(firm, other, name="other.csv")
    assert names(firm, "renner") == [], "calloway's line lies between"
    third = {"applicator": "calloway", "equipment": "duster-d", "amount": "150 g - 149 g",
             "line": "8", "start": "13:00", "end": "13:10"}  # fmt: skip
    fourth = {**third, "amount": "140 g - 139 g", "line": "9", "start": "14:00", "end": "14:10"}
    book(firm, third, fourth, name="more.csv")
    assert names(firm, "renner") == []
    assert names(firm, "calloway") == ["weighed-less"]
    assert len(in_audit(firm, Scope(applicator="calloway"))) == 1
    assert in_audit(firm, Scope(applicator="renner")) == []


def test_the_command_shows_what_differs_and_exits_1(tmp_path) -> None:
    made = sample_workspace(tmp_path / "firm")
    book(made, FIRST, {**SECOND, "amount": "200.0 g - 195.0 g"})
    made.store.close()
    shown = use("close", "2026-01-14", "--by", "calloway", root=made.root)
    assert shown.code == 1
    assert "does not agree (sealed with the close)" in shown.out
    assert "duster-a weighed 5.3 g less" in " ".join(shown.out.split())
    told = use("close", "2026-01-14", "--by", "calloway", "--json", root=made.root)
    assert told.code == 1
    assert told.json["closed"]
    assert [one["name"] for one in told.json["stock"]["differences"]] == ["weighed-less"]
