"""A ledger in open formats: written so that no program is needed to read it, and taken up again.

``journal.jsonl`` holds every entry's canonical line as it is, ``private.jsonl`` the salted texts,
``blobs/`` the kept bytes under their SHA-256 with ``blobs.jsonl`` beside them, ``ledger.json``
what the whole must come to, ``SHA256SUMS`` the digest of every file for ``sha256sum -c``. Other
files of the folder are for people and are checked by their sums only.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from ledger.journal.append import Clock, Salts
from ledger.journal.backup import fill
from ledger.journal.founding import abandon, make_schema, prepare
from ledger.journal.problem import StoreProblem
from ledger.journal.read import Reader
from ledger.journal.verify import Verification, verify
from ledger.seal import SALT_BYTES, encode, seal_of
from ledger.values.finding import render_fault
from ledger.values.sealed import EntryKind, Head, NewEntry

FORMAT = 1
SUMS = "SHA256SUMS"
HEAD = "ledger.json"
JOURNAL, PRIVATE, BLOBS = "journal.jsonl", "private.jsonl", "blobs.jsonl"
KEPT = "blobs"

MOST_TEXT = 200_000_000
MOST_LINE = 64_000_000
MOST_KEPT = 1_000_000_000
"""What is read of an export at once: its list of sums, one line of a journal, one kept file."""

_SUM = re.compile(r"([0-9a-f]{64})  (.+)")
_DIGEST = re.compile(r"[0-9a-f]{64}")

AGAIN = "export the ledger again; what was handed over is not what was written"


@dataclass(frozen=True, slots=True)
class Export:
    """An export as found: its folder, the ledger's id, its head, whether it marks a move."""

    folder: Path
    ledger: str
    head: Head
    moved: bool


def write_journal(reader: Reader, folder: Path) -> Head:
    """Write the whole ledger into an empty folder (the sums come last: :func:`write_sums`)."""
    kept = folder / KEPT
    kept.mkdir()
    with (folder / JOURNAL).open("wb") as out:
        for text in reader.texts_since(0):
            out.write(text + b"\n")
    with (folder / PRIVATE).open("w", encoding="utf-8", newline="\n") as lines:
        for seq, salt, private in reader.privates():
            lines.write(_json({"seq": seq, "salt": salt.hex(), "text": private}) + "\n")
    with (folder / BLOBS).open("w", encoding="utf-8", newline="\n") as lines:
        for digest, kind, data in reader.blobs():
            (kept / digest).write_bytes(data)
            lines.write(_json({"digest": digest, "kind": kind, "bytes": len(data)}) + "\n")
    head = reader.head
    last = reader.entry(head.seq)
    about = {
        "format": FORMAT, "ledger": reader.ledger_id, "entries": head.seq, "seal": head.seal,
        "moved": int(last.kind is EntryKind.MOVED),
    }  # fmt: skip
    (folder / HEAD).write_text(_json(about) + "\n", encoding="utf-8")
    return head


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True)


def write_sums(folder: Path) -> None:
    """Write the SHA-256 of every file below a folder, as ``sha256sum -c`` reads it."""
    lines = [
        f"{file_digest(path)}  {path.relative_to(folder).as_posix()}\n"
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != SUMS
    ]
    (folder / SUMS).write_text("".join(lines), encoding="utf-8", newline="\n")


def file_digest(path: Path) -> str:
    """Return the SHA-256 of a file as hex."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def read_sums(folder: Path) -> dict[str, str]:
    """Return the listed digest of every file, by path; refuse names that lead out of the folder.

    ``StoreProblem`` where the list cannot be read, a file is missing, changed, or a link.
    """
    listed: dict[str, str] = {}
    for line in _text(folder / SUMS).splitlines():
        found = _SUM.fullmatch(line)
        if found is None or not safe_name(found[2]):
            raise StoreProblem(
                f"{SUMS} has a line that names no file of the folder: {line[:80]!r}", AGAIN
            )
        listed[found[2]] = found[1]
    for name, digest in listed.items():
        path = folder / name
        if any(part.is_symlink() for part in (path, *path.parents) if part != folder):
            raise StoreProblem(f"{name} is a link or stands behind one", AGAIN)
        if not path.is_file():
            raise StoreProblem(f"{name} is listed and not there", AGAIN)
        if file_digest(path) != digest:
            raise StoreProblem(f"{name} was changed: its SHA-256 is not the listed one", AGAIN)
    return listed


def safe_name(name: str) -> bool:
    """Say whether a path stays below the folder it is joined to, on every system."""
    parts = PurePosixPath(name).parts
    return (
        bool(parts)
        and not name.startswith("/")
        and ".." not in parts
        and not any(sign in name for sign in '\\:\0"*?<>|')
        and name.isprintable()
    )


def _text(path: Path) -> str:
    try:
        if path.is_symlink():
            raise StoreProblem(f"{path.name} is a link", AGAIN)
        if path.exists() and (not path.is_file() or path.stat().st_size > MOST_TEXT):
            raise StoreProblem(f"{path.name} is no list of files that an export writes", AGAIN)
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise StoreProblem(
            f"{path} cannot be read ({error})", "name a folder made by export"
        ) from error


def read_export(folder: Path) -> Export:
    """Return an export after checking every listed file; ``StoreProblem`` says what is wrong."""
    about = _object(_text(folder / HEAD), HEAD)
    if about.get("format") != FORMAT:
        raise StoreProblem(
            f"the export has format {about.get('format')!r}, this version reads {FORMAT}",
            "install the version of useledger that wrote it, or a newer one",
        )
    listed = read_sums(folder)
    for needed in (HEAD, JOURNAL, PRIVATE, BLOBS):
        if needed not in listed:
            raise StoreProblem(f"{needed} is not in {SUMS}", AGAIN)
    entries, seal = about.get("entries"), about.get("seal")
    if not isinstance(entries, int) or not isinstance(seal, str):
        raise StoreProblem(f"{HEAD} does not say how many entries there are and their seal", AGAIN)
    return Export(folder, str(about.get("ledger")), Head(entries, seal), about.get("moved") == 1)


def load_export(
    export: Export, url: str, by: str, *, clock: Clock, salts: Salts
) -> tuple[Head, Head]:
    """Take an export up in a fresh ledger; return its head as exported and the new head.

    Every digest and seal comes out the same or nothing is made. The first new entry says that
    the ledger continues from the exported head. ``StoreProblem`` says what stands in the way.
    """
    target = prepare(url, clock, salts)
    try:
        with target.begun_for_schema() as connection:
            make_schema(connection, target.name)
            fill(connection, _blobs(export.folder), _lines(export.folder))
            proof = verify(Reader(connection, target.name))
            _refuse_other(proof, export.head)
            writer = target.writer_on(connection)
            body = {
                "from_seq": export.head.seq, "from_seal": export.head.seal,
                "moved": int(export.moved),
            }  # fmt: skip
            writer.append(NewEntry(EntryKind.CONTINUED, body, by=by))
            writer.finish()
            head = writer.head
    except BaseException:
        abandon(target)
        raise
    target.close()
    return proof.head, head


def _refuse_other(proof: Verification, head: Head) -> None:
    if not proof.ok or proof.head != head:
        shown = "; ".join(render_fault(fault) for fault in proof.problems[:3]) or "another head"
        raise StoreProblem(f"the export does not come to the ledger it says it is: {shown}", AGAIN)


def _object(text: str, where: str) -> dict[str, Any]:
    try:
        value = json.loads(text)
    except (ValueError, RecursionError):
        value = None
    if not isinstance(value, dict):
        raise StoreProblem(f"{where}: not one JSON object a line", AGAIN)
    return value


def _blobs(folder: Path) -> Iterator[tuple[str, str, bytes]]:
    for line in _lines_in(folder / BLOBS):
        item = _object(line, BLOBS)
        digest = item.get("digest")
        if not isinstance(digest, str) or not _DIGEST.fullmatch(digest):
            raise StoreProblem(f"{BLOBS} names {digest!r}, which is no SHA-256", AGAIN)
        path = folder / KEPT / digest
        if path.is_symlink() or not path.is_file() or file_digest(path) != digest:
            raise StoreProblem(f"the kept bytes {digest[:16]} are gone or were changed", AGAIN)
        if path.stat().st_size > MOST_KEPT:
            raise StoreProblem(f"{digest[:16]} has more bytes than a database keeps", AGAIN)
        yield digest, str(item.get("kind")), path.read_bytes()


def _lines_in(path: Path) -> Iterator[str]:
    """Yield the lines of a file; refuse one that is no text or has a line without end."""
    number = 0
    try:
        with path.open(encoding="utf-8", newline="\n") as lines:
            while line := lines.readline(MOST_LINE + 1):
                number += 1
                if len(line) > MOST_LINE:
                    raise StoreProblem(
                        f"{path.name}:{number} is longer than any entry ({MOST_LINE:,})", AGAIN
                    )
                yield line
    except UnicodeDecodeError as error:
        raise StoreProblem(
            f"{path.name}: what follows line {number} is no text ({error.reason})", AGAIN
        ) from error


def _lines(folder: Path) -> Iterator[tuple[int, str, bytes | None, str | None]]:
    privates = _privates(folder)
    waiting = next(privates, None)
    prev = ""
    for number, line in enumerate(_lines_in(folder / JOURNAL), start=1):
        text = line.removesuffix("\n")
        prev = _seal_of_next(text, number, prev)
        salt = private = None
        if waiting is not None and waiting[0] == number:
            _, salt, private = waiting
            waiting = next(privates, None)
        yield number, text, salt, private
    if waiting is not None:
        raise StoreProblem(f"{PRIVATE} has a text of entry {waiting[0]}, out of order", AGAIN)


def _seal_of_next(text: str, number: int, prev: str) -> str:
    """Return the seal of a line that follows the seal ``prev``; refuse any other line."""
    line = _object(text, f"{JOURNAL}:{number}")
    try:
        data = encode(line)
        good = data == text.encode("utf-8") and line["seq"] == number and line["prev"] == prev
    except (ValueError, RecursionError):
        good = False
    if not good or not isinstance(line["body"], dict):
        raise StoreProblem(
            f"{JOURNAL}:{number} is not the line of entry {number} that follows the one before",
            AGAIN,
        )
    return seal_of(data)


def _privates(folder: Path) -> Iterator[tuple[int, bytes, str]]:
    for line in _lines_in(folder / PRIVATE):
        item = _object(line, PRIVATE)
        seq, salt, text = item.get("seq"), item.get("salt"), item.get("text")
        try:
            salted = bytes.fromhex(str(salt))
        except ValueError:
            salted = b""
        if not isinstance(seq, int) or not isinstance(text, str) or len(salted) != SALT_BYTES:
            raise StoreProblem(f"{PRIVATE} has a line without entry, salt and text", AGAIN)
        yield seq, salted, text
