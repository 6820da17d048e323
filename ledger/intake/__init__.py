"""Step 1, read: the bytes of a sheet -> drafts. It reads, never judges."""

from __future__ import annotations

import hashlib

from ledger.intake.csv_file import read_csv
from ledger.values.draft import Sheet
from ledger.values.finding import Fault
from ledger.values.origin import Origin

MAX_SHEET_BYTES = 32 * 1024 * 1024
"""A day sheet takes some kilobytes; a larger file is something else."""


def read_sheet(name: str, data: bytes, month_first: bool) -> Sheet:
    """Read a day sheet, CSV or XLSX by its content; ``name`` is what messages call the file.

    ``month_first`` says how people here write dates; it only serves to name the fraction that a
    spreadsheet turned into a date. No input raises: a file that cannot be read comes back as a
    ``Sheet`` with faults, and its digest (SHA-256 of the bytes, hex) all the same.
    """
    digest = hashlib.sha256(data).hexdigest()
    if len(data) > MAX_SHEET_BYTES:
        fault = Fault(
            "SHEET-TOO-LARGE", Origin(name),
            f"the file has {len(data)} bytes; {MAX_SHEET_BYTES} is the most that is read",
            "hand it in as several sheets",
        )  # fmt: skip
        return Sheet(name, digest, faults=(fault,))
    read = read_csv(name, data, month_first=month_first)
    return Sheet(name, digest, read.drafts, (), read.faults, read.remarks)
