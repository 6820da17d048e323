"""What verify sees: every attack here is carried out on a real ledger whose guard was removed."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from ledger.journal import Reader, Store, create, guard
from ledger.journal.address import parse_url
from ledger.journal.backup import backup
from ledger.journal.columns import COLUMNS, columns_of
from ledger.journal.verify import Verification, verify
from ledger.seal import encode, seal_code, seal_of
from tests.journal_data import FIRM, TickingClock, counted_salts, small_ledger, use

TRIGGERS = "SELECT name FROM sqlite_master WHERE type = 'trigger'"


class Attacker:
    """Somebody who owns the database and has switched the guard off."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.sqlite = store.engine.dialect.name == "sqlite"

    def run(self, *statements: str | tuple[str, tuple[Any, ...]]) -> None:
        with self.store.engine.begin() as connection:
            if self.sqlite:
                for (name,) in connection.exec_driver_sql(TRIGGERS).all():
                    connection.exec_driver_sql(f"DROP TRIGGER {name}")
                connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")
            else:
                for table in guard.KEYS:
                    connection.exec_driver_sql(f"ALTER TABLE {table} DISABLE TRIGGER ALL")
            for statement in statements:
                text, values = statement if isinstance(statement, tuple) else (statement, ())
                if not self.sqlite:
                    text = text.replace("?", "%s")
                connection.exec_driver_sql(text, values)
            if not self.sqlite:
                for table in guard.KEYS:
                    connection.exec_driver_sql(f"ALTER TABLE {table} ENABLE TRIGGER ALL")
            guard.install(connection)

    def lines(self) -> list[dict[str, Any]]:
        with self.store.reading() as reader:
            return [json.loads(text) for text in reader.texts_since(0)]

    def rewrite(self, lines: list[dict[str, Any]], start: int) -> None:
        """Write these lines over the journal from ``start`` on, with a chain rebuilt to fit."""
        statements: list[Any] = [f"DELETE FROM journal WHERE seq >= {start}"]
        prev = lines[start - 2]
        seal = seal_of(encode(prev))
        for line in lines[start - 1 :]:
            line["prev"] = seal
            data = encode(line)
            seal = seal_of(data)
            marks = ", ".join("?" for _ in COLUMNS)
            row = columns_of(line, seal, data.decode())
            statements.append((f"INSERT INTO journal VALUES ({marks})", row))
        self.run(*statements)


def prove(store: Store, *codes: str) -> Verification:
    with store.reading() as reader:
        return verify(reader, codes)


def found(proof: Verification) -> list[tuple[str, int | None]]:
    return [(fault.code, fault.origin.row) for fault in proof.problems]


@pytest.fixture
def attacker(store: Store) -> Attacker:
    small_ledger(store)
    assert prove(store).ok
    return Attacker(store)


def test_a_whole_ledger_is_proved_and_counted(store: Store) -> None:
    entries = small_ledger(store)
    middle, last = seal_code(entries[6].seal), entries[-1].seal
    proof = prove(store, last, middle)
    assert proof.ok
    assert (proof.checked, proof.privates, proof.blobs, proof.closes) == (17, 10, 3, 2)
    assert (proof.head.seq, proof.head.seal) == (17, last)
    assert [(w.given, w.seq) for w in proof.witnesses] == [(middle, entries[6].seq), (last, 17)]
    assert proof.newest_witness is not None
    assert proof.newest_witness.at == entries[-1].at
    assert prove(store).newest_witness is None


def test_a_ledger_without_entries_is_not_proved(sqlite_store: Store) -> None:
    Attacker(sqlite_store).run("DELETE FROM journal")
    proof = prove(sqlite_store)
    assert not proof.ok
    assert (proof.checked, found(proof)) == (0, [("VERIFY-EMPTY", None)])


SALT_CHANGED = "UPDATE private SET salt = (SELECT salt FROM private WHERE seq = 7) WHERE seq = 8"
TEXT_ADDED = "INSERT INTO private SELECT 3, salt, text FROM private WHERE seq = 7"

ATTACKS: list[tuple[str, tuple[Any, ...], list[tuple[str, int | None]]]] = [
    ("a changed amount in the line",
     ("UPDATE journal SET text = replace(text, 'numerator\":5', 'numerator\":4') WHERE seq = 6",),
     [("VERIFY-CHANGED", 6), ("VERIFY-COLUMN", 6)]),
    ("a changed word in the line",
     ("UPDATE journal SET text = replace(text, 'door frame', 'door frames') WHERE seq = 7",),
     [("VERIFY-CHANGED", 7)]),
    ("a line and its seal changed together", ("carried out below",),
     [("VERIFY-CHAIN", 3)]),
    ("a changed seal", (f"UPDATE journal SET seal = '{'e' * 64}' WHERE seq = 8",),
     [("VERIFY-CHANGED", 8), ("VERIFY-CHAIN", 9)]),
    ("a deleted entry", ("DELETE FROM private WHERE seq = 8", "DELETE FROM journal WHERE seq = 8"),
     [("VERIFY-MISSING", 9), ("VERIFY-CLOSE", 12), ("VERIFY-CLOSE", 17)]),
    ("several deleted entries", ("DELETE FROM private WHERE seq IN (7, 8)",
                                 "DELETE FROM journal WHERE seq IN (7, 8)"),
     [("VERIFY-MISSING", 9), ("VERIFY-CLOSE", 12), ("VERIFY-CLOSE", 17)]),
    ("the first entry deleted", ("DELETE FROM journal WHERE seq = 1",),
     [("VERIFY-MISSING", 2), ("VERIFY-CLOSE", 12), ("VERIFY-CLOSE", 17)]),
    ("a private text changed", ("UPDATE private SET text = replace(text, '1', '2') WHERE seq = 7",),
     [("VERIFY-PRIVATE", 7)]),
    ("a salt changed", (SALT_CHANGED,), [("VERIFY-PRIVATE", 8)]),
    ("a private text gone", ("DELETE FROM private WHERE seq = 6",), [("VERIFY-PRIVATE", 6)]),
    ("a private text put under", (TEXT_ADDED,), [("VERIFY-PRIVATE", 3)]),
    ("kept bytes gone", ("DELETE FROM blob WHERE kind = 'sheet'",), [("VERIFY-BLOB", 3)]),
    ("a filed report gone", ("DELETE FROM blob WHERE kind = 'filed report'",),
     [("VERIFY-BLOB", 16)]),
    ("a rule text gone", ("DELETE FROM blob WHERE kind = 'rule text'",), [("VERIFY-BLOB", 2)]),
    ("kept bytes changed", (("UPDATE blob SET data = ? WHERE kind = 'sheet'", (b"forged",)),),
     [("VERIFY-BLOB", 3)]),
    ("a place changed", ("UPDATE place SET zip = '95603' WHERE seq = 4",), [("VERIFY-PLACE", 4)]),
    ("a place gone", ("DELETE FROM place WHERE seq = 5",), [("VERIFY-PLACE", 5)]),
    ("a place put under", ("INSERT INTO place VALUES (7, 'S0001', '95602')",),
     [("VERIFY-PLACE", 7)]),
]  # fmt: skip


@pytest.mark.parametrize(("what", "statements", "seen"), ATTACKS, ids=[a[0] for a in ATTACKS])
def test_an_attack_is_seen_where_it_happened(
    attacker: Attacker, what: str, statements: tuple[Any, ...], seen: list[Any]
) -> None:
    if what == "a line and its seal changed together":
        line = attacker.lines()[1]
        line["by"] = "somebody else"
        data = encode(line)
        row = dict(zip(COLUMNS, columns_of(line, seal_of(data), data.decode()), strict=True))
        attacker.run(
            ("UPDATE journal SET text = ?, seal = ?, by_person = ? WHERE seq = 2",
             (row["text"], row["seal"], row["by_person"]))
        )  # fmt: skip
        # The root of each later close is of the lines as they were.
        seen = [*seen, ("VERIFY-CLOSE", 12), ("VERIFY-CLOSE", 17)]
    else:
        attacker.run(*statements)
    proof = prove(attacker.store)
    assert not proof.ok
    codes = found(proof)
    for one in seen:
        assert one in codes, (codes, [fault.what for fault in proof.problems])
    assert all(fault.origin.file == attacker.store.name for fault in proof.problems)
    assert all(fault.what and fault.way_out for fault in proof.problems)


@pytest.mark.parametrize("column", [name for name in COLUMNS if name not in {"seq", "text"}])
def test_every_column_changed_alone_is_seen(attacker: Attacker, column: str) -> None:
    """Each is set to a value the table allows; month and day go together, amounts too."""
    whole = {"form", "refers", "replaces", "ym", "denominator", "numerator", "clears",
             "first_seq", "last_seq"}  # fmt: skip
    value = "3" if column in whole else "'forged'"
    sets = {column: value}
    if column in {"seal", "private"}:
        sets[column] = f"'{'d' * 64}'"
    if column in {"ym", "applied_on"}:
        sets = {"applied_on": "'2026-02-01'", "ym": "202602"}
    if column == "kind":
        sets[column] = "'amendment'"
    change = ", ".join(f"{name} = {new}" for name, new in sets.items())
    attacker.run(f"UPDATE journal SET {change} WHERE seq = 9")
    proof = prove(attacker.store)
    assert not proof.ok
    assert 9 in {fault.origin.row for fault in proof.problems}
    assert any(column in fault.what for fault in proof.problems), proof.problems


def test_swapped_entries_are_seen(attacker: Attacker) -> None:
    attacker.run(
        "DELETE FROM private WHERE seq IN (7, 8)",
        "UPDATE journal SET seq = 900 WHERE seq = 7",
        "UPDATE journal SET seq = 7 WHERE seq = 8",
        "UPDATE journal SET seq = 8 WHERE seq = 900",
    )
    assert {("VERIFY-ORDER", 7), ("VERIFY-ORDER", 8)} <= set(found(prove(attacker.store)))


def test_a_cut_tail_is_seen_by_a_kept_seal_only(attacker: Attacker) -> None:
    with attacker.store.reading() as reader:
        kept = [seal_code(reader.entry(seq).seal) for seq in (12, 17)]
    attacker.run("DELETE FROM private WHERE seq > 12", "DELETE FROM journal WHERE seq > 12")
    assert prove(attacker.store).ok
    assert prove(attacker.store, kept[0]).ok
    proof = prove(attacker.store, *kept)
    assert found(proof) == [("VERIFY-WITNESS", None)]
    assert kept[1] in proof.problems[0].what
    assert "cut off" in proof.problems[0].what
    assert proof.newest_witness is not None
    assert proof.newest_witness.seq == 12


def test_a_rewritten_end_with_a_rebuilt_chain_is_seen_by_a_kept_seal(attacker: Attacker) -> None:
    with attacker.store.reading() as reader:
        before, after = (seal_code(reader.entry(seq).seal) for seq in (12, 14))
    lines = attacker.lines()
    lines[13]["by"] = "somebody else"
    lines[16]["body"]["peaks"] = rebuilt(lines)["peaks"]
    lines[16]["body"]["root"] = rebuilt(lines)["root"]
    attacker.rewrite(lines, 14)
    assert prove(attacker.store, before).ok
    assert found(prove(attacker.store, before, after)) == [("VERIFY-WITNESS", None)]


def test_a_rewritten_end_that_forgets_its_closes_is_seen_by_itself(attacker: Attacker) -> None:
    lines = attacker.lines()
    lines[13]["by"] = "somebody else"
    attacker.rewrite(lines, 14)
    assert found(prove(attacker.store)) == [("VERIFY-CLOSE", 17)]


def rebuilt(lines: list[dict[str, Any]]) -> dict[str, Any]:
    """Return what the last close would seal over lines whose chain is rebuilt from 14 on."""
    from ledger.merkle import Tree

    tree, prev = Tree(), ""
    for number, line in enumerate(lines[:16], start=1):
        if number >= 14:
            line["prev"] = prev
        data = encode(line)
        prev = seal_of(data)
        tree.add(data)
    return {"root": tree.root, "peaks": list(tree.peaks)}


def test_another_ledger_in_place_of_this_one_is_seen_by_a_kept_seal(
    store: Store, tmp_path: Path
) -> None:
    small_ledger(store)
    with store.reading() as reader:
        kept = reader.head.seal
    salts = counted_salts()
    salts()
    other = create(
        f"sqlite:///{tmp_path / 'other.db'}", firm=FIRM, clock=TickingClock(), salts=salts
    )
    small_ledger(other)
    assert prove(other).ok
    assert found(prove(other, kept)) == [("VERIFY-WITNESS", None)]
    other.close()


def test_an_old_copy_put_back_is_seen_by_a_kept_seal(sqlite_store: Store, tmp_path: Path) -> None:
    small_ledger(sqlite_store)
    old = tmp_path / "old.db"
    backup(sqlite_store, old)
    with sqlite_store.writing() as writer:
        writer.append(use(9))
        kept = writer.head.seal
    put_back = Store(parse_url(f"sqlite:///{old}"), TickingClock(), counted_salts(), "x")
    assert prove(put_back).ok
    assert found(prove(put_back, kept)) == [("VERIFY-WITNESS", None)]
    put_back.close()


def test_a_kept_seal_that_cannot_be_read_is_no_proof(sqlite_store: Store) -> None:
    small_ledger(sqlite_store)
    proof = prove(sqlite_store, "NOT-A-CODE")
    assert not proof.ok
    assert found(proof) == [("SEAL-CODE", None)]


def test_a_missing_guard_is_seen(sqlite_store: Store) -> None:
    small_ledger(sqlite_store)
    with sqlite_store.engine.begin() as connection:
        connection.exec_driver_sql("DROP TRIGGER journal_no_update")
    assert found(prove(sqlite_store)) == [("VERIFY-GUARD", None)]


def test_a_close_that_seals_too_much_or_nonsense_is_seen(attacker: Attacker) -> None:
    for size in (99, "twelve", None, 16, 3):
        lines = attacker.lines()
        lines[16]["body"]["size"] = size
        attacker.rewrite(lines, 17)
        proof = prove(attacker.store)
        assert proof.ok if size == 16 else found(proof) == [("VERIFY-CLOSE", 17)]


def test_a_close_over_an_earlier_size_is_proved_too(attacker: Attacker) -> None:
    from ledger.merkle import Tree

    lines = attacker.lines()
    tree = Tree()
    for line in lines[:13]:
        tree.add(encode(line))
    lines[16]["body"].update(size=13, root=tree.root, peaks=list(tree.peaks))
    attacker.rewrite(lines, 17)
    proof = prove(attacker.store)
    assert proof.ok, proof.problems


@pytest.mark.parametrize(
    ("change", "seen"),
    [
        (lambda line: line.update(ledger="0" * 32), ("VERIFY-LEDGER", 17)),
        (lambda line: line.update(kind="ledger"), ("VERIFY-LEDGER", 17)),
        (lambda line: line.update(prev="0" * 64), ("VERIFY-CHAIN", 17)),
        (lambda line: line.update(seq=18), ("VERIFY-ORDER", 17)),
    ],
)
def test_a_forged_last_line_is_seen(
    attacker: Attacker, change: Callable[[dict[str, Any]], None], seen: tuple[str, int]
) -> None:
    line = attacker.lines()[16]
    change(line)
    data = encode(line)
    row = dict(zip(COLUMNS, columns_of(line, seal_of(data), data.decode()), strict=True))
    row["seq"] = 17
    names = ", ".join(COLUMNS)
    marks = ", ".join("?" for _ in COLUMNS)
    attacker.run(
        "DELETE FROM journal WHERE seq = 17",
        (f"INSERT INTO journal ({names}) VALUES ({marks})", tuple(row.values())),
    )
    assert seen in found(prove(attacker.store))


def test_a_second_replacement_is_seen(sqlite_store: Store) -> None:
    small_ledger(sqlite_store)
    attacker = Attacker(sqlite_store)
    lines = attacker.lines()
    lines[16]["replaces"] = lines[12]["replaces"]
    attacker.run("DROP INDEX ux_journal_replaces")
    attacker.rewrite(lines, 17)
    assert ("VERIFY-FORK", 17) in found(prove(sqlite_store))


@dataclass
class Stored:
    """A reader that hands out rows of its own, to try many changes without a database."""

    rows_: list[Any]
    reader: Reader

    def rows(self) -> Any:
        return iter(self.rows_)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.reader, name)


def test_every_changed_byte_of_every_line_is_seen(sqlite_store: Store) -> None:
    """All bytes of a small ledger's lines, each set to several other values in turn."""
    small_ledger(sqlite_store)
    chance = random.Random(7)
    seq_at, text_at = COLUMNS.index("seq"), COLUMNS.index("text")
    tried = 0
    with sqlite_store.reading() as reader:
        rows = list(reader.rows())
        for index, (row, salt, text) in enumerate(rows):
            data = row[text_at].encode()
            for place in range(len(data)):
                others = {data[place] ^ 1, data[place] ^ 32, chance.randrange(256)} - {data[place]}
                for other in others:
                    changed = data[:place] + bytes([other]) + data[place + 1 :]
                    forged = list(row)
                    forged[text_at] = changed.decode("utf-8", "surrogateescape")
                    stretch = list(rows[: index + 1])
                    stretch[index] = (tuple(forged), salt, text)
                    proof = verify_lines(Stored(stretch[index:], reader), row[seq_at])
                    assert ("VERIFY-CHANGED", row[seq_at]) in proof
                    tried += 1
    assert tried > 20_000


def verify_lines(stored: Any, seq: int) -> set[tuple[str, int | None]]:
    from ledger.journal.walk import Walk

    walk = Walk(stored)
    walk.expected = seq
    for row, salt, text in stored.rows():
        walk.prove(row, (salt, text), {})
    return {(fault.code, fault.origin.row) for fault in walk.problems}


def test_changed_bytes_on_the_disk_are_seen(sqlite_store: Store, tmp_path: Path) -> None:
    """Bytes of the database file itself, wherever they lie: a change that matters is seen."""
    small_ledger(sqlite_store)
    file = tmp_path / "copy.db"
    backup(sqlite_store, file)
    whole = file.read_bytes()
    chance = random.Random(3)
    places = [at for at in range(len(whole)) if whole[at : at + 9] == b'{"at":"20']
    assert len(places) == 17
    for start in places:
        at = start + chance.randrange(400)
        file.write_bytes(whole[:at] + bytes([whole[at] ^ 4]) + whole[at + 1 :])
        other = Store(parse_url(f"sqlite:///{file}"), TickingClock(), counted_salts(), "x")
        with other.reading() as reader:
            assert not verify(reader).ok, at
        other.close()
    file.write_bytes(whole)
