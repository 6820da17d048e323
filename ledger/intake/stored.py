"""What a workbook stores -> what was typed: dates, times, per cents, numbers, formulas."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Context, Decimal, InvalidOperation
from fractions import Fraction

from ledger.intake.restore import (
    NUMBER_COLUMNS,
    SPELT_COLUMNS,
    Restored,
    as_fraction,
    date_for_fraction,
    ratio_from_clock,
    restore_text,
    shortened,
)
from ledger.intake.workbook import RawCell

SHOWN_DIGITS = 15
"""A spreadsheet keeps 17 digits and shows 15: 0.30000000000000004 is shown as 0.3."""

LARGEST_EXPONENT = 308
EARLIEST, LATEST = date(2000, 1, 1), date(2099, 12, 31)
"""Between these a bare number in the date column is taken for a date that lost its format."""

_SECONDS = 86_400
_LITERAL = re.compile(r'"([^"]*)"')
_NOT_SHOWN = re.compile(r'"[^"]*"|\\.|_.|\*.|\[(?!h+\]|m+\]|s+\])[^\]]*\]', re.IGNORECASE)
_WITH_UNIT = NUMBER_COLUMNS | {"temperature", "wind"}
_PROSE = frozenset({"note", "condition", "advice"})


@dataclass(frozen=True, slots=True)
class Setting:
    """What the meaning of a stored number depends on; ``day`` is the row's own date."""

    month_first: bool
    epoch_1904: bool = False
    day: date | None = None


@dataclass(frozen=True, slots=True)
class Moment:
    """A stored date or time: ``serial`` days and ``second`` of the day; ``date`` of real dates."""

    days: int
    second: int
    date: date | None

    @property
    def clock(self) -> str:
        """The time of day as HH:MM, with seconds only where there are any."""
        hour, rest = divmod(self.second, 3600)
        minute, second = divmod(rest, 60)
        return f"{hour:02}:{minute:02}" + (f":{second:02}" if second else "")

    @property
    def shown(self) -> str:
        """The moment for people: the date, the time or both."""
        if self.days < 1 or self.date is None:
            return self.clock if self.days < 1 else f"{self.days} days {self.clock}"
        return self.date.isoformat() + (f" {self.clock}" if self.second else "")


def restore_stored(heading: str, cell: RawCell, setting: Setting) -> tuple[str, Restored]:
    """Return what the cell shows (kept as typed) and what is read from it."""
    if cell.formula is not None and not cell.value:
        return f"={cell.formula}", Restored(
            f"={cell.formula}", code="CELL-FORMULA",
            doubt="holds a formula whose result was not stored",
            way_out="write the value itself, or open and save the sheet in the spreadsheet",
        )  # fmt: skip
    shown, restored = _value(heading, cell, setting)
    if cell.formula is None:
        return shown, restored
    how = "; ".join(filter(None, ("stored result of a formula", restored.how)))
    return f"={cell.formula}", Restored(
        restored.text, how, restored.code, restored.doubt, restored.way_out
    )


def _value(heading: str, cell: RawCell, setting: Setting) -> tuple[str, Restored]:
    if cell.kind == "b":
        yes = cell.value.strip() in {"1", "true"}
        return ("TRUE", Restored("yes", "TRUE")) if yes else ("FALSE", Restored("no", "FALSE"))
    if cell.kind == "n":
        return _number(heading, cell, setting)
    if cell.kind == "d":
        return _iso(heading, cell.value, setting)
    return cell.value, restore_text(heading, cell.value, month_first=setting.month_first)


def _number(heading: str, cell: RawCell, setting: Setting) -> tuple[str, Restored]:
    try:
        value = Decimal(cell.value.strip())
    except InvalidOperation:
        value = Decimal("NaN")
    if not value.is_finite() or abs(value.adjusted()) > LARGEST_EXPONENT:
        return cell.value, Restored(
            cell.value[:40], code="CELL-ERROR", doubt="holds a number that cannot be read",
            way_out="type the cell anew",
        )  # fmt: skip
    layout = _NOT_SHOWN.sub("", cell.format.partition(";")[0]).lower()
    if "general" not in layout and re.search("[ymdhs]", layout):
        moment = moment_of(value, epoch_1904=setting.epoch_1904)
        if moment is not None:
            return moment.shown, _moment(heading, moment, setting, layout)
    if "%" in layout:
        text = plain(value * 100)
        return f"{text}%", Restored(f"{text} %", f"per cent stored as {plain(value)}")
    text = plain(value)
    if heading in _WITH_UNIT and (unit := _literal(cell.format)):
        return text, Restored(
            text, code="CELL-MANGLED",
            doubt=f"shows {unit!r}, but only as a number format; the cell holds {text}",
            way_out=f"format the cell as text and write the unit: {text} {unit}",
        )  # fmt: skip
    return text, _bare(heading, value, layout, setting)


def _bare(heading: str, value: Decimal, layout: str, setting: Setting) -> Restored:
    """Read a number without a format of its own by the column that it stands in."""
    text = plain(value)
    too_long = len(text.lstrip("-").partition(".")[0]) > SHOWN_DIGITS
    if too_long or (heading in SPELT_COLUMNS and "e+" in layout):
        return shortened(text)
    if text.isdigit() and (zeros := re.fullmatch(r"(0{2,})(?:-(0{4}))?", layout)):
        last = len(zeros[2] or "")
        digits = text.zfill(len(zeros[1]) + last)
        whole = f"{digits[:-last]}-{digits[-last:]}" if last else digits
        return Restored(whole, "" if whole == text else f"zeros as the cell shows them, of {text}")
    if heading in {"start", "end"} and 0 < value < 1:
        moment = moment_of(value, epoch_1904=setting.epoch_1904)
        if moment is not None:
            return Restored(moment.clock, f"time stored as the fraction {text} of a day")
    if heading == "date" and value == value.to_integral_value():
        moment = moment_of(value, epoch_1904=setting.epoch_1904)
        if moment and moment.date and EARLIEST <= moment.date <= LATEST:
            return Restored(moment.date.isoformat(), f"date stored as the number {text}")
    return Restored(text)


def _moment(heading: str, moment: Moment, setting: Setting, layout: str) -> Restored:
    """Read a stored date or time by the column that it stands in."""
    if heading == "date" and moment.date and moment.days >= 1:
        how = "date as stored by the spreadsheet"
        return Restored(
            moment.date.isoformat(), f"{how}, its time {moment.clock} left out"
            if moment.second else how,
        )  # fmt: skip
    if heading in {"start", "end"} and (text := _clock(heading, moment, setting.day)):
        return Restored(text, "time as stored by the spreadsheet")
    if heading == "dilution" and moment.days < 2 and moment.second % 60 == 0:
        return ratio_from_clock(moment.days * 1440 + moment.second // 60, moment.shown)
    if heading in _PROSE:
        return Restored(moment.shown, "date or time as stored by the spreadsheet")
    if heading in NUMBER_COLUMNS and moment.date and moment.days >= 1:
        if moment.date.day == 1 and "y" in layout and "d" not in layout:
            # ``1/32`` cannot be a day, so a spreadsheet takes it for January 1932.
            guess = f"{moment.date.month}/{moment.date.year % 100}"
            return date_for_fraction(moment.shown, guess)
        return date_for_fraction(
            moment.shown,
            as_fraction(moment.date.day, moment.date.month, month_first=setting.month_first),
        )
    kind = "date" if moment.days >= 1 else "time"
    return Restored(
        moment.shown, code="CELL-MANGLED",
        doubt=f"holds the {kind} {moment.shown}, which the spreadsheet made of what was typed",
        way_out="format the cell as text and write it anew",
    )  # fmt: skip


def _clock(heading: str, moment: Moment, day: date | None) -> str:
    """Return the time of a start or end, or nothing where the stored date does not fit."""
    if moment.days == 0:
        return moment.clock
    next_day = moment.days == 1
    if moment.days > 1 and day is not None and moment.date is not None:
        if moment.date == day:
            return moment.clock
        next_day = moment.date == day + timedelta(days=1)
    return f"{moment.clock} +1" if heading == "end" and next_day else ""


def _iso(heading: str, text: str, setting: Setting) -> tuple[str, Restored]:
    """Read a cell that stores its date as ISO text, as some programs write."""
    try:
        at = datetime.fromisoformat(text.rstrip("Z"))
        moment = Moment(2, at.hour * 3600 + at.minute * 60 + at.second, at.date())
    except ValueError:
        try:
            clock = time.fromisoformat(text.lstrip("T").rstrip("Z"))
        except ValueError:
            return text, restore_text(heading, text, month_first=setting.month_first)
        moment = Moment(0, clock.hour * 3600 + clock.minute * 60 + clock.second, None)
    return moment.shown, _moment(heading, moment, setting, "")


def moment_of(value: Decimal, *, epoch_1904: bool) -> Moment | None:
    """Return the date and time that a serial number stands for, to the second, or None.

    Day 1 is 1 January 1900, or day 0 is 1 January 1904. The first calendar has a 29 February
    1900 (day 60) that never was (ECMA-376 part 1, 18.17.4.1).
    """
    days, second = divmod(round(Fraction(value) * _SECONDS), _SECONDS)
    if not 0 <= days <= 2_958_465:
        return None
    if epoch_1904:
        return Moment(days, second, date(1904, 1, 1) + timedelta(days=min(days, 2_957_003)))
    base = date(1899, 12, 30) if days >= 60 else date(1899, 12, 31)
    return Moment(days, second, base + timedelta(days=days))


def plain(value: Decimal) -> str:
    """Return a number as a spreadsheet shows it: 15 digits, no exponent, no idle zeros."""
    rounded = Context(prec=SHOWN_DIGITS).plus(value).normalize()
    return f"{rounded:f}" if rounded else "0"


def _literal(format_: str) -> str:
    """Return the words that a number format shows beside the number, if they hold letters."""
    words = " ".join(_LITERAL.findall(format_.partition(";")[0])).strip()
    return words if re.search("[A-Za-z]", words) else ""
