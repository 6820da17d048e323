"""A packet's files: papers, one workbook, the entries' own lines, proofs, and the sums of all."""

from __future__ import annotations

import hashlib
import html
import json
from collections.abc import Mapping, Sequence
from datetime import date

from ledger.flow.packet import Packet, file_name
from ledger.flow.proving import CAVEAT
from ledger.merkle import sides
from ledger.rulebook.book import Book
from ledger.seal import seal_code
from reports.packet import packet_sheets
from reports.pdf import document
from reports.sheet import Column, Sheet
from reports.xlsx import workbook

SUMS = "SHA256SUMS"
HOW = "01-how-to-check.txt"

PAGE = """\
How to check this packet with ordinary tools
============================================

Any computer with sha256sum (Linux, macOS with coreutils, Git Bash on Windows) can do it. Open a
terminal in the folder of this page. Each block prints OK, or what is wrong.

1. No file was changed since the packet was made:

    sha256sum -c --quiet SHA256SUMS && echo OK

2. The line of every entry gives the seal that is listed for it. An entry's seal is the SHA-256 of
   its line in journal/lines.jsonl; journal/seals.txt lists number and seal:

    while IFS= read -r line; do printf %s "$line" | sha256sum | cut -c1-64; done \\
      < journal/lines.jsonl > /tmp/seals.$$
    cut -d' ' -f2 journal/seals.txt | cmp - /tmp/seals.$$ && echo OK

3. Each entry stands under the root that a day close sealed (RFC 9162, section 2.1.3). A row of
   journal/proofs.txt is an entry's number, its leaf hash (SHA-256 of a zero byte and its line), the
   root, and the steps: L or R (on which side the hash stands) and the hash. A step's result is
   SHA-256 of a byte 01 and the two hashes, and the last result is the root:

    bytes() { printf "$(printf %s "$1" | sed 's/../\\\\x&/g')"; }
    while read -r number found root steps; do
      for step in $steps; do
        other=${step#?}
        case $step in L*) pair=$other$found;; *) pair=$found$other;; esac
        found=$(bytes "01$pair" | sha256sum | cut -c1-64)
      done
      test "$found" = "$root" || echo "entry $number is not under the root"
    done < journal/proofs.txt
    echo OK

   The leaf hashes are those of the lines:

    while IFS= read -r line; do
      { printf '\\000'; printf %s "$line"; } | sha256sum | cut -c1-64
    done < journal/lines.jsonl > /tmp/leaves.$$
    cut -d' ' -f2 journal/proofs.txt | grep -v -x -F -f /tmp/leaves.$$ || echo OK

4. The root is the one that the close sealed: the line of the close, entry {close}, says so itself:

    grep -c '"root":"{root}"' journal/lines.jsonl > /tmp/roots.$$ && echo OK

5. The seal code of that close is {code}. Compare it with a code on paper that you or a customer
   were given (a day's close, a notice, a filed report). Only that shows that the ledger was not
   written anew as a whole.

{caveat}

With the program itself: useledger verify --packet THIS-FOLDER [--seal CODE]
"""


def packet_files(packet: Packet, book: Book, today: date) -> dict[str, bytes]:
    """Return every file of a packet by its path, the sums last."""
    sheets = packet_sheets(packet, book)
    names = [f"{number:02}-{file_name(sheet.name).replace(' ', '-')}.pdf"
             for number, sheet in enumerate(sheets, start=2)]  # fmt: skip
    author = book.firm.name
    files = {name: document([sheet], author) for name, sheet in zip(names, sheets, strict=True)}
    index = _index(packet, book, today, list(zip(names, sheets, strict=True)))
    files["00-index.pdf"] = document([index], author)
    files["00-index.html"] = _html(index).encode("utf-8")
    files["packet.xlsx"] = workbook([index, *sheets])
    files[HOW] = _page(packet).encode("utf-8")
    files.update(_journal(packet))
    files.update(packet.kept)
    files = dict(sorted(files.items()))
    sums = "".join(f"{hashlib.sha256(data).hexdigest()}  {path}\n" for path, data in files.items())
    files[SUMS] = sums.encode("utf-8")
    return files


def _index(packet: Packet, book: Book, today: date, parts: Sequence[tuple[str, Sheet]]) -> Sheet:
    close = packet.proofs.close
    about = (
        ("Firm", book.firm.name), ("Licence", book.firm.licence),
        ("Selection", packet.selection.text), ("Made on", today.isoformat()),
        ("Ledger", packet.ledger),
        ("Newest entry of the ledger", f"{packet.head.seq}, {seal_code(packet.head.seal)}"),
        ("Newest close", "none" if close is None else f"{close.seq}, {seal_code(close.seal)}"),
    )  # fmt: skip
    rows: list[tuple[str, str, str]] = [
        (name, sheet.title, f"{len(sheet.rows)}") for name, sheet in parts
    ]
    rows += [
        ("packet.xlsx", "all of these tables, for a spreadsheet", ""),
        (HOW, "how to check all this without the program", ""),
        ("journal/", "the entries' own lines, their seals and proofs", f"{len(packet.entries)}"),
    ]
    folders = sorted({path.split("/")[0] for path in packet.kept})
    rows += [(f"{name}/", _FOLDERS[name], "") for name in folders]
    beyond = packet.proofs.beyond
    said = (
        f" Entries after the newest close, not under a root yet: {len(beyond)}." if beyond else ""
    )
    return Sheet(
        "index", "Packet for an inspection", about,
        (Column("File"), Column("What it holds"), Column("Rows")), tuple(rows),
        statement=CAVEAT + said,
    )  # fmt: skip


_FOLDERS = {
    "rules": "rule files and labels as they were used",
    "received": "day sheets as they were handed in",
    "filed": "reports as they were filed, by entry",
    "attached": "files attached to entries",
}


def _html(index: Sheet) -> str:
    rows = "\n".join(
        f'<tr><td><a href="{html.escape(str(file), quote=True)}">{html.escape(str(file))}</a></td>'
        f"<td>{html.escape(str(what))}</td><td>{html.escape(str(count))}</td></tr>"
        for file, what, count in index.rows
    )
    about = "\n".join(
        f"<dt>{html.escape(what)}</dt><dd>{html.escape(value)}</dd>" for what, value in index.about
    )
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>{html.escape(index.title)}</title></head>\n<body>"
        f"<h1>{html.escape(index.title)}</h1>\n<dl>{about}</dl>\n"
        f"<table><thead><tr><th>File</th><th>What it holds</th><th>Rows</th></tr></thead>\n"
        f"<tbody>{rows}</tbody></table>\n<p>{html.escape(index.statement)}</p>\n"
        f"<p>{html.escape(index.caution)}</p></body></html>\n"
    )


def _page(packet: Packet) -> str:
    close = packet.proofs.close
    said = {
        "close": "none" if close is None else str(close.seq),
        "root": "" if close is None else close.body["root"],
        "code": "none" if close is None else seal_code(close.seal), "caveat": CAVEAT,
    }  # fmt: skip
    text = PAGE
    for name, value in said.items():
        text = text.replace(f"{{{name}}}", value)
    return text


def _journal(packet: Packet) -> Mapping[str, bytes]:
    lines = "".join(f"{entry.text}\n" for entry in packet.entries)
    seals = "".join(f"{entry.seq} {entry.seal}\n" for entry in packet.entries)
    private = "".join(
        json.dumps(
            {"seq": entry.seq, "salt": packet.salts[entry.seq].hex(), "text": entry.private},
            ensure_ascii=False, sort_keys=True,
        ) + "\n"
        for entry in packet.entries
        if entry.seq in packet.salts
    )  # fmt: skip
    about = {
        "format": 1, "ledger": packet.ledger, "selection": packet.selection.text,
        "whole": int(packet.selection.whole), "redacted": int(packet.selection.redact),
        "head": {"seq": packet.head.seq, "seal": packet.head.seal},
        "close": None if packet.proofs.close is None else packet.proofs.close.seq,
        "beyond": list(packet.proofs.beyond),
        "paths": {str(seq): list(path) for seq, path in packet.proofs.paths.items()},
    }  # fmt: skip
    return {
        "journal/lines.jsonl": lines.encode("utf-8"),
        "journal/seals.txt": seals.encode("utf-8"),
        "journal/private.jsonl": private.encode("utf-8"),
        "journal/proofs.txt": _proofs(packet).encode("utf-8"),
        "journal/packet.json": (json.dumps(about, indent=1) + "\n").encode("utf-8"),
    }


def _proofs(packet: Packet) -> str:
    close = packet.proofs.close
    if close is None:
        return ""
    rows = []
    for entry in packet.entries:
        path = packet.proofs.paths.get(entry.seq)
        if path is None:
            continue
        ways = sides(entry.seq - 1, close.body["size"])
        steps = " ".join(f"{way[0].upper()}{step}" for way, step in zip(ways, path, strict=True))
        found = hashlib.sha256(b"\0" + entry.text.encode("utf-8")).hexdigest()
        rows.append(f"{entry.seq} {found} {close.body['root']} {steps}".rstrip() + "\n")
    return "".join(rows)
