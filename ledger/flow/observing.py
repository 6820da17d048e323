"""Observations: what was seen at a site and what the customer was told."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from ledger.flow.file_names import FILE
from ledger.flow.places import SiteBook
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.normalise.observation import read_observation
from ledger.values.draft import Draft, Sheet
from ledger.values.sealed import EntryKind, NewEntry


def observation_entries(
    reader: Reader, sheet: Sheet, sites: SiteBook, workspace: Workspace
) -> list[NewEntry]:
    """Return the sheet's observations that are not sealed yet.

    An observation is free text about a site: it is never held. What cannot be read of it (an
    address, a date) is kept as typed and said in its faults.
    """
    entries: list[NewEntry] = []
    seen: set[str] = set()
    for draft in sheet.observations:
        entry = _entry(draft, sheet, sites, workspace)
        identity = str(entry.body["identity"])
        if identity in seen or reader.by_identity(identity):
            continue
        seen.add(identity)
        entries.append(entry)
    return entries


def _entry(draft: Draft, sheet: Sheet, sites: SiteBook, workspace: Workspace) -> NewEntry:
    observed = read_observation(draft, workspace.book.firm.month_first, sites.all())
    origin = draft.origin
    text = {
        heading: draft.text(heading)
        for heading in ("date", "address", "site", "place", "condition", "advice")
    }
    core = [observed.day, observed.site, text["place"], text["condition"], text["advice"]]
    body: dict[str, Any] = {
        "identity": hashlib.sha256(json.dumps(core).encode()).hexdigest()[:32],
        "date": observed.day, "site": observed.site, "sheet": sheet.digest,
        "origin": {"row": origin.row, "page": origin.page},
        "remarks": list(observed.remarks),
    }  # fmt: skip
    private = json.dumps({**text, FILE: origin.file}, ensure_ascii=True, sort_keys=True)
    return NewEntry(EntryKind.OBSERVATION, body, private=private)
