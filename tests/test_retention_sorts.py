"""Years of keeping speak of sorts of record: a training file's say nothing about records of use."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from ledger.checks.retention import rules_about
from ledger.flow.disposing import kept_all, plan_disposal
from ledger.flow.kept_papers import trainings
from ledger.flow.recording import record_sheet
from ledger.flow.training import TrainingWish, train
from ledger.flow.workspace import Workspace, read_rules
from ledger.rulebook.grammar import RECORDS
from ledger.rulebook.model import RuleFile
from ledger.rulebook.telling import tell
from tests.cli_use import use
from tests.day_sheets import sheet
from tests.workspaces import SetClock, sample_workspace

BOISE = {"state": "ID", "zip": "83702", "city": "Boise", "county": "Ada"}

ABOUT = [
    # IDAPA 02.03.03.400.01.c, read in the regulation text: the training record is kept 3 years;
    # IDAPA 02.03.03.101, in force from 1 July 2024: records of use 2 years.
    ("us-id", "training-file", ("training",)),
    ("us-id", "two-years", ("application",)),
    # Utah Admin. Code R68-7-16: the training record until 2 years after employment ends.
    ("us-ut", "training-file", ("training",)),
    ("us-ut", "two-years", ("application",)),
    # ECL 33-1205 and 6 NYCRR 325.25: records by calendar year and the filed report, 3 years.
    ("us-ny", "records-and-report", ("application", "report")),
    # Fla. Stat. 482.226(1): inspection reports 3 years.
    ("us-fl", "inspection-three", ("inspection",)),
    # 16 CCR 1970.4: the signed notice of a fumigation, 3 years by both contractors.
    ("us-ca", "fumigation-notice", ("notice",)),
    # Business and Professions Code 8652: reports, contracts, notices, other non-financial records.
    ("us-ca", "business-records",
     ("application", "inspection", "notice", "report", "incident", "contract")),
    # Maryland: the record duty also covers pest identifications and recommendations; 2 years.
    ("us-md", "two-years", ("application", "inspection")),
]  # fmt: skip


BOOK = read_rules(None, whole=True)


def law(place: str) -> RuleFile:
    found = BOOK.jurisdiction(place)
    assert found is not None
    return found


@pytest.mark.parametrize(("place", "name", "about"), ABOUT)
def test_what_a_law_says_its_years_are_of(place: str, name: str, about: tuple[str, ...]) -> None:
    assert [item.about for item in law(place).retentions if item.name == name] == [about]


def test_every_place_that_gives_years_gives_them_for_records_of_use() -> None:
    for file in BOOK.jurisdictions:
        for item in file.retentions:
            assert set(item.about) <= set(RECORDS)
        assert not file.retentions or rules_about(file.retentions, "application"), file.id


def test_what_the_years_are_of_is_shown() -> None:
    told = "\n".join(tell(law("us-id")))
    assert "of the sort training: training records of noncertified users" in told


@pytest.fixture
def firm(tmp_path: Path) -> Workspace:
    clock = SetClock(datetime(2026, 1, 16, 2, 30, tzinfo=UTC))
    made = sample_workspace(tmp_path / "firm", clock=clock)
    line = {**BOISE, "extent": "8 voids", "wind": "2 mph NW"}
    assert record_sheet(made, "a.csv", sheet(line), "renner").count("booked") == 1
    train(made, TrainingWish(
        "aster", date(2026, 1, 5), "calloway", trainer="renner", title="Dusters", signed=True,
    ))  # fmt: skip
    return made


def test_idahos_training_years_keep_the_training_and_not_the_record_of_use(firm: Workspace) -> None:
    with firm.store.reading() as reader:
        kept = {item.what: item.until for item in kept_all(firm, reader)}
        (training,) = trainings(firm, reader)
    assert (kept["application"].day, kept["application"].rule) == (date(2028, 1, 14), "two-years")
    assert (training.until.day, training.until.rule) == (date(2029, 1, 16), "training-file")
    assert training.until.counted_from == "record made"


def test_a_notice_is_kept_by_its_own_sort_as_well_as_by_that_of_the_records(
    tmp_path: Path,
) -> None:
    # California: 16 CCR 1970.4 speaks of a fumigation's signed notice, 8652 of notices in general.
    clock = SetClock(datetime(2026, 1, 16, 2, 30, tzinfo=UTC))
    made = sample_workspace(tmp_path / "firm", clock=clock)
    seq = record_sheet(made, "b.csv", sheet({}), "renner").outcomes[0].seq
    done = use("notice", "--after", str(seq), "--given", "left at the door", "--by", "renner",
               root=made.root)  # fmt: skip
    assert done.code == 0, done.err
    with made.store.reading() as reader:
        kept = {item.what: item.until for item in kept_all(made, reader)}
    assert kept["notice"].day is not None
    assert kept["notice"].day >= date(2029, 1, 14)
    assert kept["notice"].counted_from == "completion of the work"


def test_keep_tells_until_when_a_training_is_kept_and_no_disposal_takes_it(firm: Workspace) -> None:
    told = json.loads(use("keep", "--json", root=firm.root).out)
    (one,) = [row for row in told if row["what"] == "training"]
    assert (one["until"], one["rule"]) == ("2029-01-16", "training-file")
    with firm.store.reading() as reader:
        plan = plan_disposal(firm, reader, date(2040, 1, 1))
    assert plan.entries
    assert one["record"] not in plan.entries
