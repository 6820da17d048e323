"""The quick proof and the walk that explains say the same, of whole and of damaged ledgers."""

from __future__ import annotations

import json
import random
import shutil
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger.flow.inspecting import prove_whole
from ledger.flow.marks import LAST, MARK_FILE, keep_mark, mark_for
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import WorkspaceProblem
from ledger.journal import Store, StoreProblem
from ledger.journal import verify as proof
from ledger.journal.address import parse_url
from ledger.journal.quick import Ask, prove_stretch
from ledger.journal.verify import How, Mark, Verification, verify
from ledger.merkle import Tree, blocks_of, leaf
from ledger.seal import encode, seal_code, seal_of
from tests.cli_use import use as run
from tests.day_sheets import sheet
from tests.journal_data import TickingClock, close, counted_salts, small_ledger, use
from tests.test_verify_attacks import ATTACKS, Attacker
from tests.workspaces import sample_workspace

QUICK, SLOW = How(), How(quick=False)


def said(store: Store, how: How, codes: tuple[str, ...] = ()) -> Verification:
    with store.reading() as reader:
        return verify(reader, codes, how)


@pytest.fixture(autouse=True)
def short_stretches(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make stretches of four entries, so that the small ledger has seams to join."""
    monkeypatch.setattr(proof, "TOLD_EVERY", 4)


def test_a_whole_ledger_needs_no_walk(store: Store) -> None:
    """Every stretch is proved quickly: otherwise the comparison below compares nothing."""
    entries = small_ledger(store)
    with store.reading() as reader:
        for first in range(1, 18, 4):
            last = min(first + 3, 17)
            assert prove_stretch(reader.connection, first, last, Ask()) is not None
    codes = (seal_code(entries[6].seal), entries[-1].seal)
    quick, slow = said(store, QUICK, codes), said(store, SLOW, codes)
    assert quick == slow
    assert quick.ok
    assert (quick.checked, quick.privates, quick.blobs, quick.closes) == (17, 10, 3, 2)


@pytest.mark.parametrize("attack", [a for a in ATTACKS if "below" not in a[1][0]],
                         ids=lambda attack: attack[0])  # fmt: skip
def test_both_say_the_same_of_an_attack(store: Store, attack: Any) -> None:
    small_ledger(store)
    Attacker(store).run(*attack[1])
    quick, slow = said(store, QUICK), said(store, SLOW)
    assert quick == slow
    assert not quick.ok


# ------------------------------------------------------------------ any damage at all


COLUMNS_TO_CHANGE = (
    "kind", "at", "by_person", "prev", "seal", "jurisdiction", "county", "site", "label", "visit",
    "own", "identity", "text",
)  # fmt: skip


@st.composite
def damages(draw: Callable[..., Any]) -> list[Any]:
    """Return one to three changes of a small ledger, as SQL statements or changed lines."""
    number = st.integers(1, 17)
    change = st.one_of(
        st.tuples(st.just("column"), number, st.sampled_from(COLUMNS_TO_CHANGE), st.integers(0, 9)),
        st.tuples(st.just("row"), number),
        st.tuples(st.just("swap"), number, number),
        st.tuples(st.just("private"), number, st.sampled_from(("salt", "text", "gone", "put"))),
        st.tuples(st.just("place"), number, st.sampled_from(("zip", "gone", "put"))),
        st.tuples(st.just("line"), number, st.sampled_from(LINES)),
        st.tuples(st.just("rewrite"), number, st.sampled_from(BODIES)),
        st.tuples(st.just("before"), st.sampled_from((0, -7, 40, 2**61))),
    )
    return draw(st.lists(change, min_size=1, max_size=3))  # type: ignore[no-any-return]


LINES = (
    ('"form":1', '"form":1.0'), ('"form":1', '"form":1e0'), ('"form":1', '"form":true'),
    ('{"at"', '{ "at"'), ('"form":1', '"form":1,"form":1'), ("door frame", "door\\u0020frame"),
    ("door frame", "door\x7fframe"), ("door frame", "doo\u0308r frame"),
    ('"by":"', '"by":"\\u0041'), ('"denominator":10', '"denominator":9007199254740992'),
    ('"derived":0', '"derived":false'), ('"derived":0', '"derived":0.0'),
    ('"denominator":10', '"denominator":-0'),
)  # fmt: skip
"""Changes of a line's text, most of which leave what it says as it was; sealed anew."""

BODIES: tuple[dict[str, Any], ...] = (
    {"size": 3}, {"root": "0" * 64}, {"peaks": []}, {"size": "9"}, {"date": "2026-02-30"},
    {"used": None}, {"used": {"unit": 5}}, {"site": 3}, {"days": [1, 2, [3, {"a": None}]]},
    {"deep": {"list": [0, -1, "x:.y", "a,e"]}},
)  # fmt: skip
"""Changes of what a line says; it and all after it are chained anew, the columns fitting."""


def carry_out(attacker: Attacker, change: tuple[Any, ...]) -> None:
    """Carry one change out; what the tables themselves refuse is left alone."""
    kind, seq, *more = change
    if kind == "column":
        value = ["'x'", "''", "'2026-03-01'", f"'{'a' * 64}'", "'S0002'", "'close'", "'site'",
                 "'ledger'", "'Nevada'", "'{}'"][more[1]]  # fmt: skip
        attacker.run(f"UPDATE journal SET {more[0]} = {value} WHERE seq = {seq}")
    elif kind == "row":
        attacker.run(*(f"DELETE FROM {table} WHERE seq = {seq}"
                       for table in ("private", "place", "journal")))  # fmt: skip
    elif kind == "swap":
        attacker.run(
            f"UPDATE journal SET seq = 900 WHERE seq = {seq}",
            f"UPDATE journal SET seq = {seq} WHERE seq = {more[0]}",
            f"UPDATE journal SET seq = {more[0]} WHERE seq = 900",
        )
    elif kind == "private":
        attacker.run({
            "salt": f"UPDATE private SET salt = zeroblob(16) WHERE seq = {seq}",
            "text": f"UPDATE private SET text = text || ' ' WHERE seq = {seq}",
            "gone": f"DELETE FROM private WHERE seq = {seq}",
            "put": f"INSERT INTO private VALUES ({seq}, zeroblob(16), 'x')",
        }[more[0]])  # fmt: skip
    elif kind == "place":
        attacker.run({
            "zip": f"UPDATE place SET zip = '95603' WHERE seq = {seq}",
            "gone": f"DELETE FROM place WHERE seq = {seq}",
            "put": f"INSERT INTO place VALUES ({seq}, 'S0001', '95602')",
        }[more[0]])  # fmt: skip
    elif kind == "line":
        text = encode(attacker.lines()[seq - 1]).decode().replace(*more[0])
        attacker.run(("UPDATE journal SET text = ?, seal = ? WHERE seq = ?",
                      (text, seal_of(text.encode()), seq)))  # fmt: skip
    elif kind == "rewrite":
        lines = attacker.lines()
        lines[seq - 1]["body"].update(more[0])
        attacker.rewrite(lines, max(seq, 2))
    else:
        attacker.run(
            "INSERT INTO journal (seq, form, kind, at, by_person, os_user, prev, seal, text)"
            f" SELECT {seq}, form, kind, at, by_person, os_user, prev, seal, text FROM journal"
            " WHERE seq = 2"
        )


@pytest.fixture(scope="module")
def whole_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the file of a small whole ledger, to be copied and damaged."""
    from ledger.journal import create
    from tests.journal_data import FIRM

    file = tmp_path_factory.mktemp("quick") / "whole.db"
    store = create(f"sqlite:///{file}", firm=FIRM, clock=TickingClock(), salts=counted_salts())
    small_ledger(store)
    store.close()
    return file


@settings(
    max_examples=100, deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)  # fmt: skip
@given(changes=damages())
def test_both_say_the_same_of_any_damage(whole_file: Path, changes: list[Any]) -> None:
    from sqlalchemy.exc import DBAPIError

    file = whole_file.with_name("damaged.db")
    shutil.copy(whole_file, file)
    store = Store(parse_url(f"sqlite:///{file}"), TickingClock(), counted_salts(), "x")
    try:
        attacker = Attacker(store)
        for change in changes:
            try:
                carry_out(attacker, change)
            except (DBAPIError, LookupError, ValueError):
                continue  # the tables do not take it, or an earlier change left nothing to change
        quick, slow = said(store, QUICK), said(store, SLOW)
        assert quick == slow
    finally:
        store.close()


def test_a_line_that_only_looks_canonical_is_no_quick_yes(sqlite_store: Store) -> None:
    """Each way of writing the same otherwise, sealed anew: left to the walk."""
    small_ledger(sqlite_store)
    attacker = Attacker(sqlite_store)
    count = 0
    for seq in range(1, 18):
        line = encode(attacker.lines()[seq - 1]).decode()
        for before, after in LINES:
            text = line.replace(before, after)
            if text == line:
                continue
            attacker.run(("UPDATE journal SET text = ?, seal = ? WHERE seq = ?",
                          (text, seal_of(text.encode()), seq)))  # fmt: skip
            with sqlite_store.reading() as reader:
                assert prove_stretch(reader.connection, seq, seq, Ask()) is None, (before, after)
            count += 1
        attacker.run(("UPDATE journal SET text = ?, seal = ? WHERE seq = ?",
                      (line, seal_of(line.encode()), seq)))  # fmt: skip
    assert count > 60


# ------------------------------------------------------------------ other processes, the tree


def test_other_processes_find_the_same(store: Store) -> None:
    entries = small_ledger(store)
    codes = (seal_code(entries[6].seal), "0" * 64)
    assert said(store, How(jobs=2), codes) == said(store, SLOW, codes)
    Attacker(store).run("UPDATE journal SET county = 'Yolo' WHERE seq = 9")
    assert said(store, How(jobs=2)) == said(store, SLOW)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.binary(max_size=4), max_size=70), st.lists(st.integers(0, 70), max_size=5))
def test_a_tree_of_stretches_is_the_tree_of_lines(lines: list[bytes], seams: list[int]) -> None:
    whole, joined = Tree(), Tree()
    for line in lines:
        whole.add(line)
    cuts = sorted({0, len(lines), *(seam for seam in seams if seam < len(lines))})
    for start, end in pairwise(cuts):
        joined.add_blocks(blocks_of(start, [leaf(line) for line in lines[start:end]]))
    assert (joined.size, joined.root, joined.peaks) == (whole.size, whole.root, whole.peaks)


def test_a_subtree_that_does_not_fit_is_refused() -> None:
    tree = Tree()
    tree.add(b"one")
    with pytest.raises(ValueError, match="does not fit"):
        tree.add_blocks([(1, leaf(b"two"))])


# ------------------------------------------------------------------ since a proof that passed


def marked(store: Store) -> Mark:
    mark = said(store, QUICK).mark
    assert mark is not None
    return mark


def test_a_proof_goes_on_from_a_mark(store: Store) -> None:
    small_ledger(store)
    mark = marked(store)
    assert said(store, How(since=mark)).ok
    with store.writing() as writer:
        for number in range(20, 27):
            writer.append(use(number))
        close(writer)
    for quick in (True, False):
        later = said(store, How(since=mark, quick=quick))
        assert later.ok, later.problems
        assert (later.checked, later.privates, later.closes) == (8, 7, 1)
        assert later.mark == marked(store)


NEW_DAMAGE = (
    "UPDATE journal SET county = 'Yolo' WHERE seq = 20",
    "UPDATE journal SET text = replace(text, 'door frame', 'door frames') WHERE seq = 19",
    "UPDATE private SET text = text || ' ' WHERE seq = 18",
    "DELETE FROM private WHERE seq = 19",
    f"UPDATE journal SET prev = '{'0' * 64}' WHERE seq = 18",
    "UPDATE journal SET text = replace(text, 'size\":24', 'size\":23') WHERE seq = 25",
    f"UPDATE journal SET seal = '{'0' * 64}' WHERE seq = 17",
)


@pytest.mark.parametrize("damage", NEW_DAMAGE)
def test_what_came_after_a_mark_is_proved_as_ever(store: Store, damage: str) -> None:
    small_ledger(store)
    mark = marked(store)
    with store.writing() as writer:
        for number in range(20, 27):
            writer.append(use(number))
        close(writer)
    Attacker(store).run(damage)
    quick = said(store, How(since=mark))
    assert not quick.ok
    assert quick.mark is None
    assert quick == said(store, How(since=mark, quick=False))


def test_an_older_entry_replaced_again_is_seen_since_a_mark(sqlite_store: Store) -> None:
    small_ledger(sqlite_store)
    mark = marked(sqlite_store)
    attacker = Attacker(sqlite_store)
    lines = attacker.lines()
    again = json.loads(json.dumps(lines[12])) | {"seq": 18, "prev": ""}
    attacker.run("DROP INDEX ux_journal_replaces")
    attacker.rewrite([*lines, again], 18)
    proved = said(sqlite_store, How(since=mark))
    assert ("VERIFY-FORK", 18) in [(fault.code, fault.origin.row) for fault in proved.problems]


def test_a_proof_since_a_mark_does_not_read_what_is_older(sqlite_store: Store) -> None:
    """Damage before the mark is the whole proof's to find: cheap means not read again."""
    small_ledger(sqlite_store)
    mark = marked(sqlite_store)
    Attacker(sqlite_store).run("UPDATE journal SET county = 'Yolo' WHERE seq = 9")
    assert said(sqlite_store, How(since=mark)).ok
    assert not said(sqlite_store, QUICK).ok


def test_a_cut_tail_or_another_ledger_is_seen_against_the_mark(sqlite_store: Store) -> None:
    small_ledger(sqlite_store)
    mark = marked(sqlite_store)
    Attacker(sqlite_store).run("DELETE FROM journal WHERE seq > 15")
    proved = said(sqlite_store, How(since=mark))
    assert "VERIFY-SINCE" in [fault.code for fault in proved.problems]


def test_the_command_goes_on_from_the_code_it_printed(tmp_path: Path) -> None:
    firm = sample_workspace(tmp_path / "firm")
    record_sheet(firm, "day.csv", sheet({}), "renner")
    where = ("--workspace", str(firm.root))
    first = run("verify", *where)
    assert first.code == 0
    code = first.out.split("--since")[1].strip()
    record_sheet(firm, "more.csv", sheet({"line": "2", "start": "10:05", "end": "11:00"}), "renner")
    second = run("verify", "--since", code, *where)
    assert second.code == 0, second.out
    assert "after entry" in second.out
    assert "The newest kept code seals entry" in second.out
    assert run("verify", "--since", code, *where).code == 2  # the mark has moved on
    assert run("verify", "--since", LAST, *where).code == 0
    assert run("verify", "--since", "nonsense", *where).code == 2
    (firm.root / MARK_FILE).write_text("{}", encoding="utf-8")
    assert run("verify", "--since", LAST, *where).code == 2


def test_a_mark_keeps_the_day_of_the_last_whole_proof(tmp_path: Path) -> None:
    firm = sample_workspace(tmp_path / "firm")
    with pytest.raises(WorkspaceProblem, match="nothing says"):
        mark_for(firm, LAST)
    done = prove_whole(firm)
    assert done.mark is not None
    keep_mark(firm, done.mark, None)
    kept = mark_for(firm, LAST)
    keep_mark(firm, done.mark, Mark(kept.ledger, kept.seq, kept.seal, kept.peaks, "2020-01-01"))
    assert mark_for(firm, LAST).at == "2020-01-01"


def tried(store: Store, how: How) -> Verification | str:
    """Return what proving says, or why the file cannot even be opened."""
    try:
        return said(store, how)
    except StoreProblem as problem:
        return problem.what


def test_changed_bytes_of_the_file_are_the_same_to_both(whole_file: Path) -> None:
    """Bytes of the database file itself, drawn once: both ways of proving say the same."""
    whole = whole_file.read_bytes()
    chance = random.Random(11)
    file = whole_file.with_name("bytes.db")
    for at in [chance.randrange(4096, len(whole)) for _ in range(60)]:
        file.write_bytes(whole[:at] + bytes([whole[at] ^ 4]) + whole[at + 1 :])
        store = Store(parse_url(f"sqlite:///{file}"), TickingClock(), counted_salts(), "x")
        try:
            assert tried(store, QUICK) == tried(store, SLOW), at
        finally:
            store.close()
