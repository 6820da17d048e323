"""Values that a spreadsheet mangled: restored where that is certain, else named as doubtful.

Nothing here judges a record. A restored text goes on as if it had been typed; a doubtful one
holds its line and names the cell.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

MAX_CELL_CHARACTERS = 32_767
"""The longest text that a spreadsheet cell itself can hold; nothing on a day sheet is longer."""

NUMBER_COLUMNS = frozenset({"amount", "extent", "dilution"})
"""Columns where a person writes fractions, which spreadsheets take for dates."""

SPELT_COLUMNS = frozenset({"line", "lot", "product", "unit", "zip"})
"""Columns of numbers that are names: every digit and letter counts, none is reckoned with."""

FREE_TEXT = frozenset(
    {"customer", "customer address", "address", "city", "note", "place", "condition", "advice"}
)
"""Columns whose text stays as it is, a leading apostrophe included ('t Hoen is a name)."""

FIRST_DIGITS_OF_ZIP = {
    "CT": ("06",), "MA": ("01", "02", "05"), "ME": ("03", "04"), "NH": ("03",),
    "NJ": ("07", "08"), "PR": ("00",), "RI": ("02",), "VI": ("00",), "VT": ("05",),
}  # fmt: skip
"""States all of whose ZIP codes begin with 0, and how. From memory of the USPS labelling lists."""

_INVISIBLE = "\ufeff\u200b\u200c\u200d\u200e\u200f\u2060\u00ad"
_ERROR = re.compile(
    r"#(?:REF!|N/A|DIV/0!|VALUE!|NAME\?|NULL!|NUM!|SPILL!|CALC!|#+)$", re.IGNORECASE
)
_MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
_DAY_MONTH = re.compile(r"(\d{1,2})[-. ]{1,2}([a-z]{3})[a-z]*\.?$", re.IGNORECASE)
_MONTH_DAY = re.compile(r"([a-z]{3})[a-z]*\.?[- ](\d{1,2})$", re.IGNORECASE)
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?\s*([ap]\.?m\.?)?$", re.IGNORECASE)
_SHORTENED = re.compile(r"\d(?:\.\d+)?e\+\d{2,3}$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Restored:
    """A cell's text, what was done to it (``how``), and the doubt that holds its line, if any."""

    text: str
    how: str = ""
    code: str = ""
    doubt: str = ""
    way_out: str = ""


def tidy(raw: str) -> str:
    """Return ``raw`` in NFC, its line breaks, tabs and odd spaces as single plain spaces.

    Runs of plain spaces inside stay; ends are trimmed of spaces and invisible marks.
    """
    text = raw.replace("\r\n", "\n").strip(_INVISIBLE)
    if text.isascii() and text.isprintable():
        return text.strip()
    text = "".join(" " if c.isspace() else c for c in unicodedata.normalize("NFC", text))
    return text.strip(" " + _INVISIBLE)


def restore_text(heading: str, raw: str, *, month_first: bool) -> Restored:
    """Return the text under ``heading`` as it was most likely typed, or with a doubt."""
    text = tidy(raw)
    if len(text) > MAX_CELL_CHARACTERS:
        return Restored(
            text[:80] + "...", code="CELL-TOO-LONG",
            doubt=f"{len(text)} characters in one cell; {MAX_CELL_CHARACTERS} is the most",
            way_out="shorten the text, or look for a quote that was never closed",
        )  # fmt: skip
    if not text.isprintable() and any(unicodedata.category(c) in {"Cc", "Cs"} for c in text):
        return Restored(
            "".join("\ufffd" if unicodedata.category(c) in {"Cc", "Cs"} else c for c in text),
            code="CELL-CONTROL",
            doubt="the text contains a control character that cannot be shown",
            way_out="type the cell anew",
        )
    if text.startswith("#") and _ERROR.match(text):
        return Restored(
            text, code="CELL-ERROR", doubt=f"{text} is a spreadsheet's error, not a value",
            way_out="write the value itself",
        )  # fmt: skip
    how = ""
    if text.startswith("'") and heading not in FREE_TEXT:
        text, how = text[1:].strip(), "leading apostrophe left out"
    return _mangled(heading, text, month_first=month_first) or Restored(text, how)


def _mangled(heading: str, text: str, *, month_first: bool) -> Restored | None:
    """Return what is known of a text that looks like a spreadsheet's own doing, else None."""
    if heading in NUMBER_COLUMNS and (pair := _day_and_month(text)):
        return date_for_fraction(text, as_fraction(*pair, month_first=month_first))
    if heading == "dilution" and (clock := _CLOCK.match(text)):
        hour, minute, second, half = clock.groups()
        if int(minute) >= 60:
            return None  # no clock shows that; it stands as it was typed
        if not half and int(hour) == 1 and int(second or 0) == 0:
            ratio = f"1:{int(minute)}"
            return Restored(ratio, "" if ratio == text else f"ratio shown as the time {text}")
        late = 12 if (half or "").lower().startswith("p") and int(hour) < 12 else 0
        return ratio_from_clock((int(hour) + late) * 60 + int(minute), text)
    if heading in SPELT_COLUMNS and _SHORTENED.match(text):
        return shortened(text)
    return None


def shortened(shown: str) -> Restored:
    """Return the doubt about a number that a spreadsheet made of a lot or an id."""
    return Restored(
        shown, code="CELL-MANGLED",
        doubt=f"holds {shown}, a number that the spreadsheet made of what was typed",
        way_out="format the column as text and write it anew, with all its signs",
    )  # fmt: skip


def _day_and_month(text: str) -> tuple[int, int] | None:
    if found := _DAY_MONTH.match(text):
        day, name = int(found[1]), found[2].lower()
    elif found := _MONTH_DAY.match(text):
        day, name = int(found[2]), found[1].lower()
    else:
        return None
    return (day, _MONTHS.index(name) + 1) if name in _MONTHS else None


def as_fraction(day: int, month: int, *, month_first: bool) -> str:
    """Return a day and a month as the fraction that was typed.

    ``1/2`` becomes 2 January where the month is written first, 1 February elsewhere.
    """
    return f"{month}/{day}" if month_first else f"{day}/{month}"


def date_for_fraction(shown: str, guess: str) -> Restored:
    """Return the doubt about a date where a number belongs: it was probably a fraction."""
    return Restored(
        shown, code="CELL-MANGLED",
        doubt=f"holds the date {shown}; it was probably the fraction {guess},"
        " which a spreadsheet turned into a date",
        way_out=f"format the cell as text and write for example {guess} oz",
    )  # fmt: skip


def ratio_from_clock(minutes: int, shown: str) -> Restored:
    """Return the ratio that was typed where a spreadsheet shows a time of day.

    A spreadsheet reads ``a:b`` as a hours and b minutes and keeps 60 a + b minutes only. A ratio
    is written with 1 in front, so 1:00 to 1:59 can only have been ``1:b``. From two hours on
    ``1:100`` and ``2:40`` are the same number, and nobody can tell which was typed.
    """
    if 60 < minutes < 120:
        return Restored(f"1:{minutes - 60}", f"ratio that became the time {shown}")
    if 120 <= minutes < 24 * 60:
        other = f"{minutes // 60}:{minutes % 60:02}"
        doubt = (
            f"holds the time {shown}; a spreadsheet makes it of 1:{minutes - 60}"
            f" as well as of {other}"
        )
    else:
        doubt = f"holds the time {shown} and not a ratio"
    return Restored(
        shown, code="CELL-MANGLED", doubt=doubt,
        way_out="format the cell as text and write the ratio anew, for example 1:100",
    )  # fmt: skip


def restore_zip(text: str, state: str) -> Restored:
    """Return a ZIP code with the zeros that a spreadsheet dropped, where the state proves them.

    Three and four digits alone are looked at; anything else is returned as it is.
    """
    if not (text.isascii() and text.isdigit() and len(text) in {3, 4}):
        return Restored(text)
    whole = text.zfill(5)
    if whole[:2] in FIRST_DIGITS_OF_ZIP.get(state.strip().upper(), ()):
        return Restored(whole, f"leading zero put back before {text}")
    where = f" and {state} does not begin with {whole[:2]}" if state else " and no state is given"
    return Restored(
        text, code="CELL-ZIP", doubt=f"{text} has {len(text)} digits{where}",
        way_out="format the column as text and write all five digits",
    )  # fmt: skip
