"""Many rows at once into PostgreSQL: copied as they are, judged as every row is, all or nothing."""

from __future__ import annotations

import json
from typing import Any

import pytest

from ledger.journal import Store, StoreProblem, append
from ledger.journal.bulk import WORTH_IT
from ledger.journal.verify import verify
from ledger.values.sealed import EntryKind, NewEntry, Sealed
from tests.journal_data import use

pytestmark = [
    pytest.mark.postgres,
    pytest.mark.parametrize("database", ["postgres"], indirect=True),
]

COUNT = WORTH_IT + 10
STRANGE = ["a\\tb", "\\N", "\\.", 'quoted "so"', "Fußleiste 踢脚线", ""]


def write(store: Store, count: int, said: list[str]) -> list[Sealed]:
    with store.writing() as writer:
        private = json.dumps({"note": "two\nlines\tand a tab"})
        return [
            writer.append(
                NewEntry(EntryKind.APPLICATION, use(n, lot=said[n % len(said)]).body, private)
            )
            for n in range(count)
        ]


def test_copied_rows_are_those_that_were_sent(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    copied: list[str] = []
    real = append.copy_rows

    def seen(*what: Any) -> None:
        copied.append(what[1])
        real(*what)

    monkeypatch.setattr(append, "copy_rows", seen)
    sent = write(store, COUNT, STRANGE)
    assert copied == ["journal", "private"]
    write(store, WORTH_IT - 1, STRANGE)
    assert copied == ["journal", "private"]
    with store.reading() as reader:
        assert [*reader.entries(kinds=(EntryKind.APPLICATION,))][:COUNT] == sent
        found = verify(reader)
    assert found.ok
    assert found.checked == 1 + COUNT + WORTH_IT - 1


@pytest.mark.parametrize("broken", ["prev", "seq"])
def test_a_batch_with_one_row_that_does_not_follow_is_refused_whole(
    store: Store, broken: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(store, 3, STRANGE)
    real = append.columns_of

    def forged(line: dict[str, Any], seal: str, text: str) -> tuple[Any, ...]:
        row = list(real(line, seal, text))
        if line["seq"] == 30:
            place = append.COLUMNS.index(broken)
            row[place] = "0" * 64 if broken == "prev" else 300
        return tuple(row)

    monkeypatch.setattr(append, "columns_of", forged)
    with pytest.raises(StoreProblem, match="does not follow the last one"):
        write(store, COUNT, STRANGE)
    with store.reading() as reader:
        assert reader.head.seq == 4
