"""The quick way to the lines of a file's keys gives what walking every character gives."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.rulebook.quick_lines import quick_lines
from ledger.rulebook.scan import scan_lines, walk_lines
from ledger.rulefile import load_table
from tests.house import ROOT


def texts() -> list[Path]:
    found = [*(ROOT / "rules").rglob("*.toml"), *(ROOT / "fixtures").rglob("*.toml")]
    return [path for path in found if path.read_bytes().isascii()]


@pytest.mark.parametrize("path", texts(), ids=lambda path: path.stem)
def test_both_ways_agree_on_every_file(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    table, lines, _ = load_table(path.name, path.read_bytes())
    if table is None:  # a text that may not be parsed is not walked through either
        assert lines == {}
        return
    quick = quick_lines(text)
    if quick is not None:
        assert quick == walk_lines(text)
    assert scan_lines(text) == walk_lines(text)


def test_nearly_every_jurisdiction_is_read_the_quick_way() -> None:
    # Every command reads them all; a list over several lines in one of them costs little.
    files = list((ROOT / "rules" / "jurisdictions").glob("*.toml"))
    slow = [path.name for path in files if quick_lines(path.read_text("utf-8")) is None]
    assert len(files) > 30
    assert len(slow) <= 3, slow


WORDS = st.text(alphabet='ab c#=[]{},.\\"', max_size=8).map(
    lambda text: '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
)
SCALARS = WORDS | st.sampled_from(["true", "12", "2026-01-15T09:00:00", "1.5"])
LISTS = st.lists(WORDS, max_size=3).map(lambda items: f"[{', '.join(items)}]")
NESTED = st.lists(LISTS, min_size=1, max_size=3).map(lambda items: f"[{', '.join(items)}]")
KEYS = st.sampled_from(["name", "most", "site_kind", '"site kind"', "when"])
FIELDS = st.tuples(st.sampled_from(["at_least", "given", "none_of"]), SCALARS | LISTS)
INLINE = st.lists(FIELDS, min_size=1, max_size=2, unique_by=lambda pair: pair[0]).map(
    lambda pairs: "{ " + ", ".join(f"{key} = {value}" for key, value in pairs) + " }"
)
PAIRS = st.tuples(KEYS, SCALARS | LISTS | NESTED | INLINE).map(" = ".join)
HEADERS = st.sampled_from(
    ["[product]", "[[limit]]", "[[limit.when]]", "[source.label]", "[example.line]", "[[example]]"]
)
ROWS = st.lists(PAIRS | HEADERS | st.sampled_from(["", "# a remark", "  "]), max_size=12)


@given(ROWS, st.sampled_from(["", " # why", "\t"]))
def test_both_ways_agree_on_whatever_is_written_plainly(rows: list[str], tail: str) -> None:
    text = "\n".join(row + tail for row in rows)
    quick = quick_lines(text)
    assert quick is not None
    assert quick == walk_lines(text)


@pytest.mark.parametrize(
    "text",
    ['a = [\n"b",\n]', "a = 'b'", 'a.b = "c"', 'a = """b"""', "a = [[[1]]]", "a = {b = {c = 1}}",
     "[a", "[[a]", "a =", "= 1", '"a b.c" = 1'],
)  # fmt: skip
def test_anything_else_is_left_to_the_walk(text: str) -> None:
    assert quick_lines(text) is None
    assert scan_lines(text) == walk_lines(text)
