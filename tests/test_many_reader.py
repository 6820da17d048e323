"""An audit that asks for many entries at once finds what one that asks for each finds."""

from __future__ import annotations

import os
from datetime import date

import pytest

from ledger.flow import audit_crew, audit_seeing
from ledger.flow.audit_crew import see
from ledger.flow.audit_records import look_at
from ledger.flow.audit_scope import Scope
from ledger.flow.audit_seeing import looked_at
from ledger.flow.auditing import audit
from ledger.flow.correcting import amend, strike
from ledger.flow.lines import BOOKED
from ledger.flow.places import SiteBook
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import Workspace
from ledger.journal import many
from ledger.journal.many import ManyReader
from ledger.values.sealed import EntryKind, Head
from tests.day_sheets import sheet
from tests.workspaces import sample_workspace


@pytest.fixture(scope="module")
def firm(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    """Return a ledger with visits to the same places, amendments, a strike and judgements anew."""
    made = sample_workspace(tmp_path_factory.mktemp("many") / "firm")
    for day in (12, 13, 14):
        lines = [
            {"line": str(number), "date": f"2026-01-{day}", "address": f"{number} Tollhouse Lane",
             "amount": "0.5 oz" if number % 3 else "9 oz"}
            for number in range(1, 7)
        ]  # fmt: skip
        record_sheet(made, f"{day}.csv", sheet(*lines), "renner")
    with made.store.reading() as reader:
        uses = [entry.seq for entry in reader.entries(kinds=(EntryKind.APPLICATION,))]
    amend(made, uses[0], {"amount": "0.25 oz"}, because="weighed again", by="renner")
    amend(made, uses[0], {"amount": "0.75 oz"}, because="and again", by="renner")
    strike(made, uses[7], because="not done", by="renner")
    return made


@pytest.mark.parametrize("at_once", [1, 3, 500])
def test_many_at_once_find_what_each_alone_finds(
    firm: Workspace, at_once: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(audit_seeing, "AT_ONCE", at_once)
    scope = Scope()
    with firm.store.reading() as reader:
        sites = SiteBook(reader)
        alone = [
            look_at(firm, reader, sites, entry)
            for entry in reader.entries(kinds=BOOKED, current_only=True)
        ]
        together = list(looked_at(firm, reader, scope))
    assert together == alone
    assert len(alone) == 17
    assert any(looked.items for looked in alone)
    assert max(len(looked.earlier) for looked in alone) == 3


def test_a_reader_that_forgets_everything_finds_the_same(
    firm: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = audit(firm, Scope())
    for name in ("SITES", "JUDGEMENTS", "BLOBS", "MADE"):
        monkeypatch.setattr(many, name, 1)
    assert audit(firm, Scope()) == before


def test_it_answers_what_a_plain_reader_answers(firm: Workspace) -> None:
    with firm.store.reading() as reader:
        records = list(reader.entries(kinds=BOOKED, current_only=True))
        told = ManyReader(reader)
        told.expect(records[:9])
        for entry in records:
            site = entry.body["site"]
            assert told.newest_judgement(entry.seq) == reader.newest_judgement(entry.seq)
            assert told.versions(entry.seq) == reader.versions(entry.seq)
            assert told.ever_at_site(site) == reader.ever_at_site(site)
            assert told.site(site) == reader.site(site)
            assert told.blob(entry.body["sheet"]) == reader.blob(entry.body["sheet"])
            newest = reader.judgements(entry.seq)[-1]
            assert told.newest_judgement(entry.seq) is not None
            assert (told.newest_judgement(entry.seq) or ("", ()))[0] == newest
        assert told.head == reader.head
        assert told.site("S9999") is None
        assert told.blob("0" * 64) is None


def test_what_is_kept_of_the_records_are_their_days(firm: Workspace) -> None:
    with firm.store.reading() as reader:
        seen = see(firm, reader, Scope(first=date(2026, 1, 13)))
    assert {day: len(seqs) for day, seqs in seen.days.items()} == {
        date(2026, 1, 13): 5, date(2026, 1, 14): 6,
    }  # fmt: skip
    assert seen.learners == []


# ------------------------------------------------------------------ other processes


@pytest.fixture
def many_parts(monkeypatch: pytest.MonkeyPatch) -> list[list[int]]:
    """Let three records be worth other processes, three at a time; return what is done here."""
    monkeypatch.setattr(audit_crew, "WORTH_IT", 3)
    monkeypatch.setattr(audit_seeing, "AT_ONCE", 3)
    here: list[list[int]] = []
    look = audit_seeing.Looking.see

    def noted(looking: audit_seeing.Looking, numbers: list[int]) -> audit_seeing.Seen:
        here.append(numbers)
        return look(looking, numbers)

    monkeypatch.setattr(audit_seeing.Looking, "see", noted)
    return here


def test_other_processes_see_the_same(firm: Workspace, many_parts: list[list[int]]) -> None:
    with firm.store.reading() as reader:
        alone = see(firm, reader, Scope(), jobs=1)
        assert len(many_parts) == 6
        many_parts.clear()
        together = see(firm, reader, Scope(), jobs=2)
    assert not many_parts
    assert together == alone
    assert together.items
    assert together.versions


def test_what_others_cannot_see_is_looked_at_here(
    firm: Workspace, many_parts: list[list[int]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another moment, a lost process: nothing is left out and nothing else is found."""
    with firm.store.reading() as reader:
        alone = see(firm, reader, Scope(), jobs=1)
        many_parts.clear()
        earlier = Head(reader.head.seq - 1, reader.head.seal)
        parts = [(made.entry % 2, [made.entry]) for made in alone.made]
        look = audit_seeing.Looking(firm, reader).see
        found = list(audit_crew.seen_by_others(firm, earlier, parts, (2, look)))
        assert many_parts == [numbers for _, numbers in parts]
        monkeypatch.setattr(audit_crew, "_see", os.abort)
        lost = see(firm, reader, Scope(), jobs=2)
    assert [made for part in found for made in part.made] == alone.made
    assert lost == alone
