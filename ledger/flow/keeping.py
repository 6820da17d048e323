"""Keeping a ledger for years: restored from a backup, exported in open formats, taken up again."""

from __future__ import annotations

import re
import secrets
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from ledger.flow.workspace import (
    FIRM_FILE,
    LEDGER_FILE,
    RULES_FOLDER,
    Clock,
    Workspace,
    WorkspaceProblem,
    fresh_salt,
    now,
    read_rules,
    refuse_broken_firm,
)  # fmt: skip
from ledger.journal import Reader, open_store
from ledger.journal.backup import restore
from ledger.journal.transfer import load_export, read_export, safe_name, write_journal, write_sums
from ledger.rulefile import MOST_BYTES, family_of, shipped_rules
from ledger.values.sealed import EntryKind, Head, NewEntry

FILES = "workspace"
"""The folder of an export that holds the firm file and the workspace's rule files."""


@dataclass(frozen=True)
class Restored:
    """A workspace made from a backup: its ledger's head and the files written beside it."""

    head: Head
    at: str
    files: tuple[str, ...]


@dataclass(frozen=True)
class Imported:
    """A workspace made from an export: the exported head, the head with the entry that says so."""

    exported: Head
    head: Head
    moved: bool


def restore_backup(source: Path, root: Path, database: str = "") -> Restored:
    """Make a workspace from a verified backup; nothing is left behind where that fails.

    The firm file and the rule files are those the ledger kept when it last sealed any.
    """
    with _made(root):
        url = database or f"sqlite:///{(root / LEDGER_FILE).resolve()}"
        head = restore(source, url)
        store = open_store(url, clock=now, salts=fresh_salt)
        try:
            with store.reading() as reader:
                at = reader.entry(head.seq).at
                texts = kept_texts(reader)
        finally:
            store.close()
        files = write_files(root, texts, database)
        refuse_broken_firm(read_rules(root))
    return Restored(head, at, files)


def kept_texts(reader: Reader) -> dict[str, bytes]:
    """Return the newest sealed rule texts that are not the program's own, by path."""
    rules = list(reader.entries(kinds=(EntryKind.RULES,)))
    if not rules:
        raise WorkspaceProblem(
            "the backup was taken before the first record, so it holds no firm file",
            f"make a workspace with `useledger init DIR` and put the backup there as {LEDGER_FILE}",
        )
    texts: dict[str, bytes] = {}
    for item in rules[-1].body["files"]:
        path, data = item["path"], reader.blob(item["digest"])
        if data is None or not safe_name(path) or _is_shipped(path, data):
            continue
        texts[path] = data
    return texts


def _is_shipped(path: str, data: bytes) -> bool:
    """Say whether this is a file of the program that a workspace uses without a copy."""
    shipped = shipped_rules() / path
    if path == FIRM_FILE or family_of(path) == "label" or not shipped.is_file():
        return False
    return shipped.read_bytes() == data


def write_files(root: Path, texts: Mapping[str, bytes], database: str) -> tuple[str, ...]:
    """Write a firm file and rule files into a new workspace; return their paths."""
    for family in ("labels", "jurisdictions", "practice", "forms"):
        (root / RULES_FOLDER / family).mkdir(parents=True, exist_ok=True)
    written: list[str] = []
    for path, data in sorted(texts.items()):
        if path == FIRM_FILE:
            target = root / FIRM_FILE
            try:
                text = with_database(data.decode("utf-8"), database)
            except UnicodeDecodeError as error:
                raise WorkspaceProblem(
                    f"{FIRM_FILE} is no UTF-8 text ({error.reason})", "export the ledger again"
                ) from error
            target.write_bytes(text.encode("utf-8"))
        else:
            target = root / RULES_FOLDER / path
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(data)
        written.append(target.relative_to(root).as_posix())
    return tuple(written)


def with_database(text: str, url: str) -> str:
    """Return a firm file that names this database, or (empty) the workspace's own file."""
    head, bracket, rest = text.partition("\n[") if not text.startswith("[") else ("", "", text)
    kept = [line for line in head.split("\n") if not re.match(r"\s*database\s*=", line)]
    if url:
        said = url.replace("\\", "\\\\").replace('"', '\\"')
        kept.insert(0, f'database = "{said}"')
    joined = "\n".join(kept)
    return f"{joined}{bracket}{rest}" if bracket else f"{joined}\n{rest}" if joined else rest


@contextmanager
def _made(root: Path) -> Iterator[None]:
    """Fill a new or empty folder; whatever goes wrong leaves it as it was."""
    there = root.exists()
    if there and (not root.is_dir() or any(root.iterdir())):
        raise WorkspaceProblem(f"{root} is not empty", "name a new or an empty folder")
    root.mkdir(parents=True, exist_ok=True)
    try:
        yield
    except BaseException:
        if there:
            for item in root.iterdir():
                shutil.rmtree(item) if item.is_dir() else item.unlink()
        else:
            shutil.rmtree(root, ignore_errors=True)
        raise


def export_ledger(
    workspace: Workspace, target: Path, extra: Mapping[str, bytes], moving_by: str = ""
) -> Head:
    """Write the ledger in open formats into a new folder; return its head.

    ``extra`` are more files for people, by path. With ``moving_by`` a sealed entry says that the
    ledger goes on elsewhere: it is then refused for recording, and the export ends with it.
    """
    if target.exists():
        raise WorkspaceProblem(f"{target} exists already", "name another folder")
    part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    part.mkdir(parents=True)
    try:
        if moving_by:
            with workspace.store.writing() as writer:
                writer.append(NewEntry(EntryKind.MOVED, {"to": target.name}, by=moving_by))
                head = _write(workspace, writer, part, extra)
        else:
            with workspace.store.reading() as reader:
                head = _write(workspace, reader, part, extra)
        part.rename(target)
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return head


def _write(workspace: Workspace, reader: Reader, part: Path, extra: Mapping[str, bytes]) -> Head:
    head = write_journal(reader, part)
    for name, data in {**extra, **dict(_workspace_files(workspace.root))}.items():
        path = part / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    write_sums(part)
    return head


def _workspace_files(root: Path) -> Iterator[tuple[str, bytes]]:
    yield f"{FILES}/{FIRM_FILE}", (root / FIRM_FILE).read_bytes()
    for path in sorted((root / RULES_FOLDER).rglob("*.toml")):
        inside = path.relative_to(root / RULES_FOLDER).as_posix()
        if path.is_file() and not path.is_symlink() and safe_name(inside):
            yield f"{FILES}/{RULES_FOLDER}/{inside}", path.read_bytes()


def import_ledger(
    folder: Path,
    root: Path,
    by: str,
    database: str = "",
    clock: Clock = now,
) -> Imported:
    """Make a workspace from an export, with the same digests and seals, and say so in it."""
    export = read_export(folder)
    with _made(root):
        write_files(root, _exported_files(folder), database)
        book = read_rules(root)
        refuse_broken_firm(book)
        if book.firm.person(by) is None:
            known = ", ".join(person.key for person in book.firm.people)
            raise WorkspaceProblem(f'--by: "{by}" is not a person of it', f"name one of {known}")
        url = database or f"sqlite:///{(root / LEDGER_FILE).resolve()}"
        before, after = load_export(export, url, by, clock=clock, salts=fresh_salt)
    return Imported(before, after, export.moved)


def _exported_files(folder: Path) -> dict[str, bytes]:
    base = folder / FILES
    texts: dict[str, bytes] = {}
    for path in sorted(base.rglob("*.toml")):
        if path.is_symlink() or not path.is_file():
            raise WorkspaceProblem(f"{path} is a link", "export the ledger again")
        name = path.relative_to(base).as_posix().removeprefix(f"{RULES_FOLDER}/")
        if path.stat().st_size > MOST_BYTES:
            raise WorkspaceProblem(f"{path} is larger than a rule file can be", "export it again")
        texts[name] = path.read_bytes()
    if FIRM_FILE not in texts:
        raise WorkspaceProblem(f"the export has no {FILES}/{FIRM_FILE}", "export it again")
    return texts
