"""The gallery of broken files: each gives exactly the faults that its first comment names."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from ledger.rulebook.firm import NO_FIRM
from ledger.rulebook.reading import read_book
from ledger.rulefile import RawFile, shipped_rules
from ledger.values.finding import render_fault

GALLERY = Path(__file__).parent.parent / "fixtures" / "broken_rules"
FILES = sorted(GALLERY.glob("*.toml"))
EXPECTED = re.compile(r"# (\d+): (RULE-[A-Z0-9-]+) ?(\S*)")
PATHS = {
    "label": "labels/{}",
    "jurisdiction": "jurisdictions/{}",
    "practice": "practice/{}",
    "form": "forms/{}",
    "words": "words.toml",
    "units": "units.toml",
    "firm": "useledger.toml",
}
SHARED = ("units.toml", "words.toml", "forms/us-ca-monthly.toml")


def expected_of(data: bytes) -> list[tuple[int, str, str]]:
    found = []
    for row in data.decode("utf-8", "replace").split("\n"):
        match = EXPECTED.fullmatch(row)
        if not match:
            return found
        found.append((int(match[1]), match[2], match[3]))
    return found


def read_with(family: str, name: str, data: bytes):
    """Return the book of this file and of the shipped lists, and the file's path in it."""
    path = PATHS[family].format(name)
    shared = [
        RawFile(kind, shared_path, (shipped_rules() / shared_path).read_bytes())
        for shared_path, kind in zip(SHARED, ("units", "words", "form"), strict=True)
        if shared_path != path
    ]
    return read_book([*shared, RawFile(family, path, data)]), path


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_broken_file_gives_its_faults_and_no_others(file):
    family = file.name.partition("-")[0]
    data = file.read_bytes()
    book, path = read_with(family, file.name, data)
    shown = [
        (fault.origin.row, fault.code, fault.origin.column or "")
        for fault in book.faults
        if fault.origin.file == path
    ]
    assert shown == expected_of(data), "\n".join(map(render_fault, book.faults))
    assert shown
    assert [fault for fault in book.faults if fault.origin.file != path] == []


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_message_says_what_and_the_way_out(file):
    family = file.name.partition("-")[0]
    book, path = read_with(family, file.name, file.read_bytes())
    for fault in book.faults:
        line = render_fault(fault)
        where = re.escape(f"{path}:{fault.origin.row}: {fault.code}")
        assert re.fullmatch(rf"{where}( \S+)?: [^\n]+; [^\n]+", line), line
        assert len(line) < 900


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_broken_file_disables_itself_only(file):
    family = file.name.partition("-")[0]
    book, path = read_with(family, file.name, file.read_bytes())
    assert path not in [found.path for found in (*book.rule_files(), *book.forms)]
    if family == "label":
        assert path in book.doubtful.values()
        assert book.lexicon().doubtful == book.doubtful
    if family == "firm":
        assert book.firm == NO_FIRM
    if family != "words":
        assert book.words.find("method", "void")
    if family != "form":
        assert book.form("us-ca-monthly")


def test_the_gallery_shows_many_kinds_of_fault():
    codes = {code for file in FILES for _, code, _ in expected_of(file.read_bytes())}
    assert len(FILES) >= 90
    assert len(codes) >= 25
    assert sum(len(expected_of(file.read_bytes())) > 3 for file in FILES) >= 3


def test_the_nearest_key_is_offered():
    data = (GALLERY / "label-unknown-key.toml").read_bytes()
    book, _ = read_with("label", "x.toml", data)
    (line,) = map(render_fault, book.faults)
    assert line.startswith(
        'labels/x.toml:29: RULE-UNKNOWN-KEY limit[1].laest: unknown key "laest"; '
        'did you mean "least"? allowed: name, shape, source, says, per, '
    )


def test_a_broken_label_is_doubtful_by_id_and_by_number():
    for name in ("label-unknown-key.toml", "label-not-toml.toml", "label-not-utf8.toml"):
        book, _ = read_with("label", name, (GALLERY / name).read_bytes())
        assert book.doubtful == {
            "broken-dust": f"labels/{name}",
            "99999-71": f"labels/{name}",
        }
