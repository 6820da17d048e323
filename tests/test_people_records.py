"""Training and signing off: sealed, refused where they do not fit, listed, found, due, handed out.

What a training says: EPA's summary of 40 CFR 171.201 and IDAPA 02.03.03.400.01.c, as the rule files
name them. A year by date: Idaho's rule, read in its text. That a trainee's lines are signed off by
the supervisor: common practice, no source.
"""

from __future__ import annotations

import json
from datetime import UTC, date, datetime

import pytest

from ledger.audit import Topic, Weight
from ledger.deadlines import Sort
from ledger.flow.audit_scope import Scope
from ledger.flow.auditing import audit
from ledger.flow.correcting import amend
from ledger.flow.due import what_is_due
from ledger.flow.inspecting import prove_whole
from ledger.flow.packet import Selection, make_packet
from ledger.flow.recording import record_sheet
from ledger.flow.supervision import clock_at, standings
from ledger.flow.training import (
    ELSEWHERE,
    TrainingWish,
    sign_off,
    sign_off_day,
    train,
    waiting_lines,
)
from ledger.flow.workspace import Workspace, WorkspaceProblem
from ledger.values.sealed import EntryKind
from reports.packet import packet_sheets
from tests.cli_use import use
from tests.day_sheets import sheet
from tests.workspaces import SetClock, sample_workspace

DAY = date(2026, 1, 14)
TRAINED = date(2026, 1, 5)


@pytest.fixture
def firm(tmp_path, server):
    """A workspace on the evening of the 15th, one run on each engine."""
    clock = SetClock(datetime(2026, 1, 16, 2, 30, tzinfo=UTC))
    made = sample_workspace(tmp_path / "firm", server, clock)
    yield made
    made.store.close()


def line_of(firm: Workspace, **more: str) -> int:
    """Book one good line of the trainee, under renner unless it says otherwise."""
    line = {"applicator": "aster", "supervisor": "renner", **more}
    name = f"{more.get('line', 'day')}.csv"
    seq = record_sheet(firm, name, sheet(line), "renner").outcomes[0].seq
    assert seq is not None
    return seq


def wish(**more) -> TrainingWish:
    fields = {
        "person": "aster", "on": TRAINED, "by": "calloway", "trainer": "renner",
        "title": "Safe use of dusters", "topics": ("moving air", "first aid"), "signed": True,
    }  # fmt: skip
    return TrainingWish(**{**fields, **more})


def of_training(firm: Workspace, scope: Scope = Scope()):  # noqa: B008 - a frozen value
    return [one for one in audit(firm, scope).items if one.topic is Topic.TRAINING]


def waiting(firm: Workspace) -> list[int]:
    with firm.store.reading() as reader:
        return [item.record.sealed.seq for item in waiting_lines(reader, firm.book.firm)]


# --- training --------------------------------------------------------------------------------


def test_a_training_is_sealed_with_its_paper_and_names_stand_apart(firm: Workspace) -> None:
    sealed, paper = train(firm, wish(paper=("sheet.pdf", b"%PDF- signed by both")))
    assert dict(sealed.body) == {
        "person": "aster", "date": "2026-01-05", "route": "course", "trainer": "renner",
        "expires": None, "signed": 1,
    }  # fmt: skip
    said = json.loads(sealed.private or "")
    assert (said["name"], said["trainer_name"]) == ("Pell Aster", "Tobias Renner")
    assert said["topics"] == ["moving air", "first aid"]
    assert "Aster" not in sealed.text
    assert paper is not None
    assert (paper.kind, paper.refers) == (EntryKind.ATTACHMENT, sealed.seq)
    with firm.store.reading() as reader:
        assert reader.blob(paper.body["digest"]) == b"%PDF- signed by both"
    assert prove_whole(firm).ok


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"person": "nobody"}, "is not a person of this workspace"),
        ({"on": date(2026, 1, 17)}, "has not come yet"),
        ({"trainer": "", "title": " "}, "lacks --trainer and --title"),
        ({"trainer": "Pell Aster"}, "cannot train themselves"),
        ({"route": "by eye"}, "no way to be trained"),
        ({"route": ELSEWHERE}, "lacks --number and --expires and --authority"),
    ],
)
def test_a_training_that_says_too_little_is_refused_and_nothing_is_written(
    firm: Workspace, more: dict[str, object], said: str
) -> None:
    with firm.store.reading() as reader:
        before = reader.head
    with pytest.raises(WorkspaceProblem, match=said):
        train(firm, wish(**more))
    with firm.store.reading() as reader:
        assert reader.head == before


def test_a_training_holds_a_year_by_date_the_last_day_included(firm: Workspace) -> None:
    train(firm, wish(on=date(2025, 1, 14)))
    line_of(firm)
    assert [one for one in of_training(firm) if one.name.startswith("no-training")] == []
    line_of(firm, line="2", date="2026-01-15")
    (lack,) = [one for one in of_training(firm) if one.name.startswith("no-training")]
    # California: county slides, the regulation behind them was not read, so it only informs.
    assert lack.weight is Weight.ADVICE
    assert lack.text.startswith("unverified: aster had no training within 12 months before entry")
    assert "the newest before them was on 2025-01-14" in lack.text
    assert lack.rules[0].file == "jurisdictions/us-ca.toml"


def test_where_the_law_was_read_a_missing_training_is_a_breach(firm: Workspace) -> None:
    ours = {"state": "ID", "zip": "83702", "city": "Boise", "county": "Ada"}
    line_of(firm, **ours, line="1")
    assert not [one for one in of_training(firm) if one.weight is Weight.BREACH]
    line_of(firm, **ours, line="2", product="granite-powder", places="wall void",
            method="void", extent="6 voids", setting="indoor", pests="mice")  # fmt: skip
    (lack,) = [one for one in of_training(firm) if one.weight is Weight.BREACH]
    assert (lack.subject, lack.name) == ("person:aster", "no-training-trained-within-twelve-months")
    assert "IDAPA 02.03.03.400.01.c" in lack.text
    train(firm, wish())
    assert not [one for one in of_training(firm) if one.weight is Weight.BREACH]


def test_a_licence_held_elsewhere_ends_with_its_last_day(firm: Workspace) -> None:
    train(firm, wish(route=ELSEWHERE, number="N 7", expires=date(2026, 1, 14), authority="Nevada"))
    line_of(firm)
    assert not [one for one in of_training(firm) if one.name.startswith("no-training")]
    line_of(firm, line="2", date="2026-01-15")
    assert [one for one in of_training(firm) if one.name.startswith("no-training")]


def test_a_training_without_signatures_is_advice_until_it_is_recorded_signed(
    firm: Workspace,
) -> None:
    line_of(firm)
    train(firm, wish(signed=False))
    assert "training-unsigned" in [one.name for one in of_training(firm)]
    train(firm, wish())
    assert "training-unsigned" not in [one.name for one in of_training(firm)]


def test_who_is_certified_needs_no_training_and_no_signature(firm: Workspace) -> None:
    record_sheet(firm, "day.csv", sheet({}), "renner")
    assert of_training(firm) == []
    assert waiting(firm) == []


def test_the_clock_of_a_place_is_the_best_read_one(firm: Workspace) -> None:
    assert clock_at(firm.book, "us-id", DAY).name == "trained-within-twelve-months"
    assert clock_at(firm.book, "us-id", DAY).read.decides
    assert clock_at(firm.book, "us-ca", DAY).name in {"handler-training", "training-within-a-year"}
    assert not clock_at(firm.book, "us-ny", DAY).read.decides


# --- signing off -----------------------------------------------------------------------------


def test_only_the_licensed_supervisor_of_that_day_signs(firm: Workspace) -> None:
    seq = line_of(firm)
    for by, said in (
        ("aster", "does not supervise"), ("calloway", "its supervisor signs it off: renner"),
    ):  # fmt: skip
        with pytest.raises(WorkspaceProblem, match=said):
            sign_off(firm, [seq], by)
    (done,) = sign_off(firm, [seq], "renner", "seen on site")
    assert (done.kind, done.by, done.refers) == (EntryKind.SIGN_OFF, "renner", seq)
    assert dict(done.body) == {"entry": seq, "date": "2026-01-14", "person": "aster"}
    assert "seen on site" not in done.text
    with pytest.raises(WorkspaceProblem, match="signed off already"):
        sign_off(firm, [seq], "renner")
    assert waiting(firm) == []


def test_a_supervisor_whose_licence_had_lapsed_cannot_sign(firm: Workspace) -> None:
    seq = line_of(firm, supervisor="marsh")
    with pytest.raises(WorkspaceProblem, match="marsh was not certified"):
        sign_off(firm, [seq], "marsh")
    late = line_of(firm, line="2", supervisor="renner", state="ID", zip="83702", city="Boise",
                   county="Ada")  # fmt: skip
    with pytest.raises(WorkspaceProblem, match=r"renner was not certified .* in us-id"):
        sign_off(firm, [late], "renner")


def test_what_is_no_line_of_a_trainee_is_not_signed_off(firm: Workspace) -> None:
    own = record_sheet(firm, "own.csv", sheet({"line": "9"}), "renner").outcomes[0].seq
    assert own is not None
    with pytest.raises(WorkspaceProblem, match="renner, who was certified"):
        sign_off(firm, [own], "renner")
    with pytest.raises(WorkspaceProblem, match="is a ledger, no line"):
        sign_off(firm, [1], "renner")
    with pytest.raises(WorkspaceProblem, match="no trainee's line of 2026-01-14"):
        sign_off_day(firm, DAY, "renner")


def test_all_lines_or_none_are_signed(firm: Workspace) -> None:
    mine, other = (
        line_of(firm, line="1"),
        line_of(firm, line="2", supervisor="calloway", places="sill"),
    )
    with pytest.raises(WorkspaceProblem, match="calloway"):
        sign_off(firm, [mine, other], "renner")
    assert waiting(firm) == [mine, other]
    assert [item.refers for item in sign_off_day(firm, DAY, "renner")] == [mine]
    with pytest.raises(WorkspaceProblem, match="1 wait for calloway"):
        sign_off_day(firm, DAY, "renner")
    assert [item.refers for item in sign_off_day(firm, DAY, "calloway", "aster")] == [other]


def test_an_amended_line_is_signed_anew(firm: Workspace) -> None:
    seq = line_of(firm)
    sign_off(firm, [seq], "renner")
    changed = amend(firm, seq, {"amount": "0.3 oz"}, "weighed again", "renner")
    assert changed.entry is not None
    assert waiting(firm) == [changed.entry.seq]
    with pytest.raises(WorkspaceProblem, match=f"was replaced by entry {changed.entry.seq}"):
        sign_off(firm, [seq], "renner")


def test_unsigned_lines_show_in_the_audit_by_day_and_person(firm: Workspace) -> None:
    seqs = [line_of(firm, line="1"), line_of(firm, line="2", places="sill")]
    (found,) = [one for one in of_training(firm) if one.name == "not-signed-off"]
    assert f"entries {seqs[0]}, {seqs[1]}" in found.text
    assert "common practice, no source" in found.text
    assert found.way_out.endswith("sign-off 2026-01-14 --trainee aster --by renner")
    sign_off_day(firm, DAY, "renner")
    assert "not-signed-off" not in [one.name for one in of_training(firm)]


def test_work_without_any_supervisor_stands_under_licences(firm: Workspace) -> None:
    text = (firm.root / "useledger.toml").read_text(encoding="utf-8")
    assert text.count('supervisor = "renner"') == 2
    line_of(firm, supervisor="marsh")
    found = [one for one in audit(firm, Scope()).items if one.topic is Topic.LICENCES]
    assert [(one.weight, one.code) for one in found] == [(Weight.BREACH, "PEOPLE-LICENCE")]


# --- due, packet, commands -------------------------------------------------------------------


def test_due_lists_trainings_that_lapse_and_lines_to_sign(firm: Workspace) -> None:
    seq = line_of(firm)
    on = date(2026, 1, 20)
    (lacking,) = [item for item in what_is_due(firm, on) if item.sort is Sort.TRAINING]
    assert (lacking.day, lacking.late, lacking.sure) == (on, False, False)
    train(firm, wish(on=date(2025, 2, 1)))
    (lapsing,) = [item for item in what_is_due(firm, on) if item.sort is Sort.TRAINING]
    assert (lapsing.day, lapsing.late) == (date(2026, 2, 1), False)
    (unsigned,) = [item for item in what_is_due(firm, on) if item.sort is Sort.SIGN_OFF]
    assert (unsigned.day, unsigned.late) == (DAY, True)
    assert f"entry {seq}" in unsigned.what
    sign_off_day(firm, DAY, "renner")
    assert [item for item in what_is_due(firm, on) if item.sort is Sort.SIGN_OFF] == []
    late = [item for item in what_is_due(firm, date(2026, 2, 2)) if item.sort is Sort.TRAINING]
    assert [item.late for item in late] == [True]


def test_a_packet_holds_the_trainings_of_those_who_worked_and_the_signatures(
    firm: Workspace,
) -> None:
    seq = line_of(firm)
    trained, paper = train(firm, wish(on=date(2025, 12, 1), paper=("t.txt", b"signed")))
    train(firm, wish(person="marsh", on=date(2025, 12, 1)))
    (signed,) = sign_off(firm, [seq], "renner")
    packet = make_packet(firm, Selection(DAY, DAY))
    (made,) = [one for one in packet_sheets(packet, firm.book)
               if one.name == "training and supervision"]  # fmt: skip
    assert [(str(row[1]), row[2], row[3], row[4]) for row in made.rows] == [
        ("2025-12-01", "training (course)", "Pell Aster", "Tobias Renner"),
        ("2026-01-14", "signed off", "Pell Aster", "Tobias Renner"),
    ], "marsh did not work on that day"
    assert made.rows[0][5] == "Safe use of dusters: moving air; first aid"
    assert paper is not None
    assert made.rows[0][8] == f"attached/{paper.seq}-t.txt"
    assert packet.kept[f"attached/{paper.seq}-t.txt"] == b"signed"
    assert {trained.seq, signed.seq} <= {entry.seq for entry in packet.entries}
    assert "training" not in packet.others()
    with firm.store.reading() as reader:
        site = reader.entry(seq).body["site"]
    kinds = {entry.kind for entry in make_packet(firm, Selection(site=site)).entries}
    assert EntryKind.SIGN_OFF in kinds
    assert EntryKind.TRAINING not in kinds, "one address gives only its own records"


def test_standing_counts_only_what_has_happened_by_that_day(firm: Workspace) -> None:
    line_of(firm)
    train(firm, wish())
    with firm.store.reading() as reader:
        before = {one.person.key: one for one in standings(firm, reader, date(2026, 1, 4))}
        after = {one.person.key: one for one in standings(firm, reader, DAY)}
    assert (before["aster"].trained, before["aster"].waiting) == (None, ())
    assert (after["aster"].trained, after["aster"].until) == (TRAINED, date(2027, 1, 5))
    assert len(after["aster"].waiting) == 1
    assert "calloway" not in after


def test_the_commands(tmp_path) -> None:
    made = sample_workspace(tmp_path / "firm")
    line_of(made)
    made.store.close()
    root = made.root
    paper = tmp_path / "paper.pdf"
    paper.write_bytes(b"%PDF-1.7 a signed sheet")
    told = use("people", "--on", "2026-01-15", "--json", root=root)
    assert told.code == 0
    (aster,) = [one for one in told.json["training"] if one["key"] == "aster"]
    assert (aster["trained"], aster["holds"], len(aster["waiting"])) == (None, False, 1)
    words = ("--on", "2026-01-05", "--by", "calloway")
    lacking = use("people", "train", "aster", *words, root=root)
    assert lacking.code == 2
    assert "lacks --trainer and --title" in lacking.err
    done = use("people", "train", "aster", *words, "--trainer", "Tobias Renner", "--title", "Dusts",
               "--paper", paper, "--signed", "--json", root=root)  # fmt: skip
    assert done.code == 0
    assert done.json["trainer"] == "renner"
    assert done.json["attachment"] == done.json["entry"] + 1
    wrong = use("people", "sign-off", "2026-01-14", "--by", "calloway", root=root)
    assert wrong.code == 2
    assert "1 wait for renner" in wrong.err
    assert use("people", "sign-off", "2026-01-14", "17", "--by", "renner", root=root).code == 2
    signed = use("people", "sign-off", "2026-01-14", "--by", "renner", "--json", root=root)
    assert signed.code == 0
    assert signed.json[0]["person"] == "aster"
    shown = use("people", "--on", "2026-01-15", root=root)
    assert "Pell Aster: trained on 2026-01-05; it holds up to 2027-01-05" in " ".join(
        shown.out.split()
    )
    assert use("people", "list", "--on", "2026-01-15", root=root).out == shown.out
