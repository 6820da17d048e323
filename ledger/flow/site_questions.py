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
        site, other = _in_doubt(writer, key)
        writer.append(site_entry(replace(site, doubt=None), apart_from=[other.key], by=by))
        writer.append(site_entry(_asked_no_more(other, key), by=by))
        because = f"site {key} is a place of its own"
        touched = {key: date.min, other.key: date.min}
        return rejudge(workspace, writer, touched, writer.head.seq, because)


def doubted_entries(reader: Reader, key: str) -> list[int]:
    """Return the current entries booked at a site."""
    return [entry.seq for entry in reader.at_site(key)]


def answer_same(workspace: Workspace, key: str, by: str) -> tuple[str, list[int]]:
    """Say that a site in doubt is the site it resembles: its entries are amended to that site.

    Returns the site that stays and the amended entries. The question stands until the last entry
    has moved, so that an answer that was interrupted can be given again; then all that was done
    at the place is judged by what is known now.
    """
    with workspace.store.reading() as reader:
        _, stays = _in_doubt(reader, key)
        seqs = doubted_entries(reader, key)
    because = f"site {key} is the same place as {stays.key}"
    address = ("address", "unit", "city", "state", "zip", "county")
    done: list[int] = []
    for seq in seqs:
        changes = {"site": stays.key, **dict.fromkeys(address, "")}
        corrected = amend(workspace, seq, changes, because, by)
        if corrected.entry is not None:
            done.append(corrected.entry.seq)
    with workspace.store.writing() as writer:
        site, stays = _in_doubt(writer, key)
        asked = [SiteBook(writer).stays(other) for other in site.asked_by]
        stays = replace(stays, asked_by=(*stays.asked_by, *(other.key for other in asked)))
        writer.append(site_entry(replace(site, doubt=None, same_as=stays.key, asked_by=()), by=by))
        writer.append(site_entry(_asked_no_more(stays, key), by=by))
        for other in asked:  # whoever asked about the site that went asks about the one that stays
            writer.append(site_entry(replace(other, doubt=stays.key), by=by))
        rejudge(workspace, writer, {stays.key: date.min}, writer.head.seq, because)
    return stays.key, done


def _asked_no_more(site: Site, key: str) -> Site:
    """Return a site without the question whether another one is it."""
    return replace(site, asked_by=tuple(other for other in site.asked_by if other != key))


def _in_doubt(reader: Reader, key: str) -> tuple[Site, Site]:
    """Return a site in doubt and the one that it may be; raise where nothing is asked."""
    book = SiteBook(reader)
    site = book.get(key)
    if site is None:
        raise WorkspaceProblem(f"there is no site {key}", "see useledger sites")
    if site.doubt is None:
        raise WorkspaceProblem(f"site {key} is not in doubt", _whom_to_answer(site))
    return site, book.stays(site.doubt)


def _whom_to_answer(site: Site) -> str:
    if site.asked_by:
        return f"the question is asked of {site.asked_by[0]}: answer it there"
    return "nothing to answer; see useledger sites"
