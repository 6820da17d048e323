"""Orders to keep, which stop a disposal until somebody ends them, and the ends of contracts."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import Any

from ledger.flow.workspace import Workspace, WorkspaceProblem, sealed_entry
from ledger.journal import Reader
from ledger.values.sealed import EntryKind, NewEntry, Sealed


def order_keep(workspace: Workspace, scope: Mapping[str, Any], because: str, by: str) -> Sealed:
    """Seal an order that stops disposal of what its scope names (entry, site, from, to)."""
    if not because.strip():
        raise WorkspaceProblem("an order to keep has its reason", 'add --because "..."')
    if not any(scope.values()):
        raise WorkspaceProblem(
            "an order names what it keeps", "add --entry, --site, --from or --to"
        )
    private = json.dumps({"because": because}, ensure_ascii=True)
    with workspace.store.writing() as writer:
        if scope.get("entry"):
            sealed_entry(writer, int(scope["entry"]))
        if scope.get("site") and writer.site(scope["site"]) is None:
            raise WorkspaceProblem(f"there is no site {scope['site']}", "see useledger sites")
        body = {"keeps": {key: value for key, value in scope.items() if value}}
        return writer.append(NewEntry(EntryKind.KEEP, body, private, by))


def release(workspace: Workspace, seq: int, because: str, by: str) -> Sealed:
    """End an order to keep."""
    if not because.strip():
        raise WorkspaceProblem("an order is ended with a reason", 'add --because "..."')
    private = json.dumps({"because": because}, ensure_ascii=True)
    with workspace.store.writing() as writer:
        known = [order.seq for order in open_orders(writer)]
        if seq not in known:
            said = ", ".join(str(number) for number in known) or "none"
            raise WorkspaceProblem(f"{seq} is not an order in force", f"in force: {said}")
        body = {"releases": seq}
        return writer.append(NewEntry(EntryKind.KEEP, body, private, by, refers=seq))


def open_orders(reader: Reader, before: int | None = None) -> Iterator[Sealed]:
    """Yield the orders to keep that are in force, or were when entry ``before`` was sealed."""
    entries = [
        entry
        for entry in reader.entries(kinds=(EntryKind.KEEP,))
        if before is None or entry.seq < before
    ]
    ended = {entry.refers for entry in entries if "releases" in entry.body}
    yield from (entry for entry in entries if "keeps" in entry.body and entry.seq not in ended)


def holds_back(order: Sealed, around: Iterable[int], site: str, days: Iterable[date]) -> bool:
    """Say whether an order keeps these entries of a site and of these days."""
    keeps = order.body["keeps"]
    if keeps.get("entry") and keeps["entry"] not in set(around):
        return False
    if keeps.get("site") and keeps["site"] != site:
        return False
    first, last = keeps.get("from", ""), keeps.get("to", "9999-12-31")
    return any(first <= day.isoformat() <= last for day in days)


def contract_ended(workspace: Workspace, site: str, day: date, by: str) -> Sealed:
    """Seal that the contract (or its warranty) at a site ended on a day."""
    with workspace.store.writing() as writer:
        if writer.site(site) is None:
            raise WorkspaceProblem(f'there is no site "{site}"', "see useledger sites")
        body = {"contract_end": day.isoformat(), "site": site}
        return writer.append(NewEntry(EntryKind.KEEP, body, by=by))


def contract_end(reader: Reader, site: str, day: date, before: int | None = None) -> date | None:
    """Return the end of the contract that work of that day stood under; None while it runs.

    ``before`` leaves out what was sealed from that entry on.
    """
    ends = [
        date.fromisoformat(entry.body["contract_end"])
        for entry in reader.entries(kinds=(EntryKind.KEEP,))
        if entry.body.get("contract_end")
        and entry.body["site"] == site
        and (before is None or entry.seq < before)
    ]
    return min((end for end in ends if end >= day), default=None)
