"""Appending and reading, the same cases on SQLite and PostgreSQL."""

from __future__ import annotations

import json
import random
import sqlite3
from collections import defaultdict
from dataclasses import replace
from datetime import date, datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from ledger.journal import Store, StoreProblem, create, open_store
from ledger.journal.link import FileConnection
from ledger.journal.tables import ALWAYS_THERE, TABLES
from ledger.journal.verify import verify
from ledger.seal import salted, seal_of
from ledger.values.sealed import EntryKind, Head, NewEntry, Sealed
from tests.journal_data import (
    FIRM,
    TickingClock,
    amended,
    counted_salts,
    held,
    site,
    small_ledger,
    strike,
    use,
)

GOLDEN = Path(__file__).parents[1] / "fixtures" / "golden"
TOOLS: dict[str, Any] = {"clock": TickingClock(), "salts": counted_salts()}


def write(store: Store, *entries: NewEntry) -> list[Sealed]:
    with store.writing() as writer:
        return [writer.append(entry) for entry in entries]


def seqs(entries: Any) -> list[int]:
    return [entry.seq for entry in entries]


def test_a_new_ledger_names_its_firm(store: Store) -> None:
    with store.reading() as reader:
        first = reader.entry(1)
        assert (first.kind, first.body, first.prev) == (EntryKind.LEDGER, {"firm": FIRM}, "")
        assert reader.head == Head(1, first.seal)
        assert len(reader.ledger_id) == 32
        assert first.at == "2026-01-14T17:05:10.120020Z"
        with pytest.raises(KeyError):
            reader.entry(2)


def test_the_export_is_the_same_on_every_engine(store: Store) -> None:
    """The golden export was written with form 1 and must not change."""
    small_ledger(store)
    with store.reading() as reader:
        lines = b"".join(text + b"\n" for text in reader.texts_since(0))
    assert lines == (GOLDEN / "ledger.jsonl").read_bytes()


def test_an_entry_is_read_back_as_it_was_appended(store: Store) -> None:
    entries = small_ledger(store)
    with store.reading() as reader:
        for entry in entries:
            assert reader.entry(entry.seq) == entry
            assert seal_of(entry.text.encode()) == entry.seal
        assert [entry.prev for entry in entries[1:]] == [entry.seal for entry in entries[:-1]]


def test_a_private_text_stands_in_the_line_as_a_digest_only(store: Store) -> None:
    salts = counted_salts()
    salts()  # the ledger's id took the first
    (sealed,) = write(store, use(1))
    assert sealed.private is not None
    assert "Customer 1" in sealed.private
    assert "Customer 1" not in sealed.text
    assert json.loads(sealed.text)["private"] == salted(sealed.private, salts())


def test_a_failed_transaction_leaves_nothing(store: Store) -> None:
    with pytest.raises(ZeroDivisionError), store.writing() as writer:  # noqa: PT012 - all of it
        writer.append(use(1))
        writer.keep("sheet", b"x")
        writer.flush()
        raise ZeroDivisionError
    with store.reading() as reader:
        assert reader.head.seq == 1
        assert list(reader.blobs()) == []


def test_text_that_cannot_be_sealed_is_made_plain(store: Store) -> None:
    (sealed,) = write(store, NewEntry(EntryKind.NOTE, {"name": "da\u0301y\n\x00.csv"}, "a\nb"))
    assert sealed.body == {"name": "d\u00e1y\u240a\u2400.csv"}
    assert sealed.private == "a\u240ab"
    with store.reading() as reader:
        assert reader.entry(2) == sealed


@pytest.mark.parametrize(
    "bad",
    [
        NewEntry(EntryKind.NOTE, {"x": 0.1}), NewEntry(EntryKind.NOTE, {"x": True}),
        NewEntry(EntryKind.NOTE, {}, refers=5), NewEntry(EntryKind.STRIKE, {}, replaces=2),
    ],
)  # fmt: skip
def test_what_cannot_be_sealed_is_a_fault_of_the_program(store: Store, bad: NewEntry) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - four different messages
        write(store, bad)


def test_a_record_has_one_newest_version(store: Store) -> None:
    (first,) = write(store, use(1))
    (second,) = write(store, amended(first, county="Nevada"))
    with pytest.raises(ValueError, match="replaced by 3 already"):
        write(store, strike(first))
    (third,) = write(store, strike(second))
    with store.reading() as reader:
        for seq in (2, 3, 4):
            assert seqs(reader.versions(seq)) == [2, 3, 4]
            assert reader.newest_version(seq) == third
        assert reader.at_site("S0002") == ()
        assert seqs(reader.entries(current_only=True)) == [1, 4]


def test_entries_are_found_by_what_they_are_about(store: Store) -> None:
    write(store, site(1), *(use(number) for number in range(12)))
    write(store, use(300, county="Plumas", jurisdiction="us-zz", applicator="B. Sorrel"))
    with store.reading() as reader:
        everything = list(reader.entries())
        asked: list[tuple[dict[str, Any], Any]] = [
            ({"date_from": "2026-01-15"}, lambda e: e.body.get("date", "") >= "2026-01-15"),
            ({"date_from": date(2026, 1, 1), "date_to": date(2026, 1, 14)},
             lambda e: "2026-01-01" <= e.body.get("date", "") <= "2026-01-14"),
            ({"site": "S0001"}, lambda e: e.body.get("site") == "S0001"),
            ({"product_key": "99901-2"}, lambda e: e.body.get("product_key") == "99901-2"),
            ({"applicator": "B. Sorrel"}, lambda e: e.body.get("applicator") == "B. Sorrel"),
            ({"county": "Nevada"}, lambda e: e.body.get("county") == "Nevada"),
            ({"jurisdiction": "us-zz"}, lambda e: e.body.get("jurisdiction") == "us-zz"),
            ({"kinds": (EntryKind.SITE,)}, lambda e: e.kind == "site"),
            ({"since_seq": 9, "county": None}, lambda e: e.seq > 9),
            ({"site": "S0001", "county": "Placer", "kinds": [EntryKind.APPLICATION]},
             lambda e: e.kind == "application" and e.body["site"] == "S0001"
             and e.body["county"] == "Placer"),
        ]  # fmt: skip
        for filters, wanted in asked:
            found = list(reader.entries(**filters))
            assert found
            assert found == [entry for entry in everything if wanted(entry)], filters
        with pytest.raises(TypeError, match="colour"):
            list(reader.entries(colour="red"))


def test_lines_are_found_by_identity_and_own_number(store: Store) -> None:
    first, other = write(store, use(1), use(2))
    (again,) = write(store, amended(first))
    (waiting,) = write(store, replace(held(1), body={**held(1).body, "identity": "held1"}))
    with store.reading() as reader:
        assert reader.by_identity(first.body["identity"]) == (first, again)
        assert reader.by_identity("held1") == (waiting,)
        assert reader.by_own(other.body["own"]) == (other,)
        assert reader.by_identity("nothing") == ()


def test_a_held_line_is_open_until_it_is_cleared_dropped_or_replaced(store: Store) -> None:
    lines = write(store, *(held(number) for number in range(4)))
    with store.reading() as reader:
        assert reader.held_open() == tuple(lines)
    write(
        store, use(1, clears=lines[0].seq),
        NewEntry(EntryKind.DROPPED, {}, refers=lines[1].seq),
        replace(held(9), replaces=lines[2].seq),
        NewEntry(EntryKind.NOTE, {}, refers=lines[3].seq),
    )  # fmt: skip
    with store.reading() as reader:
        assert seqs(reader.held_open()) == [lines[3].seq, 8]
        assert [entry.kind for entry in reader.referring(lines[1].seq)] == [EntryKind.DROPPED]


def test_judgements_are_found_for_every_entry_they_cover(store: Store) -> None:
    write(store, *(use(number) for number in range(6)))  # entries 2 to 7
    spans = [(2, 4), (3, 3), (5, 7), (2, 7), (4, 4)]
    said = write(store, *(NewEntry(EntryKind.JUDGEMENT, {"first": a, "last": b}) for a, b in spans))
    with store.writing() as writer:
        assert seqs(writer.judgements(3)) == seqs((said[0], said[1], said[3]))
        late = writer.append(NewEntry(EntryKind.JUDGEMENT, {"first": 1, "last": 12}))
        for seq in range(2, 8):
            wanted = [one.seq for one, (a, b) in zip(said, spans, strict=True) if a <= seq <= b]
            assert seqs(writer.judgements(seq)) == [*wanted, late.seq]


def test_sites_are_found_in_their_newest_form(store: Store) -> None:
    write(store, site(1), site(2), site(3, zip5=""), site(4, zip5="95603"))
    (moved,) = write(store, site(2, zip5="95603"))
    with store.reading() as reader:
        assert seqs(reader.sites_in("95602")) == [2]
        assert seqs(reader.sites_in("95603")) == [5, 6]
        assert seqs(reader.sites_in("")) == [4]
        assert reader.site("S0002") == moved
        assert reader.site("S0009") is None
        assert seqs(reader.sites()) == [2, 4, 5, 6]
        assert reader.count_sites() == 4


def test_days_and_filings_are_found(store: Store) -> None:
    entries = small_ledger(store)
    closes = [entry for entry in entries if entry.kind is EntryKind.CLOSE]
    with store.reading() as reader:
        assert reader.closes() == tuple(closes)
        assert reader.closes("2026-01-14") == (closes[0],)
        assert reader.closes(date(2026, 1, 15)) == (closes[1],)
        assert [entry.kind for entry in reader.filings()] == [EntryKind.FILING]
        assert reader.first_day("us-ca") == date(2026, 1, 14)
        assert reader.first_day("us-zz") is None


def test_the_first_day_skips_what_was_struck(store: Store) -> None:
    early, _late = write(store, use(1, date="2024-12-30"), use(2, date="2026-02-03"))
    with store.reading() as reader:
        assert reader.first_day("us-ca") == date(2024, 12, 30)
    write(store, strike(early))
    with store.reading() as reader:
        assert reader.first_day("us-ca") == date(2026, 2, 3)


def test_bytes_are_kept_once_as_they_came(store: Store) -> None:
    data = bytes(range(256))
    with store.writing() as writer:
        digest = writer.keep("sheet", data)
        assert writer.keep("sheet", data) == digest
    with store.writing() as writer:
        assert writer.keep("sheet", data) == digest
        assert writer.blob(digest) == data
        assert writer.blob("0" * 64) is None
        assert [(found, kind) for found, kind, _ in writer.blobs()] == [(digest, "sheet")]


def test_a_month_adds_up_exactly(store: Store) -> None:
    """Compared with sums of fractions over the current entries, in shuffled order of entry."""
    chance = random.Random(14)
    units = [("oz", 10), ("oz", 4), ("fl oz", 1_000_000_000)]
    uses = []
    for number in range(240):
        unit, denominator = chance.choice(units)
        used = {"numerator": chance.randrange(1, 2**53), "denominator": denominator, "unit": unit}
        day = f"2026-0{chance.randrange(1, 4)}-{chance.randrange(1, 29):02d}"
        uses.append(use(number, used=used, date=day, visit=f"v{chance.randrange(40)}"))
    sealed = write(store, *uses)
    write(store, *(amended(entry, county="Plumas") for entry in sealed[:20]))
    write(store, *(strike(entry) for entry in sealed[20:40]))
    expected: dict[Any, list[Any]] = defaultdict(lambda: [Fraction(0), 0, set()])
    with store.reading() as reader:
        for entry in reader.entries(
            (EntryKind.APPLICATION, EntryKind.AMENDMENT), current_only=True
        ):
            body = entry.body
            if not body["date"].startswith("2026-02"):
                continue
            used = body["used"]
            key = (body["county"], body["product_key"], body["label"][:16], body["site_code"],
                   used["unit"], used["denominator"])  # fmt: skip
            total = expected[key]
            total[0] += Fraction(used["numerator"], used["denominator"])
            total[1] += 1
            total[2].add(body["visit"])
        groups = reader.month("us-ca", 202602)
        wanted = {key: (value[0], value[1], len(value[2])) for key, value in expected.items()}
        assert {
            (g.county, g.product_key, g.label, g.site_code, g.unit, g.denominator): (
                g.amount, g.lines, g.visits,
            )
            for g in groups
        } == wanted  # fmt: skip
        one = reader.month("us-ca", 202602, "Plumas")
        assert one == tuple(group for group in groups if group.county == "Plumas")
        assert one
        assert reader.month("us-zz", 202602) == ()
        _, counted = reader.month_use("us-ca", 202602)
        visits = {(count.county, count.product_key): count.visits for count in counted}
        distinct: dict[Any, set[str]] = defaultdict(set)
        for key, value in expected.items():
            distinct[key[:2]] |= value[2]
        assert visits == {key: len(value) for key, value in distinct.items()}


def test_sums_have_no_largest_value(store: Store) -> None:
    largest = {"numerator": 2**53 - 1, "denominator": 1, "unit": "oz"}
    common = {"used": largest, "county": "Placer", "product_key": "p", "label": "a" * 64}
    write(store, *(use(number, visit=f"v{number}", **common) for number in range(1100)))
    with store.reading() as reader:
        (group,) = reader.month("us-ca", 202601)
    assert group.numerator == 1100 * (2**53 - 1) > 2**63


def test_a_writer_reads_what_it_has_just_appended(store: Store) -> None:
    with store.writing() as writer:
        first = writer.append(use(1))
        assert writer.head == Head(2, first.seal)
        assert writer.by_identity(first.body["identity"]) == (first,)
        second = writer.append(amended(first))
        assert writer.at_site("S0002") == (second,)
        assert list(writer.entries(since_seq=1)) == [first, second]
        assert list(writer.texts_since(2)) == [second.text.encode()]


@pytest.mark.postgres
@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_a_reader_sees_one_moment(store: Store) -> None:
    """On SQLite in rollback mode a writer waits for the reader instead."""
    with store.reading() as reader:
        before = reader.head
        write(store, use(1))
        assert reader.head == before
    with store.reading() as reader:
        assert reader.head.seq == 2


def test_the_clock_must_know_its_zone(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store, "_clock", lambda: datetime(2026, 1, 14))  # noqa: DTZ001 - on purpose
    with pytest.raises(ValueError, match="time zone"):
        write(store, use(1))


@pytest.mark.parametrize("column", ["text", "seal", "county", "numerator"])
def test_what_the_database_changes_on_the_way_is_never_acknowledged(
    store: Store, column: str
) -> None:
    """A trigger stands for whatever may change a value between the program and the disk."""
    value = "7" if column == "numerator" else f"'{'0' * 64}'"
    with store.begun(write=True) as connection:
        if store.engine.dialect.name == "sqlite":
            connection.exec_driver_sql("DROP TRIGGER journal_no_update")
            connection.exec_driver_sql(
                "CREATE TRIGGER meddler AFTER INSERT ON journal BEGIN"
                f" UPDATE journal SET {column} = {value} WHERE seq = NEW.seq; END"
            )
        else:
            connection.exec_driver_sql(
                "CREATE FUNCTION meddle() RETURNS trigger LANGUAGE plpgsql AS"
                f" $$BEGIN NEW.{column} := {value}; RETURN NEW; END$$"
            )
            connection.exec_driver_sql(
                "CREATE TRIGGER meddler BEFORE INSERT ON journal FOR EACH ROW"
                " EXECUTE FUNCTION meddle()"
            )
    with pytest.raises(StoreProblem, match="unlike what was sent"):
        write(store, use(1))
    with store.reading() as reader:
        assert reader.head.seq == 1


def test_a_failing_commit_means_not_recorded(
    sqlite_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_self: FileConnection) -> None:
        raise sqlite3.OperationalError("database or disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(FileConnection, "commit", full)
        with pytest.raises(StoreProblem, match="nothing was recorded"):
            write(sqlite_store, use(1))
    with sqlite_store.reading() as reader:
        assert reader.head.seq == 1
    write(sqlite_store, use(1))
    with sqlite_store.reading() as reader:
        assert verify(reader).ok


def test_the_tables_are_those_the_program_asks(store: Store) -> None:
    from sqlalchemy import inspect

    with store.engine.connect() as connection:
        there = inspect(connection)
        names = set(there.get_table_names()) - {"alembic_version"}
        assert names == set(TABLES)
        for table, named in TABLES.items():
            columns = there.get_columns(table)
            assert tuple(c["name"] for c in columns) == named
            always = ALWAYS_THERE if table == "journal" else len(named)
            assert [c["nullable"] for c in columns] == [n >= always for n in range(len(named))]
        assert len(TABLES["journal"]) == 30


def test_a_second_ledger_is_not_made_over_the_first(store: Store, database: str) -> None:
    with pytest.raises(StoreProblem, match=r"exists already|holds a ledger already"):
        create(database, firm="Another", **TOOLS)
    again = open_store(database, **TOOLS)
    with again.reading() as reader:
        assert reader.entry(1).body == {"firm": FIRM}
    again.close()


@pytest.mark.parametrize("url", ["mysql://x/y", "nonsense", "sqlite://", "sqlite:///:memory:"])
def test_a_database_that_cannot_hold_a_ledger_says_so(url: str) -> None:
    with pytest.raises(StoreProblem) as problem:
        open_store(url, **TOOLS)
    assert problem.value.way_out


def test_what_is_no_ledger_is_not_opened(tmp_path: Path) -> None:
    file = tmp_path / "ledger.db"
    with pytest.raises(StoreProblem, match="no ledger at"):
        open_store(f"sqlite:///{file}", **TOOLS)
    assert not file.exists()
    file.write_bytes(b"PK\x03\x04 a workbook, say" * 99)
    with pytest.raises(StoreProblem, match="is not a ledger"):
        open_store(f"sqlite:///{file}", **TOOLS)
    file.write_bytes(b"")
    with pytest.raises(StoreProblem, match="is not a ledger"):
        open_store(f"sqlite:///{file}", **TOOLS)
    with pytest.raises(StoreProblem, match="no folder"):
        create(f"sqlite:///{tmp_path / 'gone' / 'x.db'}", firm=FIRM, **TOOLS)


def test_a_ledger_that_cannot_be_made_leaves_no_file(tmp_path: Path) -> None:
    def no_salt() -> bytes:
        raise OSError("no randomness")

    with pytest.raises(OSError, match="randomness"):
        create(f"sqlite:///{tmp_path / 'x.db'}", firm=FIRM, clock=TickingClock(), salts=no_salt)
    assert list(tmp_path.iterdir()) == []
