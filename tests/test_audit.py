"""Audit: the order of an inspection, everything judged again, what is missing, late or owed."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime
from fractions import Fraction
from importlib.metadata import version

import pytest
from click.testing import CliRunner
from openpyxl import load_workbook

from ledger.audit import (
    Answer,
    Item,
    Made,
    Topic,
    Weight,
    by_topic,
    compare_audits,
    figures_of,
    in_order,
    listing_of,
    median,
    topic_of,
    with_answers,
)  # fmt: skip
from ledger.cli import main
from ledger.flow.audit_firm import not_read
from ledger.flow.audit_scope import Scope
from ledger.flow.auditing import audit, seal_audit
from ledger.flow.closing import close_day
from ledger.flow.correcting import amend
from ledger.flow.filing_register import FilingWish, file_report
from ledger.flow.inspecting import program_of, prove_whole
from ledger.flow.judging import judgement_entry, latest_findings
from ledger.flow.recording import record_sheet
from ledger.flow.tracing import trace
from ledger.values.finding import Finding, Kind
from ledger.values.period import Period
from tests.day_sheets import sheet
from tests.workspaces import SetClock, sample_workspace

DAY = date(2026, 1, 14)
CLOSE = {"date": "2026-01-20", "start": "08:00", "end": "08:30"}
"""A second dusting within ten days at the same place: a breach of the label's interval."""


@pytest.fixture
def firm(tmp_path):
    return sample_workspace(tmp_path / "firm", clock=SetClock(datetime(2026, 1, 22, 3, tzinfo=UTC)))


def book(firm, *lines, name="day.csv"):
    return record_sheet(firm, name, sheet(*lines), "renner")


def names(found, weight):
    return [item.id for item in found.items if item.weight is weight]


def item(topic=Topic.WORK, weight=Weight.BREACH, subject="7", name="rate", **more):
    return Item(topic, weight, subject, name, "text", **more)


# --- the order -------------------------------------------------------------------------------

ASKED_FIRST = (
    # Inspection papers as read in summaries: "licences and registrations; then application records
    # for a date range; then reports as filed; then training; labels and safety sheets last" (our
    # reading of EPA's plan for Indian country, Sacramento County slides on form PR-ENF-110, and
    # Arizona R3-8-501 and 503 on stock). Inside the records: missing or late, then what they hold,
    # then whether the visit matches label and law; that order is ours.
    Topic.LICENCES, Topic.RECORDS, Topic.FIELDS, Topic.WORK, Topic.REPORTS, Topic.TRAINING,
    Topic.STOCK, Topic.LABELS, Topic.KEEPING, Topic.INCIDENTS,
)  # fmt: skip


def test_topics_come_in_the_order_of_an_inspection():
    shuffled = [item(topic) for topic in sorted(Topic, key=lambda topic: topic.name)]
    assert tuple(topic for topic, _ in by_topic(shuffled)) == ASKED_FIRST


def test_the_worst_comes_first_and_open_before_answered():
    said = Answer(9, "why", "done", "renner", "2026-01-15T00:00:00Z")
    mixed = [
        item(weight=Weight.ADVICE), item(weight=Weight.BREACH, answer=said, name="a"),
        item(weight=Weight.UNKNOWN), item(weight=Weight.DIFFERENCE), item(weight=Weight.MISSING),
        item(weight=Weight.BREACH, name="z"),
    ]  # fmt: skip
    assert [(one.weight.text, one.answer is not None) for one in in_order(mixed)] == [
        ("breach", False), ("breach", True), ("missing", False), ("difference", False),
        ("unknown", False), ("advice", False),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("code", "topic"),
    [
        ("PEOPLE-LICENCE", Topic.LICENCES), ("LABEL-SUPERVISION", Topic.LICENCES),
        ("LAW-REGISTRATION", Topic.LICENCES), ("FIELD-START", Topic.FIELDS),
        ("LABEL-RATE", Topic.WORK), ("LAW-PROHIBITED", Topic.WORK),
        ("LABEL-CANNOT-TELL", Topic.LABELS), ("RULES-STALE", Topic.LABELS),
    ],
)  # fmt: skip
def test_a_finding_is_looked_for_under_its_topic(code, topic):
    assert topic_of(Finding(Kind.BREACH, code, "x", "")) is topic


# --- figures ---------------------------------------------------------------------------------


def test_the_median_is_exact():
    assert median([]) is None
    assert median([3]) == 3
    assert median([1, 2]) == Fraction(3, 2)
    assert median([9, 1, 5]) == 5


def test_figures_count_shares_only_of_what_can_be_told():
    made = [
        Made(1, True, True, 60, False, False), Made(2, False, False, 120, True, False),
        Made(3, True, None, None, False, True),
    ]  # fmt: skip
    found = figures_of(made, [item(), item(weight=Weight.ADVICE), item(to_do=True)])
    assert (found.records, found.complete, found.timed, found.on_time) == (3, 2, 2, 1)
    assert found.share_complete == Fraction(2, 3)
    assert found.share_on_time == Fraction(1, 2)
    assert found.median_lag == 90
    assert (found.after_close, found.amended, found.owed) == (1, 1, 2)
    assert figures_of([], []).share_complete is None


def test_what_cannot_be_told_and_advice_are_never_owed():
    assert not item(weight=Weight.UNKNOWN, to_do=True).owed
    assert not item(weight=Weight.ADVICE).owed
    assert item(weight=Weight.DIFFERENCE).owed


# --- the whole -------------------------------------------------------------------------------


def test_a_good_closed_month_owes_nothing(firm):
    book(firm, {})
    close_day(firm, DAY, None, "renner")
    found = audit(firm, Scope(DAY, DAY))
    assert found.owed == ()
    assert found.figures.records == found.figures.complete == 1
    # 08:05 to 09:20 in California is 17:20 UTC; sealed after 03:00 UTC of 22 January.
    assert found.figures.median_lag == 7 * 24 * 60 + 9 * 60 + 40


def test_breaches_are_shown_with_record_rule_line_and_source(firm):
    book(firm, {}, CLOSE)
    found = audit(firm, Scope())
    breach = next(one for one in found.items if one.name == "ten-days")
    assert breach.topic is Topic.WORK
    assert breach.origin == "day.csv:3"
    assert breach.rules[0].file == "labels/ridgeline-dust.toml"
    assert breach.rules[0].line > 0
    assert breach.rules[0].source
    assert breach.owed


def test_open_days_and_held_lines_are_owed(firm):
    book(firm, {}, {"amount": "a handful"})
    found = audit(firm, Scope())
    missing = names(found, Weight.MISSING)
    assert "day:2026-01-14/missing/open-day" in missing
    assert any(one.startswith("held:") for one in missing)
    assert audit(firm, Scope(date(2026, 2, 1), None)).owed == ()


def test_a_day_closed_and_then_added_to_is_open_again_and_said_to_be_late(firm):
    book(firm, {})
    close_day(firm, DAY, None, "renner")
    book(firm, {"start": "10:00", "end": "11:00", "places": "siding seam"}, name="more.csv")
    found = audit(firm, Scope())
    assert "day:2026-01-14/missing/open-day" in names(found, Weight.MISSING)
    assert any("after-close" in one for one in names(found, Weight.ADVICE))
    assert found.figures.after_close == 1


def test_a_site_in_doubt_is_an_unanswered_question(firm):
    book(firm, {}, {"address": "118 Tollhouse Ln Apt 4", "line": "2"})
    found = audit(firm, Scope())
    assert "site:S0002/missing/same-place" in names(found, Weight.MISSING)


def test_a_restricted_record_is_late_after_fourteen_days(firm):
    """7 CFR 110.3(c), read in the regulation text: within 14 days after the application."""
    line = {
        "product": "granite-powder", "amount": "1 oz", "method": "void", "setting": "indoor",
        "places": "wall void", "prepared": "void closed", "pests": "mice", "extent": "6 voids",
    }  # fmt: skip
    book(firm, {**line, "date": "2026-01-07"}, {**line, "date": "2026-01-06", "line": "2"})
    found = audit(firm, Scope())
    late = [one for one in found.items if one.name == "late-restricted-record"]
    # Sealed on 21 January, 19:00 in California: in time for the 7th, a day late for the 6th.
    assert [(one.day, one.weight) for one in late] == [(date(2026, 1, 6), Weight.BREACH)]
    assert late[0].rules[0].file == "jurisdictions/us-federal.toml"
    assert (found.figures.timed, found.figures.on_time) == (2, 1)


def test_reports_missing_late_and_overtaken_come_out(firm):
    book(firm, {})
    close_day(firm, DAY, None, "renner")
    firm.clock.moment = datetime(2026, 2, 5, 20, tzinfo=UTC)
    found = audit(firm, Scope(Period(2026, 1).first, Period(2026, 1).last))
    assert {one.name for one in found.items if one.topic is Topic.REPORTS} == {"report-due"}
    firm.clock.moment = datetime(2026, 2, 12, 20, tzinfo=UTC)
    found = audit(firm, Scope(Period(2026, 1).first, Period(2026, 1).last))
    # Nevada county saw no work in January: its nil report is missing as well.
    owed = [one.id for one in found.owed if one.topic is Topic.REPORTS]
    assert owed == [
        "report:monthly.Nevada.2026-01/missing/report-missing",
        "report:monthly.Placer.2026-01/missing/report-missing",
    ]
    wish = FilingWish(date(2026, 2, 12), "by hand", "calloway", with_open=False)
    file_report(firm, Period(2026, 1), wish, {})
    found = audit(firm, Scope())
    late = [one for one in found.items if one.name == "report-late"]
    assert [(one.weight, one.to_do) for one in late] == [(Weight.BREACH, False)] * 2
    seq = found.made[0].entry
    amend(firm, seq, {"amount": "0.3 oz"}, "weighed again", "renner")
    found = audit(firm, Scope())
    overtaken = [one for one in found.items if one.name == "report-overtaken"]
    assert [one.subject for one in overtaken] == ["report:us-ca.Placer.2026-01"]
    assert "0.25" in overtaken[0].text
    assert overtaken[0].owed


def test_a_judgement_that_does_not_come_out_again_is_a_difference(firm):
    seq = book(firm, {}).outcomes[0].seq
    false = Finding(Kind.BREACH, "LABEL-RATE", "made-up", "a breach that nothing shows")
    with firm.store.writing() as writer:
        judges = (firm.book.digest, "0.0.9")
        writer.append(judgement_entry(judges, writer.head, {seq: [false]}, "by hand"))
    found = audit(firm, Scope())
    differences = [one for one in found.items if one.weight is Weight.DIFFERENCE]
    assert [one.topic for one in differences] == [Topic.KEEPING]
    assert "a breach that nothing shows" in differences[0].text
    assert "not found now" in differences[0].text
    judged = f"judged by program 0.0.9 then, by program {firm.program} now"
    assert judged in differences[0].text
    step = next(step for step in trace(firm, seq).steps if step.differences)
    assert judged in step.lines
    assert any("program 0.0.9: 1 finding" in line for line in trace(firm, seq).steps[4].lines)


def test_a_judgement_names_the_program_and_an_older_one_is_read_without(firm):
    seq = book(firm, {}).outcomes[0].seq
    with firm.store.reading() as reader:
        judgement = reader.judgements(seq)[-1]
    assert judgement.body["program"] == firm.program == version("useledger")
    body = {name: value for name, value in judgement.body.items() if name != "program"}
    assert program_of(judgement) == f"program {firm.program}"
    assert "did not note" in program_of(replace(judgement, body=body))


def test_a_label_that_is_no_file_any_more_shows(firm):
    book(firm, {"lot": "RD-7"})
    path = firm.root / "rules" / "labels" / "ridgeline-dust.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n# a later version\n", encoding="utf-8")
    from ledger.flow.workspace import read_rules

    firm.book = read_rules(firm.root)
    found = audit(firm, Scope())
    labels = [one for one in found.items if one.topic is Topic.LABELS]
    assert [(one.name, one.weight) for one in labels] == [
        ("label-version-not-on-file", Weight.ADVICE)
    ]
    assert "keeps its text" in labels[0].text


def test_what_was_not_read_is_said(firm):
    book(firm, {})
    sections = {(part.jurisdiction, part.section) for part in audit(firm, Scope()).unread}
    assert ("us-ca", "16 CCR 1970(b)") in sections
    assert [part.section for part in not_read(firm, ["us-zz"])][-1] == "all of it"


def test_scopes_limit_records_and_leave_reports_to_the_firm(firm):
    book(firm, {}, {"applicator": "calloway", "start": "10:00", "end": "11:00", "line": "2"})
    firm.clock.moment = datetime(2026, 2, 12, 20, tzinfo=UTC)
    assert audit(firm, Scope()).figures.records == 2
    one = audit(firm, Scope(applicator="calloway"))
    assert one.figures.records == 1
    assert not [item for item in one.items if item.topic is Topic.REPORTS]
    assert audit(firm, Scope(product_key="99999-12")).figures.records == 0
    assert audit(firm, Scope(site="S0001")).figures.records == 2


# --- against the last audit --------------------------------------------------------------------


def test_a_sealed_audit_is_what_the_next_one_is_compared_with(firm):
    book(firm, {})
    first = audit(firm, Scope())
    assert first.since is None
    sealed = seal_audit(firm, first, "calloway")
    assert sealed.body["digest"] == first.digest
    assert audit(firm, Scope(DAY, DAY)).since is None, "another scope"
    close_day(firm, DAY, None, "renner")
    book(firm, CLOSE, name="later.csv")
    second = audit(firm, Scope())
    assert second.since is not None
    assert second.since.seq == sealed.seq
    assert "day:2026-01-14/missing/open-day" in second.since.gone
    assert any(one.name == "ten-days" for one in second.since.new)
    assert second.since.figures["records"] == ("1", "2")
    assert prove_whole(firm).ok


def test_comparing_tells_new_gone_and_answered():
    said = Answer(9, "why", "done", "renner", "2026-01-15T00:00:00Z")
    before = [item(subject="1"), item(subject="2")]
    now = [item(subject="2", answer=said), item(subject="3")]
    listed = json.loads(listing_of(before))
    old, new = figures_of([], before), figures_of([], now)
    since = compare_audits((5, "2026-01-15T00:00:00Z"), listed, old.values(), (now, new))
    assert [one.subject for one in since.new] == ["3"]
    assert since.gone == ("1/breach/rate",)
    assert since.answered == ("2/breach/rate",)
    assert since.figures == {"answered": ("0", "1"), "owed": ("2", "1")}


def test_an_answer_to_an_earlier_version_is_only_mentioned():
    said = Answer(9, "why", "done", "renner", "2026-01-15T00:00:00Z")
    (one,) = with_answers([item(subject="12", entry=12)], {"7/breach/rate": said}, {12: (7, 12)})
    assert one.answer is None
    assert "entry 9 answered this of version 7" in one.note


# --- the command -------------------------------------------------------------------------------


def run(firm, *args):
    return CliRunner().invoke(main, ["audit", *args, "--workspace", str(firm.root)])


def test_the_command_says_what_is_owed_by_its_exit_code(firm):
    book(firm, {})
    close_day(firm, DAY, None, "renner")
    clean = run(firm, "--from", "2026-01-14", "--to", "2026-01-14", "--product", "ridgeline-dust")
    assert clean.exit_code == 0, clean.output
    assert "Nothing is owed." in clean.output
    assert "16 CCR 1970(b)" in clean.output
    book(firm, CLOSE, name="later.csv")
    owed = run(firm, "2026-01", "--json")
    assert owed.exit_code == 1
    told = json.loads(owed.output)
    assert told["figures"]["records"] == 2
    assert any(one["name"] == "ten-days" and one["owed"] for one in told["findings"])
    assert told["sealed"] is None
    assert run(firm, "20-26").exit_code == 2
    assert run(firm, "--person", "nobody").exit_code == 2


def test_the_papers_say_the_same(firm, tmp_path):
    book(firm, {}, CLOSE)
    for suffix in ("xlsx", "pdf", "csv"):
        done = run(firm, "--out", str(tmp_path / f"audit.{suffix}"))
        assert done.exit_code == 1, done.output
    workbook = load_workbook(tmp_path / "audit.xlsx")
    assert workbook.sheetnames == ["figures", "findings", "answered", "law not read"]
    cells = {str(cell.value) for row in workbook["findings"].iter_rows() for cell in row}
    assert "day.csv:3" in cells
    assert any("ten-days" in cell for cell in cells)
    assert b"ten-days" in (tmp_path / "audit.csv").read_bytes()
    assert (tmp_path / "audit.pdf").read_bytes().startswith(b"%PDF")


def test_only_a_named_person_seals_an_audit(firm):
    book(firm, {})
    run(firm)
    with firm.store.reading() as reader:
        before = reader.head.seq
    done = run(firm, "--by", "calloway")
    assert "sealed as entry" in done.output
    with firm.store.reading() as reader:
        assert reader.head.seq == before + 1
        entry = reader.entry(reader.head.seq)
        assert latest_findings(reader, entry.seq) == ()
    assert (str(entry.kind), entry.by) == ("audit", "calloway")
