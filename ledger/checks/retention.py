"""How long a record is kept: the longest rule of the place and of the federation, by its own count.

A rule whose source was not verified counts as well: here the longer time is the safe one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from ledger.rulebook.model import Retention


@dataclass(frozen=True, slots=True)
class Until:
    """The first day on which a record may be disposed of, and the rule that says so.

    ``day`` is None where that cannot be told; ``rule`` is empty where no rule is on file.
    """

    day: date | None
    rule: str = ""
    source: str = ""
    counted_from: str = ""
    note: str = ""


def years_after(day: date, years: int) -> date:
    """Return the day after that many whole years; 29 February ends on the 28th."""
    year = day.year + years
    try:
        return day.replace(year=year)
    except ValueError:
        return date(year, 2, 28)


def rules_about(rules: Iterable[Retention], *sorts: str) -> list[Retention]:
    """Return the rules that speak of one of these sorts of record."""
    return [rule for rule in rules if not set(sorts).isdisjoint(rule.about)]


def keep_until(days: Mapping[str, date | None], rules: Sequence[Retention]) -> Until:
    """Return until when a record is kept, by rules that are about its sort.

    ``days`` maps what a rule may count from to the record's day; a day it does not have (a report
    not filed yet, a contract that has not ended) keeps the record. ``application`` must be there.
    """
    applied = days["application"]
    assert applied is not None
    ends: list[tuple[date, Retention]] = []
    for rule in rules:
        if not rule.span.holds(applied):
            continue
        start = days.get(rule.counted_from)
        if rule.counted_from == "end of the year":
            start = date(applied.year, 12, 31)
        if start is None:
            said = f"counted from {rule.counted_from}, which is not known"
            return Until(None, rule.name, rule.ref.source, rule.counted_from, said)
        ends.append((years_after(start, rule.years), rule))
    if not ends:
        return Until(None, note="no rule on file says how long: it is kept")
    day, rule = max(ends, key=lambda item: item[0])
    note = "" if rule.read.decides else str(rule.read)
    return Until(day, rule.name, f"{rule.ref.file}:{rule.ref.line}", rule.counted_from, note)
