"""How bounds and denominators of a limit are written: ``100 ft``, ``10 voids``, ``0.1 % ai``."""

from __future__ import annotations

import re
from fractions import Fraction

from ledger.rulebook import grammar
from ledger.rulebook.part import Part
from ledger.values.amount import Basis, Quantity

BY = re.compile(r"\s+(?:by|x)\s+", re.IGNORECASE)
_SHARE = re.compile(r"(.*?)\s*(%|ppm)\s*(.*)")
_COUNTED = re.compile(r"([\d.,/ ]+?)\s*([A-Za-z]+)")
_SINGULAR = {word.removesuffix("s"): word for word in grammar.PER_COUNTS}
_DEEP = {"deep": "depth", "wide": "width", "high": "height"}
_ROLLING = re.compile(r"\d+ (?:days?|months?|years?)")
_MONTH_DAY = re.compile(r"(\d\d)-(\d\d)")
_LONGEST_MONTHS = {2: 29, 4: 30, 6: 30, 9: 30, 11: 30}


def denominator(
    said: Part, counts: tuple[str, ...], dimensions: tuple[str, ...]
) -> tuple[Quantity | None, str]:
    """Return the denominator and what it measures: 100 ft and length, 10 each and voids."""
    text = said.text("per")
    if not text:
        return None, ""
    counted = _COUNTED.fullmatch(text)
    word = counted[2].lower() if counted else ""
    measure = _SINGULAR.get(word, word)
    if counted and measure in counts:
        value = said.exact("per", counted[1])
        quantity = Quantity(value, "each") if value is not None else None
    elif not dimensions:
        way_out = f'write "1" and one of: {", ".join(counts)}'
        said.fault("per", "RULE-UNIT", f'"{text}" cannot be counted here', way_out)
        return None, ""
    else:
        quantity = said.measured("per", text, *dimensions)
        measure = said.page.units.dimension(quantity.unit) if quantity else ""
    if quantity is not None and quantity.value <= 0:
        said.fault("per", "RULE-NUMBER", "per nothing", "write a number above zero")
        return None, ""
    return quantity, measure


def second_denominator(part: Part) -> tuple[Quantity | None, str]:
    """Return ``and_per = "1 ft deep"`` as a length and what it measures."""
    text = part.text("and_per")
    if not text:
        return None, ""
    length, _, word = text.rpartition(" ")
    if word not in _DEEP:
        way_out = 'write it as "1 ft deep", "1 ft wide" or "1 ft high"'
        part.fault("and_per", "RULE-UNIT", f'"{text}" does not say which length it is', way_out)
        return None, ""
    quantity = part.measured("and_per", length, "length")
    if quantity is not None and quantity.value <= 0:
        part.fault("and_per", "RULE-NUMBER", "per nothing", "write a number above zero")
        return None, ""
    return quantity, _DEEP[word]


def each(said: Part, key: str) -> Quantity | None:
    """Return a whole number of things."""
    value = said.whole(key)
    return None if value is None else Quantity(Fraction(value), "each")


def share_of(said: Part, key: str, text: str) -> tuple[Quantity | None, Basis]:
    """Return a share of a mix and of what it is: ``0.1 % ai``, ``500 ppm ai``, ``1 % product``."""
    split = _SHARE.fullmatch(text)
    of = split[3] if split else ""
    if split is None or of not in {"ai", "product"}:
        what = f'"{text}" does not say of what'
        said.fault(key, "RULE-UNIT", what, 'write "0.1 % ai", "500 ppm ai" or "1 % product"')
        return None, Basis.INGREDIENT
    value = said.exact(key, split[1])
    quantity = None if value is None else Quantity(value, split[2])
    return quantity, Basis.INGREDIENT if of == "ai" else Basis.PRODUCT


def breaks_below(part: Part) -> bool:
    """Whether what lies below ``least`` is a breach; without a word it is advice."""
    return part.phrase("below", grammar.BELOW) == "breach"


def window(
    part: Part, phrases: tuple[str, ...]
) -> tuple[str, Quantity | None, tuple[int, int, int, int] | None]:
    """Return the window of ``within``: its name, its length if it rolls, its days if a season."""
    text = part.text("within")
    if _ROLLING.fullmatch(text):
        length = part.quantity("within", "time")
        if length is not None and length.value <= 0:
            part.fault("within", "RULE-NUMBER", "a window of nothing", "write a number above zero")
        _no_season(part)
        return "rolling", length, None
    if text and text not in phrases:
        way_out = f'write "365 days" or one of: {", ".join(phrases)}'
        part.fault("within", "RULE-PHRASE", f'"{text}" is not known here', way_out)
    if text == "season":
        return text, None, _season(part)
    _no_season(part)
    return text, None, None


def _no_season(part: Part) -> None:
    for key in ("season_from", "season_to"):
        if part.has(key):
            part.fault(key, "RULE-TWICE", "the window is no season", 'write within = "season"')


def _season(part: Part) -> tuple[int, int, int, int] | None:
    found: list[int] = []
    for key in ("season_from", "season_to"):
        text = part.text(key)
        split = _MONTH_DAY.fullmatch(text)
        month, day = (int(split[1]), int(split[2])) if split else (0, 0)
        if not part.has(key):
            part.fault("", "RULE-MISSING-KEY", f'the key "{key}" is missing', 'write "03-01"')
        elif not 1 <= month <= 12 or not 1 <= day <= _LONGEST_MONTHS.get(month, 31):
            way_out = 'write month and day, as "03-01"'
            part.fault(key, "RULE-DATES", f'"{text}" is no day of a year', way_out)
        found += [month, day]
    start_month, start_day, end_month, end_day = found
    return start_month, start_day, end_month, end_day
