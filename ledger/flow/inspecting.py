"""Reading the past: lists of entries, one entry's whole story, and the proof."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from functools import partial

from ledger.flow.file_names import file_of
from ledger.flow.holding import draft_of
from ledger.flow.judging import REMARK, Booked, booked, find, finding_from, findings_from
from ledger.flow.lines import BOOKED
from ledger.flow.places import SiteBook
from ledger.flow.workspace import Workspace
from ledger.inspection import Difference, compare_findings, compare_uses
from ledger.intake import open_sheet
from ledger.journal import Reader
from ledger.journal.verify import How, Mark, Verification, jobs_for, verify
from ledger.normalise.line import normalise_line
from ledger.values.finding import Finding
from ledger.values.progress import Progress
from ledger.values.sealed import Sealed


def read_again(workspace: Workspace, reader: Reader, entry: Sealed) -> Mapping[str, str] | None:
    """Return the cells of the row an entry came from, read again from the kept sheet."""
    data = reader.blob(entry.body["sheet"])
    if data is None:
        return None
    origin = entry.body["origin"]
    sheet = open_sheet(file_of(entry), data, workspace.book.firm.month_first)
    for draft in sheet.drafts():
        if draft.origin.row == origin["row"] and draft.origin.page == origin["page"]:
            return {heading: cell.text for heading, cell in draft.cells.items() if cell.text}
    return None


def judge_anew(
    workspace: Workspace, reader: Reader, entry: Sealed, known: SiteBook | None = None
) -> tuple[tuple[Difference, ...], tuple[Finding, ...], tuple[Finding, ...]]:
    """Normalise and judge an entry again by the rules of its newest judgement.

    Returns the differences of the record, the findings as sealed and the findings as they come
    out now. The site and the others there are as they stood when the judgement was made. ``known``
    are sites that were looked up before.
    """
    newest = reader.newest_judgement(entry.seq)
    sealed_findings = findings_from(newest[1]) if newest else ()
    if entry.body.get("carried") or entry.private is None:
        return (), sealed_findings, sealed_findings  # kept elsewhere then, or disposed of since
    digest = newest[0].body["rules"] if newest else workspace.book.digest
    book = workspace.book_of(reader, digest) or workspace.book
    item = reader.recall(entry.seq, partial(booked, entry))
    sites = known or SiteBook(reader)
    again = normalise_line(draft_of(entry, {}), book.lexicon(), book.units, sites.find)
    record: tuple[Difference, ...] = compare_uses(item.use, again.application)
    until = newest[0].seq if newest else reader.head.seq + 1
    site = sites.at(item.use.site, until)
    others = [
        other.use for other in standing_at(reader, item.use.site, until)
        if other.sealed.seq != entry.seq
    ]  # fmt: skip
    found = find(book, item.use, site, others) if site is not None else ()
    rules_only = tuple(finding for finding in sealed_findings if finding.code != REMARK)
    return record, rules_only, found


def program_of(judgement: Sealed) -> str:
    """Return in words which version of the program made a judgement."""
    made_by = judgement.body.get("program")
    return f"program {made_by}" if made_by else "a program that did not note its version"


def judges_of(workspace: Workspace, reader: Reader, seq: int) -> str:
    """Return which version of the program judged an entry last, and which one looks at it now."""
    newest = reader.newest_judgement(seq)
    then = program_of(newest[0]) if newest else "nobody"
    return f"judged by {then} then, by program {workspace.program} now"


def standing_at(reader: Reader, key: str, until: int) -> list[Booked]:
    """Return the applications at a site that were current when entry ``until`` was sealed."""
    all_there = [entry for entry in reader.ever_at_site(key) if entry.seq < until]
    replaced = {entry.replaces for entry in all_there}
    return [
        reader.recall(entry.seq, partial(booked, entry))
        for entry in all_there
        if entry.kind in BOOKED and entry.seq not in replaced
    ]


def differences_of(
    sealed_findings: Sequence[Finding], found: Sequence[Finding]
) -> tuple[Difference, ...]:
    """Return how findings made now differ from the sealed ones."""
    return compare_findings(sealed_findings, found)


def prove_whole(
    workspace: Workspace,
    codes: Sequence[str] = (),
    progress: Progress | None = None,
    since: Mark | None = None,
) -> Verification:
    """Verify the ledger: recompute everything, and look for the seal codes kept elsewhere.

    With ``since`` only what was sealed after that mark is recomputed.
    """
    with workspace.store.reading() as reader:
        new = reader.head.seq - (since.seq if since else 0)
        how = How(jobs_for(new), since)
        return verify(reader, tuple(codes), how, progress=progress)


def judgements_of(reader: Reader, seq: int) -> Iterator[tuple[Sealed, tuple[Finding, ...]]]:
    """Yield each judgement of an entry with what it found."""
    for judgement in reader.judgements(seq):
        for part in judgement.body["findings"]:
            if part["seq"] == seq:
                yield judgement, tuple(finding_from(body) for body in part["findings"])
                break
        else:
            yield judgement, ()


def reason_of(entry: Sealed) -> str:
    """Return the reason given for an amendment, a strike or a drop."""
    if entry.private is None:
        return ""
    return str(json.loads(entry.private).get("because", ""))
