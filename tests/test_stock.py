"""Stock: the account is exact, uses are drawn from where they were loaded, differences show."""

from __future__ import annotations

import json
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from ledger.audit import Topic, Weight
from ledger.cli import main
from ledger.flow.audit_scope import Scope
from ledger.flow.auditing import audit
from ledger.flow.correcting import amend
from ledger.flow.day_stock import day_stock
from ledger.flow.recording import record_sheet
from ledger.flow.stocking import StockWish, converting, move_stock, stock_account
from ledger.flow.workspace import WorkspaceProblem
from ledger.stock import COLUMNS, Act, Movement, accounts
from ledger.values.amount import Quantity
from ledger.weighing import Load, PutDown, ToolDay, nearest, tool_gaps
from tests.day_sheets import sheet
from tests.workspaces import SetClock, sample_workspace

DAY = date(2026, 1, 14)


def plain(quantity, unit):
    """Convert by factors written here from memory of the trade: 16 oz a pound."""
    factors = {"oz": Fraction(1), "lb": Fraction(16)}
    if quantity.unit not in factors or unit not in factors:
        return None
    return quantity.value * factors[quantity.unit] / factors[unit]


def move(seq, act, amount, unit="oz", day=0, **more):
    when = DAY + timedelta(days=day)
    return Movement(seq, when, act, "99999-11", Quantity(Fraction(amount), unit), **more)


def test_bought_less_used_less_disposed_is_on_hand():
    found = accounts(
        [
            move(1, Act.RECEIVE, 5, "lb"), move(2, Act.MOVE, 8, to="renner", day=1),
            move(3, Act.USE, "1/3", day=1, place="renner"), move(4, Act.DISPOSE, 1, day=2),
        ],
        plain,
    )  # fmt: skip
    store, vehicle = {one.place: one for one in found}["store"], found[0]
    assert (vehicle.place, vehicle.unit) == ("renner", "lb")
    assert store.on_hand == 5 - Fraction(8, 16) - Fraction(1, 16)
    assert vehicle.on_hand == (8 - Fraction(1, 3)) / 16


def test_a_count_comes_at_the_end_of_its_day_and_carries_the_account_on():
    moves = [
        move(1, Act.RECEIVE, 100), move(2, Act.COUNT, 93, day=1), move(3, Act.USE, 5, day=1),
        move(4, Act.USE, 3, day=2), move(5, Act.COUNT, 90, day=2),
    ]  # fmt: skip
    (found,) = accounts(moves, plain)
    first, second = found.counts
    assert (first.expected, first.difference, first.agrees) == (95, -2, True), (
        "2 of 100 is the most"
    )
    assert (second.expected, second.agrees) == (90, True)
    assert (found.on_hand, found.unexplained) == (90, -2)
    (strict,) = accounts(moves, plain, Fraction(19, 1000))
    assert not strict.counts[0].agrees


def test_a_first_count_opens_an_account_and_is_no_difference():
    (found,) = accounts([move(1, Act.COUNT, 50), move(2, Act.USE, 2, day=1)], plain)
    assert found.counts == ()
    assert found.on_hand == 48


def test_more_out_than_in_shows_from_its_day():
    (found,) = accounts([move(1, Act.RECEIVE, 5), move(2, Act.USE, 6, day=3)], plain)
    assert found.short_on == DAY + timedelta(days=3)
    (unknown,) = accounts([move(1, Act.USE, 6)], plain)
    assert unknown.short_on is None
    assert not unknown.known


def test_a_use_that_cannot_be_told_adds_nothing_and_is_counted():
    moves = [move(1, Act.USE, 0, "", told=False), move(2, Act.RECEIVE, 5, day=1),
             move(3, Act.USE, 1, "gal", day=2)]  # fmt: skip
    (found,) = accounts(moves, plain)
    assert (found.untold, found.on_hand, found.unit) == (2, 5, "oz")


def test_lots_can_be_told_apart():
    moves = [move(1, Act.RECEIVE, 5, lot="A"), move(2, Act.RECEIVE, 7, lot="B"),
             move(3, Act.USE, 1, day=1, lot="B")]  # fmt: skip
    found = accounts(moves, plain, by_lot=True)
    assert {(one.lot, one.on_hand) for one in found} == {("A", 5), ("B", 6)}
    assert [one.on_hand for one in accounts(moves, plain)] == [11]


def rows(*moves):
    return {one.lot: one for one in accounts(moves, plain, by_lot=True)}


def test_a_count_without_a_lot_is_of_all_lots():
    moves = [move(1, Act.RECEIVE, 5, lot="A"), move(2, Act.RECEIVE, 7, lot="B"),
             move(3, Act.USE, 1, day=1, lot="B"), move(4, Act.COUNT, 11, day=2)]  # fmt: skip
    (whole,) = accounts(moves, plain)
    assert [(one.expected, one.agrees, one.lot) for one in whole.counts] == [(11, True, "")]
    found = rows(*moves)
    day = DAY + timedelta(days=2)
    assert {lot: (one.on_hand, one.together, one.counts) for lot, one in found.items() if lot} == {
        "A": (5, day, ()), "B": (6, day, ()),
    }  # fmt: skip
    assert (found[""].nameless, found[""].on_hand, found[""].counts) == (True, 0, whole.counts)
    short = rows(*moves[:3], move(4, Act.COUNT, 8, day=2))
    assert [one.agrees for one in short[""].counts] == [False]
    assert (short[""].on_hand, short["A"].on_hand, short["B"].on_hand) == (-3, 5, 6)
    assert short["A"].counts == short["B"].counts == ()


def test_a_count_of_a_lot_is_of_that_lot_only():
    moves = [move(1, Act.RECEIVE, 5, lot="RD-7"), move(2, Act.RECEIVE, 7, lot="RD-8"),
             move(3, Act.COUNT, 5, day=1, lot="rd-7")]  # fmt: skip
    (whole,) = accounts(moves, plain)
    assert [(one.expected, one.counted, one.lot) for one in whole.counts] == [(5, 5, "rd-7")]
    assert whole.on_hand == 12
    assert {lot: len(one.counts) for lot, one in rows(*moves).items()} == {"RD-7": 1, "RD-8": 0}
    (less,) = accounts([*moves, move(4, Act.COUNT, 3, day=2, lot="RD-8")], plain)
    assert [one.agrees for one in less.counts] == [True, False]
    assert (less.on_hand, less.unexplained) == (8, -4)


def test_a_lot_counted_by_itself_after_all_together_is_counted():
    moves = [move(1, Act.RECEIVE, 5, lot="A"), move(2, Act.RECEIVE, 7, lot="B"),
             move(3, Act.COUNT, 12, day=1), move(4, Act.COUNT, 5, day=2, lot="A")]  # fmt: skip
    found = rows(*moves)
    assert (found["A"].together, found["B"].together) == (None, DAY + timedelta(days=1))
    assert found["A"].counts[0].agrees


def test_what_names_no_lot_may_be_of_the_lot_that_is_counted():
    moves = [move(1, Act.RECEIVE, 10, lot="A"), move(2, Act.RECEIVE, 6, lot="B"),
             move(3, Act.USE, 2, day=1), move(4, Act.COUNT, 8, day=2, lot="A")]  # fmt: skip
    found = rows(*moves)
    assert found["A"].counts[0].agrees, "the 2 oz were of A"
    assert {lot: one.on_hand for lot, one in found.items()} == {"": 0, "A": 8, "B": 6}
    assert not rows(*moves[:3], move(4, Act.COUNT, 7, day=2, lot="A"))["A"].counts[0].agrees
    again = rows(*moves, move(5, Act.COUNT, 4, day=3, lot="B"))
    assert not again["B"].counts[0].agrees, "they cannot be of B as well"
    bare = rows(move(1, Act.RECEIVE, 5), move(2, Act.USE, 2, day=1, lot="A"))
    assert (bare["A"].known, bare["A"].short_on) == (True, None), "it came without its lot"


def test_nothing_left_of_any_lot_counts_each_of_them():
    found = rows(move(1, Act.RECEIVE, 5, lot="A"), move(2, Act.USE, 5, day=1),
                 move(3, Act.COUNT, 0, day=2))  # fmt: skip
    assert {lot: (one.on_hand, one.together) for lot, one in found.items()} == {
        "": (0, None), "A": (0, None),
    }  # fmt: skip
    assert found[""].counts[0].agrees


def test_first_counts_by_lot_open_the_account_and_a_lot_that_never_came_is_a_difference():
    first = [move(1, Act.COUNT, 5, lot="A"), move(2, Act.COUNT, 6, lot="B")]
    (whole,) = accounts(first, plain)
    assert (whole.counts, whole.on_hand) == ((), 11)
    (more,) = accounts([move(1, Act.RECEIVE, 5, lot="A"), move(2, Act.COUNT, 6, lot="B")], plain)
    assert [(one.lot, one.agrees) for one in more.counts] == [("B", False)]
    over = [move(1, Act.COUNT, 10), move(2, Act.COUNT, 4, lot="A"), move(3, Act.COUNT, 7, lot="B")]
    (all_of_it,) = accounts(over, plain)
    assert [(one.lot, one.difference) for one in all_of_it.counts] == [("A", 0), ("B", 1)]


AMOUNTS = st.fractions(min_value=0, max_value=1000, max_denominator=64)
ACTS = st.sampled_from([Act.RECEIVE, Act.USE, Act.DISPOSE, Act.MOVE, Act.COUNT])


LOTS = st.sampled_from(["", "", "A", "B", "b"])


@given(st.lists(st.tuples(ACTS, AMOUNTS, st.integers(0, 9), LOTS), max_size=20))
def test_the_account_always_adds_up_and_order_of_handing_in_does_not_matter(said):
    moves = [
        move(seq, act, amount, day=day, lot=lot, to="renner" if act is Act.MOVE else "")
        for seq, (act, amount, day, lot) in enumerate(said, 1)
    ]
    found = accounts(moves, plain)
    assert found == accounts(reversed(moves), plain)
    lots = accounts(moves, plain, by_lot=True)
    for one in found:
        same = [row for row in lots if (row.product, row.place) == (one.product, one.place)]
        for column in (*COLUMNS, "untold"):
            assert getattr(one, column) == sum(getattr(row, column) for row in same)
        assert Counter(one.counts) == Counter(count for row in same for count in row.counts)
    total = sum((one.on_hand for one in found), Fraction())
    bought = sum((m.amount.value for m in moves if m.act is Act.RECEIVE), Fraction())
    gone = sum((m.amount.value for m in moves if m.act in {Act.USE, Act.DISPOSE}), Fraction())
    assert total == bought - gone + sum((one.unexplained for one in found), Fraction())


# --- weighings -------------------------------------------------------------------------------


def oz(value):
    return Quantity(Fraction(value), "oz")


def weigh(seq, before, after, order="08:00", lot=""):
    pair = oz(before), oz(after)
    used = oz(Fraction(before) - Fraction(after))
    return PutDown(seq, order, "duster-a", "99999-11", lot, used, pair)


def put(seq, amount, order="08:00", lot=""):
    used = None if amount is None else oz(amount)
    return PutDown(seq, order, "duster-a", "99999-11", lot, used)


def gaps(*lines, loads=(), tool=(None, None), **more):
    loaded = tuple(
        Load(90 + number, "duster-a", "99999-11", "", oz(load)) for number, load in enumerate(loads)
    )
    return found(lines, loaded, {"duster-a": tool}, **more)


def found(lines, loads=(), tools=None, **more):
    opening = {key: oz(value) for key, value in more.pop("opening", {}).items()}
    day = ToolDay(DAY, tuple(lines), tuple(loads), tools or {}, opening, **more)
    return [gap.name for gap in tool_gaps(day, plain)]


def test_weighings_of_a_tool_join_or_say_so():
    first, again = weigh(1, 10, 9), weigh(2, 9, "17/2", "09:00")
    assert gaps(first, again) == []
    assert gaps(again, first) == [], "the time orders them"
    assert gaps(first, weigh(2, 12, 11, "09:00")) == ["weighed-more"]
    assert gaps(first, weigh(2, 12, 11, "09:00"), loads=[3]) == []
    assert gaps(first, weigh(2, 12, 11, "09:00"), loads=[2]) == ["weighed-more"]
    assert gaps(first, weigh(2, 8, 7, "09:00")) == ["weighed-less"]


def test_a_tool_weighs_no_less_than_empty_and_no_more_than_full():
    tool = Quantity(Fraction(5), "oz"), Quantity(Fraction(8), "oz")
    assert gaps(weigh(1, 13, 5), tool=tool) == []
    assert gaps(weigh(1, 14, 4), tool=tool) == ["weighed-below-empty", "weighed-above-full"]


def test_a_difference_within_two_per_cent_of_what_was_put_down_is_none():
    # 2 oz put down in all: 0.04 oz either way is the bound, itself included
    assert gaps(weigh(1, 10, 9), weigh(2, Fraction("8.96"), Fraction("7.96"), "09:00")) == []
    off = weigh(2, Fraction("8.959"), Fraction("7.959"), "09:00")
    assert gaps(weigh(1, 10, 9), off) == ["weighed-less"]


def test_what_unweighed_lines_put_down_between_is_reckoned_in():
    first, last = weigh(1, 10, 9), weigh(3, "17/2", 8, "10:00")
    assert gaps(first, put(2, "1/2", "09:00"), last) == []
    assert gaps(first, put(2, "1/4", "09:00"), last) == ["weighed-less"]
    assert gaps(first, last) == ["weighed-less"]
    assert gaps(first, put(2, None, "09:00"), last) == [], "an untold amount cannot be held"


def test_any_load_may_lie_in_any_step_and_is_taken_once():
    first, second, third = weigh(1, 10, 9), weigh(2, 12, 11, "09:00"), weigh(3, 14, 13, "10:00")
    assert gaps(first, second, third, loads=[3, 3]) == []
    assert gaps(first, second, third, loads=[3]) == ["weighed-more"]
    assert gaps(first, second, third, loads=[8, 3, 1, 2]) == [], "8 oz before the first weighing"
    assert gaps(first, weigh(2, 11, 10, "09:00"), loads=[5, -3]) == [], "3 oz came back"
    many = [1] * 40
    assert gaps(first, weigh(2, 29, 28, "09:00"), loads=many) == []


@given(st.fractions(-9, 9), st.lists(st.fractions(-9, 9, max_denominator=8), max_size=5))
def test_the_nearest_sum_of_loads_is_no_worse_than_any_other(step, loads):
    total, left = nearest(step, loads)
    assert total + sum(left) == sum(loads)
    for mask in range(1 << len(loads)):
        other = sum((load for index, load in enumerate(loads) if mask >> index & 1), Fraction())
        assert abs(step - total) <= abs(step - other)


def test_loaded_less_what_came_back_is_what_the_lines_used():
    assert gaps(put(1, 2), loads=[5, -3]) == []
    assert gaps(put(1, "49/25"), loads=[5, -3]) == ["loads-differ"], "0.04 of 1.96 is over 2 %"
    assert gaps(put(1, "101/50"), loads=[5, -3]) == [], "0.02 of 2.02 is within"
    assert gaps(put(1, 1), loads=[5]) == [], "the rest is still in the tool"
    assert gaps(put(1, None), loads=[5, -3]) == [], "cannot tell"
    key = ("duster-a", "99999-11")
    assert gaps(put(1, 3), loads=[5, -3], opening={key: 1}) == []
    assert gaps(put(1, 1), loads=[5, -3], counted=frozenset({key})) == [], "the count decides"


def test_a_line_names_the_lot_that_its_tool_was_loaded_from():
    load = Load(90, "duster-a", "99999-11", "RD-7", oz(2))
    assert found([put(1, 1, lot="rd-7")], [load]) == []
    assert found([put(1, 1)], [load]) == []
    assert found([put(1, 1, lot="RD-8")], [load]) == ["lot-differs"]


# --- in the ledger ---------------------------------------------------------------------------


@pytest.fixture
def firm(tmp_path):
    return sample_workspace(tmp_path / "firm", clock=SetClock(datetime(2026, 1, 22, 3, tzinfo=UTC)))


def wish(firm, act, amount, product="ridgeline-dust", **more):
    known = firm.book.product(product, DAY)
    fields = {"on": DAY, "by": "calloway", **more}
    return move_stock(firm, StockWish(act, known, amount, **fields))


def on_hand(firm):
    return {one.place: (one.on_hand, one.unit) for one in stock_account(firm)}


def test_use_is_drawn_from_the_tool_then_the_vehicle_then_the_store(firm):
    wish(firm, Act.RECEIVE, "1 lb 4 oz")
    wish(firm, Act.MOVE, "8 oz", to="Renner")
    record_sheet(firm, "day.csv", sheet({}), "renner")
    assert on_hand(firm) == {"renner": (Fraction(31, 4), "oz"), "store": (12, "oz")}
    wish(firm, Act.MOVE, "2 oz", place="renner", to="duster-a")
    line = {"equipment": "duster-a", "line": "2", "start": "10:00", "end": "11:00"}
    seq = record_sheet(firm, "more.csv", sheet(line), "renner").outcomes[0].seq
    assert on_hand(firm)["duster-a"] == (Fraction(7, 4), "oz")
    amend(firm, seq, {"amount": "0.5 oz"}, "weighed again", "renner")
    assert on_hand(firm)["duster-a"] == (Fraction(3, 2), "oz"), "only current records count"


def test_what_does_not_fit_is_refused_with_the_way_out(firm):
    for act, amount, more, said in (
        (Act.RECEIVE, "2 gal", {}, "is weighed"), (Act.RECEIVE, "5", {}, "AMOUNT-UNIT"),
        (Act.RECEIVE, "0 oz", {}, "nothing"), (Act.MOVE, "1 oz", {"to": "store"}, "from one place"),
        (Act.RECEIVE, "1 oz", {"on": date(2027, 1, 1)}, "not come yet"),
        (Act.RECEIVE, "1 oz", {"product": "ridgeline-sc"}, "is measured"),
        (Act.RECEIVE, "3 each", {"product": "tarn-aerosol"}, "is weighed"),
    ):  # fmt: skip
        with pytest.raises(WorkspaceProblem, match=said):
            wish(firm, act, amount, **more)


def test_a_count_that_does_not_agree_is_advice_in_the_audit(firm):
    record_sheet(firm, "day.csv", sheet({}), "renner")
    assert [one.name for one in stock_of(firm)] == ["no-stock-account"]
    wish(firm, Act.RECEIVE, "10 oz", on=date(2026, 1, 2))
    wish(firm, Act.COUNT, "9.6 oz")
    assert stock_of(firm) == [], "9.75 expected; 0.15 of 10 is within two per cent"
    wish(firm, Act.COUNT, "9 oz", on=date(2026, 1, 15))
    (one,) = stock_of(firm)
    assert (one.name, one.weight, one.owed) == ("stock-difference", Weight.ADVICE, False)
    assert "counted 9 oz, the account says 9.6 oz" in one.text
    assert stock_of(firm, Scope(None, DAY)) == []


def test_a_lot_is_counted_by_itself_at_the_close_and_in_the_audit(firm):
    record_sheet(firm, "day.csv", sheet({}), "renner")
    wish(firm, Act.RECEIVE, "10 oz", on=date(2026, 1, 2), lot="RD-7")
    wish(firm, Act.RECEIVE, "20 oz", on=date(2026, 1, 2), lot="RD-8")
    wish(firm, Act.COUNT, "9.9 oz", lot="RD-7")
    counted = wish(firm, Act.COUNT, "18 oz", lot="RD-8").seq
    (one,) = stock_of(firm)
    assert (one.entry, one.name) == (counted, "stock-difference")
    assert "counted 18 oz of lot RD-8, the account says 19.85 oz" in one.text
    with firm.store.reading() as reader:
        gaps = day_stock(firm, reader, DAY).gaps
    assert [(gap.seq, gap.name, gap.lot) for gap in gaps] == [(counted, "stock-difference", "RD-8")]


def stock_of(firm, scope=Scope()):  # noqa: B008 - a frozen value
    return [one for one in audit(firm, scope).items if one.topic is Topic.STOCK]


def test_weighings_that_do_not_join_show_in_the_audit(firm):
    lines = (
        {"amount": "212.4 g - 205.3 g", "equipment": "duster-a", "line": "1"},
        {"amount": "230.0 g - 229.0 g", "equipment": "duster-a", "line": "2", "start": "10:00",
         "end": "10:30", "places": "siding seam"},
    )  # fmt: skip
    record_sheet(firm, "day.csv", sheet(*lines), "renner")
    found = [one for one in stock_of(firm) if one.name.startswith("weighed")]
    assert [one.name for one in found] == ["weighed-more"]
    assert "24.7 g more" in found[0].text


def test_how_it_was_disposed_of_stands_in_the_private_part(firm):
    sealed = wish(firm, Act.DISPOSE, "1 oz", how="handed to A. Neighbour's county waste day")
    assert "Neighbour" not in sealed.text
    assert "Neighbour" in (sealed.private or "")


def test_conversion_is_exact_by_the_unit_list(firm):
    convert = converting(firm.book.units)
    assert convert(Quantity(Fraction(1), "lb"), "oz") == 16
    assert convert(Quantity(Fraction(1), "lb"), "fl oz") is None
    assert convert(Quantity(Fraction(1), "lb"), "") is None


def test_the_commands(firm, tmp_path):
    def run(*args):
        return CliRunner().invoke(main, ["stock", *args])

    at = ("--workspace", str(firm.root))
    day = ("--on", "2026-01-02", "--by", "calloway", *at)
    done = run("receive", "99999-11", "5 lb", "--lot", "RD-7", *day, "--json")
    assert done.exit_code == 0, done.output
    assert json.loads(done.output)["lot"] == "RD-7"
    assert run("move", "ridgeline-dust", "8 oz", "--to", "renner", *day).exit_code == 0
    assert run("count", "ridgeline-dust", "4 lb 8 oz", *day).exit_code == 0
    assert run("receive", "no-such", "5 lb", *day).exit_code == 2
    assert run("receive", "ridgeline-dust", "5 lb", *at).exit_code == 2, "by has no default"
    told = json.loads(run("--json", *at).output)
    assert {one["place"]: one["on_hand"] for one in told["accounts"]} == {
        "store": "4.5", "renner": "0.5",
    }  # fmt: skip
    assert run(*at).exit_code == 0
    told = json.loads(run("--lots", "--json", *at).output)["accounts"]
    assert {(one["place"], one["lot"], one["adds_up"]) for one in told} == {
        ("store", "RD-7", True), ("store", "", True), ("renner", "", True),
    }  # fmt: skip
    by_lot = {(one["place"], one["lot"]): one["remark"] for one in told}
    assert by_lot["store", "RD-7"] == "not counted by lot (all lots together on 2026-01-02)"
    assert by_lot["store", ""] == "of which lot is not known: it belongs to the others here"
    assert run("--lots", *at).exit_code == 0, "a count without a lot is of all lots"
    assert run("dispose", "ridgeline-dust", "5 lb", "--how", "waste day", *day).exit_code == 0
    short = run(*at)
    assert short.exit_code == 1
    remarks = [one["remark"] for one in json.loads(run("--json", *at).output)["accounts"]]
    assert "the count does not agree: 2026-01-02" in remarks
    assert run("--out", str(tmp_path / "stock.xlsx"), *at).exit_code == 1
    assert (tmp_path / "stock.xlsx").exists()
