"""Sites in doubt: the question whether two are one, and the answer, asked once and kept."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from ledger.flow.correcting import amend
from ledger.flow.judging import rejudge
from ledger.flow.places import SiteBook, site_entry, site_from
from ledger.flow.workspace import Workspace, WorkspaceProblem
from ledger.journal import Reader
from ledger.values.sealed import EntryKind
from ledger.values.site import Site


@dataclass(frozen=True, slots=True)
class SiteRow:
    """A site as listed: itself, and how many current applications it has."""

    site: Site
    applications: int


def list_sites(workspace: Workspace) -> tuple[SiteRow, ...]:
    """Return every site in its newest form, in the order they were first seen."""
    with workspace.store.reading() as reader:
        newest = {entry.body["site"]: site_from(entry) for entry in reader.sites()}
        return tuple(SiteRow(site, len(reader.at_site(key))) for key, site in newest.items())


@dataclass(frozen=True)
class SiteSeen:
    """A site with what was seen there: each observation's date, place, condition and advice."""

    site: Site
    observations: tuple[Mapping[str, str], ...]


def site_seen(workspace: Workspace, key: str) -> SiteSeen:
    """Return a site and its observations, oldest first; raise where there is no such site."""
    with workspace.store.reading() as reader:
        entry = reader.site(key)
        if entry is None:
            raise WorkspaceProblem(f"there is no site {key}", "see useledger sites")
        found = [
            {name: str(json.loads(item.private or "{}").get(name, "")) for name in _SEEN}
            for item in reader.entries(kinds=(EntryKind.OBSERVATION,), site=key)
        ]
        return SiteSeen(site_from(entry), tuple(sorted(found, key=lambda item: item["date"])))


_SEEN = ("date", "place", "condition", "advice")


def answer_apart(workspace: Workspace, key: str, by: str) -> int:
    """Say that a site in doubt is a place of its own; return how many entries were judged again."""
    with workspace.store.writing() as writer:
        site = _in_doubt(writer, key)
        assert site.doubt is not None
        writer.append(site_entry(replace(site, doubt=None), apart_from=[site.doubt], by=by))
        because = f"site {key} is a place of its own"
        return rejudge(workspace, writer, {key: date.min}, writer.head.seq, because)


def doubted_entries(reader: Reader, key: str) -> list[int]:
    """Return the current entries booked at a site."""
    return [entry.seq for entry in reader.at_site(key)]


def answer_same(workspace: Workspace, key: str, by: str) -> tuple[str, list[int]]:
    """Say that a site in doubt is the site it resembles: its entries are amended to that site.

    Returns the site that stays and the amended entries.
    """
    with workspace.store.reading() as reader:
        site = _in_doubt(reader, key)
        seqs = doubted_entries(reader, key)
    assert site.doubt is not None
    because = f"site {key} is the same place as {site.doubt}"
    address = ("address", "unit", "city", "state", "zip", "county")
    done: list[int] = []
    for seq in seqs:
        changes = {"site": site.doubt, **dict.fromkeys(address, "")}
        corrected = amend(workspace, seq, changes, because, by)
        if corrected.entry is not None:
            done.append(corrected.entry.seq)
    with workspace.store.writing() as writer:
        merged = replace(site, doubt=None, same_as=site.doubt)
        writer.append(site_entry(merged, by=by))
    return site.doubt, done


def _in_doubt(reader: Reader, key: str) -> Site:
    site = SiteBook(reader).get(key)
    if site is None:
        raise WorkspaceProblem(f"there is no site {key}", "see useledger sites")
    if site.doubt is None:
        raise WorkspaceProblem(
            f"site {key} is not in doubt", "nothing to answer; see useledger sites"
        )
    return site
