"""The scanner says where a key stands; the parser stays the judge of what it says."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.rulebook.paths import join_path, line_of, parent_path
from ledger.rulebook.scan import scan_lines
from ledger.rulefile import (
    MOST_BYTES,
    RawFile,
    family_of,
    gather,
    kept_files,
    load_table,
    shipped_rules,
)
from ledger.values.finding import render_fault

MANY_FORMS = '''\
format = 1 # comment with = and [brackets]
"quoted key" = 2
'lit.eral' = 3
a.b."c.d" = 4

[source.label]
title = """
[not.a.header]
x = 1
"""
note = \'\'\'
y = 2\'\'\'

[[limit]]
name = "one"
list = [ # a ] in a comment
  "first", # and a "quote
  "sec]ond",
  { most = "x", per = { deep = 1 } },
]
when = { method = ["a", "b"], wind.at_most = "10 mph" }

[[limit]] # the second
most = "1 oz"
[[limit.when]]
method = "x"
[[limit.when]]
method = "y"
[limit.sub]
q = 1

[[source.label.more]]
z = 1
[other.table]
'''


def test_every_form_of_key_has_its_line():
    lines = scan_lines(MANY_FORMS)
    expected = {
        "format": 1,
        '"quoted key"': 2,
        '"lit.eral"': 3,
        "a": 4,
        'a.b."c.d"': 4,
        "source.label": 6,
        "source.label.title": 7,
        "source.label.note": 11,
        "limit": 14,
        "limit[1]": 14,
        "limit[1].list": 16,
        "limit[1].list[1]": 17,
        "limit[1].list[2]": 18,
        "limit[1].list[3].most": 19,
        "limit[1].list[3].per.deep": 19,
        "limit[1].when.method[2]": 21,
        "limit[1].when.wind.at_most": 21,
        "limit[2]": 23,
        "limit[2].most": 24,
        "limit[2].when": 25,
        "limit[2].when[1].method": 26,
        "limit[2].when[2]": 27,
        "limit[2].when[2].method": 28,
        "limit[2].sub": 29,
        "limit[2].sub.q": 30,
        "source.label.more[1].z": 33,
        "other": 34,
        "other.table": 34,
    }
    assert {key: lines.get(key) for key in expected} == expected
    assert not [key for key in lines if "header" in key or key in {"x", "y"}]


def test_windows_line_ends_and_a_byte_order_mark_change_nothing():
    plain = scan_lines(MANY_FORMS)
    assert scan_lines("\ufeff" + MANY_FORMS.replace("\n", "\r\n")) == plain
    table, lines, faults = load_table(
        "x.toml", ("\ufeff" + MANY_FORMS.replace("\n", "\r\n")).encode()
    )
    assert faults == ()
    assert lines == plain
    assert table == tomllib.loads(MANY_FORMS)


# --- the property: the line that the scanner names holds the value ---

_keys = st.one_of(
    st.from_regex(r"[a-z][a-z0-9_-]{0,6}", fullmatch=True),
    st.sampled_from(["a.b", "a b", "", "[x]", 'say "q"', "#", "=", "é", "x'y"]),
)
_texts = st.text(st.sampled_from(list("ab =[]{}#,.'\"\\\n")), max_size=12)
_scalars = st.one_of(
    st.integers(-9, 9), st.booleans(), _texts, st.sampled_from(["[limit]", "a = 1", "'''", '"""'])
)
_values = st.recursive(
    _scalars,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(_keys, inner, max_size=3)),
    max_leaves=5,
)
_tables = st.recursive(
    st.dictionaries(_keys, _values, max_size=3),
    lambda inner: st.dictionaries(
        _keys, st.one_of(_values, inner, st.lists(inner, min_size=1, max_size=3)), max_size=3
    ),
    max_leaves=6,
)


def quoted(text: str) -> str:
    marks = {'"': '\\"', "\\": "\\\\", "\n": "\\n"}
    return '"' + "".join(marks.get(mark, mark) for mark in text) + '"'


def written_key(draw, key: str) -> str:
    if key and all(mark.isascii() and (mark.isalnum() or mark in "_-") for mark in key):
        return draw(st.sampled_from([key, quoted(key), f"'{key}'"]))
    return quoted(key) if "'" in key or draw(st.booleans()) else f"'{key}'"


def written_value(draw, value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, list):
        gap = draw(st.sampled_from(["", " ", "\n  ", " # ] comment\n "]))
        return "[" + gap + f",{gap}".join(written_value(draw, item) for item in value) + gap + "]"
    if isinstance(value, dict):
        pairs = (f"{written_key(draw, k)} = {written_value(draw, v)}" for k, v in value.items())
        return "{ " + ", ".join(pairs) + " }"
    if "'" not in value and draw(st.booleans()):
        return f"'''{value}'''" if "\n" in value else f"'{value}'"
    if draw(st.booleans()):
        text = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"""\n{text}"""'
    return quoted(value)


@st.composite
def documents(draw) -> str:
    rows: list[str] = []

    def is_tables(value) -> bool:
        return bool(value) and isinstance(value, list) and all(isinstance(x, dict) for x in value)

    def write(table: dict, path: list[str]) -> None:
        later = []
        for key, value in table.items():
            as_table = isinstance(value, dict) and draw(st.booleans())
            if as_table or (is_tables(value) and draw(st.booleans())):
                later.append((key, value))
                continue
            rows.append(draw(st.sampled_from(["", "# [no] = 1\n"])))
            rows.append(f"{written_key(draw, key)} = {written_value(draw, value)} # end\n")
        for key, value in later:
            spelt = [*path, written_key(draw, key)]
            for item in [value] if isinstance(value, dict) else value:
                marks = "[]" if isinstance(value, dict) else "[[]]"
                half = len(marks) // 2
                rows.append(f"{marks[:half]} {' . '.join(spelt)} {marks[half:]}\n")
                write(item, spelt)

    write(draw(_tables), [])
    return "".join(rows)


def leaves(value, path: str = ""):
    if isinstance(value, dict):
        for key, item in value.items():
            yield from leaves(item, join_path(path, key))
    elif isinstance(value, list):
        for number, item in enumerate(value, start=1):
            yield from leaves(item, f"{path}[{number}]")
    elif path:
        yield path, value


@settings(max_examples=400, deadline=None)
@given(documents())
def test_the_named_line_holds_the_value(text):
    """Every single-line value is found by changing the line that the scanner names for it."""
    table = tomllib.loads(text)
    lines = scan_lines(text)
    rows = text.split("\n")
    every = list(leaves(table))
    assert {path for path, _ in every} <= set(lines)
    for path, value in every:
        line = lines[path]
        assert 1 <= line <= len(rows)
        if isinstance(value, bool) or not isinstance(value, int):
            continue
        # Replace this number where the scanner says it stands; only one of the numbers on the
        # line is ours, so try each: one of them must change exactly this path.
        row = rows[line - 1]
        tried = set()
        for start in range(len(row)):
            for end in range(start + 1, min(start + 3, len(row) + 1)):
                if row[start:end] == str(value):
                    other = [*rows]
                    other[line - 1] = row[:start] + "777777" + row[end:]
                    try:
                        now = dict(leaves(tomllib.loads("\n".join(other))))
                    except tomllib.TOMLDecodeError:
                        continue
                    differs = {key for key, was in every if now.get(key) != was}
                    if now.get(path) == 777777 and differs == {path}:
                        tried.add(path)
        assert path in tried, (text, path, line)


@settings(max_examples=300, deadline=None)
@given(st.text(st.sampled_from(list("ab=.[]{}#,'\"\\\n\r\t 1é")), max_size=60))
def test_the_scanner_never_raises_and_stays_inside_the_text(text):
    for line in scan_lines(text).values():
        assert 1 <= line <= text.count("\n") + 1


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=80))
def test_any_bytes_give_a_table_or_a_fault(data):
    table, _, faults = load_table("x.toml", data)
    assert (table is None) == bool(faults)


@pytest.mark.parametrize(
    ("data", "code", "line"),
    [
        (b'a = 1\nb = "\xff"\n', "RULE-ENCODING", 2),
        (b"a = 1\n\n\0", "RULE-ENCODING", 3),
        (b"\xef\xbb\xbfa = 1\nb =\n", "RULE-SYNTAX", 2),
        (b"a = 1\na = 2\n", "RULE-SYNTAX", 2),
        (b"a = 2026-02-31\n", "RULE-SYNTAX", 1),
        (b'a = "open\n', "RULE-SYNTAX", 1),
        (b"a = 1\nb = [1,\n", "RULE-SYNTAX", 2),
        (b"a = " + b"9" * 5000, "RULE-SYNTAX", 1),
        (b"a = " + b"[" * 20_000, "RULE-TOO-DEEP", 1),
        (b"a = " + b"{a=" * 20_000, "RULE-TOO-DEEP", 1),
        (b"x = 1\n" + b"a." * 100_000 + b"a = 1", "RULE-TOO-DEEP", 2),
        (b"#" * (MOST_BYTES + 1), "RULE-TOO-BIG", 1),
    ],
)
def test_what_cannot_be_read_is_a_fault_with_its_line(data, code, line):
    table, _, faults = load_table("labels/x.toml", data)
    assert table is None
    assert [(fault.code, fault.origin.row) for fault in faults] == [(code, line)]
    assert render_fault(faults[0]).startswith(f"labels/x.toml:{line}: {code}: ")
    assert faults[0].way_out


def test_decimal_numbers_are_exact():
    table, _, _ = load_table("x.toml", b"a = 0.1\n")
    assert table == {"a": Decimal("0.1")}


def test_paths_go_back_to_what_holds_them():
    path = join_path(join_path("limit[2]", "a.b"), "c")
    assert path == 'limit[2]."a.b".c'
    steps = []
    while path:
        path = parent_path(path)
        steps.append(path)
    assert steps == ['limit[2]."a.b"', "limit[2]", "limit", ""]
    assert line_of({"limit[2]": 7}, 'limit[2]."x.y".z') == 7
    assert line_of({}, "nowhere") == 1


# --- gathering ---


def put(folder: Path, name: str, text: str) -> None:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")


def test_a_workspace_file_replaces_the_shipped_one(tmp_path):
    shipped, own = tmp_path / "shipped", tmp_path / "own"
    put(shipped, "labels/a.toml", 'id = "a"\nversion = "1"')
    put(shipped, "labels/b.toml", 'id = "b"\nversion = "1"')
    put(shipped, "jurisdictions/us-ca.toml", 'id = "us-ca"')
    put(shipped, "units.toml", "")
    put(own, "labels/second.toml", 'id = "a"\nversion = "2"')
    put(own, "labels/mine.toml", 'id = "b"\nversion = "1"')
    put(own, "jurisdictions/broken.toml", 'id = "us-ca"\nstate = ')
    put(own, "labels/.hidden.toml", 'id = "h"')
    put(own, "labels/old/c.toml", 'id = "c"')
    put(tmp_path, "useledger.toml", "")
    found = gather(shipped, own, tmp_path / "useledger.toml")
    assert [(file.family, file.path, file.shipped) for file in found.files] == [
        ("units", "units.toml", True),
        ("label", "labels/a.toml", True),
        ("label", "labels/mine.toml", False),
        ("label", "labels/second.toml", False),
        ("jurisdiction", "jurisdictions/broken.toml", False),
        ("firm", "useledger.toml", False),
        ("stray", "labels/old/c.toml", False),
    ]
    assert [file.path for file in found.replaced] == ["labels/b.toml", "jurisdictions/us-ca.toml"]


def test_the_same_path_replaces_too(tmp_path):
    put(tmp_path / "shipped", "forms/f.toml", '[form]\nid = "f"')
    put(tmp_path / "own", "forms/f.toml", "[form]\nid = ")
    found = gather(tmp_path / "shipped", tmp_path / "own", None)
    assert [file.shipped for file in found.files] == [False]


def test_a_form_is_replaced_by_the_id_in_its_table(tmp_path):
    put(tmp_path / "shipped", "forms/f.toml", '[form]\nid = "f"')
    put(tmp_path / "own", "forms/g.toml", '[form]\nid = "f"')
    found = gather(tmp_path / "shipped", tmp_path / "own", None)
    assert [file.path for file in found.files] == ["forms/g.toml"]


def test_a_file_that_cannot_be_opened_is_a_fault(tmp_path):
    (tmp_path / "labels").mkdir()
    (tmp_path / "labels" / "gone.toml").symlink_to(tmp_path / "nowhere")
    (file,) = gather(tmp_path, None, None).files
    assert file.table is None
    assert [fault.code for fault in file.faults] == ["RULE-UNREADABLE"]
    missing = gather(tmp_path / "labels", None, tmp_path / "useledger.toml").files[-1]
    assert missing.path in {"useledger.toml", "gone.toml"}


def test_kept_texts_are_the_same_files_again(tmp_path):
    put(tmp_path, "labels/a.toml", 'id = "a"')
    put(tmp_path, "words.toml", "")
    put(tmp_path, "useledger.toml", "")
    first = gather(tmp_path, None, None).files
    assert kept_files({file.path: file.data for file in reversed(first)}) == first


def test_the_family_is_stated_by_the_folder():
    assert family_of("labels/x.toml") == "label"
    assert family_of("label/x.toml") == "stray"
    assert family_of("labels/old/x.toml") == "stray"
    assert family_of("practice/x.toml") == "practice"
    assert family_of("words.toml") == "words"
    assert family_of("wrods.toml") == "stray"


def test_the_shipped_rules_are_found():
    assert (shipped_rules() / "words.toml").is_file()


def test_a_raw_file_reads_itself():
    file = RawFile("label", "labels/a.toml", b'id = "a"\nversion = "2"\n')
    assert file.table == {"id": "a", "version": "2"}
    assert file.lines == {"id": 1, "version": 2}
    assert file.identity() == ("label", "a", "2")
    assert RawFile("label", "labels/b.toml", b'id = "b"\n[').identity() == ("label", "b", "")
