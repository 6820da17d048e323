"""Windows of time: which applications a limit counts together with one of them.

A calendar year is that of the work; a season runs between two days of the year, over New Year
where the first is the later one; ``365 days`` are the days up to and with the day of the work, so
that the same day a year earlier is outside; ``6 months`` end with the same day six months later.
An infestation, and bait that stands, begin anew with the line that says so under ``prepared``.
"""

from __future__ import annotations

import calendar
from datetime import date, datetime, time

from ledger.checks.case import Case
from ledger.checks.done import word_of
from ledger.rulebook.model import Limit
from ledger.values.entry import Application
from ledger.values.lexicon import fold

BEGINS = {"infestation": "new infestation", "standing": "old bait removed"}
"""The word of ``prepared`` with which a window begins anew."""


def when(use: Application) -> tuple[date, time]:
    """Return the order of applications in time."""
    return use.date, use.start or time(0)


def visit_of(use: Application) -> tuple[str, ...]:
    """Return what makes a visit: its own name, else day, person and start."""
    if use.visit:
        return (use.visit,)
    return (use.date.isoformat(), use.applicator, str(use.start))


def months_later(day: datetime, months: int) -> datetime:
    """Return the same day of the month so many months later, or that month's last day."""
    index = day.month - 1 + months
    year, month = day.year + index // 12, index % 12 + 1
    last = calendar.monthrange(year, month)[1]
    return day.replace(year=year, month=month, day=min(day.day, last))


def season_start(limit: Limit, day: date) -> date | None:
    """Return the first day of the season that holds ``day``; None outside of it."""
    assert limit.season is not None
    start_month, start_day, end_month, end_day = limit.season
    start, end, now = (start_month, start_day), (end_month, end_day), (day.month, day.day)
    over_new_year = start > end
    inside = now >= start or now <= end if over_new_year else start <= now <= end
    if not inside:
        return None
    year = day.year - 1 if over_new_year and now <= end else day.year
    last = calendar.monthrange(year, start_month)[1]
    return date(year, start_month, min(start_day, last))


def counts_at_all(limit: Limit, use: Application) -> bool:
    """Whether a line lies in any window of this limit: outside its season it does not count."""
    return limit.within != "season" or season_start(limit, use.date) is not None


def begins_anew(limit: Limit, use: Application) -> bool:
    """Whether a line says that a new infestation, or bait laid anew, begins with it."""
    word = BEGINS.get(limit.within)
    return word is not None and any(fold(word_of(item)) == word for item in use.prepared)


def window_of(case: Case, limit: Limit) -> list[Application]:
    """Return the other applications, up to this one, that stand in one window with it."""
    use = case.use
    if limit.within == "visit":
        return [o for o in case.others if visit_of(o) == visit_of(use)]
    so_far = [o for o in case.others if when(o) <= when(use)]
    if limit.within in BEGINS:
        anew = [when(o) for o in (*so_far, use) if begins_anew(limit, o)]
        return [o for o in so_far if not anew or when(o) >= max(anew)]
    return [o for o in so_far if _within(limit, o.date, use.date)]


def _within(limit: Limit, earlier: date, day: date) -> bool:
    if limit.within == "calendar year":
        return earlier.year == day.year
    if limit.within == "season":
        start = season_start(limit, day)
        return start is not None and earlier >= start
    if limit.within == "rolling":
        assert limit.rolling is not None
        unit, value = limit.rolling.unit, limit.rolling.value
        if unit == "day":
            return (day - earlier).days < value
        first = datetime.combine(earlier, time(0))
        end = months_later(first, int(value * (12 if unit == "year" else 1)))
        return datetime.combine(day, time(0)) < end
    return True


def doubtful_start(case: Case, limit: Limit, counted: list[Application]) -> bool:
    """Whether nobody has said when the window began, so that the count may be too high."""
    lines = (*counted, case.use)
    return limit.within in BEGINS and not any(begins_anew(limit, o) for o in lines)


def window_words(limit: Limit, use: Application) -> str:
    """Return the window in words, as they follow a number: ``of 2026``, ``within 365 days``."""
    match limit.within:
        case "calendar year":
            return f"of {use.date.year}"
        case "season":
            return "of this season"
        case "rolling":
            assert limit.rolling is not None
            plural = "" if limit.rolling.value == 1 else "s"
            return f"within {limit.rolling.value} {limit.rolling.unit}{plural}"
        case "infestation":
            return "against this infestation"
        case "visit":
            return "on this visit"
        case "standing":
            return "standing at once"
        case _:
            return "in the life of the structure"
