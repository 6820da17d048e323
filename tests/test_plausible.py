"""Advice on amounts, twins and counties: found, said, and nothing taken away."""

from __future__ import annotations

from datetime import UTC, datetime
from fractions import Fraction

from ledger.flow.doubting import with_doubts
from ledger.flow.listing import list_entries
from ledger.flow.periods import summarise_period
from ledger.flow.recording import record_sheet
from ledger.plausible import FEW, LABEL_OVER, Doubt, Weighed, doubts
from ledger.values.amount import Quantity
from ledger.values.period import Period
from ledger.values.use_row import SingleUse
from tests.day_sheets import sheet
from tests.use_samples import PLACE
from tests.workspaces import SetClock, sample_workspace


def weighed(entry: int, amount: str, county: str = "Placer", **more: str) -> Weighed:
    facts = {"date": "2026-01-14", "address": f"{entry} ALDER ST", "product": "a dust"}
    site_county = more.pop("site_county", county)
    times = more.pop("label_times", "")
    use = SingleUse(
        entry, entry, county, "dwelling", "99999-11", "0" * 64, "v", "L1",
        Quantity(Fraction(amount), "oz"), {**facts, **more},
    )  # fmt: skip
    return Weighed(use, Fraction(amount), "oz", Fraction(times) if times else None, site_county)


def usual(count: int = 7) -> list[Weighed]:
    return [weighed(entry, "0.25") for entry in range(100, 100 + count)]


def names(found: tuple[Doubt, ...]) -> list[str]:
    return [item.name for item in found]


def test_a_slipped_decimal_is_ten_times_or_a_tenth() -> None:
    for amount in ("2.5", "0.025", "2.4"):
        (doubt,) = doubts([weighed(1, amount)], usual(), PLACE)
        assert doubt.name == "slipped-decimal"
        assert "slipped" in doubt.text
        assert doubt.entries == (1,)


def test_what_is_usual_and_what_is_twice_that_is_not_asked_about() -> None:
    for amount in ("0.25", "0.5", "0.05", "1.9", "0.031"):
        assert doubts([weighed(1, amount)], usual(), PLACE) == ()


def test_far_above_the_median_is_told_with_how_far() -> None:
    (doubt,) = doubts([weighed(1, "5")], usual(), PLACE)
    assert doubt.name == "far-above-median"
    assert "20 times the median of 0.25 oz" in doubt.text


def test_too_few_earlier_applications_say_nothing() -> None:
    assert doubts([weighed(1, "25")], usual(FEW - 1), PLACE) == ()
    assert names(doubts([weighed(1, "25")], usual(FEW), PLACE)) == ["far-above-median"]


# The state's later error check flags a rate only above 1.1 times the label's maximum.
def test_the_label_is_held_against_by_eleven_tenths() -> None:
    assert Fraction("1.1") == LABEL_OVER
    assert doubts([weighed(1, "0.25", label_times="1.1")], usual(), PLACE) == ()
    assert doubts([weighed(1, "0.25", label_times="1")], [], PLACE) == ()
    (doubt,) = doubts([weighed(1, "0.25", label_times="1.11")], [], PLACE)
    assert (doubt.name, doubt.entries) == ("above-label", (1,))
    assert "1.1 times the label's highest rate" in doubt.text


def test_the_label_is_named_beside_the_median() -> None:
    (slip,) = doubts([weighed(1, "2.5", label_times="4.5")], usual(), PLACE)
    assert slip.name == "slipped-decimal"
    assert "and 4.5 times the label's highest rate" in slip.text
    (far,) = doubts([weighed(1, "5", label_times="9")], usual(), PLACE)
    assert far.text.endswith(
        "20 times the median of 0.25 oz, and 9.0 times the label's highest rate"
    )
    (plain,) = doubts([weighed(1, "5", label_times="1.1")], usual(), PLACE)
    assert "label" not in plain.text


def test_equal_lines_are_shown_and_both_stay() -> None:
    twins = [weighed(1, "0.25", address="x"), weighed(2, "0.25", address="x")]
    (doubt,) = doubts(twins, [], PLACE)
    assert (doubt.name, doubt.entries) == ("alike", (1, 2))
    other = [weighed(1, "0.25", address="x"), weighed(2, "0.3", address="x")]
    assert doubts(other, [], PLACE) == ()


def test_a_county_that_does_not_fit() -> None:
    assert names(doubts([weighed(1, "1", site_county="Nevada")], [], PLACE)) == [
        "county-of-another"
    ]
    assert names(doubts([weighed(1, "1", "Ulster")], [], PLACE)) == ["county-unknown"]


def test_the_summary_says_it_and_counts_everything(tmp_path) -> None:
    firm = sample_workspace(tmp_path / "firm", clock=SetClock(datetime(2026, 1, 16, tzinfo=UTC)))
    lines = [{"line": str(n), "address": f"{n} Alder Street"} for n in range(1, 8)]
    slip = {"line": "9", "address": "9 Alder Street", "amount": "2.5 oz"}
    slack = {"line": "10", "address": "10 Alder Street", "amount": "0.6 oz", "extent": "100 ft"}
    done = record_sheet(firm, "day.csv", sheet(*lines, slip, slack), "renner")
    plain, _, place, _ = summarise_period(firm, Period(2026, 1))
    summary = with_doubts(firm, plain, place)
    assert not any("worth a look" in note.text for note in plain.remarks)  # what is filed
    said = [note.text for note in summary.remarks if "slipped" in note.text]
    assert len(said) == 1
    assert f"entry {done.outcomes[7].seq}" in said[0]
    assert said[0].startswith("worth a look")
    # The label allows 0.5 oz per 100 ft of crack: 2.5 oz is five times that, 0.6 oz 1.2 times.
    assert "5.0 times the label's highest rate" in said[0]
    above = [note.text for note in summary.remarks if "is 1.2 times the label" in note.text]
    assert len(above) == 1
    assert f"entry {done.outcomes[8].seq}" in above[0]
    (line,) = summary.lines
    assert line.applications == 9
    assert line.total == Fraction("4.85")


def test_twins_and_a_wrong_county_are_shown_and_stay(tmp_path) -> None:
    firm = sample_workspace(tmp_path / "firm", clock=SetClock(datetime(2026, 1, 16, tzinfo=UTC)))
    twin = {"line": "1"}
    done = record_sheet(firm, "day.csv", sheet(twin, {"line": "2"}), "renner")
    first, second = (outcome.seq for outcome in done.outcomes)
    plain, _, place, _ = summarise_period(firm, Period(2026, 1))
    summary = with_doubts(firm, plain, place)
    (said,) = [note.text for note in summary.remarks if "alike" in note.text]
    assert f"entries {first}, {second}" in said
    assert sum(line.applications for line in summary.lines) == 2
    assert len(list_entries(firm, {})) == 2
