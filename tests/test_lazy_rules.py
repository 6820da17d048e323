"""Laws and forms that are read when they are asked for are the same as those read at once."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import pytest

from ledger.flow.workspace import read_rules
from ledger.rulebook.reading import LATER, read_book
from ledger.rulefile import RawFile, gather, kept_files, shipped_rules
from ledger.values.later import Later
from tests.house import ROOT

FIRM = ROOT / "ledger" / "demo" / "useledger.toml"


def files(rules: Path | None = None) -> tuple[RawFile, ...]:
    return gather(shipped_rules(), rules, FIRM).files


def test_read_at_once_or_later_the_book_is_the_same() -> None:
    whole, lazy = read_book(files()), read_book(files(), lazily=True)
    assert isinstance(lazy.jurisdictions, Later)
    assert isinstance(lazy.forms, Later)
    for part in fields(whole):
        if part.name not in {"memory", "states"}:
            assert getattr(whole, part.name) == getattr(lazy, part.name), part.name
    assert len(whole.jurisdictions) > 30
    assert list(whole.lexicon().places_of_law) == list(lazy.lexicon().places_of_law)
    for place in whole.lexicon().places_of_law:
        assert lazy.lexicon().place_of_law(place.state) == place
        assert lazy.lexicon().place(place.id) == whole.lexicon().place(place.id) == place
    assert lazy.lexicon().place("us-zz") is None
    assert lazy.laws_of("us-ca") == whole.laws_of("us-ca")


def test_a_law_is_read_when_its_place_is_asked_for_and_no_other() -> None:
    read: list[str] = []

    class Told(RawFile):
        @property
        def table(self):  # type: ignore[no-untyped-def]
            read.append(self.path)
            return super().table

    told = [Told(file.family, file.path, file.data, file.shipped) for file in files()]
    book = read_book(told, lazily=True)
    assert book.lexicon().place_of_law("NV") is not None
    assert book.form("ny-yearly") is None or book.form("ny-yearly")
    laws = {path for path in read if path.startswith("jurisdictions/")}
    # The demonstration's firm is registered with counties of California.
    assert laws == {"jurisdictions/us-ca.toml", "jurisdictions/us-nv.toml"}
    assert book.laws_of("us-ca")
    assert "jurisdictions/us-federal.toml" in read


def test_shipped_files_say_their_names_plainly() -> None:
    for file in gather(shipped_rules(), None, None).files:
        own = RawFile(file.family, file.path, file.data, shipped=False)
        assert file.identity() == own.identity(), file.path


def test_a_law_of_the_firm_is_always_read_and_its_faults_told(tmp_path: Path) -> None:
    folder = tmp_path / "jurisdictions"
    folder.mkdir()
    text = (shipped_rules() / "jurisdictions" / "us-nv.toml").read_text("utf-8")
    (folder / "us-nv.toml").write_text(text.replace("time_zone", "time_zome", 1), "utf-8")
    book = read_book(files(tmp_path), lazily=True)
    assert not isinstance(book.jurisdictions, Later)
    assert [fault.origin.file for fault in book.faults] != []
    assert book.jurisdiction("us-nv") is None


def test_a_kept_law_that_is_broken_decides_nothing() -> None:
    texts = dict(read_book(files()).texts)
    texts["jurisdictions/us-nv.toml"] += b"\nwrong = [\n"
    book = read_book(kept_files(texts), lazily=True)
    assert book.jurisdiction("us-nv") is None
    assert book.lexicon().place_of_law("NV") is None
    assert book.jurisdiction("us-ca") is not None


def test_the_rules_of_no_workspace_are_read_whole_on_demand() -> None:
    assert isinstance(read_rules(None).jurisdictions, Later)
    assert isinstance(read_rules(None, whole=True).jurisdictions, tuple)
    assert LATER == ("jurisdiction", "form")


@pytest.mark.parametrize("names", [(), ("one",), ("one", "none", "two")])
def test_a_list_made_later_is_a_list(names: tuple[str, ...]) -> None:
    made: list[str] = []

    def maker(name: str) -> str | None:
        made.append(name)
        return None if name == "none" else name

    later = Later({name: (lambda name=name: maker(name)) for name in names})  # type: ignore[misc]
    there = [name for name in names if name != "none"]
    assert later.names == names
    assert made == []
    assert list(later) == there
    assert len(later) == len(there)
    assert later == there
    assert later[:1] == there[:1]
    assert later.get("other") is None
    assert sorted(made) == sorted(names)
