"""One invented day in numbered files, each made from the one before, step by step."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from fractions import Fraction
from typing import Any

import pytest
from click.testing import CliRunner

from ledger.cli import main
from ledger.flow.closing import Closed, close_day
from ledger.flow.filing_register import Filed, FilingWish, file_report
from ledger.flow.holding import fix_held, held_lines
from ledger.flow.judging import find
from ledger.flow.periods import summarise_period
from ledger.flow.places import SiteBook
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import Workspace
from ledger.intake import read_sheet
from ledger.normalise.line import Normalised, normalise_line
from ledger.values.body import application_body, application_from
from ledger.values.draft import Draft
from ledger.values.finding import Finding, render_fault
from ledger.values.origin import Cell, Origin
from ledger.values.period import Period
from ledger.values.summary_rows import LINE_COLUMNS, line_rows
from reports.csv_file import rows_csv
from tests.kept_rules import REWRITE, kept_workspace, same_as_kept
from tests.workspaces import ROOT

FOLDER = ROOT / "fixtures" / "one_day"
SHEET = "1-as-written.csv"
DAY = date(2026, 1, 21)
JANUARY = Period(2026, 1)


def kept(name: str) -> bytes:
    return (FOLDER / name).read_bytes()


def compare(name: str, data: bytes) -> None:
    """Hold what a step made to the committed file."""
    assert same_as_kept(FOLDER / name, data, os.environ.get), (
        f"{name} comes out otherwise; if that was meant, set {REWRITE}=1 and read the difference"
    )


def pretty(value: object) -> bytes:
    return (json.dumps(value, ensure_ascii=False, indent=1) + "\n").encode()


@dataclass
class Journey:
    """The day's work done with the program: what each later step gave."""

    firm: Workspace
    texts: tuple[bytes, ...]
    refused: Closed
    closed: Closed
    filed: tuple[Filed, ...]


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workspace]:
    """The firm's workspace before the day."""
    with pytest.MonkeyPatch.context() as patch:
        firm = kept_workspace(tmp_path_factory.mktemp("one day") / "before", "", patch)
        yield firm
        firm.store.close()


@pytest.fixture(scope="module")
def journey(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Journey]:
    """Book, put right, close, file: the later steps, done once."""
    with pytest.MonkeyPatch.context() as patch:
        firm = kept_workspace(tmp_path_factory.mktemp("one day") / "firm", "", patch)
        firm.clock.moment = datetime(2026, 1, 22, 1, 30, tzinfo=UTC)
        record_sheet(firm, SHEET, kept(SHEET), "renner")
        refused = close_day(firm, DAY, None, "calloway")
        (held,) = held_lines(firm)
        fix_held(firm, held.seq, {"amount": "1/4 oz"}, second=False, by="renner")
        with firm.store.reading() as reader:
            texts = tuple(reader.texts_since(0))
        closed = close_day(firm, DAY, None, "calloway")
        firm.clock.moment = datetime(2026, 2, 4, 20, tzinfo=UTC)
        wish = FilingWish(date(2026, 2, 4), "by mail", "calloway", with_open=False)
        yield Journey(firm, texts, refused, closed, file_report(firm, JANUARY, wish, {}))
        firm.store.close()


# 1 read


def draft_json(draft: Draft) -> dict[str, Any]:
    here = draft.origin.row
    repeated: dict[str, dict[str, str]] = {}
    for heading, cell in draft.cells.items():
        if cell.text and cell.origin.row != here:
            repeated.setdefault(f"repeated from row {cell.origin.row}", {})[heading] = cell.text
    typed = {heading: text for heading, text in draft.typed.items() if text}
    return {"row": here, "typed": typed, **repeated}


def draft_from(said: Mapping[str, Any]) -> Draft:
    """Return a draft as step 1 made it, from its JSON alone."""
    cells: dict[str, Cell] = {}
    for name, texts in said.items():
        if name == "row":
            continue
        row = int(name.rpartition(" ")[2]) if name.startswith("repeated") else said["row"]
        for heading, text in texts.items():
            cells[heading] = Cell(text, Origin(SHEET, row, heading))
    return Draft(Origin(SHEET, said["row"]), cells, said["typed"])


def test_2_drafts_are_read_from_the_sheet_as_written(empty: Workspace) -> None:
    sheet = read_sheet(SHEET, kept(SHEET), empty.book.firm.month_first)
    assert sheet.faults == ()
    drafts = [draft_json(draft) for draft in sheet.drafts]
    rows = list(csv.DictReader(io.StringIO(kept(SHEET).decode())))
    assert [draft["typed"] for draft in drafts] == [
        {heading: text for heading, text in row.items() if text} for row in rows
    ]
    compare("2-drafts.json", pretty(drafts))


# 2 normalise


def understood(firm: Workspace) -> list[Normalised]:
    """Return every draft of file 2 as understood."""
    with firm.store.reading() as reader:
        sites = SiteBook(reader)
        lexicon = firm.book.lexicon()
        return [
            normalise_line(draft_from(said), lexicon, firm.book.units, sites.find)
            for said in json.loads(kept("2-drafts.json"))
        ]


def without_blanks(body: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in body.items() if value not in ("", None, [])}


def test_3_entries_are_understood_from_the_drafts(empty: Workspace) -> None:
    entries: list[dict[str, Any]] = []
    for item in understood(empty):
        said: dict[str, Any] = {"row": item.draft.origin.row}
        if item.application is None:
            said["held"] = [render_fault(fault) for fault in item.faults]
        else:
            body, private = application_body(item.application)
            said["identity"] = item.identity
            said["entry"] = without_blanks(body)
            said["private"] = without_blanks(private)
        entries.append(said)
    assert [entry["row"] for entry in entries if "held" in entry] == [3]
    compare("3-entries.json", pretty(entries))


# 3 and 4 check


def blank_body(firm: Workspace) -> dict[str, Any]:
    """Return a body in which nothing is said: what file 3 leaves out."""
    use = next(item.application for item in understood(firm) if item.application is not None)
    body, _ = application_body(use)
    return {
        name: "" if isinstance(value, str) else [] if isinstance(value, list) else None
        for name, value in body.items()
    }


FAMILIES = {"labels": "label", "jurisdictions": "law", "practice": "practice"}


def by_family(findings: Sequence[Finding]) -> dict[str, list[dict[str, Any]]]:
    found: dict[str, list[dict[str, Any]]] = {"label": [], "law": []}
    for item in findings:
        family = item.rules[0].file.partition("/")[0] if item.rules else ""
        found.setdefault(FAMILIES.get(family, "people and record"), []).append({
            "kind": str(item.kind), "name": item.name, "text": item.text,
            "rules": [f"{rule.file}:{rule.line} {rule.source}" for rule in item.rules],
        })  # fmt: skip
    return found


def test_4_findings_are_judged_from_the_entries(empty: Workspace) -> None:
    uses = {
        said["row"]: application_from({**blank_body(empty), **said["entry"]}, said.get("private"))
        for said in json.loads(kept("3-entries.json"))
        if "entry" in said
    }
    findings = [{"row": row, **by_family(judged(empty, row, uses))} for row in uses]
    breaches = [
        (said["row"], item["name"])
        for said in findings
        for family in said.values()
        if isinstance(family, list)
        for item in family
        if item["kind"] != "advice"
    ]
    assert breaches == [(5, "void-rate")]
    compare("4-findings.json", pretty(findings))


def judged(firm: Workspace, row: int, uses: Mapping[int, Any]) -> tuple[Finding, ...]:
    """Judge one line with the others at its site."""
    use = uses[row]
    others = [other for place, other in uses.items() if place != row and other.site == use.site]
    with firm.store.reading() as reader:
        sites = SiteBook(reader)
        lexicon = firm.book.lexicon()
        for said in json.loads(kept("2-drafts.json")):
            normalise_line(draft_from(said), lexicon, firm.book.units, sites.find)
        site = sites.get(use.site)
    assert site is not None
    return find(firm.book, use, site, others)


# 5 append and seal


def test_5_entries_and_findings_are_sealed(journey: Journey) -> None:
    compare("5-sealed.jsonl", b"".join(text + b"\n" for text in journey.texts))
    lines = kept("5-sealed.jsonl").splitlines()
    sealed = [json.loads(line) for line in lines]
    for before, after in zip(lines, sealed[1:], strict=False):
        assert after["prev"] == hashlib.sha256(before).hexdigest()
    booked = {
        line["body"]["origin"]["row"]: line for line in sealed if line["kind"] == "application"
    }
    for said in json.loads(kept("3-entries.json")):
        if "entry" in said:
            body = booked[said["row"]]["body"]
            assert {name: body[name] for name in said["entry"]} == said["entry"]
            assert body["identity"] == said["identity"]
    assert booked[3]["body"]["clears"] == next(
        line["seq"] for line in sealed if line["kind"] == "held"
    )
    found = {
        item["seq"]: [finding["name"] for finding in item["findings"]]
        for line in sealed
        if line["kind"] == "judgement"
        for item in line["body"]["findings"]
    }
    for said in json.loads(kept("4-findings.json")):
        names = [item["name"] for key, family in said.items() if key != "row" for item in family]
        assert set(names) <= set(found.get(booked[said["row"]]["seq"], []))


# 6 close


def tree_root(leaves: Sequence[bytes]) -> bytes:
    """Return the Merkle tree hash as RFC 9162, section 2.1.1, defines it, word for word."""
    if len(leaves) == 1:
        return hashlib.sha256(b"\x00" + leaves[0]).digest()
    split = 1
    while split * 2 < len(leaves):
        split *= 2
    return hashlib.sha256(b"\x01" + tree_root(leaves[:split]) + tree_root(leaves[split:])).digest()


def test_6_the_close_seals_the_tree_of_the_lines_before(journey: Journey) -> None:
    assert journey.refused.entry is None
    assert journey.closed.entry is not None
    close = {
        "refused at first": [
            {"what": item.what, "way out": item.way_out} for item in journey.refused.obstacles
        ],
        "entry": json.loads(journey.closed.entry.text),
        "seal": journey.closed.entry.seal,
        "seal code": journey.closed.code,
    }
    compare("6-close.json", pretty(close))
    lines = kept("5-sealed.jsonl").splitlines()
    body = close["entry"]["body"]
    assert body["size"] == len(lines)
    assert body["root"] == tree_root(lines).hex()
    assert close["entry"]["prev"] == hashlib.sha256(lines[-1]).hexdigest()


# 7 summarise

OUNCES = {"oz": Fraction(1), "lb": Fraction(16), "g": Fraction(1600000, 45359237)}
"""Ounces in a unit: a pound is 453.59237 g exactly (NIST Handbook 44, appendix C)."""


def test_7_the_summary_adds_up_what_was_sealed(journey: Journey) -> None:
    summary, _, _, _ = summarise_period(journey.firm, JANUARY)
    compare("7-summary.csv", rows_csv(LINE_COLUMNS, line_rows(summary)))
    used: dict[str, list[Fraction]] = defaultdict(list)
    for line in map(json.loads, kept("5-sealed.jsonl").splitlines()):
        if line["kind"] == "application":
            said = line["body"]["used"]
            ounces = Fraction(said["numerator"], said["denominator"]) * OUNCES[said["unit"]]
            used[line["body"]["product_key"]].append(ounces)
    rows = list(csv.DictReader(io.StringIO(kept("7-summary.csv").decode("utf-8-sig"))))
    assert {row["registration"] for row in rows} == set(used)
    for row in rows:
        shown = Fraction(row["total_used"]) * OUNCES[row["unit"]]
        places = len(row["total_used"].partition(".")[2])
        most = Fraction(1, 2 * 10**places) * OUNCES[row["unit"]]
        assert abs(shown - sum(used[row["registration"]])) <= most
        assert row["applications"] == str(len(used[row["registration"]]))


# 8 file


def test_8_the_filing_registers_the_summary(journey: Journey) -> None:
    filings: list[dict[str, Any]] = []
    for item in journey.filed:
        with journey.firm.store.reading() as reader:
            report = reader.blob(item.entry.body["report"])
        assert report is not None
        assert hashlib.sha256(report).hexdigest() == item.entry.body["report"]
        filings.append({
            "county": item.county, "seal": item.entry.seal,
            "entry": json.loads(item.entry.text), "report": json.loads(report),
        })  # fmt: skip
    compare("8-filing.json", pretty(filings))
    rows = list(csv.DictReader(io.StringIO(kept("7-summary.csv").decode("utf-8-sig"))))
    by_county = {filing["county"]: filing["report"]["rows"] for filing in filings}
    assert [row for row in by_county["Placer"] if "product" in row] == rows
    assert by_county["Nevada"] == []
    assert all(filing["entry"]["body"]["late"] == 0 for filing in filings)


# 9 inspect


def test_9_the_trace_tells_it_from_the_cell_to_the_report(journey: Journey) -> None:
    sealed = map(json.loads, kept("5-sealed.jsonl").splitlines())
    seq = next(
        line["seq"] for line in sealed
        if line["kind"] == "application" and line["body"]["origin"]["row"] == 5
    )  # fmt: skip
    words = ["trace", str(seq), "--workspace", str(journey.firm.root)]
    done = CliRunner(env={"COLUMNS": "100"}).invoke(main, words, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    compare("9-trace.txt", done.stdout.encode())
    for said in (
        "amount: 1.2 oz", "breach LABEL-RATE", "Nothing differs from what was sealed.",
        json.loads(kept("6-close.json"))["seal code"],
        *(f"entry {filing['entry']['seq']}: " for filing in json.loads(kept("8-filing.json"))
          if filing["county"] == "Placer"),
    ):  # fmt: skip
        assert said in done.stdout
