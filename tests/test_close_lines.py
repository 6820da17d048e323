"""The lines of a day with what was found of them, each judgement read once, on both engines."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import pytest

from ledger.flow.closing import day_lines
from ledger.flow.judging import judgement_entry, latest_findings
from ledger.journal import Reader, Store
from ledger.values.finding import Finding, Kind
from tests.journal_data import use

JUDGES = ("0" * 64, "1")


def found(text: str) -> tuple[Finding, ...]:
    return (Finding(Kind.BREACH, "LABEL-RATE", "rate", text, "amount"),)


def days_with(store: Store, counts: Sequence[int]) -> None:
    """Book days of so many lines, each judged together, and one line of each judged again."""
    with store.writing() as writer:
        for day, count in enumerate(counts, start=1):
            head = writer.head
            uses = (use(n, date=f"2026-03-{day:02}", late=None) for n in range(count))
            lines = [writer.append(item) for item in uses]
            said = {line.seq: found(str(line.seq)) if line.seq % 2 else () for line in lines}
            writer.append(judgement_entry(JUDGES, head, said, "recorded"))
            again = {lines[-1].seq: found("again")}
            writer.append(judgement_entry(JUDGES, writer.head, again, "another was booked"))


def test_each_line_of_a_day_has_what_its_newest_judgement_says(store: Store) -> None:
    days_with(store, (4, 7))
    with store.reading() as reader:
        for day, count in ((1, 4), (2, 7)):
            lines = day_lines(reader, date(2026, 3, day), None)
            assert len(lines) == count
            assert all(line.findings == latest_findings(reader, line.seq) for line in lines)
            assert [line.findings for line in lines][-1] == found("again")
            assert any(line.findings == found(str(line.seq)) for line in lines)
            assert () in [line.findings for line in lines]


def test_a_day_of_many_lines_asks_no_more_questions_than_one_of_few(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    days_with(store, (3, 60))
    plain, asked = Reader.rows_of, list[str]()

    def counted(self: Reader, statement: str, values: Sequence[Any] = ()) -> Any:
        asked.append(statement)
        return plain(self, statement, values)

    with store.reading() as reader:
        monkeypatch.setattr(Reader, "rows_of", counted)
        few = len(day_lines(reader, date(2026, 3, 1), None)), len(asked)
        many = len(day_lines(reader, date(2026, 3, 2), None)), len(asked) - few[1]
    assert (few[0], many[0]) == (3, 60)
    assert many[1] <= few[1]
