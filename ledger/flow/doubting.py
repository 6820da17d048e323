"""The advice under a summary: amounts, twins and counties of a period that are worth a look."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta

from ledger.flow.judging import findings_of
from ledger.flow.places import site_from
from ledger.flow.single_uses import single_uses_between
from ledger.flow.workspace import Workspace
from ledger.journal import Reader
from ledger.plausible import Doubt, Weighed, doubts
from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.finding import Kind
from ledger.values.lexicon import PlaceOfLaw
from ledger.values.period import Period
from ledger.values.sealed import EntryKind
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
    over = _over_label(reader)
    sites = {entry.body["site"]: site_from(entry).county for entry in reader.sites()}
    weighed = [_weighed(use, workspace.book.units, over, sites) for use in uses]
    now = [item for item in weighed if item.use.facts["date"] >= first.isoformat()]
    past = [item for item in weighed if item.use.facts["date"] < first.isoformat()]
    return doubts(now, past, place)


def remarks_of(found: Iterable[Doubt]) -> tuple[Remark, ...]:
    """Return doubts as remarks under a report."""
    return tuple(
        Remark(f"worth a look: {doubt.text}.", ("common practice, no source",), doubt.county)
        for doubt in found
    )


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


def _weighed(use: SingleUse, units: Units, over: set[int], sites: dict[str, str]) -> Weighed:
    unit = next((u for u in ("oz", "fl oz") if units.comparable(use.used.unit, u)), use.used.unit)
    amount: Quantity = units.convert(use.used, unit)
    return Weighed(
        use, amount.value, unit, use.entry in over, sites.get(use.facts.get("site", ""), "")
    )


def _over_label(reader: Reader) -> set[int]:
    """Return the entries whose newest judgement found them above a label's rate."""
    found: dict[int, bool] = {}
    for judgement in reader.entries(kinds=(EntryKind.JUDGEMENT,)):
        for item in judgement.body["findings"]:
            found[item["seq"]] = any(
                finding.kind is Kind.BREACH and finding.code == "LABEL-RATE"
                for finding in findings_of(judgement, item["seq"])
            )
    return {seq for seq, over in found.items() if over}
