"""Lines read by a learned shape: the same bytes, columns and refusals as without one."""

from __future__ import annotations

from typing import Any

import orjson
import pytest

from ledger.journal.columns import COLUMNS, columns_of
from ledger.journal.shapes import KINDS, PLAIN_COLUMNS, Shapes, joined, shape_of
from ledger.journal.store import Store
from ledger.seal import canonical, read_line
from tests.journal_data import small_ledger
from tests.test_verify_quick import LINES


def lines_of(store: Store) -> list[tuple[str, bytes]]:
    small_ledger(store)
    with store.reading() as reader:
        return [(str(entry.kind), entry.text.encode()) for entry in reader.entries()]


def learned(lines: list[tuple[str, bytes]]) -> Shapes:
    shapes = Shapes()
    for kind, data in lines:
        shapes.learn(kind, orjson.loads(data))
    return shapes


def test_a_learned_line_is_read_with_the_columns_of_its_row(store: Store) -> None:
    lines = lines_of(store)
    shapes = learned(lines)
    read = 0
    for kind, data in lines:
        if kind not in KINDS:
            continue
        found = shapes.read(kind, data)
        assert found is not None
        line = orjson.loads(data)
        row = dict(zip(COLUMNS, columns_of(line, "", ""), strict=True))
        assert found[1] == tuple(row[name] for name in PLAIN_COLUMNS)
        body = line["body"]
        assert (found[0].k_body.k_date, found[0].k_body.k_label) == (
            body.get("date"), body.get("label"),
        )  # fmt: skip
        read += 1
    assert read > 8


@pytest.mark.parametrize("change", LINES)
def test_what_is_not_canonical_is_never_read(store: Store, change: tuple[str, str]) -> None:
    lines = lines_of(store)
    shapes = learned(lines)
    changed = [(kind, str(data, "utf-8").replace(*change)) for kind, data in lines]
    changed = [item for item, (_, data) in zip(changed, lines, strict=True)
               if item[1].encode() != data]  # fmt: skip
    assert changed
    for kind, text in changed:
        assert shapes.read(kind, text.encode()) is None
        with pytest.raises((ValueError, TypeError, LookupError)):
            read_line(text, text.encode())


LINE: dict[str, Any] = {
    "at": "2026-01-02T00:00:00.000000Z", "body": {"list": [], "site": "S1"}, "by": "", "form": 1,
    "kind": "site", "ledger": "a" * 32, "os_user": "x", "prev": "", "private": None,
    "refers": None, "replaces": None, "seq": 2,
}  # fmt: skip


@pytest.mark.parametrize("item", ['he said "no"', "a\\nb", "\u00bd oz", "\U0001f41c", "two\\"])
def test_odd_texts_are_read_or_left_to_others(item: str) -> None:
    """A backslash, a sign beyond ASCII and a sign beyond the first plane are all lawful texts."""
    shapes = Shapes()
    line = LINE | {"body": {"list": [item], "site": "S1"}}
    shapes.learn("site", line)
    data = canonical(line)
    found = shapes.read("site", data)
    assert (found is None) == ("\U0001f41c" in item)
    assert read_line(data.decode(), data) == line


@pytest.mark.parametrize("item", ["a\nb", "a\x7fb", "u\u0308", "\u0085", 'one\\\ntwo"'])
def test_texts_that_no_line_may_hold_are_never_read(item: str) -> None:
    shapes = Shapes()
    line = LINE | {"body": {"list": [item], "site": "S1"}}
    shapes.learn("site", line)
    data = orjson.dumps(line, option=orjson.OPT_SORT_KEYS)
    assert shapes.read("site", data) is None
    with pytest.raises(ValueError, match="text"):
        read_line(data.decode(), data)


@pytest.mark.parametrize("number", [1.5, 1e16, True, 2**53, -(2**53)])
def test_numbers_that_no_line_may_hold_are_never_read(number: float) -> None:
    shapes = Shapes()
    line = LINE | {"body": {"list": [":.", ",e", number], "site": "S1"}}
    shapes.learn("site", line)
    data = orjson.dumps(line, option=orjson.OPT_SORT_KEYS)
    assert shapes.read("site", data) is None
    with pytest.raises((ValueError, TypeError)):
        read_line(data.decode(), data)


def test_shapes_are_joined_and_objects_with_other_keys_are_not() -> None:
    wide = joined(shape_of({"a": None, "b": []}), shape_of({"a": {"x": 1}, "b": [["y", {}]]}))
    assert joined(wide, shape_of({"a": {"x": "2"}, "b": [[1]]})) == wide
    with pytest.raises(ValueError, match="keys"):
        joined(wide, shape_of({"a": {"z": 1}, "b": []}))


def test_other_keys_of_a_kind_are_another_shape() -> None:
    shapes = Shapes()
    one, two = LINE, LINE | {"body": {"date": "2026-01-02", "list": [], "site": "S1"}}
    for line in (one, two):
        shapes.learn("site", line)
    for line in (one, two):
        found = shapes.read("site", canonical(line))
        assert found is not None
        assert found[0].k_body.k_date == line["body"].get("date")
