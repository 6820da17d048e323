"""Limits of labels, laws and practice: ``[[limit]]`` -> :class:`~ledger.rulebook.model.Limit`."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

from ledger.rulebook import grammar
from ledger.rulebook.conditions import read_condition
from ledger.rulebook.grammar import Keys
from ledger.rulebook.model import Limit, Read, Shape
from ledger.rulebook.part import Part
from ledger.values.amount import Basis, Quantity
from ledger.values.dated import Span

_PER_CENT = re.compile(r"(.*?)\s*%\s*(.*)")
_COUNTED = re.compile(r"([\d.,/ ]+?)\s*([A-Za-z]+)")
_BY = re.compile(r"\s+(?:by|x)\s+", re.IGNORECASE)
_SINGULAR = {word.removesuffix("s"): word for word in grammar.PER_COUNTS}
_MEASURE_OF = {"length": "length", "area": "area", "volume": "volume"}


def read_limits(root: Part) -> tuple[Limit, ...]:
    """Return every limit of a file; a dated one gives a limit for each stretch of days."""
    found: list[Limit] = []
    for part in root.parts("limit", _keys):
        found.extend(_limit(part))
    return tuple(found)


def _shape_of(table: Mapping[str, Any]) -> Shape | None:
    said = table.get("shape")
    return Shape(said) if isinstance(said, str) and said in set(Shape) else None


def _keys(table: Mapping[str, Any]) -> Keys:
    """Return the keys of a limit, by its shape; all keys where the shape is not readable."""
    shape = _shape_of(table)
    if shape is None:
        every = (key for keys in grammar.SHAPES.values() for key in keys.allowed)
        return Keys(grammar.LIMIT_HEAD, (*grammar.LIMIT_COMMON, *every))
    own = grammar.SHAPES[shape]
    other = (*own.other, *grammar.LIMIT_COMMON[len(grammar.LIMIT_HEAD) :])
    if "value" not in table:
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
    shape_text = part.phrase("shape", tuple(Shape))
    source = part.source()
    blank = Limit(name, Shape.RATE, part.ref(source), says, source.read if source else Read.MEMORY)
    shape = _shape_of(part.table)
    if not shape_text or shape is None:
        return ()
    base = replace(
        blank,
        shape=shape,
        when=read_condition(part),
        mandatory=part.flag("mandatory", default=True),
        inclusive=part.flag("inclusive", default=shape is not Shape.ENCLOSURE),
        span=part.span(),
    )
    read = _READERS[shape]
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
        found.append(_bounded(value, _READERS[shape](part, value, said)))
    return tuple(found)


_BOUND_SHAPES = {Shape.RATE, Shape.STRENGTH, Shape.GEOMETRY}


def _bounded(part: Part, limit: Limit) -> Limit:
    """Refuse a limit without a bound, and one whose least lies above its most."""
    measured = limit.shape is Shape.WEATHER and limit.measure in {"wind", "temperature"}
    bound = part.has("most") or part.has("least")
    if (limit.shape in _BOUND_SHAPES or measured) and not bound:
        part.fault("", "RULE-BOUND", "a limit without a bound", "write most, least or both")
    if limit.shape is Shape.ALLOWED and not any(map(part.has, grammar.ALLOWED_LISTS)):
        way_out = f"write one of: {', '.join(grammar.ALLOWED_LISTS)}"
        part.fault("", "RULE-BOUND", "nothing is said to be allowed", way_out)
    most, least = limit.most, limit.least
    if most is not None and least is not None:
        units = part.page.units
        if not units.comparable(most.unit, least.unit):
            way_out = "write both in units of the same kind"
            part.fault("least", "RULE-BOUND", "most and least cannot be compared", way_out)
        elif units.convert(least, most.unit).value > most.value:
            part.fault("least", "RULE-BOUND", "least lies above most", "correct one of the two")
    return limit


def _rate(part: Part, said: Part, base: Limit) -> Limit:
    basis = Basis(part.phrase("basis", tuple(Basis), Basis.PRODUCT) or Basis.PRODUCT)
    dimensions = ("mass",) if basis is Basis.INGREDIENT else ("mass", "volume")
    per, per_what = _per(said, grammar.PER_COUNTS, ("length", "area", "volume"))
    return replace(
        base,
        basis=basis,
        most=said.quantity("most", *dimensions),
        least=said.quantity("least", *dimensions),
        per=per,
        per_what=per_what,
    )


def _per(
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
        measure = _MEASURE_OF[said.page.units.dimension(quantity.unit)] if quantity else ""
    if quantity is not None and quantity.value <= 0:
        said.fault("per", "RULE-NUMBER", "per nothing", "write a number above zero")
        return None, ""
    return quantity, measure


def _each(said: Part, key: str) -> Quantity | None:
    value = said.whole(key)
    return None if value is None else Quantity(Fraction(value), "each")


def _count(part: Part, said: Part, base: Limit) -> Limit:
    per, per_what = _per(said, grammar.COUNT_PER, ())
    measure = part.phrase("measure", grammar.COUNT_MEASURES)
    return replace(base, measure=measure, most=_each(said, "most"), per=per, per_what=per_what)


def _strength(_part: Part, said: Part, base: Limit) -> Limit:
    texts = {key: said.text(key) for key in ("most", "least") if said.has(key)}
    if not any("%" in text for text in texts.values()):
        if not said.has("per"):
            way_out = 'write per = "1 gal", or most = "0.1 % ai"'
            said.fault("", "RULE-MISSING-KEY", 'the key "per" is missing', way_out)
        most, least = (
            said.quantity("most", "mass", "volume"),
            said.quantity("least", "mass", "volume"),
        )
        return replace(
            base, most=most, least=least, per=said.quantity("per", "volume"), per_what="mix"
        )
    if said.has("per"):
        way_out = "take per out; a per cent is of the mix"
        said.fault("per", "RULE-TWICE", "a per cent has no denominator", way_out)
    found = {key: _share(said, key, text) for key, text in texts.items()}
    of = {basis for _, basis in found.values()}
    if len(of) > 1:
        what = "most and least are per cents of different things"
        said.fault("least", "RULE-BOUND", what, "write both of ai, or both of product")
    most, least = (found.get(key, (None, Basis.INGREDIENT))[0] for key in ("most", "least"))
    return replace(base, most=most, least=least, basis=of.pop())


def _share(said: Part, key: str, text: str) -> tuple[Quantity | None, Basis]:
    """Return a per cent and of what it is: ``0.1 % ai`` or ``1 % product``."""
    split = _PER_CENT.fullmatch(text)
    of = split[2] if split else ""
    if split is None or of not in {"ai", "product"}:
        what = f'"{text}" does not say of what'
        said.fault(key, "RULE-UNIT", what, 'write "0.1 % ai" or "1 % product"')
        return None, Basis.INGREDIENT
    value = said.exact(key, split[1])
    quantity = None if value is None else Quantity(value, "%")
    return quantity, Basis.INGREDIENT if of == "ai" else Basis.PRODUCT


def _enclosure(_part: Part, said: Part, base: Limit) -> Limit:
    text = said.text("more_than")
    sides = _BY.split(text)
    if text and len(sides) != 2:
        said.fault("more_than", "RULE-NUMBER", f'"{text}" is not a size', 'write "5 ft by 5 ft"')
        return base
    one, two = (
        (said.measured("more_than", side, "length") for side in sides) if text else (None,) * 2
    )
    return replace(base, measure="room length", least=one, per=two, per_what="room width")


def _geometry(part: Part, said: Part, base: Limit) -> Limit:
    return replace(
        base,
        measure=part.phrase("measure", grammar.GEOMETRY_MEASURES),
        most=said.quantity("most", "length"),
        least=said.quantity("least", "length"),
    )


def _interval(part: Part, said: Part, base: Limit) -> Limit:
    same = part.phrase("same", grammar.SAME)
    return replace(base, least=said.quantity("least", "time"), same=same)


def _visits(part: Part, said: Part, base: Limit) -> Limit:
    return replace(
        base,
        most=_each(said, "most"),
        within=part.phrase("within", grammar.WITHIN),
        same=part.phrase("same", ("address",)),
        measure=part.phrase("counts", grammar.COUNTS),
    )


def _weather(part: Part, said: Part, base: Limit) -> Limit:
    measure = part.phrase("measure", grammar.WEATHER_MEASURES)
    stray = ("most", "least") if measure == "rain" else ("expects",)
    for key in stray:
        if measure and said.has(key):
            what = f'"{key}" says nothing about {measure}'
            said.fault(key, "RULE-BOUND", what, "take it out")
    if measure == "rain":
        if not part.has("expects"):
            part.fault("", "RULE-BOUND", "nothing is said of rain", "write expects = false")
        return replace(base, measure=measure, expects=part.flag("expects", default=False))
    dimension = "speed" if measure == "wind" else "temperature"
    most, least = said.quantity("most", dimension), said.quantity("least", dimension)
    return replace(base, measure=measure, most=most, least=least)


def _buffer(part: Part, said: Part, base: Limit) -> Limit:
    trait = part.word("from_trait", "trait")
    return replace(base, words=(trait,), least=said.quantity("least", "length"))


def _keep_off(part: Part, _said: Part, base: Limit) -> Limit:
    return replace(base, words=part.words("traits", "trait"))


def _prepare(part: Part, _said: Part, base: Limit) -> Limit:
    return replace(base, words=part.words("done", "preparation"))


def _allowed(part: Part, _said: Part, base: Limit) -> Limit:
    lists = [(key, part.words(key, key)) for key in grammar.ALLOWED_LISTS if part.has(key)]
    return replace(base, allowed=tuple(lists))


def _supervision(part: Part, _said: Part, base: Limit) -> Limit:
    return replace(base, words=(part.phrase("certified", grammar.CERTIFIED),))


def _prohibited(part: Part, _said: Part, base: Limit) -> Limit:
    words = part.words("ingredients", "ingredient")
    return replace(base, words=words, exceptions=part.text("exceptions"))


def _ask(part: Part, _said: Part, base: Limit) -> Limit:
    subject = part.word("answers", "reason")
    return replace(base, words=(subject,), blocks=part.flag("blocks", default=False))


_READERS: Mapping[Shape, Callable[[Part, Part, Limit], Limit]] = {
    Shape.RATE: _rate,
    Shape.COUNT: _count,
    Shape.STRENGTH: _strength,
    Shape.ENCLOSURE: _enclosure,
    Shape.GEOMETRY: _geometry,
    Shape.INTERVAL: _interval,
    Shape.VISITS: _visits,
    Shape.WEATHER: _weather,
    Shape.BUFFER: _buffer,
    Shape.KEEP_OFF: _keep_off,
    Shape.PREPARE: _prepare,
    Shape.ALLOWED: _allowed,
    Shape.SUPERVISION: _supervision,
    Shape.PROHIBITED: _prohibited,
    Shape.ASK: _ask,
}
