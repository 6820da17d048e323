"""The columns of a row, worked out from the entry's line: one function for writing and proving."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

from ledger.journal.tables import TABLES
from ledger.values.sealed import EntryKind

COLUMNS = TABLES["journal"]
"""Every column of the journal, in the order of a row."""

USES = (EntryKind.APPLICATION, EntryKind.AMENDMENT)
"""The kinds whose amounts count in a summary."""

LABEL_DIGITS = 16
"""How many hex digits of a label's digest stand in the index; the whole stands in the line."""

_TEXTS = (
    "date", "jurisdiction", "county", "product_key", "label", "site_code", "site", "applicator",
    "visit", "identity", "own",
)  # fmt: skip
_USES = frozenset(str(kind) for kind in USES)
_JUDGEMENT = str(EntryKind.JUDGEMENT)
_NOTHING: Mapping[str, Any] = {}

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def columns_of(line: Mapping[str, Any], seal: str, text: str) -> tuple[Any, ...]:
    """Return the whole row of an entry, in the order of ``COLUMNS``, from its line alone.

    ``line`` is what ``text`` says. A value of an unexpected type gives null: the line, not the
    index, is the record.
    """
    body, kind = line["body"], str(line["kind"])
    get = body.get
    (
        day, jurisdiction, county, product_key, label, site_code, site, applicator, visit,
        identity, own,
    ) = [
        value if type(value) is str or value is None else _text(value) for value in map(get, _TEXTS)
    ]  # fmt: skip
    day, month = day_and_month(day)
    used = get("used") if kind in _USES else None
    if not isinstance(used, dict):
        used = _NOTHING
    judged = body if kind == _JUDGEMENT else _NOTHING
    return (
        line["seq"], line["form"], kind, line["at"], line["by"], line["os_user"],
        line["prev"], seal, text, line["private"], line["replaces"], line["refers"],
        day, month,
        jurisdiction, county, product_key,
        label[:LABEL_DIGITS] if label is not None else None,
        site_code, site, applicator,
        _text(used.get("unit")), _whole(used.get("denominator")), _whole(used.get("numerator")),
        visit, identity, own,
        _whole(get("clears")), _whole(judged.get("first")), _whole(judged.get("last")),
    )  # fmt: skip


@lru_cache(maxsize=4096)
def day_and_month(text: str | None) -> tuple[str | None, int | None]:
    """Return a day and its month as they stand in the index, nothing for what is no day."""
    if text is None or not _DAY.fullmatch(text):
        return None, None
    return text, int(text[:4] + text[5:7])


def place_of(line: Mapping[str, Any], private: str | None) -> tuple[int, str, str] | None:
    """Return the row of ``place`` (seq, site key, postal code) of a site entry, else None."""
    if line["kind"] != EntryKind.SITE or private is None:
        return None
    return place_in(line["seq"], line["body"].get("site"), private, json.loads)


def place_in(
    seq: int, site: object, private: str | bytes, read: Callable[[str | bytes], object]
) -> tuple[int, str, str] | None:
    """Return the row of ``place`` of a site entry from its site and private text, read as JSON."""
    try:
        address = read(private)
    except ValueError:
        return None
    if not isinstance(site, str) or not isinstance(address, dict):
        return None
    return seq, site, _text(address.get("zip")) or ""


def _text(value: object) -> str | None:
    return str(value) if isinstance(value, str) else None


def _whole(value: object) -> int | None:
    return value if isinstance(value, int) else None
