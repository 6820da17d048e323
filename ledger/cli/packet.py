"""What leaves the house for an inspector: a packet, or the proof of one entry."""

from __future__ import annotations

import io
import json
import secrets
import shutil
import stat
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ledger.cli.common import (
    COULD_NOT,
    DONE,
    EntryNumber,
    fault_json,
    print_json,
    read_day,
    read_file,
    shared,
    stop,
)  # fmt: skip
from ledger.flow.workspace import open_workspace
from ledger.values.finding import render_fault

if TYPE_CHECKING:
    from ledger.flow.packet_check import PacketProof

MOST_BYTES = 500_000_000
MOST_FILES = 100_000
MOST_OF_A_PROOF = 16_000_000
MOST_TIMES, SMALL = 100, 64_000_000
"""Texts pack to a tenth; what unpacks to a hundred times its size was made to fill a memory."""
"""The most that a packet may unpack to; more is no packet of records."""

_EPOCH = (1980, 1, 1, 0, 0, 0)


@click.command("packet")
@click.argument("target", type=click.Path(path_type=Path))
@click.option("--from", "date_from", metavar="DATE", help="First day of work.")
@click.option("--to", "date_to", metavar="DATE", help="Last day of work.")
@click.option("--site", "--address", metavar="KEY", help="One site, by key or part of its street.")
@click.option("--redact", is_flag=True, help="Withhold the customers' names.")
@shared
def packet_command(
    target: Path, redact: bool, workspace: str | None, as_json: bool, **said: str | None
) -> int:
    """Write what an inspector asks for.

    Write what an inspector asks for: a folder, or a ZIP where the name ends in .zip.

    \b
    It reads with a PDF reader and a spreadsheet, and is checked with sha256sum. One address gives
    only that address, each entry proved against a sealed root. Examples:
      useledger packet inspection.zip
      useledger packet inspection --from 2026-01-01 --to 2026-03-31
      useledger packet okafor.zip --address "118 TOLLHOUSE"
    """
    from ledger.cli.asking import site_of
    from ledger.flow.packet import Selection, make_packet
    from reports.packet_files import packet_files

    if target.exists():
        stop(f"{target} exists already; name another folder or file")
    opened = open_workspace(workspace)
    first, last = (read_day(str(said[name]), name.replace("date_", "--")) if said[name] else None
                   for name in ("date_from", "date_to"))  # fmt: skip
    site = site_of(opened, str(said["site"])) if said["site"] else ""
    packet = make_packet(opened, Selection(first, last, site, redact))
    files = packet_files(packet, opened.book, opened.today())
    write_packet(target, files)
    counts = {"entries": len(packet.entries), "records": len(packet.records),
              "beyond": len(packet.proofs.beyond), "files": len(files)}  # fmt: skip
    if as_json:
        print_json({"packet": str(target), **counts, "selection": packet.selection.text})
        return DONE
    click.echo(
        f"{target}: {counts['records']} versions of records among {counts['entries']} entries, "
        f"{counts['files']} files. Begin with 00-index.pdf."
    )
    if packet.proofs.beyond:
        click.echo(
            f"{counts['beyond']} entries stand under no close yet: close their days, and make the "
            "packet again to have them proved."
        )
    return DONE


def write_packet(target: Path, files: dict[str, bytes]) -> None:
    """Write a packet as a ZIP or a folder; it gets its name when it is whole."""
    part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        if target.suffix.casefold() == ".zip":
            part.write_bytes(zipped(files))
        else:
            for name, data in files.items():
                path = part / name
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(data)
        part.rename(target)
    except BaseException:
        if part.is_dir():
            shutil.rmtree(part, ignore_errors=True)
        else:
            part.unlink(missing_ok=True)
        raise


def zipped(files: dict[str, bytes]) -> bytes:
    """Return files as a ZIP that is the same whenever it is made."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            info = zipfile.ZipInfo(name, _EPOCH)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            archive.writestr(info, data)
    return out.getvalue()


@click.command("prove")
@click.argument("entry", type=EntryNumber())
@click.option("--out", type=click.Path(path_type=Path), help="Write the proof to this file.")
@shared
def prove_command(entry: int, out: Path | None, workspace: str | None, as_json: bool) -> int:
    """Prove one entry, to be checked without the ledger.

    Prove that one entry stands under a sealed root (RFC 9162), to be checked without the ledger.

    \b
    It does not prove that nothing was left out. Examples:
      useledger prove 17 --out entry-17.json
      useledger verify --packet entry-17.json
    """
    from ledger.cli.common import staged
    from ledger.flow.proving import prove

    proof = prove(open_workspace(workspace), entry)
    text = json.dumps(proof, ensure_ascii=False, indent=1) + "\n"
    if out is None:
        click.echo(text, nl=False)
        return DONE
    with staged({out: text.encode("utf-8")}):
        pass
    if as_json:
        print_json({"file": str(out), "entry": entry, "close": proof["close"]["seq"]})
    else:
        click.echo(
            f"{out}: entry {entry} stands under the root of close {proof['close']['seq']}, seal "
            f"code {proof['close']['code']}. {proof['caveat']}"
        )
    return DONE


def verify_packet(path: Path, codes: tuple[str, ...], *, as_json: bool) -> int:
    """Check a packet (folder, ZIP) or a proof (JSON) without any ledger, and say what was found."""
    from ledger.flow.packet_check import check_packet, check_proof
    from ledger.flow.proving import CAVEAT

    if not path.is_dir() and not path.is_file():
        stop(f"{path} is no file and no folder; name a packet or a proof that was made here")
    if path.suffix.casefold() == ".json":
        result = check_proof(_proof(path), codes)
    else:
        result = check_packet(read_packet(path), codes)
    if as_json:
        print_json({
            "ok": result.ok, "files": result.files, "entries": result.entries,
            "proved": result.proved, "beyond": result.beyond, "private_texts": result.privates,
            "seals_found": list(result.witnesses),
            "problems": [fault_json(fault) for fault in result.problems], "caveat": CAVEAT,
        })  # fmt: skip
    else:
        _say(path, result, CAVEAT)
    return DONE if result.ok else COULD_NOT


def _say(path: Path, result: PacketProof, caveat: str) -> None:
    for fault in result.problems:
        click.echo(render_fault(fault))
    if result.ok:
        click.echo(
            f"{path} is whole: {result.files} files, {result.entries} entries, {result.proved} of "
            f"them proved against the sealed root, {result.beyond} sealed after it, "
            f"{result.privates} private texts recomputed."
        )
        if not result.witnesses:
            click.echo("No kept seal was compared: give those on paper with --seal CODE.")
    else:
        click.echo(f"{path} is NOT whole: {len(result.problems)} problems.")
    click.echo(caveat)


def _proof(path: Path) -> dict[str, Any]:
    try:
        value = json.loads(read_file(path, MOST_OF_A_PROOF))
    except (ValueError, RecursionError):
        value = None
    if not isinstance(value, dict):
        stop(f"{path} is no proof; name a file that useledger prove wrote")
    return value


def read_packet(path: Path) -> dict[str, bytes]:
    """Return the files of a packet by path; stop at what leads out of it, links, and bombs."""
    if path.is_dir():
        return _folder(path)
    try:
        return _archive(path)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, ValueError) as error:
        stop(f"{path} is no packet ({error}); name a folder, a ZIP or a proof")


def _folder(root: Path) -> dict[str, bytes]:
    files: dict[str, bytes] = {}
    size = 0
    for path in sorted(root.rglob("*")):
        if path.is_symlink():
            stop(f"{path} is a link; a packet has none")
        if path.is_file():
            size += path.stat().st_size
            if size > MOST_BYTES:
                stop(
                    f"{path} brings {root} over {MOST_BYTES:,} bytes, the most that is checked at "
                    "once; make packets of shorter periods"
                )
            files[path.relative_to(root).as_posix()] = path.read_bytes()
    return files


def _archive(path: Path) -> dict[str, bytes]:
    from ledger.journal.transfer import safe_name

    files: dict[str, bytes] = {}
    with zipfile.ZipFile(path) as archive:
        items = archive.infolist()
        size = sum(item.file_size for item in items)
        if size > MOST_BYTES or size > max(MOST_TIMES * path.stat().st_size, SMALL):
            stop(
                f"{path} unpacks to {size:,} bytes; {MOST_BYTES:,} at most are checked, and "
                f"no honest packet is {MOST_TIMES} times its packed size; make packets of shorter "
                "periods"
            )
        if len(items) > MOST_FILES:
            stop(f"{path} is packed of {len(items):,} files; that is no packet of records")
        for item in items:
            if not safe_name(item.filename) or stat.S_ISLNK(item.external_attr >> 16):
                stop(f"{path} holds a name that leads out of it: {item.filename!r}")
            if not item.is_dir():
                with archive.open(item) as stream:
                    data = stream.read(item.file_size + 1)
                if len(data) > item.file_size or item.filename in files:
                    stop(f"{path} holds {item.filename!r} twice or longer than it says")
                files[item.filename] = data
    return files
