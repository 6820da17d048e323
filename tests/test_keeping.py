"""Keeping: a backup becomes a workspace again, a ledger moves in open formats with its seals."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
from datetime import date
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner

from ledger.cli import main
from ledger.cli.moving import export_papers
from ledger.flow.closing import close_day
from ledger.flow.inspecting import prove_whole
from ledger.flow.keeping import (
    export_ledger,
    import_ledger,
    restore_backup,
    with_database,
)
from ledger.flow.listing import list_entries
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import Workspace, WorkspaceProblem, open_workspace
from ledger.journal import StoreProblem
from ledger.journal.backup import backup
from ledger.journal.transfer import read_export, safe_name, write_sums
from ledger.values.sealed import EntryKind
from tests.conftest import BOTH
from tests.day_sheets import sheet
from tests.workspaces import sample_workspace


@pytest.fixture
def firm(tmp_path: Path) -> Workspace:
    made = sample_workspace(tmp_path / "firm")
    record_sheet(
        made, "day.csv", sheet({}, {"places": "siding seam"}, {"amount": "some"}), "renner"
    )
    return made


def lines_of(workspace: Workspace) -> list[bytes]:
    with workspace.store.reading() as reader:
        return list(reader.texts_since(0))


def everything(workspace: Workspace) -> list[object]:
    with workspace.store.reading() as reader:
        return [*reader.rows(), *reader.blobs(), *sorted(reader.places().values())]


def test_a_backup_becomes_a_workspace_with_its_files(firm: Workspace, tmp_path: Path) -> None:
    backup(firm.store, tmp_path / "copy.db")
    done = restore_backup(tmp_path / "copy.db", tmp_path / "again")
    again = open_workspace(str(tmp_path / "again"))
    assert everything(again) == everything(firm)
    assert again.book.digest == firm.book.digest
    assert "rules/labels/ridgeline-dust.toml" in done.files
    assert (done.head.seq, again.book.firm.name) == (len(lines_of(firm)), firm.book.firm.name)
    assert record_sheet(again, "day.csv", sheet({"places": "door frame"}), "renner").sealed
    assert prove_whole(again, [done.head.seal]).ok


@pytest.mark.postgres
@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_a_backup_is_restored_into_a_server(firm: Workspace, tmp_path: Path, database: str) -> None:
    backup(firm.store, tmp_path / "copy.db")
    restore_backup(tmp_path / "copy.db", tmp_path / "again", database)
    again = open_workspace(str(tmp_path / "again"))
    assert again.store.engine.dialect.name == "postgresql"
    assert everything(again) == everything(firm)
    again.store.close()


def test_restore_refuses_what_is_no_backup_and_leaves_nothing(
    firm: Workspace, tmp_path: Path
) -> None:
    torn = tmp_path / "torn.db"
    backup(firm.store, torn)
    data = bytearray(torn.read_bytes())
    where = data.find(b"siding seam")
    data[where : where + 6] = b"sidinG"
    torn.write_bytes(bytes(data))
    (tmp_path / "text.db").write_text("not a database")
    full = tmp_path / "full"
    full.mkdir()
    (full / "mine.txt").write_text("keep")
    for source, root, said in (
        (torn, tmp_path / "a", "does not verify"),
        (tmp_path / "text.db", tmp_path / "b", "not a ledger"),
        (tmp_path / "none.db", tmp_path / "c", "no backup"),
    ):
        with pytest.raises(StoreProblem, match=said):
            restore_backup(source, root)
        assert not root.exists()
    with pytest.raises(WorkspaceProblem, match="not empty"):
        restore_backup(torn, full)
    assert [path.name for path in full.iterdir()] == ["mine.txt"]


def moved_out(firm: Workspace, folder: Path, by: str = "calloway") -> Path:
    export_ledger(firm, folder, export_papers(firm), by)
    return folder


@pytest.mark.parametrize("source", BOTH)
@pytest.mark.parametrize("target", BOTH)
def test_a_ledger_goes_round_on_both_engines(
    request: pytest.FixtureRequest, tmp_path: Path, source: str, target: str
) -> None:
    urls = []
    for engine in (source, target):
        urls.append("")
        if engine == "postgres":
            server = request.getfixturevalue("postgres_server")
            urls[-1] = server.url(server.new_database())
    firm = sample_workspace(tmp_path / "firm", urls[0])
    record_sheet(firm, "day.csv", sheet({}, {"amount": "some"}), "renner")
    export = moved_out(firm, tmp_path / "out")
    before = everything(firm)
    done = import_ledger(export, tmp_path / "new", "renner", urls[1])
    new = open_workspace(str(tmp_path / "new"))
    assert everything(new)[: len(lines_of(firm))] == before[: len(lines_of(firm))]
    assert lines_of(new)[:-1] == lines_of(firm)
    last = json.loads(lines_of(new)[-1])
    assert (last["kind"], last["by"], last["prev"]) == ("continued", "renner", done.exported.seal)
    assert last["body"] == {
        "from_seq": len(lines_of(firm)), "from_seal": done.exported.seal, "moved": 1,
    }  # fmt: skip
    assert prove_whole(new, [done.exported.seal]).ok
    record_sheet(new, "next.csv", sheet({"places": "door frame"}), "renner")
    with pytest.raises(StoreProblem, match="was moved by calloway") as refused:
        record_sheet(firm, "next.csv", sheet({"places": "door frame"}), "renner")
    assert "useledger import" in refused.value.way_out
    assert lines_of(firm)[-1] == lines_of(new)[len(lines_of(firm)) - 1]
    for workspace in (firm, new):
        workspace.store.close()


def test_the_export_reads_without_the_program(firm: Workspace, tmp_path: Path) -> None:
    export = tmp_path / "out"
    export_ledger(firm, export, export_papers(firm))
    subprocess.run(["sha256sum", "-c", "--quiet", "SHA256SUMS"], cwd=export, check=True)
    prev = ""
    for line in (export / "journal.jsonl").read_bytes().splitlines():
        assert json.loads(line)["prev"] == prev
        prev = hashlib.sha256(line).hexdigest()
    assert json.loads((export / "ledger.json").read_text())["seal"] == prev
    table = (export / "applications.csv").read_text().splitlines()
    assert len(table) == 1 + len(list_entries(firm, {}, versions=True)) == 3
    schemas = {
        path.name.partition(".")[0]: json.loads(path.read_text())
        for path in (export / "schemas").iterdir()
    }
    for name, schema in schemas.items():
        jsonschema.Draft202012Validator.check_schema(schema)
        file = {"entry": "journal.jsonl", "private": "private.jsonl", "blob": "blobs.jsonl"}.get(
            name, "ledger.json"
        )
        rows = (export / file).read_text().splitlines()
        assert rows
        for row in rows:
            jsonschema.validate(json.loads(row), schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"seq": 1}, schemas["entry"])
    assert not any(path.name.endswith(".part") for path in tmp_path.iterdir())


def _swap(path: Path, old: bytes, new: bytes) -> None:
    data = path.read_bytes()
    assert old in data
    path.write_bytes(data.replace(old, new, 1))


ATTACKS = {
    "a changed line": (lambda f: _swap(f / "journal.jsonl", b"renner", b"marsh!"), "was changed"),
    "a changed line with new sums": (
        lambda f: (_swap(f / "journal.jsonl", b"renner", b"marsh!"), write_sums(f)),
        "follows the one before",
    ),
    "a line that is no line": (
        lambda f: (_swap(f / "journal.jsonl", b'{"at"', b'["at"'), write_sums(f)),
        "not one JSON object",
    ),
    "a private text changed": (
        lambda f: (_swap(f / "private.jsonl", b"text", b"texT"), write_sums(f)),
        "without entry, salt and text",
    ),
    "a tail cut off": (
        lambda f: (
            (f / "journal.jsonl").write_bytes(
                b"\n".join((f / "journal.jsonl").read_bytes().split(b"\n")[:-3]) + b"\n"
            ),
            write_sums(f),
        ),
        "does not come to the ledger|out of order",
    ),
    "a name that leads out": (
        lambda f: (f / "SHA256SUMS").write_text(f"{'0' * 64}  ../../etc/passwd\n"),
        "names no file of the folder",
    ),
    "another format": (
        lambda f: _swap(f / "ledger.json", b'"format": 1', b'"format": 9'), "format 9",
    ),
    "a file gone": (lambda f: (f / "private.jsonl").unlink(), "not there"),
}  # fmt: skip


@pytest.mark.parametrize("name", ATTACKS)
def test_a_tampered_export_makes_no_ledger(firm: Workspace, tmp_path: Path, name: str) -> None:
    attack, said = ATTACKS[name]
    export = moved_out(firm, tmp_path / "out")
    attack(export)
    with pytest.raises(StoreProblem, match=said):
        import_ledger(export, tmp_path / "new", "renner")
    assert not (tmp_path / "new").exists()


def test_a_link_in_an_export_is_not_followed(firm: Workspace, tmp_path: Path) -> None:
    export = moved_out(firm, tmp_path / "out")
    secret = tmp_path / "secret"
    shutil.copy(export / "private.jsonl", secret)
    (export / "private.jsonl").unlink()
    (export / "private.jsonl").symlink_to(secret)
    with pytest.raises(StoreProblem, match="is a link"):
        read_export(export)


@pytest.mark.parametrize(
    ("name", "good"),
    [("a/b.txt", True), ("../a", False), ("/etc/x", False), ("a/../../b", False), ("C:\\x", False),
     ("a\\b", False), ("", False), ("a\nb", False), ("c:x", False)],
)  # fmt: skip
def test_names_stay_inside(name: str, good: bool) -> None:
    assert safe_name(name) is good


@pytest.mark.parametrize(
    "text",
    [
        '[firm]\nname = "x"\n',
        'database = "old"\n\n[firm]\nname = "x"\n',
        '# a note\ndatabase="old"\n[firm]\nname = "x"\n',
    ],
)
def test_the_database_of_a_firm_file_is_changed_in_place(text: str) -> None:
    import tomllib

    for url in ("", "postgresql+psycopg://a@/b?host=/x"):
        read = tomllib.loads(with_database(text, url))
        assert read.get("database", "") == url
        assert read["firm"] == {"name": "x"}


def test_the_commands_of_keeping(firm: Workspace, tmp_path: Path) -> None:
    run = CliRunner().invoke
    where = ["--workspace", str(firm.root)]
    assert run(main, ["export", str(tmp_path / "plain"), *where]).exit_code == 0
    again = run(main, ["import", str(tmp_path / "plain"), str(tmp_path / "n1"), "--by", "renner"])
    assert (again.exit_code, "was not moved" in again.output) == (1, True)
    assert run(main, ["export", str(tmp_path / "m"), "--moving", *where]).exit_code == 2
    done = run(main, ["export", str(tmp_path / "m"), "--moving", "--by", "calloway", *where])
    assert done.exit_code == 0, done.output
    took = run(main, ["import", str(tmp_path / "m"), str(tmp_path / "n2"), "--by", "nobody"])
    assert (took.exit_code, (tmp_path / "n2").exists()) == (2, False)
    took = run(main, ["import", str(tmp_path / "m"), str(tmp_path / "n2"), "--by", "renner"])
    assert took.exit_code == 0, took.output
    assert run(main, ["verify", "--workspace", str(tmp_path / "n2")]).exit_code == 0
    backup(firm.store, tmp_path / "b.db")
    back = run(main, ["restore", str(tmp_path / "b.db"), str(tmp_path / "n3"), "--json"])
    assert back.exit_code == 0, back.output
    assert json.loads(back.output)["entries"] == len(lines_of(firm))


def test_a_moved_ledger_closes_no_day(firm: Workspace, tmp_path: Path) -> None:
    moved_out(firm, tmp_path / "out")
    with pytest.raises(StoreProblem, match="was moved"):
        close_day(firm, date(2026, 1, 14), None, "renner")
    with firm.store.reading() as reader:
        assert reader.entry(reader.head.seq).kind is EntryKind.MOVED
