"""The weather of a line. It is no core fact: what cannot be read is said and left unknown."""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache

from ledger.normalise.text import cell, remark
from ledger.numbers import read_quantity
from ledger.units import Units
from ledger.values.amount import Quantity
from ledger.values.draft import Draft
from ledger.values.entry import Weather
from ledger.values.finding import Finding
from ledger.values.lexicon import fold

_POINTS = (
    "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE",
    "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW",
)  # fmt: skip
_NAMES = {"north": "N", "south": "S", "east": "E", "west": "W"}
_CALM = frozenset({"calm", "none", "no wind", "still"})
_RAIN = {
    **dict.fromkeys(("no", "n", "none", "dry", "no rain", "0"), False),
    **dict.fromkeys(("yes", "y", "rain", "raining", "light rain", "drizzle", "showers"), True),
}


def read_weather(draft: Draft, units: Units) -> tuple[Weather, tuple[Finding, ...]]:
    """Return what a line says of temperature, wind and rain, and a remark for what is unclear."""
    remarks: list[Finding] = []

    def unclear(column: str, text: str, way_out: str) -> None:
        said = f'"{text}" is not understood and stays unknown'
        remarks.append(remark("WEATHER-UNREADABLE", column, said, way_out))

    texts = {name: cell(draft, name) for name in ("temperature", "wind", "rain")}
    temperature = _temperature(draft, texts["temperature"], units)
    if texts["temperature"] and temperature is None:
        unclear("temperature", texts["temperature"], "write it as 28 F")
    wind, wind_from = _wind(draft, texts["wind"], units)
    if texts["wind"] and wind is None:
        unclear("wind", texts["wind"], "write it as 6 mph NW, or calm")
    rain = _RAIN.get(fold(texts["rain"]))
    if texts["rain"] and rain is None:
        unclear("rain", texts["rain"], "write yes or no")
    return Weather(temperature, wind, wind_from, rain), tuple(remarks)


def _temperature(draft: Draft, text: str, units: Units) -> Quantity | None:
    """Return a temperature; alone of all quantities it may lie below zero."""
    plain = text.replace("\u00b0", " ").replace("degrees", " ")
    plain = " ".join(plain.split())
    return read_quantity(plain, units, draft.at("temperature"), "temperature").value


def _wind(draft: Draft, text: str, units: Units) -> tuple[Quantity | None, str]:
    """Return the speed of the wind and where it blows from (a compass point, or empty)."""
    if fold(text) in _CALM:
        return Quantity(Fraction(0), "mph"), ""
    speed, direction = _wind_parts(text)
    found = read_quantity(speed, units, draft.at("wind"), "speed")
    return found.value, direction if found.value is not None else ""


@lru_cache(maxsize=4096)
def _wind_parts(text: str) -> tuple[str, str]:
    """Return the text of the speed and the compass point written before or after it."""
    plain = fold(text)
    first, _, rest = plain.partition(" ")
    if _point(first):  # "NW 6 mph"
        plain = f"{rest} {first}"
    words = plain.replace(",", " ").split()
    direction = ""
    for count in (2, 1):
        tail = "".join(words[-count:])
        if len(words) > count and _point(tail):
            direction, words = _point(tail), words[:-count]
            break
    while words and words[-1] in {"from", "the", "out", "of"}:
        words.pop()
    return " ".join(words), direction


def _point(text: str) -> str:
    """Return the compass point a word names ("nw", "northwest", "north-west"), or empty."""
    short = text.replace("-", "").replace(".", "")
    for name, letter in _NAMES.items():
        short = short.replace(name, letter.casefold())
    return short.upper() if short.upper() in _POINTS else ""
