"""The columns of a row, worked out from the entry's line: one function for writing and proving."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

from ledger.journal.tables import journal
from ledger.values.sealed import EntryKind

COLUMNS: tuple[str, ...] = tuple(column.name for column in journal.columns)
"""Every column of the journal, in the order of a row."""

USES = (EntryKind.APPLICATION, EntryKind.AMENDMENT)
"""The kinds whose amounts count in a summary."""

LABEL_DIGITS = 16
"""How many hex digits of a label's digest stand in the index; the whole stands in the line."""

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def columns_of(line: Mapping[str, Any], seal: str, text: str) -> tuple[Any, ...]:
    """Return the whole row of an entry, in the order of ``COLUMNS``, from its line alone.

    ``line`` is what ``text`` says. A value of an unexpected type gives null: the line, not the
    index, is the record.
    """
    body = line["body"]
    day = _text(body, "date")
    if day is not None and not _DAY.fullmatch(day):
        day = None
    label = _text(body, "label")
    used = body.get("used") if line["kind"] in USES else None
    if not isinstance(used, dict):
        used = {}
    judged = body if line["kind"] == EntryKind.JUDGEMENT else {}
    return (
        line["seq"], line["form"], str(line["kind"]), line["at"], line["by"], line["os_user"],
        line["prev"], seal, text, line["private"], line["replaces"], line["refers"],
        day, int(day[:4] + day[5:7]) if day else None,
        _text(body, "jurisdiction"), _text(body, "county"), _text(body, "product_key"),
        label[:LABEL_DIGITS] if label is not None else None,
        _text(body, "site_code"), _text(body, "site"), _text(body, "applicator"),
        _text(used, "unit"), _whole(used, "denominator"), _whole(used, "numerator"),
        _text(body, "visit"), _text(body, "identity"), _text(body, "own"),
        _whole(body, "clears"), _whole(judged, "first"), _whole(judged, "last"),
    )  # fmt: skip


def place_of(line: Mapping[str, Any], private: str | None) -> tuple[int, str, str] | None:
    """Return the row of ``place`` (seq, site key, postal code) of a site entry, else None."""
    if line["kind"] != EntryKind.SITE or private is None:
        return None
    try:
        address = json.loads(private)
    except ValueError:
        return None
    site = _text(line["body"], "site")
    if site is None or not isinstance(address, dict):
        return None
    return line["seq"], site, _text(address, "zip") or ""


def _text(body: Mapping[str, Any], key: str) -> str | None:
    value = body.get(key)
    return str(value) if isinstance(value, str) else None


def _whole(body: Mapping[str, Any], key: str) -> int | None:
    value = body.get(key)
    return value if isinstance(value, int) else None
