"""Exit codes, streams and JSON of every command of the journey, in their cases."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from ledger.cli import COMMANDS
from tests.cli_use import DAY, MESSY, copied, head_of, made_workspace, use
from tests.workspaces import SAMPLES


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workspace with both sample sheets; the tests of this fixture must not change it."""
    return made_workspace(tmp_path_factory.mktemp("made"))


@pytest.fixture
def root(made: Path, tmp_path: Path) -> Path:
    """A workspace of one test's own."""
    return copied(made, tmp_path)


def held_numbers(root: Path) -> list[int]:
    return [line["held"] for line in use("held", "--json", root=root).json]


# ------------------------------------------------------------------ what reads and changes nothing

DONE = (
    ("rules", "list"), ("rules", "show", "us-ca"), ("rules", "show", "ridgeline-dust"),
    ("rules", "check"), ("people", "--on", "2026-01-15"), ("sites",), ("sites", "list"),
    ("sites", "show", "S0001"), ("sites", "show", "Idaho Bar"),
    ("check", SAMPLES / DAY), ("check", SAMPLES / MESSY), ("entries",),
    ("entries", "--site", "S0001", "--versions"),
    ("entries", "--county", "31", "--from", "2026-01-14", "--to", "2026-01-14"),
    ("entries", "--product", "Marsh Ant Gel", "--applicator", "renner"),
    ("entries", "--jurisdiction", "us-ca", "--wide"),
    ("summary", "2026-01"), ("summary", "2026-01", "--county", "placer"),
    ("summary", "2026-01", "--open", "1"), ("summary", "2026-01", "--form", "us-ca-monthly"),
    ("trace", "1"), ("trace", "8"), ("verify",), ("upgrade",),
)  # fmt: skip
OWED = (
    ("held",), ("held", "show"), ("filings",),
    ("close", "2026-01-15", "--by", "renner"),
)  # fmt: skip


@pytest.mark.parametrize("words", DONE, ids=lambda words: " ".join(str(word) for word in words))
def test_done_is_0_with_results_on_standard_output_only(made: Path, words: tuple[Any]) -> None:
    before = head_of(made)
    shown = use(*words, root=made)
    assert shown.code == 0, shown
    assert shown.out
    assert not shown.err
    told = use(*words, "--json", root=made)
    assert told.code == 0
    assert told.json is not None
    assert not told.err
    assert head_of(made) == before


@pytest.mark.parametrize("words", OWED, ids=lambda words: " ".join(str(word) for word in words))
def test_held_found_or_owed_is_1(made: Path, words: tuple[Any]) -> None:
    before = head_of(made)
    shown = use(*words, root=made)
    assert shown.code == 1
    assert shown.out
    assert not shown.err
    told = use(*words, "--json", root=made)
    assert told.code == 1
    assert told.json
    assert head_of(made) == before


COULD_NOT = (
    ("check", "nowhere.csv"), ("record", "nowhere.csv"), ("record", SAMPLES),
    ("held", "fix"), ("held", "fix", "1", "amount=1 oz"), ("held", "fix", "x", "amount=1 oz"),
    ("held", "fix", "9999", "amount=1 oz"),
    ("held", "drop", "1", "--because", "x", "--by", "renner"),
    ("close", "tuesday", "--by", "renner"), ("close", "2026-01-15", "--by", "nobody"),
    ("close", "2026-01-15", "--by", "renner", "--applicator", "nobody"),
    ("close", "9999-01-01", "--by", "renner"), ("close", "2020-01-01", "--by", "renner"),
    ("amend", "8", "--because", "x", "--by", "renner"),
    ("amend", "8", "amuont=1 oz", "--because", "x", "--by", "renner"),
    ("amend", "8", "amount", "--because", "x", "--by", "renner"),
    ("amend", "8", "amount=1 galosh", "--because", "x", "--by", "renner"),
    ("amend", "8", "amount=1 oz", "--because", " ", "--by", "renner"),
    ("amend", "3", "amount=1 oz", "--because", "x", "--by", "renner"),
    ("strike", "3", "--because", "x", "--by", "renner"),
    ("strike", "8", "--because", "x", "--by", "nobody"),
    ("entries", "--from", "yesterday"), ("entries", "--from", "2026-02-01", "--to", "2026-01-01"),
    ("entries", "--site", "nowhere"), ("entries", "--county", "Placr"),
    ("entries", "--product", "99999-00"), ("entries", "--applicator", "nobody"),
    ("entries", "--jurisdiction", "us-zz"), ("entries", "--out", "list.doc"),
    ("summary", "2026-13"), ("summary", "2026-01", "--county", "Alpine"),
    ("summary", "2026-01", "--form", "nope"), ("summary", "2026-01", "--jurisdiction", "us-zz"),
    ("summary", "2026-01", "--open", "99"), ("summary", "2026-01", "--out", "month.doc"),
    ("file", "2026-01", "--by", "renner"), ("file", "2099-01", "--by", "renner"),
    ("file", "2026-01", "--by", "renner", "--county", "Alpine", "--with-open"),
    ("file", "2026-01", "--by", "renner", "--with-open", "--on", "2099-01-01"),
    ("trace", "0"), ("trace", "99999"), ("trace", "one"), ("verify", "--seal", "garbled"),
    ("rules", "show", "us-cx"), ("rules", "copy", "us-cx"), ("rules", "check", "nowhere"),
    ("people", "--on", "32"), ("sites", "show", "S9999"),
    ("sites", "same", "S0001", "--by", "renner"), ("sites", "apart", "S9999", "--by", "renner"),
    ("template", "day.doc"), ("backup", SAMPLES),
)  # fmt: skip


@pytest.mark.parametrize(
    "words", COULD_NOT, ids=lambda words: " ".join(str(word) for word in words)
)
def test_could_not_is_2_with_a_message_and_nothing_changed(made: Path, words: tuple[Any]) -> None:
    before, files = head_of(made), sorted(made.rglob("*"))
    shown = use(*words, root=made)
    assert shown.code == 2, shown
    assert shown.err or words[0] == "verify"
    assert head_of(made) == before
    assert sorted(made.rglob("*")) == files
    told = use(*words, "--json", root=made)
    assert told.code == 2
    if told.out:
        json.loads(told.out)
    assert head_of(made) == before


# ------------------------------------------------------------------ what changes the ledger


def test_a_held_line_is_put_right_dropped_and_the_day_closed(root: Path) -> None:
    first, *rest = held_numbers(root)
    fixed = use("held", "fix", first, "amount=0.25 oz", root=root)
    assert fixed.code == 1  # booked, with an interval broken
    assert f"clears held line {first}" in fixed.out
    still = use("held", "fix", rest[0], "lot=7", root=root)
    assert still.code == 2
    assert "still held" in still.err
    assert not still.out
    for number in rest:
        dropped = use("held", "drop", number, "--because", "x", "--by", "renner", root=root)
        assert dropped.code == 0
    waits = use("close", "2026-01-15", "--by", "renner", "--json", root=root)
    assert waits.code == 1
    assert waits.json["waits_for"]
    owing = next(
        row["seq"] for row in use("entries", "--json", root=root).json["entries"]
        if row["places"] == "under refrigerator"
    )  # fmt: skip
    amended = use(
        "amend", owing, "avoided=none present", "prepared=fans off", "--because", "asked", "--by",
        "renner", root=root,
    )  # fmt: skip
    assert amended.code == 1
    closed = use("close", "2026-01-15", "--by", "renner", root=root)
    assert closed.code == 0
    assert "seal code" in closed.out
    assert "Nothing is held." in use("held", root=root).out


def test_an_amendment_without_a_finding_is_0_and_a_strike_too(root: Path) -> None:
    amended = use("amend", "8", "amount=0.7 oz", "--because", "x", "--by", "renner", "--json",
                  root=root)  # fmt: skip
    assert amended.json["old"] == 8
    assert amended.code in {0, 1}
    struck = use("strike", "9", "--because", "x", "--by", "renner", root=root)
    assert struck.code == 0
    assert use("strike", "9", "--because", "x", "--by", "renner", root=root).code == 2
    listed = use("entries", "--versions", "--json", root=root).json["entries"]
    states = {row["seq"]: row["state"] for row in listed}
    assert states[8] == "amended"
    assert states[9] == "struck"


def test_a_sheet_handed_in_again_is_0_and_books_nothing(root: Path) -> None:
    again = use("record", SAMPLES / DAY, "--json", root=root)
    assert again.code == 0
    assert (again.json[0]["booked"], again.json[0]["taken"]) == (0, 9)


def test_of_several_sheets_none_is_booked_where_one_cannot_be_read(
    root: Path, tmp_path: Path
) -> None:
    good, bad = tmp_path / "good.csv", tmp_path / "bad.csv"
    lines = (SAMPLES / DAY).read_text(encoding="utf-8").replace("2026-01-14", "2026-01-16")
    good.write_text(lines, encoding="utf-8")
    bad.write_bytes(b"\x00\x01\x02 no sheet")
    before = head_of(root)
    shown = use("record", good, bad, root=root)
    assert shown.code == 2
    assert "bad.csv" in shown.err
    assert not shown.out
    assert head_of(root) == before
    assert use("record", good, root=root).code in {0, 1}
    assert head_of(root)[0] > before[0]


def test_filing_early_with_open_ends_late_and_one_county(root: Path) -> None:
    refused = use("file", "2026-01", "--by", "renner", root=root)
    assert refused.code == 2
    assert "--with-open" in refused.err
    one = use("file", "2026-01", "--by", "renner", "--with-open", "--county", "Placer", "--on",
              "2026-02-09", root=root)  # fmt: skip
    assert one.code == 0
    assert "Placer filed: in time" in one.out
    assert "1 day not closed (2026-01-15)" in one.out
    assert "9 held lines" in one.out
    late = use("file", "2026-01", "--by", "renner", "--with-open", "--on", "2026-02-12", "--json",
               root=root)  # fmt: skip
    assert late.code == 1
    assert [item["late"] for item in late.json] == [True, True]
    listed = use("filings", root=root)
    assert listed.code == 1
    assert "LATE" in listed.out
    assert "replaced by a newer filing" in listed.out


def test_papers_that_cannot_be_written_leave_nothing_registered(root: Path) -> None:
    before = head_of(root)
    (root / "reports").write_text("in the way", encoding="utf-8")
    shown = use("file", "2026-01", "--by", "renner", "--with-open", root=root)
    assert shown.code == 2
    assert shown.err
    assert head_of(root) == before


def test_verify_tells_a_right_a_wrong_and_a_mistyped_code_apart(root: Path) -> None:
    code = use("close", "2026-01-14", "--by", "renner", "--json", root=root).json["seal_code"]
    right = use("verify", "--seal", code, root=root)
    assert right.code == 0
    assert "The newest kept code seals entry" in right.out
    mistyped = use("verify", "--seal", code[:-1] + ("A" if code[-1] != "A" else "B"), root=root)
    assert mistyped.code == 2
    assert "whole in itself" in mistyped.out
    assert "NOT whole" not in mistyped.out
    from ledger.seal import seal_code

    foreign = use("verify", "--seal", seal_code("ab" * 32), root=root)
    assert foreign.code == 2
    assert "NOT whole: 1 problem." in foreign.out


def test_a_day_sheet_is_written_and_never_written_over(root: Path, tmp_path: Path) -> None:
    for name in ("day.xlsx", "day.pdf"):
        target = tmp_path / "sheets" / name
        assert use("template", target, root=root).code == 0
        written = target.read_bytes()
        again = use("template", target, root=root)
        assert again.code == 2
        assert target.read_bytes() == written


def test_a_backup_is_verified_and_a_rule_file_copied_once(root: Path, tmp_path: Path) -> None:
    assert use("backup", tmp_path / "copy.db", root=root).code == 0
    assert use("backup", tmp_path / "copy.db", root=root).code == 2
    assert use("rules", "copy", "us-ca", root=root).code == 0
    assert use("rules", "copy", "us-ca", root=root).code == 2


def test_people_owe_only_where_somebody_who_is_needed_has_no_licence(root: Path) -> None:
    firm = root / "useledger.toml"
    text = firm.read_text(encoding="utf-8")
    now = use("people", "--on", "2026-01-15", root=root)
    assert now.code == 0
    assert "Pell Aster: no licence" in now.out  # under supervision by a certified person
    gone = use("people", "--on", "2029-01-01", "--json", root=root)
    assert gone.code == 1  # the licensee's own licence has ended by then
    assert "calloway" in gone.json["owed"]
    assert 'supervisor = "renner"' in text
    firm.write_text(text.replace('supervisor = "renner"\n', ""), encoding="utf-8")
    # both applied products that week, and nobody is named to supervise them now
    alone = use("people", "--on", "2026-01-15", "--json", root=root)
    assert alone.code == 1
    assert alone.json["owed"] == ["marsh", "aster"]


def test_a_broken_rule_file_is_told_by_line_and_stops_no_day(root: Path) -> None:
    label = root / "rules" / "labels" / "alder-dust.toml"
    label.write_text("format = 1\nid = alder-dust\n", encoding="utf-8")
    shown = use("rules", "check", root=root)
    assert shown.code == 2
    assert "labels/alder-dust.toml:2: RULE-SYNTAX" in shown.out
    assert use("rules", "list", root=root).code == 2
    day = use("record", SAMPLES / DAY, root=root)
    assert day.code in {0, 1}
    assert "labels/alder-dust.toml:2" in day.err


def test_init_makes_a_workspace_that_every_command_opens(tmp_path: Path) -> None:
    root = tmp_path / "our firm"
    made = use("init", root, "--name", 'Firm "A"', "--person", "ann", "--json")
    assert made.code == 0
    assert Path(made.json["firm_file"]).is_file()
    for words in (("rules", "check"), ("entries",), ("summary", "2026-01"), ("filings",),
                  ("held",), ("verify",), ("sites",)):  # fmt: skip
        shown = use(*words, root=root)
        assert shown.code == 0, shown
    assert use("people", root=root).code == 1  # the licensee's licence is still to be written
    assert use("init", root).code == 2
    bad = tmp_path / "bad"
    assert use("init", bad, "--zip", "none").code == 2
    assert not bad.exists()
    shutil.rmtree(root)


def test_every_command_of_the_journey_has_its_case() -> None:
    cases = {words[0] for words in (*DONE, *OWED, *COULD_NOT)}
    journey = {
        "template", "check", "record", "held", "close", "amend", "strike", "entries", "summary",
        "file", "filings", "trace", "verify", "rules", "people", "sites", "upgrade", "backup",
    }  # fmt: skip
    assert journey <= cases & set(COMMANDS)
