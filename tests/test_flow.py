"""The steps together: lines taken once, questions asked, windows judged again, days closed."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from ledger.flow import recording
from ledger.flow.closing import close_day
from ledger.flow.correcting import amend, amend_by_held, strike
from ledger.flow.filing_register import FilingWish, file_report, list_filings
from ledger.flow.holding import drop_held, fix_held, held_lines
from ledger.flow.inspecting import prove_whole
from ledger.flow.judging import latest_findings
from ledger.flow.listing import list_entries
from ledger.flow.periods import entries_behind, summarise_period
from ledger.flow.recording import check_sheet, record_sheet
from ledger.flow.site_questions import answer_apart, answer_same, list_sites
from ledger.flow.tracing import trace
from ledger.flow.workspace import (
    WorkspaceProblem,
    find_root,
    make_workspace,
    open_workspace,
    read_rules,
    warnings_about,
)  # fmt: skip
from ledger.journal import StoreProblem
from ledger.values.finding import Kind
from ledger.values.period import Period
from tests.day_sheets import sheet
from tests.workspaces import sample_workspace

DAY = date(2026, 1, 14)
JANUARY = Period(2026, 1)


@pytest.fixture
def firm(tmp_path, server):
    """A workspace with an empty ledger, one run on each engine."""
    made = sample_workspace(tmp_path / "firm", server)
    yield made
    made.store.close()


@pytest.fixture
def file_firm(tmp_path):
    """A workspace whose ledger is a file of its own."""
    made = sample_workspace(tmp_path / "firm")
    yield made
    made.store.close()


def book(firm, *lines, name="day.csv"):
    return record_sheet(firm, name, sheet(*lines), "renner")


def breaches(firm, seq):
    with firm.store.reading() as reader:
        found = latest_findings(reader, seq)
    return {finding.name for finding in found if finding.kind is Kind.BREACH}


def test_a_good_line_is_booked_without_a_finding(firm):
    done = book(firm, {})
    assert done.count("booked") == 1
    assert [f for f in done.outcomes[0].findings if f.kind is not Kind.ADVICE] == []


def test_check_books_nothing(firm):
    done = check_sheet(firm, "day.csv", sheet({}, {"amount": "a lot"}))
    assert (done.count("booked"), done.count("held")) == (1, 1)
    assert list_entries(firm, {}) == []
    assert held_lines(firm) == ()
    with firm.store.reading() as reader:
        assert reader.head.seq == 1


def test_equal_lines_of_one_sheet_are_two_applications_and_are_taken_once(firm):
    two = ({"line": ""}, {"line": ""})
    assert book(firm, *two).count("booked") == 2
    assert book(firm, *two).count("taken") == 2
    assert len(list_entries(firm, {})) == 2


def test_the_same_lines_in_another_order_and_file_are_the_same_sheet(firm):
    one, two = {"places": "door frame"}, {"places": "siding seam"}
    book(firm, one, two)
    again = book(firm, two, one, name="copy of day.csv")
    assert again.count("taken") == 2


def test_an_equal_line_of_another_sheet_is_held_with_the_question(firm):
    first = book(firm, {})
    lines = ({}, {"places": "siding seam", "line": "2"})
    other = book(firm, *lines, name="other.csv")
    assert [outcome.line.state for outcome in other.outcomes] == ["held", "booked"]
    fault = other.outcomes[0].line.faults[0]
    assert fault.code == "LINE-AGAIN"
    assert str(first.outcomes[0].seq) in fault.what
    held = held_lines(firm)[0].seq
    fixed = fix_held(firm, held, {}, second=True, by="renner")
    assert fixed.recorded is not None
    assert len(list_entries(firm, {})) == 3
    assert held_lines(firm) == ()
    again = book(firm, *lines, name="other.csv")
    assert (again.count("booked"), again.count("held")) == (0, 0)


def test_a_changed_line_is_offered_as_an_amendment_and_never_made_one_silently(firm):
    seq = book(firm, {"line": "7"}).outcomes[0].seq
    changed = book(firm, {"line": "7", "amount": "0.3 oz"}, name="later.csv")
    assert changed.count("held") == 1
    fault = changed.outcomes[0].line.faults[0]
    assert fault.code == "LINE-CHANGED"
    assert '"0.25 oz" -> "0.3 oz"' in fault.what
    assert [row.use.amount.text for row in list_entries(firm, {})] == ["0.25 oz"]
    done = amend_by_held(firm, held_lines(firm)[0].seq, seq, "weighed again", "calloway")
    assert done.entry is not None
    assert [row.use.amount.text for row in list_entries(firm, {})] == ["0.3 oz"]
    assert held_lines(firm) == ()


def test_a_line_that_can_be_read_by_now_clears_the_held_one(firm):
    book(firm, {"line": "3", "amount": "a handful"})
    done = book(firm, {"line": "3", "amount": "0.2 oz"}, name="corrected.csv")
    assert done.outcomes[0].line.clears is not None
    assert held_lines(firm) == ()
    assert len(list_entries(firm, {})) == 1


def test_a_dropped_line_stays_taken_when_the_sheet_comes_again(firm):
    lines = ({}, {"amount": "a handful"})
    book(firm, *lines)
    drop_held(firm, held_lines(firm)[0].seq, "nothing was used", "renner")
    again = book(firm, *lines)
    assert (again.count("booked"), again.count("held"), again.count("taken")) == (0, 0, 2)


def test_a_late_entry_is_booked_visibly_late_and_touches_later_windows(firm):
    later = book(firm, {"date": "2026-01-14"}).outcomes[0].seq
    assert breaches(firm, later) == set()
    close_day(firm, date(2026, 1, 14), None, "calloway")
    early = book(firm, {"date": "2026-01-10"}, name="forgotten.csv")
    assert early.judged_again == 1
    assert breaches(firm, later) == {"ten-days"}
    same_day = book(firm, {"places": "siding seam", "line": "9"}, name="late.csv").outcomes[0].seq
    row = next(row for row in list_entries(firm, {}) if row.sealed.seq == same_day)
    assert row.sealed.body["late"] is not None
    with firm.store.reading() as reader:
        judgements = reader.judgements(later)
    assert len(judgements) == 2  # the first stays readable beside the new one


def test_striking_the_earlier_entry_lifts_the_breach_of_the_later_one(firm):
    first = book(firm, {"date": "2026-01-10"}).outcomes[0].seq
    second = book(firm, {"date": "2026-01-14"}, name="second.csv").outcomes[0].seq
    assert breaches(firm, second) == {"ten-days"}
    done = strike(firm, first, "it was another house", "calloway")
    assert done.judged_again == 1
    assert breaches(firm, second) == set()
    assert [row.sealed.seq for row in list_entries(firm, {})] == [second]
    states = {row.sealed.seq: row.state for row in list_entries(firm, {}, versions=True)}
    assert states == {first: "struck", second: "current"}
    with pytest.raises(WorkspaceProblem, match="was struck"):
        amend(firm, first, {"amount": "1 oz"}, "no", "calloway")


def test_amending_moves_the_window_and_keeps_every_version(firm):
    first = book(firm, {"date": "2026-01-03"}).outcomes[0].seq
    second = book(firm, {"date": "2026-01-14"}, name="second.csv").outcomes[0].seq
    assert breaches(firm, second) == set()
    done = amend(firm, first, {"date": "2026-01-08"}, "the wrong day", "calloway")
    assert done.judged_again == 1
    assert breaches(firm, second) == {"ten-days"}
    again = amend(firm, first, {"date": "2026-01-04"}, "the right day at last", "calloway")
    assert again.old == done.entry.seq  # the newest version is the one amended
    assert breaches(firm, second) == set()
    told = trace(firm, first)
    assert [version.seq for version in told.versions] == [first, done.entry.seq, again.entry.seq]
    assert told.differences == ()
    assert prove_whole(firm).ok


def test_an_amendment_that_cannot_be_booked_changes_nothing(firm):
    seq = book(firm, {}).outcomes[0].seq
    with firm.store.reading() as reader:
        head = reader.head
    done = amend(firm, seq, {"amount": "1/2 pt"}, "typo", "calloway")
    assert done.entry is None
    assert done.faults[0].code == "AMOUNT-DIMENSION"
    with firm.store.reading() as reader:
        assert reader.head == head


def test_a_correction_needs_a_reason_and_a_known_person(firm):
    seq = book(firm, {}).outcomes[0].seq
    with pytest.raises(WorkspaceProblem, match="reason"):
        strike(firm, seq, "  ", "calloway")
    with pytest.raises(WorkspaceProblem, match="calloway, renner"):
        firm.require_person("nobody")


def test_a_near_address_is_asked_about_once_and_tells_nothing_until_then(firm):
    book(firm, {"date": "2026-01-10"})
    near = book(firm, {"address": "118 Tolhouse Lane"}, name="near.csv")
    names = {f.name: f.kind for f in near.outcomes[0].findings if f.kind is not Kind.ADVICE}
    assert names == {"ten-days": Kind.UNKNOWN}
    doubted = [row.site for row in list_sites(firm) if row.site.doubt]
    assert len(doubted) == 1
    kept, amended = answer_same(firm, doubted[0].key, "calloway")
    assert breaches(firm, amended[0]) == {"ten-days"}
    assert not any(row.site.doubt for row in list_sites(firm))
    again = book(firm, {"address": "118 Tolhouse Ln", "places": "siding seam"}, name="third.csv")
    assert again.outcomes[0].line.use.site == kept


def test_a_near_address_can_be_a_place_of_its_own(firm):
    book(firm, {"date": "2026-01-10"})
    near = book(firm, {"address": "118 Tolhouse Lane"}, name="near.csv").outcomes[0].seq
    doubted = next(row.site for row in list_sites(firm) if row.site.doubt)
    assert answer_apart(firm, doubted.key, "calloway") == 2
    assert breaches(firm, near) == set()
    with firm.store.reading() as reader:
        kinds = {finding.kind for finding in latest_findings(reader, near)}
    assert Kind.UNKNOWN not in kinds


def test_a_future_day_is_held(firm):
    done = book(firm, {"date": "2026-02-20"})
    assert done.outcomes[0].line.faults[0].code == "DATE-FUTURE"


def test_a_close_refuses_what_is_open_and_says_the_way_out(firm):
    book(firm, {"setting": "indoor", "avoided": ""}, {"amount": "lots", "line": "2"})
    waiting = close_day(firm, DAY, None, "calloway")
    assert waiting.entry is None
    ways = " ".join(item.way_out for item in waiting.obstacles)
    assert "held fix" in ways
    assert "useledger amend" in ways
    with pytest.raises(WorkspaceProblem, match="nothing is recorded"):
        close_day(firm, date(2026, 1, 2), None, "calloway")
    with pytest.raises(WorkspaceProblem, match="has not come"):
        close_day(firm, date(2026, 6, 1), None, "calloway")


def test_closing_twice_gives_the_same_code_and_a_late_entry_a_new_one(firm):
    book(firm, {})
    first = close_day(firm, DAY, None, "calloway")
    again = close_day(firm, DAY, None, "calloway")
    assert again.again
    assert again.code == first.code
    book(firm, {"places": "siding seam", "line": "9"}, name="late.csv")
    third = close_day(firm, DAY, None, "calloway")
    assert third.code != first.code
    assert prove_whole(firm, (first.code, third.code)).ok


def test_one_applicator_can_close_while_another_is_held_up(firm):
    book(firm, {}, {"applicator": "calloway", "amount": "lots", "line": "2"})
    assert close_day(firm, DAY, "renner", "renner").entry is not None
    assert close_day(firm, DAY, None, "calloway").entry is None


def file_january(firm, *, with_open=False, on=date(2026, 2, 9)):
    firm.clock.moment = datetime(2026, 2, 9, 20, tzinfo=UTC)
    wish = FilingWish(on, "by mail", "calloway", with_open)
    return file_report(firm, JANUARY, wish, {})


def test_filing_waits_for_open_days_unless_told_and_then_seals_their_number(firm):
    book(firm, {})
    with pytest.raises(WorkspaceProblem, match="--with-open"):
        file_january(firm)
    filed = file_january(firm, with_open=True)
    assert {item.county for item in filed} == {"Nevada", "Placer"}
    assert filed[0].entry.body["open_days"] == ["2026-01-14"]
    nil = {item.county: item.entry.body["nil"] for item in filed}
    assert nil == {"Nevada": 1, "Placer": 0}
    assert not any(item.lateness.late for item in filed)


def test_an_amendment_overtakes_the_filing_and_the_difference_is_shown(firm):
    seq = book(firm, {}).outcomes[0].seq
    close_day(firm, DAY, None, "calloway")
    file_january(firm)
    filings, owed = list_filings(firm)
    assert not any(item.changes for item in filings)
    assert owed == ()
    amend(firm, seq, {"amount": "0.5 oz"}, "read the scale wrongly", "calloway")
    filings, _ = list_filings(firm)
    changed = {item.entry.body["county"]: item.changes for item in filings}
    assert changed["Nevada"] == ()
    assert "0.25000 -> 0.50000" in " ".join(change.text for change in changed["Placer"])
    file_january(firm, with_open=True)
    filings, _ = list_filings(firm)
    assert [bool(item.changes) and item.standing for item in filings] == [False] * 4


def test_a_late_filing_says_so(firm):
    book(firm, {})
    close_day(firm, DAY, None, "calloway")
    firm.clock.moment = datetime(2026, 2, 20, 20, tzinfo=UTC)
    wish = FilingWish(date(2026, 2, 12), "by hand", "calloway", with_open=False)
    filed = file_report(firm, JANUARY, wish, {})
    assert all(item.lateness.late for item in filed)
    assert all(item.entry.body["late"] == 1 for item in filed)


def test_every_total_opens_to_the_entries_that_made_it(firm):
    book(firm, {}, {"places": "siding seam", "amount": "1 oz", "extent": "250 ft"})
    summary, _, _, _ = summarise_period(firm, JANUARY)
    line = summary.lines[0]
    behind = entries_behind(firm, summary, line)
    assert len(behind) == line.lines == 2


def test_the_past_is_judged_by_its_own_rules(firm):
    seq = book(firm, {"amount": "0.5 oz"}).outcomes[0].seq
    label = firm.root / "rules" / "labels" / "ridgeline-dust.toml"
    label.write_text(label.read_text().replace('most = "0.5 oz"', 'most = "0.1 oz"'))
    firm.book = read_rules(firm.root)
    assert trace(firm, seq).differences == ()
    book(firm, {"date": "2026-01-13", "places": "siding seam"}, name="other.csv")
    assert breaches(firm, seq) == set()
    fresh = book(firm, {"date": "2026-01-12", "places": "eave", "amount": "0.5 oz"}, name="x.csv")
    assert "crack-rate" in breaches(firm, fresh.outcomes[0].seq)


def test_a_broken_label_never_stops_the_day(firm):
    label = firm.root / "rules" / "labels" / "ridgeline-dust.toml"
    label.write_text(label.read_text().replace("shape =", "shap =", 1))
    firm.book = read_rules(firm.root)
    done = book(firm, {"amount": "7 g"}, {"amount": "0.25 oz", "places": "siding seam"})
    assert [outcome.line.state for outcome in done.outcomes] == ["booked", "held"]
    kinds = {finding.kind for finding in done.outcomes[0].findings}
    assert Kind.UNKNOWN in kinds
    assert Kind.BREACH not in kinds


def test_a_workspace_is_found_opened_and_refused_with_the_way_out(file_firm, tmp_path, monkeypatch):
    monkeypatch.delenv("USELEDGER_WORKSPACE", raising=False)
    file_firm.store.close()
    inside = file_firm.root / "rules" / "labels"
    assert find_root(None, inside) == file_firm.root.resolve()
    assert open_workspace(str(file_firm.root)).book.firm.name == "Calloway Home Pest Care"
    with pytest.raises(WorkspaceProblem, match="useledger init"):
        find_root(str(tmp_path / "nowhere"))
    with pytest.raises(WorkspaceProblem, match="already is a workspace"):
        make_workspace(file_firm.root, "")
    (file_firm.root / "ledger.db").rename(file_firm.root / "elsewhere.db")
    with pytest.raises(WorkspaceProblem, match="backup"):
        open_workspace(str(file_firm.root))


def test_a_synchronised_folder_is_warned_about(tmp_path):
    assert warnings_about(tmp_path) == ()
    assert "synchronised" in warnings_about(tmp_path / "OneDrive" / "firm")[0]


def test_a_long_sheet_is_an_import_run_that_can_be_continued(firm, monkeypatch):
    monkeypatch.setattr(recording, "BATCH", 10)
    lines = [{"line": str(n), "address": f"{n} Tollhouse Lane"} for n in range(1, 26)]
    lines += [{"line": "", "address": "1 Penryn Cut"}] * 2
    real = recording.book_lines
    calls = []

    def stops_after_two(*args):
        calls.append(1)
        if len(calls) == 3:
            raise OSError("the plug was pulled")
        return real(*args)

    monkeypatch.setattr(recording, "book_lines", stops_after_two)
    with pytest.raises(OSError, match="plug"):
        record_sheet(firm, "long.csv", sheet(*lines), "renner")
    assert len(list_entries(firm, {})) == 20
    waiting = close_day(firm, DAY, None, "calloway")
    assert any("interrupted" in item.what for item in waiting.obstacles)
    monkeypatch.setattr(recording, "book_lines", real)
    done = record_sheet(firm, "long.csv", sheet(*lines), "renner")
    assert (done.count("taken"), done.count("booked")) == (20, 7)
    assert len(list_entries(firm, {})) == 27
    assert close_day(firm, DAY, None, "calloway").entry is not None
    assert record_sheet(firm, "long.csv", sheet(*lines), "renner").count("taken") == 27
    assert prove_whole(firm).ok


def test_verify_opens_a_ledger_whose_guard_was_broken_and_says_so(file_firm):
    import sqlite3

    book(file_firm, {})
    file_firm.store.close()
    database = sqlite3.connect(file_firm.root / "ledger.db")
    names = [
        row[0] for row in database.execute("SELECT name FROM sqlite_master WHERE type='trigger'")
    ]
    database.execute(f'DROP TRIGGER "{names[0]}"')
    database.commit()
    database.close()
    with pytest.raises(StoreProblem, match="useledger verify"):
        open_workspace(str(file_firm.root))
    result = prove_whole(open_workspace(str(file_firm.root), proving=True))
    assert not result.ok
    assert any("guard" in fault.what or names[0] in fault.what for fault in result.problems)
