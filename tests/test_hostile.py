"""Hostile files end to end: nothing becomes a formula, a path, a link or an endless wait."""

from __future__ import annotations

import csv
import io
import time
from pathlib import Path

import pytest
from click.testing import CliRunner
from openpyxl import load_workbook

from ledger.cli import main
from ledger.cli.moving import export_papers
from ledger.flow.closing import close_day
from ledger.flow.disposing import attach
from ledger.flow.inspecting import prove_whole
from ledger.flow.keeping import export_ledger, import_ledger
from ledger.flow.listing import list_entries
from ledger.flow.packet import Selection, make_packet
from ledger.flow.recording import check_sheet, record_sheet
from ledger.flow.workspace import Workspace
from reports.packet_files import packet_files
from tests.day_sheets import sheet
from tests.fuzz import TARGETS
from tests.workspaces import sample_workspace

FORMULAS = ("=1+1", "+1+1", "-2+3", "@SUM(A1)", "=cmd|' /C calc'!A0", "\t=1+1", "'=1+1")


@pytest.fixture
def firm(tmp_path: Path) -> Workspace:
    made = sample_workspace(tmp_path / "firm")
    lines = [{"line": "", "customer": text, "note": text, "lot": text, "places": f"seam {number}"}
             for number, text in enumerate(FORMULAS)]  # fmt: skip
    done = record_sheet(made, "=1+1.csv", sheet(*lines), "renner")
    assert done.count("booked") + done.count("held") == len(FORMULAS)
    assert done.count("booked") >= 1
    return made


def runs(text: str) -> bool:
    """Say whether a spreadsheet would take the text of a CSV cell for a formula."""
    return text[:1] in {"=", "+", "-", "@", "\t", "\r"} and not text[1:].replace(".", "").isdigit()


def formulas_in(name: str, data: bytes) -> list[str]:
    """Return every cell of a table that a spreadsheet would run."""
    if name.endswith(".csv"):
        return [
            cell
            for row in csv.reader(io.StringIO(data.decode("utf-8")))
            for cell in row
            if runs(cell)
        ]
    book = load_workbook(io.BytesIO(data))
    return [
        str(cell.value) for page in book for row in page.iter_rows() for cell in row
        if cell.data_type == "f"
    ]  # fmt: skip


def test_no_output_holds_a_formula(firm: Workspace, tmp_path: Path) -> None:
    seen: dict[str, bytes] = dict(export_papers(firm))
    packet = packet_files(make_packet(firm, Selection()), firm.book, firm.today())
    seen.update({f"packet/{name}": data for name, data in packet.items()
                 if not name.startswith("received/")})  # fmt: skip
    run = CliRunner().invoke
    for name in ("entries.csv", "entries.xlsx", "use.csv", "use.xlsx"):
        what = ["entries"] if name.startswith("entries") else ["summary", "2026-01"]
        path = tmp_path / name
        done = run(main, [*what, "--out", str(path), "--workspace", str(firm.root)])
        made = list(tmp_path.glob(f"{path.stem}*{path.suffix}"))  # one a county where there are two
        assert made, done.output
        seen.update({item.name: item.read_bytes() for item in made})
    tables = {name: data for name, data in seen.items() if name.endswith((".csv", ".xlsx"))}
    assert len(tables) >= 6
    found = {name: formulas_in(name, data) for name, data in tables.items()}
    assert {name: cells for name, cells in found.items() if cells} == {}
    typed = load_workbook(io.BytesIO(packet["packet.xlsx"]))["as typed"]
    assert any(cell.value == "=1+1" for row in typed.iter_rows() for cell in row)
    assert "'-2+3" in export_papers(firm)["applications.csv"].decode()


NAMES = (
    "../../etc/passwd.csv", "..\\..\\evil.csv", "C:\\evil.csv", "a\nb.csv", "\u202efdp.csv",
    "x" * 300 + ".csv", "=1+1.csv", "<b>.csv", "nul\x00.csv", "\udcff.csv",
)  # fmt: skip


def test_file_names_lead_nowhere(tmp_path: Path) -> None:
    made = sample_workspace(tmp_path / "firm")
    for number, name in enumerate(NAMES):
        hour = f"{8 + number:02}"
        line = {"line": "", "start": f"{hour}:05", "end": f"{hour}:20"}
        done = record_sheet(made, name, sheet(line), "renner")
        assert done.count("booked") == 1, name
        attach(made, name, f"{number}".encode(), 2, "renner")
    close_day(made, list_entries(made, {})[0].use.date, None, "calloway")
    files = packet_files(make_packet(made, Selection()), made.book, made.today())
    root = (tmp_path / "packet").resolve()
    for path, data in files.items():
        target = (root / path).resolve()
        assert target.is_relative_to(root), path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
    assert "<b>" not in files["00-index.html"].decode()
    export_ledger(made, tmp_path / "out", export_papers(made), "calloway")
    import_ledger(tmp_path / "out", tmp_path / "new", "renner")
    assert prove_whole(made).ok


def test_a_link_is_no_way_out_of_a_workspace(tmp_path: Path) -> None:
    made = sample_workspace(tmp_path / "firm")
    secret = tmp_path / "secret.toml"
    secret.write_text('name = "a secret"')
    (made.root / "rules/labels/link.toml").symlink_to(secret)
    export_ledger(made, tmp_path / "out", {}, "calloway")
    for path in (tmp_path / "out").rglob("*"):
        assert not path.is_symlink()
        assert not path.is_file() or b"a secret" not in path.read_bytes()


ABSURD = (
    {"date": "9999-12-31"}, {"date": "0000-00-00"}, {"date": "-1"}, {"date": "2026-02-30"},
    {"date": "1" * 5000}, {"amount": "9" * 5000 + " oz"}, {"amount": "1/0 oz"},
    {"amount": "1e999999999 oz"}, {"amount": "NaN oz"}, {"amount": "0." + "0" * 3000 + "1 oz"},
    {"amount": "\u0664 oz"}, {"extent": "9" * 400 + " ft"}, {"dilution": "1:0", "basis": "mix"},
    {"wind": "99999999999999999999 mph"}, {"start": "99:99"}, {"start": "00:15 +99999999"},
    {"places": ";" * 20_000}, {"note": "x" * 200_000}, {"zip": "9" * 1000},
    {"customer": "\u202e\u0000\ufeff"}, {"amount": "(" * 10_000},
)  # fmt: skip


@pytest.mark.parametrize("line", ABSURD, ids=lambda line: str(line)[:30])
def test_absurd_values_are_held_or_booked_in_bounded_time(
    tmp_path_factory: pytest.TempPathFactory, line: dict[str, str], shared_firm: Workspace
) -> None:
    begun = time.monotonic()
    done = check_sheet(shared_firm, "absurd.csv", sheet({"line": "", **line}))
    assert time.monotonic() - begun < 20
    if not done.faults:
        assert len(done.outcomes) == 1
        outcome = done.outcomes[0].line
        assert outcome.state in {"booked", "held"}
        assert outcome.state == "booked" or outcome.faults


@pytest.fixture(scope="module")
def shared_firm(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    return sample_workspace(tmp_path_factory.mktemp("absurd") / "firm")


RAW = (
    b"", b"\x00", b"\xff\xfe", b"PK\x03\x04", b"PK\x05\x06" + b"\x00" * 18, b"\xef\xbb\xbf",
    b"date,amount\n" + b"\x00" * 1000, b'date\n"' + b"a" * 100_000, b"date," * 20_000,
    b"\n" * 100_000, "date\n\ud7ff\n".encode(), b"date\r\r\r\n,,,\n", b"[" * 50_000,
    b"a = " + b"[" * 5_000, b"a." * 20_000 + b"b = 1", b"x = 1e99999999", b'"\\ud800" = 1',
    b"format = 1\n[product]\nname = 2000-99-99\n", b"9" * 50_000, b"1/" * 10_000,
)  # fmt: skip
"""Bytes that a reader may refuse, as faults; what a fuzzing run finds is added here."""


@pytest.mark.parametrize("target", TARGETS)
@pytest.mark.parametrize("number", range(len(RAW)))
def test_strange_bytes_are_refused_and_never_raise(target: str, number: int) -> None:
    begun = time.monotonic()
    TARGETS[target](RAW[number])
    assert time.monotonic() - begun < 10
