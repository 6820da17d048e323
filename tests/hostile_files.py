"""Files made to do harm, by name, and a way to hand one in under limits of time and memory."""

from __future__ import annotations

import io
import json
import os
import resource
import signal
import time
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from ledger.cli import main
from tests.day_sheets import sheet

SECONDS, BYTES = 40, 700_000_000
"""What one command may take of the processor and, beyond what the process held, of memory."""


@dataclass(frozen=True)
class Done:
    """What a command came to: exit code, all it said, processor seconds, bytes it grew by."""

    code: int
    said: str
    seconds: float
    grew: int


def run_limited(*words: str | Path) -> Done:
    """Run the program in a process of its own that is stopped at the limits."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading)
            told = json.dumps(_run(words)).encode()
            while told:
                told = told[os.write(writing, told) :]
        finally:
            os._exit(0)
    os.close(writing)
    with os.fdopen(reading, "rb") as stream:
        told = stream.read()
    _, status = os.waitpid(child, 0)
    assert told, f"{words}: the process died ({status}): out of its time or memory, or it hung"
    return Done(**json.loads(told))


def _run(words: tuple[str | Path, ...]) -> dict[str, Any]:
    Path("/proc/self/clear_refs").write_text("5")  # the peak is counted from here
    held = _memory("VmSize")
    resource.setrlimit(resource.RLIMIT_AS, (held + BYTES, held + BYTES))
    used = int(time.process_time())
    resource.setrlimit(resource.RLIMIT_CPU, (used + SECONDS, used + SECONDS))
    signal.alarm(120)  # what waits takes no processor
    before, begun = _memory("VmRSS"), time.process_time()
    result = CliRunner().invoke(main, [str(word) for word in words])
    escaped = result.exception if not isinstance(result.exception, SystemExit) else None
    return {
        "code": 70 if escaped is not None else result.exit_code,
        "said": result.output + (repr(escaped) if escaped else ""),
        "seconds": time.process_time() - begun, "grew": _memory("VmHWM") - before,
    }  # fmt: skip


def _memory(name: str) -> int:
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith(f"{name}:"):
            return int(line.split()[1]) * 1024
    raise LookupError(name)


# --- workbooks ---------------------------------------------------------------------------------

_TYPES = (
    '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/'
    'content-types"><Default Extension="xml" ContentType="application/xml"/></Types>'
)
_RELS = (
    '<Relationships><Relationship Id="r" Type="x/officeDocument" Target="xl/workbook.xml"/>'
    "</Relationships>"
)
_BOOK = '<workbook xmlns:r="r"><sheets><sheet name="applications" r:id="s"/></sheets></workbook>'
_BOOK_RELS = (
    '<Relationships><Relationship Id="s" Type="x/worksheet" Target="sheet.xml"/></Relationships>'
)


def workbook(rows: str, extra: dict[str, bytes] | None = None) -> bytes:
    """Return a workbook of one sheet with these rows, and more parts."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as book:
        book.writestr("[Content_Types].xml", _TYPES)
        book.writestr("_rels/.rels", _RELS)
        book.writestr("xl/workbook.xml", _BOOK)
        book.writestr("xl/_rels/workbook.xml.rels", _BOOK_RELS)
        book.writestr("xl/sheet.xml", f"<worksheet><sheetData>{rows}</sheetData></worksheet>")
        for name, data in (extra or {}).items():
            book.writestr(name, data)
    return out.getvalue()


def row(cells: dict[str, str], number: int, formulas: frozenset[str] = frozenset()) -> str:
    """Return a row of text cells; of those named in ``formulas`` the text is a formula."""
    made = "".join(
        f"<c><f>{text}</f></c>" if name in formulas
        else f'<c t="inlineStr"><is><t>{text}</t></is></c>'
        for name, text in cells.items()
    )  # fmt: skip
    return f'<row r="{number}">{made}</row>'


def lines_of(data: bytes) -> tuple[list[str], list[list[str]]]:
    """Return headings and cells of a CSV sheet that has no quotes."""
    head, *rest = [line.split(",") for line in data.decode().splitlines()]
    return head, rest


def as_workbook(data: bytes, formulas: frozenset[str] = frozenset()) -> bytes:
    """Return a CSV sheet as a workbook."""
    head, lines = lines_of(data)
    rows = [row({name: name for name in head}, 1)]
    rows += [row(dict(zip(head, cells, strict=True)), number, formulas)
             for number, cells in enumerate(lines, start=2)]  # fmt: skip
    return workbook("".join(rows))


@cache
def bomb() -> bytes:
    """Return a workbook of some hundred thousand bytes with a part of 300 million."""
    out = io.BytesIO(workbook(""))
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as book:
        book.writestr("xl/sharedStrings.xml", b" " * 300_000_000)
    return out.getvalue()


@cache
def lying_bomb() -> bytes:
    """Return a bomb whose directory says that its part is small."""
    data = bytearray(bomb())
    real = (300_000_000).to_bytes(4, "little")
    while (at := data.find(real)) >= 0:
        data[at : at + 4] = (1000).to_bytes(4, "little")
    return bytes(data)


def giant() -> bytes:
    """Return a workbook of more rows than a day sheet has, all of them full."""
    cells = "<c><v>1</v></c>" * 20
    return workbook(f"<row>{cells}</row>" * 150_000)


def fifo(path: Path) -> None:
    os.mkfifo(path)


def loop(path: Path) -> None:
    path.symlink_to(path.name)


def dangling(path: Path) -> None:
    path.symlink_to("nothing-is-here")


def device(path: Path) -> None:
    path.symlink_to("/dev/zero")


def folder(path: Path) -> None:
    path.mkdir()


def sparse(path: Path) -> None:
    """Make a file of eleven hundred million bytes that takes no room on the disk."""
    with path.open("wb") as out:
        out.truncate(1_100_000_000)


@dataclass(frozen=True)
class Hostile:
    """A hostile file: its bytes, or how it is made; the ending of its name."""

    made: bytes | Callable[[], bytes] | Callable[[Path], None]
    ending: str = "csv"
    shaped: bool = False

    def put(self, path: Path) -> Path:
        """Make it at this place."""
        if self.shaped:
            self.made(path)  # type: ignore[call-arg,operator]
            return path
        path.write_bytes(self.made() if callable(self.made) else self.made)  # type: ignore[call-arg,arg-type]
        return path


DEEP = b"[" * 200_000
TOO_LONG = b'format = 1\nid = "' + b"x" * 10_000_000 + b'"\n'

SHAPES = {
    "a pipe": Hostile(fifo, shaped=True), "a link in a circle": Hostile(loop, shaped=True),
    "a link to nothing": Hostile(dangling, shaped=True),
    "a link to a device": Hostile(device, shaped=True), "a folder": Hostile(folder, shaped=True),
    "eleven hundred million bytes": Hostile(sparse, shaped=True),
}  # fmt: skip
"""What is no file to be read, whatever door it comes in by."""

BYTES_OF_NO_USE = {
    "nothing": Hostile(b""), "NUL bytes": Hostile(b"\0" * 1000),
    "no encoding": Hostile(b"\x81\x8d\x8f\x90\x9d" * 100), "deep brackets": Hostile(DEEP),
    "ten million letters": Hostile(b"x" * 10_000_000),
    "a zip bomb": Hostile(bomb, "xlsx"), "a lying zip bomb": Hostile(lying_bomb, "xlsx"),
}  # fmt: skip
"""What no reader takes for anything, whatever it reads."""

SHEETS = {
    "a giant workbook": Hostile(giant, "xlsx"),
    "a workbook with macros": Hostile(lambda: workbook("", {"xl/vbaProject.bin": b"x"}), "xlsm"),
    "UTF-16 without its mark": Hostile(lambda: sheet({}).decode().encode("utf-16-le")),
    "NUL in a cell": Hostile(lambda: sheet({"note": "a"}).replace(b",before,", b",be\0fore,")),
    "entities in a workbook": Hostile(
        lambda: workbook("", {"xl/styles.xml": b'<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>'}),
        "xlsx",
    ),
}  # fmt: skip
"""Sheets that are refused whole."""


LINES: dict[str, dict[str, str]] = {
    "a cell of ten million letters": {"note": "x" * 10_000_000},
    "ten million letters for an amount": {"amount": "9" * 10_000_000},
    "a day that never was": {"date": "2026-02-30"}, "a day far off": {"date": "9999-12-31"},
    "a day before all": {"date": "0001-01-01"}, "a day of a thousand digits": {"date": "1" * 1000},
    "an endless number": {"amount": "1e999999999 oz"}, "no number": {"amount": "NaN oz"},
    "a number of 5,000 digits": {"amount": "9" * 5000 + " oz"},
    "a fraction of nothing": {"amount": "1/0 oz"}, "an hour that is none": {"start": "99:99"},
    "ten thousand brackets": {"amount": "(" * 10_000},
    "a formula for an amount": {"amount": "=1+1"},
}  # fmt: skip
"""Lines that are held by themselves, by the column that is at fault (its first key)."""
