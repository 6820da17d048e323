"""Wind, temperature and rain during the work."""

from __future__ import annotations

from collections.abc import Iterator

from ledger.checks.case import Case
from ledger.checks.say import Tools, finding, over, said, under
from ledger.rulebook.model import Limit
from ledger.values.finding import Finding, Kind


def check_weather(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge one measure of the weather; what the line does not say cannot be told."""
    if limit.measure == "rain":
        yield from _rain(case, limit, tools)
        return
    weather = case.use.weather
    measure = weather.wind if limit.measure == "wind" else weather.temperature
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
            yield finding(limit, tools, Kind.BREACH, text, limit.measure)


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
    return finding(limit, tools, Kind.UNKNOWN, text, limit.measure, f"amend {limit.measure}")
