"""A long sheet is read line by line, booked in batches, and is the same sheet all the same."""

from __future__ import annotations

import errno
import json
import tempfile
import tracemalloc
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from ledger.cli import main
from ledger.flow import recording
from ledger.flow.booking import Recorded
from ledger.flow.inspecting import prove_whole
from ledger.flow.keeping import export_ledger
from ledger.flow.recording import check_sheet, record_sheet
from ledger.flow.workspace import Workspace
from ledger.intake import csv_file, open_sheet, read_sheet
from ledger.intake.csv_file import open_csv
from ledger.intake.lines import Lines
from ledger.journal import StoreProblem, scratch
from ledger.values.sealed import EntryKind
from tests.bench.firm import day_sheet
from tests.day_sheets import sheet
from tests.workspaces import sample_workspace


@given(st.text(alphabet="ab\n", max_size=60), st.integers(min_value=1, max_value=5))
def test_lines_are_those_of_a_split(text: str, back: int) -> None:
    wanted = text.split("\n")
    lines = Lines(text)
    assert len(lines) == len(wanted)
    for index, line in enumerate(wanted):
        lines.release(index - back)
        assert lines[index] == line
        assert lines[max(index - back, 0)] == wanted[max(index - back, 0)]


def test_what_is_released_is_gone() -> None:
    lines = Lines("a\nb\nc")
    assert [lines[0], lines[1]] == ["a", "b"]
    lines.release(1)
    assert lines[1] == "b"
    with pytest.raises(KeyError):
        lines[0]


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_drafts_one_by_one_are_those_of_the_whole_sheet(ending: str) -> None:
    text = sheet(
        {"line": "1", "note": "two\nlines, and a \"quote\""}, {"line": "2", "address": "2 Elm St"},
        {"line": "3", "extent": "3 ft high; 1,000 sq ft"},
    ).decode()  # fmt: skip
    text = text.replace("\n", ending) + ending * 3 + " , ,"
    opened, whole = (
        open_sheet("d.csv", text.encode(), True),
        read_sheet("d.csv", text.encode(), True),
    )
    assert tuple(opened.drafts()) == whole.drafts
    assert tuple(opened.drafts()) == whole.drafts, "reading begins anew each time"
    assert opened.count() == len(whole.drafts) == 3
    assert (opened.digest, opened.remarks) == (whole.digest, whole.remarks)


def test_what_refuses_a_sheet_refuses_a_long_one() -> None:
    for data in (b"", b"a,b\n1,2\n", b"%PDF-1.4", b"date,applicator,product,amount,address\n"):
        opened, whole = open_sheet("d.csv", data, True), read_sheet("d.csv", data, True)
        assert opened.faults == whole.faults != ()


def booked(root: Path, data: bytes) -> tuple[Workspace, dict[str, int]]:
    firm = sample_workspace(root)
    done = record_sheet(firm, "long.csv", data, "renner")
    return firm, {state: done.count(state) for state in ("booked", "held", "taken")}


def uses(firm: Workspace) -> list[tuple[str, str, object]]:
    with firm.store.reading() as reader:
        kinds = (EntryKind.APPLICATION, EntryKind.HELD)
        return [
            (str(entry.kind), str(entry.body["identity"]), entry.body["copy"])
            for entry in reader.entries(kinds=kinds)
        ]


def test_in_batches_or_at_once_the_same_is_booked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = [{"line": "", "address": f"{n % 7} Tollhouse Lane"} for n in range(1, 24)]
    lines += [{"line": "", "address": "1 Penryn Cut", "amount": "0,5 oz"}] * 3
    data = sheet(*lines)
    whole, counts = booked(tmp_path / "whole", data)
    monkeypatch.setattr(recording, "BATCH", 5)
    parts, counts_of_parts = booked(tmp_path / "parts", data)
    assert counts == counts_of_parts
    assert counts["held"] == 3
    assert sorted(uses(whole)) == sorted(uses(parts))
    with parts.store.reading() as reader:
        states = [e.body["state"] for e in reader.entries(kinds=(EntryKind.SHEET,))]
        ends = [e.body["identity"] for e in reader.entries(kinds=(EntryKind.SHEET,))]
    assert states == ["started", "finished"]
    with whole.store.reading() as reader:
        (at_once,) = reader.entries(kinds=(EntryKind.SHEET,))
    assert ends == [None, at_once.body["identity"]]
    assert prove_whole(parts).ok


def told(done: Recorded) -> tuple[object, ...]:
    lines = [
        (item.line.draft.origin, item.line.state, item.line.faults, item.findings)
        for item in done.outcomes
        if item.findings or item.line.faults
    ]
    states = ("booked", "held", "taken")
    return lines, [done.count(state) for state in states], done.judged_again


def test_check_says_of_a_long_sheet_what_record_then_does(
    server: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recording, "BATCH", 5)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    firm = sample_workspace(tmp_path / "firm", server)
    record_sheet(firm, "before.csv", sheet({"address": "1 Tollhouse Lane"}), "renner")
    lines = [{"line": "", "address": f"{n % 7} Tollhouse Lane"} for n in range(1, 24)]
    lines += [{"line": "", "address": "1 Penryn Cut", "amount": "0,5 oz"}] * 3
    data = sheet(*lines)
    before = firm_head(firm)
    dry = check_sheet(firm, "long.csv", data)
    assert not dry.sealed
    assert firm_head(firm) == before
    assert list(tmp_path.glob("useledger-*")) == [], "the copy is gone"
    assert {item.seq for item in dry.outcomes} <= {None, *range(1, before[0] + 1)}
    wet = record_sheet(firm, "long.csv", data, "renner")
    assert told(dry) == told(wet)
    assert wet.count("booked") > 5
    assert [item.seq for item in check_sheet(firm, "long.csv", data).outcomes] == [
        item.seq for item in record_sheet(firm, "long.csv", data, "renner").outcomes
    ]


def firm_head(firm: Workspace) -> tuple[int, str]:
    with firm.store.reading() as reader:
        return reader.head.seq, reader.head.seal


def test_a_long_sheet_can_be_checked_in_a_ledger_that_was_moved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recording, "BATCH", 2)
    firm = sample_workspace(tmp_path / "firm")
    export_ledger(firm, tmp_path / "out", {}, "renner")
    data = sheet(*({"line": str(n)} for n in range(1, 6)))
    assert check_sheet(firm, "long.csv", data).count("booked") == 5


def test_no_room_for_the_copy_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recording, "BATCH", 2)
    firm = sample_workspace(tmp_path / "firm")
    monkeypatch.setattr(scratch, "copy_into", refuse)
    with pytest.raises(StoreProblem, match="no copy of the ledger") as problem:
        check_sheet(firm, "long.csv", sheet(*({"line": str(n)} for n in range(1, 6))))
    assert "TMPDIR" in problem.value.way_out


def refuse(*_: object) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def test_several_sheets_of_which_one_is_longer_than_a_day_sheet_are_recorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(csv_file, "MAX_ROWS", 3)
    monkeypatch.setattr(recording, "BATCH", 2)
    firm = sample_workspace(tmp_path / "firm")
    for name, count in (("short.csv", 1), ("long.csv", 6)):
        lines = ({"line": "", "address": f"{n + count} Elm St"} for n in range(1, count + 1))
        (tmp_path / name).write_bytes(sheet(*lines))
    for command in ("check", "record"):
        done = CliRunner().invoke(
            main, [command, str(tmp_path / "short.csv"), str(tmp_path / "long.csv"), "--json",
                   "--workspace", str(firm.root)],
        )  # fmt: skip
        assert done.exit_code <= 1, done.output
        assert [one["booked"] for one in json.loads(done.stdout)] == [1, 6]


def test_a_long_sheet_saved_otherwise_is_the_same_sheet(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recording, "BATCH", 5)
    lines = [{"line": "", "address": f"{n} Tollhouse Lane"} for n in range(1, 14)]
    firm, first = booked(tmp_path / "firm", sheet(*lines))
    assert first["booked"] == 13
    otherwise = sheet(*reversed(lines)).replace(b"\n", b"\r\n")
    again = record_sheet(firm, "other.csv", otherwise, "renner")
    assert (again.count("taken"), again.count("booked"), again.count("held")) == (13, 0, 0)


def test_reading_a_long_sheet_takes_no_more_memory_than_a_short_one() -> None:
    def peak(lines: int) -> int:
        opened = open_csv("y.csv", day_sheet(lines).encode(), month_first=True)
        tracemalloc.start()
        assert sum(1 for _ in opened.drafts()) == lines
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return most

    peak(8000)  # what is kept between readings is there before
    assert peak(8000) < peak(2000) + 2_000_000
