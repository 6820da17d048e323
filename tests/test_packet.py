"""A packet reads and checks without the program; one address shows nothing of another."""

from __future__ import annotations

import hashlib
import io
import json
import re
import shutil
import subprocess
import zipfile
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner
from openpyxl import load_workbook
from pypdf import PdfReader

from ledger.cli import main
from ledger.cli.packet import read_packet
from ledger.flow.closing import close_day
from ledger.flow.correcting import amend, strike
from ledger.flow.packet import Selection, file_name, make_packet
from ledger.flow.packet_check import check_packet, check_proof
from ledger.flow.proving import prove, prove_entries
from ledger.flow.recording import record_sheet
from ledger.flow.stocking import StockWish, move_stock
from ledger.flow.workspace import Workspace, WorkspaceProblem, read_rules
from ledger.merkle import inclusion_proof, inclusion_proofs, leaf, sides
from ledger.seal import seal_code
from ledger.stock import Act
from reports.packet_files import packet_files
from tests.day_sheets import sheet
from tests.workspaces import SetClock, sample_workspace

OTHER = {
    "address": "9 Quarry Road", "customer": "P. Vance-Holm", "zip": "95959", "city": "Nevada City",
    "county": "Nevada", "note": "gate code zephyr",
}  # fmt: skip


@pytest.fixture(scope="module")
def firm(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    """A closed day at two addresses, one line amended, one struck, and a line after the close."""
    made = sample_workspace(tmp_path_factory.mktemp("packet") / "firm")
    lines = [{"note": "asked M. Okafor twice"}, OTHER, {**OTHER, "places": "siding seam"}]
    done = record_sheet(made, "day.csv", sheet(*lines), "renner")
    seqs = [outcome.seq or 0 for outcome in done.outcomes]
    amend(made, seqs[0], {"amount": "0.3 oz"}, "M. Okafor saw the scale", "renner")
    strike(made, seqs[2], "booked twice", "calloway")
    close_day(made, done.outcomes[0].line.use.date, None, "calloway")
    record_sheet(
        made, "next.csv", sheet({**OTHER, "date": "2026-01-15", "product": "marsh-gel"}), ""
    )
    return made


def written(firm: Workspace, folder: Path, selection: Selection) -> Path:
    for name, data in packet_files(make_packet(firm, selection), firm.book, firm.today()).items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
    return folder


def everything_readable(folder: Path) -> str:
    """Return all that a person could read in a packet, PDFs and workbooks opened."""
    texts = []
    for path in sorted(folder.rglob("*")):
        if path.suffix == ".pdf":
            texts += [page.extract_text() for page in PdfReader(path).pages]
        elif path.suffix == ".xlsx":
            for page in load_workbook(path):
                texts += [str(cell) for row in page.iter_rows(values_only=True) for cell in row]
        elif path.is_file():
            texts.append(path.read_text("utf-8", "replace"))
    return "\n".join(texts).replace("\u200b", "")


def rfc_root(digest: bytes, index: int, size: int, path: list[bytes]) -> bytes | None:
    """Follow a path as RFC 9162, 2.1.3.2 says; written from its text, apart from the ledger's."""
    if index >= size:
        return None
    fn, sn, r = index, size - 1, digest
    for p in path:
        if sn == 0:
            return None
        if fn % 2 == 1 or fn == sn:
            r = hashlib.sha256(b"\x01" + p + r).digest()
            if fn % 2 == 0:
                while True:
                    fn, sn = fn >> 1, sn >> 1
                    if fn % 2 == 1 or fn == 0:
                        break
        else:
            r = hashlib.sha256(b"\x01" + r + p).digest()
        fn, sn = fn >> 1, sn >> 1
    return r if sn == 0 else None


def test_many_paths_are_the_single_ones() -> None:
    for size in (1, 2, 3, 7, 8, 21):
        leaves = [leaf(bytes([number])) for number in range(size)]
        paths = inclusion_proofs(leaves, range(size))
        for index in range(size):
            assert paths[index] == inclusion_proof(leaves, index)
            assert len(sides(index, size)) == len(paths[index])
    with pytest.raises(ValueError, match="not in a tree"):
        inclusion_proofs(leaves, [21])


def test_a_checker_of_its_own_agrees(firm: Workspace) -> None:
    with firm.store.reading() as reader:
        proofs = prove_entries(reader, range(1, reader.head.seq + 1))
        assert proofs.close is not None
        size, root = proofs.close.body["size"], bytes.fromhex(proofs.close.body["root"])
        assert sorted(proofs.paths) == list(range(1, size + 1))
        assert proofs.beyond == tuple(range(size + 1, reader.head.seq + 1))
        for seq, path in proofs.paths.items():
            digest = hashlib.sha256(b"\x00" + reader.entry(seq).text.encode()).digest()
            steps = [bytes.fromhex(step) for step in path]
            assert rfc_root(digest, seq - 1, size, steps) == root
            assert rfc_root(digest, seq, size, steps) != root


def test_the_packet_of_everything(firm: Workspace, tmp_path: Path) -> None:
    folder = written(firm, tmp_path / "all", Selection())
    names = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert {"00-index.pdf", "00-index.html", "01-how-to-check.txt", "packet.xlsx"} <= names
    book = load_workbook(folder / "packet.xlsx")
    for tab in ("licences", "log by day", "log by address", "records", "as typed", "findings",
                "observations and notices", "held lines", "reports as filed", "stock account",
                "rules and labels", "seals"):  # fmt: skip
        assert tab in book.sheetnames
    versions = [row for row in book["records"].iter_rows(values_only=True) if row[2] in
                {"original", "correction", "struck"}]  # fmt: skip
    assert [row[2] for row in versions].count("correction") == 1
    assert [row[2] for row in versions].count("struck") == 1
    text = everything_readable(folder)
    for said in ("M. Okafor saw the scale", "booked twice", '"0.25 oz" -> "0.3 oz"',
                 "ridgeline-dust", "does not prove that nothing was left out"):  # fmt: skip
        assert said in " ".join(text.split()), said
    result = check_packet(read_packet(folder))
    assert result.ok, result.problems
    assert (result.beyond > 0, result.proved + result.beyond) == (True, result.entries)
    with firm.store.reading() as reader:
        assert result.entries == reader.head.seq
        code = seal_code(reader.closes()[0].seal)
    assert check_packet(read_packet(folder), [code]).witnesses == (code,)
    assert any(name.startswith("received/") for name in names)


def test_one_address_shows_nothing_of_another(firm: Workspace, tmp_path: Path) -> None:
    with firm.store.reading() as reader:
        keys = {e.body["site"]: json.loads(e.private or "{}") for e in reader.sites()}
    mine = next(key for key, said in keys.items() if "TOLLHOUSE" in said["street"])
    folder = written(firm, tmp_path / "one", Selection(site=mine))
    for word in folder.glob("rules/*/useledger.toml"):
        assert "Vance" not in word.read_text()
    shutil.move(folder / "rules", tmp_path / "rules")  # their examples speak of invented places
    text = everything_readable(folder)
    shutil.move(tmp_path / "rules", folder / "rules")
    for foreign in ("Vance", "QUARRY", "Quarry", "zephyr", "95959", "siding seam", "booked twice"):
        assert foreign not in text, foreign
    assert "Okafor" in text
    assert "does not prove that nothing was left out" in " ".join(text.split())
    assert not (folder / "received").exists()
    result = check_packet(read_packet(folder))
    assert result.ok, result.problems
    lines = [json.loads(line) for line in (folder / "journal/lines.jsonl").open()]
    assert {line["body"].get("site") for line in lines} <= {None, mine}
    assert {line["kind"] for line in lines} >= {"application", "amendment", "site", "close"}
    assert result.proved >= len(lines) - 1


def test_names_are_withheld_when_asked(firm: Workspace, tmp_path: Path) -> None:
    folder = written(firm, tmp_path / "redacted", Selection(redact=True))
    text = everything_readable(folder)
    for name in ("Okafor", "Vance", "zephyr"):
        assert name not in text
    assert "withheld" in text
    assert (folder / "journal/private.jsonl").read_bytes() == b""
    assert check_packet(read_packet(folder)).ok


def rows_of(folder: Path, tab: str, first: str) -> list[dict[str, object]]:
    """Return the rows of a table of the workbook by heading, down to the first blank row."""
    rows = list(load_workbook(folder / "packet.xlsx")[tab].iter_rows(values_only=True))
    start = next(n for n, row in enumerate(rows) if row[0] == first)
    end = next(n for n in range(start, len(rows)) if not any(rows[n]))
    headings = [str(cell) for cell in rows[start]]
    return [dict(zip(headings, row, strict=True)) for row in rows[start + 1 : end]]


def stocked(folder: Path) -> Workspace:
    """Return a workspace whose dust label has a version, days and lots, with stock on record."""
    made = sample_workspace(folder, clock=SetClock(datetime(2026, 1, 21, 2, 30, tzinfo=UTC)))
    label = folder / "rules/labels/ridgeline-dust.toml"
    text = label.read_text().replace(
        'version = "1"', 'version = "2 of 2025"\nfrom = 2025-02-01\nuntil = 2027-01-31'
    )
    label.write_text(text.replace("[product]", '[product]\nlots = ["RD-7", "RD-8"]'))
    made.book = read_rules(folder)
    record_sheet(made, "day.csv", sheet({"lot": "RD-7", "amount": "1 oz"}), "renner")
    for act, amount, day in (
        (Act.RECEIVE, "8 oz", date(2026, 1, 2)), (Act.COUNT, "7 oz", date(2026, 1, 15)),
        (Act.DISPOSE, "2 oz", date(2026, 1, 20)),
    ):  # fmt: skip
        product = made.book.product("ridgeline-dust", day)
        assert product is not None
        move_stock(made, StockWish(act, product, amount, day, "calloway"))
    return made


def test_the_stock_account_goes_along_up_to_the_last_day(tmp_path: Path) -> None:
    made = stocked(tmp_path / "firm")
    for name, chosen, disposed, on_hand in (
        ("all", Selection(), 2, 5), ("until", Selection(date_to=date(2026, 1, 19)), 0, 7),
    ):  # fmt: skip
        folder = written(made, tmp_path / name, chosen)
        (row,) = rows_of(folder, "stock account", "Product")
        assert (row["Registration"], row["Place"], row["Unit"]) == ("99999-11", "store", "oz")
        figures = ("Bought", "Used", "Disposed", "Unexplained", "On hand")
        assert [row[name] for name in figures] == [8, 1, disposed, 0, on_hand]
        assert not row["Remark"]
        (page,) = folder.glob("*-stock-account.pdf")
        assert "Ridgeline Crevice Dust" in PdfReader(page).pages[0].extract_text()
        assert check_packet(read_packet(folder)).ok
    with made.store.reading() as reader:
        site = next(entry.body["site"] for entry in reader.sites())
    one = make_packet(made, Selection(site=site))
    assert one.stock == ()
    assert "of the whole firm" in everything_readable(
        written(made, tmp_path / "one", Selection(site=site))
    )


def test_without_movements_there_is_no_account(firm: Workspace, tmp_path: Path) -> None:
    folder = written(firm, tmp_path / "none", Selection())
    assert "No stock account is kept" in everything_readable(folder)


def test_the_rules_sheet_says_which_label_version_and_lot(tmp_path: Path) -> None:
    made = stocked(tmp_path / "firm")
    rows = rows_of(written(made, tmp_path / "p", Selection()), "rules and labels", "File")
    label, *laws = rows
    assert (label["File"], label["Kind of file"]) == ("labels/ridgeline-dust.toml", "label")
    assert (label["Registration"], label["Version"]) == ("99999-11", "2 of 2025")
    assert (label["Lots"], label["Lots used"]) == ("RD-7, RD-8", "RD-7")
    assert [str(label[name])[:10] for name in ("From", "Until")] == ["2025-02-01", "2027-01-31"]
    paths = [str(row["File"]) for row in laws]  # the laws of the places of the records, no others
    assert paths[:2] == ["jurisdictions/us-federal.toml", "jurisdictions/us-ca.toml"]
    assert all(path.startswith("practice/") for path in paths[2:])


def commands_of(page: str) -> list[str]:
    """Return the blocks of commands of a page: what is indented by four spaces."""
    blocks = re.findall(r"(?:^    .*\n?)+", page, flags=re.MULTILINE)
    return [re.sub(r"^    ", "", block, flags=re.MULTILINE) for block in blocks]


def run_page(folder: Path, path: str) -> list[str]:
    """Run the page's own commands, one shell each, with nothing but these tools."""
    said = []
    for block in commands_of((folder / "01-how-to-check.txt").read_text()):
        done = subprocess.run(
            [str(shutil.which("bash")), "--noprofile", "--norc", "-c", block], cwd=folder,
            capture_output=True, text=True, env={"PATH": path}, check=False,
        )  # fmt: skip
        said.append((done.stdout + done.stderr).strip())
    return said


def test_the_page_checks_the_packet_without_the_program(firm: Workspace, tmp_path: Path) -> None:
    tools = tmp_path / "tools"
    tools.mkdir()
    for tool in ("sha256sum", "cut", "cmp", "sed", "grep"):
        found = shutil.which(tool)
        assert found is not None
        (tools / tool).symlink_to(found)
    folder = written(firm, tmp_path / "p", Selection())
    path = str(tools)
    assert not list(tools.glob("python*"))
    said = run_page(folder, path)
    assert said == ["OK"] * 5
    proofs = folder / "journal/proofs.txt"
    good = proofs.read_text()
    proofs.write_text(good.replace(" L", " R", 1))
    said = run_page(folder, path)
    assert "FAILED" in said[0]
    assert "is not under the root" in said[2]
    proofs.write_text(good)
    lines = folder / "journal/lines.jsonl"
    lines.write_text(lines.read_text().replace("renner", "marshy", 1))
    said = run_page(folder, path)
    assert "differ" in said[1]
    assert said[3] != "OK"


def test_a_changed_packet_does_not_verify(firm: Workspace, tmp_path: Path) -> None:
    files = packet_files(make_packet(firm, Selection()), firm.book, firm.today())
    assert check_packet(files).ok

    def summed(changes: dict[str, bytes]) -> dict[str, bytes]:
        new = {**files, **changes}
        sums = "".join(f"{hashlib.sha256(data).hexdigest()}  {name}\n"
                       for name, data in new.items() if name != "SHA256SUMS")  # fmt: skip
        return {**new, "SHA256SUMS": sums.encode()}

    def codes(changed: dict[str, bytes]) -> set[str]:
        return {fault.code for fault in check_packet(changed).problems}

    assert codes({**files, "00-index.pdf": b"other"}) == {"PACKET-FILE"}
    assert codes({**files, "extra.txt": b"x"}) == {"PACKET-FILE"}
    assert codes({k: v for k, v in files.items() if k != "packet.xlsx"}) == {"PACKET-FILE"}
    lines, private = files["journal/lines.jsonl"], files["journal/private.jsonl"]
    forged = lines.replace(b"ridgeline", b"ridgelina", 1)
    assert {"PACKET-SEAL", "PACKET-CHAIN", "PACKET-PROOF"} <= codes(
        summed({"journal/lines.jsonl": forged})
    )
    assert "PACKET-PRIVATE" in codes(
        summed({"journal/private.jsonl": private.replace(b"Ok", b"Ak")})
    )
    shorter = b"\n".join(lines.split(b"\n")[:-3]) + b"\n"
    assert "PACKET-CHAIN" in codes(summed({"journal/lines.jsonl": shorter}))
    about = json.loads(files["journal/packet.json"])
    about["paths"]["2"] = about["paths"]["3"]
    assert codes(summed({"journal/packet.json": json.dumps(about).encode()})) == {"PACKET-PROOF"}
    assert "PACKET-ABOUT" in codes(summed({"journal/packet.json": b"[" * 100_000}))
    strange = check_packet(files, ["0" * 64])
    assert [fault.code for fault in strange.problems] == ["PACKET-WITNESS"]
    assert not check_packet({}).ok


def test_a_proof_is_checked_by_itself(firm: Workspace) -> None:
    proof = prove(firm, 5)
    assert check_proof(proof).ok
    assert check_proof(proof, [proof["close"]["code"]]).witnesses
    for part, value in (("index", 5), ("path", proof["path"][1:]), ("entry", proof["close"]),
                        ("close", proof["entry"]), ("path", 7), ("entry", None)):  # fmt: skip
        assert not check_proof({**proof, part: value}).ok, part
    other = json.loads(json.dumps(proof))
    other["entry"]["line"] = other["entry"]["line"].replace("2026", "2025")
    assert not check_proof(other).ok
    with firm.store.reading() as reader:
        newest = reader.head.seq
    with pytest.raises(WorkspaceProblem, match="no close seals"):
        prove(firm, newest)


def test_the_commands(firm: Workspace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run, where = CliRunner().invoke, ["--workspace", str(firm.root)]
    done = run(main, ["packet", str(tmp_path / "p.zip"), *where])
    assert done.exit_code == 0, done.output
    one = run(main, ["packet", str(tmp_path / "one"), "--address", "Tollhouse", "--json", *where])
    assert json.loads(one.output)["records"] == 2
    assert run(main, ["packet", str(tmp_path / "one"), *where]).exit_code == 2
    assert run(main, ["prove", "5", "--out", str(tmp_path / "5.json"), *where]).exit_code == 0
    monkeypatch.chdir(tmp_path)  # there is no workspace here: the packet alone is asked
    for name in ("p.zip", "one", "5.json"):
        checked = run(main, ["verify", "--packet", name])
        assert checked.exit_code == 0, checked.output
        assert "does not prove that nothing was left out" in checked.output
    (tmp_path / "one/journal/seals.txt").write_text("1 0\n")
    assert run(main, ["verify", "--packet", "one"]).exit_code == 2


@pytest.mark.parametrize("name", ["../out.txt", "/etc/x", "a/../../b", "c:\\x"])
def test_a_zip_with_a_name_that_leads_out_is_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / "bad.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(name, "x")
    done = CliRunner().invoke(main, ["verify", "--packet", str(path)])
    assert (done.exit_code, "leads out" in done.output) == (2, True)


def test_links_and_bombs_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "linked"
    folder.mkdir()
    (folder / "SHA256SUMS").symlink_to("/etc/hostname")
    done = CliRunner().invoke(main, ["verify", "--packet", str(folder)])
    assert (done.exit_code, "is a link" in done.output) == (2, True)
    monkeypatch.setattr("ledger.cli.packet.MOST_BYTES", 1_000_000)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a", b"0" * 2_000_000)
    (tmp_path / "bomb.zip").write_bytes(out.getvalue())
    done = CliRunner().invoke(main, ["verify", "--packet", str(tmp_path / "bomb.zip")])
    assert (done.exit_code, "unpacks to 2,000,000 bytes" in done.output) == (2, True)
    (tmp_path / "text.zip").write_text("no archive")
    assert (
        CliRunner().invoke(main, ["verify", "--packet", str(tmp_path / "text.zip")]).exit_code == 2
    )


def test_file_names_stay_in_their_folder() -> None:
    for name in ("../../etc/passwd", "a/b", "a\\b", "C:x", "\x00", "..", "CON\n.csv", "é ü.csv"):
        clean = file_name(name)
        assert clean
        assert not re.search(r'[/\\:\x00-\x1f"<>|]', clean)
        assert clean.strip(".") == clean
