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
from ledger.values.amount import Quantity
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
    near = [o for o in case.others if same_product(case, o) and o.date != case.use.date]
    earlier = [o for o in near if o.date < case.use.date and _too_soon(o, case.use, limit)]
    later = [o for o in near if o.date > case.use.date and _too_soon(case.use, o, limit)]
    where = [(o, _same_place(case.use, o, limit)) for o in earlier]
    hits = [o for o, same in where if same is True]
    if hits:
        last = max(hits, key=_when)
        text = (
            f"{_days(case.use.date - last.date)} after the application of {last.date}"
            f" at {_spot(limit)}, {tools.authority} asks for {said(limit.least)}"
        )
        yield finding(limit, tools, Kind.BREACH, text, "date")
    elif any(same is None for _, same in where):
        text = f"cannot tell whether {_spot(limit)} was treated before: a line does not name it"
        yield finding(limit, tools, Kind.UNKNOWN, text, "places", "amend places or setting")
    after = [o for o in later if _same_place(case.use, o, limit)]
    if after:
        following = min(after, key=_when)
        text = (
            f"the next application at {_spot(limit)} came on {following.date},"
            f" {_days(following.date - case.use.date)} later; {tools.authority} asks for"
            f" {said(limit.least)}, and the finding stands with that entry"
        )
        yield finding(limit, tools, Kind.ADVICE, text, "date")


def _spot(limit: Limit) -> str:
    return "the same place" if limit.same == "place" else "this address"


def _days(gap: timedelta) -> str:
    return f"{gap.days} day{'' if gap.days == 1 else 's'}"


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


def _too_soon(first: Application, second: Application, limit: Limit) -> bool:
    """Say whether ``second`` came before the interval after ``first`` was over."""
    assert limit.least is not None  # noqa: S101 - the caller has looked
    end = _add(first, limit.least)
    start = datetime.combine(second.date, second.start or time(0))
    if limit.least.unit in {"day", "month", "year"}:
        start = datetime.combine(second.date, time(0))
    return start < end or (start == end and not limit.inclusive)


def _add(use: Application, interval: Quantity) -> datetime:
    """Return the moment from which the next application is allowed.

    Days, months and years count from the day; hours and less from the end of the work.
    """
    day = datetime.combine(use.date, time(0))
    if interval.unit == "day":
        return day + _span(interval.value * 86400)
    if interval.unit in {"month", "year"}:
        months = int(interval.value * (12 if interval.unit == "year" else 1))
        return _months_later(day, months)
    moment = use.end or use.start or time(0)
    seconds = {"h": 3600, "min": 60, "s": 1}[interval.unit]
    ended = datetime.combine(use.date + timedelta(days=use.end_day), moment)
    return ended + _span(interval.value * seconds)


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
