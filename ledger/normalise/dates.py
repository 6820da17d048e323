"""Dates and times as people and spreadsheets write them, local at the site."""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from ledger.values.finding import Fault
from ledger.values.origin import Origin
from ledger.values.reading import Reading

FIRST_YEAR = 1970  # no ledger holds work from before; a year below it is a slip
LAST_YEAR = 2200  # and one past this is no date that a clock will ever confirm

_MONTHS = {
    name.casefold(): number
    for names in (calendar.month_name, calendar.month_abbr)
    for number, name in enumerate(names)
    if name
} | {"sept": 9}
_WEEKDAY = re.compile(r"^(mon|tue|wed|thu|fri|sat|sun)[a-z]*\.?,?\s+", re.IGNORECASE)
_MIDNIGHT = re.compile(r"[ T]00:00(?::00(?:\.0+)?)?$")
_YEAR_FIRST = re.compile(r"^(\d{4})([-/.])(\d{1,2})\2(\d{1,2})$")
_NUMBERS = re.compile(r"^(\d{1,2})([-/.])(\d{1,2})\2(\d{4}|\d{2})$")
_DAY_MONTH = re.compile(r"^(\d{1,2})(?:st|nd|rd|th)?[\s\-./]+([a-z]+)\.?,?[\s\-./]+(\d{4}|\d{2})$")
_MONTH_DAY = re.compile(r"^([a-z]+)\.?[\s\-./]+(\d{1,2})(?:st|nd|rd|th)?,?[\s\-./]+(\d{4}|\d{2})$")
_CLOCK = re.compile(r"^(\d{1,2})[:.h](\d{2})(?::00)?\s*(?:([ap])\.?\s?m?\.?)?$")
_BARE = re.compile(r"^(\d{1,2}?)(\d{2})$")
_HOUR = re.compile(r"^(\d{1,2})\s*([ap])\.?\s?m\.?$")
_NEXT_DAY = re.compile(r"^(.*?)\s*\(?\+\s*([1-9])(?:\s*d(?:ays?)?)?\)?$")
_WRITE = "write it as 2026-01-14"


@dataclass(frozen=True, slots=True)
class Slip:
    """Why a text is no date or time: a fault without its place."""

    code: str
    what: str
    way_out: str


@dataclass(frozen=True, slots=True)
class Clock:
    """A time of day, and how many days after the date of the line."""

    time: time
    days: int = 0


@dataclass(frozen=True, slots=True)
class Hours:
    """When a line's work began and ended; None where the line does not say."""

    start: time | None = None
    end: time | None = None
    end_day: int = 0


@lru_cache(maxsize=65536)
def parse_date(text: str, month_first: bool) -> date | Slip:
    """Return the day a text names, or why it names none.

    ``month_first`` is the firm's way to write 1/14/2026. A date that only the other way would
    make possible is not turned round: the next line may be 4/1/2026.
    """
    plain = _MIDNIGHT.sub("", text.strip())
    weekday = _WEEKDAY.match(plain)
    plain = plain[weekday.end() :] if weekday else plain
    day = _date_of(plain.casefold(), month_first, text)
    if weekday and isinstance(day, date):
        said = calendar.day_name[day.weekday()]
        if not said.casefold().startswith(weekday[1].casefold()):
            return Slip("DATE-WEEKDAY", f'"{text}": that day was a {said}', "correct one of them")
    return day


def _date_of(plain: str, month_first: bool, text: str) -> date | Slip:
    if found := _YEAR_FIRST.match(plain):
        return _day(int(found[1]), int(found[3]), int(found[4]))
    if re.fullmatch(r"(?:19|20)\d{6}", plain):
        return _day(int(plain[:4]), int(plain[4:6]), int(plain[6:]))
    if found := _NUMBERS.match(plain):
        first, second, year = int(found[1]), int(found[3]), _year(found[4])
        month, day = (first, second) if month_first else (second, first)
        if month > 12 >= day:
            order = "month" if month_first else "day"
            return Slip(
                "DATE-ORDER", f'"{text}": there is no month {month}, and the firm writes the '
                f"{order} first", _WRITE,
            )  # fmt: skip
        return _written(year, month, day, text)
    if (found := _DAY_MONTH.match(plain)) and found[2] in _MONTHS:
        return _written(_year(found[3]), _MONTHS[found[2]], int(found[1]), text)
    if (found := _MONTH_DAY.match(plain)) and found[1] in _MONTHS:
        return _written(_year(found[3]), _MONTHS[found[1]], int(found[2]), text)
    return Slip("DATE-UNREADABLE", f'"{text}" is not a date', _WRITE)


def _year(digits: str) -> int | None:
    """Return a year; two digits only where one reading is possible.

    26 can only be 2026 (1926 lies before any record); 85 may be 1985 or a slip.
    """
    if len(digits) == 4:
        return int(digits)
    year = 2000 + int(digits)
    return year if year - 100 < FIRST_YEAR else None


def _written(year: int | None, month: int, day: int, text: str) -> date | Slip:
    if year is None:
        what = f'"{text}": the year can be read two ways'
        return Slip("DATE-YEAR", what, "write all four digits")
    return _day(year, month, day)


def _day(year: int, month: int, day: int) -> date | Slip:
    if not 1 <= month <= 12:
        return Slip("DATE-IMPOSSIBLE", f"there is no month {month}", _WRITE)
    if not FIRST_YEAR <= year <= LAST_YEAR:
        return Slip("DATE-YEAR", f"the year {year} cannot be right", "write the year of the work")
    last = calendar.monthrange(year, month)[1]
    if not 1 <= day <= last:
        name = calendar.month_name[month]
        return Slip(
            "DATE-IMPOSSIBLE", f"there is no {day} {name} {year} ({name} has {last} days)",
            "write the day of the work",
        )  # fmt: skip
    return date(year, month, day)


def read_date(text: str, month_first: bool, origin: Origin) -> Reading[date]:
    """Return the date of a line; blank is a fault, for a record without a day is none."""
    if not text:
        return Reading(None, (Fault("DATE-MISSING", origin, "no date", _WRITE),))
    found = parse_date(text, month_first)
    if isinstance(found, Slip):
        return Reading(None, (Fault(found.code, origin, found.what, found.way_out),))
    if re.search(r"(?<!\d)\d{2}$", text) and str(found.year) not in text:
        return Reading(found, (), (f'"{text}" is read as {found.isoformat()}',))
    return Reading(found)


@lru_cache(maxsize=65536)
def parse_clock(text: str) -> Clock | Slip:
    """Return a time of day: ``08:05``, ``8:05 am``, ``0805``, and ``00:15 +1`` for the next day."""
    plain, days = text.casefold().strip(), 0
    if found := _NEXT_DAY.match(plain):
        plain, days = found[1], int(found[2])
    half = ""
    if found := _CLOCK.match(plain):
        hour, minute, half = int(found[1]), int(found[2]), found[3] or ""
    elif found := _HOUR.match(plain):
        hour, minute, half = int(found[1]), 0, found[2]
    elif found := _BARE.match(plain):
        hour, minute = int(found[1]), int(found[2])
    else:
        return Slip("TIME-UNREADABLE", f'"{text}" is not a time', "write it as 08:05 or 14:30")
    if half:
        if not 1 <= hour <= 12:
            return Slip("TIME-UNREADABLE", f'"{text}" mixes two clocks', "write it as 14:30")
        hour = hour % 12 + (12 if half == "p" else 0)
    if hour == 24 and minute == 0:
        return Slip("TIME-IMPOSSIBLE", f'"{text}": a day ends at 23:59', "write 00:00 +1")
    if hour > 23 or minute > 59:
        return Slip("TIME-IMPOSSIBLE", f'there is no time "{text}"', "write it as 08:05 or 14:30")
    return Clock(time(hour, minute), days)


def read_hours(start: str, end: str, at_start: Origin, at_end: Origin) -> Reading[Hours]:
    """Return start and end. Blank is allowed (a law may ask for them); unreadable is a fault.

    An end equal to the start is allowed; one before it is a fault unless it says ``+1``.
    """
    faults: list[Fault] = []

    def clock(text: str, origin: Origin) -> Clock | None:
        found = parse_clock(text) if text else None
        if isinstance(found, Slip):
            faults.append(Fault(found.code, origin, found.what, found.way_out))
            return None
        return found

    begun, ended = clock(start, at_start), clock(end, at_end)
    if begun and begun.days:
        faults.append(
            Fault("TIME-ORDER", at_start, f'the start "{start}" lies on another day than the date',
                  "write the date on which the work began")
        )  # fmt: skip
    elif begun and ended and not ended.days and ended.time < begun.time:
        faults.append(
            Fault("TIME-ORDER", at_end, f"the end {_shown(ended)} lies before the start "
                  f"{_shown(begun)}",
                  "correct one of them; night work ends on the next day, written `00:15 +1`")
        )  # fmt: skip
    if faults:
        return Reading(None, tuple(faults))
    return Reading(
        Hours(begun.time if begun else None, ended.time if ended else None, _days(ended))
    )


def _days(ended: Clock | None) -> int:
    return ended.days if ended else 0


def _shown(clock: Clock) -> str:
    return clock.time.isoformat("minutes")


@lru_cache(maxsize=65536)
def clock_change(day: date, hour: time, zone: str) -> str:
    """Return what daylight saving makes of a local time there: a remark, or an empty string."""
    where = ZoneInfo(zone)
    local = datetime.combine(day, hour, where)
    early, late = local.utcoffset(), local.replace(fold=1).utcoffset()
    if early is None or late is None or early == late:
        return ""
    shown = f"{hour.isoformat('minutes')} on {day.isoformat()}"
    if early < late:
        return f"{shown} does not exist in {zone}: the clocks were put forward then"
    return f"{shown} happens twice in {zone}: the clocks were put back then"


def changes_of_clock(day: date, hours: Hours, zone: str) -> tuple[tuple[str, str], ...]:
    """Return (column, remark) for the start and end that a change of clocks makes doubtful."""
    found: list[tuple[str, str]] = []
    ends = day + timedelta(days=hours.end_day)
    for column, on, hour in (("start", day, hours.start), ("end", ends, hours.end)):
        said = clock_change(on, hour, zone) if hour is not None else ""
        if said:
            found.append((column, said))
    return tuple(found)
