"""When a clock of the law ends, and what is owed on a day: days, hours, open days, month ends.

Days that a public office is closed come from the ``holidays`` package. A day counts as closed only
where the federal and the state's list both have it: an extension shown too early costs nothing,
one shown too late costs a fine. The fixed day is always the one to be warned of.

A clock of hours or minutes is elapsed time and runs through a change of daylight saving; a clock
of days, months or years ends with the local day at the site.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import IntEnum
from zoneinfo import ZoneInfo

from ledger.rulebook.book import months_after
from ledger.values.amount import Quantity
from ledger.values.lexicon import fold
from ledger.values.period import Period

NEXT_BUSINESS_DAY = "next business day"
"""The ``due_rule`` that lets a closed day move a day; every other one leaves it where it is."""
SATURDAY, SUNDAY = 5, 6
ELAPSED = ("h", "min", "s")
BUSINESS_DAY = "business day"


def why_closed(day: date, state: str) -> str:
    """Return why public offices are closed on that day, or nothing."""
    if day.weekday() in {SATURDAY, SUNDAY}:
        return "a Saturday" if day.weekday() == SATURDAY else "a Sunday"
    return _holiday(day, state)


def _holiday(day: date, state: str) -> str:
    # Loaded here: the package takes longer than a command that needs no due day should.
    import holidays  # noqa: PLC0415

    federal = holidays.country_holidays("US", years=[day.year])
    if day not in federal:
        return ""
    known = holidays.list_supported_countries().get("US", [])
    if state in known and day not in holidays.country_holidays(
        "US", subdiv=state, years=[day.year]
    ):
        return ""
    return str(federal[day])


def next_open_day(day: date, state: str) -> tuple[date, tuple[str, ...]]:
    """Return the first open day from ``day`` on, and why each day before it is closed."""
    reasons = []
    while reason := why_closed(day, state):
        reasons.append(f"{long_day(day)} is {reason}")
        day += timedelta(days=1)
    return day, tuple(reasons)


def business_days_after(day: date, count: int, state: str) -> date:
    """Return the day that many open days after ``day``; the day itself is not counted."""
    for _ in range(count):
        day, _ = next_open_day(day + timedelta(days=1), state)
    return day


def long_day(day: date) -> str:
    """Return ``10 January 2026``, in English whatever the computer's language."""
    return f"{day.day} {Period(day.year, day.month).text}"


# ------------------------------------------------------------------ clocks


@dataclass(frozen=True, slots=True)
class Began:
    """When a clock began: the local day at the site, the time if it is known, the time zone.

    ``state`` is the two-letter code whose holidays count for business days.
    """

    day: date
    at: time | None
    zone: str
    state: str = ""


@dataclass(frozen=True, slots=True)
class Ends:
    """When a clock ends: the local day at the site and the moment (UTC) after which it is late.

    ``why`` says how it came about.
    """

    day: date
    moment: datetime
    why: str

    def late(self, moment: datetime) -> bool:
        """Say whether something done at that moment came too late."""
        return moment > self.moment


def clock_ends(within: Quantity, began: Began) -> Ends:
    """Return when a clock of that length ends.

    Days, months and years end with the last second of the local day; the first day is not
    counted. Hours and minutes run from the time of day as elapsed time; where that time is not
    known they run from the day's first minute, which is the earlier end. Business days leave out
    Saturdays, Sundays and holidays. A fraction of a day is taken as hours. ValueError for a unit
    that is no length of time.
    """
    zone = ZoneInfo(began.zone)
    unit, amount = within.unit, within.value
    if unit == "day" and amount.denominator != 1:
        unit, amount = "h", amount * 24
    if unit in ELAPSED:
        seconds = amount * {"h": 3600, "min": 60, "s": 1}[unit]
        start = datetime.combine(began.day, began.at or time(0), zone).astimezone(UTC)
        moment = start + timedelta(microseconds=int(seconds * 1_000_000))
        local = moment.astimezone(zone)
        unknown = "" if began.at else " (the time of day is not known: counted from its beginning)"
        why = f"{_length(within)} from {long_day(began.day)}{_at(began.at)}{unknown}"
        return Ends(local.date(), moment, f"{why}: by {local:%H:%M} on {long_day(local.date())}")
    whole = int(amount)
    if unit == "day":
        last = began.day + timedelta(days=whole)
    elif unit == BUSINESS_DAY:
        last = business_days_after(began.day, whole, began.state)
    elif unit in {"month", "year"}:
        last = months_after(began.day, whole * (12 if unit == "year" else 1))
    else:
        raise ValueError(f"{unit} is no length of time")
    why = f"{_length(within)} from {long_day(began.day)}: by the end of {long_day(last)}"
    return Ends(last, end_of_day(last, zone), why)


def end_of_day(day: date, zone: ZoneInfo) -> datetime:
    """Return the last moment of a local day, in UTC."""
    midnight = datetime.combine(day + timedelta(days=1), time(0), zone)
    return midnight.astimezone(UTC) - timedelta(microseconds=1)


def _at(at: time | None) -> str:
    return "" if at is None else f" {at:%H:%M}"


def _length(within: Quantity) -> str:
    many = "" if within.value == 1 or within.unit in {"h", "min", "s"} else "s"
    return f"{within.value} {within.unit}{many}"


# ------------------------------------------------------------------ what is owed


class Sort(IntEnum):
    """What sort of thing is owed, in the order in which equal days are listed."""

    REPORT = 1
    AMENDED_REPORT = 2
    RECORD = 3
    PAPER = 4
    HELD = 5
    OPEN_DAY = 6
    QUESTION = 7
    LICENCE = 8
    REGISTRATION = 9
    RULES = 10
    RETENTION = 11
    REVISIT = 12
    TRAINING = 13
    SIGN_OFF = 14

    @property
    def text(self) -> str:
        """The sort in words."""
        return self.name.casefold().replace("_", " ")


@dataclass(frozen=True, slots=True)
class Owing:
    """One thing that somebody has to do, and by when.

    ``day`` is the day to go by; ``extended`` the later day where general law moves it. ``source``
    is the law or file behind it, ``command`` what settles it. ``late`` is whether that day, or
    moment, has passed; ``sure`` is false where the law behind it was not read well enough to
    decide.
    """

    sort: Sort
    day: date
    what: str
    why: str
    source: str
    command: str
    late: bool = False
    sure: bool = True
    extended: date | None = None


def in_order(owing: Iterable[Owing]) -> tuple[Owing, ...]:
    """Return what is owed as a person wants it: overdue first, then by day, then by sort."""
    return tuple(sorted(owing, key=lambda item: (not item.late, item.day, item.sort, item.what)))


def within_reach(owing: Iterable[Owing], last: date) -> tuple[Owing, ...]:
    """Return what is overdue or falls due up to that day, in order."""
    return in_order(item for item in owing if item.late or item.day <= last)


def read_ahead(text: str) -> int | None:
    """Read how far to look ahead, in days: ``30d``, ``30 days``, ``2 weeks``, ``30``; else None."""
    words = fold(text)
    digits = words.rstrip("abcdefghijklmnopqrstuvwxyz ")
    unit = words[len(digits) :].strip()
    lengths = {"": 1, "d": 1, "day": 1, "days": 1, "w": 7, "week": 7, "weeks": 7}
    if not (digits.isascii() and digits.isdigit()) or unit not in lengths or len(digits) > 5:
        return None
    return int(digits) * lengths[unit]
