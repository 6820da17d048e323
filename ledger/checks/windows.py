"""Limits over time: how soon again, and how often in a year, at the same place or address."""

from __future__ import annotations

import calendar
import math
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from fractions import Fraction

from ledger.checks.case import Case
from ledger.checks.say import Tools, finding, over, plain, said
from ledger.rulebook.model import Limit
from ledger.values.entry import Application
from ledger.values.finding import Finding, Kind
from ledger.values.lexicon import fold


def _doubtful(case: Case, limit: Limit, tools: Tools) -> Finding | None:
    """Return the finding that nothing over time can be told while the site is in doubt."""
    if case.site.doubt is None:
        return None
    text = f"cannot tell: this address may be that of site {case.site.doubt}, and nobody has said"
    return finding(limit, tools, Kind.UNKNOWN, text, "address", "answer which site it is")


def same_product(case: Case, other: Application) -> bool:
    """Say whether another application put down the same product, whatever its label version."""
    use = case.use
    return other.product_key == use.product_key or bool(use.product == other.product != "")


def visit_of(use: Application) -> tuple[str, ...]:
    """Return what makes a visit: its own name, else day, person and start."""
    if use.visit:
        return (use.visit,)
    return (use.date.isoformat(), use.applicator, str(use.start))


def check_interval(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the days since the last application of this product, and until the next one.

    Lines of the same day do not count. Too soon after an earlier one is a breach of this line;
    where a later one came too soon, the breach is the later one's, and this line says so.
    """
    doubt = _doubtful(case, limit, tools)
    if doubt is not None:
        yield doubt
        return
    if limit.least is None:
        return
    yield from _since(case, limit, tools)
    yield from _until(case, limit, tools)


def _since(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the time since the applications before this one."""
    assert limit.least is not None
    use = case.use
    earlier = [o for o in _countable(case, limit) if _when(o) < _when(use)]
    answers = [(o, _repeats(o, use, limit)) for o in earlier]
    hits = [o for o, repeats in answers if repeats]
    if hits:
        last = max(hits, key=_when)
        text = (
            f"{_gap(last, use)} the application of {last.date}"
            f" at {_spot(limit)}, {tools.authority} asks for {said(limit.least)}"
        )
        yield finding(limit, tools, Kind.BREACH, text, "date")
    elif any(repeats is None for _, repeats in answers):
        text = f"cannot tell how long ago {_spot(limit)} was treated: a line does not say enough"
        way_out = "amend places, setting and times"
        yield finding(limit, tools, Kind.UNKNOWN, text, "places", way_out)


def _until(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Say where the next application came too soon; the breach is that one's."""
    assert limit.least is not None
    use = case.use
    later = [o for o in _countable(case, limit) if _when(o) > _when(use)]
    hits = [o for o in later if _repeats(use, o, limit)]
    if hits:
        following = min(hits, key=_when)
        text = (
            f"the next application at {_spot(limit)} came on {following.date}, too soon:"
            f" {tools.authority} asks for {said(limit.least)}; the finding stands with that entry"
        )
        yield finding(limit, tools, Kind.ADVICE, text, "date")


_CLOCK = {"h": 3600, "min": 60, "s": 1}


def _countable(case: Case, limit: Limit) -> list[Application]:
    """Return the applications that an interval counts: of this product, on other days, or of
    other visits where the interval is shorter than days."""
    by_clock = limit.least is not None and limit.least.unit in _CLOCK
    return [
        other
        for other in case.others
        if same_product(case, other)
        and (
            other.date != case.use.date
            or (by_clock and visit_of(other) != visit_of(case.use))
        )
    ]


def _repeats(first: Application, second: Application, limit: Limit) -> bool | None:
    """Say whether ``second`` came to the same spot too soon; None where that cannot be told."""
    soon, same = _too_soon(first, second, limit), _same_place(first, second, limit)
    if soon is False or same is False:
        return False
    return True if soon and same else None


def _spot(limit: Limit) -> str:
    return "the same place" if limit.same == "place" else "this address"


def _gap(first: Application, second: Application) -> str:
    days = (second.date - first.date).days
    if not days:
        return "on the day of"
    return f"{days} day{'' if days == 1 else 's'} after"


def _when(use: Application) -> tuple[date, time]:
    return use.date, use.start or time(0)


def _same_place(use: Application, other: Application, limit: Limit) -> bool | None:
    """Say whether two lines share a place of one setting; None where one of them names none."""
    if limit.same != "place":
        return True
    said = use.setting and other.setting
    if said and fold(use.setting) != fold(other.setting):
        return False
    if not said or not use.places or not other.places:
        return None
    return bool({fold(p) for p in use.places} & {fold(p) for p in other.places})


def _too_soon(first: Application, second: Application, limit: Limit) -> bool | None:
    """Say whether ``second`` came before the interval after ``first`` was over.

    Days, months and years count from day to day; hours and less from the end of the work to the
    next start, and cannot be told without these times.
    """
    assert limit.least is not None
    day, start = (datetime.combine(use.date, time(0)) for use in (first, second))
    unit, value = limit.least.unit, limit.least.value
    if unit == "day":
        end = day + _span(value * 86400)
    elif unit in _CLOCK:
        if first.end is None or second.start is None:
            return None
        ended = datetime.combine(first.date + timedelta(days=first.end_day), first.end)
        end = ended + _span(value * _CLOCK[unit])
        start = datetime.combine(second.date, second.start)
    else:
        end = _months_later(day, int(value * (12 if unit == "year" else 1)))
    return start < end or (start == end and not limit.inclusive)


def _span(seconds: Fraction) -> timedelta:
    """Return whole microseconds, rounded up, so that no interval is shortened."""
    return timedelta(microseconds=math.ceil(seconds * 1_000_000))


def _months_later(day: datetime, months: int) -> datetime:
    index = day.month - 1 + months
    year, month = day.year + index // 12, index % 12 + 1
    last = calendar.monthrange(year, month)[1]
    return day.replace(year=year, month=month, day=min(day.day, last))


def check_visits(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge how often this product came to this address within the calendar year so far."""
    doubt = _doubtful(case, limit, tools)
    if doubt is not None:
        yield doubt
        return
    if limit.most is None:
        return
    use = case.use
    so_far = [
        other
        for other in case.others
        if same_product(case, other)
        and other.date.year == use.date.year
        and _when(other) <= _when(use)
    ]
    if limit.measure == "lines":
        number = len(so_far) + 1
    else:
        number = len({visit_of(other) for other in (*so_far, use)})
    if over(Fraction(number), limit.most.value, limit.inclusive):
        what = "application" if limit.measure == "lines" else "visit"
        text = (
            f"{what} {number} of {use.date.year} with this product at this address,"
            f" {tools.authority} allows {plain(limit.most.value)}"
        )
        yield finding(limit, tools, Kind.BREACH, text, "date")
