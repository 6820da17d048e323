"""Which clocks of a law ran out before a record was written."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from ledger.checks.case import Case
from ledger.checks.facts import facts_of
from ledger.deadlines import Began, clock_ends
from ledger.rulebook.model import Deadline, RuleFile
from ledger.rulebook.when import holds
from ledger.units import Units
from ledger.values.entry import Application
from ledger.values.site import Site

_ON_THE_RECORD = ("record", "handover", "paper")
"""What is done with the record once it is written; the other clocks wait for something else."""

LEFT_AFTER = ("after", "both")
"""What a day sheet says, under notice, of a paper that was left at the place."""

THE_FIRM = ("the business", "the firm", "the employer")
"""Whom a record is handed to by being sealed in the firm's ledger."""


def began(case: Case, clock: Deadline) -> Began:
    """Return when a clock of an application begins, at the site.

    From the application: its day and its first minute; from completion: the day and minute of its
    end, or the day of the work where the line does not say the time.
    """
    return began_at(case.use, case.site, clock)


def began_at(use: Application, site: Site, clock: Deadline) -> Began:
    """Return the same for an application at a site."""
    zone, state = site.time_zone, site.address.state
    if clock.counted_from != "completion of the work":
        return Began(use.date, use.start, zone, state)
    return Began(use.date + timedelta(days=use.end_day), use.end, zone, state)


def late_clocks(case: Case, law: RuleFile, written: datetime | None, units: Units) -> Iterator[str]:
    """Yield the names of the clocks of that law that had run out at the local time ``written``."""
    if written is None:
        return
    facts = facts_of(case)
    moment = written.replace(tzinfo=ZoneInfo(case.site.time_zone))
    for clock in law.deadlines:
        on_record = clock.about in _ON_THE_RECORD and clock.counted_from != "request"
        applies = clock.span.holds(case.use.date) and holds(clock.when, facts, units)
        if on_record and applies and clock_ends(clock.within, began(case, clock)).late(moment):
            yield clock.name
