"""Limits of labels, laws and practice: ``[[limit]]`` -> :class:`~ledger.rulebook.model.Limit`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from typing import Any

from ledger.rulebook import grammar
from ledger.rulebook.conditions import read_condition
from ledger.rulebook.grammar import Keys
from ledger.rulebook.model import Limit, Read, Shape
from ledger.rulebook.part import Part
from ledger.rulebook.shapes import OTHER_READERS
from ledger.rulebook.shapes_of_dose import DOSE_READERS
from ledger.values.amount import Quantity
from ledger.values.dated import Span


def read_limits(root: Part) -> tuple[Limit, ...]:
    """Return every limit of a file; a dated one gives a limit for each stretch of days."""
    found: list[Limit] = []
    for part in root.parts("limit", _keys):
        found.extend(_limit(part))
    return tuple(found)


_SHAPES = {str(shape): shape for shape in Shape}


def _shape_of(table: Mapping[str, Any]) -> Shape | None:
    said = table.get("shape")
    return _SHAPES.get(said) if isinstance(said, str) else None


def _keys(table: Mapping[str, Any]) -> Keys:
    """Return the keys of a limit, by its shape; all keys where the shape is not readable."""
    return _keys_of(_shape_of(table), dated="value" in table)


@cache
def _keys_of(shape: Shape | None, *, dated: bool) -> Keys:
    if shape is None:
        every = (key for keys in grammar.SHAPES.values() for key in keys.allowed)
        return Keys(grammar.LIMIT_HEAD, (*grammar.LIMIT_COMMON, *every))
    own = grammar.SHAPES[shape]
    other = (*own.other, *grammar.LIMIT_COMMON[len(grammar.LIMIT_HEAD) :])
    if not dated:
        return Keys((*grammar.LIMIT_HEAD, *own.needed), other)
    needed = [key for key in own.needed if key not in grammar.DATED_KEYS]
    head = [key for key in grammar.LIMIT_HEAD if key != "source"]
    return Keys((*head, *needed), (*other, "source", *own.needed))


def _value_keys(shape: Shape) -> Callable[[Mapping[str, Any]], Keys]:
    """Return the keys of a dated value of that shape."""
    own = grammar.SHAPES[shape]
    bounds = [key for key in own.needed if key in grammar.DATED_KEYS]
    other = [key for key in own.other if key in grammar.DATED_KEYS]

    def keys(table: Mapping[str, Any]) -> Keys:
        if table.get("ended") is True:
            return Keys(("from", "source", "ended"), ("planned",))
        return Keys(("from", "source", *bounds), (*other, "ended", "planned"))

    return keys


def _limit(part: Part) -> tuple[Limit, ...]:
    """Return the limit of one table: one, or one for each dated value."""
    name, says = part.name(findable=True), part.text("says")
    shape = _SHAPES.get(part.phrase("shape", tuple(_SHAPES)))
    source = part.source()
    if shape is None:
        return ()
    base = Limit(
        name,
        shape,
        part.ref(source),
        says,
        source.read if source else Read.MEMORY,
        when=read_condition(part),
        mandatory=part.flag("mandatory", default=True),
        inclusive=part.flag("inclusive", default=shape is not Shape.ENCLOSURE),
        span=part.span(),
    )
    read = READERS[shape]
    if not part.has("value"):
        return (_bounded(part, read(part, part, base)),)
    return _dated(part, base, shape)


def _dated(part: Part, base: Limit, shape: Shape) -> tuple[Limit, ...]:
    """Return a limit for each ``[[limit.value]]``, ending the day before the next one."""
    for key in (*grammar.DATED_KEYS, "from", "until"):
        if part.has(key):
            what = f'"{key}" stands beside dated values'
            part.fault(key, "RULE-TWICE", what, "say it in the [[limit.value]] tables only")
    starts: list[date] = []
    found: list[Limit] = []
    for value in part.parts("value", _value_keys(shape)):
        start = value.day("from")
        source = value.source()
        value.planned(start)
        if start is None:
            continue
        if starts and start <= starts[-1]:
            what = f"{start} does not lie after {starts[-1]}"
            value.fault("from", "RULE-DATES", what, "put the values in the order of their days")
            continue
        if found and found[-1].span.end is None:
            found[-1] = replace(found[-1], span=Span(starts[-1], start - timedelta(days=1)))
        starts.append(start)
        if value.flag("ended", default=False):
            continue
        said = replace(base, span=Span(start), ref=value.ref(source))
        if source is not None:
            said = replace(said, read=source.read)
        found.append(_bounded(value, READERS[shape](part, value, said)))
    return tuple(found)


READERS = {**DOSE_READERS, **OTHER_READERS}
"""How the keys of each shape become a limit."""

_BOUND_SHAPES = {
    Shape.RATE, Shape.COUNT, Shape.STRENGTH, Shape.GEOMETRY, Shape.SPACING, Shape.INTERVAL,
}  # fmt: skip
_LIST_SHAPES = {
    Shape.ALLOWED: (grammar.ALLOWED_LISTS, "allowed"),
    Shape.PROHIBITED: (("ingredients", *grammar.ALLOWED_LISTS, "traits"), "prohibited"),
    Shape.COMBINATION: (("most", "never_with"), "forbidden"),
    Shape.REENTRY: (("conditions", "lasting"), "asked for"),
    Shape.DATES: (("first_day", "last_day"), "dated"),
}


def _bounded(part: Part, limit: Limit) -> Limit:
    """Refuse a limit without a bound, and one whose least lies above its most."""
    measured = limit.shape is Shape.WEATHER and limit.measure not in {"", "rain"}
    bound = part.means("most") or part.means("least")
    if (limit.shape in _BOUND_SHAPES or measured) and not bound:
        part.fault("", "RULE-BOUND", "a limit without a bound", "write most, least or both")
    keys, said = _LIST_SHAPES.get(limit.shape, ((), ""))
    if keys and not any(map(part.means, keys)):
        way_out = f"write one of: {', '.join(keys)}"
        part.fault("", "RULE-BOUND", f"nothing is said to be {said}", way_out)
    most, least = limit.most, limit.least
    if most is not None and least is not None:
        _in_order(part, most, least)
    return limit


_CALENDAR = {"month": 30, "year": 365}
"""Months and years have no fixed length; roughly is enough to see which of two is longer."""


def _in_order(part: Part, most: Quantity, least: Quantity) -> None:
    """Refuse two bounds that cannot be compared, or stand the wrong way round."""
    units = part.page.units
    one, two = (
        Quantity(q.value * _CALENDAR[q.unit], "day") if q.unit in _CALENDAR else q
        for q in (most, least)
    )
    if not units.comparable(one.unit, two.unit):
        way_out = "write both in units of the same kind"
        part.fault("least", "RULE-BOUND", "most and least cannot be compared", way_out)
    elif units.convert(two, one.unit).value > one.value:
        part.fault("least", "RULE-BOUND", "least lies above most", "correct one of the two")
