"""Answers: what the firm says to a finding, as an entry of its own; the finding stays."""

from __future__ import annotations

import json
from dataclasses import dataclass
from difflib import get_close_matches

from ledger.audit import Item, Weight, in_order
from ledger.flow.audit_crew import see
from ledger.flow.audit_firm import report_items
from ledger.flow.audit_records import look_at
from ledger.flow.audit_scope import Scope
from ledger.flow.auditing import firm_items
from ledger.flow.lines import BOOKED
from ledger.flow.places import SiteBook
from ledger.flow.workspace import Workspace, WorkspaceProblem, sealed_entry
from ledger.journal import Reader
from ledger.values.sealed import EntryKind, NewEntry, Sealed


@dataclass(frozen=True, slots=True)
class Reply:
    """What a person answers: the reason, the corrective action, and who says so."""

    because: str
    action: str
    by: str


def answer(workspace: Workspace, what: str, reply: Reply) -> tuple[tuple[Item, Sealed], ...]:
    """Seal the firm's answer to a finding, or to every breach and difference of an entry.

    ``what`` is an entry's number or a finding as ``useledger audit`` names it. Returns each item
    with the entry that answers it. Raises where nothing there can be answered.
    """
    if not reply.because.strip() or not reply.action.strip():
        raise WorkspaceProblem(
            "an answer needs its reason and what was done about it",
            'add --because "..." and --action "..."',
        )
    items = find_items(workspace, what.strip())
    private = {"because": reply.because.strip(), "action": reply.action.strip()}
    text = json.dumps(private, ensure_ascii=True, sort_keys=True)
    done: list[tuple[Item, Sealed]] = []
    with workspace.store.writing() as writer:
        for item in items:
            body = {
                "finding": item.id, "entry": item.entry, "weight": item.weight.text,
                "rule": item.name, "topic": int(item.topic),
            }  # fmt: skip
            entry = NewEntry(
                EntryKind.ANSWER, body, private=text, by=reply.by, refers=item.entry
            )  # fmt: skip
            done.append((item, writer.append(entry)))
    return tuple(done)


def find_items(workspace: Workspace, what: str) -> tuple[Item, ...]:
    """Return the items that a person means, one of each id."""
    subject, slash, _ = what.partition("/")
    if subject.isdecimal() and len(subject) <= 15:
        with workspace.store.reading() as reader:
            items = _of_entry(workspace, reader, int(subject))
    else:
        items = _of_firm(workspace)
    by_id = {item.id: item for item in reversed(in_order(items))}
    if slash:
        found = [by_id[what]] if what in by_id else []
    else:
        answerable = {Weight.BREACH, Weight.DIFFERENCE}
        found = [item for item in in_order(by_id.values()) if item.weight in answerable]
        found = [item for item in found if item.subject == subject]
    if not found:
        raise WorkspaceProblem(*_nothing(what, by_id))
    return tuple(found)


def _of_entry(workspace: Workspace, reader: Reader, seq: int) -> list[Item]:
    entry = sealed_entry(reader, seq)
    if entry.kind not in BOOKED:
        raise WorkspaceProblem(
            f"entry {seq} is a {entry.kind}, not an application",
            "answer a finding as useledger audit names it",
        )
    newest = reader.newest_version(seq)
    if newest.seq != seq:
        raise WorkspaceProblem(
            f"entry {seq} was replaced by entry {newest.seq} ({newest.kind})",
            f"answer what is found about entry {newest.seq} now, if anything is",
        )
    return list(look_at(workspace, reader, SiteBook(reader), entry).items)


def _of_firm(workspace: Workspace) -> list[Item]:
    scope = Scope()
    items = list(report_items(workspace, scope))
    with workspace.store.reading() as reader:
        items += firm_items(workspace, reader, scope, see(workspace, reader, scope))
    return items


def _nothing(what: str, known: dict[str, Item]) -> tuple[str, str]:
    if "/" not in what:
        ids = ", ".join(known) or "nothing"
        return (
            f"entry {what} has no breach and no difference to answer",
            f"found there: {ids}; name one of them to answer it",
        )
    near = get_close_matches(what, known, n=1)
    hint = f'did you mean "{near[0]}"?' if near else "see useledger audit --advice for the names"
    return f'there is no finding "{what}"', hint
