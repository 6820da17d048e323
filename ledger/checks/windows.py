"""Limits over time: how soon again, how late at most, and how often in a window."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from datetime import datetime, time, timedelta
from fractions import Fraction

from ledger.checks.case import Case
from ledger.checks.periods import (
    counts_at_all,
    doubtful_start,
    months_later,
    visit_of,
    when,
    window_of,
    window_words,
)
from ledger.checks.same import both, counts_with, same_place, same_product
from ledger.checks.say import Tools, finding, over, plain, said
from ledger.rulebook.model import Limit, Shape
from ledger.values.amount import Quantity
from ledger.values.entry import Application
from ledger.values.finding import Finding, Kind

__all__ = ("check_interval", "check_visits", "doubtful", "same_product", "visit_of")


def doubtful(case: Case, limit: Limit, tools: Tools) -> Finding | None:
    """Return the finding that nothing over time can be told while the site is in doubt."""
    asked = case.site.questions
    if not asked:
        return None
    text = (
        f"cannot tell: this address may be that of site {' or '.join(asked)}, and nobody has said"
    )
    return finding(limit, tools, Kind.UNKNOWN, text, "address", "answer which site it is")


def check_interval(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the days since the last application, and until the next one.

    Lines of the same day do not count. Too soon after an earlier one is a breach of this line;
    where a later one came too soon, the breach is the later one's, and this line says so. Later
    than a maximum interval is a breach of the line that came too late.
    """
    doubt = doubtful(case, limit, tools)
    if doubt is not None:
        yield doubt
        return
    if limit.least is not None:
        yield from _since(case, limit, tools)
        yield from _until(case, limit, tools)
    if limit.most is not None:
        yield from _late(case, limit, tools)


_DAYS = {"day": 1, "month": 31, "year": 366}


def farthest_back(limits: Iterable[Limit]) -> timedelta:
    """Return how long after an application a later one can still change what is said of it.

    Sums and counts look back only; an interval speaks to the earlier of two applications as well.
    """
    lengths = [rule.least for rule in limits if rule.shape is Shape.INTERVAL and rule.least]
    days = [q.value * _DAYS[q.unit] if q.unit in _DAYS else 1 for q in lengths]
    return timedelta(days=math.ceil(max(days, default=0)) + 1) if days else timedelta(0)


def _since(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the time since the applications before this one."""
    assert limit.least is not None
    use = case.use
    earlier = [(o, same) for o, same in _countable(case, limit, tools) if when(o) < when(use)]
    answers = [(o, both(same, _repeats(o, use, limit))) for o, same in earlier]
    hits = [o for o, repeats in answers if repeats]
    if hits:
        last = max(hits, key=when)
        text = (
            f"{_gap(last, use)} the application of {last.date}"
            f" at {_spot(limit)}, {tools.authority} asks for {_asked(limit.least, limit)}"
        )
        yield finding(limit, tools, Kind.BREACH, text, "date")
    elif any(repeats is None for _, repeats in answers):
        text = f"cannot tell how long ago {_spot(limit)} was treated: a line does not say enough"
        way_out = "amend places, setting and times"
        yield finding(limit, tools, Kind.UNKNOWN, text, "places", way_out)


def _asked(length: Quantity, limit: Limit) -> str:
    return f"{said(length)}{' between' if limit.counting == 'full days between' else ''}"


def _until(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Say where the next application came too soon; the breach is that one's."""
    assert limit.least is not None
    use = case.use
    later = [o for o, same in _countable(case, limit, tools) if same and when(o) > when(use)]
    hits = [o for o in later if _repeats(use, o, limit)]
    if hits:
        following = min(hits, key=when)
        text = (
            f"the next application at {_spot(limit)} came on {following.date}, too soon:"
            f" {tools.authority} asks for {said(limit.least)}; the finding stands with that entry"
        )
        yield finding(limit, tools, Kind.ADVICE, text, "date")


def _late(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge whether this line came in time after the last one; a first one is never late."""
    assert limit.most is not None
    use = case.use
    earlier = [
        (o, both(same, same_place(o, use, limit)))
        for o, same in _countable(case, limit, tools)
        if when(o) < when(use)
    ]
    certain = [o for o, same in earlier if same]
    possible = [o for o, same in earlier if same is not False]
    if not possible:
        return
    in_time = [o for o in possible if not _after(o, use, limit)]
    if any(o in certain for o in in_time):
        return
    if in_time or not certain:
        text = f"cannot tell how long ago {_spot(limit)} was treated: a line does not say enough"
        way_out = "amend places, setting and times"
        yield finding(limit, tools, Kind.UNKNOWN, text, "places", way_out)
        return
    last = max(certain, key=when)
    text = (
        f"{_gap(last, use)} the application of {last.date} at {_spot(limit)},"
        f" {tools.authority} allows at most {said(limit.most)}"
    )
    yield finding(limit, tools, Kind.BREACH, text, "date")


def _after(first: Application, second: Application, limit: Limit) -> bool:
    """Say whether ``second`` came after the longest interval was over; days count as days."""
    assert limit.most is not None
    day, start = (datetime.combine(use.date, time(0)) for use in (first, second))
    end = _end(day, limit.most)
    return start > end or (start == end and not limit.inclusive)


_CLOCK = {"h": 3600, "min": 60, "s": 1}


def _countable(case: Case, limit: Limit, tools: Tools) -> list[tuple[Application, bool | None]]:
    """Return the applications that an interval counts, each with whether it surely counts: of
    this product or ingredient, on other days, or of other visits where the interval is shorter
    than days."""
    by_clock = limit.least is not None and limit.least.unit in _CLOCK
    answers = ((o, counts_with(case, o, limit, tools)) for o in case.others)
    return [
        (other, same)
        for other, same in answers
        if same is not False
        and (
            other.date != case.use.date
            or (by_clock and visit_of(other) != visit_of(case.use))
        )
    ]  # fmt: skip


def _repeats(first: Application, second: Application, limit: Limit) -> bool | None:
    """Say whether ``second`` came to the same spot too soon; None where that cannot be told."""
    return both(_too_soon(first, second, limit), same_place(first, second, limit))


def _spot(limit: Limit) -> str:
    return "the same place" if limit.same == "place" else "this address"


def _gap(first: Application, second: Application) -> str:
    days = (second.date - first.date).days
    if not days:
        return "on the day of"
    return f"{days} day{'' if days == 1 else 's'} after"


def _too_soon(first: Application, second: Application, limit: Limit) -> bool | None:
    """Say whether ``second`` came before the interval after ``first`` was over.

    Days, months and years count from day to day, and "full days between" asks for one day more;
    hours and less from the end of the work to the next start, and cannot be told without these
    times.
    """
    assert limit.least is not None
    day, start = (datetime.combine(use.date, time(0)) for use in (first, second))
    if limit.least.unit in _CLOCK:
        if first.end is None or second.start is None:
            return None
        day = datetime.combine(first.date + timedelta(days=first.end_day), first.end)
        start = datetime.combine(second.date, second.start)
    end = _end(day, limit.least)
    if limit.counting == "full days between":
        end += timedelta(days=1)
    return start < end or (start == end and not limit.inclusive)


def _end(start: datetime, length: Quantity) -> datetime:
    """Return the moment at which a stretch of time is over."""
    unit, value = length.unit, length.value
    if unit == "day":
        return start + _span(value * 86400)
    if unit in _CLOCK:
        return start + _span(value * _CLOCK[unit])
    return months_later(start, int(value * (12 if unit == "year" else 1)))


def _span(seconds: Fraction) -> timedelta:
    """Return whole microseconds, rounded up, so that no interval is shortened."""
    return timedelta(microseconds=math.ceil(seconds * 1_000_000))


def check_visits(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge how often this product or ingredient came here in the window so far."""
    doubt = doubtful(case, limit, tools)
    if doubt is not None:
        yield doubt
        return
    if limit.most is None or not counts_at_all(limit, case.use):
        return
    use = case.use
    answers = [
        (o, both(counts_with(case, o, limit, tools), same_place(use, o, limit)))
        for o in window_of(case, limit)
    ]
    certain = [o for o, counts in answers if counts]
    possible = [o for o, counts in answers if counts is not False]
    number, at_most = (_number([*found, use], limit) for found in (certain, possible))
    what = "application" if limit.measure == "lines" else "visit"
    which = "product" if limit.across == "product" else "active ingredient"
    where = "place" if limit.same == "place" else "address"
    words = f"{window_words(limit, use)} with this {which} at this {where}"
    allows = f"{tools.authority} allows {plain(limit.most.value)}"
    if over(number, limit.most.value, limit.inclusive):
        text = f"{what} {plain(number)} {words}, {allows}"
        if not doubtful_start(case, limit, certain):
            yield finding(limit, tools, Kind.BREACH, text, "date")
            return
    if over(at_most, limit.most.value, limit.inclusive):
        text = f"cannot tell which {what} {words} this was, {plain(at_most)} at most; {allows}"
        way_out = "amend the earlier lines with their places and setting"
        if doubtful_start(case, limit, certain):
            way_out = 'amend prepared of the line that began it with "new infestation"'
        yield finding(limit, tools, Kind.UNKNOWN, text, "date", way_out)


def _number(lines: list[Application], limit: Limit) -> Fraction:
    counted = len(lines) if limit.measure == "lines" else len({visit_of(o) for o in lines})
    return Fraction(counted)
