"""Judgements: entries judged together with everything at their site, and sealed by batch."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from ledger.checks.judge import judge
from ledger.checks.windows import farthest_back
from ledger.flow.governing import case_of
from ledger.flow.places import SiteBook
from ledger.flow.workspace import Workspace
from ledger.journal import Reader, Writer
from ledger.journal.listing import (
    entries_of,
    newest_judgements,
    said_by_entry,
    widest_judgement,
)
from ledger.rulebook.book import Book
from ledger.seal import read_json
from ledger.values.body import application_from
from ledger.values.entry import Application
from ledger.values.finding import Finding, Kind, RuleRef
from ledger.values.sealed import EntryKind, Head, NewEntry, Sealed
from ledger.values.site import Site


@dataclass(frozen=True, slots=True)
class Booked:
    """A sealed application together with what it says."""

    sealed: Sealed
    use: Application


def booked(sealed: Sealed) -> Booked:
    """Return the application inside a sealed application or amendment."""
    return Booked(sealed, application_from(sealed.body, _private(sealed)))


def _private(sealed: Sealed) -> Mapping[str, Any] | None:
    return read_json(sealed.private) if sealed.private else None


def find(
    book: Book, use: Application, site: Site, others: Sequence[Application]
) -> tuple[Finding, ...]:
    """Return every finding of one application, judged with all others at its site."""
    return judge(case_of(book, use, site, others), book)


def finding_body(finding: Finding) -> dict[str, Any]:
    """Return a finding as it is sealed."""
    return {
        "kind": str(finding.kind), "code": finding.code, "name": finding.name,
        "text": finding.text, "column": finding.column, "way_out": finding.way_out,
        "blocks": int(finding.blocks),
        "rules": [
            {"file": rule.file, "line": rule.line, "key": rule.key, "source": rule.source,
             "confidence": rule.confidence}
            for rule in finding.rules
        ],
    }  # fmt: skip


def finding_from(body: Mapping[str, Any]) -> Finding:
    """Return the finding that was sealed."""
    rules = tuple(RuleRef(**rule) for rule in body["rules"])
    return Finding(
        Kind(body["kind"]), body["code"], body["name"], body["text"], body["column"],
        body["way_out"], rules, bool(body["blocks"]),
    )  # fmt: skip


def findings_of(judgement: Sealed, seq: int) -> tuple[Finding, ...]:
    """Return what a judgement says of one entry; nothing said of a judged entry is no finding."""
    for item in judgement.body["findings"]:
        if item["seq"] == seq:
            return tuple(finding_from(body) for body in item["findings"])
    return ()


def findings_from(said: Iterable[Mapping[str, Any]]) -> tuple[Finding, ...]:
    """Return the findings that were sealed of one entry."""
    return tuple(finding_from(body) for body in said)


def latest_findings(reader: Reader, seq: int) -> tuple[Finding, ...]:
    """Return what the newest judgement says of an entry."""
    newest = reader.newest_judgement(seq)
    return findings_from(newest[1]) if newest else ()


def latest_findings_of(reader: Reader, seqs: Collection[int]) -> dict[int, tuple[Finding, ...]]:
    """Return what the newest judgements say of many entries; each judgement is read once."""
    wanted: dict[int, list[int]] = {}
    for seq, number in newest_judgements(reader, seqs, widest_judgement(reader)).items():
        wanted.setdefault(number, []).append(seq)
    found: dict[int, tuple[Finding, ...]] = dict.fromkeys(seqs, ())
    for judgement in entries_of(reader, wanted):
        said = said_by_entry(judgement)
        for seq in wanted[judgement.seq]:
            found[seq] = findings_from(said.get(seq, ()))
    return found


def judgement_entry(
    by: tuple[str, str], head: Head, found: Mapping[int, Sequence[Finding]], because: str
) -> NewEntry:
    """Return the entry that seals what was found of each of these entries.

    ``by`` are the digest of the rules and the version of the program that judged. ``found`` maps
    every judged entry to its findings, in order; entries without findings are covered by ``first``
    and ``last`` and need no line of their own.
    """
    digest, program = by
    seqs = sorted(found)
    body = {
        "rules": digest, "program": program,
        "head": {"seq": head.seq, "seal": head.seal}, "because": because,
        "first": seqs[0], "last": seqs[-1],
        "findings": [
            {"seq": seq, "findings": [finding_body(finding) for finding in found[seq]]}
            for seq in seqs
            if found[seq]
        ],
    }  # fmt: skip
    return NewEntry(EntryKind.JUDGEMENT, body, refers=seqs[0] if len(seqs) == 1 else None)


def site_uses(reader: Reader, keys: Iterable[str]) -> dict[str, list[Booked]]:
    """Return the current applications at each of these sites."""
    found = reader.at_sites(keys)
    return {key: [booked(sealed) for sealed in entries] for key, entries in found.items()}


def earliest(uses: Iterable[Application]) -> dict[str, date]:
    """Return the first day of these applications at each of their sites."""
    days: dict[str, date] = {}
    for use in uses:
        days[use.site] = min(use.date, days.get(use.site, use.date))
    return days


def rejudge(
    workspace: Workspace,
    writer: Writer,
    touched: Mapping[str, date],
    first_new: int,
    because: str,
) -> int:
    """Judge again every entry whose window was touched and seal what changed; return how many.

    ``touched`` maps a site to the first day on which something was added or taken away there:
    the windows of that day's work and of all later work hold it, and those of earlier work as far
    back as the longest interval reaches (it is told that the next one came too soon). Entries from
    ``first_new`` on were just judged. Each entry is judged by the rules that judged it before, so
    that an edited rule file never re-judges the past by the way.
    """
    sites = SiteBook(writer)
    changed = 0
    for key, uses in site_uses(writer, touched).items():
        first = first_touched(workspace.book, touched[key], [item.use for item in uses])
        for item in uses:
            if item.sealed.seq >= first_new or item.use.date < first:
                continue
            if item.sealed.body.get("carried") or item.sealed.private is None:
                continue  # kept elsewhere then, or disposed of since: not to be judged again
            others = [other.use for other in uses if other is not item]
            changed += _judge_again(workspace, writer, item, (sites.get(key), others), because)
    return changed


def first_touched(book: Book, day: date, uses: Sequence[Application]) -> date:
    """Return the first day whose work at a site is touched by something on that day there."""
    back = max((_reach(book, at) for at in {use.jurisdiction for use in uses}), default=_NO_TIME)
    return day - back if day - date.min > back else date.min


_NO_TIME = timedelta(0)


def _reach(book: Book, jurisdiction: str) -> timedelta:
    key = ("reach", jurisdiction)
    if key not in book.memory:
        files = (*book.labels, *book.practices, *book.laws_of(jurisdiction))
        book.memory[key] = farthest_back(limit for file in files for limit in file.limits)
    reach: timedelta = book.memory[key]
    return reach


def _judge_again(
    workspace: Workspace,
    writer: Writer,
    item: Booked,
    around: tuple[Site | None, list[Application]],
    because: str,
) -> int:
    seq = item.sealed.seq
    before = writer.judgements(seq)
    digest = before[-1].body["rules"] if before else workspace.book.digest
    book = workspace.book_of(writer, digest) or workspace.book
    site, others = around
    assert site is not None  # work was booked at it
    found = find(book, item.use, site, others)
    sealed_before = findings_of(before[-1], seq) if before else ()
    rules_only = tuple(finding for finding in sealed_before if finding.code != REMARK)
    if found == rules_only:
        return 0
    kept = tuple(finding for finding in sealed_before if finding.code == REMARK)
    by = (book.digest, workspace.program)
    writer.append(judgement_entry(by, writer.head, {seq: kept + found}, because))
    return 1


REMARK = "REMARK"
"""The code of what reading a line said about it; kept when the entry is judged again."""
