"""The sites of a workspace while a sheet is read: found, asked about, or newly made."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from ledger.journal import Reader
from ledger.normalise.line import SiteAsk
from ledger.normalise.sites import SiteMatch, match_site
from ledger.values.sealed import EntryKind, NewEntry, Sealed
from ledger.values.site import Address, Site


def site_from(sealed: Sealed) -> Site:
    """Return the site that a sealed site entry describes (its address may be disposed of)."""
    body = sealed.body
    text = json.loads(sealed.private) if sealed.private else {}
    address = Address(
        text.get("street", ""), text.get("unit", ""), text.get("city", ""),
        body["state"], text.get("zip", ""),
    )  # fmt: skip
    return Site(
        key=body["site"], address=address, county=body["county"],
        jurisdiction=body["jurisdiction"], kind=body["site_kind"], time_zone=body["time_zone"],
        typed=text.get("typed", ""), doubt=body["doubt"], same_as=body["same_as"],
        asked_by=tuple(body.get("asked_by", ())),
    )  # fmt: skip


def site_entry(site: Site, *, apart_from: Iterable[str] = (), by: str = "") -> NewEntry:
    """Return the entry that seals a site; ``apart_from`` are keys it was said not to be."""
    body: dict[str, Any] = {
        "site": site.key, "county": site.county, "jurisdiction": site.jurisdiction,
        "site_kind": site.kind, "time_zone": site.time_zone, "state": site.address.state,
        "doubt": site.doubt, "same_as": site.same_as, "apart_from": sorted(apart_from),
    }  # fmt: skip
    if site.asked_by:
        body["asked_by"] = list(site.asked_by)
    private = {
        "street": site.address.street, "unit": site.address.unit, "city": site.address.city,
        "zip": site.address.zip, "typed": site.typed,
    }  # fmt: skip
    text = json.dumps(private, ensure_ascii=True, sort_keys=True)
    return NewEntry(EntryKind.SITE, body, private=text, by=by)


class SiteBook:
    """Finds a line's site among the sealed ones; ``pending`` are those to be sealed by this run.

    A near match makes a new site *in doubt*: booked, but intervals and counts, at it and at the
    site it resembles, cannot tell until ``useledger sites`` is told whether the two are the same.
    """

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self._known: dict[str, Site] = {}
        self._by_zip: dict[str, dict[str, list[Site]]] = {}
        self._asked: dict[tuple[Address, str], Site] = {}
        self._next = 0
        self._forms: dict[str, list[tuple[int, Site]]] = {}
        self.pending: list[Site] = []

    def read_with(self, reader: Reader) -> None:
        """Ask another reader from now on: the next transaction of the same run."""
        self._reader = reader

    def get(self, key: str) -> Site | None:
        """Return the site with this key, its newest sealed form."""
        if key not in self._known:
            sealed = self._reader.site(key)
            if sealed is None:
                return None
            self._known[key] = site_from(sealed)
        return self._known[key]

    def all(self) -> Iterator[Site]:
        """Yield every site: those of this run first, then the sealed ones."""
        yield from self._known.values()
        for sealed in self._reader.sites():
            if sealed.body["site"] not in self._known:
                yield site_from(sealed)

    def _numbered(self, address: Address) -> list[Site]:
        """Return the sites in the same postal code with the same house number.

        No other can be the same place or nearly the same: a number is never misread as near.
        """
        zip5, number = address.zip, _number(address)
        if zip5 not in self._by_zip:
            sites = [site_from(entry) for entry in self._reader.sites_in(zip5)]
            self._known.update({site.key: site for site in sites})
            self._by_zip[zip5] = {}
            for site in sites:
                self._by_zip[zip5].setdefault(_number(site.address), []).append(site)
        return self._by_zip[zip5].setdefault(number, [])

    def known(self, address: Address) -> Site | None:
        """Return the site of exactly this address; nothing is made."""
        return self._same(match_site(address, self._numbered(address)))

    def _same(self, match: SiteMatch) -> Site | None:
        site = match.site if match.outcome == "same" else None
        return self.stays(site.key) if site is not None else None

    def find(self, ask: SiteAsk) -> Site | None:
        """Return the site a line means; None only where a key alone is given and unknown."""
        if ask.key:
            return self.get(ask.key)
        question = (ask.address, ask.jurisdiction)
        if question in self._asked:
            return self._asked[question]
        match = match_site(ask.address, self._numbered(ask.address))
        site = self._same(match)
        if site is None:
            site = self._new(ask, self.stays(match.site.key) if match.site else None)
        self._asked[question] = site
        return site

    def stays(self, key: str) -> Site:
        """Return the site that a known one turned out to be: itself, as a rule."""
        site = self.get(key)
        assert site is not None
        return self.stays(site.same_as) if site.same_as else site

    def at(self, key: str, until: int) -> Site | None:
        """Return a site as it was sealed before entry ``until``; its first form if only later."""
        if key not in self._forms:
            entries = self._reader.site_forms(key)
            self._forms[key] = [(entry.seq, site_from(entry)) for entry in entries]
        forms = self._forms[key]
        before = [site for seq, site in forms if seq < until]
        return before[-1] if before else forms[0][1] if forms else None

    def with_questions(self, days: Mapping[str, date]) -> dict[str, date]:
        """Return first days by site, with the sites that these may be and nobody has said.

        What was done at the one may have been done at the other: its windows are touched as well.
        """
        touched = dict(days)
        for key, day in days.items():
            site = self.get(key)
            for other in site.questions if site else ():
                touched[other] = min(day, touched.get(other, day))
        return touched

    def _new(self, ask: SiteAsk, near: Site | None) -> Site:
        if not self._next:
            self._next = self._reader.count_sites() + 1
        key = f"S{self._next:04d}"
        self._next += 1
        site = Site(
            key=key, address=ask.address, county=ask.county, jurisdiction=ask.jurisdiction,
            kind=ask.kind, time_zone=ask.time_zone, typed=ask.typed,
            doubt=near.key if near else None,
        )  # fmt: skip
        if near is not None:
            self._put(replace(near, asked_by=(*near.asked_by, key)))
        self._put(site)
        self._numbered(ask.address).append(site)
        return site

    def _put(self, site: Site) -> None:
        """Note a site's new form, to be sealed with this run."""
        self._known[site.key] = site
        if site.asked_by:  # it may be new itself in this run: sealed once, in its last form
            self.pending = [other for other in self.pending if other.key != site.key]
        self.pending.append(site)


def _number(address: Address) -> str:
    return address.street.partition(" ")[0]
