"""The paper after the job: everything from sealed entries, in words, and sealed when given."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest
from click.testing import CliRunner

from ledger.cli import main
from ledger.flow.due import what_is_due
from ledger.flow.inspecting import prove_whole
from ledger.flow.noticing_after import after_notice
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import Workspace, WorkspaceProblem
from ledger.notice import Extra, Notice
from ledger.seal import seal_code
from ledger.values.sealed import EntryKind
from tests.day_sheets import sheet
from tests.workspaces import SetClock, record, sample_workspace

VISIT = (
    {"avoided": "refrigerator (moving air)"},
    {"product": "tarn-aerosol", "line": "2", "amount": "0.5 oz", "places": "wall void",
     "method": "void", "setting": "indoor", "avoided": "none present"},
)  # fmt: skip


@pytest.fixture
def firm(tmp_path) -> Workspace:
    clock = SetClock(datetime(2026, 1, 16, 2, 30, tzinfo=UTC))
    return sample_workspace(tmp_path / "firm", clock=clock)


def booked(firm: Workspace) -> list[int]:
    done = record_sheet(firm, "day.csv", sheet(*VISIT), "renner")
    assert done.count("booked") == 2, [o.line.faults for o in done.outcomes]
    return [outcome.seq or 0 for outcome in done.outcomes]


def said(notice: Notice) -> dict[str, tuple[str, ...]]:
    return {line.heading: line.texts for line in notice.lines}


def run(firm: Workspace, *words: str):
    return CliRunner().invoke(main, ["notice", *words, "--workspace", str(firm.root)])


def test_one_entry_stands_for_its_visit_and_everything_is_said(firm: Workspace) -> None:
    first, second = booked(firm)
    made = after_notice(firm, str(first), Extra())
    assert [entry.seq for entry in made.entries] == [first, second]
    lines = said(made.notice)
    used = lines["What was used, and where"]
    assert used[0] == (
        "Ridgeline Crevice Dust (99999-11): 0.25 oz, crack and crevice, at structure: door frame"
    )
    assert any("cyfluthrin 0.1 %" in text for text in lines["Active ingredients"])
    assert lines["Left alone on purpose"] == ("refrigerator (moving air)",)
    assert lines["Coming back in"]
    assert lines["When we come back"]
    assert "Tobias Renner, licence FR 90427" in lines["Who did the work"]
    assert "California" in lines["Whom to ask"][0]
    with firm.store.reading() as reader:
        codes = [seal_code(reader.entry(seq).seal) for seq in (first, second)]
    assert lines["On record as"] == tuple(
        f"entry {seq}, seal code {code}" for seq, code in zip((first, second), codes, strict=True)
    )
    assert any("1-800-222-1222" in text for text in made.notice.cautions)  # poisonhelp.hrsa.gov


def test_a_weighing_is_told_as_what_was_put_down(firm: Workspace) -> None:
    line = {"amount": "212.4 g - 191.9 g", "equipment": "duster-a"}
    (outcome,) = record_sheet(firm, "day.csv", sheet(line), "renner").outcomes
    assert outcome.seq, outcome.line.faults
    (used,) = said(after_notice(firm, str(outcome.seq), Extra()).notice)["What was used, and where"]
    assert "20.5 g by weighing" in used
    assert "212.4" not in used


def test_what_was_found_and_what_to_repair(firm: Workspace) -> None:
    record(firm, SEEN)
    with firm.store.reading() as reader:
        seen = list(reader.entries(kinds=(EntryKind.OBSERVATION,)))
        site, day = seen[0].body["site"], seen[0].body["date"]
        entry = next(e for e in reader.at_site(site) if e.body["date"] == day)
    found = said(after_notice(firm, str(entry.seq), Extra()).notice)
    text = json.loads(seen[0].private or "{}")
    assert any(
        text["condition"] in line and text["advice"] in line
        for line in found["What we found, and what to repair"]
    )


SEEN = "day-2026-01-14.xlsx"


def test_given_is_sealed_with_the_page_and_settles_what_is_due(firm: Workspace) -> None:
    first, second = booked(firm)
    out = firm.root / "paper.html"
    done = run(firm, "--after", str(first), "--given", "by e-mail", "--consent", "--by", "renner",
               "--out", str(out))  # fmt: skip
    assert done.exit_code in {0, 1}, done.output
    with firm.store.reading() as reader:
        (entry,) = reader.entries(kinds=(EntryKind.NOTICE,))
        assert reader.blob(entry.body["page"]) == out.read_bytes()
    body = entry.body
    assert (body["when"], body["state"], body["how"], body["consent"]) == (
        "after", "given", "by e-mail", 1,
    )  # fmt: skip
    assert body["entries"] == [first, second]
    assert "Okafor" not in entry.text  # a customer's name stands in the private part
    assert prove_whole(firm).ok
    assert not [item for item in what_is_due(firm) if "paper" in item.sort.text and item.late]
    page = out.read_text(encoding="utf-8")
    assert "<h1>What was used at your place</h1>" in page


def test_refused_and_waived_are_kept_too(firm: Workspace) -> None:
    first, _ = booked(firm)
    run(firm, "--after", str(first), "--refused", "at the door", "--by", "renner")
    run(firm, "--after", str(first), "--waived", "in writing", "--by", "renner")
    with firm.store.reading() as reader:
        states = [entry.body["state"] for entry in reader.entries(kinds=(EntryKind.NOTICE,))]
    assert states == ["refused", "waived"]


def test_one_page_to_print(firm: Workspace) -> None:
    pypdf = pytest.importorskip("pypdf")
    first, _ = booked(firm)
    out = firm.root / "paper.pdf"
    assert run(firm, "--after", str(first), "--out", str(out)).exit_code in {0, 1}
    pages = pypdf.PdfReader(out).pages
    assert len(pages) == 1
    assert "Ridgeline Crevice Dust" in pages[0].extract_text()


def test_what_cannot_be_meant_is_told(firm: Workspace) -> None:
    first, _ = booked(firm)
    assert run(firm, "--after", str(first), "--given", "so").exit_code == 2
    assert run(firm, "--after", "x", "--before").exit_code == 2
    assert run(firm).exit_code == 2
    both = ("--given", "so", "--waived", "so", "--by", "renner")
    assert run(firm, "--after", str(first), *both).exit_code == 2
    with pytest.raises(WorkspaceProblem, match="no work to write a paper about"):
        after_notice(firm, "1", Extra())
    with pytest.raises(WorkspaceProblem, match="no visit"):
        after_notice(firm, "no such visit", Extra())


def test_a_paper_by_e_mail_needs_the_agreement_that_the_law_asks_for(firm: Workspace) -> None:
    # ATCP 29.22: electronic information only where the customer consented in writing beforehand.
    wisconsin = {"state": "WI", "city": "Madison", "zip": "53703", "county": "Dane"}
    done = record_sheet(firm, "day.csv", sheet(wisconsin), "renner")
    seq = str(done.outcomes[0].seq)
    for how in ("by e-mail", "Email"):
        mailed = run(firm, "--after", seq, "--given", how, "--by", "renner")
        assert mailed.exit_code == 1
        assert "consented in writing beforehand" in " ".join(mailed.stderr.split())
        assert "ATCP 29.22" in mailed.stderr
    agreed = run(firm, "--after", seq, "--given", "by e-mail", "--consent", "--by", "renner")
    assert "consented in writing" not in " ".join(agreed.stderr.split())
    for option in ("--refused", "--waived"):
        other = run(firm, "--after", seq, option, "at the door, no e-mail", "--by", "renner")
        assert "consented in writing" not in " ".join(other.stderr.split())
    with firm.store.reading() as reader:
        notices = list(reader.entries(kinds=(EntryKind.NOTICE,)))
    assert [entry.body["consent"] for entry in notices] == [0, 0, 1, 0, 0]
    assert [entry.body["state"] for entry in notices[3:]] == ["refused", "waived"]
