"""What sealed disposals destroyed: asked before a missing text is called missing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from ledger.journal import Reader
from ledger.values.draft import Sheet
from ledger.values.finding import Fault
from ledger.values.origin import Origin
from ledger.values.sealed import EntryKind, Sealed


@dataclass(frozen=True)
class Gone:
    """Which disposal took each private text (by its entry) and each kept file (by its digest)."""

    texts: Mapping[int, Sealed]
    files: Mapping[str, Sealed]


def gone_in(reader: Reader) -> Gone:
    """Return what the disposals of a ledger name."""
    texts: dict[int, Sealed] = {}
    files: dict[str, Sealed] = {}
    for entry in reader.entries(kinds=(EntryKind.DISPOSAL,)):
        texts.update(dict.fromkeys(entry.body["entries"], entry))
        files.update(dict.fromkeys(entry.body["blobs"], entry))
    return Gone(texts, files)


def day_of(entry: Sealed) -> date:
    """Return the day on which an entry was sealed (UTC)."""
    return date.fromisoformat(entry.at[:10])


def disposed_before(reader: Reader, sheet: Sheet) -> tuple[Fault, ...]:
    """Return why a sheet is refused: its own bytes were disposed of, so its lines are on record.

    Once a site's address is destroyed, nobody can tell that a line of the sheet is the record
    that stands there: booked again, the work would count twice.
    """
    gone = gone_in(reader).files.get(sheet.digest)
    if gone is None:
        return ()
    return (
        Fault(
            "SHEET-DISPOSED", Origin(sheet.file),
            f"this very sheet was handed in before, and entry {gone.seq} of {gone.at[:10]} "
            "disposed of its text; what it recorded still stands and counts",
            "hand nothing in: its entries are in useledger entries (trace "
            f"{gone.seq} says what went); work that was never recorded goes on a sheet of its own",
        ),
    )  # fmt: skip
