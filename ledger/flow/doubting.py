"""The advice under a summary: amounts, twins and counties of a period that are worth a look."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta
from fractions import Fraction

from ledger.checks.facts import facts_of
from ledger.checks.rates import times_the_most
from ledger.checks.say import Tools
from ledger.flow.governing import case_of
from ledger.flow.judging import booked
from ledger.flow.places import site_from
from ledger.flow.single_uses import single_uses_between
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.journal.listing import sites_of
from ledger.plausible import Doubt, Weighed, doubts
from ledger.rulebook.model import Shape
from ledger.rulebook.when import holds
from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.lexicon import PlaceOfLaw
from ledger.values.period import Period
from ledger.values.site import Site
from ledger.values.summary import Remark, Summary
from ledger.values.use_row import SingleUse

BEFORE = timedelta(days=365)
"""How far back the applications go that a median is made of."""


def doubts_of(
    workspace: Workspace, reader: Reader, period: Period, place: PlaceOfLaw
) -> tuple[Doubt, ...]:
    """Return what does not look right in a period, against the year before it."""
    first = period.first
    uses = list(
        single_uses_between(workspace, reader, place, (first - BEFORE, period.last))
    )  # fmt: skip
    units = workspace.book.units
    keys = {use.facts.get("site", "") for use in uses}
    sites = {key: site_from(sealed) for key, sealed in sites_of(reader, keys).items()}
    past = [
        _weighed(use, units) for use in uses if use.facts["date"] < first.isoformat()
    ]  # fmt: skip
    now: list[Weighed] = []
    for use in uses:
        site = sites.get(use.facts.get("site", ""))
        if use.facts["date"] >= first.isoformat():
            times = _label_times(workspace, reader, use.entry, site) if site else None
            county = site.county if site else ""
            now.append(replace(_weighed(use, units), label_times=times, site_county=county))
    return doubts(now, past, place)


def remarks_of(found: Iterable[Doubt]) -> tuple[Remark, ...]:
    """Return doubts as remarks under a report."""
    return tuple(
        Remark(f"worth a look: {_ended(doubt.text)}", ("common practice, no source",), doubt.county)
        for doubt in found
    )


def _ended(text: str) -> str:
    """Return a sentence with its full stop; a question has its own mark."""
    return text if text.endswith("?") else f"{text}."


def with_doubts(workspace: Workspace, summary: Summary, place: PlaceOfLaw) -> Summary:
    """Return a summary with what is worth a look in its period before its other remarks.

    It is for the firm's own eyes: what is filed is made without it.
    """
    with workspace.store.reading() as reader:
        found = doubts_of(workspace, reader, summary.period, place)
    by_county = {line.county for line in summary.lines} - {""}
    notes = remarks_of(found if by_county else (replace(item, county="") for item in found))
    return replace(summary, remarks=(*notes, *summary.remarks))


def doubts_before_filing(workspace: Workspace, periods: Iterable[Period]) -> tuple[str, ...]:
    """Return in words what is worth a look in months that are not filed yet, each once."""
    months = sorted({month for period in periods for month in period.months})
    said: dict[str, None] = {}
    with workspace.store.reading() as reader:
        for place in workspace.book.lexicon().places_of_law:
            if reader.first_day(place.id) is None:
                continue
            for month in months:
                for doubt in doubts_of(workspace, reader, month, place):
                    said[f"advice: {month.text}: {doubt.text}"] = None
    return tuple(said)


def _weighed(use: SingleUse, units: Units) -> Weighed:
    unit = next((u for u in ("oz", "fl oz") if units.comparable(use.used.unit, u)), use.used.unit)
    amount: Quantity = units.convert(use.used, unit)
    return Weighed(use, amount.value, unit)


def _label_times(workspace: Workspace, reader: Reader, seq: int, site: Site) -> Fraction | None:
    """Return how many times the highest rate of its label an application is, the worst of them."""
    book = workspace.book
    use = booked(reader.entry(seq)).use
    label = book.label_for(use.product, use.date, use.lot) if use.label else None
    if label is None:
        return None
    case = case_of(book, use, site)
    tools = Tools(book.units, facts_of(case), "LABEL")
    times = [
        found
        for limit in label.limits
        if limit.shape is Shape.RATE and limit.span.holds(use.date)
        and holds(limit.when, tools.facts, book.units)
        and (found := times_the_most(case, limit, tools)) is not None
    ]  # fmt: skip
    return max(times, default=None)
