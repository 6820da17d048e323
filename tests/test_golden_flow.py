"""One piece of work on both engines gives the same journal, byte for byte, as years before."""

from __future__ import annotations

import json
import os
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from ledger.flow.closing import close_day
from ledger.flow.correcting import amend, strike
from ledger.flow.filing_register import FilingWish, file_report
from ledger.flow.holding import drop_held, fix_held, held_lines
from ledger.flow.inspecting import prove_whole
from ledger.flow.listing import list_entries
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import Workspace
from ledger.values.period import Period
from tests.day_sheets import sheet
from tests.kept_rules import kept_workspace, same_as_kept
from tests.test_samples import CORRECTED, FOURTEENTH, MESSY, WORKBOOK
from tests.workspaces import ROOT, record

GOLDEN = ROOT / "fixtures" / "golden" / "flow.jsonl"
FIFTEENTH = date(2026, 1, 15)


def entry_of(firm: Workspace, day: date, line: str) -> int:
    rows = list_entries(firm, {"date_from": day, "date_to": day})
    return next(row.sealed.seq for row in rows if row.use.line == line)


def a_fortnight(firm: Workspace) -> list[str]:
    """Do one of everything; return the seal codes that a person would keep."""
    codes: list[str] = []
    record(firm, FOURTEENTH)
    record(firm, WORKBOOK)
    codes.append(close_day(firm, date(2026, 1, 14), None, "calloway").code)
    firm.clock.moment = datetime(2026, 1, 16, 2, 30, tzinfo=UTC)
    record(firm, MESSY)
    held = {line.cells["line"]: line.seq for line in held_lines(firm)}
    for line, changes in CORRECTED.items():
        fix_held(firm, held[line], changes, second=False, by="renner")
    for line in ("12", "13"):
        drop_held(firm, held[line], "entered by mistake", "renner")
    fourth = entry_of(firm, FIFTEENTH, "4")
    amend(firm, fourth, {"prepared": "fans off; food covered"}, "asked Renner", "calloway")
    strike(firm, entry_of(firm, FIFTEENTH, "15"), "the powder stayed in the van", "calloway")
    codes.append(close_day(firm, FIFTEENTH, None, "calloway").code)
    late = {"date": "2026-01-12", "note": "ça, déjà vu — « naïve » ½ oz"}
    record_sheet(firm, "forgotten.csv", sheet(late), "renner")
    codes.append(close_day(firm, date(2026, 1, 12), None, "calloway").code)
    firm.clock.moment = datetime(2026, 2, 9, 20, tzinfo=UTC)
    wish = FilingWish(date(2026, 2, 9), "by mail", "calloway", with_open=False)
    file_report(firm, Period(2026, 1), wish, {"Placer": {"placer.txt": b"as filed"}})
    return codes


def test_the_same_work_gives_the_same_bytes_on_each_engine(
    tmp_path: Path, server: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    firm = kept_workspace(tmp_path / "firm", server, monkeypatch)
    codes = a_fortnight(firm)
    assert all(codes)
    proof = prove_whole(firm, codes)
    assert proof.ok, proof.problems
    with firm.store.reading() as reader:
        lines = b"".join(text + b"\n" for text in reader.texts_since(0))
    firm.store.close()
    kinds = {json.loads(line)["kind"] for line in lines.splitlines()}
    assert kinds == {
        "ledger", "rules", "sheet", "site", "application", "observation", "held", "dropped",
        "judgement", "amendment", "strike", "close", "filing",
    }  # fmt: skip
    assert same_as_kept(GOLDEN, lines, os.environ.get), (
        "the journal's bytes have changed: if that was meant, look at the difference after "
        f"USELEDGER_REWRITE=1 pytest {Path(__file__).name}"
    )
