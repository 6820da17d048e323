"""The demonstration as a person runs it: it ends well, leaves what it says, and can go on."""

from __future__ import annotations

import hashlib
import json
import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ledger.cli import main
from ledger.demo import sheets, story
from ledger.flow.inspecting import prove_whole
from ledger.flow.listing import list_entries
from ledger.flow.workspace import open_workspace


def run(*words: str) -> Result:
    """Run a command as the command line would, within this process."""
    return CliRunner().invoke(main, list(words), catch_exceptions=False)


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    """The demonstration, run once in a folder whose name has a space."""
    folder = tmp_path_factory.mktemp("demo") / "an invented firm"
    return folder, run("demo", str(folder))


def every_file(folder: Path) -> dict[str, str]:
    """Return the digest of every file below a folder."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_it_ends_well_and_says_where_everything_lies(shown):
    folder, result = shown
    assert result.exit_code == 0
    assert result.stderr == ""
    assert f"Verified: the ledger is whole: {checked(folder)} entries" in result.stdout
    papers = [line.strip() for line in result.stdout.splitlines() if "/reports/" in line]
    assert len(papers) == 8  # of each county a workbook, a PDF and two CSV files
    assert {Path(paper).suffix for paper in papers} == {".xlsx", ".pdf", ".csv"}
    assert all(Path(paper).stat().st_size > 100 for paper in papers)


def checked(folder: Path) -> int:
    result = prove_whole(open_workspace(str(folder)))
    assert result.ok
    return result.checked


def test_every_sheet_is_kept_and_every_line_booked(shown):
    folder, _ = shown
    handed_in = {sheet.name: sheet.text for sheet in sheets()}
    kept = {path.name: path.read_text("utf-8") for path in (folder / "sheets").iterdir()}
    assert kept == handed_in
    lines = sum(len(text.splitlines()) - 1 for text in handed_in.values())
    rows = list_entries(open_workspace(str(folder)), {}, versions=True)
    assert len([row for row in rows if row.state == "amended"]) == 1
    assert len(rows) == lines + 1  # the amendment stands beside the line it corrects


def test_what_it_shows_is_what_the_story_means_to_show(shown):
    _, result = shown
    for intended in story().intended:
        assert intended.sheet in result.stdout
        assert f"{intended.kind} " in result.stdout
    assert "Held, then put right:" in result.stdout
    assert "the original stays readable" in result.stdout


def test_the_trainee_is_trained_and_the_line_signed_off(shown):
    folder, result = shown
    plot = story().teach
    told = json.loads(run("people", "--workspace", str(folder), "--json").stdout)
    (aster,) = [item for item in told["training"] if item["key"] == plot.person]
    assert (aster["trained"], aster["waiting"]) == (plot.on.isoformat(), [])
    signed = re.findall(r"entry \d+: renner signs off entry (\d+)", result.stdout)
    listed = json.loads(
        run("entries", "--applicator", plot.person, "--workspace", str(folder), "--json").stdout
    )
    assert [int(seq) for seq in signed] == [item["seq"] for item in listed["entries"]] != []
    found = json.loads(run("audit", "--workspace", str(folder), "--json").stdout)["findings"]
    assert not [item for item in found if plot.person in item["text"]]


def commands(result: Result) -> list[str]:
    """Return the commands that the demonstration says to try next."""
    after = result.stdout.split("Try next:")[1].splitlines()
    return [line.strip() for line in after if line.startswith("  useledger ")]


def test_every_command_it_says_to_try_next_runs(shown, tmp_path, monkeypatch):
    _, result = shown
    monkeypatch.chdir(tmp_path)
    tried = commands(result)
    assert len(tried) >= 6
    for command in tried:
        name, *words = shlex.split(command)
        assert name == "useledger"
        done = run(*words)
        assert done.exit_code in {0, 1}, (command, done.stdout, done.stderr)
        assert done.stdout, command
    assert [path.name for path in tmp_path.iterdir()] == ["day.xlsx"]
    verified = run(*shlex.split(tried[-1])[1:])
    assert verified.stdout.startswith("The ledger is whole")
    assert "The newest kept code seals entry" in verified.stdout


@pytest.mark.parametrize("options", [(), ("--json",)])
def test_a_second_run_into_the_same_folder_refuses_and_changes_nothing(shown, options):
    folder, _ = shown
    before = every_file(folder)
    again = run("demo", str(folder), *options)
    assert again.exit_code == 2
    assert again.stdout == ""
    assert "is not empty; name another folder" in again.stderr
    assert every_file(folder) == before


def test_it_refuses_a_folder_with_somebody_s_files_in_it(tmp_path):
    (tmp_path / "letter.txt").write_text("mine", encoding="utf-8")
    assert run("demo", str(tmp_path)).exit_code == 2
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]


def test_it_can_speak_to_a_program(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = run("demo", "--json")
    told = json.loads(done.stdout)
    assert done.exit_code == 0
    assert told["workspace"] == "useledger-demo"
    assert told["verified"].startswith("whole: ")
    assert all((tmp_path / paper).is_file() for paper in told["papers"])
