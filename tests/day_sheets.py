"""Day sheets as bytes, from the headings that a test cares about; the rest is a plain good line."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping

from ledger.values.draft import APPLICATION_HEADINGS

GOOD: dict[str, str] = {
    "date": "2026-01-14", "start": "08:05", "end": "09:20", "applicator": "renner",
    "customer": "M. Okafor", "address": "118 Tollhouse Lane", "city": "Auburn", "state": "CA",
    "zip": "95603", "county": "Placer", "site kind": "dwelling", "product": "ridgeline-dust",
    "amount": "0.25 oz", "method": "crack and crevice", "setting": "at structure",
    "places": "door frame", "avoided": "none present", "pests": "ants", "extent": "100 ft",
    "temperature": "40 F", "wind": "3 mph N", "rain": "no", "notice": "before",
}  # fmt: skip
"""A line on which no rule finds anything."""


def sheet(*lines: Mapping[str, str], headings: Iterable[str] = APPLICATION_HEADINGS) -> bytes:
    """Return a CSV sheet; each line says only how it differs from ``GOOD``."""
    out = io.StringIO()
    writer = csv.DictWriter(out, list(headings), restval="", extrasaction="ignore")
    writer.writeheader()
    for line in lines:
        writer.writerow({**GOOD, **line})
    return out.getvalue().encode()
