"""Disposal to the end: no byte of a name left, nothing taken for lost, no sheet booked twice."""

from __future__ import annotations

import io
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner
from openpyxl import Workbook

from ledger.audit import Weight
from ledger.cli import main
from ledger.flow.answering import Reply, answer
from ledger.flow.audit_scope import Scope
from ledger.flow.auditing import audit
from ledger.flow.carrying import carry_over
from ledger.flow.closing import close_day
from ledger.flow.correcting import amend
from ledger.flow.disposing import attach, dispose_due, kept_all, plan_disposal
from ledger.flow.file_names import file_of, row_of
from ledger.flow.filing_register import FilingWish, file_report
from ledger.flow.holding import drop_held, fix_held, held_lines
from ledger.flow.incidents import IncidentWish, record_incident
from ledger.flow.inspecting import prove_whole
from ledger.flow.keep_orders import order_keep, release
from ledger.flow.listing import list_entries
from ledger.flow.noticing_after import Handing, give_after
from ledger.flow.recording import check_sheet, record_sheet
from ledger.flow.tracing import trace
from ledger.flow.workspace import Workspace
from ledger.journal.dispose import dispose
from ledger.notice import Extra
from ledger.values.period import Period
from ledger.values.sealed import EntryKind, NewEntry
from tests.day_sheets import GOOD, sheet
from tests.test_verify_attacks import Attacker
from tests.workspaces import SetClock, sample_workspace

NAME = "Zebedia Okonjo"
CUSTOMER = {"customer": NAME, "address": "7 Wrenfield Court", "note": "key under the zebrapot"}
WORDS = (b"Zebedia", b"Okonjo", b"Wrenfield", b"WRENFIELD", b"zebrapot")
BOOKED_ON = datetime(2026, 1, 16, 2, 30, tzinfo=UTC)
LATER = datetime(2031, 6, 1, 12, tzinfo=UTC)
DAY = date(2026, 1, 14)


@pytest.fixture
def firm(tmp_path: Path) -> Workspace:
    return sample_workspace(tmp_path / "firm", clock=SetClock(BOOKED_ON))


def as_workbook(*lines: dict[str, str]) -> bytes:
    """Return the same lines as a workbook: the same sheet, other bytes."""
    book = Workbook()
    page = book.active
    assert page is not None
    page.title = "applications"
    page.append(list(GOOD))
    for line in lines:
        page.append([{**GOOD, **line}[heading] for heading in GOOD])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def live_a_little(firm: Workspace) -> int:
    """Do everything that leaves a customer's name somewhere; return the record's number."""
    line = {key: text for key, text in CUSTOMER.items() if key != "note"}
    seq = record_sheet(firm, "day.csv", sheet(line), "renner").outcomes[0].seq or 0
    again = record_sheet(firm, "day.xlsx", as_workbook(line), "renner")
    assert again.count("taken") == 1
    box = {**CUSTOMER, "address": "PO Box 7 Wrenfield", "line": "box"}
    held = record_sheet(firm, "held.csv", sheet({**CUSTOMER, "amount": "some"}, box), "renner")
    for outcome in held.outcomes:
        drop_held(firm, outcome.seq or 0, f"{NAME} said no", "renner")
    amend(firm, seq, {"amount": "0.3 oz", "note": CUSTOMER["note"]}, NAME, "renner")
    attach(firm, "photo.jpg", NAME.encode(), seq, "renner")
    answer(firm, f"day:{DAY}/missing/open-day", Reply(NAME, NAME, "calloway"))
    close_day(firm, DAY, None, "renner")
    give_after(
        firm,
        str(seq),
        (Extra(), Handing("given", "by hand")),
        lambda made: f"to {NAME}".encode(),
        "renner",
    )
    record_incident(firm, IncidentWish(
        "complaint", DAY, None, "renner", f"{NAME} called", f"called {NAME} back", site="S0001",
    ))  # fmt: skip
    firm.clock.moment = datetime(2026, 2, 5, 20, tzinfo=UTC)  # type: ignore[attr-defined]
    wish = FilingWish(date(2026, 2, 5), "by hand", "calloway", with_open=True)
    file_report(firm, Period(2026, 1), wish, {"Placer": {"use.csv": f"for {NAME}".encode()}})
    order = order_keep(firm, {"entry": seq}, f"claim of {NAME}", "calloway")
    release(firm, order.seq, f"{NAME} withdrew", "calloway")
    return seq


def bytes_of(firm: Workspace) -> bytes:
    return b"".join(path.read_bytes() for path in sorted(firm.root.glob("ledger.db*")))


def test_no_byte_of_a_customer_is_left_in_the_database(firm: Workspace) -> None:
    seq = live_a_little(firm)
    before = bytes_of(firm)
    assert all(word in before for word in WORDS)
    firm.clock.moment = LATER  # type: ignore[attr-defined]
    plan, done = dispose_due(firm, "yearly disposal", "calloway")
    sorts = {item.what for item in plan.records}
    assert sorts == {"application", "dropped line", "notice", "incident", "filing", "order",
                     "answer"}, sorts  # fmt: skip
    left = bytes_of(firm)
    assert [word for word in WORDS if word in left] == []
    with firm.store.reading() as reader:
        assert list(reader.privates()) == []
        kinds = {kind for _, kind, _ in reader.blobs()}
        assert kinds <= {"rule text", "audit list"}
        assert plan_disposal(firm, reader, firm.today()).records == ()
        assert all(item.disposed for item in kept_all(firm, reader))
    proof = prove_whole(firm)
    assert proof.ok, proof.problems
    assert proof.disposed >= 10
    assert list_entries(firm, {})[0].use.amount.text == "0.3 oz"
    assert done[0].seq > seq


def test_papers_stay_while_a_record_they_are_about_is_kept(firm: Workspace) -> None:
    seq = live_a_little(firm)
    order_keep(firm, {"entry": seq}, "another claim", "calloway")
    firm.clock.moment = LATER  # type: ignore[attr-defined]
    plan, _ = dispose_due(firm, "yearly disposal", "calloway")
    assert not {item.what for item in plan.records} & {"application", "notice"}
    with firm.store.reading() as reader:
        kept = {kind for _, kind, _ in reader.blobs()}
    assert {"sheet", "notice", "attachment", "filed report", "filed copy"} <= kept
    assert prove_whole(firm).ok


def test_a_sheet_that_was_disposed_of_is_not_booked_anew(firm: Workspace, tmp_path: Path) -> None:
    data = sheet(CUSTOMER)
    record_sheet(firm, "day.csv", data, "renner")
    firm.clock.moment = LATER  # type: ignore[attr-defined]
    disposal = dispose_due(firm, "yearly disposal", "calloway")[1][0].seq
    with firm.store.reading() as reader:
        head = reader.head
    for again in (
        record_sheet(firm, "renamed.csv", data, "renner"), check_sheet(firm, "day.csv", data),
        carry_over(firm, "day.csv", data, "calloway"),
    ):  # fmt: skip
        assert [fault.code for fault in again.faults] == ["SHEET-DISPOSED"]
        assert f"entry {disposal} " in again.faults[0].what
        assert "useledger entries" in again.faults[0].way_out
    with firm.store.reading() as reader:
        assert reader.head == head
    (tmp_path / "day.csv").write_bytes(data)
    words = ["record", str(tmp_path / "day.csv"), "--by", "renner", "--workspace", str(firm.root)]
    done = CliRunner().invoke(main, words)
    assert (done.exit_code, "SHEET-DISPOSED" in done.output) == (2, True)
    assert prove_whole(firm).ok


@pytest.mark.parametrize("number", ["", "4"], ids=["without numbers", "with numbers"])
def test_a_disposed_sheet_that_was_saved_anew_is_asked_about_line_by_line(
    firm: Workspace, number: str
) -> None:
    line = {**CUSTOMER, "line": number}
    seq = record_sheet(firm, "day.csv", sheet(line), "renner").outcomes[0].seq or 0
    firm.clock.moment = LATER  # type: ignore[attr-defined]
    dispose_due(firm, "yearly disposal", "calloway")
    other = {**line, "start": "15:10", "end": "15:40", "line": ""}
    anew = sheet(line, other).replace(b"\n", b"\r\n") if number else as_workbook(line, other)
    again = record_sheet(firm, "saved anew", anew, "renner")
    assert [item.line.state for item in again.outcomes] == ["held", "booked"]
    (fault,) = again.outcomes[0].line.faults
    assert fault.code == ("LINE-CHANGED" if number else "LINE-DISPOSED")
    assert f"entry {seq}" in fault.what
    assert "held drop" in fault.way_out or number
    held = again.outcomes[0].seq or 0
    assert fix_held(firm, held, {}, second=False, by="renner").still, "asked again"
    fixed = fix_held(firm, held, {}, second=True, by="renner")
    assert fixed.recorded is not None
    assert prove_whole(firm).ok


def test_a_sheet_called_after_a_customer_leaves_no_name_behind(firm: Workspace) -> None:
    names = ("Zebedia Okonjo.csv", "Okonjo, Wrenfield.csv", "photo of Zebedia.jpg", "Okonjo.xlsx")
    line = {**CUSTOMER, "line": ""}
    seq = record_sheet(firm, names[0], sheet(line), "renner").outcomes[0].seq or 0
    record_sheet(firm, names[3], as_workbook(line), "renner")
    held = record_sheet(firm, names[1], sheet({**CUSTOMER, "amount": "some"}), "renner")
    attach(firm, names[2], b"a picture", seq, "renner")
    with firm.store.reading() as reader:
        lines = "".join(entry.text for entry in reader.entries())
        shown = {file_of(entry) for entry in reader.entries() if entry.private
                 and entry.kind in {EntryKind.SHEET, EntryKind.ATTACHMENT}}  # fmt: skip
        (waiting,) = reader.held_open()
    assert not [word for word in WORDS if word.decode() in lines]
    assert shown == set(names)
    assert row_of(waiting) == "Okonjo, Wrenfield.csv:2"
    assert held_lines(firm)[0].faults[0].origin.file == "Okonjo, Wrenfield.csv"
    drop_held(firm, held.outcomes[0].seq or 0, "no", "renner")
    firm.clock.moment = LATER  # type: ignore[attr-defined]
    dispose_due(firm, "yearly disposal", "calloway")
    left = bytes_of(firm)
    assert [word for word in WORDS if word in left] == []
    with firm.store.reading() as reader:
        told = row_of(reader.entry(seq))
    assert told.endswith("(its name is disposed of):2")
    assert trace(firm, seq).steps
    assert prove_whole(firm).ok


def test_names_that_an_earlier_version_sealed_are_read_as_they_stand(firm: Workspace) -> None:
    data = sheet({})
    with firm.store.writing() as writer:
        digest = writer.keep("sheet", data)
        body = {"name": "old.csv", "digest": digest, "bytes": len(data), "state": "whole",
                "identity": None, "lines": 1, "observations": 0}  # fmt: skip
        kept = writer.append(NewEntry(EntryKind.SHEET, body, by="renner"))
        held = writer.append(NewEntry(EntryKind.HELD, {
            "identity": "0" * 32, "own": None, "copy": 1, "sheet": digest,
            "origin": {"file": "old.csv", "row": 2, "page": None}, "days": [],
            "faults": [{"code": "X", "what": "x", "way_out": "y", "file": "old.csv", "row": 2,
                        "column": None, "cell": None, "page": None}],
        }, private='{"cells": {"amount": "some"}}'))  # fmt: skip
    assert file_of(kept) == "old.csv"
    assert row_of(held) == "old.csv:2"
    assert held_lines(firm)[0].faults[0].origin.file == "old.csv"


# What an audit says of it


def kept_items(firm: Workspace) -> list[tuple[str, Weight]]:
    found = audit(firm, Scope())
    names = {"not-kept", "disposed-early", "disposed", "carried-over"}
    return [(item.name, item.weight) for item in found.items if item.name in names]


def test_what_went_past_its_day_is_no_breach_and_is_not_judged_again(firm: Workspace) -> None:
    live_a_little(firm)
    firm.clock.moment = LATER  # type: ignore[attr-defined]
    dispose_due(firm, "yearly disposal", "calloway")
    assert kept_items(firm) == [("disposed", Weight.ADVICE)]
    found = audit(firm, Scope())
    assert [item for item in found.items if item.weight is Weight.DIFFERENCE] == []
    assert not [item for item in found.items if item.name.startswith(("late-", "label-"))]
    assert (found.figures.records, found.figures.judged, found.figures.timed) == (1, 0, 0)


def early(firm: Workspace, seqs: list[int], blobs: list[str]) -> None:
    body = {"entries": seqs, "blobs": blobs, "rules": [], "because": "by hand", "records": []}
    with firm.store.writing() as writer:
        dispose(writer, NewEntry(EntryKind.DISPOSAL, body, by="calloway"))


def test_what_went_too_early_is_a_breach(firm: Workspace) -> None:
    seq = record_sheet(firm, "day.csv", sheet(CUSTOMER), "renner").outcomes[0].seq or 0
    with firm.store.reading() as reader:
        digest = reader.entry(seq).body["sheet"]
    early(firm, [seq], [digest])
    assert prove_whole(firm).ok, "the chain holds: it was disposed of, only too early"
    found = [item for item in audit(firm, Scope()).items if item.name == "disposed-early"]
    assert [item.weight for item in found] == [Weight.BREACH] * 2
    assert "2029-01-14 is until when they were to be kept" in found[0].text
    firm.clock.moment = LATER  # type: ignore[attr-defined]
    assert ("disposed-early", Weight.BREACH) in kept_items(firm), "time does not heal it"


def test_a_disposal_against_an_order_is_a_breach(firm: Workspace) -> None:
    seq = record_sheet(firm, "day.csv", sheet(CUSTOMER), "renner").outcomes[0].seq or 0
    order = order_keep(firm, {"entry": seq}, "a claim", "calloway")
    firm.clock.moment = LATER  # type: ignore[attr-defined]
    early(firm, [seq], [])
    release(firm, order.seq, "settled", "calloway")
    found = [item for item in audit(firm, Scope()).items if item.name == "disposed-early"]
    assert [item.weight for item in found] == [Weight.BREACH]
    assert f"while order {order.seq} kept them" in found[0].text


def test_what_is_missing_without_a_disposal_is_a_breach_however_old(firm: Workspace) -> None:
    seq = record_sheet(firm, "day.csv", sheet(CUSTOMER), "renner").outcomes[0].seq or 0
    Attacker(firm.store).run(f"DELETE FROM private WHERE seq = {seq}")
    assert kept_items(firm) == [("not-kept", Weight.BREACH)]
    firm.clock.moment = LATER  # type: ignore[attr-defined]
    assert kept_items(firm) == [("not-kept", Weight.BREACH)]


def test_what_was_carried_over_is_said_and_neither_late_nor_open(firm: Workspace) -> None:
    old = {"date": "2024-03-01", "line": "", "product": "granite-powder", "amount": "1 oz",
           "method": "void", "setting": "indoor", "places": "wall void"}  # fmt: skip
    done = carry_over(firm, "old.csv", sheet(old), "calloway")
    assert len(done.seqs) == 1
    assert kept_items(firm) == [("carried-over", Weight.ADVICE)]
    found = audit(firm, Scope())
    assert [item for item in found.owed if item.name == "open-day"] == []
    assert not [item for item in found.items if item.name.startswith(("late-", "not-given-"))]
