"""Corrections: a new entry holds the whole corrected record; the original stays readable."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace

from ledger.flow.booking import covering, normalise_all, remarks_of, use_entry
from ledger.flow.holding import draft_of, open_held
from ledger.flow.judging import earliest, find, judgement_entry, rejudge, site_uses
from ledger.flow.lines import BOOKED, Line, changes_between
from ledger.flow.places import SiteBook, site_entry
from ledger.flow.workspace import Workspace, WorkspaceProblem, seal_rules, sealed_entry
from ledger.journal import Reader, Writer
from ledger.values.body import application_from
from ledger.values.entry import Application
from ledger.values.finding import Fault, Finding
from ledger.values.sealed import EntryKind, NewEntry, Sealed, kind_words


@dataclass(frozen=True)
class Corrected:
    """The outcome of an amendment or a strike. With ``faults`` nothing was changed."""

    old: int
    entry: Sealed | None = None
    changes: str = ""
    findings: tuple[Finding, ...] = ()
    judged_again: int = 0
    faults: tuple[Fault, ...] = ()


def newest(reader: Reader, seq: int) -> Sealed:
    """Return the newest version of a booked application, or raise with the way out."""
    entry = sealed_entry(reader, seq)
    if entry.kind not in BOOKED:
        raise WorkspaceProblem(
            f"entry {seq} is {kind_words(entry.kind)}, not an application",
            f"see it with useledger trace {seq}; a held line is mended with useledger held fix",
        )
    latest = reader.newest_version(seq)
    if latest.kind is EntryKind.STRIKE:
        raise WorkspaceProblem(
            f"entry {seq} was struck by entry {latest.seq}",
            "record what happened as a new line instead",
        )
    return latest


def amend(
    workspace: Workspace, seq: int, changes: Mapping[str, str], because: str, by: str
) -> Corrected:
    """Seal a corrected version of an application; refuse one that could not be booked."""
    _require_reason(because)
    with workspace.store.writing() as writer:
        old = newest(writer, seq)
        return _seal_amendment(workspace, writer, old, dict(changes), (because, by, None))


def amend_by_held(workspace: Workspace, held: int, seq: int, because: str, by: str) -> Corrected:
    """Take a held line as the correction of a booked one."""
    _require_reason(because)
    with workspace.store.writing() as writer:
        old = newest(writer, seq)
        cells = {
            heading: cell.text
            for heading, cell in draft_of(open_held(writer, held), {}).cells.items()
        }
        return _seal_amendment(workspace, writer, old, cells, (because, by, held))


def _require_reason(because: str) -> None:
    if not because.strip():
        raise WorkspaceProblem("a correction needs its reason", 'add --because "..."')


def _seal_amendment(
    workspace: Workspace,
    writer: Writer,
    old: Sealed,
    changes: dict[str, str],
    why: tuple[str, str, int | None],
) -> Corrected:
    because, by, held = why
    sites = SiteBook(writer)
    before = _use(old)
    normalised = normalise_all(workspace, sites, [draft_of(old, changes)])[0]
    if normalised.application is None or normalised.faults:
        return Corrected(old.seq, faults=normalised.faults)
    use = normalised.application
    line = Line(
        1, normalised, "booked", normalised.identity, normalised.own, old.body["copy"], clears=held
    )
    for site in sites.pending:
        writer.append(site_entry(site, by=by))
    seal_rules(writer, workspace.book)
    carried = bool(old.body.get("carried"))
    late = None if carried else covering(writer.closes(use.date), use)
    entry = use_entry(EntryKind.AMENDMENT, line, old.body["sheet"], late)
    if carried:  # kept elsewhere at the time: corrected here, and still not judged
        entry = replace(entry, body={**entry.body, "carried": 1})
    head = writer.head
    sealed = writer.append(replace(_because(entry, because), by=by, replaces=old.seq))
    findings = () if carried else _judge_one(workspace, writer, sites, line, sealed.seq)
    if not carried:
        judged = {sealed.seq: findings}
        judges = (workspace.book.digest, workspace.program)
        writer.append(judgement_entry(judges, head, judged, "amended"))
    touched_by = f"entry {old.seq} was amended by {sealed.seq}"
    touched = sites.with_questions(earliest((before, use)))
    again = rejudge(workspace, writer, touched, sealed.seq, touched_by)
    return Corrected(old.seq, sealed, changes_between(before, use), findings, again)


def _use(entry: Sealed) -> Application:
    return application_from(entry.body, json.loads(entry.private) if entry.private else None)


def _because(entry: NewEntry, because: str) -> NewEntry:
    """Put the reason with the private text: it may name a customer."""
    private = json.loads(entry.private or "{}")
    private["because"] = because
    return replace(entry, private=json.dumps(private, ensure_ascii=True, sort_keys=True))


def _judge_one(
    workspace: Workspace, writer: Writer, sites: SiteBook, line: Line, seq: int
) -> tuple[Finding, ...]:
    use = line.use
    assert use is not None
    site = sites.get(use.site)
    assert site is not None
    others = [
        item.use for item in site_uses(writer, [use.site])[use.site] if item.sealed.seq != seq
    ]
    return remarks_of(line) + find(workspace.book, use, site, others)


def strike(workspace: Workspace, seq: int, because: str, by: str) -> Corrected:
    """Strike a record that should not exist; it stays readable and leaves every sum."""
    _require_reason(because)
    with workspace.store.writing() as writer:
        old = newest(writer, seq)
        use = _use(old)
        private = json.dumps({"because": because}, ensure_ascii=True)
        body = {"strikes": old.seq, "date": use.date.isoformat(), "site": use.site}
        sealed = writer.append(
            NewEntry(EntryKind.STRIKE, body, private=private, by=by, replaces=old.seq)
        )
        touched_by = f"entry {old.seq} was struck"
        again = rejudge(workspace, writer, earliest((use,)), sealed.seq, touched_by)
    return Corrected(old.seq, sealed, judged_again=again)
