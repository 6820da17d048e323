"""Step 1, read: the bytes of a sheet -> drafts. It reads, never judges."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from ledger.intake.csv_file import open_csv, read_csv
from ledger.intake.rows import no_lines
from ledger.values.draft import Draft, Sheet
from ledger.values.finding import Fault
from ledger.values.origin import Origin

MAX_SHEET_BYTES = 32 * 1024 * 1024
"""A day sheet takes some kilobytes; a larger file is something else."""

MAX_CSV_BYTES = 900 * 1024 * 1024
"""A CSV file is read line by line; it is kept in the ledger, whose database takes no more."""

_WORKBOOK = (b"PK\x03\x04", b"PK\x05\x06")
_SAVE_AS = "open it where it was made, save it as .xlsx or as CSV, and hand that in"
_OTHER_FILES = (
    (b"%PDF", "a PDF"),
    (b"{\\rtf", "a text document (RTF)"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"\x1f\x8b", "a packed file (gzip)"),
    (b"7z\xbc\xaf", "a packed file (7z)"),
    (b"Rar!", "a packed file (RAR)"),
    (b"SQLite format 3\x00", "a database"),
    (b"<?xml", "an XML file"),
    (b"<html", "a web page"),
    (b"<!doctype", "a web page"),
)
_OLD_OFFICE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")


@dataclass(frozen=True)
class OpenSheet:
    """A sheet whose headings are understood; ``drafts`` reads its lines, from the first, each time.

    A CSV file is read line by line; a workbook was read whole.
    """

    file: str
    digest: str
    count: Callable[[], int]
    drafts: Callable[[], Iterator[Draft]]
    observations: tuple[Draft, ...] = ()
    faults: tuple[Fault, ...] = ()
    remarks: tuple[str, ...] = ()


def open_sheet(name: str, data: bytes, month_first: bool) -> OpenSheet:
    """Open a day sheet, CSV or XLSX by its content; ``name`` is what messages call the file.

    ``month_first`` says how people here write dates; it only serves to name the fraction that a
    spreadsheet turned into a date. No input raises: a file that cannot be read comes back with
    faults, and its digest (SHA-256 of the bytes, hex) all the same.
    """
    digest = hashlib.sha256(data).hexdigest()
    if data.startswith(_WORKBOOK):
        return _open_whole(read_sheet(name, data, month_first))
    if fault := _refused(name, data, MAX_CSV_BYTES):
        return _open_whole(Sheet(name, digest, faults=(fault,)))
    opened = open_csv(name, data, month_first=month_first)
    faults = opened.faults
    if not faults and next(opened.drafts(), None) is None:
        faults = (no_lines(name),)
    return OpenSheet(name, digest, opened.count, opened.drafts, (), faults, opened.remarks)


def _open_whole(sheet: Sheet) -> OpenSheet:
    return OpenSheet(
        sheet.file, sheet.digest, lambda: len(sheet.drafts), lambda: iter(sheet.drafts),
        sheet.observations, sheet.faults, sheet.remarks,
    )  # fmt: skip


def read_sheet(name: str, data: bytes, month_first: bool) -> Sheet:
    """Read a day sheet whole, as :func:`open_sheet` opens it; a very long one is refused."""
    digest = hashlib.sha256(data).hexdigest()
    if fault := _refused(name, data, MAX_SHEET_BYTES):
        return Sheet(name, digest, faults=(fault,))
    if data.startswith(_WORKBOOK):
        # Loaded only for a workbook, so that booking a CSV file starts fast.
        from ledger.intake.spreadsheet import read_workbook  # noqa: PLC0415

        book = read_workbook(name, data, month_first=month_first)
        return Sheet(name, digest, book.drafts, book.observations, book.faults, book.remarks)
    read = read_csv(name, data, month_first=month_first)
    return Sheet(name, digest, read.drafts, (), read.faults, read.remarks)


def _refused(name: str, data: bytes, most: int) -> Fault | None:
    """Return why a file is refused by its size or its first bytes."""
    if len(data) > most:
        return Fault(
            "SHEET-TOO-LARGE", Origin(name),
            f"the file has {len(data)} bytes; {most} is the most that is read",
            "hand it in as several sheets",
        )  # fmt: skip
    if data.startswith(_OLD_OFFICE):
        if _ENCRYPTED in data:
            return Fault(
                "SHEET-LOCKED", Origin(name), "the file is protected by a password",
                "take the password off, or save the sheet as CSV",
            )  # fmt: skip
        return Fault("SHEET-FORMAT", Origin(name), "this is an old Office file (.xls)", _SAVE_AS)
    start = data[:64].removeprefix(b"\xef\xbb\xbf").lstrip().lower()
    for mark, kind in _OTHER_FILES:
        if start.startswith(mark.lower()):
            return Fault("SHEET-FORMAT", Origin(name), f"this is {kind}, not a day sheet", _SAVE_AS)
    return None
