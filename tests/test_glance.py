"""What the journal's columns say of the work, on both engines, against the lines themselves."""

from __future__ import annotations

from datetime import date
from typing import Any

from ledger.journal import Store
from ledger.journal.glance import (
    found_of_kind,
    products_used,
    unclosed_days,
    uses_of,
    uses_saying,
    years_worked,
)
from ledger.values.sealed import EntryKind, NewEntry
from tests.journal_data import amended, strike, use

FIRST, LAST = date(2025, 1, 1), date(2026, 12, 31)


def finding(kind: str) -> dict[str, Any]:
    return {"kind": kind, "text": 'it says "kind":"missing"'}


def test_days_are_open_until_a_close_of_theirs_names_every_current_line(store: Store) -> None:
    with store.writing() as writer:
        one = writer.append(use(1, date="2026-01-14"))
        two = writer.append(use(2, date="2026-01-14"))
        writer.append(use(3, date="2026-01-15", carried=1))
        other = writer.append(use(4, date="2026-02-01"))

        def close(day: str, *entries: int) -> list[date]:
            body = {"date": day, "entries": list(entries)}
            writer.append(NewEntry(EntryKind.CLOSE, body, by="R. Alder"))
            return list(unclosed_days(writer, FIRST, LAST))

        days = [date(2026, 1, 14), date(2026, 2, 1)]
        assert list(unclosed_days(writer, FIRST, LAST)) == days
        assert close("2026-01-13", one.seq, two.seq) == days  # of another day
        assert close("2026-01-14", one.seq) == days
        assert close("2026-01-14", two.seq) == days[1:]
        assert close("2026-02-01", other.seq) == []
        newer = writer.append(amended(two))
        assert list(unclosed_days(writer, FIRST, LAST)) == days[:1]
        assert list(unclosed_days(writer, FIRST, date(2026, 1, 13))) == []
        writer.append(strike(newer))
        assert list(unclosed_days(writer, FIRST, LAST)) == []


def test_years_and_products_are_those_of_current_lines(store: Store) -> None:
    with store.writing() as writer:
        gone = writer.append(use(0, date="2024-03-01", product_key="gone"))
        writer.append(strike(gone))
        writer.append(use(1, date="2026-03-09"))
        writer.append(use(4, date="2025-11-02"))
        writer.append(use(2, date="2026-05-01", label=None, site_kind="school"))
        writer.append(use(5, date="2026-05-01", jurisdiction="us-az", site_kind="School"))
    with store.reading() as reader:
        assert years_worked(reader) == {"us-ca": {2025, 2026}, "us-az": {2026}}
        assert sorted(products_used(reader)) == [
            ("us-az", "99901-3", date(2026, 5, 1), True),
            ("us-ca", "99901-2", date(2025, 11, 1), True),
            ("us-ca", "99901-3", date(2026, 5, 1), False),
        ]
        assert [e.body["date"] for e in uses_of(reader, ["99901-2"])] == [
            "2026-03-09",
            "2025-11-02",
        ]
        said = uses_saying(reader, "site_kind", ["school", "house"], {"date_from": FIRST})
        assert [e.body["jurisdiction"] for e in said] == ["us-ca"]
        assert list(uses_saying(reader, "site_kind", [], {})) == []


def test_what_is_missing_is_what_the_newest_judgement_says(store: Store) -> None:
    with store.writing() as writer:
        seqs = [writer.append(use(number)).seq for number in range(4)]

        def judge(first: int, last: int, **said: str) -> None:
            found = [
                {"seq": int(seq[1:]), "findings": [finding("advice"), finding(kind)]}
                for seq, kind in said.items()
            ]
            body = {"first": first, "last": last, "findings": found}
            writer.append(NewEntry(EntryKind.JUDGEMENT, body))

        names = [f"s{seq}" for seq in seqs]
        judge(seqs[0], seqs[3], **dict(zip(names, ("missing", "missing", "breach"), strict=False)))
        assert sorted(found_of_kind(writer, "missing")) == seqs[:2]
        judge(seqs[0], seqs[0])
        judge(seqs[3], seqs[3], **{names[3]: "missing"})
        found = found_of_kind(writer, "missing")
    assert sorted(found) == [seqs[1], seqs[3]]
    assert [item["kind"] for item in found[seqs[3]]] == ["advice", "missing"]
