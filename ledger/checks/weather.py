"""Wind, temperature and rain during the work."""

from __future__ import annotations

from collections.abc import Iterator

from ledger.checks.case import Case
from ledger.checks.done import done_of, measured
from ledger.checks.say import Tools, finding, over, said, under
from ledger.rulebook.grammar import PREPARED_MEASURES
from ledger.rulebook.model import Limit
from ledger.values.amount import Quantity
from ledger.values.finding import Finding, Kind


def check_weather(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge one measure of the weather; what the line does not say cannot be told."""
    if limit.measure == "rain":
        yield from _rain(case, limit, tools)
        return
    measure = _measure(case, limit, tools)
    for bound, broken in ((limit.most, over), (limit.least, under)):
        if bound is None:
            continue
        value = None if measure is None else tools.into(measure, bound.unit)
        if measure is None or value is None:
            yield _unsaid(limit, tools)
            return
        if broken(value, bound.value, limit.inclusive):
            least = "" if bound is limit.most else "at least "
            text = f"{limit.measure} {said(measure)}, {tools.authority} allows {least}{said(bound)}"
            yield finding(limit, tools, Kind.BREACH, text, _column(limit))


def _measure(case: Case, limit: Limit, tools: Tools) -> Quantity | None:
    """Return what the line says of a measure; the surface and the hours without rain stand behind
    a word of ``prepared``, and the least favourable of two answers counts."""
    weather = case.use.weather
    if limit.measure in {"wind", "temperature"}:
        return weather.wind if limit.measure == "wind" else weather.temperature
    bound = limit.least or limit.most
    if bound is None:
        return None
    found = list(measured(done_of(case, tools), limit.measure, bound.unit, tools))
    if not found:
        return None
    worst = min if limit.least is not None else max
    return worst(found, key=lambda quantity: tools.into(quantity, bound.unit) or 0)


def _rain(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    rain = case.use.weather.rain
    if rain is None:
        yield _unsaid(limit, tools)
    elif rain is not limit.expects:
        was = "it rained" if rain else "it did not rain"
        text = f"{was}; {tools.authority} says: {limit.says}"
        yield finding(limit, tools, Kind.BREACH, text, "rain")


def _unsaid(limit: Limit, tools: Tools) -> Finding:
    text = f"cannot tell: the line does not say the {limit.measure}"
    column, way_out = _column(limit), f"amend {limit.measure}"
    if column == "prepared":
        bound = limit.least or limit.most
        write = f"{limit.measure} ({said(bound) if bound else '...'})"
        way_out = f'amend prepared, as "{write}"'
    return finding(limit, tools, Kind.UNKNOWN, text, column, way_out)


def _column(limit: Limit) -> str:
    return "prepared" if limit.measure in PREPARED_MEASURES else limit.measure
