"""Limits on when, where, by whom and how: the keys of a shape become a limit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from ledger.rulebook import grammar
from ledger.rulebook.bounds import each, window
from ledger.rulebook.model import Limit, Shape
from ledger.rulebook.part import Part
from ledger.values.dated import Span

_CLOSED = {"nozzle": grammar.NOZZLES, "pressure": grammar.PRESSURES}


def _interval(part: Part, said: Part, base: Limit) -> Limit:
    return replace(
        base,
        least=said.quantity("least", "time"),
        most=said.quantity("most", "time"),
        same=part.phrase("same", grammar.SAME),
        across=part.phrase("across", grammar.ACROSS, "product") or "product",
        counting=part.phrase("counting", grammar.COUNTING, "date plus") or "date plus",
    )


def _visits(part: Part, said: Part, base: Limit) -> Limit:
    within, rolling, season = window(part, grammar.WITHIN)
    return replace(
        base,
        most=each(said, "most"),
        within=within,
        rolling=rolling,
        season=season,
        same=part.phrase("same", grammar.SAME),
        measure=part.phrase("counts", grammar.COUNTS),
        across=part.phrase("across", grammar.ACROSS, "product") or "product",
    )


_WEATHER = {"wind": "speed", "temperature": "temperature", "surface temperature": "temperature"}


def _weather(part: Part, said: Part, base: Limit) -> Limit:
    measure = part.phrase("measure", grammar.WEATHER_MEASURES)
    stray = ("most", "least") if measure == "rain" else ("expects",)
    for key in stray:
        if measure and said.has(key):
            what = f'"{key}" says nothing about {measure}'
            said.fault(key, "RULE-BOUND", what, "take it out")
    if measure == "rain":
        if not part.means("expects"):
            part.fault("", "RULE-BOUND", "nothing is said of rain", "write expects = false")
        return replace(base, measure=measure, expects=part.flag("expects", default=False))
    dimension = _WEATHER.get(measure, "time" if measure else "temperature")
    most, least = said.quantity("most", dimension), said.quantity("least", dimension)
    return replace(base, measure=measure, most=most, least=least)


def _state(part: Part, _said: Part, base: Limit) -> Limit:
    good, bad = part.words("good", "preparation"), part.words("bad", "preparation")
    for word in set(good) & set(bad):
        part.fault("bad", "RULE-TWICE", f'"{word}" cannot be both good and bad', "keep one")
    return replace(base, words=good, allowed=(("bad", bad),))


def _buffer(part: Part, said: Part, base: Limit) -> Limit:
    trait = part.word("from_trait", "trait")
    return replace(base, words=(trait,), least=said.quantity("least", "length"))


def _keep_off(part: Part, _said: Part, base: Limit) -> Limit:
    return replace(base, words=part.words("traits", "trait"))


def _prepare(part: Part, _said: Part, base: Limit) -> Limit:
    return replace(
        base,
        words=part.words("done", "preparation"),
        step=part.phrase("step", grammar.STEPS),
        who=part.phrase("who", grammar.WHO),
        lasting=part.quantity("lasting", "time"),
    )


def _reentry(part: Part, _said: Part, base: Limit) -> Limit:
    words = part.words("conditions", "preparation")
    return replace(base, words=words, lasting=part.quantity("lasting", "time"))


def _protection(part: Part, _said: Part, base: Limit) -> Limit:
    items = part.words("items", "preparation")
    return replace(base, measure=part.phrase("task", grammar.TASKS), words=items)


def _lists(part: Part) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return the lists of an ``allowed`` or a ``prohibited`` shape, by heading."""
    return tuple(
        (key, part.phrases(key, _CLOSED[key]) if key in _CLOSED else part.words(key, key))
        for key in grammar.ALLOWED_LISTS
        if part.has(key)
    )


def _allowed(part: Part, _said: Part, base: Limit) -> Limit:
    return replace(base, allowed=_lists(part))


def _supervision(part: Part, _said: Part, base: Limit) -> Limit:
    return replace(
        base,
        words=(part.phrase("certified", grammar.CERTIFIED),),
        allowed=(("category", part.words("category", "work")),) if part.has("category") else (),
        step="during" if part.flag("on_site", default=False) else "",
    )


def _dates(part: Part, _said: Part, base: Limit) -> Limit:
    first, last = part.day("first_day"), part.day("last_day")
    if first and last and first > last:
        what = f"the last day, {last}, lies before the first, {first}"
        part.fault("last_day", "RULE-DATES", what, "correct one of the two days")
    return replace(base, days=Span(first, last), lots=part.texts("lots"))


def _row_keys(_table: Mapping[str, Any]) -> grammar.Keys:
    return grammar.TABLES["row"]


def _food_areas(part: Part, _said: Part, base: Limit) -> Limit:
    rows: list[tuple[str, str, tuple[str, ...]]] = []
    for row in part.parts("row", _row_keys):
        area = row.phrase("area", grammar.FOOD_KINDS)
        operation = row.phrase("operation", grammar.OPERATION)
        if (area, operation) in [known[:2] for known in rows]:
            what = f"{area}, {operation} stands twice"
            row.fault("", "RULE-DUPLICATE", what, "write its methods in one row")
        rows.append((area, operation, row.words("method", "method")))
    return replace(base, rows=tuple(rows))


def _combination(part: Part, said: Part, base: Limit) -> Limit:
    words = part.words("never_with", "ingredient")
    return replace(base, measure="products", most=each(said, "most"), words=words)


def _prohibited(part: Part, _said: Part, base: Limit) -> Limit:
    traits = (("traits", part.words("traits", "trait")),) if part.has("traits") else ()
    return replace(
        base,
        words=part.words("ingredients", "ingredient"),
        allowed=(*_lists(part), *traits),
        exceptions=part.text("exceptions"),
    )


def _ask(part: Part, _said: Part, base: Limit) -> Limit:
    subject = part.word("answers", "reason")
    return replace(base, words=(subject,), blocks=part.flag("blocks", default=False))


OTHER_READERS: Mapping[Shape, Callable[[Part, Part, Limit], Limit]] = {
    Shape.INTERVAL: _interval,
    Shape.VISITS: _visits,
    Shape.WEATHER: _weather,
    Shape.STATE: _state,
    Shape.BUFFER: _buffer,
    Shape.KEEP_OFF: _keep_off,
    Shape.PREPARE: _prepare,
    Shape.REENTRY: _reentry,
    Shape.PROTECTION: _protection,
    Shape.ALLOWED: _allowed,
    Shape.SUPERVISION: _supervision,
    Shape.DATES: _dates,
    Shape.FOOD_AREAS: _food_areas,
    Shape.COMBINATION: _combination,
    Shape.PROHIBITED: _prohibited,
    Shape.ASK: _ask,
}
"""How every other shape is read."""
