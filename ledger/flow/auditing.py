"""An audit: everything of a scope judged again and gathered, compared with the last one, sealed."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass

from ledger.audit import (
    Answer,
    Figures,
    Item,
    Made,
    Since,
    compare_audits,
    digest_of,
    figures_of,
    in_order,
    listing_of,
    with_answers,
)  # fmt: skip
from ledger.flow.audit_crew import see
from ledger.flow.audit_firm import (
    NotRead,
    day_items,
    held_items,
    not_read,
    question_items,
    report_items,
)  # fmt: skip
from ledger.flow.audit_items import beside_in
from ledger.flow.audit_kept import set_aside_items
from ledger.flow.audit_scope import Scope
from ledger.flow.audit_seeing import Seen
from ledger.flow.day_stock import tool_items
from ledger.flow.incidents import incident_items
from ledger.flow.stocking import stock_items
from ledger.flow.supervision import training_items
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.values.sealed import EntryKind, NewEntry, Sealed


@dataclass(frozen=True)
class Audit:
    """What an audit shows: items in an inspector's order, figures, what was not read, changes."""

    scope: Scope
    items: tuple[Item, ...]
    figures: Figures
    made: tuple[Made, ...]
    unread: tuple[NotRead, ...]
    since: Since | None = None

    @property
    def digest(self) -> str:
        """The digest of the list of items, as an audit entry seals it."""
        return digest_of(self.items)

    @property
    def owed(self) -> tuple[Item, ...]:
        """What somebody still has to do or say something about."""
        return tuple(item for item in self.items if item.owed)


def audit(workspace: Workspace, scope: Scope) -> Audit:
    """Return what an inspector would find in a scope. Nothing is written."""
    # Filings are read in a transaction of their own, before this one.
    reports = tuple(report_items(workspace, scope)) if scope.of_the_firm else ()
    with workspace.store.reading() as reader:
        seen = see(workspace, reader, scope)
        items = seen.items
        items += firm_items(workspace, reader, scope, seen)
        items += reports
        answered = in_order(with_answers(items, answers_in(reader), seen.versions))
        made = tuple(seen.made)
        figures = figures_of(made, answered)
        unread = not_read(workspace, [*seen.places, workspace.book.firm.home])
        since = _since(reader, scope, answered, figures)
    return Audit(scope, answered, figures, made, unread, since)


def firm_items(workspace: Workspace, reader: Reader, scope: Scope, seen: Seen) -> Iterator[Item]:
    """Yield what is to be said beside the single records that were seen."""
    yield from day_items(reader, seen.days)
    yield from set_aside_items(seen.aside, beside_in(reader))
    yield from held_items(reader, scope)
    yield from question_items(reader, scope)
    yield from training_items(workspace, reader, seen.learners)
    yield from stock_items(workspace, reader, scope)
    yield from tool_items(workspace, reader, scope)
    yield from incident_items(workspace, reader, scope)


def answers_in(reader: Reader) -> dict[str, Answer]:
    """Return the newest answer to each item, by the item's id."""
    found: dict[str, Answer] = {}
    for entry in reader.entries(kinds=(EntryKind.ANSWER,)):
        said = json.loads(entry.private) if entry.private else {}
        found[entry.body["finding"]] = Answer(
            entry.seq, said.get("because", ""), said.get("action", ""), entry.by, entry.at
        )
    return found


# ------------------------------------------------------------------ sealing, comparing


def seal_audit(workspace: Workspace, done: Audit, by: str) -> Sealed:
    """Seal an audit: its scope, figures and the digest of its list, which is kept beside it."""
    with workspace.store.writing() as writer:
        body = {
            "scope": done.scope.body(), "digest": done.digest, "figures": done.figures.values(),
            "list": writer.keep("audit list", listing_of(done.items)),
            "head": {"seq": writer.head.seq, "seal": writer.head.seal},
        }  # fmt: skip
        return writer.append(NewEntry(EntryKind.AUDIT, body, by=by))


def _since(reader: Reader, scope: Scope, items: tuple[Item, ...], figures: Figures) -> Since | None:
    """Return what has changed since the newest sealed audit of the same scope, if there is one."""
    before = [
        entry
        for entry in reader.entries(kinds=(EntryKind.AUDIT,))
        if dict(entry.body["scope"]) == scope.body()
    ]
    if not before:
        return None
    last = before[-1]
    kept = reader.blob(last.body["list"])
    if kept is None:
        return None
    said = json.loads(kept)
    return compare_audits((last.seq, last.at), said, last.body["figures"], (items, figures))
